"""Facts become cost entries: each once, shared to the minor unit, reversed where a fact turned out different."""

from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from quotes.margin import posting
from quotes.margin.models import AMOUNTS, Budget, BudgetLine, CostEntry
from quotes.margin.models.budgets import CLASSES
from shop.floor.corrections import Row, correct
from shop.floor.models import Clocking, Rework
from shop.methods.models import Cause
from shop.people.grading import grade_person
from shop.people.models import Break, Grade, User
from shop.rates.services import note_grade_rate
from shop.restorations.models import Restoration
from shop.routes.finishing import undo_done
from shop.routes.models import Task
from shop.vendor_jobs.charging import enter_charge, reverse_charge
from shop.vendor_jobs.lots import agree_price, plan_lot
from shop.vendor_jobs.receiving import Arrival, receive
from shop.vendor_jobs.sending import Told, send_out
from tests.margin.jobs import AFTER, at, clocked, done, lever_step, pay, step, task_of
from tests.workshop import NOW, SINCE, TODAY, WHO, Workshop

pytestmark = pytest.mark.django_db(transaction=True)
Source = CostEntry.Source
LATER: dict[str, Any] = {"who": "ada", "now": AFTER}


def stands(source: str) -> list[CostEntry]:
    return list(CostEntry.objects.filter(source=source, reverses=None, reversed_by=None).order_by("pk"))


def total(**chosen: Any) -> int:
    found = CostEntry.objects.filter(**chosen).aggregate(**{name: Sum(name) for name in AMOUNTS})
    return sum(value or 0 for value in found.values())


def test_a_budget_adds_up_to_the_cost_of_its_quote_by_class(job: Restoration) -> None:
    posting.everything(now=AFTER)
    budget = Budget.objects.get(quote__restoration=job)
    sums = budget.lines.aggregate(**{name: Sum(name) for name in CLASSES})
    assert sum(sums.values()) == budget.cost_minor
    from quotes.engine import canonical
    from quotes.engine.results import Result

    result = canonical.load(Result, budget.quote.result.encode())
    assert budget.cost_minor == int((result.cost * 100).to_integral_value())
    by_class = {name: sum(getattr(line, name.removesuffix("_minor")) for line in result.lines) for name in CLASSES}
    assert all(abs(Decimal(sums[name]) - by_class[name] * 100) <= len(result.lines) * 2 for name in CLASSES)
    assert budget.lines.filter(kind=BudgetLine.Kind.STEP).count() == budget.quote.steps.count()


def test_clocked_minutes_cost_the_rate_of_whoever_clocked_on_that_day(
    job: Restoration, shop: Workshop, joe: User
) -> None:
    apprentice = Grade.objects.create(name="apprentice")
    note_grade_rate(grade=apprentice, valid_from=SINCE, cost_rate=Decimal(15), charge_rate=Decimal(40), **WHO)
    grade_person(person=joe, grade=apprentice, since=date(2026, 3, 4), **WHO)
    blast = step(job, "Blast")
    clocked(joe, task_of(blast), at(9), at(10, 30))
    clocked(joe, task_of(blast), at(9, day=4), at(10, day=4))
    posting.everything(now=AFTER)
    first, second = stands(Source.CLOCKING)
    # 1.5 h at 30 and 12 of overhead; then 1 h at 15 and 12: by hand.
    assert (first.seconds, first.labour_minor, first.overhead_minor, first.on) == (5400, 4500, 1800, date(2026, 3, 3))
    assert (second.seconds, second.labour_minor, second.overhead_minor) == (3600, 1500, 1200)
    assert {first.step_uid, second.step_uid} == {blast.uid}
    assert first.nature == CostEntry.Nature.FIRST


