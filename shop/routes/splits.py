"""Pieces that went their own way: what of a part that was split belongs together, and stands for the whole of it.

A part that is split keeps its steps. Each has a copy on the part split off, in ``split_into``. What was agreed is agreed for
all pieces together: price, scope and plan read them as one, see `merged`. The workshop reads them one by one.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from django.db.models import Q

from shop.restorations.models import Part
from shop.routes.models import Step

#: On the way through the workshop: a part split off goes out of scope with the one it came from, its steps with theirs.
LIVE_PART = Q(removed_at__isnull=True) & (Q(split_from__isnull=True) | Q(split_from__removed_at__isnull=True))
LIVE_STEP = Q(removed_at__isnull=True) & (Q(split_from__isnull=True) | Q(split_from__removed_at__isnull=True))


def origin(part: Part) -> int:
    """The part that evidence, agreement and price of ``part`` are kept with."""
    return part.split_from_id or part.pk


def origin_step(step: Step) -> int:
    """The step that waits, plan and price of ``step`` are kept with."""
    return step.split_from_id or step.pk


def merged(parts: Iterable[Part]) -> list[Part]:
    """``parts`` without those split off, whose pieces are counted where they came from. For reading only."""
    rows = list(parts)
    gone: dict[int, int] = defaultdict(int)
    for part in rows:
        if part.split_from_id:
            gone[part.split_from_id] += part.pieces
    whole = [part for part in rows if not part.split_from_id]
    for part in whole:
        part.pieces += gone.get(part.pk, 0)
    return whole


def merged_steps(steps: Sequence[Step]) -> list[Step]:
    """``steps`` without the copies, whose quantities are counted where they came from. For reading only."""
    whole = {step.pk: step for step in steps if not step.split_from_id}
    for copy in steps:
        known = whole.get(copy.split_from_id) if copy.split_from_id else None
        if known is not None and known.quantity is not None and copy.quantity is not None:
            known.quantity += copy.quantity
    return list(whole.values())


def with_copies(step_uids: Iterable[UUID]) -> set[UUID]:
    """The steps named, with their copies: what is agreed about one is agreed about all its pieces."""
    wanted = set(step_uids)
    return wanted | set(Step.objects.filter(split_from__uid__in=wanted).values_list("uid", flat=True))


def copies(steps: Iterable[Step]) -> Mapping[int, list[Step]]:
    """Step pk to its copies on parts split off."""
    found: dict[int, list[Step]] = defaultdict(list)
    for step in steps:
        if step.split_from_id:
            found[step.split_from_id].append(step)
    return found
