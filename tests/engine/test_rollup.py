"""The roll-up by hand: small restorations whose figures can be worked out beside the test."""

from dataclasses import replace
from decimal import Decimal

import pytest

from quotes.engine.inputs import (
    By,
    Measure,
    OverheadBy,
    PaymentStage,
    PriceBy,
    Remedy,
    TaxBy,
    TaxRate,
    Usage,
    Work,
)
from quotes.engine.results import StepResult, Visit
from tests.engine.build import (
    back,
    close,
    consumable,
    grade,
    operation,
    part,
    policy,
    priced,
    purchase,
    service,
    step,
)

D = Decimal


def minutes(*parts: object, **changes: object) -> dict[str, Decimal]:
    """First-pass minutes by step, to twenty digits: shares of a set-up may not divide evenly."""
    return {s.uid: s.first.minutes.quantize(D("1e-20")) for s in priced(*parts, **changes).steps}  # type: ignore[arg-type]


def the_step(*parts: object, **changes: object) -> StepResult:
    return priced(*parts, **changes).steps[0]  # type: ignore[arg-type]


# Labour


def test_time_is_set_up_and_run_by_the_measure_with_condition_allowance_shop_factor_and_pace() -> None:
    work = operation(
        setup=D(30), run=D(5), measure=Measure.DM2, allowance=D("0.1"), shop_factor=D("1.2"), grade="apprentice"
    )
    frame = part("frame", step("blast", factor=D("1.5")), area=D(4), pieces=2)
    apprentice = grade("apprentice", pace=D("1.5"), cost_rate=D(20), charge_rate=D(50))
    visit = the_step(frame, operations=(work,), grades=(apprentice,)).first
    assert visit.minutes == D("178.2")  # (30 + 5 × 8 × 1.5) × 1.1 × 1.2 × 1.5
    assert visit.labour == D("59.4")  # at 20 an hour
    assert visit.sold == D("148.5")  # at 50 an hour


@pytest.mark.parametrize(
    ("measure", "quantity"),
    [
        (Measure.PIECE, 3),
        (Measure.DM2, 12),
        (Measure.KG, 6),
        (Measure.OPENING, 15),
        (Measure.SPOKE, 108),
        (Measure.BATCH, 1),
    ],
)
def test_every_measure_counts_all_pieces_of_a_part(measure: Measure, quantity: int) -> None:
    wheels = part("wheels", step("do"), pieces=3, area=D(4), weight=D(2), openings=5, spokes=36)
    assert minutes(wheels, operations=(operation(measure=measure),)) == {"do": quantity}


def test_a_quantity_of_the_step_stands_over_the_size_of_the_part() -> None:
    frame = part("frame", step("do", quantity=D("2.5")), pieces=3, area=D(4))
    assert minutes(frame, operations=(operation(measure=Measure.DM2),)) == {"do": D("2.5")}


def test_work_by_the_hour_takes_the_hours_of_the_step() -> None:
    frame = part("frame", step("search", quantity=D(3)))
    assert minutes(frame, operations=(operation(measure=Measure.HOUR, run=D(60)),)) == {"search": 180}


@pytest.mark.parametrize("frame", [part("f", step("do"), area=D(0)), part("f", step("do", quantity=D(0)))])
def test_a_quantity_of_zero_pays_no_set_up_no_mix_and_no_time(frame: object) -> None:
    work = operation(setup=D(30), measure=Measure.DM2, usages=(Usage("paint", D(1), film=D(90)),))
    assert the_step(frame, operations=(work,)).first == Visit()


def test_a_quantity_of_zero_coats_nothing_even_when_the_part_has_an_area() -> None:
    work = operation(measure=Measure.PIECE, usages=(Usage("paint", film=D(90)),))
    film = consumable(by=By.FILM, solids=D(50))
    assert the_step(part("f", step("do", quantity=D(0))), operations=(work,), consumables=(film,)).first == Visit()


# Batches


