"""The page of vendor work, in the order in which somebody acts: late, due, must leave, may leave, planned, out. Read only."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.utils import timezone
from django.utils.safestring import SafeString

from shop.papers.pictures import PAPER, PHONE, out_line
from shop.vendor_jobs.standing import Board, Leaving, Lot, Proposal, board, proposals

#: So many days off is soon: it reaches over a weekend.
SOON = timedelta(days=4)


@dataclass(slots=True)
class Shown:
    """All of it, each thing once: where it presses most."""

    day: date
    overdue: list[Lot] = field(default_factory=list)
    due: list[Lot] = field(default_factory=list)
    must: list[Lot] = field(default_factory=list)
    must_plan: list[Proposal] = field(default_factory=list)
    may: list[Proposal] = field(default_factory=list)
    planned: list[Lot] = field(default_factory=list)
    out: list[Lot] = field(default_factory=list)
    later: list[Leaving] = field(default_factory=list)

    @property
    def must_count(self) -> int:
        """Lots and proposals that must leave now or soon."""
        return len(self.must) + len(self.must_plan)

    @property
    def nothing(self) -> bool:
        """Whether there is nothing with vendors, nor on its way there."""
        return not any(
            (self.overdue, self.due, self.must, self.must_plan, self.may, self.planned, self.out, self.later)
        )

    @property
    def everything_out(self) -> Sequence[Lot]:
        """What is with vendors, the most pressing first."""
        return [*self.overdue, *self.due, *self.out]


def shown(*, now: datetime) -> Shown:
    """In a constant number of queries."""
    return sorted_out(board(now=now), timezone.localdate(now))


def sorted_out(found: Board, day: date) -> Shown:
    """Every lot and every proposal in the one place where it is looked for."""
    made = Shown(day, later=found.later)
    for lot in found.out:
        _place_out(made, lot)
    for lot in found.planned:
        (made.must if _presses(lot.leave_by or lot.job.leave_on, day) else made.planned).append(lot)
    for proposal in proposals(found.may_leave):
        (made.must_plan if _presses(proposal.leave_by, day) else made.may).append(proposal)
    return made


def _place_out(made: Shown, lot: Lot) -> None:
    due = lot.promise.due_on if lot.promise else None
    if due is not None and due < made.day:
        made.overdue.append(lot)
    elif _presses(due, made.day):
        made.due.append(lot)
    else:
        made.out.append(lot)


def _presses(by: date | None, day: date) -> bool:
    return by is not None and by <= day + SOON


def pictures(lots: Iterable[Lot], day: date) -> tuple[SafeString, SafeString] | None:
    """The line of days for a phone's page and for a wide one; None where nothing is out."""
    bars = [_bar(lot) for lot in lots]
    if not bars:
        return None
    return (
        out_line.draw(bars, today=day, ident="out-phone", width=PHONE),
        out_line.draw(bars, today=day, ident="out-wide", width=PAPER),
    )


def _bar(lot: Lot) -> out_line.Bar:
    assert lot.job.sent_on is not None, "it is out"
    return out_line.Bar(
        name=str(lot.job),
        where=str(lot.job.vendor),
        since=lot.job.sent_on,
        due=lot.promise.due_on if lot.promise else None,
    )
