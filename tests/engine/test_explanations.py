"""Every figure says where it came from: what it was computed from is there, and gives it again."""

from collections.abc import Callable, Iterator
from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.figures import Figure, total
from quotes.engine.formulas import REGISTRY
from quotes.engine.inputs import Break, Measure, OverheadBy, PriceBy, Restoration, Usage
from quotes.engine.money import CONTEXT, places
from quotes.engine.results import Explained
from quotes.engine.rollup import price
from tests.engine import made
from tests.engine.build import back, close, grade, operation, part, priced, step
from tests.engine.strategies import fewer, restorations

D = Decimal
Values = tuple[Decimal, ...]


def again(name: str) -> Callable[..., Decimal]:
    return REGISTRY[name].compute


def _setups(load: Decimal, *capacity: Decimal) -> Decimal:
    return again("setups_1")(load=load, capacity=sum(capacity, D(0)))


def _share(setups: Decimal, setup: Decimal, mixed: Decimal, weights: Decimal, weight: Decimal) -> Decimal:
    if not weights:
        return D(0)
    return again("share_1")(setups=setups, setup=setup, mixed=mixed, weight=weight, weights=weights)


def _labour(*values: Decimal) -> Decimal:
    names = ("setup", "run", "quantity", "condition", "allowance", "shop_factor", "pace")
    return again("labour_1")(**dict(zip(names, values, strict=True)))


def _mix(used: Decimal, smallest: Decimal, pack: Decimal | None = None) -> Decimal:
    return again("mix_1")(used=used, smallest=smallest, pack_size=pack or D(1), whole_packs=pack is not None)


def _allowance(redone: Decimal, redo: Decimal, *failures_and_remedies: Decimal) -> Decimal:
    pairs = zip(failures_and_remedies[::2], failures_and_remedies[1::2], strict=True)
    return redone * redo + sum((taken * remedy for taken, remedy in pairs), D(0))


FROM_INPUTS: dict[str, Callable[..., Decimal]] = {
    "sum_1": lambda *amounts: sum(amounts, D(0)),
    "setups_1": _setups,
    "share_1": _share,
    "labour_1": _labour,
    "usage_1": lambda amount, quantity, waste: again("usage_1")(amount=amount, quantity=quantity, waste=waste),
    "film_1": lambda area, film, solids, transfer: again("film_1")(
        area=area, film=film, solids=solids, transfer=transfer
    ),
    "powder_1": lambda area, film, density, transfer: again("powder_1")(
        area=area, film=film, density=density, transfer=transfer
    ),
    "mix_1": _mix,
    "portion_1": lambda whole, own, together: again("portion_1")(whole=whole, own=own, together=together),
    "material_1": lambda amount, size, cost: again("material_1")(amount=amount, pack_size=size, pack_price=cost),
    "handling_1": lambda charge, trip, rate: again("handling_1")(charge=charge, trip=trip, rate=rate),
    "purchase_1": lambda cost, pieces: again("purchase_1")(price=cost, pieces=pieces),
    "cost_1": again("cost_1"),
    "price_1": again("price_1"),
    "comebacks_1": again("comebacks_1"),
}


def recomputed(figure: Figure, restoration: Restoration) -> Decimal:
    """The value of ``figure`` by its own formula, from the inputs it shows."""
    values = [item.value for item in figure.inputs]
    policy = restoration.policy
    if figure.name == "expected failures":
        chance, redone = values
        return chance * (1 + redone)
    if figure.formula == "rework_1":
        return _allowance(*values)
    if figure.formula == "line_1":
        return again("line_1")(*values, digits=places(policy.currency), rule=policy.rounding)
    if figure.formula == "overhead_1":
        by_hours = policy.overhead_by is OverheadBy.HOURS
        units = ("min", f"{policy.currency}/h") if by_hours else (policy.currency, "of labour")
        assert tuple(item.unit for item in figure.inputs) == units
        return again("overhead_1")(minutes=values[0], labour=values[0], rate=values[1], by=policy.overhead_by)
    if figure.formula == "damage_1":
        return again("damage_1")(**dict(zip(("chance", "low", "likely", "high"), values, strict=True)))
    if figure.formula == "wrong_finish_1":
        noticed, *pairs = values
        return sum((chance * cost for chance, cost in zip(pairs[::2], pairs[1::2], strict=True)), D(0)) * noticed
    if figure.formula == "vendor_1":
        quantity, lot, least, *_ = values
        breaks = [Break(D(item.name.removeprefix("rate from ")), item.value) for item in figure.inputs[3:]]
        return again("vendor_1")(quantity=quantity, breaks=breaks, lot_charge=lot, minimum=least)
    return FROM_INPUTS[figure.formula](*values)


def all_figures(explained: Explained) -> Iterator[Figure]:
    seen: set[int] = set()
    for top in explained.figures.values():
        for _, figure in top.walk():
            if id(figure) not in seen:
                seen.add(id(figure))
                yield figure


@fewer
@given(restorations(most_parts=4))
def test_every_computed_figure_can_be_computed_again_from_the_inputs_it_shows(restoration: Restoration) -> None:
    """But for the redo visits of a whole route, which hang on its other steps too: `test_rework` is about them."""
    with localcontext(CONTEXT):
        for figure in all_figures(price(restoration)):
            if figure.formula and figure.name != "redo visits":
                assert close(recomputed(figure, restoration), figure.value), figure
            assert figure.formula or not figure.inputs, figure


