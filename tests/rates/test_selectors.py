from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from quotes.engine import inputs
from shop.methods.services import note_standard_time
from shop.people.models import Grade
from shop.rates import selectors, services
from shop.rates.models import PricePolicy, Status
from tests.rates import things
from tests.rates.things import JANUARY, MARCH, MAY, NOW

ADA: dict[str, Any] = {"who": "ada", "now": NOW}
D = Decimal


def fill(count: int) -> None:
    """``count`` of everything, each with two dated rows, of which the second holds."""
    for number in range(count):
        grade = things.grade(f"Grade {number}")
        paint = things.consumable(f"Paint {number}")
        spray = things.operation(f"Spray {number}", grade=grade, place=things.place(f"Booth {number}"))
        things.use(spray, paint)
        plating = things.service(f"Plating {number}", vendor=f"Vendor {number}")
        for day in (JANUARY, MARCH):
            services.note_grade_rate(grade=grade, valid_from=day, cost_rate=D(20), charge_rate=D(60), **ADA)
            services.note_consumable_price(consumable=paint, valid_from=day, pack_size=D(1), pack_price=D(30), **ADA)
            note_standard_time(operation=spray, valid_from=day, setup=D(1), run=D(1), **ADA)
            services.note_service_price(
                service=plating,
                valid_from=day,
                breaks=[inputs.Break(D(0), D(4)), inputs.Break(D(5), D(3))],
                handling_grade=grade,
                **ADA,
            )
            services.note_tax_rate(code=f"tax{number}", name=f"Tax {number}", percent=D(19), valid_from=day, **ADA)
            note_policy(day)


def note_policy(valid_from: date = MARCH, **changes: Any) -> PricePolicy:
    margins = {f"{name}_margin": D(20) for name in ("labour", "overhead", "material", "vendor", "bought_in")}
    stages = [
        inputs.PaymentStage("Deposit", D(20), "on order"),
        inputs.PaymentStage("Rest", D(80), "at hand-over", "handed_over", 14),
    ]
    given: dict[str, Any] = {"valid_from": valid_from, "floor": D(10), "stages": stages} | margins | ADA
    return services.note_policy(**given | changes)


@pytest.mark.django_db
def test_every_selector_gives_the_row_in_force() -> None:
    fill(1)
    for on, valid_from in ((date(2026, 3, 1), JANUARY), (MAY, MARCH)):
        found = [
            *selectors.grade_rates(on).values(),
            *selectors.consumable_prices(on).values(),
            *selectors.service_prices(on).values(),
            *selectors.tax_rates(on).values(),
            selectors.policy(on),
        ]
        assert [row.valid_from for row in found if row] == [valid_from] * 5
    assert selectors.policy(date(2026, 1, 4)) is None
    assert selectors.tax_rates(date(2026, 1, 4)) == {}


@pytest.mark.django_db
def test_of_two_policies_for_one_day_the_later_revision_holds() -> None:
    note_policy(floor=D(10))
    note_policy(floor=D(12))
    found = selectors.policy(MARCH)
    assert found is not None
    assert (found.revision, found.floor) == (2, D(12))


@pytest.mark.django_db
@pytest.mark.parametrize("count", [5, 50])
def test_queries_do_not_grow_with_the_rows(count: int, django_assert_num_queries: Any) -> None:
    fill(count)
    for number, read in [
        (1, selectors.grade_rates),
        (1, selectors.consumable_prices),
        (2, selectors.service_prices),  # prices, breaks
        (1, selectors.tax_rates),
        (2, selectors.policy),  # policy, stages
    ]:
        with django_assert_num_queries(number):
            read(MAY)
    with django_assert_num_queries(9):  # the above, standard times, usages
        catalogue = selectors.catalogue(MAY)
    assert {len(getattr(catalogue, name)) for name in ("grades", "consumables", "operations", "services")} == {count}


