"""What is bought: ordered once, here when all of it is, old parts sent back."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.restorations.models import Part
from shop.routes.models import Away, Done, Step
from shop.vendor_jobs.buying import (
    Came,
    Wanted,
    add_supplier,
    cores_to_return,
    credit_core,
    place_order,
    receive_order,
    send_core_back,
    to_order,
    told_it_comes,
)
from shop.vendor_jobs.models import Order, Ordered
from tests.planned import agree_to, bought
from tests.vendor_jobs.lots import DUE, LATER, SENT
from tests.workshop import WHO, Workshop


@pytest.fixture
def seal(levers: Part) -> Step:
    step = bought(levers)
    agree_to(step)
    return Step.objects.select_related("part__restoration").get(pk=step.pk)


def ordered(*lines: Wanted, **more: object) -> Order:
    supplier = add_supplier(name="Wren Spares", **WHO)
    return place_order(supplier=supplier, lines=lines, ordered_on=SENT, due_on=DUE, **WHO)


def test_what_is_ordered_is_away_until_it_is_here(seal: Step) -> None:
    assert [one.step for one in to_order()] == [seal]
    order = ordered(Wanted(900, step=seal))
    assert to_order() == []
    assert (Away.objects.get(step=seal).where, Away.objects.get(step=seal).due_on) == ("Wren Spares", DUE)
    assert order.lines.get().quantity == 4, "one for each of the four levers"
    receive_order(order=order, came=[Came(order.lines.get(), "here")], on=DUE, looked_by="Bea", **LATER)
    order.refresh_from_db()
    assert order.closed_on == DUE
    assert Done.objects.filter(step=seal, undone_at=None).exists()
    assert to_order() == []


def test_a_step_is_done_when_all_of_it_is_here(seal: Step) -> None:
    order = ordered(Wanted(900, step=seal))
    receive_order(order=order, came=[Came(order.lines.get(), "here", Decimal(3))], on=DUE, looked_by="Bea", **LATER)
    assert not Done.objects.filter(step=seal).exists()
    rest = order.lines.get(outcome="")
    assert (rest.quantity, Away.objects.get(step=seal).ended_on) == (1, None)
    receive_order(order=order, came=[Came(rest, "here")], on=DUE, looked_by="Bea", **LATER)
    assert Done.objects.filter(step=seal).exists()


@pytest.mark.parametrize("outcome", ["wrong", "cancelled"])
def test_what_is_wrong_or_does_not_come_is_to_be_ordered_anew(seal: Step, outcome: str) -> None:
    order = ordered(Wanted(900, step=seal))
    receive_order(order=order, came=[Came(order.lines.get(), outcome)], on=DUE, looked_by="Bea", **LATER)
    assert [one.step for one in to_order()] == [seal]
    assert not Done.objects.filter(step=seal).exists()


def test_nothing_is_ordered_twice(seal: Step) -> None:
    order = ordered(Wanted(900, step=seal))
    with pytest.raises(ValidationError, match="on order already"):
        place_order(supplier=order.supplier, lines=[Wanted(900, step=seal)], ordered_on=SENT, **WHO)
    assert Ordered.objects.count() == 1


def test_a_later_day_moves_what_is_away(seal: Step) -> None:
    order = ordered(Wanted(900, step=seal))
    later = DUE + timedelta(days=5)
    told_it_comes(order=order, due_on=later, said_by="Wren", **WHO)
    assert Away.objects.get(step=seal).due_on == later


def test_packs_for_the_shelf_are_ordered_too(shop: Workshop) -> None:
    order = ordered(Wanted(4_000, consumable=shop.paint, quantity=Decimal(2), pack_size=Decimal(1)))
    receive_order(
        order=order, came=[Came(order.lines.get(), "here", charged_minor=8_200)], on=DUE, looked_by="Bea", **LATER
    )
    assert (order.lines.get().outcome, order.lines.get().charged_minor) == ("here", 8_200)


def test_the_old_part_goes_back_for_an_exchange_one(seal: Step) -> None:
    Step.objects.filter(pk=seal.pk).update(buy_source="exchange", buy_core_minor=2_500, buy_core_by=DUE)
    seal.refresh_from_db()
    assert cores_to_return() == [], "it is not here yet"
    order = ordered(Wanted(900, step=seal))
    receive_order(order=order, came=[Came(order.lines.get(), "here")], on=DUE, looked_by="Bea", **LATER)
    assert cores_to_return() == [seal]
    core = send_core_back(step=seal, sent_on=DUE, **LATER)
    assert cores_to_return() == []
    assert credit_core(core=core, credited_minor=2_500, on=DUE, **LATER).credited_minor == 2_500


@pytest.mark.parametrize(
    ("more", "field"),
    [({"ordered_on": SENT + timedelta(days=1)}, "ordered_on"), ({"due_on": SENT - timedelta(days=1)}, "due_on")],
)
def test_a_wrong_day_is_said_at_its_field(seal: Step, more: dict[str, object], field: str) -> None:
    supplier = add_supplier(name="Wren Spares", **WHO)
    given = {"ordered_on": SENT, "due_on": DUE} | more
    with pytest.raises(ValidationError) as refused:
        place_order(supplier=supplier, lines=[Wanted(900, step=seal)], **given, **WHO)
    assert list(refused.value.message_dict) == [field]


def test_the_same_supplier_twice_is_refused_at_the_name(shop: Workshop) -> None:
    add_supplier(name="Wren Spares", **WHO)
    with pytest.raises(ValidationError) as refused:
        add_supplier(name="Wren Spares", **WHO)
    assert list(refused.value.message_dict) == ["name"]
