"""Buying at the desk: what is to be ordered, an order, what came of it; and vendors compared."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.floor.models import Count
from shop.restorations.models import Part, Restoration
from shop.routes.models import Done, Step
from shop.vendor_jobs.buying import add_supplier
from shop.vendor_jobs.models import Order, Supplier
from tests.planned import agree_to, bought
from tests.vendor_jobs.lots import came, lever, sent
from tests.workshop import WHO, Workshop, restoration, workshop

PAGE = "/orders/"


@pytest.fixture
def shop(db: None) -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


@pytest.fixture
def seal(bike: Restoration, shop: Workshop) -> Step:
    step = bought(lever(bike, shop))
    agree_to(step)
    return step


def given(step: Step, **more: Any) -> dict[str, Any]:
    supplier = Supplier.objects.first() or add_supplier(name="Wren Spares", **WHO)
    today = timezone.localdate().isoformat()
    said = {
        "supplier": supplier.uid,
        "ordered_on": today,
        f"{step.uid}-ordered": "on",
        f"{step.uid}-price_minor": "9.50",
    }
    return said | more


def test_what_bikes_need_is_ordered_and_comes(front_desk: Client, seal: Step) -> None:
    assert "Seal" in front_desk.get(PAGE).content.decode()
    answer = front_desk.post(PAGE, given(seal, said_by="Wren"))
    order = Order.objects.get()
    line = order.lines.get()
    assert answer.headers["Location"] == f"/orders/{order.uid}/"
    assert (line.step, line.price_minor, line.quantity) == (seal, 950, 4)
    page = f"/orders/{order.uid}/"
    assert "Wren Spares" in front_desk.get(page).content.decode()
    today = timezone.localdate().isoformat()
    arrived = {f"{line.uid}-outcome": "here", f"{line.uid}-quantity": "4", "on": today, "looked_by": "Bea"}
    front_desk.post(page, arrived)
    assert Done.objects.filter(step=seal).exists()
    assert "Settled since" in front_desk.get(page).content.decode()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"price": ""}, "Give the price, or 0 if it costs nothing."),
        ({"ordered_on": "2999-01-01"}, "That day is still to come."),
        ({"supplier": ""}, "Fill this in."),
        ({"untick": True}, "Choose what is ordered."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    front_desk: Client, seal: Step, change: dict[str, Any], said: str
) -> None:
    body = given(seal, reference="Their 77")
    if "price" in change:
        body[f"{seal.uid}-price_minor"] = ""
    elif "untick" in change:
        del body[f"{seal.uid}-ordered"]
    else:
        body |= change
    answer = front_desk.post(PAGE, body)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "Their 77" in answer.content.decode()
    assert not Order.objects.exists()


def test_packs_for_the_shelf_go_with_an_order(front_desk: Client, seal: Step, shop: Workshop) -> None:
    packs = {"pack-consumable": shop.paint.uid, "pack-packs": "2", "pack-pack_size": "1", "pack-price_minor": "40"}
    front_desk.post(PAGE, given(seal) | packs)
    assert Order.objects.get().lines.filter(consumable=shop.paint, quantity=2, price_minor=4_000).exists()


def test_packs_that_came_count_as_come_in_at_the_next_count_of_the_shelf(
    front_desk: Client, seal: Step, shop: Workshop
) -> None:
    """By hand: 2 l counted; of 3 packs of 2.5 l two came, one is still on order: 5 l came in. 6.4 l left: 0.6 l went."""
    today, page, box = timezone.localdate(), "/workshop/material/", f"{shop.paint.uid}-counted"
    front_desk.post(page, {"day": (today - timedelta(days=1)).isoformat(), box: "2"})
    packs = {"pack-consumable": shop.paint.uid, "pack-packs": "3", "pack-pack_size": "2.5", "pack-price_minor": "40"}
    front_desk.post(PAGE, given(seal) | packs)
    order = Order.objects.get()
    assert "came by orders" not in front_desk.get(page).content.decode(), "what is on order is not there"
    line = order.lines.get(consumable=shop.paint)
    came = {f"{line.uid}-outcome": "here", f"{line.uid}-quantity": "2", "on": today.isoformat(), "looked_by": "Bea"}
    front_desk.post(f"/orders/{order.uid}/", came)
    assert "5\xa0l came by orders since the last count" in front_desk.get(page).content.decode()
    front_desk.post(page, {"day": today.isoformat(), box: "6.4"})
    newest = Count.objects.latest("day")
    assert (newest.counted, newest.came_in) == (Decimal("6.4"), Decimal(5))
    front_desk.post(page, {"day": today.isoformat(), box: "6.4", f"{shop.paint.uid}-came_in": "4"})
    assert Count.objects.latest("day").came_in == 4, "who counts knows better, also that it was counted today before"
    front_desk.post(page, {"day": today.isoformat(), box: "6.4", f"{shop.paint.uid}-came_in": "0"})
    assert Count.objects.latest("day").came_in == 0, "0 is said, and not left empty"


def test_what_was_never_counted_begins_with_its_first_count(front_desk: Client, seal: Step, shop: Workshop) -> None:
    packs = {"pack-consumable": shop.paint.uid, "pack-packs": "3", "pack-pack_size": "2.5", "pack-price_minor": "40"}
    front_desk.post(PAGE, given(seal) | packs)
    order, today = Order.objects.get(), timezone.localdate().isoformat()
    line = order.lines.get(consumable=shop.paint)
    came = {f"{line.uid}-outcome": "here", f"{line.uid}-quantity": "3", "on": today, "looked_by": "Bea"}
    front_desk.post(f"/orders/{order.uid}/", came)
    front_desk.post("/workshop/material/", {"day": today, f"{shop.paint.uid}-counted": "7"})
    assert Count.objects.get().came_in == 0


def test_half_said_about_packs_is_asked_for(front_desk: Client, seal: Step, shop: Workshop) -> None:
    answer = front_desk.post(PAGE, given(seal) | {"pack-consumable": shop.paint.uid})
    assert answer.content.decode().count("Give it as well") == 3
    assert not Order.objects.exists()


def test_another_day_is_told(front_desk: Client, seal: Step) -> None:
    front_desk.post(PAGE, given(seal))
    order = Order.objects.get()
    day = timezone.localdate() + timedelta(days=9)
    front_desk.post(f"/orders/{order.uid}/day/", {"due_on": day.isoformat(), "said_by": "Wren"})
    order.refresh_from_db()
    assert order.due_on == day
    wrong = front_desk.post(f"/orders/{order.uid}/day/", {"due_on": "2020-01-01", "said_by": "Wren"})
    assert wrong.status_code == 422
    assert "before it was ordered" in wrong.content.decode()


def test_what_is_wrong_with_a_thing_must_be_said(front_desk: Client, seal: Step) -> None:
    front_desk.post(PAGE, given(seal))
    order = Order.objects.get()
    line = order.lines.get()
    body = {f"{line.uid}-outcome": "wrong", f"{line.uid}-quantity": "4", "on": timezone.localdate().isoformat()}
    answer = front_desk.post(f"/orders/{order.uid}/", body | {"looked_by": "Bea"})
    assert answer.status_code == 422
    assert "Say what is wrong with it" in answer.content.decode()


def test_an_old_part_goes_back(front_desk: Client, seal: Step) -> None:
    today = timezone.localdate()
    Step.objects.filter(pk=seal.pk).update(buy_source="exchange", buy_core_minor=2_500, buy_core_by=today)
    Done.objects.create(step=seal, visit=1, at=timezone.now(), who="ada")
    assert "Old parts that go back" in front_desk.get(PAGE).content.decode()
    wrong = front_desk.post(f"/orders/core/{seal.uid}/", {f"{seal.uid}-sent_on": "2999-01-01"})
    assert "still to come" in wrong.content.decode()
    front_desk.post(f"/orders/core/{seal.uid}/", {f"{seal.uid}-sent_on": today.isoformat()})
    assert "Nothing given for it yet" in front_desk.get(PAGE).content.decode()
    uid = seal.core_return.uid
    front_desk.post(f"/orders/core/{uid}/credit/", {f"{uid}-on": today.isoformat(), f"{uid}-credited_minor": "25"})
    assert "Nothing given for it yet" not in front_desk.get(PAGE).content.decode()


def test_suppliers_are_added_and_changed(front_desk: Client, shop: Workshop) -> None:
    front_desk.post("/suppliers/", {"name": "Wren Spares", "phone": "12"})
    row = Supplier.objects.get()
    front_desk.post(f"/suppliers/{row.uid}/", {"name": "Wren and Sons", "phone": "12"})
    row.refresh_from_db()
    assert row.name == "Wren and Sons"
    twice = front_desk.post("/suppliers/", {"name": "Wren and Sons"})
    assert twice.status_code == 422


@pytest.mark.parametrize("page", [PAGE, "/suppliers/", "/vendors/compared/"])
def test_mechanics_are_not_shown_prices(mechanic: Client, page: str) -> None:
    assert mechanic.get(page).status_code == 403


def test_as_many_queries_for_many_things_as_for_one(
    front_desk: Client, seal: Step, bike: Restoration, shop: Workshop
) -> None:
    with CaptureQueriesContext(connection) as one:
        front_desk.get(PAGE)
    for number in range(6):
        agree_to(bought(lever(bike, shop, name=f"Pin {number}")))
    with CaptureQueriesContext(connection) as many:
        front_desk.get(PAGE)
    assert len(many) == len(one)


def test_vendors_are_compared_in_words(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    assert "Nothing to compare yet" in front_desk.get("/vendors/compared/").content.decode()
    levers: Part = lever(bike, shop)
    came(sent(levers), good=3, rejected=1, note="Dull")
    said = front_desk.get("/vendors/compared/").content.decode()
    assert "from 1 job, so rough" in said
    assert "Brook Platers · Zinc plate" in said.replace("\n", " ")
    assert "1 of 1; in the long run between" in said
