"""Prices still to confirm: which they are, what they come to, and which matters most.

The figures are worked by hand beside each test; there is no source for them but the arithmetic.
"""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from quotes.engine.inputs import Break
from quotes.pricing.confirming import Kind, Unsure, Why, counts, rests_on_guesses, unsure
from quotes.pricing.selectors import priced
from shop.methods.models import Consumable, Usage
from shop.rates.services import note_consumable_price, note_service_price
from shop.restorations.models import Part
from shop.restorations.services import change_part
from shop.routes.models import Source, Step
from shop.routes.services import add_step, change_step
from tests.workshop import SINCE, TODAY, WHO, Workshop, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
VALID = 30  # [days], of the policy


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def part(shop: Workshop) -> Part:
    """A black frame of 60 dm², one piece; the rate book is all seen in writing."""
    made = frame(restoration(), shop)
    draft(made.restoration)
    return made


def listed(part: Part, **more: Any) -> tuple[Unsure, ...]:
    return unsure(priced(draft(part.restoration)), today=TODAY, **more)


def buy(part: Part, price: int = 5000, **more: Any) -> Step:
    given = {"buy": "Seal", "buy_source": Source.REPRODUCTION, "buy_price_minor": price, "buy_status": "phoned"}
    return add_step(part=part, origin=Step.Origin.BEFORE, **(given | more), **WHO)


def guess_paint(shop: Workshop, **more: Any) -> None:
    pack = {"pack_size": Decimal(1), "pack_price": Decimal(40), "status": "guessed"} | more
    note_consumable_price(consumable=shop.paint, valid_from=SINCE, **pack, **WHO)


def test_what_is_seen_in_writing_and_holds_is_not_listed(shop: Workshop, part: Part) -> None:
    buy(part, buy_status="seen", buy_valid_until=TODAY + timedelta(days=VALID))
    assert listed(part) == ()


def test_a_bought_in_part_counts_with_all_its_pieces_at_its_margin(part: Part) -> None:
    """2 × 50.00 = 100.00; / (1 − 20 %) = 125.00; told by phone strays by 8 %: 10.00."""
    step = buy(part)
    change_part(part=part, changes={"pieces": 2}, **WHO)
    (item,) = listed(part)
    assert (item.kind, item.key, item.name, item.parts) == (Kind.PURCHASE, str(step.uid), "Seal", ("Frame",))
    assert (item.cost, item.price, item.swing) == (Decimal("100.00"), Decimal("125.00"), Decimal("10.00"))
    assert item.why == (Why.PHONED,)


def test_a_consumable_counts_with_what_is_expected_to_be_done_again(shop: Workshop, part: Part) -> None:
    """0.6 m² × 50 µm / (10 × 50 %) / 50 % = 0.12 l, 4.80; one coat in ten fails: 4.80 / 0.9 = 5.33; / 75 % = 7.11; 25 % of it 1.78."""
    guess_paint(shop)
    (item,) = listed(part)
    assert (item.kind, item.name) == (Kind.CONSUMABLE, "Enamel")
    assert (item.cost, item.price, item.swing) == (Decimal("5.33"), Decimal("7.11"), Decimal("1.78"))


def test_a_vendors_service_counts_with_its_lot(shop: Workshop, part: Part) -> None:
    """14 kg × 6.00 = 84.00 above the first break; / 80 % = 105.00; 25 % of it 26.25."""
    frame(part.restoration, shop, name="Stays", finish=shop.zinc)
    breaks = [Break(Decimal(0), Decimal(8)), Break(Decimal(10), Decimal(6))]
    terms = {"service": shop.plate, "valid_from": SINCE, "handling_grade": shop.grade, "minimum": Decimal(50)}
    note_service_price(breaks=breaks, status="guessed", **terms, **WHO)
    (item,) = listed(part)
    assert (item.kind, item.name, item.parts) == (Kind.SERVICE, "Brook Platers: Zinc plate", ("Stays",))
    assert (item.cost, item.price, item.swing) == (Decimal("84.00"), Decimal("105.00"), Decimal("26.25"))


def test_two_consumables_of_one_operation_share_its_material_as_they_cost(shop: Workshop, part: Part) -> None:
    """Enamel 4.80 and 1.20 of thinner the first time: 5.33 and 1.33 with the redo."""
    thinner = Consumable.objects.create(name="Thinner", unit="l", by="measure")
    Usage.objects.create(operation=shop.spray, consumable=thinner, amount=Decimal("0.002"))
    pack = {"pack_size": Decimal(1), "pack_price": Decimal(10), "status": "guessed"}
    note_consumable_price(consumable=thinner, valid_from=SINCE, **pack, **WHO)
    guess_paint(shop)
    costs = {item.name: item.cost for item in listed(part)}
    assert costs == {"Enamel": Decimal("5.33"), "Thinner": Decimal("1.33")}


