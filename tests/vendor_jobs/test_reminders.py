"""What is reminded of, from when on, and that what happened settles it."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction

from shop.methods.vendor_times import close_vendor
from shop.people.models import Closure
from shop.restorations.models import Part, Restoration
from shop.routes.models import Step
from shop.routes.services import add_step
from shop.vendor_jobs.charging import enter_charge, reverse_charge
from shop.vendor_jobs.lots import take_out_of_lot
from shop.vendor_jobs.models import CoreReturn, Job, Kind, Order, Ordered, Reminder, Supplier
from shop.vendor_jobs.receiving import Arrival, receive, take_back_arrival
from shop.vendor_jobs.reminding.acting import done, snooze, told
from shop.vendor_jobs.reminding.finding import find
from shop.vendor_jobs.reminding.raising import raise_reminders
from shop.vendor_jobs.reminding.rules import DEFAULTS, Said, set_rule
from shop.vendor_jobs.sending import Told, send_out, told_new_day
from tests.planned import agree_to, kept
from tests.vendor_jobs.lots import DUE, SENT, lever, planned, plating, sent
from tests.vendor_jobs.reminded import at, days, noon, raised
from tests.workshop import WHO, Workshop, restoration

#: The lot is due on Thursday the 12th of March 2026; the shop works from Monday to Friday.
THE_DAY = date(2026, 3, 12)
ONE = timedelta(days=1)


def test_the_day_of_the_small_workshop_is_the_one_these_tests_count_from() -> None:
    assert (DUE, DUE.strftime("%A")) == (THE_DAY, "Thursday")


# -- what is out -----------------------------------------------------------------------------------------------------------


def test_a_lot_for_which_nobody_told_a_day_is_late_by_its_lead_time(levers: Part, shop: Workshop) -> None:
    """Out on Monday the 2nd of March; five of the plater's working days later is Monday the 9th."""
    shop.plate.lead_days = 5
    shop.plate.save()
    send_out(job=planned(levers), on=SENT, **WHO)
    assert raised(date(2026, 3, 9)) == ["due_today 0"]
    assert raised(date(2026, 3, 10)) == ["overdue 0"]


@pytest.mark.parametrize(
    ("day", "open_then"),
    [
        (9, []),  # Monday: three working days before
        (10, ["due_soon 0"]),
        (11, ["due_soon 0"]),
        (12, ["due_today 0"]),
        (13, ["overdue 0"]),
        (17, ["overdue 0"]),  # Tuesday
        (18, ["overdue 0", "overdue 1"]),  # the third working day after the first on which it was late
    ],
)
def test_a_lot_that_is_out_climbs_a_ladder(levers: Part, day: int, open_then: list[str]) -> None:
    """The service looks for the first time on each of these days, however late: it tells what is true then, once."""
    sent(levers)
    assert raised(date(2026, 3, day)) == open_then
    assert raised(date(2026, 3, day)) == open_then
    assert Reminder.objects.exclude(kind="may_leave").count() == len(open_then)


def test_stepped_through_day_by_day_each_rung_is_told_once_and_settled_by_the_next(levers: Part) -> None:
    sent(levers)
    for day in days(SENT, 30):
        raised(day)
    rows = Reminder.objects.exclude(kind="may_leave").order_by("raised_at", "pk")
    assert [(row.kind, row.level, row.settled) for row in rows] == [
        ("due_soon", 0, "itself"),
        ("due_today", 0, "itself"),
        ("overdue", 0, ""),
        ("overdue", 1, ""),
    ]
    assert [row.role for row in rows] == ["desk", "desk", "desk", "manager"]


@pytest.mark.control
def test_a_rule_that_asks_for_the_very_day_loses_what_a_late_sweep_missed(levers: Part) -> None:
    """What "the day has passed" is for: on the day the service came back, "is exactly" is true of nothing."""
    sent(levers)
    back = THE_DAY + 4 * ONE
    exactly = [one for one in find(noon(back)) if one.kind != Kind.MAY_LEAVE and one.about_on == back]
    assert exactly == []
    assert raised(back) == ["overdue 0"]


def test_back_is_back(levers: Part) -> None:
    job = sent(levers)
    assert raised(THE_DAY + ONE) == ["overdue 0"]
    counted_in(job, THE_DAY + ONE)
    assert raised(THE_DAY + ONE) == []
    row = Reminder.objects.get(kind="overdue")
    assert (row.settled, row.settled_by, row.settled_at) == ("itself", "system", noon(THE_DAY + ONE))


