"""A week takes up what no week has yet, once, and stays as it was; late facts fall into the next and show their own week."""

import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from quotes.engine.margin.exact import added, less
from quotes.engine.margin.forecast import Stands
from quotes.margin import closing, review
from quotes.margin.course import course_of
from quotes.margin.models import Close, CostEntry, Reviewed
from shop.floor.hours_left import say_left
from shop.people.models import User
from shop.restorations.models import Restoration
from shop.vendor_jobs.models import Order, Ordered, Supplier
from tests.margin.jobs import AFTER, WEEK, accept, at, bike, clocked, done, step, task_of
from tests.workshop import Workshop

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_week_that_is_not_over_is_not_closed(job: Restoration) -> None:
    for week, now in ((WEEK, at(12, day=8)), (date(2026, 3, 3), AFTER)):
        with pytest.raises(ValidationError):
            closing.close_week(week=week, who="ada", now=now)
    assert not Close.objects.exists()


def test_it_takes_up_what_is_dated_in_it_and_leaves_the_rest(job: Restoration, joe: User) -> None:
    task = task_of(step(job, "Blast"))
    clocked(joe, task, at(9), at(10))
    clocked(joe, task, at(6, day=9), at(7, day=9))
    close = closing.close_week(week=WEEK, who="ada", now=AFTER)
    assert [row.on for row in close.entries.all()] == [date(2026, 3, 3)]
    assert CostEntry.objects.filter(close=None).count() == 1
    assert closing.close_week(week=WEEK, who="ada", now=AFTER) == close


def test_what_comes_late_falls_into_the_next_week_and_shows_its_own(job: Restoration, joe: User) -> None:
    task = task_of(step(job, "Blast"))
    first = closing.close_week(week=WEEK, who="ada", now=AFTER)
    kept = list(Reviewed.objects.values())
    clocked(joe, task, at(13), at(15))
    second = closing.close_week(week=WEEK + timedelta(days=7), who="ada", now=AFTER + timedelta(days=7))
    assert not first.entries.exists()
    (row,) = closing.late(second)
    assert (row.on, row.seconds) == (date(2026, 3, 3), 7200)
    assert list(Reviewed.objects.filter(close=first).values()) == kept
    with pytest.raises(ValidationError):
        closing.close_week(week=WEEK - timedelta(days=7), who="ada", now=AFTER + timedelta(days=7))


def test_a_closed_week_is_kept_by_the_database(job: Restoration, joe: User) -> None:
    clocked(joe, task_of(step(job, "Blast")), at(9), at(10))
    close = closing.close_week(week=WEEK, who="ada", now=AFTER)
    changes = (
        lambda: close.entries.update(close=None),
        lambda: Close.objects.update(closed_by="bob"),
        lambda: Reviewed.objects.update(left_minor=0),
    )
    for change in changes:
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_what_a_job_will_leave_adds_up_from_what_was_quoted(job: Restoration, joe: User) -> None:
    """Price − estimate at completion; each change has its cause, and the causes add up to it exactly."""
    blast = step(job, "Blast")
    (row,) = review.review(now=at(8)).rows
    assert (row.change.amount, row.cause) == (0, "")
    # What is left at an hourly rate is worked out anew, to 28 digits.
    assert abs(less(row.figures.money, row.figures.leaves.quoted)) < Decimal("1e-20")
    clocked(joe, task_of(blast), at(9), at(13))
    done(blast, at(13))
    (row,) = review.review(now=AFTER).rows
    budget = next(one for one in row.figures.job.budget.steps if one.uid == str(blast.uid))
    # Blasting 60 dm²: 12 + 0.5 × 60 = 42 min were planned; 240 were clocked, at 30 and 12 of overhead.
    assert budget.first.minutes == 42
    terms = row.figures.forecast.by_uid[str(blast.uid)]
    assert (terms.labour_efficiency, terms.overhead_efficiency) == (Decimal(99), Decimal("39.6"))
    assert added(row.change.causes.values()) == row.change.amount
    assert row.cause == "Frame: work takes longer than was thought"


