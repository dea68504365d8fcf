"""A file of parts for a bike that is there: chosen, looked at, taken in."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import importing, uploads
from quotes.desk.context import DESK
from quotes.desk.forms_file import ImportForm
from quotes.desk.importing import PartsList
from quotes.desk.models import Upload
from quotes.desk.previewing import preview
from quotes.desk.selectors import known
from quotes.desk.services import take_in_parts
from quotes.desk.tables import CSV, XLSX, decimal_comma, download
from quotes.desk.template_file import sample_csv, sample_xlsx
from quotes.desk.views.editor import restoration_of, who
from shop.people.roles import role_required
from shop.restorations.models import Restoration

UNPROCESSABLE = 422


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def choose(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Choose a file. One that can be read is kept and shown; of one that cannot, everything wrong is named."""
    restoration = restoration_of(uid)
    if request.method != "POST":
        return _page(request, restoration, ImportForm())
    form = ImportForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, restoration, form, parts=form.parts)
    upload = uploads.keep(
        kind=Upload.Kind.PARTS,
        name=str(form.cleaned_data["file"].name),
        content=form.content,
        subject_uid=restoration.uid,
        who=who(request),
        now=timezone.now(),
    )
    return redirect("desk:import_preview", uid=restoration.uid, upload=upload.uid)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def look(request: HttpRequest, uid: UUID, upload: UUID) -> HttpResponse:
    """What a kept file would add; sent back, it is taken in, once."""
    restoration = restoration_of(uid)
    kept = get_object_or_404(Upload, uid=upload, kind=Upload.Kind.PARTS, subject_uid=restoration.uid)
    if kept.taken_at is not None:
        return _taken(request, restoration, uploads.TakenError(kept))
    parts = importing.read(bytes(kept.content), known())
    if request.method != "POST" or parts.wrong:
        return _page(request, restoration, ImportForm(), parts=parts, kept=kept)
    try:
        added = take_in_parts(
            restoration=restoration, upload=kept, rows=parts.rows, who=who(request), now=timezone.now()
        )
    except uploads.TakenError as error:
        return _taken(request, restoration, error)
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return _page(request, restoration, ImportForm(), parts=parts, kept=kept)
    text = ngettext(
        "%(count)s part is added from “%(name)s”.", "%(count)s parts are added from “%(name)s”.", len(added)
    )
    messages.success(request, text % {"count": len(added), "name": kept.name})
    return redirect("desk:restoration", uid=restoration.uid)


def _taken(request: HttpRequest, restoration: Restoration, error: uploads.TakenError) -> HttpResponse:
    messages.info(request, str(error))
    return redirect("desk:restoration", uid=restoration.uid)


def _page(
    request: HttpRequest,
    restoration: Restoration,
    form: ImportForm,
    *,
    parts: PartsList | None = None,
    kept: Upload | None = None,
) -> HttpResponse:
    found = parts or PartsList()
    context: dict[str, Any] = {
        "restoration": restoration,
        "form": form,
        "kept": kept,
        "wrong": found.wrong,
        "cut": found.full,
        "headings": importing.headings(),
    }
    if kept and found.rows:
        there = frozenset(restoration.parts.filter(removed_at__isnull=True).values_list("area_name", "name"))
        context["preview"] = preview(kept.name, found.rows, there=there)
    if kept and found.wrong:
        messages.error(request, _("“%(name)s” cannot be taken in any more: see what is wrong.") % {"name": kept.name})
    return render(request, "desk/import.html", context, status=UNPROCESSABLE if found.wrong or form.errors else 200)


@require_safe
@role_required(*DESK)
def template_csv(_request: HttpRequest) -> HttpResponse:
    """A parts list to begin with. Where decimals have a comma, spreadsheets expect semicolons between the cells."""
    return download(sample_csv(known(), comma=decimal_comma()), kind=CSV, name="parts")


@require_safe
@role_required(*DESK)
def template_xlsx(_request: HttpRequest) -> HttpResponse:
    """The same with lists to choose from."""
    return download(sample_xlsx(known()), kind=XLSX, name="parts")


urlpatterns = [
    path("restorations/parts.csv", template_csv, name="sample_parts"),
    path("restorations/parts.xlsx", template_xlsx, name="sample_parts_xlsx"),
    path("restorations/<uuid:uid>/import/", choose, name="import_parts"),
    path("restorations/<uuid:uid>/import/<uuid:upload>/", look, name="import_preview"),
]
