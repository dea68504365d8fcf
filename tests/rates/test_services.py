from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from quotes.engine.inputs import Break, PaymentStage
from shop import guards
from shop.journal.models import Entry
from shop.methods.models import Service
from shop.rates import services
from shop.rates.models import (
    ConsumablePrice,
    GradeRate,
    PricePolicy,
    ServiceBreak,
    ServicePrice,
    TaxRate,
)
from shop.rates.models import (
    PaymentStage as StageRow,
)
from tests.faults.processes import race
from tests.rates import things
from tests.rates.test_selectors import fill, note_policy
from tests.rates.things import JANUARY, MARCH, MAY, NOW

ADA: dict[str, Any] = {"who": "ada", "now": NOW}
D = Decimal
KEPT = [GradeRate, ConsumablePrice, ServicePrice, ServiceBreak, TaxRate, PricePolicy, StageRow]


def note_zinc(service: Service | None = None, **changes: Any) -> ServicePrice:
    given: dict[str, Any] = {
        "service": service or things.service(),
        "valid_from": MARCH,
        "breaks": [Break(D(0), D("6.1234")), Break(D(10), D("4.9"))],
        "handling_grade": things.Grade.objects.get_or_create(name="Front desk")[0],
    }
    return services.note_service_price(**given | ADA | changes)


@pytest.mark.django_db
@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
def test_a_rate_can_be_neither_changed_nor_deleted(model: type[models.Model]) -> None:
    fill(1)
    column = next(field.name for field in model._meta.concrete_fields if field.name not in {"id", "uid"})
    rows = model._default_manager.all()
    for tamper in (lambda: rows.update(**{column: models.F(column)}), lambda: rows._raw_delete("default")):
        with pytest.raises(IntegrityError, match="A rate is kept as noted"), transaction.atomic():
            tamper()


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_without_its_guard_a_rate_could_be_changed() -> None:
    fill(1)
    with guards.lifted():
        assert TaxRate.objects.update(percent=7) == 2


@pytest.mark.django_db
def test_rates_for_the_same_day_are_revisions_of_each_other_alone() -> None:
    mechanic, helper = things.grade(), things.grade("Helper")

    def note(grade: Any) -> int:
        rates = {"cost_rate": D(20), "charge_rate": D(60)}
        return services.note_grade_rate(grade=grade, valid_from=MARCH, **rates, **ADA).revision

    assert [note(mechanic), note(helper), note(mechanic), note(mechanic)] == [1, 1, 2, 3]


@pytest.mark.django_db(transaction=True)
def test_four_who_note_a_price_at_once_get_a_revision_each_with_its_whole_table() -> None:
    zinc = things.service()
    note_zinc(zinc)

    def noted(_number: int) -> list[int]:
        return [note_zinc(Service.objects.get(pk=zinc.pk)).revision for _round in range(3)]

    assert sorted(revision for answer in race(noted, 4) for revision in answer) == list(range(2, 14))
    assert {price.breaks.count() for price in ServicePrice.objects.all()} == {2}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("breaks", "sentence"),
    [
        ([], "The price table is empty. Give the rate from quantity 0 on."),
        ([Break(D(1), D(5))], "The first price break must begin at 0."),
        (
            [Break(D(0), D(5)), Break(D(20), D(4)), Break(D(10), D(3))],
            "The price breaks are out of order: 10 comes after 20. Put the quantities in rising order.",
        ),
        ([Break(D(0), D(-5))], "A price break has a negative rate."),
        ([Break(D(0), D("5.00001"))], "The rate 5.00001 has more than four decimal places. Round it."),
        ([Break(D(0), D(5)), Break(D("1.2345"), D(4))], "Ensure that there are no more than 3 decimal places."),
    ],
)
def test_a_price_table_that_makes_no_sense_is_refused_with_what_to_do(breaks: list[Break], sentence: str) -> None:
    with pytest.raises(ValidationError) as error:
        note_zinc(breaks=breaks)
    assert error.value.message_dict == {"breaks": [sentence]}
    assert not ServicePrice.objects.exists()
    assert not Entry.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value"), [("lot_charge", "-1"), ("minimum", "85.001"), ("trip", "-0.01"), ("trip_share", "-1")]
)
def test_a_wrong_amount_is_refused_at_its_field(field: str, value: str) -> None:
    with pytest.raises(ValidationError) as error:
        note_zinc(**{field: D(value)})
    assert list(error.value.message_dict) == [field]
    assert not ServicePrice.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("percents", "sentence"),
    [
        (["20", "75"], "The payment stages add up to 95 %. Make them add up to 100 %."),
        (["120", "-20"], "A payment stage cannot be negative."),
        ([], "The payment stages add up to 0 %. Make them add up to 100 %."),
    ],
)
def test_payment_stages_add_up_to_all_of_the_price(percents: list[str], sentence: str) -> None:
    with pytest.raises(ValidationError) as error:
        note_policy(stages=[PaymentStage(f"Stage {percent}", D(percent), "some day") for percent in percents])
    assert error.value.message_dict == {"stages": [sentence]}
    assert not PricePolicy.objects.exists()


