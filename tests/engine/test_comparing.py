"""Two versions compared: the changes, one after the other, lead from the first to the second, and what they do adds up."""

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.comparing import Change, ChangeKind, changes, walk
from quotes.engine.inputs import Restoration
from quotes.engine.rollup import price
from tests.bench.bikes import bike
from tests.engine import made

D = Decimal
BIKE = replace(bike(15), discount=D(0))


def net(restoration: Restoration) -> Decimal:
    return price(restoration).result.net


def other(restoration: Restoration, seed: int) -> Restoration:
    """Another version of a restoration: parts out, parts in, steps off, turned and changed, other rates and terms."""
    by = made.Chance(seed)
    parts = [part for part in restoration.parts if not by.one_in(4)]
    turned = []
    for part in parts:
        steps = [step for step in part.steps if not by.one_in(4)] or list(part.steps)
        uids = [step.uid for step in steps]
        steps = [
            replace(
                step,
                factor=by.choice((step.factor, D("1.5"))),
                ways_back=tuple(way for way in step.ways_back if way.to in uids[: uids.index(step.uid) + 1]),
            )
            for step in steps
        ]
        turned.append(
            replace(part, steps=tuple(steps), pieces=by.choice((part.pieces, 4)), damages=by.choice((part.damages, ())))
        )
    known = {step.uid for part in turned for step in part.steps}
    turned = [
        replace(
            part, steps=tuple(replace(s, waits_for=tuple(w for w in s.waits_for if w in known)) for s in part.steps)
        )
        for part in turned
    ]
    grades = tuple(replace(grade, cost_rate=grade.cost_rate + by.choice((0, 5))) for grade in restoration.grades)
    return replace(
        restoration, parts=tuple(turned), grades=grades, discount=by.choice((restoration.discount, D("0.1")))
    )


def bare(restoration: Restoration) -> Restoration:
    return replace(restoration, parts=tuple(replace(part, contingency=D(0)) for part in restoration.parts))


@given(st.integers(0, 10**6), st.booleans())
def test_the_changes_lead_from_one_version_to_the_other(seed: int, back: bool) -> None:
    one = bare(made.by_seed(2 * seed + 1))
    two = other(one, seed)
    before, after = (two, one) if back else (one, two)
    start, turned = walk(before, after)
    assert net(start) == net(before)
    assert price(start).result.cost == price(before).result.cost
    reached = [net(item.after) for item in turned]  # every version on the way can be priced
    steps = [reached[0] - net(start), *(b - a for a, b in pairwise(reached))] if reached else []
    assert sum(steps, D(0)) == net(after) - net(before)
    if turned:
        assert turned[-1].after == after
        *_, last = [start, *(item.after for item in turned[:-1])]
        assert len(changes(last, after)) <= 1  # nothing is left over for the last change to hide


def test_the_same_version_has_no_changes() -> None:
    assert changes(BIKE, BIKE) == []


def test_each_change_is_named_with_what_of_it_changed() -> None:
    first, second, third = BIKE.parts
    step = replace(first.steps[0], factor=D(2))
    after = replace(
        BIKE,
        parts=(
            replace(first, steps=(step, *first.steps[1:]), pieces=9),
            replace(second, steps=second.steps[1:]),
            third,
        ),
        grades=(replace(BIKE.grades[0], cost_rate=D(50)), *BIKE.grades[1:]),
    )
    assert changes(BIKE, after) == [
        Change(ChangeKind.RATE, "mechanic", "mechanic", fields=("cost_rate",)),
        Change(ChangeKind.PART, "part 00000", "part 0", fields=("pieces",)),
        Change(ChangeKind.STEP, first.steps[0].uid, "strip", "part 0", ("factor",)),
        Change(ChangeKind.STEP_OUT, second.steps[0].uid, "strip", "part 1"),
    ]


def test_changes_are_taken_in_the_order_they_were_made() -> None:
    first, second, third = BIKE.parts
    after = replace(BIKE, parts=(replace(first, pieces=9), replace(second, pieces=7), third))
    turns = {first.uid: 5, second.uid: 2}
    _, turned = walk(BIKE, after, turns)
    assert [item.change.key for item in turned] == [second.uid, first.uid]
    assert turned[0].after.parts[0] == first


def test_a_change_of_both_price_and_quantity_is_split_by_its_turn() -> None:
    """Twelve at 10 become ten at 15: 120 to 150. Price first: + 60, then quantity - 30; the other way - 20, then + 50.

    The textbook split of a price and a quantity variance (price at the actual quantity, or at the standard one).
    """
    (purchase,) = BIKE.purchases
    part = replace(BIKE.parts[0], pieces=12, steps=(replace(BIKE.parts[0].steps[3], waits_for=()),))
    policy = replace(BIKE.policy, bought_in_margin=D(0))
    before = replace(
        BIKE, parts=(part,), purchases=(replace(purchase, unit_price=D(10), handling=D(0)),), policy=policy
    )
    after = replace(
        before, parts=(replace(part, pieces=10),), purchases=(replace(before.purchases[0], unit_price=D(15)),)
    )
    for turns, steps in (({part.uid: 2, "bearing": 1}, (60, -30)), ({part.uid: 1, "bearing": 2}, (-20, 50))):
        start, (one, two) = walk(before, after, turns)
        assert (net(one.after) - net(start), net(two.after) - net(one.after)) == steps
