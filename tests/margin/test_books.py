"""The ledger after a close: every entry is on it once, every bike and every payment too, and it is nought in all.

The sums are worked out a second time in plain SQL, from the facts' own entries.
"""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.db.models import Sum

from quotes.margin import closing, overhead
from quotes.margin.models import Close, CostEntry
from quotes.pricing.money.receipts import note
from shop.floor.models import HandedOver
from shop.people.models import User
from shop.restorations.models import Restoration
from tests.margin.jobs import AFTER, WEEK, at, clocked, done, pay, step, task_of
from tests.workshop import NOW, WHO

pytestmark = pytest.mark.django_db(transaction=True)


def on(close: Close) -> dict[str, int]:
    return dict(close.ledger.values_list("account", "amount_minor"))


def sql(text: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(text)
        return int(cursor.fetchone()[0] or 0)


def worked(job: Restoration, joe: User) -> None:
    blast = step(job, "Blast")
    clocked(joe, task_of(blast), at(9), at(11))
    done(blast, at(11))
    spray = step(job, "Spray")
    clocked(joe, task_of(spray), at(11), at(12))
    done(spray, at(12))


def test_it_is_nought_in_all_and_says_where_the_cost_stands(job: Restoration, joe: User) -> None:
    worked(job, joe)
    pay(job, 50_000)
    overhead.note(words="Rent", net_minor=90_000, on=date(2026, 3, 5), **(WHO | {"now": AFTER}))
    close = closing.close_week(week=WEEK, who="ada", now=AFTER)
    found = on(close)
    assert sum(found.values()) == 0
    # Three hours at 30 and 12 of overhead, and 4.80 of paint: by hand.
    assert found["in progress"] == 9_000 + 3_600 + 480
    assert (found["wages to pay"], found["overhead applied"], found["materials"]) == (-9_000, -3_600, -480)
    assert (found["overhead incurred"], found["deposits"], found["bank"]) == (90_000, -50_000, 50_000)
    classes = "labour_minor + overhead_minor + material_minor + vendor_minor + handling_minor + bought_in_minor"
    assert found["in progress"] == sql(f"SELECT SUM({classes}) FROM margin_costentry WHERE close_id IS NOT NULL")


def test_a_bike_handed_over_turns_its_cost_and_its_deposits(job: Restoration, joe: User) -> None:
    worked(job, joe)
    pay(job, 10_000)
    quote = job.quotes.get()
    HandedOver.objects.create(
        restoration=job,
        received_by="Jo",
        on=date(2026, 3, 7),
        words="{}",
        words_sha256="0" * 64,
        at=NOW,
        recorded_by="ada",
    )
    note(restoration=job, amount_minor=2_000, received_on=date(2026, 3, 8), who="ada", now=AFTER)
    found = on(closing.close_week(week=WEEK, who="ada", now=AFTER))
    assert sum(found.values()) == 0
    assert not {"in progress", "finished", "deposits"} & found.keys()
    assert found["cost of sales"] == 9_000 + 3_600 + 480
    assert (found["sales"], found["tax to pay"]) == (-quote.net_minor, -quote.tax_minor)
    assert found["owed by customers"] == quote.total_minor - 10_000 - 2_000
    assert found["bank"] == 12_000


def test_what_comes_late_is_in_the_next_ledger(job: Restoration, joe: User) -> None:
    closing.close_week(week=WEEK, who="ada", now=AFTER)
    clocked(joe, task_of(step(job, "Blast")), at(9), at(10))
    second = closing.close_week(week=WEEK + timedelta(days=7), who="ada", now=AFTER + timedelta(days=7))
    assert on(second)["in progress"] == 4_200
    assert CostEntry.objects.filter(close=second).aggregate(sum=Sum("labour_minor"))["sum"] == 3_000