def test_a_task_s_minutes_are_shared_by_standard_run_time_and_add_up(shop: Workshop, joe: User) -> None:
    from tests.at_the_bench import bench_frame
    from tests.margin.jobs import accept, bike

    of = bike(shop)
    bench_frame(of, shop, name="Forks", area=Decimal(20))
    accept(of)
    frame, forks = (of.parts.get(name=name).steps.get(operation__name="Blast") for name in ("Frame", "Forks"))
    task = task_of(frame)
    if task_of(forks) != task:
        from shop.routes.models import TaskStep

        TaskStep.objects.filter(step=forks).update(task=task)
    clocked(joe, task, at(9), at(9, 50))
    posting.everything(now=AFTER)
    rows = {row.step_uid: row for row in stands(Source.CLOCKING)}
    # Run times go by 60 and 20 dm²: three quarters and a quarter of 50 min, 25.00 of labour, 10.00 of overhead.
    assert (rows[frame.uid].seconds, rows[forks.uid].seconds) == (2250, 750)
    assert (rows[frame.uid].labour_minor, rows[forks.uid].labour_minor) == (1875, 625)
    assert (rows[frame.uid].overhead_minor, rows[forks.uid].overhead_minor) == (750, 250)


def test_nothing_is_posted_twice_and_what_is_open_waits(job: Restoration, joe: User) -> None:
    task = task_of(step(job, "Blast"))
    row = clocked(joe, task, at(9), None)
    posting.everything(now=at(12))
    assert not CostEntry.objects.exists()
    Clocking.objects.filter(pk=row.pk).update(ended_at=at(11), ended_how="tap")
    assert posting.everything(now=AFTER).made == 1
    assert posting.everything(now=AFTER + timedelta(hours=1)).made == 0
    assert total(source=Source.CLOCKING) == 2 * (3000 + 1200)


def test_a_correction_reverses_what_was_posted_and_posts_what_took_its_place(job: Restoration, joe: User) -> None:
    task = task_of(step(job, "Blast"))
    row = clocked(joe, task, at(9), at(11))
    posting.everything(now=at(12))
    correct(person=joe, replaced=[row], rows=[Row(task, at(9), at(10))], reason="Left early", who="joe", now=at(13))
    kept = posting.everything(now=AFTER)
    assert (kept.made, kept.reversed) == (2, 1)
    assert total(source=Source.CLOCKING) == 3000 + 1200
    back = CostEntry.objects.get(reverses__isnull=False)
    assert (back.position, back.seconds, back.labour_minor, back.on) == (-1, -7200, -6000, date(2026, 3, 3))


def test_work_for_no_bike_and_paid_breaks_are_overhead_of_the_shop(job: Restoration, joe: User, shop: Workshop) -> None:
    Break.objects.create(name="Tea", begins=time(10), ends=time(10, 15), paid=True)
    sweep = Task.objects.create(name="Sweep", kind=Task.Kind.INDIRECT, made_at=NOW)
    grade_person(person=joe, grade=shop.grade, since=SINCE, **WHO)
    clocked(joe, sweep, at(9, 30), at(11))
    posting.everything(now=AFTER)
    rows = {row.nature: row for row in stands(Source.CLOCKING)}
    assert (rows["indirect"].seconds, rows["indirect"].labour_minor, rows["indirect"].overhead_minor) == (4500, 3750, 0)
    assert (rows["break"].seconds, rows["break"].labour_minor) == (900, 750)
    assert rows["indirect"].restoration is None


def test_vendor_work_is_counted_as_agreed_until_it_is_charged(job: Restoration) -> None:
    pay(job)
    plate = lever_step(job)
    lot = plan_lot(steps=[plate], **WHO)
    agree_price(job=lot, agreed_minor=6_000, agreed_status="phoned", agreed_by="Iris", agreed_on=TODAY, **WHO)
    send_out(job=lot, on=TODAY, told=Told(TODAY + timedelta(days=3)), **WHO)
    posting.everything(now=at(12))
    assert not stands(Source.VENDOR)
    line = lot.lines.get()
    receive(job=lot, arrivals=[Arrival(line, good=4)], on=date(2026, 3, 6), looked_by="Bea", **LATER)
    posting.everything(now=AFTER)
    (row,) = stands(Source.VENDOR)
    assert (row.vendor_minor, row.provisional, row.on) == (6_000, True, date(2026, 3, 6))
    bill = enter_charge(job=lot, net_minor=7_150, document="88", on=date(2026, 3, 9), **LATER)
    posting.everything(now=AFTER)
    (row,) = stands(Source.VENDOR)
    assert (row.vendor_minor, row.provisional, row.on, row.revision) == (7_150, False, date(2026, 3, 6), 2)
    assert total(source=Source.VENDOR) == 7_150
    reverse_charge(charge=bill, **LATER)
    posting.everything(now=AFTER)
    assert total(source=Source.VENDOR) == 6_000