def counted_in(job: Job, day: date, **counts: Any) -> Any:
    line = job.lines.order_by("pk")[0]
    return receive(job=job, arrivals=[Arrival(line, **(counts or {"good": 4}))], on=day, looked_by="Bea", **at(day))


def test_an_arrival_that_was_a_slip_reminds_again_by_the_same_row(levers: Part) -> None:
    job = sent(levers)
    day = THE_DAY + ONE
    raised(day)
    line = counted_in(job, day).lines[0]
    raised(day)
    take_back_arrival(line=line, **at(day))
    assert raised(day) == ["overdue 0"]
    assert Reminder.objects.filter(kind="overdue").count() == 1


def test_what_came_short_still_reminds(levers: Part) -> None:
    job = sent(levers)
    counted_in(job, THE_DAY, good=3)
    assert raised(THE_DAY + ONE) == ["overdue 0"]


def test_a_new_day_told_is_another_event(levers: Part) -> None:
    job = sent(levers)
    raised(THE_DAY + ONE)
    told_new_day(job=job, told=Told(THE_DAY + 7 * ONE), told_on=THE_DAY + ONE, **at(THE_DAY + ONE))
    assert raised(THE_DAY + ONE) == []
    assert raised(THE_DAY + 8 * ONE) == ["overdue 0"]
    assert Reminder.objects.filter(kind="overdue").count() == 2


def test_a_day_promised_for_which_they_are_shut_is_told_at_once(levers: Part) -> None:
    job = sent(levers)
    assert raised(SENT) == []
    closed = {"first": THE_DAY, "last": THE_DAY, "reason": "Stocktaking"}
    close_vendor(vendor=job.vendor, **closed, **at(SENT))
    assert raised(SENT) == ["closed_day 0"]
    told_new_day(job=job, told=Told(THE_DAY + ONE), told_on=SENT, **at(SENT))
    assert raised(SENT) == []


def test_days_on_which_the_shop_is_shut_are_not_counted(levers: Part) -> None:
    """Shut from Friday to the next Friday, it is late only on the Monday after."""
    Closure.objects.create(first=THE_DAY + ONE, last=THE_DAY + 8 * ONE)
    sent(levers)
    assert raised(THE_DAY + 8 * ONE) == ["due_today 0"]
    assert raised(THE_DAY + 11 * ONE) == ["overdue 0"]


# -- what is to leave ------------------------------------------------------------------------------------------------------


def of_kind(kind: Kind) -> list[Reminder]:
    return list(Reminder.objects.filter(kind=kind, settled=""))


def test_what_may_leave_is_told_and_settled_by_the_lot_it_goes_with(levers: Part) -> None:
    raised(SENT)
    assert [row.step for row in of_kind(Kind.MAY_LEAVE)] == [plating(levers)]
    job = planned(levers)
    raised(SENT)
    assert of_kind(Kind.MAY_LEAVE) == []
    take_out_of_lot(line=job.lines.get(), **WHO)
    raised(SENT + ONE)
    assert [row.settled for row in Reminder.objects.filter(kind="may_leave")] == [""], "open again, and no second row"


def test_what_nobody_agreed_to_may_not_leave(bike: Restoration, shop: Workshop) -> None:
    from tests.at_the_bench import bench_frame

    bench_frame(bike, shop, name="Pin", finish=shop.zinc, weight=1, strength=400)
    assert raised(SENT) == []
    assert Reminder.objects.count() == 0


def must_leave_by(step: Step, day: date) -> None:
    from shop.routes.models import PlannedStep

    kept(step.part.restoration)
    PlannedStep.objects.filter(step=step).update(leave_by=day)


def test_what_must_leave_is_told_three_working_days_before_and_climbs_the_day_after(levers: Part) -> None:
    must_leave_by(plating(levers), THE_DAY)
    assert raised(date(2026, 3, 6)) == []  # Friday: four working days before
    assert raised(date(2026, 3, 9)) == ["must_leave 0"]
    assert of_kind(Kind.MAY_LEAVE) == [], "the stronger of the two is told"
    assert raised(THE_DAY) == ["must_leave 0"]
    assert raised(THE_DAY + ONE) == ["must_leave 0", "must_leave 1"]