def test_a_set_up_is_shared_by_run_time() -> None:
    one, three = part("a", step("a1")), part("b", step("b1"), pieces=3)
    assert minutes(one, three, operations=(operation(setup=D(40), run=D(2)),)) == {"a1": 12, "b1": 36}


def test_the_condition_counts_in_the_share() -> None:
    sound, seized = part("a", step("a1")), part("b", step("b1", factor=D(3)))
    assert minutes(sound, seized, operations=(operation(setup=D(40), run=D(2)),)) == {"a1": 12, "b1": 36}


def test_a_set_up_is_shared_by_count_when_nothing_has_run_time() -> None:
    one, three = part("a", step("a1")), part("b", step("b1"), pieces=3)
    assert minutes(one, three, operations=(operation(setup=D(40), run=D(0)),)) == {"a1": 20, "b1": 20}


def test_a_place_that_lots_fill_is_set_up_as_often_as_it_fills() -> None:
    cabinet = operation(setup=D(10), run=D(0), capacity=D(10), capacity_by=Measure.DM2)
    parts = [part(uid, step(f"{uid}1"), area=D(7)) for uid in "abc"]
    assert minutes(*parts, operations=(cabinet,)) == {"a1": 10, "b1": 10, "c1": 10}  # 21 dm² into 10: three set-ups


def test_a_place_is_filled_by_the_size_of_the_parts_not_by_the_measure_of_the_work() -> None:
    """3 hours of work on 25 pieces fill a place of 10 pieces three times, not once."""
    oven = operation(setup=D(10), run=D(60), measure=Measure.HOUR, capacity=D(10), capacity_by=Measure.PIECE)
    assert minutes(part("a", step("a1", quantity=D(3)), pieces=25), operations=(oven,)) == {"a1": 3 * 10 + 180}


def test_pieces_given_for_the_step_fill_the_place_in_its_own_measure() -> None:
    """Of 25 pieces only 4 are done; each has 3 dm²."""
    wash = operation(setup=D(10), run=D(0), capacity=D(10), capacity_by=Measure.DM2)
    assert minutes(part("a", step("a1", quantity=D(4)), pieces=25, area=D(3)), operations=(wash,)) == {"a1": 20}


def test_a_load_nobody_knows_fills_the_place_once() -> None:
    cabinet = operation(setup=D(10), run=D(0), capacity=D("0.5"), capacity_by=Measure.KG)
    parts = [part(uid, step(f"{uid}1"), weight=D(0)) for uid in "ab"]
    assert minutes(*parts, operations=(cabinet,)) == {"a1": 5, "b1": 5}


def test_what_goes_by_the_batch_is_done_once_for_all_of_it() -> None:
    oven = operation(setup=D(8), run=D(60), measure=Measure.BATCH, usages=(Usage("paint", D(2)),))
    one, three = part("a", step("a1")), part("b", step("b1"), pieces=3)
    both = priced(one, three, operations=(oven,))
    assert [s.first.minutes for s in both.steps] == [17, 51]  # 8 + 60, by pieces
    assert [s.first.material for s in both.steps] == [5, 15]  # 2 units for the batch, not for each part


def test_a_lot_charged_by_the_batch_is_charged_once() -> None:
    sent = service(rates=((0, 30),), measure=Measure.BATCH)
    parts = [part(uid, step(uid + "1", ref="zinc", work=Work.SERVICE)) for uid in "abc"]
    assert close(priced(*parts, services=(sent,)).result.cost, D(30))


def test_own_batches_given_for_a_step_count_beside_the_shared_one() -> None:
    oven = operation(run=D(60), measure=Measure.BATCH)
    one, two = part("a", step("a1")), part("b", step("b1", quantity=D(2)))
    assert minutes(one, two, operations=(oven,)) == {"a1": 60, "b1": 120}


def test_at_a_share_of_mixed_batches_set_ups_cost_less_and_runs_do_not() -> None:
    mixed = policy(mixed_share=D("0.25"))
    assert minutes(part("a", step("a1")), policy=mixed, operations=(operation(setup=D(40)),)) == {"a1": 31}


