"""Relations that hold between any restoration and a changed one, whatever their figures are."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from quotes.engine import canonical
from quotes.engine.formulas import PRESENT
from quotes.engine.inputs import ONE, ZERO, Break, Measure, Part, Restoration, Step, TaxBy, Work
from quotes.engine.money import places, to_minor
from quotes.engine.results import Explained, Line, Result
from quotes.engine.rollup import price
from tests.bench import plain_sum
from tests.engine import made
from tests.engine.build import close
from tests.engine.strategies import fewer, restorations, seeds
from tests.engine.test_money import minor_by_fractions

D = Decimal


def by_uid(result: Result) -> dict[str, Line]:
    return {line.uid: line for line in result.lines}


def unrounded(explained: Explained, uid: str) -> Decimal:
    """The price of a line before it is rounded."""
    return sum((figure.value for figure in explained.figures[uid].inputs), ZERO)


def totals(result: Result) -> dict[str, Any]:
    return {name: getattr(result, name) for name in Result.__slots__ if name != "lines"}


# Cost


@given(restorations())
def test_the_cost_is_the_plain_sum_of_the_formulas(restoration: Restoration) -> None:
    """`plain_sum` is written apart from the engine; both work to 28 digits, in another order."""
    explained = price(restoration)
    assert close(plain_sum.cost(restoration, explained.batches), explained.result.cost)


@given(restorations())
def test_the_batches_are_all_that_belongs_together_where_that_closes_no_circle(restoration: Restoration) -> None:
    try:
        expected = plain_sum.together(restoration)
    except plain_sum.Tangled:
        return
    assert list(price(restoration).batches) == expected


@given(restorations(least_parts=2), st.randoms(use_true_random=False))
def test_the_order_in_which_things_are_given_changes_no_figure(restoration: Restoration, by: Random) -> None:
    mixed = replace(
        restoration,
        **{
            name: tuple(by.sample(getattr(restoration, name), len(getattr(restoration, name))))
            for name in ("parts", "taxes", "grades", "consumables", "operations", "services", "purchases")
        },
    )
    one, other = price(restoration), price(mixed)
    assert by_uid(one.result) == by_uid(other.result)
    assert totals(one.result) == totals(other.result)
    assert one.figures == other.figures
    assert {step.uid: step for step in one.steps} == {step.uid: step for step in other.steps}
    assert one.batches == other.batches
    assert sorted(map(str, one.remarks)) == sorted(map(str, other.remarks))


def shared(restoration: Restoration) -> Restoration:
    """Without what is paid for each line by itself: own set-ups and the handling of a purchase."""
    return replace(
        restoration,
        operations=tuple(replace(item, shares_setup=True) for item in restoration.operations),
        purchases=tuple(replace(item, handling=ZERO) for item in restoration.purchases),
    )


def halves(part: Part, pieces: int) -> tuple[Part, Part]:
    """The same part as two lines; what a step says about its quantity is split as well."""

    def half(uid: str, count: int) -> Part:
        steps = tuple(
            replace(
                step,
                uid=step.uid.replace(part.uid, uid),
                quantity=None if step.quantity is None else step.quantity * count / part.pieces,
            )
            for step in part.steps
        )
        return replace(part, uid=uid, pieces=count, steps=steps)

    return half(part.uid, pieces), half(part.uid + "+", part.pieces - pieces)


@given(restorations(fails=False, waits=False), seeds)
def test_pieces_split_in_two_lines_of_one_batch_cost_the_same(restoration: Restoration, seed: int) -> None:
    by = Random(seed)
    start = shared(restoration)
    splittable = [part for part in start.parts if part.pieces > 1]
    assume(splittable)
    whole = by.choice(splittable)
    pieces = next(n for n in (whole.pieces // 2, 1) if n)
    # A quantity that does not divide evenly would be another quantity.
    quantities = {step.quantity for step in whole.steps if step.quantity is not None}
    assume(all((q * pieces / whole.pieces) * whole.pieces == q * pieces for q in quantities))
    one, other = halves(whole, pieces)
    split = replace(start, parts=(*(part for part in start.parts if part is not whole), one, other))
    before, after = price(start), price(split)
    joined = {tuple(sorted({uid.replace("+", "") for uid in batch})) for batch in after.batches}
    assume({batch for batch in joined if batch} == set(before.batches))  # within one batch
    assert close(before.result.cost, after.result.cost)
    assert close(before.result.minutes, after.result.minutes)


@given(restorations(), seeds)
def test_a_line_of_no_pieces_changes_nothing(restoration: Restoration, seed: int) -> None:
    book = made.Catalogue(
        restoration.grades,
        restoration.consumables,
        restoration.operations,
        restoration.services,
        restoration.purchases,
    )
    waits = [step.uid for part in restoration.parts for step in part.steps]
    empty = replace(made.part(seed, "nothing", book, waits), pieces=0)
    before = price(restoration)
    after = price(replace(restoration, parts=(empty, *restoration.parts)))
    lines = by_uid(after.result)
    gone = lines.pop("nothing")
    assert gone == Line("nothing", empty.name, *[gone.price] * 3, empty.tax, *[ZERO] * 7)
    assert gone.price == 0
    assert lines == by_uid(before.result)
    taxed = {item for item in after.result.taxes if item.net or item.code != empty.tax}
    assert taxed >= {item for item in before.result.taxes if item.net}
    skip = {"taxes"}
    assert {k: v for k, v in totals(after.result).items() if k not in skip} == {
        k: v for k, v in totals(before.result).items() if k not in skip
    }


@given(restorations())
def test_a_chance_of_nothing_is_no_way_back(restoration: Restoration) -> None:
    def every_step(change: Callable[[Step], Step]) -> Restoration:
        parts = (replace(part, steps=tuple(map(change, part.steps))) for part in restoration.parts)
        return replace(restoration, parts=tuple(parts))

    sure = every_step(lambda step: replace(step, ways_back=()))
    never = every_step(lambda step: replace(step, ways_back=tuple(replace(way, chance=ZERO) for way in step.ways_back)))
    assert price(sure).result == price(never).result


@given(restorations(fails=False, waits=False), st.integers(2, 5))
def test_without_what_is_paid_per_batch_cost_goes_with_the_pieces(restoration: Restoration, times: int) -> None:
    linear = replace(
        restoration,
        operations=tuple(replace(o, setup=ZERO, measure=_by_piece(o.measure)) for o in restoration.operations),
        consumables=tuple(replace(c, smallest_mix=ZERO, whole_packs=False) for c in restoration.consumables),
        services=tuple(
            replace(
                s,
                lot_charge=ZERO,
                minimum=ZERO,
                trip=ZERO,
                handling=ZERO,
                breaks=s.breaks[:1],
                measure=_by_piece(s.measure),
            )
            for s in restoration.services
        ),
        purchases=tuple(replace(p, handling=ZERO) for p in restoration.purchases),
        parts=tuple(
            replace(part, steps=tuple(replace(step, quantity=None) for step in part.steps))
            for part in restoration.parts
        ),
    )
    more = replace(linear, parts=tuple(replace(part, pieces=part.pieces * times) for part in linear.parts))
    assert close(price(more).result.cost, price(linear).result.cost * times)


def _by_piece(measure: Measure) -> Measure:
    return Measure.PIECE if measure in (Measure.BATCH, Measure.HOUR) else measure


# Raising what things cost


@dataclass(frozen=True)
class Raise:
    """Some cost input made larger; ``plain`` when it moves no share between lines, so that each line rises too."""

    name: str
    group: str
    change: Callable[[Any, Random], Any]
    plain: bool = False


def field(group: str, name: str, *, plain: bool = False) -> Raise:
    def change(item: Any, by: Random) -> Any:
        return replace(item, **{name: getattr(item, name) * D(by.randint(100, 300)) / 100 + D(by.randint(0, 50)) / 10})

    return Raise(f"{group}.{name}", group, change, plain)


def usage(name: str) -> Raise:
    def change(operation: Any, by: Random) -> Any:
        usages = tuple(replace(u, **{name: getattr(u, name) + D(by.randint(0, 300)) / 100}) for u in operation.usages)
        return replace(operation, usages=usages)

    return Raise(f"usage.{name}", "operations", change)


def _less_transfer(operation: Any, by: Random) -> Any:
    return replace(
        operation,
        usages=tuple(replace(u, transfer=u.transfer * D(by.randint(30, 100)) / 100) for u in operation.usages),
    )


def _dearer_break(service: Any, by: Random) -> Any:
    at = by.randrange(len(service.breaks))
    dearer = [
        Break(item.quantity, item.rate + (D(by.randint(0, 200)) / 10 if at == n else ZERO))
        for n, item in enumerate(service.breaks)
    ]
    return replace(service, breaks=tuple(dearer))


def _margin(policy: Any, by: Random) -> Any:
    name = by.choice(("labour", "overhead", "material", "vendor", "bought_in")) + "_margin"
    return replace(policy, **{name: getattr(policy, name) + D(by.randint(0, 30)) / 100})


def _each_step(change: Callable[[Step, Random], Step]) -> Callable[[Any, Random], Any]:
    return lambda part, by: replace(part, steps=tuple(change(step, by) for step in part.steps))


def _likelier(step: Step, by: Random) -> Step:
    """The ways back of a made step have at most .9 together."""
    return replace(
        step, ways_back=tuple(replace(way, chance=way.chance + D(by.randint(0, 4)) / 100) for way in step.ways_back)
    )


def _dearer_replacement(step: Step, by: Random) -> Step:
    return replace(
        step, ways_back=tuple(replace(way, replacement=way.replacement + by.randint(0, 90)) for way in step.ways_back)
    )


RAISES = [
    field("grades", "cost_rate", plain=True),
    field("grades", "charge_rate", plain=True),
    field("grades", "pace", plain=True),
    field("operations", "setup", plain=True),
    field("operations", "run"),
    field("operations", "allowance", plain=True),
    field("operations", "shop_factor", plain=True),
    usage("amount"),
    usage("waste"),
    usage("film"),
    Raise("usage.transfer", "operations", _less_transfer),
    field("consumables", "pack_price", plain=True),
    field("consumables", "smallest_mix", plain=True),
    field("services", "lot_charge", plain=True),
    field("services", "minimum", plain=True),
    field("services", "trip", plain=True),
    field("services", "handling", plain=True),
    Raise("services.breaks", "services", _dearer_break, plain=True),
    field("purchases", "unit_price", plain=True),
    field("purchases", "handling", plain=True),
    field("policy", "overhead_rate", plain=True),
    field("policy", "handling_rate", plain=True),
    Raise("policy.margin", "policy", _margin, plain=True),
    Raise("step.factor", "parts", _each_step(lambda s, by: replace(s, factor=s.factor + D(by.randint(0, 20)) / 10))),
    Raise("step.chance", "parts", _each_step(_likelier), plain=True),
    Raise("step.replacement", "parts", _each_step(_dearer_replacement), plain=True),
]


def raised(restoration: Restoration, what: Raise, by: Random) -> Restoration:
    """One of the group's things changed."""
    if what.group == "policy":
        return replace(restoration, policy=what.change(restoration.policy, by))
    items = list(getattr(restoration, what.group))
    at = by.randrange(len(items))
    items[at] = what.change(items[at], by)
    return replace(restoration, **{what.group: tuple(items)})


