"""What a price keeps for bikes that come back: a share of expected cost, in every class, in the floor and in the margin.

How much a shop keeps is common practice, no source (1-3 % of the price); the figures here are added up by hand.
"""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal, localcontext
from fractions import Fraction
from math import floor
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine import canonical, explaining, inputs
from quotes.engine.chance.quoting import quote
from quotes.engine.figures import Figure
from quotes.engine.formulas import PRESENT
from quotes.engine.inputs import ZERO, OverheadBy, PriceBy, Restoration, Work
from quotes.engine.money import CONTEXT, places
from quotes.engine.results import CREDIT, Explained
from quotes.engine.rollup import price
from quotes.engine.totals import CLASSES
from tests.bench import plain_sum
from tests.engine import corpus, made
from tests.engine.build import close, operation, part, policy, purchase, refused, restoration, service, step
from tests.engine.chance.uncertain import bike_by
from tests.engine.strategies import fewer

D = Decimal
SEEDS = range(corpus.QUOTES)


def keeping(found: Restoration, share: Decimal) -> Restoration:
    return replace(found, policy=replace(found.policy, comebacks=share))


def bike(share: str = "0.02", **changes: Any) -> Restoration:
    """A bearing for 100; an hour at 60 with 20 of overhead, and 20 kg of zinc at 1."""
    return restoration(
        part("bearing", step("a", "bearing", Work.PURCHASE)),
        part("frame", step("b"), step("c", "zinc", Work.SERVICE), weight=D(20)),
        operations=(operation(run=D(60)),),
        services=(service(),),
        purchases=(purchase(unit_price=D(100)),),
        policy=policy(
            comebacks=D(share), overhead_rate=D(20), labour_margin=D("0.4"), overhead_margin=D("0.2"), vendor_margin=D("0.2"),
            bought_in_margin=D("0.5"), floor=D("0.15"), source="policy of May", **changes,
        ),
    )  # fmt: skip


def test_each_line_keeps_its_share_and_sells_it_at_the_margins_of_what_it_costs() -> None:
    """102 / (1 - .5) = 204; 61.20 / (1 - .4) + 20.40 / (1 - .2) + 20.40 / (1 - .2) = 102 + 25.50 + 25.50 = 153."""
    result = price(bike()).result
    bearing, frame = result.lines
    assert (bearing.comebacks, bearing.bought_in, bearing.price) == (2, 102, 204)
    assert (frame.comebacks, frame.labour, frame.overhead, frame.vendor) == (2, D("61.2"), D("20.4"), D("20.4"))
    assert frame.price == 153
    assert (result.comebacks, result.cost, result.price) == (4, 204, 357)


def test_it_counts_in_the_floor_and_in_the_margin() -> None:
    """204 / (1 - .15) = 240; (357 - 204) / 357 = 3 / 7."""
    result = price(bike()).result
    assert result.floor_price == 240
    assert result.margin is not None
    assert result.margin.quantize(D("1e-12")) == (D(3) / 7).quantize(D("1e-12"))
    assert not result.below_floor
    assert price(replace(bike(), discount=D("0.328"))).result.below_floor  # 239.90; without it the floor is 235.29
    assert not price(replace(bike("0"), discount=D("0.3"))).result.below_floor


def test_nobodys_hours_are_planned_for_it() -> None:
    assert price(bike()).result.minutes == price(bike("0")).result.minutes == 60


def test_labour_at_charge_out_rates_sells_as_much_more() -> None:
    """An hour at 90 with 2 %: 91.80; overhead sells with it; vendor work 25.50."""
    _bearing, frame = price(bike(price_by=PriceBy.CHARGE_OUT)).result.lines
    assert frame.price == D("91.80") + D("25.50")
    assert frame.comebacks == 2


def test_a_provisional_damage_is_shown_with_what_is_kept_once_it_is_found() -> None:
    """200 × 1.02 / (1 - .2), the margin on vendor work."""
    crack = inputs.Damage(
        "d", "a crack", D("0.2"), D(200), D(200), D(200), inputs.Treatment.PROVISIONAL, inputs.CostClass.VENDOR
    )
    given_now = bike()
    frame = replace(given_now.parts[1], damages=(crack,))
    (shown,) = price(replace(given_now, parts=(given_now.parts[0], frame))).result.provisional
    assert shown.price == 255


