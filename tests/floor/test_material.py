"""Material by the book, mixes, and counts against both; by hand, and against what a quote reckons with."""

import uuid
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from quotes.pricing.selectors import priced
from shop.floor import material
from shop.floor.material import by_month, by_the_book, note_count, note_mix, standing, take_back_mix
from shop.floor.models import Count, Mix
from shop.journal.models import Entry
from shop.methods.models import Consumable, Usage
from shop.people.roles import ROLE_MECHANIC
from shop.restorations.models import Part
from shop.routes.again import again
from shop.routes.finishing import finish_remedy, finish_step, undo_done
from shop.routes.models import Step
from tests.floor.bench import Bench, agree, bench
from tests.floor.test_doing_views import ann, joe, role, tablet, text  # noqa: F401  (fixtures)
from tests.workshop import draft, frame

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)


@pytest.fixture
def shop() -> Bench:
    made = bench()
    role(made.joe, ROLE_MECHANIC)
    return made


def on(day: int, month: int = 3) -> datetime:
    return datetime(2026, month, day, 10, tzinfo=UTC)


def fork(shop: Bench, area: int = 10) -> Part:
    part = frame(shop.bike, shop.shop, name="Fork", area=Decimal(area))
    agree(shop.bike)
    return part


def spray(part: Part) -> Step:
    return part.steps.get(operation__name="Spray")


def coat(part: Part, day: int = 3, month: int = 3) -> None:
    for step in part.steps.filter(origin=Step.Origin.FINISH).order_by("position"):
        finish_step(step=Step.objects.get(pk=step.pk), who="joe", now=on(day, month))


def book(first: date = FIRST, last: date = LAST) -> Decimal:
    return sum((row.mixed for row in by_the_book(first, last)), Decimal(0))


def used(first: date = FIRST, last: date = LAST) -> list[Decimal]:
    return sorted(row.used for row in by_the_book(first, last))


# -- by the book -------------------------------------------------------------------------------------------------------


def test_by_hand_a_frame_of_60_dm2_takes_0_12_litres(shop: Bench) -> None:
    """0.6 m² × 50 µm / (10 × 50 % solids) / 0.5 transfer = 0.12 l, which is more than the smallest mix of 0.1 l."""
    assert by_the_book(FIRST, LAST) == []
    coat(shop.part)
    assert (used(), book()) == ([Decimal("0.12")], Decimal("0.12"))


def test_little_is_mixed_as_the_smallest_mix_and_two_parts_of_one_day_share_one(shop: Bench) -> None:
    """0.02 l alone is a mix of 0.1 l; with the frame it is 0.12 + 0.02 = 0.14 l in one."""
    part = fork(shop)
    coat(part)
    assert (used(), book()) == ([Decimal("0.02")], Decimal("0.1"))
    coat(shop.part)
    assert book() == Decimal("0.14")


def test_on_another_day_it_is_another_mix_and_a_day_that_is_past_stays_as_it_was(shop: Bench) -> None:
    part = fork(shop)
    coat(part, 3)
    before = book(FIRST, date(2026, 3, 3))
    coat(shop.part, 4)
    assert book(FIRST, date(2026, 3, 3)) == before == Decimal("0.1")
    assert book() == Decimal("0.22")


@pytest.mark.parametrize(
    ("by", "amount", "waste", "whole", "expected"),
    [
        ("measure", "0.02", 10, False, "1.320"),  # 0.02 × 60 dm² × 1.1
        ("measure", "0.02", 10, True, "2"),  # whole packs of 1 l
        ("powder", "0", 0, False, "0.09"),  # 0.6 m² × 50 µm × 1.5 g/cm³ / 1000 / 0.5 = 0.09 kg
    ],
)
def test_each_way_of_use_by_hand(shop: Bench, by: str, amount: str, waste: int, whole: bool, expected: str) -> None:
    Consumable.objects.update(by=by, density=Decimal("1.5"), whole_packs=whole, smallest_mix=0)
    Usage.objects.update(amount=Decimal(amount), waste=waste)
    coat(shop.part)
    assert book() == Decimal(expected)


