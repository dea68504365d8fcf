"""What work costs more in two goes than in one, against tables worked by hand and against prices added up whole."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal, localcontext

from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.apart import Cause, Dearer, dearer
from quotes.engine.inputs import (
    Break,
    By,
    Consumable,
    Grade,
    Measure,
    Operation,
    Part,
    Policy,
    PriceBy,
    Restoration,
    Service,
    Step,
    Usage,
    Work,
)
from quotes.engine.money import CONTEXT
from quotes.engine.results import CREDIT, Explained
from quotes.engine.rollup import price
from quotes.pricing import limiting
from tests.engine import made

D = Decimal
MECHANIC = Grade("mechanic", "Mechanic", D(30), D(60), D(1))
PLATING = Service(
    "plating",
    "Plating",
    "A plater",
    Measure.KG,
    (Break(D(0), D(10)),),
    minimum=D(50),
    trip=D(24),
    handling=D(20),
    handling_grade="mechanic",
)
LACQUER = Consumable("lacquer", "Lacquer", "l", By.MEASURE, D(1), D(40), smallest_mix=D("0.5"))
SPRAY = Operation(
    "spray",
    "Spray",
    "mechanic",
    setup=D(30),
    run=D(5),
    measure=Measure.PIECE,
    usages=(Usage("lacquer", amount=D("0.1")),),
)
POLICY = made.policy(1, "EUR")


def bike(*works: tuple[Work, str], policy: Policy | None = None) -> Restoration:
    """Two parts, a bracket of 2 kg and a lever of 4 kg, each with all ``works``."""
    rules = policy or plain()
    parts = tuple(
        Part(
            uid=name,
            name=name,
            pieces=1,
            weight=weight,
            tax="standard",
            steps=tuple(Step(f"{name} {ref}", ref, work, ref, D(1), None) for work, ref in works),
        )
        for name, weight in (("bracket", D(2)), ("lever", D(4)))
    )
    return replace(
        made.by_seed(1),
        policy=rules,
        parts=parts,
        grades=(MECHANIC,),
        consumables=(LACQUER,),
        operations=(SPRAY,),
        services=(PLATING,),
        purchases=(),
        taxes=made.TAXES,
        credits=(),
        fee=None,
        discount=D(0),
    )


def plain(**changes: object) -> Policy:
    """Margins a person can work with: labour sells at twice its cost, vendor work and consumables at 5 / 4, overhead is 0."""
    margins = {f"{name}_margin": D("0.2") for name in ("overhead", "material", "vendor", "bought_in", "contingency")}
    later = {"comebacks": D(0)} if hasattr(POLICY, "comebacks") else {}
    usual = later | {"labour_margin": D("0.5"), "overhead_rate": D(0), "handling_rate": D(0), "mixed_share": D(0)}
    rules: dict[str, object] = {"price_by": PriceBy.MARGIN} | margins | usual | changes
    return replace(POLICY, **rules)  # type: ignore[arg-type]


def told(whole: Restoration, new: str) -> dict[Cause, Dearer]:
    """With the part ``new`` priced by itself."""
    uids = {step.uid for part in whole.parts if part.uid == new for step in part.steps}
    apart = (price(limiting.only(whole, uids)), price(limiting.without(whole, uids)))
    return {item.cause: item for item in dearer((whole, price(whole)), apart)}


def test_a_minimum_a_trip_and_the_handling_that_were_shared_are_paid_twice() -> None:
    """By hand: together 6 kg at 10 are 60, apart each is below the minimum of 50: 40 more, sold at 5 / 4.

    A second trip of 24 sells at 30; 20 minutes more at 30 an hour are 10, sold at 20.
    """
    found = told(bike((Work.SERVICE, "plating")), "bracket")
    assert {cause: item.amount for cause, item in found.items()} == {Cause.LOT: D(50), Cause.TRIP: D(50)}
    assert found[Cause.LOT].names == ("plating",)


def test_a_set_up_and_a_smallest_mix_that_were_shared_are_made_twice() -> None:
    """By hand: 30 minutes more at 30 an hour are 15, sold at 30; a second half litre at 40 is 20, sold at 25."""
    found = told(bike((Work.OPERATION, "spray")), "lever")
    assert {cause: item.amount for cause, item in found.items()} == {Cause.SET_UP: D(30), Cause.MIX: D(25)}


def test_labour_at_charge_out_rates_sells_at_those() -> None:
    """By hand: 30 minutes more at 60 an hour."""
    rules = plain(price_by=PriceBy.CHARGE_OUT)
    assert told(bike((Work.OPERATION, "spray"), policy=rules), "lever")[Cause.SET_UP].amount == D(30)
    dear = replace(bike((Work.OPERATION, "spray"), policy=rules), grades=(replace(MECHANIC, charge_rate=D(90)),))
    assert told(dear, "lever")[Cause.SET_UP].amount == D(45)


def test_what_shares_nothing_costs_no_more_apart() -> None:
    apart = replace(SPRAY, shares_setup=False)
    assert told(replace(bike((Work.OPERATION, "spray")), operations=(apart,)), "lever") == {}


def nothing_kept(whole: Restoration) -> Restoration:
    """Without what the policy keeps for later, which is told by what is left."""
    rules = {"comebacks": D(0)} if hasattr(whole.policy, "comebacks") else {}
    return replace(whole, policy=replace(whole.policy, **rules))


def unrounded(priced: Iterable[Explained]) -> Decimal:
    """Every line's price before it is rounded."""
    lines = (
        priced_one.figures[line.uid]
        for priced_one in priced
        for line in priced_one.result.lines
        if line.basis != CREDIT
    )
    return sum((item.value for figure in lines for item in figure.inputs), D(0))


@given(seed=st.integers(0, 10**6), chosen=st.integers(0, 10**6))
def test_the_causes_add_up_to_what_the_prices_differ_by(seed: int, chosen: int) -> None:
    whole = nothing_kept(replace(made.by_seed(seed), fee=None))
    by = made.Chance(chosen)
    uids = [step.uid for part in whole.parts for step in part.steps]
    new = {uid for uid in uids if by.one_in(3)}
    with localcontext(CONTEXT):
        one = price(whole)
        apart = (price(limiting.only(whole, new)), price(limiting.without(whole, new)))
        found = {item.cause: item.amount for item in dearer((whole, one), apart)}
        assert Cause.KEPT not in found  # what is not told by its own cause would be left there
        together = sum(found.values(), D(0))
        # Every amount is a quotient of up to 28 figures; what is left is in the last of them.
        assert abs(unrounded(apart) - unrounded((one,)) - together) < D("1e-9")
