"""Plans are kept with every step, replaced whole, and held days move them."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError

from quotes.pricing.planning import content, plan_draft
from quotes.pricing.selectors import priced
from shop.journal.models import Entry
from shop.restorations.models import Restoration
from shop.routes.models import Hold, Plan, PlannedStep, Step
from shop.routes.parts import edit_part
from shop.routes.planning import _instant, hold, let_go
from shop.routes.services import remove_step
from tests.planned import LEAD, bought, fitted, fresh_draft, kept, lever, planning_workshop, work_out_anew
from tests.workshop import NOW, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    """A frame that is fitted when a plated lever is back, and a seal that is bought."""
    made = restoration()
    frame_part, plated = frame(made, shop), lever(made, shop)
    bought(frame_part)
    fitted(frame_part, shop, plated.steps.get(service=shop.plate))
    return made


def planned(of: Restoration, **step: object) -> PlannedStep:
    return PlannedStep.objects.get(plan__restoration=of, **{f"step__{name}": value for name, value in step.items()})


def test_every_step_on_the_routes_has_its_days(bike: Restoration) -> None:
    made = kept(bike)
    steps = Step.objects.filter(part__restoration=bike, removed_at__isnull=True)
    assert set(made.steps.values_list("step", flat=True)) == set(steps.values_list("pk", flat=True))
    for row in made.steps.all():
        assert row.earliest_start <= row.earliest_finish <= row.latest_finish
        assert row.earliest_start <= row.latest_start <= row.latest_finish
        assert row.latest_finish.date() <= made.ready_certain
    assert made.starts_on == TODAY
    assert made.ready_certain <= made.ready_kept
    assert (made.scope_version, made.made_at) == (bike.scope_version, NOW)


def test_what_was_worked_out_is_kept_as_it_was(bike: Restoration) -> None:
    worked = work_out_anew(bike)
    made = Plan.objects.get()
    assert content(made) == worked
    assert worked is not None
    days = (worked.planned.ready, worked.promise.likely, worked.promise.day)
    assert days == (made.ready_certain.isoformat(), made.ready_likely.isoformat(), made.ready_kept.isoformat())


def test_a_plan_is_no_news_for_the_journal(bike: Restoration) -> None:
    fresh_draft(bike)
    before = Entry.objects.count()
    kept(bike)
    assert Entry.objects.count() == before


def test_a_new_plan_takes_the_place_of_the_old_one_whole(bike: Restoration, shop: Workshop) -> None:
    kept(bike)
    gone = Step.objects.get(part__restoration=bike, operation=shop.fit)
    remove_step(step=gone, **WHO)
    added = lever(bike, shop, name="Pedal")
    made = kept(bike)
    assert Plan.objects.count() == 1
    assert not made.steps.filter(step=gone).exists()
    assert made.steps.filter(step__part=added).count() == 1
    assert PlannedStep.objects.count() == Step.objects.filter(removed_at__isnull=True).count()


def test_a_plan_of_a_scope_that_has_moved_on_is_not_kept(bike: Restoration, shop: Workshop) -> None:
    first = kept(bike)
    found = priced(fresh_draft(bike))
    edit_part(part=bike.parts.get(name="Lever"), changes={"pieces": 2}, **WHO)
    later = NOW + timedelta(hours=1)
    assert plan_draft(found=found, today=TODAY, now=later) is None
    first.refresh_from_db()
    assert first.made_at == NOW
    assert first.steps.count() == 5


def test_a_lot_must_leave_and_be_back_by_its_days(bike: Restoration, shop: Workshop) -> None:
    """By hand: ten of the plater's working days are two weeks, so that it must be back fourteen days after it leaves."""
    worked = work_out_anew(bike)
    assert worked is not None
    row, (lot,) = planned(bike, service=shop.plate), worked.planned.lots
    assert (row.leave_by, row.back_by) == (date.fromisoformat(lot.must_leave), date.fromisoformat(lot.must_be_back))
    assert row.leave_by is not None
    assert row.back_by is not None
    assert row.back_by - row.leave_by == timedelta(days=7 * LEAD // 5)


def test_a_purchase_must_be_ordered_by_its_day(bike: Restoration) -> None:
    """By hand: fifteen working days of the shop are three weeks."""
    kept(bike)
    row = planned(bike, buy="Seal")
    assert row.leave_by is not None
    assert row.back_by is not None
    assert row.back_by - row.leave_by == timedelta(days=21)
    assert not PlannedStep.objects.filter(step__operation__isnull=False).exclude(leave_by=None, back_by=None).exists()


def test_the_steps_that_drive_the_day_are_those_the_plan_says(bike: Restoration, shop: Workshop) -> None:
    """The seal takes longer than the plater, so the frame's own way drives; with a slower plater the lever does."""
    kept(bike)
    assert not planned(bike, service=shop.plate).drives
    assert planned(bike, buy="Seal").drives
    assert planned(bike, operation=shop.fit).drives
    shop.plate.lead_days = 60
    shop.plate.save()
    kept(bike)
    assert planned(bike, service=shop.plate).drives
    assert not planned(bike, buy="Seal").drives
    # What drives slips only to closing time on the ready day; what does not slips by weeks.
    assert planned(bike, service=shop.plate).slack <= 8 * 60 < planned(bike, operation=shop.blast).slack


def test_all_steps_of_a_batch_drive_and_only_the_first_takes_the_place(bike: Restoration, shop: Workshop) -> None:
    """By hand: two frames of 60 dm² blasted together are one set-up of 12 min and 2 × 30 min."""
    frame(bike, shop, name="Fork")
    kept(bike)
    rows = list(PlannedStep.objects.filter(step__operation=shop.blast))
    assert sorted(row.taken for row in rows) == [0, 72]
    assert sum(row.minutes for row in rows) == 72
    assert {row.place for row in rows} == {"Cabinet"}
    assert len({(row.earliest_start, row.drives) for row in rows}) == 1


def test_a_part_of_no_pieces_is_planned_all_the_same(bike: Restoration, shop: Workshop) -> None:
    lever(bike, shop, name="Spare", pieces=0)
    row = kept(bike).steps.get(step__part__name="Spare")
    assert (row.minutes, row.leave_by) == (0, None)


# --- the shop's clock ---


def test_an_instant_is_on_the_shops_clock_in_winter_and_in_summer() -> None:
    """Source: summer time in Britain in 2026 runs from 29 March to 25 October (last Sundays, value from memory)."""
    assert _instant("2026-03-02T08:00") == datetime(2026, 3, 2, 8, tzinfo=UTC)
    assert _instant("2026-06-01T08:00") == datetime(2026, 6, 1, 7, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-03-29T01:30", datetime(2026, 3, 29, 1, 30, tzinfo=UTC)),  # no clock shows it: 02:30 in summer
        ("2026-10-25T01:30", datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),  # shown twice: the second time
    ],
)
def test_where_the_clock_is_changed_an_instant_is_the_later_reading(text: str, utc: datetime) -> None:
    assert _instant(text).astimezone(UTC) == utc  # compared as they are, two zones are never alike at such an hour