@pytest.mark.parametrize("changes", [{}, {"smallest_mix": Decimal("0.5")}, {"whole_packs": True}])
def test_it_comes_to_what_a_quote_reckons_with(shop: Bench, changes: dict[str, Any]) -> None:
    """Reference: the engine's own material cost of the first visit of each step, over the price of a litre (40)."""
    Consumable.objects.update(**changes)
    parts = [shop.part, fork(shop), fork(shop, 33)]
    explained = priced(draft(shop.bike)).explained
    assert explained is not None
    reckoned = {step.uid: step.first.material / Decimal(40) for step in explained.steps}
    for part in parts:
        coat(part)
    wanted = sum(reckoned.values(), Decimal(0))
    assert wanted > Decimal("0.1")
    assert book() == pytest.approx(wanted, abs=Decimal("1e-20"))
    of_steps = sorted(value for value in reckoned.values() if value)
    assert sorted(row.mixed for row in by_the_book(FIRST, LAST)) == pytest.approx(of_steps, abs=Decimal("1e-20"))


def test_what_was_taken_back_used_nothing_and_what_is_done_again_uses_it_again(shop: Bench) -> None:
    coat(shop.part)
    step = Step.objects.get(pk=shop.spray.pk)
    undo_done(step=step, who="joe", now=on(3))
    assert by_the_book(FIRST, LAST) == []
    finish_step(step=step, who="joe", now=on(3))
    Usage.objects.create(operation=shop.shop.strip, consumable=_stripper(), amount=Decimal("0.01"))
    fit = Step.objects.get(pk=shop.fit.pk)
    task = again(step=fit, back_to=step, remedies=[shop.shop.strip], who="joe", now=on(4))
    finish_remedy(remedy=task.remedies.get(), who="joe", now=on(5))
    finish_step(step=Step.objects.get(pk=step.pk), who="joe", now=on(5))
    by_name: dict[int, Decimal] = {}
    for row in by_the_book(FIRST, LAST):
        by_name[row.consumable] = by_name.get(row.consumable, Decimal(0)) + row.mixed
    assert by_name == {shop.shop.paint.pk: Decimal("0.24"), _stripper().pk: Decimal("0.60")}  # 0.01 × 60 dm²


def _stripper() -> Consumable:
    return Consumable.objects.get_or_create(name="Stripper", unit="l", by="measure")[0]


def test_months_stand_apart(shop: Bench) -> None:
    coat(shop.part, 31, 3)
    coat(fork(shop), 1, 4)
    months = [date(2026, 2, 1), date(2026, 3, 1), date(2026, 4, 1)]
    assert by_month(months) == {shop.shop.paint.pk: [Decimal(0), Decimal("0.12"), Decimal("0.1")]}
    assert by_month([]) == {}


def test_it_takes_as_many_queries_for_one_step_as_for_many(shop: Bench) -> None:
    coat(shop.part)
    with CaptureQueriesContext(connection) as one:
        by_the_book(FIRST, LAST)
    for number in range(5):
        coat(fork(shop, 10 + number))
    with CaptureQueriesContext(connection) as many:
        by_the_book(FIRST, LAST)
    assert len(one) == len(many) <= 6


# -- mixes -------------------------------------------------------------------------------------------------------------


def mix(shop: Bench, amount: str = "0.3", **more: Any) -> Mix:
    given: dict[str, Any] = {"uid": uuid.uuid4(), "task": shop.task(shop.spray), "consumable": shop.shop.paint}
    return note_mix(**given | {"amount": Decimal(amount), "person": shop.joe, "now": on(3)} | more)


def test_a_mix_is_kept_once_and_taken_back_with_its_story(shop: Bench) -> None:
    uid = uuid.uuid4()
    row = mix(shop, uid=uid, left_over=Decimal("0.05"), note="B 17")
    assert mix(shop, uid=uid) == row
    take_back_mix(mix=row, person=shop.joe, now=on(4))
    take_back_mix(mix=row, person=shop.joe, now=on(5))
    assert list(material.mixes_of(row.task)) == []
    whats = Entry.objects.filter(what__startswith="mix").order_by("pk").values_list("what", flat=True)
    assert list(whats) == ["mix noted", "mix taken back"]


