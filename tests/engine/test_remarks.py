from decimal import Decimal

import pytest

from quotes.engine.inputs import Measure, Step, Work
from quotes.engine.remarks import BAKE, GUESSED, NO_SIZE, NO_SPOKES, REFUSED, STRENGTH_UNKNOWN
from quotes.engine.results import Remark
from tests.engine.build import operation, part, priced, purchase, service, step

D = Decimal
ZINC = service(plates=True)
OVEN = operation("oven", elapsed=D(8 * 60), bakes=True)


def said(*steps: Step, strength: int | None = 400, **changes: object) -> tuple[Remark, ...]:
    bolt = part("bolts", *steps, material="steel", strength=None if strength is None else D(strength), thickness=D(10))
    catalogue: dict[str, object] = {"services": (ZINC,), "operations": (operation(), OVEN)}
    return priced(bolt, **(catalogue | changes)).remarks


def sent(ref: str = "zinc") -> Step:
    return step("sent", ref=ref, work=Work.SERVICE)


def test_plating_soft_steel_needs_no_remark() -> None:
    assert said(sent()) == ()


def test_unknown_strength_blocks_and_says_what_to_ask() -> None:
    assert said(sent(), strength=None) == (Remark(True, "bolts", "sent", STRENGTH_UNKNOWN),)


def test_plating_above_the_limit_is_refused_and_names_the_rule() -> None:
    (remark,) = said(sent(), strength=1_750)
    assert (remark.blocking, remark.text) == (True, REFUSED)
    assert dict(remark.values) == {"strength": "1750", "rule": "ASTM B633: not plated above 1700 MPa"}
    assert remark.text.format(**dict(remark.values))


def test_a_bake_that_is_missing_blocks_and_says_how_long_and_how_soon() -> None:
    (remark,) = said(sent(), strength=1_050)
    assert (remark.blocking, remark.text) == (True, BAKE)
    assert dict(remark.values)["hours"] == "8"
    assert dict(remark.values)["within"] == "4"
    assert remark.text.format(**dict(remark.values))


BAKED = {
    "as the next step": ({}, (sent(), step("bake", ref="oven"))),
    "in the plater's own service": ({"services": (service(plates=True, bake_hours=D(8)),)}, (sent(),)),
    "by another vendor, next": (
        {"services": (ZINC, service("bakery", measure=Measure.PIECE, bake_hours=D(8)))},
        (sent(), step("bake", ref="bakery", work=Work.SERVICE)),
    ),
}


@pytest.mark.parametrize("how", BAKED)
def test_a_bake_that_is_there_and_long_enough_settles_it(how: str) -> None:
    changes, steps = BAKED[how]
    assert said(*steps, strength=1_050, **changes) == ()
    (remark,) = said(*steps, strength=1_150, **changes)
    assert dict(remark.values)["hours"] == "10"


def test_a_bake_that_is_not_the_next_step_comes_too_late() -> None:
    (remark,) = said(sent(), step("fit"), step("bake", ref="oven"), strength=1_050)
    assert remark.text == BAKE


def test_plating_as_an_own_operation_is_judged_too() -> None:
    own = operation("zinc", plates=True)
    (remark,) = said(step("plate", ref="zinc"), strength=None, operations=(own, OVEN), services=())
    assert remark.text == STRENGTH_UNKNOWN


def test_an_operation_is_not_judged_by_a_service_of_the_same_key() -> None:
    harmless = operation("zinc")
    assert said(step("wash", ref="zinc"), strength=None, operations=(harmless,)) == ()


def test_guessed_prices_are_said_and_do_not_block() -> None:
    bought = step("buy", ref="bearing", work=Work.PURCHASE)
    guesses = {"services": (service(status="guessed"),), "purchases": (purchase(status="guessed"),)}
    assert said(sent(), bought, **guesses) == (
        Remark(False, "bolts", "sent", GUESSED),
        Remark(False, "bolts", "buy", GUESSED),
    )


def test_a_guess_is_told_once_however_many_parts_rest_on_it() -> None:
    parts = [part(name, step("s" + name, ref="zinc", work=Work.SERVICE)) for name in ("d", "a", "b", "c")]
    service_guessed = service(status="guessed")
    (few,) = priced(*parts[1:], services=(service_guessed,)).remarks
    assert few == Remark(False, "a, b, c", "sa", GUESSED)
    (many,) = priced(*parts, services=(service_guessed,)).remarks
    assert many == Remark(False, "", "sa", GUESSED)


def test_a_missing_size_is_told_once_for_a_part_with_what_is_enough() -> None:
    blast = operation("blast", measure=Measure.DM2)
    steps = [step("first", ref="blast"), step("again", ref="blast"), sent()]
    bare = part("tank", *steps, area=D(0), weight=D(0))
    (remark,) = priced(bare, services=(service(),), operations=(blast,)).remarks
    assert (remark.blocking, remark.text, remark.step) == (True, NO_SIZE, "")
    assert "A size class is enough" in remark.text
    assert dict(remark.values)["measure"] == "dm², kg"


def test_missing_spokes_ask_for_their_number_since_no_size_class_has_any() -> None:
    lace = operation("lace", measure=Measure.SPOKE)
    (remark,) = priced(part("wheel", step("lace", ref="lace"), spokes=0), operations=(lace,)).remarks
    assert (remark.text, dict(remark.values)) == (NO_SPOKES, {"measure": "spokes"})


def test_seen_and_phoned_prices_need_no_remark() -> None:
    assert said(sent(), services=(service(status="phoned"),)) == ()


def test_a_part_with_no_pieces_needs_no_remark() -> None:
    bolt = part("bolts", sent(), material="steel", pieces=0)
    assert priced(bolt, services=(ZINC,)).remarks == ()
