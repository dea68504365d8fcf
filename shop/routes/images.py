"""What a change did to a part's route, exactly: which steps came and went, ways back and waits; and putting it back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from shop.journal.services import record, subject_of
from shop.restorations.models import Part
from shop.restorations.services import change_scope, hold_part, refuse_out_of_scope
from shop.routes.models import Step, Wait
from shop.routes.order import refuse_circles

WHAT = "route laid anew"
OF_FINISH = (Step.Origin.STRIP, Step.Origin.FINISH)

State = Mapping[str, Any]


@dataclass(slots=True)
class Image:
    """A part's steps as they are: those on the route with their places, all ways back, and waits of and for any of them."""

    steps: dict[str, dict[str, Any]] = field(default_factory=dict)
    ways_back: dict[str, str] = field(default_factory=dict)
    waits: set[tuple[str, str]] = field(default_factory=set)


def image(part: Part) -> Image:
    """In two queries."""
    rows = list(part.steps.select_related("operation", "service__vendor", "back_to").order_by("position", "pk"))
    live = {str(row.uid): row for row in rows if row.removed_at is None}
    waits = Wait.objects.filter(Q(step__part=part) | Q(on__part=part)).values_list("step__uid", "on__uid")
    return Image(
        {uid: {"name": str(row), "uid": uid, "place": row.position} for uid, row in live.items()},
        {str(row.uid): str(row.back_to.uid) if row.back_to else "" for row in rows},
        {(str(step), str(on)) for step, on in waits},
    )


def told_apart(before: Image, after: Image) -> tuple[dict[str, Any], dict[str, Any]]:
    """What differs between two images of one part, as the journal keeps it."""
    return _beside(before, after), _beside(after, before)


def _beside(one: Image, other: Image) -> dict[str, Any]:
    both = one.ways_back.keys() & other.ways_back.keys()
    return {
        "steps": [step for uid, step in one.steps.items() if other.steps.get(uid) != step],
        "ways back": sorted([uid, one.ways_back[uid]] for uid in both if one.ways_back[uid] != other.ways_back[uid]),
        "waits": sorted([step, on] for step, on in one.waits - other.waits),
    }


def note_laid(part: Part, before: Image, *, who: str, now: datetime) -> None:
    """Record what became of the route of ``part`` since ``before``, inside the running transaction."""
    was, now_is = told_apart(before, image(part))
    record(who=who, at=now, what=WHAT, subject=subject_of(part), before=was, after=now_is)


def stands(part: Part, left: State, was: State) -> bool:
    """Whether the route is what a change left there, as far as the change went."""
    now = image(part)
    left_steps = {step["uid"]: step["place"] for step in left.get("steps", ())}
    places = {uid: step["place"] for uid, step in now.steps.items()}
    gone = {step["uid"] for step in was.get("steps", ())} - left_steps.keys()
    return (
        all(places.get(uid) == place for uid, place in left_steps.items())
        and not gone & places.keys()
        and all(now.ways_back.get(uid) == to for uid, to in left.get("ways back", ()))
        and {(step, on) for step, on in left.get("waits", ())} <= now.waits
        and not _others(part, left, was)
    )


def _others(part: Part, left: State, was: State) -> list[Step]:
    """Steps on the route in a stretch that the change laid, which it did not lay."""
    known = {step["uid"] for state in (left, was) for step in state.get("steps", ())}
    rows = list(part.steps.filter(origin__in=OF_FINISH))
    laid = {row.origin for row in rows if str(row.uid) in known}
    meant = {step["uid"] for step in left.get("steps", ())}
    return [row for row in rows if row.origin in laid and row.removed_at is None and str(row.uid) not in meant]


@transaction.atomic
def put_back(*, part: Part, left: State, was: State, who: str, now: datetime) -> None:
    """Make the route what it was before a change that left ``left`` in place of ``was``: the same steps return.

    What was laid in the same stretch since goes off the route. Refused when steps would wait in a circle by now.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    before = image(part)
    kept = {step["uid"]: step["place"] for step in was.get("steps", ())}
    gone = {step["uid"] for step in left.get("steps", ())} - kept.keys()
    others = [row.pk for row in _others(part, left, was) if str(row.uid) not in kept]
    part.steps.filter(Q(uid__in=gone) | Q(pk__in=others), removed_at__isnull=True).update(removed_at=now)
    _return_steps(part, kept, now)
    _return_ways(part, was.get("ways back", ()))
    _return_waits(left.get("waits", ()), was.get("waits", ()))
    change_scope(part.restoration)
    note_laid(part, before, who=who, now=now)
    refuse_circles(part.restoration)


def _return_steps(part: Part, kept: Mapping[str, int], now: datetime) -> None:
    rows = list(part.steps.filter(uid__in=kept))
    # Off the route for a moment: two that change places must not meet on the way.
    part.steps.filter(uid__in=kept, removed_at__isnull=True).update(removed_at=now)
    taken = set(part.steps.filter(removed_at__isnull=True).values_list("position", flat=True))
    for row in sorted(rows, key=lambda row: kept[str(row.uid)]):
        place = kept[str(row.uid)]
        while place in taken:
            place += 1
        taken.add(place)
        row.position, row.removed_at = place, None
    Step.objects.bulk_update(rows, ["position", "removed_at"])


def _return_ways(part: Part, ways: Sequence[Sequence[str]]) -> None:
    by_uid = {str(row.uid): row for row in part.steps.all()} if ways else {}
    rows = []
    for uid, to in ways:
        if uid in by_uid:
            by_uid[uid].back_to = by_uid.get(to)
            rows.append(by_uid[uid])
    Step.objects.bulk_update(rows, ["back_to"])


def _return_waits(left: Sequence[Sequence[str]], was: Sequence[Sequence[str]]) -> None:
    steps = {
        str(row.uid): row.pk for row in Step.objects.filter(uid__in={uid for pair in (*left, *was) for uid in pair})
    }
    gone = {(steps.get(step), steps.get(on)) for step, on in left}
    for wait in Wait.objects.filter(step__in=[step for step, _on in gone if step]):
        if (wait.step_id, wait.on_id) in gone:
            wait.delete()
    pairs = [(steps[step], steps[on]) for step, on in was if step in steps and on in steps]
    Wait.objects.bulk_create((Wait(step_id=step, on_id=on) for step, on in pairs), ignore_conflicts=True)
