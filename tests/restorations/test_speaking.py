"""Of which machines evidence speaks. Frame numbers are invented."""

import doctest
from types import SimpleNamespace
from typing import Any

import pytest

from shop.restorations import speaking
from shop.restorations.models import Machine
from shop.restorations.speaking import number_of, speaks_of, why_silent


def limited(**limits: Any) -> Any:
    return SimpleNamespace(
        **{"years_from": None, "years_to": None, "markets": "", "numbers_from": "", "numbers_to": ""} | limits
    )


def machine(**facts: Any) -> Machine:
    return Machine(**{"year": 1957, "market": "Sweden", "frame_number": "CB57-10482"} | facts)


def test_what_is_not_limited_speaks_of_every_machine() -> None:
    assert speaks_of(limited(), Machine())


@pytest.mark.parametrize(
    ("limits", "speaks"),
    [
        ({"years_from": 1957, "years_to": 1957}, True),
        ({"years_from": 1958}, False),
        ({"years_to": 1956}, False),
        ({"years_to": 1960}, True),
        ({"markets": "Norway, SWEDEN"}, True),
        ({"markets": "Norway"}, False),
        ({"numbers_from": "CB57-10000", "numbers_to": "CB57-19999"}, True),
        ({"numbers_from": "cb57 10482", "numbers_to": "CB5710482"}, False),
        ({"numbers_from": "10482", "numbers_to": "10482"}, True),
        ({"numbers_from": "CB57-10483"}, False),
        ({"numbers_to": "10481"}, False),
        ({"numbers_from": "CB56-10000", "numbers_to": "CB56-19999"}, False),
        ({"numbers_from": "9999"}, True),
    ],
)
def test_limits_hold_with_their_ends(limits: dict[str, Any], speaks: bool) -> None:
    assert speaks_of(limited(**limits), machine()) is speaks


@pytest.mark.parametrize(
    ("limits", "unknown", "words"),
    [
        ({"years_from": 1957}, {"year": None}, "the year of this machine is not known"),
        ({"markets": "Sweden"}, {"market": ""}, "where this machine was first sold is not known"),
        ({"numbers_from": "10000"}, {"frame_number": "unreadable"}, "that of this machine is not known"),
    ],
)
def test_of_a_machine_that_nobody_knows_limited_evidence_does_not_speak(
    limits: dict[str, Any], unknown: dict[str, Any], words: str
) -> None:
    assert words in why_silent(limited(**limits), machine(**unknown))


def test_serial_numbers_go_by_size_and_not_by_letters() -> None:
    assert speaks_of(limited(numbers_from="H900", numbers_to="H1100"), machine(frame_number="H1000"))


@pytest.mark.parametrize(
    ("one", "other"), [("CB57-10482", "cb57 10482"), ("H 1234", "h1234"), ("IS-640771", "IS/640771N"), ("0012", "12")]
)
def test_marks_case_and_what_follows_the_serial_do_not_count(one: str, other: str) -> None:
    assert number_of(one) == number_of(other)


def test_the_examples_in_the_docstrings_hold() -> None:
    found = doctest.testmod(speaking)
    assert (found.failed, found.attempted > 0) == (0, True)