def test_work_that_shares_no_set_up_gains_nothing_from_mixed_batches() -> None:
    mixed, own = policy(mixed_share=D("0.25")), operation(setup=D(40), shares_setup=False)
    parts = [part(uid, step(uid + "1")) for uid in "ab"]
    assert minutes(*parts, policy=mixed, operations=(own,)) == {"a1": 41, "b1": 41}


# Consumables


def painted(uid: str, area: int, **changes: object) -> object:
    return part(uid, step(f"{uid}1", **changes), area=D(area))  # type: ignore[arg-type]


SPRAY = operation(run=D(0), usages=(Usage("paint", film=D(100), transfer=D("0.5")),))


def material(*parts: object, stuff: object, work: object = SPRAY) -> list[Decimal]:
    steps = priced(*parts, consumables=(stuff,), operations=(work,)).steps  # type: ignore[arg-type]
    return [s.first.material.quantize(D("1e-20")) for s in steps]


def test_a_film_is_paid_by_area_solids_and_transfer() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), pack_size=D(5), pack_price=D(100))
    assert material(painted("a", 100), stuff=stuff) == [8]  # 1 m² × 100 µm / 500 / .5 = .4 l at 20 a litre


def test_only_the_pieces_done_are_coated() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), pack_size=D(5), pack_price=D(100))
    lids = part("a", step("a1", quantity=D(1)), area=D(100), pieces=4)
    assert material(lids, stuff=stuff) == [8]


def test_the_smallest_mix_is_paid_once_per_batch_and_shared_by_what_each_uses() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), smallest_mix=D(2))
    assert material(painted("a", 100), painted("b", 300), stuff=stuff) == [5, 15]  # 1.6 l used, 2 mixed


def test_a_pot_that_hardens_is_paid_in_whole_packs_per_batch() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), whole_packs=True)
    assert material(painted("a", 100), painted("b", 300), stuff=stuff) == [5, 15]  # 1.6 l: two packs of 1


def test_batches_mix_each_for_itself() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), smallest_mix=D(2))
    black, silver = painted("a", 100, process="black"), painted("b", 300, process="silver")
    assert material(black, silver, stuff=stuff) == [20, 20]


def test_many_small_uses_that_just_fill_a_pack_do_not_open_a_second() -> None:
    """Seven times a seventh: added up share by share, a last digit would cost a whole pack."""
    stuff = consumable(by=By.FILM, solids=D(70), whole_packs=True, pack_size=D(1))
    work = operation(run=D(0), usages=(Usage("paint", film=D(30), transfer=D("0.3")),))
    parts = [painted(f"p{n}", 100) for n in range(7)]  # each 1 m² × 30 µm / 700 / .3 = 1/7 l
    assert sum(material(*parts, stuff=stuff, work=work)).quantize(D("1e-15")) == 10


def test_usage_by_measure_pays_its_waste() -> None:
    work = operation(measure=Measure.DM2, run=D(0), usages=(Usage("paint", amount=D("0.5"), waste=D("0.2")),))
    assert material(painted("a", 20), stuff=consumable(), work=work) == [120]  # 12 l at 10


def test_two_consumables_of_one_operation_are_both_paid() -> None:
    work = operation(usages=(Usage("paint", D(1)), Usage("grit", D(2))))
    stuff = (consumable(), consumable("grit", pack_price=D(3)))
    assert the_step(part("a", step("a1")), operations=(work,), consumables=stuff).first.material == 16


# Vendor work and purchases


def sent(uid: str, weight: object, **changes: object) -> object:
    return part(uid, step(f"{uid}1", ref="zinc", work=Work.SERVICE, **changes), weight=D(weight))  # type: ignore[arg-type]


