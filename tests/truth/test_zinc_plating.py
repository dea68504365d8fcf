"""Published rules for plating steel with zinc: when it is refused, when it is baked, and the stricter governs.

Thickness classes of the coating and Faraday's law are not here: the engine prices plating as vendor work.
"""

from decimal import Decimal

import pytest

from quotes.engine.plating import B850_FROM, b850_hours, iso_hours, verdict

D = Decimal

#: ASTM B850-98(2009), minimum hours at 190-220 °C by tensile strength [MPa].
#: Source: sonicplatinginc.com, baking process, bake chart.
B850 = [
    (1001, 1100, 8),
    (1101, 1200, 10),
    (1201, 1300, 12),
    (1301, 1400, 14),
    (1401, 1500, 16),
    (1501, 1600, 18),
    (1601, 1700, 20),
    (1701, 1800, 22),
]


@pytest.mark.parametrize(("low", "high", "hours"), B850)
def test_every_row_of_the_relief_bake_at_both_ends(low: int, high: int, hours: int) -> None:
    assert b850_hours(D(low)) == b850_hours(D(high)) == hours


def test_below_its_first_row_the_relief_bake_asks_for_nothing() -> None:
    assert b850_hours(B850_FROM) == 0


def test_between_two_rows_the_stronger_one_holds() -> None:
    """The rows are printed in whole MPa; a strength between two of them is taken as the stronger."""
    assert b850_hours(D("1100.5")) == 10


#: The older ISO guideline for zinc at 190-210 °C: strength [MPa], thickness [mm], hours.
#: Source: misumi-techcentral, plating article 012.
ISO = [
    (1001, 12, 2),
    (1149, 12, 2),
    (1001, 25, 4),
    (1149, 13, 4),
    (1001, 26, 8),
    (1149, 60, 8),
    (1151, 12, 4),
    (1400, 12, 4),
    (1151, 13, 12),
    (1400, 25, 12),
    (1151, 26, 24),
    (1400, 40, 24),
]


@pytest.mark.parametrize(("strength", "thickness", "hours"), ISO)
def test_every_row_of_the_iso_guideline(strength: int, thickness: int, hours: int) -> None:
    assert iso_hours(D(strength), D(thickness)) == hours


@pytest.mark.parametrize(("strength", "hours"), [(1001, 8), (1400, 24)])
def test_a_section_nobody_measured_counts_as_the_thickest(strength: int, hours: int) -> None:
    assert iso_hours(D(strength), None) == hours


@pytest.mark.parametrize(
    ("strength", "thickness", "hours"), [(1000, 10, 2), (1150, 10, 4), (1150, 20, 12), (1150, 30, 24)]
)
def test_a_strength_that_stands_in_two_rows_takes_the_longer_bake(strength: int, thickness: int, hours: int) -> None:
    """The guideline's rows share their limits (1000-1150, 1150-1400); it does not say which of them holds there."""
    assert iso_hours(D(strength), D(thickness)) == hours


@pytest.mark.parametrize(
    ("strength", "thickness", "hours", "rule"),
    [
        (1050, 10, 8, "ASTM B850"),  # 8 h against 2 h
        (1150, 10, 10, "ASTM B850"),  # 10 h against 4 h
        (1200, 20, 12, "older ISO"),  # 10 h against 12 h
        (1300, 20, 12, "ASTM B850"),  # both 12 h: the first is named
        (1350, 20, 14, "ASTM B850"),  # 14 h against 12 h
        (1350, 30, 24, "older ISO"),  # 14 h against 24 h
        (1450, 30, 16, "ASTM B850"),  # the guideline has no row between 1400 and 1500
        (1500, 30, 16, "ASTM B850"),
    ],
)
def test_the_stricter_of_the_two_governs_and_is_named(strength: int, thickness: int, hours: int, rule: str) -> None:
    decided = verdict(material="steel", strength=D(strength), thickness=D(thickness))
    assert decided.allowed
    assert decided.bake_hours == hours
    assert decided.rule.startswith(rule)


def test_a_bake_begins_within_four_hours() -> None:
    """B633 and B850: value from memory. It is stricter than the 16 h the ISO guideline gives for thick sections."""
    assert verdict(material="steel", strength=D(1350), thickness=D(30)).start_within == 4


@pytest.mark.parametrize("strength", [1701, 1750, 1800, 2000])
def test_above_1700_mpa_it_is_refused_before_any_bake(strength: int) -> None:
    """Sources: scribd 351887277 and 725741269 (ASTM B633-15, -19): not plated above 1700 MPa. The bake chart's last row
    (1701-1800) disagrees with that; the refusal comes first."""
    decided = verdict(material="steel", strength=D(strength))
    assert (decided.allowed, decided.bake_hours) == (False, 0)
    assert decided.rule.startswith("ASTM B633")


@pytest.mark.parametrize("strength", [1501, 1600, 1700])
def test_above_1500_mpa_the_iso_guideline_refuses_what_b633_would_bake(strength: int) -> None:
    """Source: misumi-techcentral 012: above 1500 MPa not conventionally plated; the stricter governs."""
    decided = verdict(material="steel", strength=D(strength))
    assert not decided.allowed
    assert decided.rule.startswith("older ISO")


@pytest.mark.parametrize(("hardness", "baked"), [(360, False), (390, False), (391, True), (450, True)])
def test_above_390_hv_a_bake_is_required(hardness: int, baked: bool) -> None:
    """Source: ulstandardspdf.com, ISO 4042:2018: 360 to 390 HV not required where the process is verified, above it is.

    It gives no hours; the first row of B850 is taken, common practice, no source.
    """
    decided = verdict(material="steel", strength=D(900), hardness=D(hardness))
    assert bool(decided.bake_hours) == baked
    if baked:
        assert decided.bake_hours == 8
        assert decided.rule.startswith("ISO 4042:2018")
