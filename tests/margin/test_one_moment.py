"""The review sees the shop at one moment (RELIABILITY B-12): what moves from on order to spent meanwhile is in it once."""

import threading
from collections.abc import Callable
from contextlib import nullcontext
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, connections, transaction

from quotes.margin import jobs, posting, review
from quotes.margin.models import CostEntry
from shop.one_moment import one_moment
from shop.restorations.models import Restoration
from shop.routes.models import Step
from shop.vendor_jobs.models import Order, Ordered, Supplier
from tests.margin.jobs import AFTER, step
from tests.workshop import NOW, TODAY

pytestmark = pytest.mark.django_db(transaction=True)
PRICE = 10_000


def supplier() -> Supplier:
    return Supplier.objects.create(name="Hook & Eye")


def ordered(of: Step) -> Ordered:
    order = Order.objects.create(number=1, supplier=supplier(), ordered_on=TODAY, at=NOW, recorded_by="ada")
    return Ordered.objects.create(order=order, step=of, quantity=1, price_minor=PRICE)


def moved(row: Ordered, job: Restoration) -> None:
    """It came: in one transaction it is on order no more, and spent."""
    with transaction.atomic():
        here = {"outcome": "here", "came_on": TODAY, "looked_by": "Bea", "settled_at": NOW, "settled_by": "ada"}
        Ordered.objects.filter(pk=row.pk).update(**here)
        CostEntry.objects.create(
            source="order",
            source_id=row.pk,
            position=1,
            nature="first",
            restoration=job,
            step_uid=row.step.uid if row.step else None,
            bought_in_minor=PRICE,
            on=date(2026, 3, 3),
            posted_at=NOW,
        )


def elsewhere(do: Callable[[], object]) -> None:
    """On a connection of its own, to its end."""

    def work() -> None:
        try:
            do()
        finally:
            connections.close_all()

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()


def seen(job: Restoration, monkeypatch: pytest.MonkeyPatch) -> Decimal:
    """Spent and on order as the review has them, when it moves between its two questions."""
    row = ordered(step(job, "Blast"))
    original = jobs._known

    def meanwhile(pks: Any) -> Any:
        elsewhere(lambda: moved(row, job))
        return original(pks)

    with monkeypatch.context() as patched:
        patched.setattr(jobs, "_known", meanwhile)
        (found,) = review.look(now=AFTER).rows
    forecast = found.figures.forecast
    return forecast.spent + forecast.ordered


def test_what_moves_while_it_looks_is_in_it_once(job: Restoration, monkeypatch: pytest.MonkeyPatch) -> None:
    posting.everything(now=NOW)
    assert seen(job, monkeypatch) == 100
    assert not connection.in_atomic_block
    (after,) = review.look(now=AFTER).rows
    assert after.figures.forecast.spent == 100


@pytest.mark.control
def test_each_question_at_its_own_moment_loses_it(job: Restoration, monkeypatch: pytest.MonkeyPatch) -> None:
    posting.everything(now=NOW)
    monkeypatch.setattr(review, "one_moment", nullcontext)
    assert seen(job, monkeypatch) == 0


def test_looking_does_not_hold_up_a_writer_nor_write(job: Restoration) -> None:
    with one_moment():
        assert Restoration.objects.count() == 1
        elsewhere(supplier)
        assert not Supplier.objects.exists()
    assert Supplier.objects.count() == 1
