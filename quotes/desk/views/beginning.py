"""All restorations, and the page that begins one."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import earlier_bikes, importing, today, uploads
from quotes.desk.context import DESK
from quotes.desk.forms_beginning import CUSTOMER_FIELDS, EARLIER, MACHINE_FIELDS, BeginForm
from quotes.desk.models import Upload
from quotes.desk.previewing import preview
from quotes.desk.services import begin_restoration
from shop.people.roles import role_required
from shop.restorations.models import Restoration
from shop.routes.laying import NoRouteError

EACH_PAGE = 25
LONGEST_SEARCH = 100


@require_safe
@role_required(*DESK)
def restorations(request: HttpRequest) -> HttpResponse:
    day = timezone.localdate()
    search = request.GET.get("search", "").replace("\0", "").strip()[:LONGEST_SEARCH]
    wanted = request.GET.get("standing", "")
    page = Paginator(today.found(search, wanted, day), EACH_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "lines": [today.line(restoration, day) for restoration in page],
        "search": search,
        "standing": wanted,
        "standings": today.STANDINGS.items(),
    }
    return render(request, "desk/restorations.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def begin(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    day = timezone.localdate(now)
    if request.method != "POST":
        return _begin_page(request, BeginForm(today=day, initial=_like(request)))
    if "find" in request.POST:
        return _begin_page(request, earlier_bikes.StillFilling(_from_earlier(request.POST), today=day))
    form = BeginForm(request.POST, request.FILES, today=day)
    valid = form.is_valid()
    upload = _kept(request, form, now)
    if upload is not None and upload.taken_at is not None:
        return _taken(request, uploads.TakenError(upload))
    if not valid or form.brought():
        return _begin_page(request, form, upload)
    given = form.given()
    try:
        restoration = begin_restoration(**given, today=day, who=request.user.get_username(), now=now)
    except uploads.TakenError as error:
        error.upload.refresh_from_db()
        return _taken(request, error)
    except ValidationError as error:
        in_template = given["template"] is not None and isinstance(error, NoRouteError)
        form.add_error("template" if in_template else None, ValidationError(error.messages))
        return _begin_page(request, form, upload)
    messages.success(request, _begun(restoration))
    return redirect("desk:restoration", uid=restoration.uid)


def _like(request: HttpRequest) -> dict[str, str]:
    """Begun like a bike that was on the screen."""
    asked = earlier_bikes.uid_of(request.GET.get("earlier", ""))
    return {"parts_from": EARLIER, "earlier": str(asked)} if asked else {}


def _from_earlier(data: QueryDict) -> QueryDict:
    """Whoever searches for an earlier bike wants the parts from there."""
    result = data.copy()
    result["parts_from"] = EARLIER
    return result


@require_safe
@role_required(*DESK)
def earlier(request: HttpRequest) -> HttpResponse:
    """Earlier bikes as somebody types what they are called."""
    words = request.GET.get("earlier_words", "").replace("\0", "")[:LONGEST_SEARCH]
    return render(request, "desk/_earlier.html", earlier_bikes.listed(words, request.GET.get("earlier", "")))


def _kept(request: HttpRequest, form: BeginForm, now: datetime) -> Upload | None:
    """The file of the form, kept from now on or from a page before."""
    if not form.brought():
        return form.upload
    return uploads.keep(
        kind=Upload.Kind.PARTS,
        name=form.file_name,
        content=form.content,
        who=request.user.get_username(),
        now=now,
    )


def _taken(request: HttpRequest, error: uploads.TakenError) -> HttpResponse:
    messages.info(request, str(error))
    return redirect("desk:restoration", uid=error.upload.subject_uid)


def _begin_page(request: HttpRequest, form: BeginForm, upload: Upload | None = None) -> HttpResponse:
    status = 422 if form.errors else 200
    form.say_optional_only_where_it_is()
    _begin_at_what_is_wrong(form)
    context: dict[str, Any] = {
        "form": form,
        "customer_fields": [form[name] for name in ("customer", *CUSTOMER_FIELDS)],
        "machine_fields": [form[name] for name in MACHINE_FIELDS],
        "restoration_fields": [form["title"], form["begun_on"]],
        "parts_fields": [form[name] for name in ("parts_from", "template", "file") if name in form.fields],
        "wrong": form.parts.wrong,
        "cut": form.parts.full,
        "headings": importing.headings(),
        "kept": upload,
    }
    context |= earlier_bikes.of_form(form)
    if upload and form.parts.rows:
        context["preview"] = preview(upload.name, form.parts.rows)
    return render(request, "desk/begin.html", context, status=status)


def _begin_at_what_is_wrong(form: BeginForm) -> None:
    """The browser goes to the first box that is wrong; what is said of the whole form stands at its head already."""
    if form.non_field_errors() or form.parts.wrong:
        return
    for name in form.fields:
        if name in form.errors and not form[name].is_hidden:
            form.fields[name].widget.attrs["autofocus"] = True
            return


def _begun(restoration: Restoration) -> str:
    count = restoration.parts.count()
    if not count:
        return _("“%(restoration)s” is begun. Add its first part.") % {"restoration": restoration}
    text = ngettext(
        "“%(restoration)s” is begun, with %(count)s part.", "“%(restoration)s” is begun, with %(count)s parts.", count
    )
    return text % {"restoration": restoration, "count": count}


urlpatterns = [
    path("restorations/", restorations, name="restorations"),
    path("restorations/begin/", begin, name="begin"),
    path("restorations/earlier/", earlier, name="earlier"),
]
