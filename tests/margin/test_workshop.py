"""The shop as a whole: figures worked out by hand from a few entries."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from quotes.engine import canonical
from quotes.engine.margin.ranking import band_of
from quotes.engine.results import Result
from quotes.margin import posting, workshop
from quotes.margin.models import CostEntry
from quotes.pricing.models import Outcome
from shop.floor.models import HandedOver
from shop.methods.models import Cause
from shop.people.models import User
from shop.restorations.models import Restoration
from shop.routes.models import Task
from tests.margin.jobs import AFTER, WEEK, at, bike, clocked, step, task_of
from tests.planned import fresh_draft
from tests.pricing.workshop import answer, issue
from tests.workshop import NOW, Workshop

pytestmark = pytest.mark.django_db(transaction=True)
EARLY = date(2026, 1, 1)


def entry(number: int, nature: str, **more: Any) -> None:
    CostEntry.objects.create(
        source="clocking", source_id=number, position=1, nature=nature, on=WEEK, posted_at=NOW, **more
    )


def test_hours_go_on_bikes_again_or_on_no_bike(job: Restoration, joe: User) -> None:
    sweep = Task.objects.create(name="Sweep", kind=Task.Kind.INDIRECT, made_at=NOW)
    clocked(joe, task_of(step(job, "Blast")), at(8), at(11))
    clocked(joe, sweep, at(11), at(12))
    posting.everything(now=AFTER)
    found = {row.grade: row for row in workshop.hours(EARLY)}
    assert (found["mechanic"].first, found[""].indirect) == (10_800, 3_600)
    assert (found["mechanic"].productive, found[""].productive) == (1, 0)
    assert workshop.hours(date(2026, 3, 4)) == []


def test_poor_quality_is_summed_by_cause_and_by_the_work_it_came_from(job: Restoration) -> None:
    runs = Cause.objects.create(name="Runs in the paint")
    spray, blast = step(job, "Spray"), step(job, "Blast")
    entry(1, "again", cause=runs, origin_uid=spray.uid, labour_minor=3_000, restoration=job)
    entry(2, "again", cause=runs, origin_uid=blast.uid, overhead_minor=1_000, restoration=job)
    entry(3, "comeback", origin_uid=spray.uid, material_minor=500, restoration=job)
    entry(4, "first", step_uid=spray.uid, labour_minor=9_999, restoration=job)
    found = workshop.poor_quality(EARLY)
    assert (found.total, found.after_hand_over) == (Decimal(45), Decimal(5))
    assert found.by_cause == {"Runs in the paint": Decimal(40), "comeback": Decimal(5)}
    assert found.by_origin == {"Spray": Decimal(35), "Blast": Decimal(10)}


def test_offers_are_counted_in_the_band_of_their_margin(shop: Workshop) -> None:
    quotes = [issue(fresh_draft(bike(shop, f"Heron {number}")), guesses_are_told=True) for number in range(3)]
    answer(quotes[0])
    answer(quotes[1], Outcome.Kind.DECLINED, reason="Too dear")
    margin = canonical.load(Result, quotes[0].result.encode()).margin
    assert margin is not None
    found = {band: count for band, count in workshop.offers().items() if count.made}
    assert {band: tuple(count) for band, count in found.items()} == {band_of(margin): (2, 1)}


def test_bikes_handed_over_say_what_was_left_before_and_after_comebacks(job: Restoration) -> None:
    HandedOver.objects.create(
        restoration=job, received_by="Jo", on=WEEK, words="{}", words_sha256="0" * 64, at=NOW, recorded_by="ada"
    )
    price = job.quotes.get().net_minor
    entry(1, "first", restoration=job, labour_minor=price // 2)
    entry(2, "comeback", restoration=job, labour_minor=price // 4)
    (found,) = workshop.sold().values()
    assert found.at_hand_over is not None
    assert found.after_comebacks is not None
    assert abs(found.at_hand_over - Decimal("0.5")) < Decimal("0.001")
    assert abs(found.after_comebacks - Decimal("0.25")) < Decimal("0.001")