@pytest.fixture
def workshop(db: None) -> dict[str, Any]:
    mechanic = things.grade()
    services.note_grade_rate(
        grade=mechanic, valid_from=MARCH, cost_rate=D("21.50"), charge_rate=D(68), pace=D("1.2"), **ADA
    )
    paint = things.consumable(
        "Black enamel", by="film", solids=D("42.5"), density=D("1.1"), smallest_mix=D("0.15"), whole_packs=True
    )
    services.note_consumable_price(
        consumable=paint, valid_from=MARCH, pack_size=D("2.5"), pack_price=D("87.35"), status=Status.PHONED, **ADA
    )
    spray = things.operation(
        "Spray",
        place=things.place("Booth"),
        elapsed=45,
        occupies=True,
        latest_wait=240,
        plates=True,
        bakes=True,
        shares_setup=False,
    )
    usage = things.use(spray, paint)
    usage.film, usage.transfer, usage.waste = D(60), D(35), D("7.5")
    usage.save()
    note_standard_time(
        operation=spray, valid_from=MARCH, setup=D(25), run=D("1.25"), allowance=D("12.5"), shop_factor=D("1.05"), **ADA
    )
    zinc = things.service()
    zinc.plates, zinc.bake_hours, zinc.lead_days, zinc.late_spread = True, D("8.5"), 7, D("0.4")
    zinc.save()
    zinc.vendor.transport_days = 1
    zinc.vendor.save()
    services.note_service_price(
        service=zinc,
        valid_from=MARCH,
        breaks=[inputs.Break(D(0), D("6.1234")), inputs.Break(D("10.5"), D("4.9"))],
        lot_charge=D("12.50"),
        minimum=D(85),
        trip=D(30),
        trip_share=D("0.25"),
        handling=D("22.5"),
        handling_grade=mechanic,
        status=Status.GUESSED,
        **ADA,
    )
    services.note_tax_rate(code="standard", name="VAT", percent=D("19.5"), valid_from=JANUARY, **ADA)
    note_policy(
        labour_margin=D("22.5"),
        overhead_rate=D("18.75"),
        handling_percent=D(5),
        mixed_percent=D("12.5"),
        comebacks_percent=D("1.5"),
        tax_by="line",
        rounding="half_down",
    )
    return {"grade": mechanic, "paint": paint, "spray": spray, "zinc": zinc, "vendor": zinc.vendor}


def test_the_catalogue_holds_what_was_noted_to_the_last_digit(workshop: dict[str, Any]) -> None:
    catalogue = selectors.catalogue(MAY)
    keys = {name: str(thing.uid) for name, thing in workshop.items()}
    assert catalogue.grades == (
        inputs.Grade(keys["grade"], "Mechanic", D("21.5"), D(68), D("1.2"), "rate of 2026-03-02, revision 1"),
    )
    assert catalogue.consumables == (
        inputs.Consumable(
            key=keys["paint"],
            name="Black enamel",
            unit="l",
            by=inputs.By.FILM,
            pack_size=D("2.5"),
            pack_price=D("87.35"),
            smallest_mix=D("0.15"),
            whole_packs=True,
            solids=D("42.5"),
            density=D("1.1"),
            source="price of 2026-03-02, revision 1, told by phone",
            status="phoned",
        ),
    )
    assert catalogue.operations == (
        inputs.Operation(
            key=keys["spray"],
            name="Spray",
            grade=keys["grade"],
            setup=D(25),
            run=D("1.25"),
            measure=inputs.Measure.DM2,
            allowance=D("0.125"),
            shop_factor=D("1.05"),
            spread=D("0.35"),
            capacity=D("60.5"),
            capacity_by=inputs.Measure.DM2,
            shares_setup=False,
            elapsed=D(45),
            usages=(inputs.Usage(keys["paint"], D("0.1"), D("0.075"), D(60), D("0.35")),),
            plates=True,
            bakes=True,
            place="Booth",
            occupies=True,
            latest_wait=D(240),
            source="standard time of 2026-03-02, revision 1",
        ),
    )
    assert catalogue.services == (
        inputs.Service(
            key=keys["zinc"],
            name="Zinc plating",
            vendor="Fell Plating",
            measure=inputs.Measure.KG,
            breaks=(inputs.Break(D(0), D("6.1234")), inputs.Break(D("10.5"), D("4.9"))),
            lot_charge=D("12.5"),
            minimum=D(85),
            trip=D(30),
            trip_share=D("0.25"),
            handling=D("22.5"),
            handling_grade=keys["grade"],
            plates=True,
            bake_hours=D("8.5"),
            source="price of 2026-03-02, revision 1, guessed",
            status="guessed",
            lead_days=7,
            late_spread=D("0.4"),
            transport_days=1,
            calendar=keys["vendor"],
        ),
    )
    assert catalogue.taxes == (inputs.TaxRate("standard", "VAT", D("0.195"), "tax rate of 2026-01-05, revision 1"),)
    assert catalogue.policy == inputs.Policy(
        currency="EUR",
        price_by=inputs.PriceBy.MARGIN,
        labour_margin=D("0.225"),
        overhead_margin=D("0.2"),
        material_margin=D("0.2"),
        vendor_margin=D("0.2"),
        bought_in_margin=D("0.2"),
        floor=D("0.1"),
        overhead_by=inputs.OverheadBy.HOURS,
        overhead_rate=D("18.75"),
        handling_rate=D("0.05"),
        mixed_share=D("0.125"),
        comebacks=D("0.015"),
        tax_by=inputs.TaxBy.LINE,
        rounding="half_down",
        stages=(
            inputs.PaymentStage("Deposit", D(20), "on order", "accepted"),
            inputs.PaymentStage("Rest", D(80), "at hand-over", "handed_over", 14),
        ),
        source="price policy of 2026-03-02, revision 1",
    )


