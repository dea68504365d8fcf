"""What happened to a restoration, newest first, each change with its undo."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import history as past
from quotes.desk import told, undoing
from quotes.desk.context import DESK
from quotes.desk.undoing_ways import Difference
from quotes.desk.views.editor import restoration_of, who
from shop.journal.models import Entry
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration

EACH_PAGE = 40


@require_safe
@role_required(*DESK)
def history(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    page = Paginator(past.entries(row), EACH_PAGE).get_page(request.GET.get("page"))
    return render(request, "desk/history.html", {"restoration": row, "page": page, "past": past.happened(page)})


@role_required(*DESK)
@posted_from("desk:history")
def undo(request: HttpRequest, uid: UUID, entry_uid: UUID) -> HttpResponse:
    """Undo one change; where somebody changed it since, say what and ask."""
    row = restoration_of(uid)
    entry = get_object_or_404(Entry, uid=entry_uid)
    if not past.entries(row).filter(pk=entry.pk).exists():
        raise Http404
    now = timezone.now()
    try:
        undoing.undo(restoration=row, entry=entry, over=request.POST.get("over", ""), who=who(request), now=now)
    except undoing.ChangedSinceError as changed:
        return _ask(request, row, entry, changed)
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect(_back_to(request, row))
    said = _("Undone: “%(label)s”, %(what)s.") % {"label": entry.subject_label, "what": told.what(entry)}
    messages.success(request, said, extra_tags=_undo_of_undo(row, entry))
    return redirect(_back_to(request, row))


def _undo_of_undo(row: Restoration, entry: Entry) -> str:
    done = undoing.undone_by(entry)
    return "" if done is None or done.reference != undoing.reference_of(entry) else way(row, done)


def _ask(request: HttpRequest, row: Restoration, entry: Entry, changed: undoing.ChangedSinceError) -> HttpResponse:
    context: dict[str, Any] = {
        "restoration": row,
        "entry": entry,
        "what": told.what(entry),
        "differences": [_in_words(one) for one in changed.differences],
        "over": changed.over,
        "next": _back_to(request, row),
    }
    return render(request, "desk/undo_ask.html", context, status=409)


def _in_words(one: Difference) -> dict[str, Any]:
    model = told.model_of(one.entry)
    return {
        "of": one.entry.subject_label,
        "label": one.label,
        "left": told.value(model, one.key, one.left) if one.key else "",
        "now": told.value(model, one.key, one.now) if one.key else "",
        "since": past.since(one),
    }


def _back_to(request: HttpRequest, row: Restoration) -> str:
    """Where the button stood, if that is a page of ours."""
    asked = request.POST.get("next", "")
    own = url_has_allowed_host_and_scheme(asked, allowed_hosts=None)
    return asked if own and asked.startswith("/") else reverse("desk:history", args=(row.uid,))


def way(row: Restoration, entry: Entry) -> str:
    """Where to undo an entry."""
    return reverse("desk:undo", args=(row.uid, entry.uid))


urlpatterns = [
    path("restorations/<uuid:uid>/history/", history, name="history"),
    path("restorations/<uuid:uid>/history/<uuid:entry_uid>/undo/", undo, name="undo"),
]