@pytest.mark.parametrize(("amount", "left", "field"), [("0", "0", "amount"), ("0.1", "0.2", "left_over")])
def test_no_more_is_left_over_than_was_mixed(shop: Bench, amount: str, left: str, field: str) -> None:
    with pytest.raises(ValidationError) as refused:
        mix(shop, amount, left_over=Decimal(left))
    assert list(refused.value.message_dict) == [field]


def test_on_its_page_a_mix_is_noted_and_taken_back(shop: Bench, joe: Client) -> None:  # noqa: F811
    page = f"/floor/tasks/{shop.task(shop.spray).uid}/mixes/"
    given = {"uid": str(uuid.uuid4()), "consumable": str(shop.shop.paint.uid), "amount": "0,25", "left_over": ""}
    wrong = joe.post(page, given | {"left_over": "much", "note": "B 17"})
    assert wrong.status_code == 422
    assert 'value="B 17"' in wrong.content.decode()
    said = text(joe.post(page, given, follow=True))
    assert "0.25 l mixed" in said.replace("\xa0", " ")
    joe.post(f"/floor/mixes/{Mix.objects.get().uid}/take-back/")
    assert "Nothing yet." in text(joe.get(page))


# -- counts ------------------------------------------------------------------------------------------------------------


def count(shop: Bench, day: int, counted: str, came_in: str = "0", month: int = 3) -> Count:
    return note_count(
        consumable=shop.shop.paint,
        day=date(2026, month, day),
        counted=Decimal(counted),
        came_in=Decimal(came_in),
        who="ada",
        now=on(30, 6),
    )


def test_a_count_by_hand(shop: Bench) -> None:
    """2 l there, 1 l came in, 2.85 l left: 0.15 l went. By the book 0.12 l: 0.03 l or 25 % more. 0.3 l mixed: 0.18 l more."""
    count(shop, 2, "2")
    coat(shop.part, 3)
    mix(shop, left_over=Decimal("0.1"))
    count(shop, 10, "2.85", "1")
    (row,) = standing(date(2026, 3, 31))
    assert (row.gone, row.book, row.over, row.over_part) == (
        Decimal("0.15"),
        Decimal("0.12"),
        Decimal("0.03"),
        Decimal("0.25"),
    )
    assert (row.mixed, row.left_over, row.mixed_over, row.mixed_over_part) == (
        Decimal("0.3"),
        Decimal("0.1"),
        Decimal("0.18"),
        Decimal("1.5"),
    )


def test_a_count_is_of_the_evening_of_its_day(shop: Bench) -> None:
    count(shop, 3, "2")
    coat(shop.part, 3)
    coat(fork(shop), 4)
    count(shop, 4, "1.9")
    (row,) = standing(date(2026, 3, 31))
    assert row.book == Decimal("0.1")  # the fork of the 4th alone


def test_without_two_counts_nothing_is_claimed(shop: Bench) -> None:
    (row,) = standing(LAST)
    assert (row.newest, row.gone, row.over, row.over_part) == (None, None, None, None)
    count(shop, 2, "2")
    coat(shop.part, 3)
    (row,) = standing(LAST)
    assert (row.gone, row.book) == (None, Decimal("0.12"))


def test_counted_again_on_the_same_day_it_is_corrected_and_not_on_a_day_to_come(shop: Bench) -> None:
    count(shop, 2, "2")
    count(shop, 2, "1.5")
    assert Count.objects.get().counted == Decimal("1.5")
    entry = Entry.objects.filter(what="material counted").order_by("-pk")[0]
    assert entry.before == '{"counted":"2"}'
    with pytest.raises(ValidationError, match="day to come"):
        count(shop, 1, "1", month=7)
