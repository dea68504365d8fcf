"""Attended time: clockings as whole minutes, each on one task or one break.

An instant belongs to the minute it falls into, counted on the UTC time line: minute(t) = ⌊t / 60 s⌋. From b to e are
minute(e) − minute(b) minutes, so splitting anywhere between adds up again, and no change of the clock makes or loses one.

    from 08:00:40 to 09:30:10      08:00 … 09:30     90 min
    split at 08:45:59              45 min + 45 min   90 min

Breaks are said in local time, every day alike. A break begins when the clock first shows its beginning, and lasts as long as
its two times are apart: so a break in the hour that comes twice is had once, and one in the hour that is left out is had
after it. Where breaks overlap, an unpaid one counts. Minutes of an unpaid break are nobody's, those of a paid one belong to
the break and not to the task, unless the person worked through.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from decimal import Decimal

from quotes.engine.errors import BadInput
from quotes.engine.money import CONTEXT, rounded, shared_out

Minutes = tuple[int, int]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
_HOUR = 60


@dataclass(frozen=True, slots=True)
class Pause:
    """A break in local time, on every day from ``since`` to the one before ``until``; without them always."""

    begins: time
    ends: time
    paid: bool = False
    since: date | None = None
    until: date | None = None

    def is_on(self, day: date) -> bool:
        return (self.since is None or self.since <= day) and (self.until is None or day < self.until)


@dataclass(frozen=True, slots=True)
class Span:
    """Somebody was on the task ``task`` from ``began`` to ``ended``; ``through_breaks``: and worked on while others had theirs."""

    task: int
    began: datetime
    ended: datetime
    through_breaks: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """Minutes of one kind: on the task ``task``, or in a break where that is None. ``counts``: whether they are attended."""

    first: int
    last: int
    task: int | None
    counts: bool = True

    @property
    def minutes(self) -> int:
        return self.last - self.first


@dataclass(frozen=True, slots=True)
class Attended:
    """Minutes by task, of paid breaks, and of unpaid ones, which nobody attended [min]."""

    tasks: Mapping[int, int] = field(default_factory=dict)
    paid_break: int = 0
    unpaid_break: int = 0

    @property
    def minutes(self) -> int:
        """All that is attended [min]."""
        return sum(self.tasks.values()) + self.paid_break


def minute(at: datetime) -> int:
    """The minute of the UTC time line that ``at`` falls into, counted from 1970.

    >>> minute(datetime(1970, 1, 1, 1, 2, 59, 999999, tzinfo=UTC))
    62
    """
    return (at - _EPOCH) // _MINUTE


def instant(minutes: int) -> datetime:
    """Where a minute begins.

    >>> instant(62).isoformat()
    '1970-01-01T01:02:00+00:00'
    """
    return _EPOCH + minutes * _MINUTE


def breaks_between(first: int, last: int, pauses: Iterable[Pause], zone: tzinfo) -> list[tuple[int, int, bool]]:
    """Breaks within the minutes ``first`` to ``last``, in order and apart: begin, end, whether paid."""
    pauses = list(pauses)
    if last <= first or not pauses:
        return []
    day, until = _local(first, zone) - _DAY, _local(last, zone)
    paid: list[Minutes] = []
    unpaid: list[Minutes] = []
    while day <= until:
        for pause in (one for one in pauses if one.is_on(day)):
            begin = minute(datetime.combine(day, pause.begins, zone).astimezone(UTC))
            inside = max(begin, first), min(begin + _length(pause), last)
            if inside[0] < inside[1]:
                (paid if pause.paid else unpaid).append(inside)
        day += _DAY
    unpaid = _merged(unpaid)
    found = [(*span, False) for span in unpaid] + [(*span, True) for span in _without(_merged(paid), unpaid)]
    return sorted(found)


def pieces(span: Span, pauses: Iterable[Pause], zone: tzinfo) -> list[Piece]:
    """The minutes of ``span``, each once, in order. Raises `BadInput` where it ends before it begins."""
    first, last = minute(span.began), minute(span.ended)
    if span.ended < span.began:
        raise BadInput("It ends before it begins. Swap the times.", field="ended")
    found: list[Piece] = []
    at = first
    for begin, end, paid in [] if span.through_breaks else breaks_between(first, last, pauses, zone):
        if at < begin:
            found.append(Piece(at, begin, span.task))
        found.append(Piece(begin, end, None, counts=paid))
        at = end
    if at < last:
        found.append(Piece(at, last, span.task))
    return found


def attended(spans: Iterable[Span], pauses: Iterable[Pause], zone: tzinfo) -> Attended:
    """Minutes by task and break of one person's ``spans``, which do not overlap [min].

    >>> noon = Pause(time(12), time(12, 30))
    >>> day = datetime(2026, 3, 2, tzinfo=UTC)
    >>> whole = Span(7, day.replace(hour=11), day.replace(hour=14))
    >>> attended([whole], [noon], UTC).tasks, attended([whole], [noon], UTC).unpaid_break
    ({7: 150}, 30)
    """
    pauses = list(pauses)
    tasks: dict[int, int] = {}
    paid = unpaid = 0
    for span in spans:
        tasks.setdefault(span.task, 0)
        for piece in pieces(span, pauses, zone):
            if piece.task is not None:
                tasks[piece.task] += piece.minutes
            elif piece.counts:
                paid += piece.minutes
            else:
                unpaid += piece.minutes
    return Attended(tasks, paid, unpaid)


def day_bounds(day: date, zone: tzinfo) -> tuple[datetime, datetime]:
    """Where the local ``day`` begins and ends: 23, 24 or 25 hours apart, or half an hour more or less on some island."""
    begin, end = (datetime.combine(each, time(), zone).astimezone(UTC) for each in (day, day + _DAY))
    return begin, end


def within(spans: Iterable[Span], begin: datetime, end: datetime) -> list[Span]:
    """What of ``spans`` lies between ``begin`` and ``end``."""
    cut = (
        Span(span.task, max(span.began, begin), min(span.ended, end), span.through_breaks)
        for span in spans
        if span.began < end and span.ended > begin
    )
    return list(cut)


def shared_minutes(total: int, weights: Sequence[Decimal], keys: Sequence[int]) -> list[int]:
    """``total`` [min] shared by ``weights``, to the minute: largest remainder, ties to the smaller key.

    >>> shared_minutes(100, [Decimal(1), Decimal(1), Decimal(1)], [1, 2, 3])
    [34, 33, 33]
    """
    order = [f"{key:020}" for key in keys]
    return [int(share) for share in shared_out(Decimal(total), weights, order, digits=0)]


def costs(minutes: Sequence[int], keys: Sequence[int], *, rate: Decimal, digits: int) -> list[Decimal]:
    """What each of ``minutes`` costs at ``rate`` [money/h], to the minor unit: the sum is what all of them cost together.

    >>> costs([20, 20, 20], [1, 2, 3], rate=Decimal("10.00"), digits=2)
    [Decimal('3.34'), Decimal('3.33'), Decimal('3.33')]
    """
    exact = CONTEXT.divide(CONTEXT.multiply(rate, Decimal(sum(minutes))), Decimal(_HOUR))
    order = [f"{key:020}" for key in keys]
    return shared_out(rounded(exact, digits=digits), [Decimal(each) for each in minutes], order, digits=digits)


def _local(at: int, zone: tzinfo) -> date:
    return instant(at).astimezone(zone).date()


def _length(pause: Pause) -> int:
    begins, ends = (each.hour * _HOUR + each.minute for each in (pause.begins, pause.ends))
    return ends - begins


def _merged(spans: Iterable[Minutes]) -> list[Minutes]:
    merged: list[Minutes] = []
    for begin, end in sorted(spans):
        if merged and begin <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(merged[-1][1], end)
        else:
            merged.append((begin, end))
    return merged


def _without(spans: Iterable[Minutes], taken: Sequence[Minutes]) -> list[Minutes]:
    """``spans`` less what is ``taken``; both in order and apart."""
    left: list[Minutes] = []
    for begin, end in spans:
        at = begin
        for other, until in taken:
            if until > at and other < end:
                if at < other:
                    left.append((at, other))
                at = max(at, until)
        if at < end:
            left.append((at, end))
    return left