@pytest.mark.parametrize("what", RAISES, ids=lambda what: what.name)
@fewer
@given(restorations(), seeds)
def test_the_price_never_falls_when_a_cost_rises(what: Raise, restoration: Restoration, seed: int) -> None:
    """Where shares move between lines, each of which is rounded, only the exact sum cannot fall."""
    dearer = raised(restoration, what, Random(seed))
    before, after = price(restoration), price(dearer)
    exact = [sum((unrounded(e, line.uid) for line in e.result.lines), ZERO) for e in (before, after)]
    assert exact[1] >= exact[0] or close(*exact)
    assert after.result.cost >= before.result.cost or close(before.result.cost, after.result.cost)
    if what.plain:
        lines = by_uid(before.result)
        assert all(line.price >= lines[line.uid].price for line in after.result.lines)
        assert after.result.net >= before.result.net


@given(restorations(), seeds)
def test_one_more_piece_never_costs_less(restoration: Restoration, seed: int) -> None:
    """But where time goes by the batch and the parts of it differ in condition, the easier part takes the larger share."""
    even = replace(
        restoration,
        parts=tuple(replace(p, steps=tuple(replace(s, factor=ONE) for s in p.steps)) for p in restoration.parts),
    )
    by = Random(seed)
    there = [part for part in even.parts if part.pieces]
    assume(there)
    chosen = by.choice(there)
    more = replace(even, parts=tuple(replace(p, pieces=p.pieces + (p is chosen)) for p in even.parts))
    before, after = price(even).result.cost, price(more).result.cost
    assert after >= before or close(before, after)


