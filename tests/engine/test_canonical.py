import hashlib
import json
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine import canonical
from quotes.engine.inputs import Restoration
from quotes.engine.results import Explained, Result
from quotes.engine.rollup import price
from tests.engine.strategies import restorations

D = Decimal


@dataclass(frozen=True)
class Note:
    name: str
    size: Decimal | None
    sizes: tuple[Decimal, ...]
    pair: tuple[str, int]
    by_name: dict[str, Decimal]


@pytest.mark.parametrize(
    ("one", "other"),
    [("1", "1.00"), ("100", "1E+2"), ("0", "-0.000"), ("0.05", "5E-2"), ("-2.5", "-2.50")],
)
def test_one_value_has_one_text(one: str, other: str) -> None:
    assert canonical.text(D(one)) == canonical.text(D(other)) == one


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**18), max_value=10**18, places=9))
def test_a_number_comes_back_the_same(number: Decimal) -> None:
    assert D(canonical.text(number)) == number


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_what_is_no_number_is_refused(number: str) -> None:
    with pytest.raises(TypeError, match="is not a number that can be kept"):
        canonical.dump(D(number))


@pytest.mark.parametrize("value", [1.5, float("nan"), {"a": 1.0}, (D(1), 2.0), {1, 2}, b"bytes", Note, object()])
def test_a_float_and_other_strangers_are_refused(value: Any) -> None:
    with pytest.raises(TypeError):
        canonical.dump(value)


def test_the_bytes_are_json_with_sorted_keys_no_spaces_and_plain_letters() -> None:
    assert canonical.dump({"b": D("1.50"), "a": ["µm", None, True, 7]}) == '{"a":["µm",null,true,7],"b":"1.5"}'.encode()


def test_the_order_of_keys_does_not_show() -> None:
    assert canonical.dump({"a": 1, "b": 2}) == canonical.dump({"b": 2, "a": 1})


def test_a_value_comes_back_as_its_type_says() -> None:
    note = Note("tank", None, (D(1), D("2.5")), ("x", 3), {"a": D(4)})
    assert canonical.load(Note, canonical.dump(note)) == note


def test_the_seal_is_sha_256() -> None:
    assert canonical.sha256(b"abc") == hashlib.sha256(b"abc").hexdigest()
    assert canonical.sha256(b"abc").startswith("ba7816bf")  # FIPS 180-4's own example


@given(restorations())
def test_a_restoration_comes_back_equal_and_dumps_to_the_same_bytes(restoration: Restoration) -> None:
    content = canonical.dump(restoration)
    again = canonical.load(Restoration, content)
    assert again == restoration
    assert canonical.dump(again) == content


@given(restorations(most_parts=2))
def test_a_result_and_all_that_explains_it_come_back_equal(restoration: Restoration) -> None:
    explained = price(restoration)
    assert canonical.load(Result, canonical.dump(explained.result)) == explained.result
    assert canonical.load(Explained, canonical.dump(explained)) == explained


@given(restorations())
def test_a_snapshot_has_no_json_number_but_counts(restoration: Restoration) -> None:
    def refuse(text: str) -> None:
        raise AssertionError(text)

    json.loads(canonical.dump(price(restoration).result), parse_float=refuse, parse_constant=refuse)
