"""A cause that returns proposes a check: the same one twice on the same operation, and nothing looks for it there."""

from dataclasses import dataclass

from shop.floor.models import Rework
from shop.methods.models import Cause, Check, Operation

TWICE = 2


@dataclass(frozen=True, slots=True)
class Proposal:
    """``count`` times work was done again for ``cause`` that lay at ``operation``; ``newest`` is the last time."""

    cause: Cause
    operation: Operation
    count: int
    newest: Rework


def proposals() -> list[Proposal]:
    """The causes that returned, the most frequent first. Two queries.

    It counts where the cause lay, if that was said, else where it came out. A check against it that was ended, or that
    somebody said is not wanted, is an answer too.
    """
    rows = Rework.objects.select_related(
        "cause",
        "step__operation",
        "came_from__operation",
        "step__service",
        "step__part__restoration__customer",
        "step__part__restoration__machine",
    ).order_by("-at", "-pk")
    found: dict[tuple[int, int], list[Rework]] = {}
    for row in rows:
        operation = operation_of(row)
        if operation is not None and not row.cause.ended:
            found.setdefault((row.cause_id, operation.pk), []).append(row)
    answered = set(Check.objects.filter(against__isnull=False).values_list("against", "operation"))
    made = [
        Proposal(rows[0].cause, operation, len(rows), rows[0])
        for key, rows in found.items()
        if len(rows) >= TWICE and key not in answered and (operation := operation_of(rows[0])) is not None
    ]
    return sorted(made, key=lambda one: (-one.count, one.cause.name, one.operation.name))


def operation_of(row: Rework) -> Operation | None:
    """The labour operation where a check would have caught it; None where that was vendor work."""
    return (row.came_from or row.step).operation