def test_a_plan_that_moves_makes_no_second_reminder(levers: Part) -> None:
    from shop.routes.models import PlannedStep

    must_leave_by(plating(levers), THE_DAY)
    for moved in range(4):
        PlannedStep.objects.filter(step=plating(levers)).update(leave_by=THE_DAY - moved * ONE)
        raised(date(2026, 3, 9))
    assert Reminder.objects.filter(kind="must_leave", level=0).count() == 1


def test_a_planned_lot_reminds_of_the_day_somebody_chose(levers: Part) -> None:
    planned(levers, leave_on=THE_DAY)
    assert raised(date(2026, 3, 6)) == []
    assert raised(date(2026, 3, 9)) == ["must_leave 0"]
    row = Reminder.objects.get(kind="must_leave")
    assert (row.job, row.step) == (Job.objects.get(), None)


# -- charges, old parts, orders --------------------------------------------------------------------------------------------


def test_a_charge_is_missed_seven_working_days_after_it_came_back_and_settled_by_its_entry(levers: Part) -> None:
    job = sent(levers)
    counted_in(job, THE_DAY)
    assert raised(date(2026, 3, 20)) == []
    late = date(2026, 3, 23)
    assert raised(late) == ["charge 0"]
    charge = enter_charge(job=job, net_minor=5_000, document="17", on=late, **at(late))
    assert raised(late) == []
    reverse_charge(charge=charge, **at(late))
    assert raised(late) == ["charge 0"], "taken back, it is missed again"


def exchange(part: Part, by: date) -> Step:
    given = {"buy": "Magneto", "buy_source": "exchange", "buy_price_minor": 9_000, "buy_core_minor": 2_000}
    step = add_step(part=part, origin=Step.Origin.BEFORE, buy_core_by=by, **given, **WHO)
    agree_to(step)
    return step


def ordered(step: Step | None, due: date | None) -> Order:
    supplier = Supplier.objects.get_or_create(name="Marsh Spares")[0]
    told = {"supplier": supplier, "ordered_on": SENT, "at": noon(SENT), "recorded_by": "ada"}
    order = Order.objects.create(number=Order.objects.count() + 1, due_on=due, **told)
    if step is not None:
        Ordered.objects.create(order=order, step=step, quantity=Decimal(1), price_minor=9_000)
    return order


def test_an_old_part_is_sent_back_in_time(levers: Part) -> None:
    by = date(2026, 3, 30)
    step = exchange(levers, by)
    assert raised(by) == [], "nothing was ordered, so nothing is owed"
    ordered(step, None)
    assert raised(date(2026, 3, 18)) == []
    assert raised(date(2026, 3, 19)) == ["core 0"]  # seven working days before a Monday
    assert raised(by) == ["core 0", "core 1"]
    CoreReturn.objects.create(step=step, sent_on=by, at=noon(by), recorded_by="ada")
    assert raised(by) == []


def test_an_order_is_late_a_working_day_after_its_day(levers: Part) -> None:
    order = ordered(None, THE_DAY)
    assert raised(THE_DAY) == []
    assert raised(THE_DAY + ONE) == ["order_late 0"]
    Order.objects.update(due_on=THE_DAY + 7 * ONE)
    assert raised(THE_DAY + ONE) == []
    assert raised(THE_DAY + 8 * ONE) == ["order_late 0"]
    assert Reminder.objects.filter(order=order).count() == 2, "another day is another event"
    Order.objects.update(closed_on=THE_DAY + 8 * ONE)
    assert raised(THE_DAY + 8 * ONE) == []


def test_the_customers_part_is_late_a_working_day_after_the_plan_needed_it(levers: Part) -> None:
    from shop.routes.models import PlannedStep

    given = {"buy": "Their own saddle", "buy_source": "customers_own"}
    step = add_step(part=levers, origin=Step.Origin.BEFORE, **given, **WHO)
    agree_to(step)
    kept(levers.restoration)
    PlannedStep.objects.filter(step=step).update(back_by=THE_DAY)
    assert "customers_part 0" not in raised(THE_DAY)
    assert "customers_part 0" in raised(THE_DAY + ONE)
    from shop.routes.finishing import finish_step

    finish_step(step=step, **at(THE_DAY + ONE))
    assert "customers_part 0" not in raised(THE_DAY + ONE)


# -- rules -----------------------------------------------------------------------------------------------------------------


def test_every_kind_has_a_rule_where_nobody_set_one() -> None:
    assert set(DEFAULTS) == set(Kind)


