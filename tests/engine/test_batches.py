from collections.abc import Mapping, Sequence
from decimal import Decimal
from graphlib import TopologicalSorter
from random import Random

import pytest
from hypothesis import given

from quotes.engine.batches import formed, keys, set_ups
from quotes.engine.graph import waits
from quotes.engine.inputs import Part, Work
from tests.engine.build import part, step
from tests.engine.strategies import restorations, seeds

Waits = Mapping[str, Sequence[str]]


def batched(*parts: Part, alone: frozenset[str] = frozenset()) -> list[tuple[str, ...]]:
    return formed(keys(parts, alone=alone), waits(parts))


def test_the_same_work_finish_and_material_shares_a_batch() -> None:
    assert batched(part("a", step("a1")), part("b", step("b1"))) == [("a1", "b1")]


@pytest.mark.parametrize(
    "other",
    [
        part("b", step("b1", ref="other work")),
        part("b", step("b1", process="silver")),
        part("b", step("b1", work=Work.SERVICE)),
        part("b", step("b1"), material="aluminium"),
        part("b", step("b1"), pieces=0),
    ],
    ids=["operation", "finish", "kind of work", "material", "no pieces"],
)
def test_what_differs_does_not_share_a_batch(other: Part) -> None:
    assert batched(part("a", step("a1")), other) == [("a1",), ("b1",)]


def test_the_second_time_on_a_route_batches_with_other_second_times() -> None:
    one, two = part("a", step("a1"), step("a2")), part("b", step("b1"), step("b2"))
    assert batched(one, two) == [("a1", "b1"), ("a2", "b2")]


def test_turns_are_counted_for_each_kind_of_work_by_itself() -> None:
    """An operation and a service may happen to have the same key."""
    one = part("a", step("a1", ref="zinc"), step("a2", ref="zinc", work=Work.SERVICE))
    two = part("b", step("b1", ref="zinc", work=Work.SERVICE))
    assert ("a2", "b1") in batched(one, two)


def test_work_that_shares_no_set_up_and_purchases_stand_alone() -> None:
    alone = frozenset({"work"})
    assert batched(part("a", step("a1")), part("b", step("b1")), alone=alone) == [("a1",), ("b1",)]
    bought = [part(uid, step(f"{uid}1", ref="bearing", work=Work.PURCHASE)) for uid in "ab"]
    assert batched(*bought) == [("a1",), ("b1",)]


def test_a_service_is_not_alone_because_an_operation_of_the_same_key_is() -> None:
    sent = [part(uid, step(f"{uid}1", ref="zinc", work=Work.SERVICE)) for uid in "ab"]
    assert batched(*sent, alone=frozenset({"zinc"})) == [("a1", "b1")]


def test_members_that_wait_for_each_other_do_not_share_a_batch() -> None:
    one = part("a", step("a1"))
    between = part("m", step("m1", ref="fit", waits_for=("a1",)))
    two = part("b", step("b1", waits_for=("m1",)))
    assert batched(one, between, two) == [("a1",), ("b1",), ("m1",)]


def test_merging_all_that_fits_would_close_a_circle_so_only_the_first_is_merged() -> None:
    """Each pair alone is free of waits; both merged would wait for each other."""
    one = part("a", step("a1", ref="blast"), step("a2", ref="coat"))
    two = part("b", step("b1", ref="coat"), step("b2", ref="blast"))
    assert batched(one, two) == [("a1", "b2"), ("a2",), ("b1",)]


def test_a_longer_knot_keeps_all_that_does_not_close_a_circle() -> None:
    one = part("a", step("a1", ref="blast"), step("a2", ref="coat"))
    two = part("b", step("b1", ref="coat"), step("b2", ref="blast"))
    more = [part(uid, step(f"{uid}1", ref="blast"), step(f"{uid}2", ref="coat")) for uid in "cde"]
    assert batched(one, two, *more) == [("a1", "b2", "c1", "d1", "e1"), ("a2", "c2", "d2", "e2"), ("b1",)]


def merged_waits(batches: Sequence[tuple[str, ...]], before: Waits) -> dict[tuple[str, ...], set[tuple[str, ...]]]:
    home = {uid: batch for batch in batches for uid in batch}
    return {batch: {home[pred] for uid in batch for pred in before[uid]} for batch in batches}


def assert_sound(batches: Sequence[tuple[str, ...]], of: Mapping[str, tuple[str, ...]], before: Waits) -> None:
    assert sorted(uid for batch in batches for uid in batch) == sorted(of)
    assert all(len({of[uid] for uid in batch}) == 1 for batch in batches)
    TopologicalSorter(merged_waits(batches, before)).prepare()  # raises CycleError on a circle


def random_waits(seed: int) -> tuple[dict[str, tuple[str, ...]], dict[str, tuple[str, ...]]]:
    """Keys and waits without circles, so dense that many merges would close one."""
    by = Random(seed)
    nodes = [f"n{n:02}" for n in range(by.randint(2, 14))]
    rank = by.sample(nodes, len(nodes))
    before = {node: tuple(by.sample(rank[:at], min(at, by.choice((0, 1, 1, 2))))) for at, node in enumerate(rank)}
    return {node: (by.choice("XYZ"),) for node in nodes}, {node: before[node] for node in nodes}


@given(seeds)
def test_batches_are_whole_of_one_key_and_free_of_circles(seed: int) -> None:
    of, before = random_waits(seed)
    batches = formed(of, before)
    assert_sound(batches, of, before)
    assert batches == sorted(batches)
    assert all(list(batch) == sorted(batch) for batch in batches)


@given(seeds)
def test_no_two_batches_of_one_key_are_left_that_could_still_be_one(seed: int) -> None:
    of, before = random_waits(seed)
    batches = formed(of, before)
    for one in batches:
        for two in batches:
            if one < two and of[one[0]] == of[two[0]]:
                together = [*(b for b in batches if b not in (one, two)), one + two]
                with pytest.raises(ValueError, match="cycle"):
                    TopologicalSorter(merged_waits(together, before)).prepare()


@given(seeds)
def test_batches_do_not_hang_on_the_order_steps_are_given_in(seed: int) -> None:
    of, before = random_waits(seed)
    mixed = Random(seed + 1).sample(list(of), len(of))
    assert formed({uid: of[uid] for uid in mixed}, {uid: before[uid] for uid in mixed}) == formed(of, before)


@given(restorations(least_parts=3))
def test_the_batches_of_whole_restorations_are_sound(restoration) -> None:  # type: ignore[no-untyped-def]
    alone = frozenset(op.key for op in restoration.operations if not op.shares_setup)
    of, before = keys(restoration.parts, alone=alone), waits(restoration.parts)
    assert_sound(formed(of, before), of, before)


def test_a_batch_is_set_up_as_often_as_it_fills_its_place() -> None:
    loads = ["0", "0.1", "10", "10.1", "20", "20.5"]
    assert [set_ups(load=Decimal(load), capacity=Decimal(10)) for load in loads] == [0, 1, 1, 2, 2, 3]


def test_a_place_without_a_limit_is_set_up_once() -> None:
    assert set_ups(load=Decimal(1_000_000), capacity=Decimal(0)) == 1
