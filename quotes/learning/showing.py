"""Suggestions and calibration as pages show them: figures with their unit, and sentences."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.engine.learning.calibration import Calibration
from quotes.learning import deciding, picture
from quotes.learning.models import Decision, Study, Suggestion
from shop.papers.pictures import PAPER, PHONE
from shop.text import minutes, percent, quantity

Kind = Suggestion.Kind
#: Below so many it is said that it is rough.
FEW = 8
NEAR = Decimal("0.05")
#: What a kind's figures are in, the same as pages have it.
FACTOR, CHANCE, DAYS = "×", "%", "days"
UNITS: dict[str, str] = {
    Kind.OPERATION: FACTOR,
    Kind.GRADE: FACTOR,
    Kind.BIKES: CHANCE,
    Kind.SERVICE: DAYS,
    Kind.DAMAGE: CHANCE,
    Kind.REWORK: CHANCE,
}


@dataclass(frozen=True, slots=True)
class Shown:
    """A suggestion in words."""

    row: Suggestion
    assumed: str
    happened: str
    suggested: str
    between: str
    rests_on: str
    answer: str
    differs: bool


def figure(kind: str, value: Decimal) -> str:
    """A figure of a kind with its unit."""
    unit = UNITS[kind]
    if unit == FACTOR:
        return _("× %(factor)s") % {"factor": quantity(value.quantize(Decimal("0.01")).normalize())}
    if unit == CHANCE:
        return percent((value / 100).quantize(Decimal("0.001")))
    return ngettext("%(days)s day", "%(days)s days", int(value)) % {"days": int(value)}


def shown(row: Suggestion) -> Shown:
    decision = answer_of(row)
    return Shown(
        row=row,
        assumed=figure(row.kind, row.assumed),
        happened=figure(row.kind, row.happened),
        suggested=figure(row.kind, row.suggested),
        between=_("between %(low)s and %(high)s")
        % {"low": figure(row.kind, row.low), "high": figure(row.kind, row.high)},
        rests_on=rests_on(row),
        answer=_answer(decision),
        differs=row.assumed < row.low or row.assumed > row.high,
    )


def answer_of(row: Suggestion) -> Decision | None:
    """What was said to it, with no query where it was fetched with it."""
    return getattr(row, "decision", None)


def _answer(decision: Decision | None) -> str:
    if decision is None:
        return ""
    said = {"who": decision.who, "what": decision.noted or decision.reason}
    if decision.kind == Decision.Kind.ACCEPTED:
        return _("accepted by %(who)s: %(what)s") % said
    return _("refused by %(who)s: %(what)s") % said


def rests_on(row: Suggestion) -> str:
    """ "from 4 tasks, so rough"."""
    words = {
        Kind.OPERATION: ngettext("%(count)s task", "%(count)s tasks", row.sample),
        Kind.GRADE: ngettext("%(count)s task", "%(count)s tasks", row.sample),
        Kind.BIKES: ngettext("%(count)s bike", "%(count)s bikes", row.sample),
        Kind.SERVICE: ngettext("%(count)s lot", "%(count)s lots", row.sample),
        Kind.DAMAGE: ngettext("%(count)s bike", "%(count)s bikes", row.sample),
        Kind.REWORK: ngettext("%(count)s visit", "%(count)s visits", row.sample),
    }[Kind(row.kind)] % {"count": row.sample}
    return (_("from %(sample)s, so rough") if row.sample < FEW else _("from %(sample)s")) % {"sample": words}


def groups(rows: Sequence[Suggestion]) -> list[tuple[str, list[Shown]]]:
    """By kind, what differs from what is assumed on top."""
    found = []
    for kind in Kind:
        own = [shown(row) for row in rows if row.kind == kind]
        if own:
            found.append((str(kind.label), sorted(own, key=lambda one: (not one.differs, one.row.label))))
    return found


def in_force(row: Suggestion) -> str:
    """What past quotes would have had, had this been in force."""
    details = deciding.details_of(row)
    if "assumed minutes" in details:
        bikes = int(details["bikes"])
        told = {
            "bikes": ngettext("%(count)s past bike", "%(count)s past bikes", bikes) % {"count": bikes},
            **{
                name: minutes(Decimal(details[f"{name} minutes"]).quantize(Decimal(1)))
                for name in ("assumed", "suggested", "actual")
            },
        }
        return (
            _(
                "Had this been in force, %(bikes)s would have been quoted with %(suggested)s of it in place of %(assumed)s;"
                " it took %(actual)s."
            )
            % told
        )
    told_days = {"assumed": figure(row.kind, row.assumed), "suggested": figure(row.kind, row.suggested)}
    if row.kind == Kind.SERVICE:
        return (
            _("Had this been in force, past quotes would have counted %(suggested)s in place of %(assumed)s.")
            % told_days
        )
    if row.kind == Kind.BIKES:
        return (
            _(
                "Had this been in force, contingency of past quotes would have rested on %(suggested)s in place of %(assumed)s."
            )
            % told_days
        )
    return (
        _("Had this been in force, past quotes would have counted on %(suggested)s in place of %(assumed)s.")
        % told_days
    )


def drawing(row: Suggestion, *, width: int) -> SafeString:
    """The picture of a suggestion."""
    points = deciding.details_of(row).get("points", [])
    assumed, suggested, low, high = (int(value * 10_000) for value in (row.assumed, row.suggested, row.low, row.high))
    told = picture.Told(
        assumed,
        suggested,
        low,
        high,
        points=[int(Decimal(point) * 10_000) for point in points],
        unit={FACTOR: "×", CHANCE: "%", DAYS: ""}[UNITS[row.kind]],
    )
    return picture.draw(told, ident=f"s{row.pk}-{width}", width=width)


def drawings_of(row: Suggestion) -> list[tuple[str, SafeString]]:
    """For a phone and for a wider page."""
    return [("narrow", drawing(row, width=PHONE)), ("wide", drawing(row, width=PAPER))]


def more(row: Suggestion) -> list[tuple[str, str]]:
    """What else is known of it: name and words."""
    details: dict[str, Any] = deciding.details_of(row)
    found = []
    if "set-up factor" in details and "run factor" in details:
        both = {name: figure(Kind.OPERATION, Decimal(details[f"{name} factor"])) for name in ("set-up", "run")}
        found.append((_("Told apart"), _("setting up takes %(set-up)s, running %(run)s its standard") % both))
    if "spread" in details:
        found.append((_("Tasks lie apart by"), percent(Decimal(details["spread"]).quantize(Decimal("0.01")))))
    if "hits" in details:
        found.append((_("Came about"), _("%(hits)s of %(count)s") % {"hits": details["hits"], "count": row.sample}))
    if details.get("out", "0") != "0":
        found.append((_("Still out"), _("%(count)s, counted as not back yet") % {"count": details["out"]}))
    if row.kind == Kind.OPERATION:
        enough = _("enough: it is known within a tenth")
        some = ngettext("%(count)s more task", "%(count)s more tasks", row.wanting) % {"count": row.wanting}
        found.append((_("To know it within a tenth"), some if row.wanting else enough))
    return found


def progress(study: Study) -> str:
    """How far a study is."""
    return _("Step %(step)s of %(steps)s") % {"step": min(study.step + 1, study.steps), "steps": study.steps}


def calibration_words(found: Calibration) -> list[str]:
    """What the share of prices that held says, and what it does not."""
    told = {
        "hits": found.kept.hits,
        "count": found.kept.count,
        "low": percent(Decimal(str(found.kept.low)).quantize(Decimal("0.01"))),
        "high": percent(Decimal(str(found.kept.high)).quantize(Decimal("0.01"))),
        "wanted": percent(Decimal(str(found.wanted)).quantize(Decimal("0.01"))),
    }
    if not found.kept.count:
        return [_("No bike with an accepted quote has been handed over yet.")]
    words = [
        _("%(hits)s of %(count)s prices held; in the long run between %(low)s and %(high)s. Wanted: %(wanted)s.") % told
    ]
    said = {
        "few": _("Too few to say: it takes 30."),
        "as wanted": _("That fits what is wanted."),
        "seldom": _("That is less often than wanted: raise what is assumed, or the contingency."),
        "often": _("That is more often than wanted: prices could be lower."),
    }
    words.append(said[found.says])
    if found.over is not None:
        off = percent(Decimal(str(abs(found.over))).quantize(Decimal("0.001")))
        words.append(
            (
                _("Together they cost %(off)s more than expected.")
                if found.over > 0
                else _("Together they cost %(off)s less than expected.")
            )
            % {"off": off}
        )
    words.append(
        _(
            "Only accepted quotes can be counted, and who accepts is no accident: a price that is too low is taken more often."
            " So those that were taken cost more than they say even where every price is right on average."
        )
    )
    return words
