"""Possible damage meets the route: as the engine prices it, and what is laid when it is found."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from quotes.engine import inputs
from shop.journal.models import Entry
from shop.methods.models import DamageStep, PartKind, PossibleDamage
from shop.rates.models import Odds
from shop.restorations.damage import add_by_hand, add_usual, remove_damage
from shop.restorations.models import Part, PartDamage
from shop.routes.damages import damages, on_route, reference, settle
from shop.routes.models import Authorisation, Step
from shop.routes.selectors import scope
from shop.routes.services import add_step, remove_step
from tests.workshop import SINCE, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal
FOUND, NOT_FOUND = PartDamage.Settled.FOUND, PartDamage.Settled.NOT_FOUND
ODDS = Odds(valid_from=SINCE, common=D(40), sometimes=D(20), rare=D(5))
CRACK: dict[str, Any] = {"frequency": "rare", "low_minor": 5_000, "likely_minor": 9_000, "high_minor": 20_050}


@pytest.fixture
def shop(db: None) -> Workshop:
    return workshop()


@pytest.fixture
def part(shop: Workshop) -> Part:
    kind = PartKind.objects.create(name="Frame")
    usual = PossibleDamage.objects.create(kind=kind, name="Cracked lug", **CRACK)
    DamageStep.objects.create(damage=usual, position=2, service=shop.plate)
    DamageStep.objects.create(damage=usual, position=1, operation=shop.fit, quantity=D(3))
    return frame(restoration(), shop, kind=kind)


@pytest.fixture
def crack(part: Part) -> PartDamage:
    return add_usual(part=part, **WHO)[0]


def route(part: Part) -> list[tuple[str, str]]:
    live = part.steps.filter(removed_at=None).order_by("position")
    return [(step.origin, str(step)) for step in live]


def test_the_engine_gets_money_as_money_and_the_chance_behind_the_word(part: Part, crack: PartDamage) -> None:
    found = damages(scope(part.restoration), ODDS)
    assert found == {
        str(part.uid): (
            inputs.Damage(
                uid=str(crack.uid),
                name="Cracked lug",
                chance=D("0.05"),
                low=D("50.00"),
                likely=D("90.00"),
                high=D("200.50"),
                treatment=inputs.Treatment.OURS,
                cost_class=inputs.CostClass.LABOUR,
                source="rare, odds of 2026-01-01",
            ),
        )
    }


@pytest.mark.parametrize("settled", [FOUND, NOT_FOUND])
def test_what_is_settled_or_taken_away_is_no_chance_any_more(
    part: Part, crack: PartDamage, settled: PartDamage.Settled
) -> None:
    other = add_by_hand(part=part, name="Bent", **CRACK, **WHO)
    remove_damage(damage=other, **WHO)
    settle(damage=crack, settled=settled, note="seen", **WHO)
    assert damages(scope(part.restoration), ODDS) == {}


def test_many_damages_are_read_in_one_query(shop: Workshop, part: Part, django_assert_num_queries: Any) -> None:
    def read(queries: int) -> int:
        found = scope(part.restoration)
        with django_assert_num_queries(queries):
            return sum(map(len, damages(found, ODDS).values()))

    add_usual(part=part, **WHO)
    assert read(1) == 1
    for _number in range(5):
        add_usual(part=frame(part.restoration, shop, kind=part.kind), **WHO)
    assert read(1) == 6


def test_found_its_steps_are_laid_last_before_the_finish_in_the_order_of_the_library(
    shop: Workshop, part: Part, crack: PartDamage
) -> None:
    add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.strip, **WHO)
    before = part.restoration.scope_version
    steps = settle(damage=crack, settled=FOUND, note="lug on the left", **WHO)
    assert route(part)[:4] == [
        ("before", "Strip a coat"),
        ("before", "Fit"),
        ("before", "Zinc plate"),
        ("finish", "Blast"),
    ]
    assert (steps[0].quantity, steps[1].quantity) == (D(3), None)
    part.restoration.refresh_from_db()
    assert part.restoration.scope_version > before
    told = Entry.objects.filter(what="step added", reference=reference(crack))
    assert {entry.subject_uid for entry in told} == {step.uid for step in steps}


@pytest.mark.parametrize("treatment", PartDamage.Treatment.values)
def test_not_found_lays_nothing_and_authorises_nothing(part: Part, treatment: str) -> None:
    (crack,) = add_usual(part=part, treatment=PartDamage.Treatment(treatment), **WHO)
    before = route(part)
    assert settle(damage=crack, settled=NOT_FOUND, carried=True, **WHO) == []
    assert route(part) == before
    assert not Authorisation.objects.exists()


def test_what_an_accepted_quote_carries_is_authorised_by_the_damage_itself(part: Part, crack: PartDamage) -> None:
    steps = settle(damage=crack, settled=FOUND, note="seen", carried=True, **WHO)
    rows = set(Authorisation.objects.values_list("step_uid", "kind", "reference"))
    assert rows == {(step.uid, "origin", f"damage {crack.uid}") for step in steps}


def test_what_no_accepted_quote_carries_waits_for_the_customers_word(part: Part, crack: PartDamage) -> None:
    assert len(settle(damage=crack, settled=FOUND, note="seen", **WHO)) == 2
    assert not Authorisation.objects.exists()


def test_found_by_hand_there_are_no_steps_to_lay(part: Part) -> None:
    row = add_by_hand(part=part, name="Bent", **CRACK, **WHO)
    assert settle(damage=row, settled=FOUND, note="seen", carried=True, **WHO) == []
    row.refresh_from_db()
    assert row.settled == "found"


def test_settled_twice_lays_its_steps_once(part: Part, crack: PartDamage) -> None:
    settle(damage=crack, settled=FOUND, note="seen", **WHO)
    before = route(part)
    with pytest.raises(ValidationError, match="settled already"):
        settle(damage=PartDamage.objects.get(pk=crack.pk), settled=FOUND, note="again", **WHO)
    assert route(part) == before


def test_a_step_that_cannot_be_laid_leaves_the_damage_unsettled(part: Part, crack: PartDamage) -> None:
    DamageStep.objects.filter(position=1).update(quantity=D(-1))
    with pytest.raises(ValidationError):
        settle(damage=crack, settled=FOUND, note="seen", **WHO)
    crack.refresh_from_db()
    assert (crack.settled, Step.objects.filter(operation__name="Fit").count()) == ("", 0)


# --- what is on the route already ---


def on_hand(part: Part, shop: Workshop, origin: Step.Origin = Step.Origin.BEFORE) -> Step:
    return add_step(part=part, origin=origin, operation=shop.fit, **WHO)


def test_work_that_is_on_the_route_already_is_not_laid_a_second_time(
    shop: Workshop, part: Part, crack: PartDamage
) -> None:
    there = on_hand(part, shop)
    methods = list(DamageStep.objects.order_by("position"))
    assert on_route(part, methods) == {methods[0].pk: there}
    steps = settle(damage=crack, settled=FOUND, note="seen", **WHO)
    assert [str(step) for step in steps] == ["Zinc plate"]
    assert [name for _origin, name in route(part)].count("Fit") == 1


def test_twice_is_laid_twice_when_somebody_says_so(shop: Workshop, part: Part, crack: PartDamage) -> None:
    on_hand(part, shop)
    steps = settle(damage=crack, settled=FOUND, note="seen", again=True, **WHO)
    assert [str(step) for step in steps] == ["Fit", "Zinc plate"]


def test_one_step_on_the_route_stands_for_one_of_two_that_are_alike(
    shop: Workshop, part: Part, crack: PartDamage
) -> None:
    DamageStep.objects.create(damage=crack.damage, position=3, operation=shop.fit, quantity=D(1))
    on_hand(part, shop)
    steps = settle(damage=crack, settled=FOUND, note="seen", **WHO)
    assert [(str(step), step.quantity) for step in steps] == [("Zinc plate", None), ("Fit", D(1))]


def test_what_is_off_the_route_or_on_another_part_does_not_count(shop: Workshop, part: Part, crack: PartDamage) -> None:
    remove_step(step=on_hand(part, shop), **WHO)
    on_hand(frame(part.restoration, shop), shop)
    assert len(settle(damage=crack, settled=FOUND, note="seen", **WHO)) == 2


def test_the_same_work_for_the_finish_or_when_it_is_put_together_is_another_occasion(
    shop: Workshop, part: Part, crack: PartDamage
) -> None:
    blast = next(step for step in part.steps.all() if str(step) == "Blast")
    assert blast.origin == Step.Origin.FINISH
    DamageStep.objects.create(
        damage=crack.damage, position=3, operation=blast.operation, service=blast.service, quantity=D(1)
    )
    on_hand(part, shop, Step.Origin.AFTER)
    steps = settle(damage=crack, settled=FOUND, note="seen", **WHO)
    assert [str(step) for step in steps] == ["Fit", "Zinc plate", "Blast"]


def test_what_was_on_the_route_is_paid_for_too_where_the_damage_is_ours(
    shop: Workshop, part: Part, crack: PartDamage
) -> None:
    there = on_hand(part, shop)
    (laid,) = settle(damage=crack, settled=FOUND, note="seen", carried=True, **WHO)
    assert set(Authorisation.objects.values_list("step_uid", flat=True)) == {there.uid, laid.uid}