def test_what_was_told_by_phone_comes_after_all_else_and_the_largest_effect_first_in_both(
    shop: Workshop, part: Part
) -> None:
    """A guess of 20.00 may move the price by 6.25, a price of 70.00 told by phone by 7.00, of 60.00 by 6.00."""
    for name, price, status in (
        ("C", 6000, "phoned"),
        ("A", 7000, "phoned"),
        ("B", 2000, "guessed"),
        ("D", 0, "guessed"),
    ):
        buy(part, price, buy=name, buy_status=status)
    assert [item.name for item in listed(part)] == ["D", "B", "A", "C"]
    assert listed(part)[0].why == (Why.NO_PRICE,)
    found = counts(listed(part))
    assert (found.guessed, found.outdated, found.told, found.open) == (2, 0, 2, 2)


def test_a_price_told_by_phone_that_ends_too_soon_is_still_to_confirm(part: Part) -> None:
    buy(part, buy_valid_until=TODAY + timedelta(days=VALID - 1))
    found = counts(listed(part))
    assert (found.guessed, found.outdated, found.told, found.open) == (0, 1, 0, 1)


def test_remarks_count_the_same_guesses_as_the_list(shop: Workshop, part: Part) -> None:
    """Plating on two parts, enamel on one, a part without any price: three guesses, each once; one brought, one told."""
    for name in ("Stays", "Rack"):
        frame(part.restoration, shop, name=name, finish=shop.zinc, strength=300)
    breaks = [Break(Decimal(0), Decimal(8))]
    terms = {"service": shop.plate, "valid_from": SINCE, "handling_grade": shop.grade}
    note_service_price(breaks=breaks, status="guessed", **terms, **WHO)
    guess_paint(shop)
    buy(part, 0, buy="Badge")
    buy(part, 0, buy="Lamp", buy_source=Source.CUSTOMERS_OWN, buy_status="guessed")
    buy(part)
    found = priced(draft(part.restoration))
    assert found.explained is not None
    said = [remark for remark in found.explained.remarks if not remark.blocking]
    assert len(said) == counts(unsure(found, today=TODAY)).guessed == 3
    assert {(remark.part, remark.step) for remark in said} == {
        ("", "Enamel"),
        ("Rack, Stays", "Zinc plate"),
        ("Frame", "Badge"),
    }


def test_what_rests_on_guesses_is_added_up_and_what_was_phoned_is_not(shop: Workshop, part: Part) -> None:
    """20.00 / 80 % = 25.00 guessed, and the enamel with 7.11; the phoned part counts nothing."""
    buy(part, 2000, buy_status="guessed")
    buy(part, 9000)
    guess_paint(shop)
    assert rests_on_guesses(listed(part)) == Decimal("32.11")


@pytest.mark.parametrize(
    ("days", "why"),
    [
        (-1, (Why.OUT,)),
        (0, (Why.ENDS,)),
        (VALID - 1, (Why.ENDS,)),
        (VALID, ()),
    ],
)
def test_a_price_in_writing_is_listed_when_it_holds_less_long_than_the_quote(
    shop: Workshop, part: Part, days: int, why: tuple[Why, ...]
) -> None:
    until = TODAY + timedelta(days=days)
    step = buy(part, buy_status="seen", buy_valid_until=until)
    assert [item.why for item in listed(part)] == ([why] if why else [])
    change_step(step=step, changes={"buy_valid_until": None}, **WHO)
    guess_paint(shop, status="seen", valid_until=max(until, SINCE))
    assert [item.why for item in listed(part)] == ([why] if why else [])


def test_a_price_that_has_run_out_is_no_better_than_a_guess(part: Part) -> None:
    """62.50 × 25 %."""
    buy(part, buy_status="seen", buy_valid_until=TODAY - timedelta(days=1))
    assert listed(part)[0].swing == Decimal("15.63")
    assert rests_on_guesses(listed(part)) == 0


def test_what_the_draft_does_not_use_is_not_listed(shop: Workshop, part: Part) -> None:
    """The plater of another finish, a part with no pieces, a part the customer brings."""
    breaks = [Break(Decimal(0), Decimal(8))]
    note_service_price(
        service=shop.plate, valid_from=SINCE, breaks=breaks, handling_grade=shop.grade, status="guessed", **WHO
    )
    buy(frame(part.restoration, shop, name="None", pieces=0, finish=None))
    buy(part, 0, buy_source=Source.CUSTOMERS_OWN, buy_status="guessed")
    assert listed(part) == ()


def test_a_newer_price_in_the_rate_book_is_said_to_have_overtaken_the_drafts(shop: Workshop, part: Part) -> None:
    guess_paint(shop)
    assert [item.overtaken for item in listed(part)] == [False]
    later = TODAY + timedelta(days=3)
    note_consumable_price(consumable=shop.paint, valid_from=later, pack_size=Decimal(1), pack_price=Decimal(44), **WHO)
    assert [item.overtaken for item in unsure(priced(draft(part.restoration)), today=later)] == [True]


def test_without_a_price_there_is_no_list(shop: Workshop, part: Part) -> None:
    buy(part)
    change_part(part=part, changes={"tax": "unknown"}, **WHO)
    found = priced(draft(part.restoration))
    assert found.error is not None
    assert unsure(found, today=TODAY) == ()