# Shown figures


@given(restorations())
def test_shown_figures_add_up_in_minor_units(restoration: Restoration) -> None:
    result, digits = price(restoration).result, places(restoration.policy.currency)

    def minor(amount: Decimal) -> int:
        return to_minor(amount, digits=digits)  # refuses an amount finer than the currency

    assert sum(minor(line.price) for line in result.lines) == minor(result.price)
    assert sum(minor(line.discount) for line in result.lines) == minor(result.discount)
    assert all(minor(line.price) - minor(line.discount) == minor(line.net) >= 0 for line in result.lines)
    assert minor(result.price) - minor(result.discount) == minor(result.net)
    assert sum(minor(item.tax) for item in result.taxes) == minor(result.tax)
    assert sum(minor(item.net) for item in result.taxes) == minor(result.net)
    assert minor(result.net) + minor(result.tax) == minor(result.total)
    if restoration.policy.stages:
        assert sum(minor(item.amount) for item in result.instalments) == minor(result.total)
        assert len(result.instalments) == len(restoration.policy.stages)


@given(restorations())
def test_lines_discount_and_tax_are_rounded_as_exact_fractions_say(restoration: Restoration) -> None:
    explained, policy = price(restoration), restoration.policy
    result, digits = explained.result, places(policy.currency)

    def minor(amount: Fraction) -> Fraction:
        return Fraction(minor_by_fractions(amount, digits, policy.rounding), 10**digits)

    for line in result.lines:
        assert line.price == minor(Fraction(unrounded(explained, line.uid)))
    assert result.discount == minor(Fraction(result.price) * Fraction(restoration.discount))
    for item in result.taxes:
        nets = [Fraction(line.net) for line in result.lines if line.tax == item.code]
        assert item.net == sum(nets)
        bases = nets if policy.tax_by is TaxBy.LINE else [sum(nets, Fraction(0))]
        assert item.tax == sum(minor(net * Fraction(item.rate)) for net in bases)