def test_material_goes_by_the_book_and_back_when_a_step_is_not_done_after_all(job: Restoration, joe: User) -> None:
    blast, spray = step(job, "Blast"), step(job, "Spray")
    done(blast, at(9))
    done(spray, at(11))
    posting.everything(now=at(12))
    (row,) = stands(Source.MATERIAL)
    # By hand: 0.6 m² × 50 µm / (10 × 50 %) / 0.5 = 0.12 l, at 40.00 a litre.
    assert (row.material_minor, row.step_uid) == (480, spray.uid)
    undo_done(step=spray, who="ada", now=at(13))
    posting.everything(now=at(14))
    assert total(source=Source.MATERIAL) == 0


def test_the_database_keeps_entries_as_they_are(job: Restoration, joe: User) -> None:
    clocked(joe, task_of(step(job, "Blast")), at(9), at(11))
    posting.everything(now=AFTER)
    row = CostEntry.objects.get()
    for change in (lambda: CostEntry.objects.update(labour_minor=1), lambda: row.delete()):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()
    with pytest.raises(IntegrityError), transaction.atomic():
        CostEntry.objects.create(
            source=row.source, source_id=row.source_id, position=1, nature="first", on=TODAY, posted_at=NOW
        )


def test_a_clocking_taken_back_before_it_was_posted_leaves_nothing(job: Restoration, joe: User) -> None:
    row = clocked(joe, task_of(step(job, "Blast")), at(9), at(11))
    correct(person=joe, replaced=[row], rows=[], reason="Not me", who="joe", now=at(12))
    assert posting.everything(now=AFTER).made == 0


def test_what_cost_nothing_costs_something_once_a_rate_is_known(job: Restoration, joe: User) -> None:
    sweep = Task.objects.create(name="Sweep", kind=Task.Kind.INDIRECT, made_at=NOW)
    clocked(joe, sweep, at(9), at(10))
    posting.everything(now=AFTER)
    (row,) = stands(Source.CLOCKING)
    assert (row.labour_minor, row.rate_minor, row.seconds) == (0, None, 3600)
    grade_person(person=joe, grade=Grade.objects.get(name="mechanic"), since=SINCE, **WHO)
    posting.everything(now=AFTER + timedelta(hours=1))
    (row,) = stands(Source.CLOCKING)
    assert (row.labour_minor, row.rate_minor) == (3_000, 3_000)


def test_a_step_said_to_be_done_long_ago_uses_its_material_all_the_same(job: Restoration, joe: User) -> None:
    """A tap that was kept on a tablet for a week counts for the moment it was made."""
    posting.everything(now=AFTER)
    done(step(job, "Blast"), at(9))
    done(step(job, "Spray"), at(11))
    posting.everything(now=AFTER + timedelta(minutes=1))
    (row,) = stands(Source.MATERIAL)
    assert (row.material_minor, row.on) == (480, date(2026, 3, 3))


def test_a_replacement_that_cost_nothing_after_all_is_taken_back(job: Restoration, joe: User) -> None:
    spray = step(job, "Spray")
    row = Rework.objects.create(
        step=spray,
        visit=1,
        back_to=spray,
        cause=Cause.objects.create(name="Dropped"),
        scrapped=1,
        replacement_minor=5_000,
        task=task_of(spray),
        person=joe,
        at=at(9),
    )
    posting.everything(now=AFTER)
    assert total(source=Source.REPLACED) == 5_000
    Rework.objects.filter(pk=row.pk).update(replacement_minor=0)
    posting.everything(now=AFTER)
    assert total(source=Source.REPLACED) == 0


def test_the_sweep_posts_where_something_moved_and_only_there(job: Restoration, joe: User) -> None:
    clocked(joe, task_of(step(job, "Blast")), at(9), at(11))
    posting.mend(now=at(12))
    assert CostEntry.objects.count() == 1
    row = clocked(joe, task_of(step(job, "Blast")), at(13), None)
    posting.mend(now=at(14))
    Clocking.objects.filter(pk=row.pk).update(ended_at=at(15), ended_how="tap")
    posting.mend(now=at(15))
    assert CostEntry.objects.count() == 2
    with CaptureQueriesContext(connection) as asked:
        posting.mend(now=at(15))
    assert len(asked) == 7
