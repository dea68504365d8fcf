"""The rate book out as a file, and in again: looked at first, then noted as a whole or not at all."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import tables
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.models import Upload
from quotes.desk.rates import files, looking, reading
from quotes.desk.records import FILE_TYPES, MOST_BYTES
from quotes.desk.views.editor import who
from quotes.pricing.models import Draft
from shop import currency
from shop.people.roles import ROLE_MANAGER, role_required

AT_ONCE = 4


class FileForm(PlainForm):
    file = forms.FileField(
        label=gettext_lazy("CSV or XLSX file"),
        help_text=gettext_lazy("Best made from the file that this page gives out."),
        widget=forms.ClearableFileInput(attrs={"accept": FILE_TYPES}),
    )

    def clean_file(self) -> Any:
        """What is too large is not read at all."""
        sent = self.cleaned_data["file"]
        if sent.size > MOST_BYTES:
            raise forms.ValidationError(_("The file is larger than 2 MB. A list is far smaller; is it the right file?"))
        return sent


@require_safe
@role_required(*DESK)
def export(_request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in tables.MEDIA_TYPES:
        raise Http404
    today = timezone.localdate()
    name = _("rate book %(day)s") % {"day": today.isoformat()}
    return tables.answer(kind, name=name, headings=files.columns(), rows=files.rows(today))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def upload(request: HttpRequest) -> HttpResponse:
    form = FileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        sent = form.cleaned_data["file"]
        row = Upload.objects.create(
            kind=Upload.Kind.RATES, name=sent.name[:200], content=sent.read(), at=timezone.now(), who=who(request)
        )
        return redirect("desk:rates_look", uid=row.uid)
    return render(request, "desk/rates/import.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def look(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Upload, uid=uid, kind=Upload.Kind.RATES)
    now = timezone.now()
    book = reading.read(bytes(row.content), now=now)
    if request.method == "POST" and not book.wrong:
        return _taken(request, row, book)
    context = {"upload": row, "book": book, "currency": currency.code()}
    if book.changes and not row.taken_at:
        context["effects"] = _effects(book, now)
    return render(request, "desk/rates/import_look.html", context, status=422 if request.method == "POST" else 200)


def _effects(book: reading.Book, now: Any) -> list[tuple[Draft, looking.Effect]]:
    """What noting all of it would do to the first open drafts."""
    first = min(change.day for change in book.changes)
    last = max(change.day for change in book.changes)
    today = max(timezone.localdate(now), last)
    return [
        (draft, looking.effect(draft, lambda: book.note(who="", now=now), valid_from=first, today=today))
        for draft in looking.open_drafts()[:AT_ONCE]
    ]


def _taken(request: HttpRequest, row: Upload, book: reading.Book) -> HttpResponse:
    """Once only: whoever presses twice, or at the same time, finds it noted."""
    now = timezone.now()
    with transaction.atomic():
        if not Upload.objects.filter(pk=row.pk, taken_at__isnull=True).update(taken_at=now):
            messages.error(request, _("This file is noted already."))
            return redirect("desk:rates")
        book.note(who=who(request), now=now)
    count = len(book.changes)
    said = ngettext("%(count)s rate is noted.", "%(count)s rates are noted.", count) % {"count": count}
    messages.success(request, said)
    return redirect("desk:rates")


urlpatterns = [
    path("rates/export/<slug:kind>/", export, name="rates_export"),
    path("rates/import/", upload, name="rates_import"),
    path("rates/import/<uuid:uid>/", look, name="rates_look"),
]