def test_the_next_week_says_what_changed_since_the_last_close(job: Restoration, joe: User) -> None:
    blast = step(job, "Blast")
    clocked(joe, task_of(blast), at(9), at(13))
    done(blast, at(13))
    closing.close_week(week=WEEK, who="ada", now=AFTER)
    (row,) = review.review(now=AFTER).rows
    assert (row.change.amount, row.change.causes) == (0, {})
    clocked(joe, task_of(step(job, "Spray")), at(9, day=10), at(17, day=10))
    (row,) = review.review(now=at(18, day=10)).rows
    assert row.change.amount < 0
    assert added(row.change.causes.values()) == row.change.amount


def test_a_review_asks_the_same_number_of_queries_for_one_job_and_for_many(shop: Workshop, settings: Any) -> None:
    settings.CURRENCY = "EUR"  # within a request it is looked up once

    def asked() -> int:
        review.review(now=AFTER)
        with CaptureQueriesContext(connection) as found:
            review.review(now=AFTER)
        return len(found)

    accept(bike(shop))
    one = asked()
    for number in range(4):
        accept(bike(shop, f"Heron {number}"))
    assert asked() == one


def test_week_by_week_what_was_due_earned_and_spent(job: Restoration, joe: User) -> None:
    """By hand: an hour in the first week, the step done in the second; what is earned is its whole budget, at once."""
    blast = step(job, "Blast")
    clocked(joe, task_of(blast), at(9), at(10))
    clocked(joe, task_of(blast), at(9, day=10), at(10, day=10))
    done(blast, at(10, day=10))
    (row,) = review.review(now=at(12, day=17)).rows
    points = course_of(row.figures.job, today=date(2026, 3, 17))
    budget = next(one for one in row.figures.job.budget.steps if one.uid == str(blast.uid)).cost
    assert [point.sunday for point in points] == [date(2026, 3, 8), date(2026, 3, 15), date(2026, 3, 22)]
    assert [point.progress.actual for point in points] == [42, 84, 84]
    assert [point.progress.earned for point in points] == [0, budget, budget]
    assert row.figures.job.due
    whole = row.figures.progress(max(row.figures.job.due.values()))
    steps = added(one.cost for one in row.figures.job.budget.steps)
    assert whole.planned == steps
    assert row.figures.progress(min(row.figures.job.due.values()) - timedelta(days=1)).planned == 0


def test_what_the_mechanic_says_stands_over_what_is_reckoned(job: Restoration, joe: User) -> None:
    """By hand: 42 min are budgeted for blasting; 60 clocked, and two hours more are said to be left of it."""
    blast = step(job, "Blast")
    work = task_of(blast)
    clocked(joe, work, at(9), at(10))
    (before,) = review.review(now=at(10)).rows
    say_left(uid=uuid.uuid4(), task=work, minutes=120, person=joe, now=at(10))
    (row,) = review.review(now=at(10)).rows
    found = row.figures.forecast.steps[str(blast.uid)]
    assert (found.spent.first.minutes, found.stands) == (180, Stands.MECHANIC)
    assert row.figures.money < before.figures.money
    clocked(joe, work, at(10), at(11))
    (later,) = review.review(now=at(11)).rows
    assert later.figures.forecast.steps[str(blast.uid)].spent.first.minutes == 180
    done(blast, at(11))
    (over,) = review.review(now=at(12)).rows
    assert over.figures.forecast.steps[str(blast.uid)].left == 0


def test_what_is_on_order_comes_beside_what_came(job: Restoration) -> None:
    """By hand: ten at 10.00 were ordered, four came and are spent; six are still to come, so 100.00 in the end."""
    blast = step(job, "Blast")
    supplier = Supplier.objects.create(name="Hook & Eye")
    order = Order.objects.create(number=1, supplier=supplier, ordered_on=WEEK, at=at(9), recorded_by="ada")
    given = {"order": order, "step": blast, "price_minor": 1_000}
    here = {"outcome": "here", "came_on": WEEK, "looked_by": "Bea", "settled_at": at(9), "settled_by": "ada"}
    Ordered.objects.create(quantity=4, **given, **here)
    Ordered.objects.create(quantity=6, **given)
    (row,) = review.review(now=at(10)).rows
    found = row.figures.forecast.classes["bought_in"]
    assert (found.spent, found.ordered, found.at_completion) == (40, 60, 100)