def test_a_vendors_rule_goes_before_the_shops_and_that_before_the_usual(levers: Part, shop: Workshop) -> None:
    sent(levers)
    day = date(2026, 3, 9)
    assert raised(day) == []
    set_rule(kind=Kind.DUE_SOON, on=True, days=3, climbs_after=None, **at(day))
    assert raised(day) == ["due_soon 0"]
    own = {"vendor": shop.plate.vendor, "days": 3, "climbs_after": None}
    set_rule(kind=Kind.DUE_SOON, on=False, **own, **at(day))
    assert raised(day) == []


def test_a_rule_is_told_in_the_journal(shop: Workshop) -> None:
    from shop.journal.models import Entry

    set_rule(kind=Kind.OVERDUE, on=True, days=2, climbs_after=5, **at(SENT))
    entry = Entry.objects.get(what="reminder rule set")
    assert (entry.subject_label, entry.before, entry.after) == (
        "overdue",
        '{"climbs after":3,"days":1}',
        '{"climbs after":5,"days":2}',
    )
    assert Said(days=1, climbs_after=3) == DEFAULTS[Kind.OVERDUE]


# -- what people do about them ---------------------------------------------------------------------------------------------


def test_put_off_it_is_out_of_sight_until_its_day(levers: Part) -> None:
    from shop.vendor_jobs.reminding.selectors import open_reminders

    sent(levers)
    raised(THE_DAY + ONE)
    row = Reminder.objects.get(kind="overdue")
    snooze(reminder=row, until=THE_DAY + 3 * ONE, **at(THE_DAY + ONE))
    shown = [open_reminders(roles=["desk"], today=THE_DAY + number * ONE).count() for number in (1, 2, 3)]
    assert shown == [0, 0, 1]


@pytest.mark.parametrize("until", [THE_DAY, THE_DAY - ONE, THE_DAY + 400 * ONE])
def test_it_is_put_off_to_a_day_to_come(levers: Part, until: date) -> None:
    from django.core.exceptions import ValidationError

    sent(levers)
    raised(THE_DAY)
    with pytest.raises(ValidationError) as refused:
        snooze(reminder=Reminder.objects.get(kind="due_today"), until=until, **at(THE_DAY))
    assert "until" in refused.value.error_dict


def test_done_stays_done_and_still_climbs(levers: Part) -> None:
    sent(levers)
    raised(THE_DAY + ONE)
    row = Reminder.objects.get(kind="overdue")
    done(reminder=row, **at(THE_DAY + ONE))
    done(reminder=row, **at(THE_DAY + 2 * ONE))
    assert raised(THE_DAY + 2 * ONE) == []
    assert raised(THE_DAY + 6 * ONE) == ["overdue 1"]
    row.refresh_from_db()
    assert (row.settled, row.settled_by, row.settled_at) == ("done", "ada", noon(THE_DAY + ONE))


def test_a_new_day_told_from_the_reminder_is_noted_with_the_job(levers: Part) -> None:
    job = sent(levers)
    late = THE_DAY + 6 * ONE
    assert raised(late) == ["overdue 0", "overdue 1"]
    told(reminder=Reminder.objects.get(level=1), to=Told(late + 7 * ONE, said_by="Iris"), told_on=late, **at(late))
    assert list(Reminder.objects.exclude(kind="may_leave").values_list("settled", flat=True)) == ["told", "told"]
    assert job.promises.last().due_on == late + 7 * ONE
    assert raised(late) == []


# -- once ------------------------------------------------------------------------------------------------------------------


def test_what_is_rolled_back_raised_nothing(levers: Part) -> None:
    """RELIABILITY D-14, in this room."""
    sent(levers)
    with transaction.atomic():
        raise_reminders(now=noon(THE_DAY))
        assert Reminder.objects.exists()
        transaction.set_rollback(True)
    assert not Reminder.objects.exists()
    assert raised(THE_DAY) == ["due_today 0"]


def test_finding_takes_as_many_queries_for_many_as_for_one(
    levers: Part, shop: Workshop, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            find(noon(THE_DAY + ONE))
        return len(seen)

    sent(levers)
    lever(restoration("Heron 250"), shop)
    one = asked()
    for number in range(4):
        bike = restoration(f"Heron {number}")
        sent(lever(bike, shop))
        lever(bike, shop, name="Pin")
    assert asked() == one
    print(f"finding takes {one} queries")
