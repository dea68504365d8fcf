"""Two versions of a quote side by side."""

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk.changes import told_change
from quotes.desk.context import DESK
from quotes.desk.views.editor import draft_for, restoration_of
from quotes.engine import inputs
from quotes.engine.errors import BadInput
from quotes.pricing.comparing import Compared, compare, present, snapshot
from quotes.pricing.models import IssuedQuote
from shop.people.roles import role_required
from shop.restorations.models import Restoration

DRAFT = "draft"


@require_safe
@role_required(*DESK)
def versions(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Choose two versions; the comparison itself is fetched, since it prices the bike once for each change."""
    row = restoration_of(uid)
    choices = _choices(row)
    before, after = _asked(request, choices)
    context: dict[str, Any] = {"restoration": row, "choices": choices, "before": before, "after": after}
    if before and after and (request.htmx or request.GET.get("now")):  # type: ignore[attr-defined]
        context |= _compared(request, row, before, after)
    template = "desk/_compared.html" if request.htmx else "desk/compare.html"  # type: ignore[attr-defined]
    return render(request, template, context)


def _choices(row: Restoration) -> list[tuple[str, str]]:
    """Every version, the newest first."""
    quotes = row.quotes.defer("snapshot", "result", "offer").order_by("-number")
    issued = [
        (str(quote.uid), _("%(quote)s, %(stage)s") % {"quote": quote, "stage": quote.get_stage_display()})
        for quote in quotes
    ]
    return [(DRAFT, _("the draft as it stands")), *issued]


def _asked(request: HttpRequest, choices: list[tuple[str, str]]) -> tuple[str, str]:
    """The versions asked for; without a word the newest issued quote and the draft."""
    known = [key for key, _words in choices]
    usual = known[1] if len(known) > 1 else ""
    before, after = request.GET.get("before", usual), request.GET.get("after", DRAFT)
    if after not in known or (before and before not in known):
        raise Http404
    return before, after


def _compared(request: HttpRequest, row: Restoration, before: str, after: str) -> dict[str, Any]:
    try:
        found = compare(_version(request, row, before), _version(request, row, after))
    except BadInput as error:
        return {"error": error.sentence(_(error.template))}
    return {"compared": found, "effects": [_shown(found, number) for number in range(len(found.effects))]}


def _version(request: HttpRequest, row: Restoration, key: str) -> inputs.Restoration:
    if key == DRAFT:
        return present(draft_for(request, row), today=timezone.localdate())
    return snapshot(IssuedQuote.objects.get(uid=key, restoration=row))


def _shown(found: Compared, number: int) -> dict[str, Any]:
    effect = found.effects[number]
    return {"what": [told_change(change) for change in effect.changes], "effect": effect}


urlpatterns = [path("restorations/<uuid:uid>/compare/", versions, name="compare")]