@given(restorations())
def test_the_floor_is_kept_by_the_net_after_discount(restoration: Restoration) -> None:
    result = price(restoration).result
    floor = Fraction(result.cost) / (1 - Fraction(restoration.policy.floor))
    if abs(Fraction(result.net) - floor) > Fraction(1, 10**12):
        assert result.below_floor == (Fraction(result.net) < floor)


@given(restorations(), st.integers(0, 98))
def test_a_larger_discount_never_gives_a_larger_net(restoration: Restoration, percent: int) -> None:
    one, other = (price(replace(restoration, discount=D(p) / 100)).result for p in (percent, percent + 1))
    assert other.net <= one.net
    assert other.price == one.price


@given(restorations())
def test_no_discount_leaves_the_price_and_no_rate_no_tax(restoration: Restoration) -> None:
    free = replace(restoration, discount=ZERO, taxes=tuple(replace(tax, rate=ZERO) for tax in restoration.taxes))
    result = price(free).result
    assert (result.discount, result.tax) == (0, 0)
    assert result.price == result.net == result.total


@given(restorations(least_parts=2))
def test_two_quotes_of_what_shares_nothing_are_one_quote_split(restoration: Restoration) -> None:
    """Nothing shared: every part has a finish of its own. Tax may differ by one unit for each rate of the document."""
    apart = replace(
        restoration,
        discount=ZERO,
        parts=tuple(
            replace(p, steps=tuple(replace(s, process=p.uid, waits_for=()) for s in p.steps)) for p in restoration.parts
        ),
    )
    half = len(apart.parts) // 2
    whole, first, second = (
        price(replace(apart, parts=parts)).result for parts in (apart.parts, apart.parts[:half], apart.parts[half:])
    )
    assert by_uid(first) | by_uid(second) == by_uid(whole)
    assert first.net + second.net == whole.net
    unit = D(1).scaleb(-places(apart.policy.currency))
    by_code = {item.code: item.tax for item in whole.taxes}
    for code, tax in by_code.items():
        apart_tax = sum((item.tax for result in (first, second) for item in result.taxes if item.code == code), ZERO)
        assert abs(apart_tax - tax) <= (unit if apart.policy.tax_by is TaxBy.DOCUMENT else 0)