@pytest.mark.django_db
def test_a_margin_of_everything_is_refused_at_its_field() -> None:
    with pytest.raises(ValidationError) as error:
        note_policy(vendor_margin=D(100))
    assert list(error.value.message_dict) == ["vendor_margin"]


@pytest.mark.django_db
def test_the_journal_tells_a_new_price_with_its_table_from_what_to_what() -> None:
    zinc = things.service()
    note_zinc(zinc, valid_from=JANUARY, minimum=D(80))
    note_zinc(zinc, minimum=D(85), breaks=[Break(D(0), D(7))])
    entry = Entry.objects.latest("id")
    assert (entry.who, entry.what, entry.subject_uid) == ("ada", "service price noted", zinc.uid)
    assert entry.before == '{"breaks":[["0",61234],["10",49000]],"minimum_minor":8000,"valid_from":"2026-01-05"}'
    assert entry.after == '{"breaks":[["0",70000]],"minimum_minor":8500,"valid_from":"2026-03-02"}'


@pytest.mark.django_db
def test_taxes_and_policies_have_one_history_each() -> None:
    for _round in range(2):
        services.note_tax_rate(code="standard", name="VAT", percent=D(19), valid_from=MARCH, **ADA)
        note_policy()
    subjects = set(Entry.objects.values_list("subject_type", "subject_uid"))
    assert sorted(kind for kind, _uid in subjects) == ["rates.pricepolicy", "rates.taxrate"]


@pytest.mark.django_db
def test_a_price_and_its_journal_entry_are_stored_together_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**_: Any) -> None:
        raise LookupError

    monkeypatch.setattr("shop.methods.dated.record", fail)
    with pytest.raises(LookupError):
        note_zinc()
    assert not ServicePrice.objects.exists()
    assert not ServiceBreak.objects.exists()


@pytest.mark.django_db
def test_a_price_keeps_who_said_it_and_until_when_it_holds() -> None:
    told: dict[str, Any] = {"said_by": " Mrs Fell ", "valid_until": MAY, "status": "phoned"}
    zinc = note_zinc(**told)
    primer = services.note_consumable_price(
        consumable=things.consumable(), valid_from=MARCH, pack_size=D(5), pack_price=D(80), **told, **ADA
    )
    for price in (zinc, primer):
        price.refresh_from_db()
        assert (price.said_by, price.valid_until) == ("Mrs Fell", MAY)
    assert '"said_by":"Mrs Fell"' in Entry.objects.latest("id").after


@pytest.mark.django_db
def test_a_price_cannot_be_over_before_it_begins() -> None:
    with pytest.raises(ValidationError) as error:
        note_zinc(valid_until=JANUARY)
    zinc = Service.objects.get()
    assert error.value.message_dict == {"valid_until": ["The price would be over before it begins. Give a later day."]}
    assert note_zinc(zinc, valid_until=MARCH).valid_until == MARCH  # one day is a price too


@pytest.mark.django_db
def test_a_policy_says_storage_and_how_long_a_customer_may_hear_nothing() -> None:
    row = note_policy(storage=D("4.50"), storage_after_days=30, quiet_days=7)
    assert (row.storage_minor, row.storage_after_days, row.quiet_days) == (450, 30, 7)
    with pytest.raises(ValidationError) as error:
        note_policy(storage=D("4.505"))
    assert list(error.value.message_dict) == ["storage"]
    with pytest.raises(ValidationError) as error:
        note_policy(quiet_days=0)
    assert list(error.value.message_dict) == ["quiet_days"]