def test_overhead_on_labour_cost_is_a_fraction_of_it(workshop: dict[str, Any]) -> None:
    note_policy(MAY, overhead_by="labour", overhead_percent=D(250), overhead_rate=D(18))
    policy = selectors.catalogue(MAY).policy
    assert policy is not None
    assert (policy.overhead_by, policy.overhead_rate) == (inputs.OverheadBy.LABOUR, D("2.5"))


@pytest.mark.parametrize(("currency", "rate"), [("JPY", D(2150)), ("KWD", D("2.150")), ("EUR", D("21.50"))])
def test_minor_units_are_those_of_the_shops_currency(
    workshop: dict[str, Any], settings: Any, currency: str, rate: Decimal
) -> None:
    settings.CURRENCY = currency
    assert selectors.catalogue(MAY).grades[0].cost_rate == rate


def test_what_has_no_rate_in_force_is_left_out(workshop: dict[str, Any]) -> None:
    catalogue = selectors.catalogue(date(2026, 3, 1))
    assert (catalogue.grades, catalogue.consumables, catalogue.operations, catalogue.services) == ((), (), (), ())
    assert catalogue.policy is None
    assert [tax.code for tax in catalogue.taxes] == ["standard"]


def test_work_of_a_grade_without_a_rate_is_left_out(workshop: dict[str, Any]) -> None:
    helper = Grade.objects.create(name="Helper")
    wash = things.operation("Wash", grade=helper)
    note_standard_time(operation=wash, valid_from=MARCH, setup=D(1), run=D(1), **ADA)
    carried, posted = things.service("Carried"), things.service("Posted")
    for service, handling in ((carried, D(10)), (posted, D(0))):
        services.note_service_price(
            service=service,
            valid_from=MARCH,
            breaks=[inputs.Break(D(0), D(1))],
            handling=handling,
            handling_grade=helper,
            **ADA,
        )
    catalogue = selectors.catalogue(MAY)
    assert str(wash.uid) not in {operation.key for operation in catalogue.operations}
    assert {service.name for service in catalogue.services} == {"Zinc plating", "Posted"}


def test_a_consumable_without_a_price_is_named_by_the_operation_that_uses_it(workshop: dict[str, Any]) -> None:
    things.use(workshop["spray"], things.consumable("Thinner"))
    catalogue = selectors.catalogue(MAY)
    assert len(catalogue.operations[0].usages) == 2
    assert len(catalogue.consumables) == 1


def test_a_small_catalogue_holds_what_was_named_and_what_that_uses(workshop: dict[str, Any]) -> None:
    keys = {name: str(thing.uid) for name, thing in workshop.items()}
    whole = selectors.catalogue(MAY)
    assert selectors.catalogue(MAY, only=[keys["spray"], keys["zinc"]]) == whole
    small = selectors.catalogue(MAY, only=[keys["zinc"]])
    assert (small.operations, small.consumables, small.services) == ((), (), whole.services)
    assert (small.grades, small.taxes, small.policy) == (whole.grades, whole.taxes, whole.policy)