# The same again


@given(restorations())
def test_a_quote_recomputes_from_its_snapshot_to_the_last_byte(restoration: Restoration) -> None:
    snapshot, named = canonical.dump(restoration), dict(PRESENT)
    issued = canonical.dump(price(restoration, named).result)
    again = canonical.load(Restoration, snapshot)
    assert canonical.dump(price(again, named).result) == issued
    assert canonical.dump(again) == snapshot


@given(restorations())
def test_the_context_of_the_caller_changes_nothing(restoration: Restoration) -> None:
    before = canonical.dump(price(restoration).result)
    with localcontext() as context:
        context.prec, context.rounding = 5, "ROUND_FLOOR"
        result = price(restoration).result
    assert canonical.dump(result) == before


@given(restorations())
def test_other_names_for_the_same_things_change_no_figure(restoration: Restoration) -> None:
    """A copy: every part and step with a new identity in the same order, every tax code renamed."""
    copy = replace(
        restoration,
        taxes=tuple(replace(tax, code="my " + tax.code) for tax in restoration.taxes),
        parts=tuple(
            replace(
                part,
                uid="my " + part.uid,
                tax="my " + part.tax,
                steps=tuple(
                    replace(
                        step,
                        uid="my " + step.uid,
                        waits_for=tuple("my " + uid for uid in step.waits_for),
                        ways_back=tuple(replace(way, to="my " + way.to) for way in step.ways_back),
                    )
                    for step in part.steps
                ),
            )
            for part in restoration.parts
        ),
    )
    before, after = price(restoration).result, price(copy).result
    assert [replace(line, uid="my " + line.uid, tax="my " + line.tax) for line in before.lines] == list(after.lines)
    assert replace(after, lines=before.lines, taxes=before.taxes) == before
    assert [item.tax for item in after.taxes] == [item.tax for item in before.taxes]


@given(restorations(currency="EUR"))
def test_another_currency_of_the_same_digits_shows_the_same_figures(restoration: Restoration) -> None:
    other = replace(restoration, policy=replace(restoration.policy, currency="USD"))
    assert price(restoration).result == price(other).result


def test_made_restorations_have_all_that_the_relations_are_about() -> None:
    """A relation that is never met by anything is no test."""
    met = dict.fromkeys(("batch", "redo", "wait", "remedy", "replacement", "purchase", "service", "empty", "packs"), 0)
    for seed in range(100):
        restoration = made.by_seed(seed)
        explained = price(restoration)
        steps = [step for part in restoration.parts for step in part.steps]
        ways = [way for step in steps for way in step.ways_back]
        met["batch"] += any(len(batch) > 1 for batch in explained.batches)
        met["redo"] += any(step.redone for step in explained.steps)
        met["wait"] += any(step.waits_for for step in steps)
        met["remedy"] += any(way.remedies for way in ways)
        met["replacement"] += any(way.replacement for way in ways)
        met["purchase"] += any(step.work is Work.PURCHASE for step in steps)
        met["service"] += any(step.work is Work.SERVICE for step in steps)
        met["empty"] += any(not part.pieces for part in restoration.parts)
        met["packs"] += any(step.first.material for step in explained.steps)
    assert min(met.values()) >= 30, met
