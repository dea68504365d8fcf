"""The rate book: what things cost, since when, how sure; and what a change would do before it is made."""

import hashlib
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk.context import DESK
from quotes.desk.rates import hints, kinds, looking, showing
from quotes.desk.rates.kinds import Kind, Subject
from quotes.desk.rates.tables import RateForm
from quotes.desk.views import rates_files
from quotes.desk.views.editor import who
from quotes.pricing.models import Draft
from shop import currency
from shop.methods.dated import imagining
from shop.people.roles import ROLE_MANAGER, has_role, refusal, role_required
from shop.posting import posted_from

#: So many drafts are worked out before the page answers; the others follow one by one.
AT_ONCE = 4
MORE_AT_ONCE = 10
LOOK, NOTE, ROWS = "look", "note", "rows"


@require_safe
@role_required(*DESK)
def book(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    context = {"book": showing.book(today), "today": today, "may_change": has_role(request.user, ROLE_MANAGER)}
    context["of_charge_out"] = hints.of_charge_out(today)
    return render(request, "desk/rates/book.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def rate(request: HttpRequest, slug: str, key: str) -> HttpResponse:
    kind = kinds.kind_of(slug)
    subject = kind.subject(key)
    today = timezone.localdate()
    if (kind.begins or request.method == "POST") and not has_role(request.user, ROLE_MANAGER):
        raise PermissionDenied(refusal(ROLE_MANAGER))
    if request.method != "POST":
        return _page(request, kind, subject, showing.begun(kind, subject, today))
    do, _dash, many = request.POST.get("do", LOOK).partition("-")
    if do == ROWS:
        return _page(request, kind, subject, showing.with_more_rows(kind, today, request.POST))
    form = showing.begun(kind, subject, today, request.POST)
    if not _holds_up(request, kind, subject, form):
        return _page(request, kind, subject, form, status=422)
    seen = _digest(kind, subject, form)
    if do == NOTE and request.POST.get("looked") == seen:
        _imagine(request, kind, subject, form)()
        messages.success(request, _noted(_reach(kind, subject, form)))
        slug, key = kind.place(subject, form.said())
        return redirect("desk:rate", slug=slug, key=key)
    effects = _effects(request, kind, subject, form, AT_ONCE + (int(many) if many.isdecimal() else 0))
    looked: dict[str, Any] = {
        "effects": effects,
        "looked": seen,
        "changed": do == NOTE,
        "reach": _reach(kind, subject, form),
        "why_nothing": hints.why_nothing(kind, subject, form, today),
    }
    return _page(request, kind, subject, form, **looked)


def _reach(kind: Kind, subject: Subject, form: RateForm) -> looking.Reach:
    day = form.cleaned_data["valid_from"]
    later = [row.valid_from for row in kind.history(subject) if row.valid_from > day]
    return looking.reach(day, later=min(later, default=None))


def _noted(reach: looking.Reach) -> str:
    """What noting it did to open drafts, said once it is noted."""
    if reach.at_once and reach.kept:
        return _("Noted. Drafts priced on a day it holds on have it at once; the others keep theirs until priced anew.")
    if reach.at_once:
        return _("Noted. The open drafts are priced on a day it holds on, so they have it at once.")
    return _("Noted. Open drafts keep what they say until somebody prices them anew.") if reach.kept else _("Noted.")


def _imagine(request: HttpRequest, kind: Kind, subject: Subject, form: RateForm) -> Callable[[], object]:
    """Notes what was typed: for good, or inside `imagining` only so that one can see."""
    said = form.said()
    return lambda: kind.note(subject, said, who=who(request), now=timezone.now())


def _holds_up(request: HttpRequest, kind: Kind, subject: Subject, form: RateForm) -> bool:
    if not form.is_valid():
        return False
    try:
        with imagining():
            _imagine(request, kind, subject, form)()
    except ValidationError as error:
        form.place(error)
        return False
    return True


def _digest(kind: Kind, subject: Subject, form: RateForm) -> str:
    """What was looked at: what was typed, over what holds on that day."""
    held = kind.held(subject, form.cleaned_data["valid_from"])
    said = sorted((name, str(getattr(value, "pk", value))) for name, value in form.said().items())
    return hashlib.sha256(repr((said, held.pk if held else 0)).encode()).hexdigest()


def _effects(
    request: HttpRequest, kind: Kind, subject: Subject, form: RateForm, many: int
) -> list[tuple[Draft, looking.Effect | None]]:
    """Every open draft, the first ``many`` of them worked out."""
    return [
        (draft, _effect(request, kind, subject, form, draft) if number < many else None)
        for number, draft in enumerate(looking.open_drafts())
    ]


def _effect(request: HttpRequest, kind: Kind, subject: Subject, form: RateForm, draft: Draft) -> looking.Effect:
    return looking.effect(
        draft,
        _imagine(request, kind, subject, form),
        valid_from=form.cleaned_data["valid_from"],
        today=timezone.localdate(),
    )


@role_required(ROLE_MANAGER)
@posted_from("desk:rate", takes=("slug", "key"))
def effect(request: HttpRequest, slug: str, key: str, uid: UUID) -> HttpResponse:
    """One draft worked out, for the list that is there already."""
    kind = kinds.kind_of(slug)
    subject = kind.subject(key)
    draft = get_object_or_404(looking.open_drafts(), restoration__uid=uid)
    form = showing.begun(kind, subject, timezone.localdate(), request.POST)
    if not _holds_up(request, kind, subject, form):
        return HttpResponse(status=422)
    found = _effect(request, kind, subject, form, draft)
    return render(request, "desk/rates/_effect.html", {"draft": draft, "found": found, "currency": currency.code()})


def _page(
    request: HttpRequest, kind: Kind, subject: Subject, form: RateForm, *, status: int = 200, **looked: Any
) -> HttpResponse:
    today = timezone.localdate()
    rows = kind.history(subject)
    context = {
        "kind": kind,
        "key": kind.key(subject),
        "name": kind.name(subject),
        "aside": kind.aside(subject),
        "form": form,
        "ours": bool(rows) and kinds.ours(rows[0]),
        "of_charge_out": hints.of_charge_out(today) if isinstance(kind, kinds.Policy) else "",
        "may_change": has_role(request.user, ROLE_MANAGER),
        "headings": showing.headings(kind),
        "history": showing.history(kind, rows, today),
        "pictures": showing.lines(kind, rows, today),
        "currency": currency.code(),
        "more_at_once": MORE_AT_ONCE,
        "operation": subject if isinstance(kind, kinds.Times) else None,
    }
    return render(request, "desk/rates/rate.html", context | looked, status=status)


urlpatterns = [
    path("rates/", book, name="rates"),
    *rates_files.urlpatterns,
    path("rates/<slug:slug>/<str:key>/", rate, name="rate"),
    path("rates/<slug:slug>/<str:key>/effect/<uuid:uid>/", effect, name="rate_effect"),
]
