"""Money that came in, went back, and was noted by a slip."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, transaction

from quotes.pricing.models import Receipt
from quotes.pricing.money import money_in, receipts
from quotes.pricing.money.receipts import AlreadyReversedError, refund, reverse
from shop.journal.models import Entry
from shop.restorations.models import Restoration
from shop.routes.models import Funding
from tests.faults.processes import race
from tests.pricing.paid import agreed, by, day, paid, staged_policy, stands
from tests.pricing.workshop import BY, NOW, TODAY, Workshop, add_parts, restoration
from tests.pricing.workshop import draft as draft_of

D = Decimal


@pytest.fixture
def job(shop: Workshop) -> Restoration:
    """Agreed today in three stages."""
    staged_policy()
    of = restoration()
    add_parts(of, shop)
    agreed(draft_of(of))
    return of


def numbers() -> list[int]:
    return list(Receipt.objects.order_by("number").values_list("number", flat=True))


# --- what came in ---


@pytest.mark.django_db
def test_a_receipt_is_numbered_kept_and_told(job: Restoration) -> None:
    first, second = paid(job, 1_000, reference=" Q00001 "), paid(job, 2_345, how="cash")
    assert (str(first), str(second)) == ("R00001", "R00002")
    assert (first.reference, first.currency, first.recorded_by, first.at) == ("Q00001", "EUR", "desk", NOW)
    assert stands(job).received == D("33.45")
    told = Entry.objects.get(subject_uid=second.uid)
    assert (told.what, told.reference) == ("receipt noted", str(job.uid))
    assert '"amount":"€23.45"' in told.after


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"amount_minor": 0}, "__all__", "Nothing was received. Give an amount."),
        ({"amount_minor": -5}, "amount_minor", "Money that went back is a refund."),
        ({"received_on": day(1)}, "received_on", "This day is still to come."),
        ({"how": "shells"}, "how", "is not a valid choice"),
        ({"reference": "x" * 121}, "reference", "at most 120"),
    ],
)
def test_what_is_no_receipt_is_refused_at_its_field(
    job: Restoration, changes: dict[str, object], field: str, sentence: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        paid(job, **({"minor": 100} | {"minor" if k == "amount_minor" else k: v for k, v in changes.items()}))  # type: ignore[arg-type]
    assert sentence in refused.value.message_dict[field][0]
    assert not Receipt.objects.exists()


@pytest.mark.django_db
def test_money_can_come_in_before_anything_is_agreed(shop: Workshop) -> None:
    of = restoration()
    paid(of, 5_000)
    found = stands(of)
    assert (found.received, found.agreed, found.over, found.payments) == (D("50.00"), D(0), D("50.00"), ())


@pytest.mark.django_db
def test_the_same_form_sent_twice_is_one_receipt(job: Restoration) -> None:
    form = uuid4()
    first, again = paid(job, 700, uid=form), paid(job, 700, uid=form)
    assert first == again
    assert numbers() == [1]
    assert Entry.objects.filter(what="receipt noted").count() == 1


@pytest.mark.django_db
def test_a_form_that_was_sent_before_cannot_say_something_else(job: Restoration) -> None:
    form = uuid4()
    paid(job, 700, uid=form)
    with pytest.raises(ValidationError, match="kept as R00001") as refused:
        paid(job, 800, uid=form)
    assert refused.value.code == "sent before"
    assert numbers() == [1]


# --- what went back ---


@pytest.mark.django_db
def test_a_refund_is_below_zero_and_says_why(job: Restoration) -> None:
    paid(job, 900)
    row = refund(restoration=job, amount_minor=250, received_on=TODAY, reason=" too much ", **BY)
    assert (row.amount_minor, row.reason, str(row)) == (-250, "too much", "R00002")
    assert stands(job).received == D("6.50")
    assert Funding.objects.get().received_minor == 650


@pytest.mark.django_db
def test_a_refund_without_a_reason_or_of_more_than_came_in_is_refused(job: Restoration) -> None:
    paid(job, 900)
    with pytest.raises(ValidationError, match=r"Money went back\. Say why\."):
        refund(restoration=job, amount_minor=250, received_on=TODAY, reason=" ", **BY)
    with pytest.raises(ValidationError, match=r"Only €9\.00 was received in all"):
        refund(restoration=job, amount_minor=901, received_on=TODAY, reason="all", **BY)
    with pytest.raises(ValidationError, match="without a minus"):
        refund(restoration=job, amount_minor=-1, received_on=TODAY, reason="all", **BY)
    assert numbers() == [1]


# --- slips ---


@pytest.mark.django_db
def test_a_slip_is_reversed_by_another_row(job: Restoration) -> None:
    slip = paid(job, 10_000)
    paid(job, 1_000)
    row = reverse(receipt=slip, reason="typed a nought too many", who="eve", now=by(3)["now"])
    assert (row.amount_minor, row.reverses, row.received_on) == (-10_000, slip, day(3))
    assert stands(job, 3).received == D("10.00")
    told = Entry.objects.get(what="receipt reversed")
    assert (told.subject_uid, told.who) == (row.uid, "eve")
    assert '"reverses":"R00001"' in told.after


@pytest.mark.django_db
def test_a_receipt_is_reversed_once(job: Restoration) -> None:
    slip = paid(job, 1_000)
    reverse(receipt=slip, reason="slip", **BY)
    with pytest.raises(AlreadyReversedError, match="R00001 is reversed already"):
        reverse(receipt=slip, reason="slip", **BY)
    assert numbers() == [1, 2]


@pytest.mark.django_db
def test_what_reverses_is_not_reversed_and_a_reversal_says_why(job: Restoration) -> None:
    slip = paid(job, 1_000)
    with pytest.raises(ValidationError, match="Say in a word") as refused:
        reverse(receipt=slip, reason="  ", **BY)
    assert list(refused.value.error_dict) == ["reason"]
    row = reverse(receipt=slip, reason="slip", **BY)
    with pytest.raises(ValidationError, match="note it anew"):
        reverse(receipt=row, reason="slip", **BY)


@pytest.mark.django_db
def test_a_refund_can_be_a_slip_too_but_nothing_below_nothing_comes_of_it(job: Restoration) -> None:
    came = paid(job, 1_000)
    back = refund(restoration=job, amount_minor=400, received_on=TODAY, reason="too much", **BY)
    with pytest.raises(ValidationError, match=r"Only €6\.00 was received"):
        reverse(receipt=came, reason="slip", **BY)
    assert reverse(receipt=back, reason="never left the till", **BY).amount_minor == 400
    reverse(receipt=came, reason="slip", **BY)
    assert money_in.standing(job, TODAY).received == 0


# --- at once, and by hand in the database ---


@pytest.mark.django_db(transaction=True)
def test_receipts_noted_at_once_have_numbers_without_a_gap_or_a_double(shop: Workshop) -> None:
    bikes = [restoration(f"Bike {number}") for number in range(4)]
    race(lambda number: [paid(bikes[number], 100 + turn).number for turn in range(3)], 4)
    assert numbers() == list(range(1, 13))


@pytest.mark.django_db(transaction=True)
def test_one_form_sent_by_two_at_once_is_one_receipt(shop: Workshop) -> None:
    of, form = restoration(), uuid4()
    told = race(lambda _number: paid(of, 500, uid=form).pk, 4)
    assert len(set(told)) == 1
    assert numbers() == [1]


@pytest.mark.django_db(transaction=True)
def test_of_many_that_reverse_at_once_one_does(shop: Workshop) -> None:
    slip = paid(restoration(), 500)

    def press(_number: int) -> bool:
        try:
            reverse(receipt=Receipt.objects.get(pk=slip.pk), reason="slip", **BY)
        except AlreadyReversedError:
            return False
        return True

    assert sorted(race(press, 4)) == [False, False, False, True]
    assert numbers() == [1, 2]
    assert receipts.received_minor(slip.restoration_id) == 0


@pytest.mark.django_db(transaction=True)
def test_of_refunds_at_once_no_more_goes_back_than_came_in(shop: Workshop) -> None:
    of = restoration()
    paid(of, 500)

    def back(_number: int) -> bool:
        try:
            refund(restoration=of, amount_minor=300, received_on=TODAY, reason="too much", **BY)
        except ValidationError:
            return False
        return True

    assert sorted(race(back, 3)) == [False, False, True]
    assert receipts.received_minor(of.pk) == 200


@pytest.mark.django_db
def test_a_receipt_is_never_changed_or_deleted(job: Restoration) -> None:
    row = paid(job, 500)
    for act in (lambda: Receipt.objects.filter(pk=row.pk).update(amount_minor=1), Receipt.objects.all().delete):
        with pytest.raises(DatabaseError, match="never changed or deleted"), transaction.atomic():
            act()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"amount_minor": 0, "reason": "x"}, "receipt_is_not_nothing"),
        ({"amount_minor": -1}, "money_back_says_why"),
        ({"number": 1}, "number"),
        ({"reverses": True}, "reverses"),
    ],
)
def test_the_database_refuses_what_no_service_would_write(
    job: Restoration, changes: dict[str, object], constraint: str
) -> None:
    slip = paid(job, 500)
    reverse(receipt=slip, reason="slip", **BY)
    fields = {"number": 9, "amount_minor": 5, "currency": "EUR", "received_on": TODAY, "at": NOW, "recorded_by": "x"}
    fields |= changes | ({"reverses": slip} if "reverses" in changes else {})
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Receipt.objects.create(restoration=job, **fields)
