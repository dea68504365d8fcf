from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.plating import b850_hours, iso_hours, verdict

D = Decimal
strengths = st.integers(200, 1_500).map(D)
sections = st.one_of(st.none(), st.integers(1, 60).map(D))


def test_steel_of_unknown_strength_must_be_asked_about() -> None:
    assert verdict(material="steel", strength=None) == verdict(material="", strength=None)
    assert not verdict(material="steel", strength=None).allowed
    assert verdict(material="steel", strength=None).rule == "strength unknown"


@pytest.mark.parametrize("material", ["stainless", "cast_iron", "aluminium", "brass", "rubber"])
def test_what_is_not_steel_needs_no_bake(material: str) -> None:
    decided = verdict(material=material, strength=D(1650))
    assert (decided.allowed, decided.bake_hours) == (True, 0)


def test_soft_steel_needs_no_bake() -> None:
    decided = verdict(material="steel", strength=D(400), thickness=D(10))
    assert (decided.allowed, decided.bake_hours, decided.start_within) == (True, 0, 0)


@given(strengths, sections)
def test_the_stricter_rule_governs_and_is_named(strength: Decimal, thickness: Decimal | None) -> None:
    decided = verdict(material="steel", strength=strength, thickness=thickness)
    hours = {"ASTM B850": b850_hours(strength), "older ISO": iso_hours(strength, thickness)}
    assert decided.bake_hours == max(hours.values())
    if decided.bake_hours:
        (named,) = (name for name in hours if decided.rule.startswith(name))
        assert hours[named] == decided.bake_hours
        assert decided.start_within == 4


@given(strengths, st.integers(0, 100))
def test_stronger_steel_never_needs_a_shorter_bake_by_the_tensile_rule(strength: Decimal, more: int) -> None:
    assert b850_hours(strength + more) >= b850_hours(strength)


@given(strengths, st.integers(1, 60).map(D), st.integers(0, 30))
def test_a_thicker_section_never_needs_a_shorter_bake(strength: Decimal, thickness: Decimal, more: int) -> None:
    thin = verdict(material="steel", strength=strength, thickness=thickness)
    thick = verdict(material="steel", strength=strength, thickness=thickness + more)
    unknown = verdict(material="steel", strength=strength, thickness=None)
    assert thin.bake_hours <= thick.bake_hours <= unknown.bake_hours


def test_hard_steel_is_baked_even_when_its_strength_alone_would_not_ask_for_it() -> None:
    assert verdict(material="steel", strength=D(900), hardness=D(390)).bake_hours == 0
    assert verdict(material="steel", strength=D(900), hardness=D(391)).bake_hours > 0


def test_a_material_nobody_named_may_be_steel_and_is_asked_about():
    """Common practice, no source: what is not known to be harmless is asked about first."""
    assert not verdict(material="other", strength=None).allowed
    assert not verdict(material="", strength=None).allowed
    assert verdict(material="aluminium", strength=None).allowed