@pytest.mark.parametrize(
    ("share", "sentence"), [("-0.01", "is negative. Give 0 or more"), ("1", "Give less than 100 %")]
)
def test_a_share_that_is_none_is_refused(share: str, sentence: str) -> None:
    error = refused(part("a", step("s")), policy=policy(comebacks=D(share)))
    assert sentence in str(error)
    assert error.field == "comebacks"


# where it comes from


def said(found: Explained, uid: str, given_now: Restoration) -> list[Figure]:
    line = explaining.line(found, given_now, uid)
    return [figure for _depth, figure in line.walk() if figure.name == "kept for comebacks"]


def test_it_opens_to_the_cost_it_is_a_share_of_and_to_the_policy() -> None:
    given_now = bike()
    found = price(given_now)
    figure = found.figures["frame comebacks"]
    assert (figure.name, figure.value, figure.formula) == ("kept for comebacks", 2, "comebacks_1")
    assert [(item.value, item.source) for item in figure.inputs] == [
        (100, "steps of this part"),
        (D("0.02"), "policy of May"),
    ]
    assert [item.value for item in said(found, "frame", given_now)] == [D("1.2"), D("0.4"), D("0.4")]
    whole = {item.name: item for item in explaining.whole(found, given_now)}
    assert [item.value for item in whole["kept for comebacks"].inputs] == [2, 2]


def test_where_nothing_is_kept_nothing_is_said() -> None:
    given_now = bike("0")
    found = price(given_now)
    assert not [name for name in found.figures if name.endswith("comebacks")]
    assert said(found, "frame", given_now) == []
    assert "kept for comebacks" not in {item.name for item in explaining.whole(found, given_now)}


@given(st.integers(0, 10**6))
def test_an_opened_line_adds_up_with_what_is_kept(seed: int) -> None:
    given_now = keeping(made.by_seed(seed), D("0.02"))
    found = price(given_now)
    with localcontext(CONTEXT):
        for line in found.result.lines[: len(given_now.parts)]:
            kept = sum((item.value for item in said(found, line.uid, given_now)), ZERO)
            by_hours = given_now.policy.price_by is PriceBy.CHARGE_OUT
            if not by_hours:
                assert close(kept, line.comebacks)
            for _depth, figure in explaining.line(found, given_now, line.uid).walk():
                if figure.formula == "sum_1":
                    assert close(sum((item.value for item in figure.inputs), ZERO), figure.value)


# over the corpus


def sold_by_fractions(found: Explained, uid: str, given_now: Restoration) -> Fraction:
    """The unrounded price of a line from its steps and what nobody can see yet, in fractions and with nothing of the engine's totals."""
    visits = [visit for item in found.steps if item.part == uid for visit in (item.first, item.allowance)]
    unseen = found.unseen.get(uid)
    visits += [unseen.damage, unseen.finish] if unseen else []
    terms, more = given_now.policy, 1 + Fraction(given_now.policy.comebacks)
    whole = Fraction(0)
    for name in CLASSES:
        margin = Fraction(getattr(terms, f"{name}_margin"))
        amount = sum((Fraction(getattr(visit, name)) for visit in visits), Fraction(0))
        if terms.price_by is PriceBy.CHARGE_OUT and name in {"labour", "overhead"}:
            amount = sum((Fraction(visit.sold) for visit in visits), Fraction(0)) if name == "labour" else Fraction(0)
            margin = Fraction(0)
        whole += amount * more / (1 - margin)
    return whole


def to_places(amount: Fraction, digits: int, rule: str) -> Fraction:
    scaled = amount * 10**digits
    below = floor(scaled)
    up = scaled - below > Fraction(1, 2) or (scaled - below == Fraction(1, 2) and rule == "half_up")
    return Fraction(below + up, 10**digits)