def test_one_lot_is_shared_by_what_each_part_brings() -> None:
    zinc = service(rates=((0, 8), (10, 5)), lot_charge=D(14), trip=D(40), trip_share=D("0.5"))
    steps = priced(sent("a", 4), sent("b", 12), services=(zinc,), policy=policy(handling_rate=D("0.1"))).steps
    assert [s.first.vendor for s in steps] == [D("30.85"), D("92.55")]  # (14 + 16 × 5) × 1.1 + 20, by weight


def test_the_handling_rate_is_on_the_charge_and_not_on_the_trip() -> None:
    zinc = service(lot_charge=D(100), rates=((0, 0),), trip=D(40))
    assert the_step(sent("a", 1), services=(zinc,), policy=policy(handling_rate=D("0.1"))).first.vendor == 150


def test_handling_minutes_are_labour_with_overhead_once_per_lot() -> None:
    zinc = service(rates=((0, 0),), handling=D(30), handling_grade="mechanic")
    steps = priced(sent("a", 1), sent("b", 2), services=(zinc,), policy=policy(overhead_rate=D(12))).steps
    assert [close(s.first.minutes, m) for s, m in zip(steps, (D(10), D(20)), strict=True)] == [True, True]
    assert close(sum(s.first.labour for s in steps), D(30))
    assert close(sum(s.first.overhead for s in steps), D(6))


def test_a_bought_in_part_is_paid_by_the_piece_and_handled_once() -> None:
    bearings = part("bearings", step("buy", ref="bearing", work=Work.PURCHASE), pieces=4)
    visit = the_step(bearings, purchases=(purchase(handling=D(15), handling_grade="mechanic"),)).first
    assert (visit.bought_in, visit.minutes, visit.labour) == (40, 15, 15)


def test_the_customers_own_part_costs_its_handling_only() -> None:
    own = purchase(origin="customer's own", unit_price=D(0), handling=D(15), handling_grade="mechanic")
    visit = the_step(part("b", step("buy", ref="bearing", work=Work.PURCHASE)), purchases=(own,)).first
    assert (visit.bought_in, visit.labour) == (0, 15)


# Rework


def test_a_redo_pays_its_whole_set_up_whatever_it_shared_the_first_time() -> None:
    parts = [part(uid, step(f"{uid}1", ways_back=(back("0.2", f"{uid}1"),))) for uid in "ab"]
    mixed = policy(mixed_share=D("0.5"))
    one = the_step(*parts, operations=(operation(setup=D(40), run=D(10)),), policy=mixed)
    assert (one.first.minutes, one.redo.minutes) == (20, 50)  # half of half of 40, and all of it
    assert one.redone == D("0.25")
    assert one.allowance.minutes == D("12.5")


def test_a_redo_pays_the_smallest_mix_and_whole_packs_again() -> None:
    stuff = consumable(by=By.FILM, solids=D(50), smallest_mix=D("1.5"), whole_packs=True)
    parts = [part(uid, step(uid + "1", ways_back=(back("0.2", uid + "1"),)), area=D(100)) for uid in "ab"]
    one = the_step(*parts, consumables=(stuff,), operations=(SPRAY,))
    assert (one.first.material, one.redo.material) == (10, 20)


def test_a_redo_at_the_vendor_pays_lot_minimum_trip_and_handling_again() -> None:
    zinc = service(rates=((0, 1),), minimum=D(50), trip=D(20), handling=D(12), handling_grade="mechanic")
    parts = [sent(uid, 5, ways_back=(back("0.2", f"{uid}1"),)) for uid in "ab"]
    one = the_step(*parts, services=(zinc,))
    assert (one.first.cost, one.redo.cost) == (41, 82)


def test_work_by_the_batch_is_done_again_whole() -> None:
    oven = operation(run=D(60), measure=Measure.BATCH)
    parts = [part(uid, step(f"{uid}1", ways_back=(back("0.2", f"{uid}1"),))) for uid in "ab"]
    one = the_step(*parts, operations=(oven,))
    assert (one.first.minutes, one.redo.minutes) == (30, 60)


