"""Found or not found, ours, provisional or excluded: what each does to price, route, consent and the accepted quote."""

import itertools
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from quotes.pricing import damages
from quotes.pricing.models import Draft, IssuedQuote, Stage
from quotes.pricing.paper import offer_of
from quotes.pricing.selectors import priced
from quotes.pricing.services import CannotIssueError
from quotes.pricing.verify import verify
from shop.restorations.damage import change_damage
from shop.restorations.models import Part, PartDamage
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step
from tests.pricing.staged import at, bike, cracked, issued, note_odds
from tests.pricing.workshop import BY, TODAY, Workshop, answer

pytestmark = pytest.mark.django_db
D = Decimal
FOUND, NOT_FOUND = PartDamage.Settled.FOUND, PartDamage.Settled.NOT_FOUND
OURS, PROVISIONAL, EXCLUDED = PartDamage.Treatment


@pytest.fixture
def draft(shop: Workshop) -> Draft:
    note_odds()
    return bike(shop)


@pytest.fixture
def part(draft: Draft) -> Part:
    return draft.restoration.parts.get(name="Bearing seat 2")


def settle(row: PartDamage, settled: PartDamage.Settled) -> list[Step]:
    return damages.settle(damage=row, settled=settled, note="seen at strip-down", **BY)


def agreed(draft: Draft) -> IssuedQuote:
    quote = issued(draft, Stage.MAIN)
    answer(quote)
    return quote


def kept(quote: IssuedQuote) -> dict[str, Any]:
    return IssuedQuote.objects.filter(pk=quote.pk).values().get()


def net(draft: Draft) -> Decimal:
    result = priced(draft).explained.result
    return result.net


# --- before anything is agreed ---


def test_ours_is_in_the_price_provisional_and_excluded_are_beside_it(draft: Draft, part: Part, shop: Workshop) -> None:
    bare = net(draft)
    row = cracked(shop, part, OURS)
    ours = priced(draft).explained.result
    # (40 + 4 × 70 + 150) / 6 = 78.33; found in 3 % of bikes.
    assert ours.damage.quantize(D("0.01")) == D("2.35")
    assert ours.net > bare
    change_damage(damage=row, changes={"treatment": PROVISIONAL}, **BY)
    beside = priced(draft).explained.result
    assert (beside.net, beside.damage) == (bare, 0)
    assert [(item.name, item.price) for item in beside.provisional] == [("Cracked", D("130.56"))]  # 78.33 / (1 − 0.40)
    change_damage(damage=row, changes={"treatment": EXCLUDED}, **BY)
    outside = priced(draft).explained.result
    assert (outside.net, outside.provisional, [item.name for item in outside.excluded]) == (bare, (), ["Cracked"])