@fewer
@given(st.integers(0, 10**6))
def test_so_can_the_figures_of_what_nobody_can_see_yet(seed: int) -> None:
    restoration = made.by_seed(2 * seed + 1)
    with localcontext(CONTEXT):
        for figure in all_figures(price(restoration)):
            if figure.formula and figure.name not in {"redo visits", "share of the fee"}:
                assert close(recomputed(figure, restoration), figure.value), figure


def test_all_formulas_of_a_cost_are_met_by_such_restorations() -> None:
    met = {figure.formula for seed in range(60) for figure in all_figures(price(made.by_seed(seed)))} - {""}
    unseen = {"damage_1", "wrong_finish_1", "fee_1"}
    assert met == {*FROM_INPUTS, "rework_1", "line_1", "overhead_1", "vendor_1", *unseen}


#: What is taken from the rate book or the methods has a source in words.
BOOKED = {
    "run time",
    "set-up time",
    "allowance",
    "shop factor",
    "pace",
    "cost rate",
    "price of a pack",
    "pack size",
    "smallest mix",
    "volume solids",
    "density",
    "film",
    "transfer efficiency",
    "amount per measure",
    "waste",
    "lot charge",
    "minimum",
    "share of the trip",
    "handling time per lot",
    "handling rate",
    "overhead rate",
    "unit price",
    "quantity",
    "area",
    "load",
}


@fewer
@given(restorations(most_parts=4))
def test_what_comes_from_a_book_says_from_where(restoration: Restoration) -> None:
    for figure in all_figures(price(restoration)):
        if figure.name in BOOKED or figure.name.startswith(("rate from", "margin on")):
            assert figure.source, figure


@given(restorations())
def test_the_figures_on_top_are_the_costs_and_prices_of_the_result(restoration: Restoration) -> None:
    explained = price(restoration)
    for item in explained.steps:
        assert close(explained.figures[item.uid].value, item.first.cost + item.allowance.cost)
    for line in explained.result.lines:
        assert explained.figures[line.uid].value == line.price
        costs = {
            item.inputs[0].name: item.inputs[0].value for item in explained.figures[line.uid].inputs if item.inputs
        }
        if restoration.policy.price_by is PriceBy.MARGIN:
            assert close(sum(costs.values(), D(0)), line.cost)
    steps = sum((item.first.cost + item.allowance.cost for item in explained.steps), D(0))
    assert close(steps + explained.result.comebacks, explained.result.cost)


def test_one_usage_in_two_operations_is_explained_by_each_of_them() -> None:
    usage = Usage("paint", D(1))
    works = (operation("by piece", usages=(usage,)), operation("by area", measure=Measure.DM2, usages=(usage,)))
    explained = priced(part("tank", step("one", ref="by piece"), step("two", ref="by area")), operations=works)
    said = {
        uid: [(f.unit, f.source) for _, f in explained.figures[uid].walk() if f.name == "amount per measure"]
        for uid in ("one", "two")
    }
    assert said == {"one": [("l/piece", "by piece")], "two": [("l/dm2", "by area")]}


@pytest.mark.parametrize(("source", "said"), [("rates of 2026-01-01", "rates of 2026-01-01"), ("", "mechanic")])
def test_a_rate_says_its_source_or_at_least_whose_it_is(source: str, said: str) -> None:
    explained = priced(part("tank", step("coat")), grades=(grade(source=source),))
    sources = {figure.name: figure.source for figure in all_figures(explained)}
    assert (sources["cost rate"], sources["pace"]) == (said, said)
    assert sources["run time"] == "work"


def test_steps_alike_in_all_but_where_their_size_comes_from_keep_their_own_sources() -> None:
    explained = priced(
        part("a", step("a1", ways_back=(back("0.1", "a1"),), source="looked sound"), source="measured"),
        part("b", step("b1", ways_back=(back("0.1", "b1"),), source="looked sound"), source="size class M"),
        part("c", step("c1", ways_back=(back("0.1", "c1"),), source="taken for sound"), source="size class M"),
    )

    def sources(uid: str) -> set[str]:
        return {f.source for _, f in explained.figures[uid].walk() if f.name in {"quantity", "condition factor"}}

    assert sources("a1") == {"measured", "looked sound"}
    assert sources("b1") == {"size class M", "looked sound"}
    assert sources("c1") == {"size class M", "taken for sound"}


def test_a_walk_goes_top_down_with_its_depth() -> None:
    leaf = Figure("leaf", D(2), "EUR")
    tree = total("top", "EUR", (total("middle", "EUR", (leaf, leaf)), leaf))
    assert [(depth, figure.name) for depth, figure in tree.walk()] == [
        (0, "top"),
        (1, "middle"),
        (2, "leaf"),
        (2, "leaf"),
        (1, "leaf"),
    ]
    assert tree.value == 6


def test_figures_are_frozen() -> None:
    with pytest.raises(AttributeError):
        Figure("a", D(1), "EUR").value = D(2)  # type: ignore[misc]