def test_three_hundred_quotes_come_to_the_same_in_fractions() -> None:
    """Lines without a contingency of their own; a figure within 1e-18 of half a unit may go either way."""
    kept = 0
    for seed in SEEDS:
        given_now = made.by_seed(seed)
        plain = replace(given_now, fee=None, parts=tuple(replace(item, contingency=ZERO) for item in given_now.parts))
        found = price(plain)
        digits, rule = places(plain.policy.currency), plain.policy.rounding
        for line in found.result.lines[: len(plain.parts)]:
            sold = sold_by_fractions(found, line.uid, plain)
            odd = abs((sold * 10**digits) % 1 - Fraction(1, 2)) < Fraction(1, 10**18)
            assert odd or Fraction(line.price) == to_places(sold, digits, rule), (seed, line.part)
        kept += bool(found.result.comebacks)
        expected = Fraction(plain_sum.cost(keeping(plain, ZERO), found.batches))
        hidden = sum((item.damage.cost + item.finish.cost for item in found.unseen.values()), ZERO)
        whole = (expected + Fraction(hidden)) * Fraction(plain.policy.comebacks)
        assert abs(Fraction(found.result.comebacks) - whole) <= Fraction(1, 10**15), seed
    assert 100 < kept < 250


@fewer
@given(st.integers(0, 10**6))
def test_nothing_kept_is_every_figure_as_it_would_be_without(seed: int) -> None:
    """The policy says 0, or says nothing since it is older: the same bytes, and no field but zeros beside them."""
    given_now = keeping(made.by_seed(seed), ZERO)
    older = canonical.dump(given_now).replace(b'"comebacks":"0",', b"")
    assert older.count(b"comebacks") == 0
    loaded = canonical.load(Restoration, older)
    named = {topic: name for topic, name in PRESENT.items() if topic != "comebacks"}
    result = price(given_now).result
    assert canonical.dump(price(loaded, named).result) == canonical.dump(result)
    assert {result.comebacks, *(line.comebacks for line in result.lines)} == {ZERO}


@fewer
@given(st.integers(0, 10**6), st.integers(1, 200))
def test_a_share_makes_every_cost_of_every_line_dearer_by_just_that(seed: int, thousandths: int) -> None:
    share = D(thousandths) / 1000
    before = price(keeping(made.by_seed(seed), ZERO)).result
    after = price(keeping(made.by_seed(seed), share)).result
    for one, other in zip(before.lines, after.lines, strict=True):
        if one.basis == CREDIT:
            assert one == other
            continue
        assert close(other.comebacks, one.cost * share)
        assert all(close(getattr(other, name), getattr(one, name) * (1 + share)) for name in CLASSES)
        assert (other.minutes, other.allowance, other.damage, other.finish) == (
            one.minutes, one.allowance, one.damage, one.finish,
        )  # fmt: skip
    assert close(after.floor_price, before.floor_price * (1 + share))


# how sure it is


@pytest.mark.parametrize("seed", range(6))
def test_it_moves_what_such_bikes_cost_and_leaves_the_contingency_as_it_is(seed: int) -> None:
    """It is kept for every bike alike, so it adds to the mean and to each quantile, and nothing to the spread."""
    found = keeping(bike_by(seed, 60, like_a_shop=seed % 2 == 0).restoration, ZERO)
    before, after = quote(found).assessment, quote(keeping(found, D("0.03"))).assessment
    amount = before.mean * D("0.03")
    assert close(after.mean, before.mean + amount)
    assert close(after.quantile, before.quantile + amount)
    assert (after.contingency, after.shares, after.deviation, after.causes) == (
        before.contingency, before.shares, before.deviation, before.causes,
    )  # fmt: skip
    for chance in (0.1, 0.5, 0.9):
        at = int(chance * len(before.totals))
        assert abs(after.totals[at] - before.totals[at] - float(amount)) < 2e-6
    below = D(str(before.totals[len(before.totals) // 2]))
    assert after.chance_of_loss(below + amount + D("0.00001")) <= before.chance_of_loss(below)
    assert after.chance_of_loss(below) > before.chance_of_loss(below)


def figures(found: Explained) -> Iterator[Figure]:
    for top in found.figures.values():
        yield from (figure for _depth, figure in top.walk())


def test_overhead_by_labour_cost_is_kept_of_as_well() -> None:
    """60 of labour with 50 % overhead is 90; 2 % of it 1.80."""
    found = price(
        restoration(
            part("a", step("s")),
            operations=(operation(run=D(60)),),
            policy=policy(comebacks=D("0.02"), overhead_by=OverheadBy.LABOUR, overhead_rate=D("0.5")),
        )
    )
    assert found.result.comebacks == D("1.80")
    assert {f.value for f in figures(found) if f.name == "kept for comebacks"} == {D("1.2"), D("0.6"), D("1.8")}
