"""Any changes in any order: undone from the last to the first, each state on the way is the one that was; undone out of turn,
a change is either undone or nothing happens at all.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quotes.desk import undoing
from quotes.pricing.services import change_draft
from shop.journal.models import Entry
from shop.journal.services import ALSO
from shop.methods.models import Finish
from shop.restorations.models import Part
from shop.restorations.services import remove_part
from shop.routes.many import edit_parts
from shop.routes.models import Step, Wait
from shop.routes.parts import bring_back_routed_part, edit_part
from shop.routes.services import (
    add_step,
    bring_back_step,
    change_step,
    move_step,
    remove_step,
    stop_waiting,
    wait_for,
)
from tests.workshop import WHO, frame

from .test_undoing import BEN, Bike, bike, state

__all__ = ["bike"]
pytestmark = pytest.mark.django_db

Change = tuple[str, int, int, int]


def pick(rows: Any, number: int) -> Any:
    found = list(rows.order_by("pk"))
    return found[number % len(found)] if found else None


def finish(number: int) -> Finish | None:
    return pick(Finish.objects.all(), number) if number % 4 else None


def part(number: int, **asked: Any) -> Part:
    return pick(Part.objects.filter(**asked), number)


def step(number: int, **asked: Any) -> Step:
    return pick(Step.objects.select_related("part").filter(**asked), number)


def many(b: Bike, x: int, y: int) -> None:
    b.row.refresh_from_db()
    uids = list(b.row.parts.filter(removed_at=None).values_list("uid", flat=True))
    changes = {"agreed_finish": finish(x), "pieces": y + 1}
    edit_parts(restoration=b.row, parts=uids, seen=b.row.scope_version, changes=changes, **WHO)


CHANGES: dict[str, Callable[[Bike, int, int, int], object]] = {
    "pieces": lambda _b, x, y, _z: edit_part(part=part(x), changes={"pieces": y + 1}, **WHO),
    "finish": lambda _b, x, y, _z: edit_part(part=part(x), changes={"agreed_finish": finish(y)}, **WHO),
    "old finish": lambda _b, x, y, _z: edit_part(part=part(x), changes={"old_finish": finish(y)}, **WHO),
    "part": lambda b, x, _y, _z: frame(b.row, b.shop, name=f"Part {x}"),
    "part out": lambda _b, x, _y, _z: remove_part(part=part(x, removed_at=None), **WHO),
    "part back": lambda _b, x, _y, _z: bring_back_routed_part(part=part(x, removed_at__isnull=False), **WHO),
    "step": lambda b, x, _y, z: add_step(
        part=part(x), origin=Step.Origin.AFTER if z % 2 else Step.Origin.BEFORE, operation=b.shop.fit, **WHO
    ),
    "step off": lambda _b, x, _y, _z: remove_step(step=step(x, removed_at=None), **WHO),
    "step back": lambda _b, x, _y, _z: bring_back_step(step=step(x, removed_at__isnull=False), **WHO),
    "chance": lambda _b, x, y, z: change_step(
        step=step(x), changes={"fail_chance": Decimal(y), "back_to": step(z, part=step(x).part)}, **WHO
    ),
    "move": lambda _b, x, _y, z: move_step(step=step(x), earlier=bool(z % 2), **WHO),
    "wait": lambda _b, x, y, _z: wait_for(step=step(x), on=step(y), **WHO),
    "no wait": lambda _b, x, _y, _z: stop_waiting(
        wait=pick(Wait.objects.select_related("step__part", "on__part"), x), **WHO
    ),
    "terms": lambda b, x, _y, _z: change_draft(draft=b.draft, changes={"discount": Decimal(x)}, **WHO),
    "many": lambda b, x, y, _z: many(b, x, y),
}
A_CHANGE = st.tuples(st.sampled_from(sorted(CHANGES)), st.integers(0, 11), st.integers(0, 11), st.integers(0, 11))


def newest() -> Entry:
    return Entry.objects.exclude(reference__endswith=ALSO).latest("pk")


def made(b: Bike, change: Change) -> Entry | None:
    """Do it, where it can be done; the entry it left, if any."""
    name, *numbers = change
    before = newest().pk
    try:
        with transaction.atomic():
            CHANGES[name](b, *numbers)
    except (ValidationError, AttributeError, undoing.CannotUndoError):  # no such row, or refused
        return None
    entry = newest()
    return entry if entry.pk > before else None


def undo(b: Bike, entry: Entry) -> None:
    undoing.undo(restoration=b.row, entry=entry, **BEN)


def from_the_last_to_the_first(bike: Bike, changes: list[Change], again: int) -> None:
    with transaction.atomic():
        states, entries = [state(bike.row)], []
        for change in changes:
            entry = made(bike, change)
            if entry is not None:
                entries.append(entry)
                states.append(state(bike.row))
        undone = []
        for entry, before in zip(reversed(entries), reversed(states[:-1]), strict=True):
            undo(bike, entry)
            undone.append(newest())
            assert state(bike.row) == before, entry.what
        for entry, after in zip(list(reversed(undone))[: again + 1], states[1:], strict=False):
            undo(bike, entry)
            assert state(bike.row) == after, entry.what
        transaction.set_rollback(True)


def out_of_turn(bike: Bike, changes: list[Change], which: int, anyway: bool) -> None:
    with transaction.atomic():
        entries = [entry for change in changes if (entry := made(bike, change)) is not None]
        if entries:
            _try(bike, entries[which % len(entries)], anyway=anyway)
        transaction.set_rollback(True)


def _try(b: Bike, entry: Entry, *, anyway: bool) -> None:
    before, told = state(b.row), Entry.objects.count()
    try:
        undo(b, entry)
    except undoing.ChangedSinceError as changed:
        assert state(b.row) == before
        assert Entry.objects.count() == told
        if not anyway:
            return
        try:
            undoing.undo(restoration=b.row, entry=entry, over=changed.over, **BEN)
        except ValidationError:
            assert state(b.row) == before
            return
    except ValidationError:
        assert state(b.row) == before
        assert Entry.objects.count() == told
        return
    assert undoing.undone_by(entry) is not None
    # Whatever was undone out of turn is undone as a change of its own: that brings back what stood there.
    undo(b, newest())
    assert state(b.row) == before


def tried(count: int) -> settings:
    return settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))


IN_TURN = given(changes=st.lists(A_CHANGE, min_size=1, max_size=7), again=st.integers(0, 6))
ANY = given(changes=st.lists(A_CHANGE, min_size=2, max_size=7), which=st.integers(0, 6), anyway=st.booleans())


@tried(8)
@IN_TURN
def test_from_the_last_to_the_first_every_state_returns(bike: Bike, changes: list[Change], again: int) -> None:
    from_the_last_to_the_first(bike, changes, again)


@tried(8)
@ANY
def test_out_of_turn_it_is_undone_whole_or_not_at_all(
    bike: Bike, changes: list[Change], which: int, anyway: bool
) -> None:
    out_of_turn(bike, changes, which, anyway)


@pytest.mark.long
@tried(150)
@IN_TURN
def test_a_great_many_from_the_last_to_the_first(bike: Bike, changes: list[Change], again: int) -> None:
    from_the_last_to_the_first(bike, changes, again)


@pytest.mark.long
@tried(150)
@ANY
def test_a_great_many_out_of_turn(bike: Bike, changes: list[Change], which: int, anyway: bool) -> None:
    out_of_turn(bike, changes, which, anyway)
