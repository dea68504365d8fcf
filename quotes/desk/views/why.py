"""Why it costs what it costs, how sure that is, and what would move it most."""

from dataclasses import replace
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import drawing, showing
from quotes.desk.context import DESK
from quotes.desk.views.editor import draft_for, restoration_of
from quotes.engine import explaining
from quotes.engine.chance.swings import swings
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure
from quotes.pricing.remembered import remembered
from quotes.pricing.selectors import Priced, priced
from quotes.pricing.sheet import rows
from shop.people.roles import role_required
from shop.routes.schedules import schedule

_swung = remembered(swings, most=8)


@require_safe
@role_required(*DESK)
def why(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The figures of the whole quote; ``?part=`` opens one line down to its steps."""
    found = priced(draft_for(request, restoration_of(uid)))
    context = showing.sums(found)
    if found.explained is not None and found.given is not None:
        context |= {
            "costs": drawing.costs(found),
            "causes": _causes(found),
            "figures": [rows(figure) for figure in _figures(found)],
            "lines": _lines(found, request.GET.get("part", "")),
        }
    return render(request, "desk/why.html", context)


def _figures(found: Priced) -> list[Figure]:
    assert found.explained is not None
    assert found.given is not None
    figures = list(explaining.whole(found.explained, found.given))
    sure = found.assessment
    if sure is not None and sure.contingency:
        figures.append(
            explaining.contingency(
                mean=sure.mean, quantile=sure.quantile, kept=sure.kept, amount=sure.contingency, restoration=found.given
            )
        )
    return figures


def _causes(found: Priced) -> list[tuple[str, object]]:
    """What the spread of the cost comes from, largest first."""
    if found.assessment is None:
        return []
    return [(_(cause.words), cause.share) for cause in found.assessment.causes if cause.share]


def _lines(found: Priced, opened: str) -> list[dict[str, object]]:
    """Every line, one of them opened down to its steps."""
    assert found.explained is not None
    assert found.given is not None
    uids = {part.uid for part in found.given.parts}
    return [
        {
            "uid": line.uid,
            "name": line.part,
            "price": line.price,
            "rows": rows(explaining.line(found.explained, found.given, line.uid)) if line.uid == opened else None,
        }
        for line in found.explained.result.lines
        if line.uid in uids
    ]


@require_safe
@role_required(*DESK)
def moves(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What moves cost, price and day most: worked out when somebody looks, since it prices the bike many times over."""
    now = timezone.localdate()
    found = priced(draft_for(request, restoration_of(uid)))
    context: dict[str, object] = {"restoration": found.scope.restoration}
    try:
        if found.error is not None:
            raise found.error
        assert found.given is not None
        assert found.explained is not None
        given = replace(found.given, schedule=schedule(found.scope, today=now))
        context["pictures"] = drawing.moved(_swung(given, found.explained), given.policy.currency)
    except BadInput as error:
        context["error"] = error.sentence(_(error.template))
    template = "desk/_moves.html" if request.htmx else "desk/moves.html"  # type: ignore[attr-defined]
    return render(request, template, context)


urlpatterns = [
    path("restorations/<uuid:uid>/why/", why, name="why"),
    path("restorations/<uuid:uid>/what-moves-it/", moves, name="moves"),
]