def test_a_step_that_ends_in_the_hour_that_no_clock_shows_is_kept(shop: Workshop) -> None:
    """By hand: 42 min from eight on Friday 27 March and 41 h of standing end at 01:42 on Sunday; the coat is Monday's."""
    shop.blast.elapsed = 41 * 60
    shop.blast.save()
    bike = restoration()
    frame(bike, shop)
    kept(bike, today=date(2026, 3, 27))
    blasted = planned(bike, operation=shop.blast)
    assert blasted.earliest_start == datetime(2026, 3, 27, 8, tzinfo=UTC)
    assert blasted.earliest_finish == datetime(2026, 3, 29, 1, 42, tzinfo=UTC)
    assert planned(bike, operation=shop.spray).earliest_start == datetime(2026, 3, 30, 7, tzinfo=UTC)


# --- holds ---


def days(of: Restoration) -> tuple[date, date]:
    made = kept(of)
    return made.ready_certain, made.ready_kept


def test_a_hold_moves_the_ready_day_by_its_days_and_taking_it_back_brings_it_back(bike: Restoration) -> None:
    """By hand: two whole weeks at the beginning are fourteen days for whatever needs the shop first."""
    before = days(bike)
    row = hold(restoration=bike, first=date(2026, 3, 2), last=date(2026, 3, 15), reason="deciding", **WHO)
    held = days(bike)
    assert held[0] == before[0] + timedelta(days=14)
    assert held[1] > before[1]
    let_go(hold=row, **WHO)
    assert days(bike) == before


def test_a_hold_is_told_to_the_journal_and_the_scope_moves_on(bike: Restoration) -> None:
    bike.refresh_from_db()
    before = bike.scope_version
    row = hold(restoration=bike, first=date(2026, 4, 1), last=date(2026, 4, 3), reason="  deciding ", **WHO)
    let_go(hold=row, **WHO)
    bike.refresh_from_db()
    assert bike.scope_version == before + 2
    told = '{"first day":"2026-04-01","kind":"ours","last day":"2026-04-03","reason":"deciding"}'
    on, off = Entry.objects.filter(subject_uid=bike.uid, what__startswith="h").order_by("pk")
    assert (on.what, on.who, on.after) == ("held", "ada", told)
    assert (off.what, off.who, off.before) == ("hold taken back", "ada", told)


def test_a_hold_taken_back_twice_changes_nothing_the_second_time(bike: Restoration) -> None:
    row = hold(restoration=bike, first=date(2026, 4, 1), last=date(2026, 4, 3), reason="deciding", **WHO)
    other = Hold.objects.get()
    let_go(hold=row, **WHO)
    bike.refresh_from_db()
    before = (bike.scope_version, Entry.objects.count(), Hold.objects.get().removed_at)
    let_go(hold=other, who="eve", now=NOW + timedelta(days=1))
    bike.refresh_from_db()
    assert (bike.scope_version, Entry.objects.count(), Hold.objects.get().removed_at) == before


@pytest.mark.parametrize(
    ("first", "last", "sentence"),
    [
        (date(2026, 4, 3), date(2026, 4, 1), "The last day is before the first. Swap them."),
        (date(2026, 4, 1), date(2028, 4, 1), "That is more than two years. Give a nearer last day."),
    ],
)
def test_days_in_the_wrong_order_or_without_end_are_refused_at_the_last_day(
    bike: Restoration, first: date, last: date, sentence: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        hold(restoration=bike, first=first, last=last, reason="deciding", **WHO)
    assert refused.value.message_dict == {"last": [sentence]}
    assert not Hold.objects.exists()


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_hold_without_a_reason_is_refused_at_its_field(bike: Restoration, reason: str) -> None:
    with pytest.raises(ValidationError) as refused:
        hold(restoration=bike, first=date(2026, 4, 1), last=date(2026, 4, 1), reason=reason, **WHO)
    assert list(refused.value.error_dict) == ["reason"]