@pytest.mark.parametrize("treatment", PartDamage.Treatment)
def test_the_paper_lists_what_is_beside_the_price(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    cracked(shop, part, treatment)
    offer = offer_of(issued(draft, Stage.MAIN))
    provisional = [(item.part, item.name, item.price) for item in offer.provisional]
    excluded = [(item.part, item.name, item.price) for item in offer.excluded]
    assert provisional == ([("Bearing seat 2", "Cracked", D("130.56"))] if treatment == PROVISIONAL else [])
    assert excluded == ([("Bearing seat 2", "Cracked", None)] if treatment == EXCLUDED else [])


@pytest.mark.parametrize("treatment", PartDamage.Treatment)
def test_found_before_the_main_offer_its_steps_are_simply_part_of_that_offer(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    answer(issued(draft, Stage.INSPECT))
    authorised = Authorisation.objects.count()
    row = cracked(shop, part, treatment)
    steps = settle(row, FOUND)
    assert len(steps) == 2
    assert Authorisation.objects.count() == authorised
    main = issued(draft, Stage.MAIN)
    assert {step.uid for step in steps} <= set(main.steps.values_list("step_uid", flat=True))
    assert (offer_of(main).provisional, offer_of(main).excluded) == ((), ())


@pytest.mark.parametrize("treatment", PartDamage.Treatment)
def test_not_found_before_the_main_offer_it_is_gone_from_the_price(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    bare = net(draft)
    settle(cracked(shop, part, treatment), NOT_FOUND)
    assert net(draft) == bare


# --- after the main offer is accepted ---


@pytest.mark.parametrize(("treatment", "settled"), [*itertools.product(PartDamage.Treatment, PartDamage.Settled)])
def test_what_was_agreed_stays_what_it_is(
    draft: Draft,
    part: Part,
    shop: Workshop,
    treatment: PartDamage.Treatment,
    settled: PartDamage.Settled,
) -> None:
    row = cracked(shop, part, treatment)
    quote = agreed(draft)
    before = kept(quote)
    settle(row, settled)
    assert kept(quote) == before
    assert list(verify(quote)) == []


def test_ours_and_found_is_paid_for_so_its_steps_need_no_new_consent(draft: Draft, part: Part, shop: Workshop) -> None:
    row = cracked(shop, part, OURS)
    agreed(draft)
    steps = settle(row, FOUND)
    rows = Authorisation.objects.filter(step_uid__in=[step.uid for step in steps])
    assert set(rows.values_list("kind", "reference")) == {("origin", f"damage {row.uid}")}
    assert rows.count() == 2
    nothing_to_vary(draft)


def test_found_while_the_offer_that_carries_it_is_open_it_is_paid_for_once_that_is_accepted(
    draft: Draft, part: Part, shop: Workshop
) -> None:
    row = cracked(shop, part, OURS)
    quote = issued(draft, Stage.MAIN)
    steps = {step.uid for step in settle(row, FOUND)}
    assert not Authorisation.objects.exists()
    answer(quote)
    rows = Authorisation.objects.filter(step_uid__in=steps)
    assert set(rows.values_list("kind", "reference")) == {("origin", f"damage {row.uid}")}
    assert rows.count() == 2
    nothing_to_vary(draft)


@pytest.mark.parametrize("treatment", [PROVISIONAL, EXCLUDED])
def test_found_while_the_offer_is_open_and_not_ours_it_still_needs_the_customers_word(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    row = cracked(shop, part, treatment)
    quote = issued(draft, Stage.MAIN)
    steps = {step.uid for step in settle(row, FOUND)}
    answer(quote)
    assert not Authorisation.objects.filter(step_uid__in=steps).exists()
    assert set(issued(draft, Stage.VARIATION).steps.values_list("step_uid", flat=True)) == steps


def nothing_to_vary(draft: Draft) -> None:
    with pytest.raises(CannotIssueError, match="Nothing differs"):
        issued(draft, Stage.VARIATION)


@pytest.mark.parametrize("treatment", PartDamage.Treatment)
def test_not_found_nothing_is_charged_and_nothing_is_given_back(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    row = cracked(shop, part, treatment)
    quote = agreed(draft)
    settle(row, NOT_FOUND)
    nothing_to_vary(draft)
    assert Authorisation.objects.count() == quote.steps.count()


@pytest.mark.parametrize("treatment", [PROVISIONAL, EXCLUDED])
def test_provisional_or_excluded_and_found_it_comes_up_as_a_variation(
    draft: Draft, part: Part, shop: Workshop, treatment: PartDamage.Treatment
) -> None:
    row = cracked(shop, part, treatment)
    quote = agreed(draft)
    steps = {step.uid for step in settle(row, FOUND)}
    assert not Authorisation.objects.filter(step_uid__in=steps).exists()
    variation = issued(draft, Stage.VARIATION)
    assert (set(variation.steps.values_list("step_uid", flat=True)), variation.varies) == (steps, quote)
    assert variation.net_minor > 0
    answer(variation)
    assert Authorisation.objects.filter(step_uid__in=steps, reference=str(variation)).count() == 2


def test_a_variation_names_what_was_found_as_noted_and_what_is_agreed_in_all_with_it(
    draft: Draft, part: Part, shop: Workshop
) -> None:
    row = cracked(shop, part, PROVISIONAL)
    quote = agreed(draft)
    damages.settle(damage=row, settled=FOUND, note="hairline at the drain boss", **BY)
    variation = issued(draft, Stage.VARIATION)
    offer = offer_of(variation)
    assert [(item.part, item.name, item.note) for item in offer.found] == [
        (part.name, "Cracked", "hairline at the drain boss")
    ]
    # Worked out by hand from the two rows: what was agreed, and what this adds.
    assert offer.agreed_total == Decimal(quote.total_minor + variation.total_minor) / 100
    assert (offer_of(quote).found, offer_of(quote).agreed_total) == ((), None)
    answer(variation)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    later_one = offer_of(issued(draft, Stage.VARIATION, now=BY["now"] + timedelta(minutes=1)))
    assert later_one.agreed_total == Decimal(quote.total_minor + variation.total_minor) / 100 + later_one.total


def test_what_is_ours_and_found_is_no_reason_of_a_variation(draft: Draft, part: Part, shop: Workshop) -> None:
    row = cracked(shop, part, OURS)
    agreed(draft)
    settle(row, FOUND)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    assert offer_of(issued(draft, Stage.VARIATION)).found == ()


def test_put_on_the_list_after_the_offer_was_accepted_it_is_not_in_its_price(
    draft: Draft, part: Part, shop: Workshop
) -> None:
    agreed(draft)
    row = cracked(shop, part, OURS)
    assert damages.carried_in(row) is None
    steps = settle(row, FOUND)
    assert not Authorisation.objects.filter(step_uid__in=[step.uid for step in steps]).exists()
    assert issued(draft, Stage.VARIATION).steps.count() == 2


@pytest.mark.parametrize(("before", "after", "carried"), [(OURS, EXCLUDED, True), (PROVISIONAL, OURS, False)])
def test_who_carries_it_is_what_was_agreed_and_not_what_somebody_noted_later(
    draft: Draft,
    part: Part,
    shop: Workshop,
    before: PartDamage.Treatment,
    after: PartDamage.Treatment,
    carried: bool,
) -> None:
    row = cracked(shop, part, before)
    quote = agreed(draft)
    change_damage(damage=row, changes={"treatment": after}, **BY)
    assert damages.carried_in(row) == (quote if carried else None)
    steps = settle(row, FOUND)
    assert Authorisation.objects.filter(step_uid__in=[step.uid for step in steps]).exists() == carried


@pytest.mark.parametrize("stage", [Stage.BALLPARK, Stage.INSPECT])
def test_only_an_accepted_offer_carries_a_damage(draft: Draft, part: Part, shop: Workshop, stage: Stage) -> None:
    row = cracked(shop, part, OURS)
    quote = issued(draft, stage)
    if stage == Stage.INSPECT:
        answer(quote)
    issued(draft, Stage.MAIN, today=TODAY)
    assert damages.carried_in(row) is None


def test_a_variation_does_not_ask_again_for_a_chance_that_was_agreed(draft: Draft, part: Part, shop: Workshop) -> None:
    cracked(shop, part, OURS)
    agreed(draft)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    variation = issued(at(draft, Stage.VARIATION), Stage.VARIATION)
    assert '"damages":[]' in variation.snapshot
    assert "Cracked" not in variation.snapshot
