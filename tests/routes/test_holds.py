"""Held days: kinds, without an end, let go on a day."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.journal.models import Entry
from shop.restorations.models import Restoration
from shop.routes.models import Hold
from shop.routes.planning import end_on, hold, let_go
from shop.routes.schedules import holds
from tests.planned import fitted, fresh_draft, kept, lever, planning_workshop
from tests.workshop import TODAY, WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike() -> Restoration:
    shop = planning_workshop(workshop())
    made = restoration()
    part, plated = frame(made, shop), lever(made, shop)
    fitted(part, shop, plated.steps.get(service=shop.plate))
    fresh_draft(made)
    return made


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


def held(of: Restoration, first: int, last: int | None = None, kind: str = "unpaid") -> Hold:
    last_day = None if last is None else day(last)
    return hold(restoration=of, first=day(first), last=last_day, kind=kind, reason="deposit", **WHO)


def test_a_hold_without_an_end_moves_the_ready_day_every_day_until_it_is_let_go(bike: Restoration) -> None:
    """A plan before, one held on the same day and one held a week later: the longer it lasts, the later it is ready."""
    before = kept(bike).ready_certain
    row = held(bike, 0)
    first, later = kept(bike).ready_certain, kept(bike, today=day(7)).ready_certain
    assert before < first < later
    end_on(hold=row, last=day(0), **WHO)
    assert kept(bike).ready_certain == first
    let_go(hold=row, **WHO)
    assert kept(bike).ready_certain == before


def test_a_hold_without_an_end_is_told_with_its_kind(bike: Restoration) -> None:
    held(bike, 0)
    told = Entry.objects.get(what="held")
    assert told.after == '{"first day":"2026-03-02","kind":"unpaid","last day":null,"reason":"deposit"}'


def test_let_go_it_keeps_its_days(bike: Restoration) -> None:
    row = held(bike, -3)
    bike.refresh_from_db()
    before = bike.scope_version
    end_on(hold=row, last=day(-1), **WHO)
    row.refresh_from_db()
    bike.refresh_from_db()
    assert (row.last, row.removed_at, bike.scope_version) == (day(-1), None, before + 1)
    assert holds(bike) == [row]
    told = Entry.objects.get(what="hold let go")
    assert (told.before, told.after) == ('{"last day":null}', '{"last day":"2026-03-01"}')


def test_let_go_twice_on_one_day_changes_nothing_the_second_time(bike: Restoration) -> None:
    row = held(bike, 0)
    end_on(hold=row, last=day(2), **WHO)
    entries = Entry.objects.count()
    end_on(hold=row, last=day(2), **WHO)
    assert Entry.objects.count() == entries


@pytest.mark.parametrize(
    ("last", "on", "sentence"),
    [
        (None, -1, "It was not held yet on that day."),
        (5, 6, "It is held until 7 Mar 2026 only."),
        (None, 731, "That is more than two years."),
    ],
)
def test_a_hold_is_let_go_on_a_day_of_its_own(bike: Restoration, last: int | None, on: int, sentence: str) -> None:
    row = held(bike, 0, last)
    with pytest.raises(ValidationError) as refused:
        end_on(hold=row, last=day(on), **WHO)
    assert sentence in refused.value.message_dict["last"][0]
    row.refresh_from_db()
    assert row.last == (None if last is None else day(last))


def test_what_was_taken_back_cannot_be_let_go(bike: Restoration) -> None:
    row = held(bike, 0)
    let_go(hold=row, **WHO)
    with pytest.raises(ValidationError, match="taken back meanwhile"):
        end_on(hold=row, last=day(0), **WHO)


@pytest.mark.parametrize(
    ("first", "last", "again"),
    [(0, None, (5, 8)), (0, None, (5, None)), (0, 5, (5, 8)), (3, 5, (0, None)), (3, 5, (0, 9))],
)
def test_of_one_kind_a_day_is_held_once(
    bike: Restoration, first: int, last: int | None, again: tuple[int, int | None]
) -> None:
    held(bike, first, last)
    with pytest.raises(ValidationError) as refused:
        held(bike, *again)
    assert "It is held for that already (a payment is missing" in refused.value.message_dict["first"][0]
    assert Hold.objects.count() == 1


def test_two_reasons_can_hold_the_same_days(bike: Restoration) -> None:
    for kind in Hold.Kind.values:
        held(bike, 0, 5, kind)
    held(bike, 6, 8)
    row = held(bike, 9, 12)
    let_go(hold=row, **WHO)
    held(bike, 9, None)
    assert len(holds(bike)) == 6


@pytest.mark.parametrize("first", [-731, 731])
def test_an_endless_hold_begins_within_two_years(bike: Restoration, first: int) -> None:
    with pytest.raises(ValidationError) as refused:
        held(bike, first)
    assert list(refused.value.error_dict) == ["first"]


def test_no_hold_of_an_unknown_kind_or_in_the_wrong_order(bike: Restoration) -> None:
    with pytest.raises(ValidationError) as refused:
        held(bike, 0, kind="bored")
    assert list(refused.value.error_dict) == ["kind"]
    row = held(bike, 0)
    with pytest.raises(IntegrityError, match="hold_in_order"), transaction.atomic():
        Hold.objects.filter(pk=row.pk).update(last=day(-1))
    assert row.restoration.holds.count() == 1