def test_a_failed_step_sends_the_part_back_through_all_between() -> None:
    tank = part("tank", step("blast"), step("coat", ways_back=(back("0.2", "blast"),)))
    blast, coat = priced(tank, operations=(operation(run=D(10)),)).steps
    assert (blast.redone, coat.redone) == (D("0.25"), D("0.25"))
    assert (blast.allowance.minutes, coat.allowance.minutes) == (D("2.5"), D("2.5"))


def test_remedies_and_replacements_are_paid_for_every_failure() -> None:
    ways = (back("0.2", "coat", Remedy(Work.OPERATION, "strip"), Remedy(Work.PURCHASE, "bearing"), replacement=100),)
    tank = part("tank", step("coat", factor=D(2), ways_back=ways))
    works = (operation(run=D(10)), operation("strip", setup=D(5), run=D(20)))
    one = the_step(tank, operations=works)
    assert one.allowance.minutes == D("0.25") * 20 + D("0.25") * (5 + 20 * 2)  # failures: .2 × (1 + .25)
    assert one.allowance.bought_in == D("0.25") * (100 + 10)


def test_a_part_with_no_pieces_fails_never() -> None:
    gone = part("tank", step("coat", ways_back=(back("0.2", "coat", replacement=100),)), pieces=0)
    assert priced(gone).result.cost == 0


SIZES = {"area": Measure.DM2, "weight": Measure.KG, "openings": Measure.OPENING, "spokes": Measure.SPOKE}


@pytest.mark.parametrize("size", SIZES)
def test_parts_said_to_be_of_one_size_are_done_again_by_their_own(size: str) -> None:
    """What is done alone is worked out once for all that are alike; alike in name is not enough."""
    washed = operation(setup=D(10), run=D(0), capacity=D(3), capacity_by=SIZES[size])
    parts = [
        part(uid, step(f"{uid}1", ways_back=(back("0.2", f"{uid}1"),)), source="size class M", **{size: fills})
        for uid, fills in (("a", 2), ("b", 5))
    ]
    whole = tuple(replace(p, area=D(p.area), weight=D(p.weight)) for p in parts)
    assert [s.redo.minutes for s in priced(*whole, operations=(washed,)).steps] == [10, 20]


def test_hours_on_more_pieces_are_done_again_by_their_own() -> None:
    oven = operation(setup=D(10), run=D(0), measure=Measure.HOUR, capacity=D(3), capacity_by=Measure.PIECE)
    parts = [
        part(uid, step(f"{uid}1", quantity=D(1), ways_back=(back("0.2", f"{uid}1"),)), source="M", pieces=pieces)
        for uid, pieces in (("a", 2), ("b", 5))
    ]
    assert [s.redo.minutes for s in priced(*parts, operations=(oven,)).steps] == [10, 20]


def test_what_is_done_again_alike_is_explained_by_the_same_figures() -> None:
    parts = [part(uid, step(f"{uid}1", ways_back=(back("0.2", f"{uid}1"),)), source="size class M") for uid in "ab"]
    one, other = priced(*parts).steps
    assert one.redo is other.redo


# Price


def test_each_cost_class_has_its_own_margin() -> None:
    how = policy(
        overhead_rate=D(30),
        labour_margin=D("0.5"),
        overhead_margin=D("0.25"),
        material_margin=D("0.2"),
        vendor_margin=D("0.1"),
        bought_in_margin=D("0.6"),
    )
    work = operation(run=D(60), usages=(Usage("paint", D(2)),))
    zinc, bearing = service(rates=((0, 45),)), purchase(unit_price=D(4))
    bike = part(
        "bike", step("do"), step("send", ref="zinc", work=Work.SERVICE), step("buy", ref="bearing", work=Work.PURCHASE)
    )
    result = priced(bike, policy=how, operations=(work,), services=(zinc,), purchases=(bearing,)).result
    assert result.cost == 60 + 30 + 20 + 45 + 4
    assert result.price == 120 + 40 + 25 + 50 + 10


