from collections.abc import Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from random import Random

import pytest
from hypothesis import given

from quotes.engine.errors import BadInput
from quotes.engine.graph import check_order, left_over, waits
from tests.engine.build import part, step
from tests.engine.strategies import seeds


def test_a_step_waits_for_the_one_before_it_and_for_those_it_names() -> None:
    frame = part("frame", step("blast"), step("coat"))
    engine = part("engine", step("build"), step("fit", waits_for=("coat",)))
    assert waits([frame, engine]) == {
        "blast": (),
        "coat": ("blast",),
        "build": (),
        "fit": ("build", "coat"),
    }


def test_a_circle_is_told_part_by_part() -> None:
    frame = part("f", step("f1", name="trial-build", waits_for=("t2",)), step("f2", name="coat"), name="Frame")
    tank = part("t", step("t1", name="weld", waits_for=("f2",)), step("t2", name="fit"), name="Tank")
    with pytest.raises(BadInput) as caught:
        check_order([frame, tank], waits([frame, tank]))
    assert caught.value.field == "waits for"
    assert caught.value.sentence() == (
        "These steps wait for each other in a circle: Frame (trial-build), which waits for Tank (fit), which waits for "
        "Tank (weld), which waits for Frame (coat), which waits for Frame (trial-build). Remove one of these waits."
    )


def test_a_step_that_waits_for_itself_is_a_circle_of_one() -> None:
    frame = part("f", step("f1", name="coat", waits_for=("f1",)), name="Frame")
    with pytest.raises(BadInput, match=r"circle: Frame \(coat\), which waits for Frame \(coat\)\."):
        check_order([frame], waits([frame]))


def test_only_the_circle_is_told_not_what_merely_waits_behind_it() -> None:
    one = part("a", step("a1", waits_for=("b1",)), name="A")
    two = part("b", step("b1", waits_for=("a1",)), name="B")
    behind = part("0", step("01", waits_for=("a1",)), name="Behind")
    with pytest.raises(BadInput) as caught:
        check_order([behind, one, two], waits([behind, one, two]))
    assert "Behind" not in caught.value.sentence()


def test_the_same_circle_is_told_in_whatever_order_parts_come() -> None:
    parts = [
        part(uid, step(f"{uid}1", waits_for=(f"{other}1",))) for uid, other in (("a", "b"), ("b", "c"), ("c", "a"))
    ]
    told = set()
    for shift in range(3):
        turned = parts[shift:] + parts[:shift]
        with pytest.raises(BadInput) as caught:
            check_order(turned, waits(turned))
        told.add(caught.value.sentence())
    assert len(told) == 1


def test_a_wait_for_a_step_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        waits([part("Frame", step("coat", waits_for=("gone",)))])
    error = caught.value
    assert (error.part, error.step, error.field) == ("Frame", "coat", "waits for")
    assert error.template == "It waits for a step that is not part of this restoration. Remove the wait."


def test_a_step_given_twice_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        waits([part("Frame", step("coat")), part("Tank", step("coat"))])
    assert caught.value.sentence() == "Tank, coat: This step is there twice."


@given(seeds)
def test_what_is_left_over_is_what_no_order_of_work_reaches(seed: int) -> None:
    """The standard library's sorter is the oracle: it finds an order just when nothing is left over."""
    by = Random(seed)
    nodes = [f"n{n}" for n in range(by.randint(1, 8))]
    before = {node: tuple(by.sample(nodes, by.randint(0, min(2, len(nodes))))) for node in nodes}
    stuck = set(left_over(before))
    assert stuck >= circle_in(before)
    assert bool(stuck) == bool(circle_in(before))
    for node in nodes:
        assert (node in stuck) == (any(pred in stuck for pred in before[node]))


def circle_in(before: Mapping[str, Sequence[str]]) -> set[str]:
    """One circle, as the standard library's sorter finds it; empty when there is an order of work."""
    try:
        TopologicalSorter(before).prepare()
    except CycleError as circle:
        return set(circle.args[1])
    return set()
