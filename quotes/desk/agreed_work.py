"""What is agreed to be done in the workshop, bike by bike: for the mechanic, so times and finishes, never money."""

from dataclasses import dataclass, field, replace
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet

from quotes.desk.money_jobs import running
from quotes.engine.inputs import ZERO
from quotes.pricing.models import IssuedQuote, Outcome
from quotes.pricing.offer import OfferLine, finish_text
from quotes.pricing.paper import offer_of
from shop.rereading import reread
from shop.restorations.models import Part, Restoration
from shop.routes.models import Authorisation, Step
from shop.routes.splits import merged


@dataclass(slots=True)
class Work:
    """A part with what is agreed to be done to it, in the words of the accepted quote."""

    part: Part
    agreed: OfferLine
    changed: bool
    steps: list[Step] = field(default_factory=list)
    open: int = 0


@dataclass(slots=True)
class Job:
    """A restoration of which steps are authorised."""

    restoration: Restoration
    works: list[Work]
    held: bool = False

    @property
    def cautions(self) -> list[tuple[str, str]]:
        """What is done on it and must be done with care, each once: its name, and what to heed."""
        steps = [step for work in self.works for step in work.steps]
        return list(dict(filter(None, map(_caution, steps))).items())

    @property
    def steps(self) -> int:
        return sum(len(work.steps) for work in self.works)


def _caution(step: Step) -> tuple[str, str] | None:
    work = step.operation or step.service
    return (work.name, work.caution) if work is not None and work.caution else None


def _live_steps() -> QuerySet[Step]:
    return Step.objects.filter(removed_at__isnull=True, part__removed_at__isnull=True)


def _authorised() -> QuerySet[Step]:
    return _live_steps().filter(Exists(Authorisation.objects.filter(step_uid=OuterRef("uid"))))


def authorised_restorations() -> QuerySet[Restoration]:
    """Restorations with something in scope that may be worked on, newest first."""
    steps = _authorised().filter(part__restoration=OuterRef("pk"))
    return Restoration.objects.select_related("machine").filter(Exists(steps))


def _agreed_lines(restorations: list[Restoration]) -> dict[str, OfferLine]:
    """Part uid to its line in the accepted quotes; the newest quote that names it says what is agreed."""
    accepted = IssuedQuote.objects.filter(restoration__in=restorations, outcome__kind=Outcome.Kind.ACCEPTED).only(
        "offer"
    )
    lines: dict[str, OfferLine] = {}
    for quote in accepted.order_by("number"):
        lines.update({line.uid: line for area in offer_of(quote).areas for line in area.lines})
    return lines


def _line_now(part: Part) -> OfferLine:
    """A part as a quote would name it today, without what a mechanic does not read there."""
    swatch = part.agreed_finish.swatch if part.agreed_finish else ""
    finish = finish_text(part.agreed_finish)
    return OfferLine(part.name, 0, part.pieces, finish, swatch, part.deviation, (), ZERO, str(part.uid))


@reread(most=8)
def jobs(restorations: list[Restoration], day: date) -> list[Job]:
    """What is agreed about each restoration, part by part. Steps nobody agreed to yet are only counted."""
    parts = Part.objects.filter(restoration__in=restorations, removed_at__isnull=True).order_by("position")
    lines = _agreed_lines(restorations)
    works: dict[int, Work] = {}
    for part in merged(parts.select_related("agreed_finish")):
        present = _line_now(part)
        agreed = lines.get(str(part.uid), present)
        works[part.pk] = Work(part, agreed, replace(agreed, depth=0, work=(), price=ZERO) != present)
    allowed = Exists(Authorisation.objects.filter(step_uid=OuterRef("uid")))
    steps = _live_steps().filter(part__in=list(works)).annotate(allowed=allowed).order_by("part", "position")
    for step in steps.select_related("operation", "service__vendor"):
        work = works[step.part_id]
        if step.allowed:
            work.steps.append(step)
        else:
            work.open += 1
    by_restoration: dict[int, list[Work]] = {}
    for work in works.values():
        if work.steps:
            by_restoration.setdefault(work.part.restoration_id, []).append(work)
    held = set(running(day).filter(restoration__in=restorations).values_list("restoration", flat=True))
    return [Job(row, by_restoration.get(row.pk, []), row.pk in held) for row in restorations]
