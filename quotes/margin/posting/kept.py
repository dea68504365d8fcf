"""Writing cost entries: what a fact costs now is compared with what stands for it; a difference is reversed and posted anew."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from quotes.margin.models import AMOUNTS, CostEntry, Mark

#: How many rows are written at once.
AT_ONCE = 500
LOCK = "everything"


@dataclass(slots=True)
class Kept:
    """How many entries were made, and how many of them reverse others."""

    made: int = 0
    reversed: int = 0

    def __iadd__(self, other: "Kept") -> "Kept":
        self.made += other.made
        self.reversed += other.reversed
        return self


@dataclass(frozen=True, slots=True)
class Cost:
    """One entry as it should stand; money in minor units."""

    on: date
    nature: str
    restoration_id: int | None = None
    step_uid: UUID | None = None
    visit: int = 1
    cause_id: int | None = None
    origin_uid: UUID | None = None
    grade_id: int | None = None
    rate_minor: int | None = None
    seconds: int = 0
    consumable_id: int | None = None
    quantity: Decimal | None = None
    whole: Decimal | None = None
    labour_minor: int = 0
    overhead_minor: int = 0
    material_minor: int = 0
    vendor_minor: int = 0
    handling_minor: int = 0
    bought_in_minor: int = 0
    provisional: bool = False


COLUMNS = tuple(one.name for one in fields(Cost))
#: What is turned around in a reversal.
TURNED = ("seconds", *AMOUNTS)


@dataclass(slots=True)
class _Standing:
    rows: list[CostEntry] = field(default_factory=list)
    revision: int = 0


def hold() -> None:
    """Nobody else posts until this transaction ends."""
    Mark.objects.get_or_create(source=LOCK)
    Mark.objects.select_for_update().get(source=LOCK)


def mark_of(source: str) -> Mark:
    """How far a source was looked at."""
    return Mark.objects.get_or_create(source=source)[0]


def post(source: str, expected: Mapping[int, Sequence[Cost]], *, now: datetime) -> Kept:
    """Make what stands for each fact of ``expected`` what it says, in a number of queries that goes with what is written."""
    standing = _standing(source, expected.keys())
    reversals: list[CostEntry] = []
    rows: list[CostEntry] = []
    for key, costs in expected.items():
        known = standing.get(key, _Standing())
        if [_told(row) for row in known.rows] == [_told(cost) for cost in costs]:
            continue
        reversals += [_reversal(row, now) for row in known.rows]
        rows += [
            CostEntry(
                source=source,
                source_id=key,
                revision=known.revision + 1,
                position=position,
                posted_at=now,
                **{name: getattr(cost, name) for name in COLUMNS},
            )
            for position, cost in enumerate(costs, start=1)
        ]
    CostEntry.objects.bulk_create(reversals + rows, batch_size=AT_ONCE)
    return Kept(len(reversals) + len(rows), len(reversals))


def posted(source: str, keys: Collection[int]) -> set[int]:
    """Those of ``keys`` for which something stands."""
    return {key for key, known in _standing(source, keys).items() if known.rows}


def _standing(source: str, keys: Collection[int]) -> dict[int, _Standing]:
    found: dict[int, _Standing] = defaultdict(_Standing)
    wanted = sorted(keys)
    for start in range(0, len(wanted), AT_ONCE):
        rows = CostEntry.objects.filter(source=source, source_id__in=wanted[start : start + AT_ONCE])
        for row in rows.filter(reverses__isnull=True).select_related("reversed_by").order_by("revision", "position"):
            known = found[row.source_id]
            known.revision = max(known.revision, row.revision)
            if not hasattr(row, "reversed_by"):
                known.rows.append(row)
    return found


def _told(row: CostEntry | Cost) -> tuple[Any, ...]:
    return tuple(getattr(row, name) for name in COLUMNS)


def _reversal(row: CostEntry, now: datetime) -> CostEntry:
    given = {name: getattr(row, name) for name in COLUMNS} | {name: -getattr(row, name) for name in TURNED}
    return CostEntry(
        source=row.source,
        source_id=row.source_id,
        revision=row.revision,
        position=-row.position,
        reverses=row,
        posted_at=now,
        **given,
    )


def exact(amount: Decimal) -> Decimal:
    """An amount as the database keeps it."""
    return amount.quantize(Decimal("0.000001"))


def chunks(keys: Iterable[int], size: int = 2_000) -> Iterable[list[int]]:
    """``keys`` in order, some at a time."""
    wanted = sorted(keys)
    return (wanted[start : start + size] for start in range(0, len(wanted), size))
