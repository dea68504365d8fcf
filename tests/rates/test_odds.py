"""What the shop believes about what nobody can see: noted from a day on, checked at its field."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import models

from shop.journal.models import Entry
from shop.rates import selectors, services
from shop.rates.models import Odds
from tests.rates.things import JANUARY, MARCH, MAY, NOW

pytestmark = pytest.mark.django_db
ADA: dict[str, Any] = {"who": "ada", "now": NOW}
D = Decimal


def test_what_is_noted_holds_from_its_day_on_and_the_latest_of_a_day_holds() -> None:
    services.note_odds(valid_from=JANUARY, strong=D(30), **ADA)
    services.note_odds(valid_from=MAY, strong=D(40), **ADA)
    services.note_odds(valid_from=MAY, strong=D(50), **ADA)
    assert [selectors.odds(day).strong for day in (MARCH, MAY)] == [30, 50]


def test_what_is_not_said_is_what_a_shop_begins_with() -> None:
    row = services.note_odds(valid_from=MARCH, inspect_fee=D("180.50"), **ADA)
    assert (row.strong, row.fair, row.weak, row.none, row.proven, row.inspect_fee_minor) == (20, 5, 2, 3, 90, 18050)


def test_the_journal_tells_what_changed() -> None:
    services.note_odds(valid_from=JANUARY, **ADA)
    services.note_odds(valid_from=MARCH, proven=D(95), **ADA)
    entry = Entry.objects.latest("id")
    assert (entry.what, entry.subject_type) == ("odds noted", "rates.odds")
    assert '"proven":"95"' in entry.after.replace(".00", "")


def test_a_shop_that_noted_none_begins_with_exact_figures_that_nobody_has_saved() -> None:
    row = selectors.odds(MARCH)
    assert (row.pk, row.strong, row.proven, row.kept) == (None, 20, 90, 80)
    figures = [getattr(row, field.name) for field in Odds._meta.fields if isinstance(field, models.DecimalField)]
    assert {type(figure) for figure in figures} == {Decimal}


@pytest.mark.parametrize(
    ("beliefs", "field"),
    [
        ({"strong": D(1)}, "strong"),
        ({"weak": D("0.5")}, "weak"),
        ({"proven": D(100)}, "proven"),
        ({"common": D(0)}, "common"),
        ({"none": D("2.99")}, "none"),
        ({"noticed": D(101)}, "noticed"),
        ({"fair": D(30)}, "fair"),
        ({"sometimes": D(60)}, "sometimes"),
        ({"inspect_fee": D(-1)}, "inspect_fee"),
        ({"inspect_fee": D("1.005")}, "inspect_fee"),
        ({"strong": D("Infinity")}, "strong"),
        ({"none": D("NaN")}, "none"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_kept(beliefs: dict[str, Any], field: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        services.note_odds(valid_from=MARCH, **beliefs, **ADA)
    assert field in refusal.value.message_dict
    assert not Odds.objects.exists()
    assert not Entry.objects.exists()
