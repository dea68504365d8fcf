"""A rate that is only imagined holds for whoever asks inside, as it would if it were noted, and leaves nothing behind."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from quotes.engine.inputs import Break
from shop.journal.models import Entry
from shop.methods.dated import imagining
from shop.methods.selectors import standard_times
from shop.methods.services import note_standard_time
from shop.rates import selectors, services
from shop.rates.models import GradeRate, PricePolicy, ServicePrice
from tests.rates import things
from tests.rates.test_selectors import note_policy
from tests.rates.things import JANUARY, MARCH, MAY, NOW

ADA: dict[str, Any] = {"who": "ada", "now": NOW}
D = Decimal


def note(grade: Any, day: Any, charge: int) -> GradeRate:
    return services.note_grade_rate(grade=grade, valid_from=day, cost_rate=D(20), charge_rate=D(charge), **ADA)


def charged(on: Any) -> list[int]:
    return [rate.charge_rate_minor // 100 for rate in selectors.grade_rates(on).values()]


@pytest.mark.django_db
def test_it_holds_from_its_day_on_and_over_what_was_noted_for_that_day() -> None:
    grade = things.grade()
    note(grade, MARCH, 60)
    with imagining():
        note(grade, MARCH, 70)
        assert charged(MARCH) == charged(MAY) == [70]
        assert charged(JANUARY) == []
    with imagining():
        note(grade, MAY, 80)
        assert (charged(MARCH), charged(MAY)) == ([60], [80])
    with imagining():
        note(grade, JANUARY, 50)
        assert (charged(JANUARY), charged(MARCH)) == ([50], [60])
    assert (charged(MARCH), GradeRate.objects.count(), Entry.objects.count()) == ([60], 1, 1)


@pytest.mark.django_db
def test_the_last_of_two_for_the_same_day_holds() -> None:
    grade = things.grade()
    with imagining():
        note(grade, MARCH, 60)
        note(grade, MARCH, 70)
        assert charged(MARCH) == [70]


@pytest.mark.django_db
def test_tables_come_with_it() -> None:
    service, grade = things.service(), things.grade()
    note_policy()
    with imagining():
        row = services.note_service_price(
            service=service,
            valid_from=MARCH,
            breaks=[Break(D(0), D(5)), Break(D(9), D(4))],
            handling_grade=grade,
            **ADA,
        )
        note_policy(floor=D(33))
        assert selectors.service_prices(MARCH, only=[str(service.uid)]) == {service.pk: row}
        assert [item.rate_e4 for item in selectors.service_prices(MARCH)[service.pk].breaks.all()] == [50000, 40000]
        assert selectors.service_prices(MARCH, only=[str(grade.uid)]) == {}
        held = selectors.policy(MARCH)
        assert held is not None
        assert held.floor == 33
        assert sum(stage.percent for stage in held.stages.all()) == 100
    assert not ServicePrice.objects.exists()
    assert PricePolicy.objects.count() == 1


@pytest.mark.django_db
def test_odds_and_standard_times_too() -> None:
    operation, other = things.operation(), things.operation("Wash")
    with imagining():
        services.note_odds(valid_from=MARCH, kept=D(95), **ADA)
        note_standard_time(operation=operation, valid_from=MARCH, setup=D(1), run=D(2), **ADA)
        assert (selectors.odds(MARCH).kept, selectors.odds(JANUARY).kept) == (95, 80)
        assert standard_times(MARCH, only=[str(operation.uid)])[operation.pk].run == 2
        assert standard_times(MARCH, only=[str(other.uid)]) == {}
    assert standard_times(MARCH) == {}


@pytest.mark.django_db
def test_what_cannot_be_noted_cannot_be_imagined_and_the_block_ends_it() -> None:
    grade = things.grade()
    with pytest.raises(ValidationError), imagining():
        note(grade, MARCH, -1)
    note(grade, MARCH, 60)
    assert GradeRate.objects.count() == 1
