from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.consumables import by_measure, mixed, powder, wet_film

D = Decimal


def test_usage_by_measure_has_its_waste_on_top() -> None:
    assert by_measure(amount=D("0.5"), quantity=D(20), waste=D("0.2")) == D(12)  # times 1.2, not divided by 0.8


def test_a_film_needs_more_paint_the_thinner_it_is_in_solids_and_the_more_is_lost() -> None:
    plain = wet_film(area=D(100), film=D(100), solids=D(50), transfer=D(1))
    assert plain == D("0.2")  # 1 m² × 100 µm is 0.1 l of dry film; half of the paint is solids
    assert wet_film(area=D(100), film=D(100), solids=D(25), transfer=D(1)) == 2 * plain
    assert wet_film(area=D(100), film=D(100), solids=D(50), transfer=D("0.5")) == 2 * plain


def test_powder_weighs_its_volume_times_its_density() -> None:
    assert powder(area=D(100), film=D(100), density=D("1.5"), transfer=D(1)) == D("0.15")  # 0.1 dm³ × 1.5 kg/dm³
    assert powder(area=D(100), film=D(100), density=D("1.5"), transfer=D("0.5")) == D("0.3")


@pytest.mark.parametrize(
    ("used", "smallest", "whole_packs", "amount"),
    [
        (D(0), D("0.1"), False, D(0)),  # nothing used, nothing mixed
        (D("0.05"), D("0.1"), False, D("0.1")),
        (D("0.15"), D("0.1"), False, D("0.15")),
        (D("0.15"), D("0.1"), True, D("0.5")),
        (D("0.5"), D(0), True, D("0.5")),  # just a pack is one pack
        (D("0.51"), D(0), True, D(1)),
        (D("0.1"), D("0.6"), True, D(1)),  # the smallest mix may need a second pack
    ],
)
def test_what_has_to_be_mixed(used: Decimal, smallest: Decimal, whole_packs: bool, amount: Decimal) -> None:
    assert mixed(used=used, smallest=smallest, pack_size=D("0.5"), whole_packs=whole_packs) == amount


amounts = st.decimals(0, 100, places=3)


@given(amounts, amounts, st.decimals("0.1", 10, places=2), st.booleans())
def test_a_mix_is_never_less_than_what_is_used(used: Decimal, smallest: Decimal, pack: Decimal, whole: bool) -> None:
    amount = mixed(used=used, smallest=smallest, pack_size=pack, whole_packs=whole)
    assert amount >= used
    assert not used or amount >= smallest
    assert not whole or amount < max(used, smallest) + pack or not used