def test_labour_sold_at_charge_out_rates_carries_the_overhead() -> None:
    how = policy(price_by=PriceBy.CHARGE_OUT, overhead_rate=D(30), labour_margin=D("0.5"), overhead_margin=D("0.5"))
    result = priced(part("bike", step("do")), policy=how, operations=(operation(run=D(60)),)).result
    assert (result.cost, result.price) == (90, 90)  # 60 + 30 in, 90 an hour out


def test_charge_out_rates_do_not_touch_the_other_classes() -> None:
    how = policy(price_by=PriceBy.CHARGE_OUT, bought_in_margin=D("0.6"))
    bike = part("bike", step("buy", ref="bearing", work=Work.PURCHASE))
    assert priced(bike, policy=how, purchases=(purchase(unit_price=D(4)),)).result.price == 10


def test_overhead_can_be_laid_on_labour_money() -> None:
    how = policy(overhead_by=OverheadBy.LABOUR, overhead_rate=D("1.5"))
    assert the_step(part("a", step("a1")), policy=how, operations=(operation(run=D(60)),)).first.overhead == 90


def test_a_line_is_rounded_once_not_class_by_class() -> None:
    work = operation(run=D("0.004"), usages=(Usage("paint", D("0.0004")),))  # .004 of labour and .004 of material
    assert priced(part("a", step("a1")), operations=(work,)).result.price == D("0.01")


def test_the_rounding_is_half_down_where_the_country_says_so() -> None:
    halves = (operation(run=D("0.125")),)
    assert priced(part("a", step("a1")), operations=halves).result.price == D("0.13")
    assert priced(part("a", step("a1")), operations=halves, policy=policy(rounding="half_down")).result.price == D(
        "0.12"
    )


def test_discount_tax_floor_and_payment_stages() -> None:
    stages = tuple(
        PaymentStage(name, D(share), "then") for name, share in (("deposit", 30), ("main", 30), ("rest", 40))
    )
    taxes = (TaxRate("standard", "VAT", D("0.2")), TaxRate("none", "no VAT", D(0)))
    parts = (part("a", step("a1")), part("b", step("b1"), tax="none"))
    how = policy(stages=stages, floor=D("0.2"))
    result = priced(*parts, policy=how, taxes=taxes, operations=(operation(run=D(50)),), discount=D("0.15")).result
    assert (result.price, result.discount, result.net) == (100, 15, 85)
    assert [(t.code, t.net, t.tax) for t in result.taxes] == [("none", D("42.5"), 0), ("standard", D("42.5"), D("8.5"))]
    assert result.total == D("93.5")
    assert [i.amount for i in result.instalments] == [D("28.05"), D("28.05"), D("37.40")]
    assert result.floor_price == 125
    assert result.below_floor


@pytest.mark.parametrize(("by", "tax"), [(TaxBy.LINE, "0.03"), (TaxBy.DOCUMENT, "0.02")])
def test_tax_is_rounded_by_line_or_by_rate_as_the_shop_says(by: TaxBy, tax: str) -> None:
    parts = [part(uid, step(f"{uid}1")) for uid in "abc"]
    vat = (TaxRate("standard", "VAT", D("0.19")),)
    result = priced(*parts, operations=(operation(run=D("0.03")),), policy=policy(tax_by=by), taxes=vat).result
    assert (result.net, result.tax) == (D("0.09"), D(tax))


@pytest.mark.parametrize(("currency", "price"), [("JPY", "13"), ("EUR", "12.68"), ("KWD", "12.676")])
def test_amounts_have_the_digits_of_the_currency(currency: str, price: str) -> None:
    result = priced(part("a", step("a1")), operations=(operation(run=D("12.6756")),), policy=policy(currency=currency))
    assert str(result.result.price) == price
    assert result.result.total.as_tuple().exponent == D(price).as_tuple().exponent


def test_costs_are_never_rounded() -> None:
    result = priced(part("a", step("a1")), operations=(operation(run=D("12.67564321")),)).result
    assert result.cost == D("12.67564321")
