"""A tax with a code of its own: looked at before it is made, added once, then offered at every part."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from quotes.desk.forms import PartForm
from quotes.desk.rates import kinds
from quotes.pricing.models import Draft
from quotes.pricing.stages import offered
from shop.journal.models import Entry
from shop.rates.models import TaxRate
from shop.restorations.models import Part
from tests import workshop
from tests.desk.test_rates import address, bike, errors, look, note, shop

__all__ = ["bike", "shop"]

NEW = address(kinds.NewTax(), "")
REDUCED = {"name": "VAT, reduced", "code": "reduced", "percent": "9,5"}


def test_only_the_manager_comes_to_the_page(shop: workshop.Workshop, front_desk: Client, mechanic: Client) -> None:
    for client in (front_desk, mechanic):
        assert client.get(NEW).status_code == client.post(NEW, {"do": "look"}).status_code == 403
    assert NEW not in front_desk.get(reverse("desk:rates")).content.decode()


def test_a_new_tax_is_looked_at_noted_and_offered_at_a_part(
    shop: workshop.Workshop, bike: Draft, manager: Client
) -> None:
    assert NEW in manager.get(reverse("desk:rates")).content.decode()
    answer = look(manager, NEW, **REDUCED)
    assert "No part has this code yet, so no price changes." in answer.content.decode()
    assert [found.more for _draft, found in answer.context["effects"]] == [0]
    assert not TaxRate.objects.filter(code="reduced").exists()
    done = note(manager, NEW, **REDUCED)
    assert done["Location"] == address(kinds.Taxes(), "reduced")
    row = TaxRate.objects.get(code="reduced")
    assert (row.name, row.percent, row.valid_from) == ("VAT, reduced", Decimal("9.5"), timezone.localdate())
    entry = Entry.objects.latest("pk")
    assert (entry.who, entry.what, entry.subject_label) == ("eve", "tax rate noted", "VAT, reduced")
    choices: Any = PartForm(instance=Part.objects.all()[0]).fields["tax"]
    assert ("reduced", "VAT, reduced") in choices.choices


def test_a_code_that_parts_have_already_shows_what_its_rate_does(
    shop: workshop.Workshop, bike: Draft, manager: Client
) -> None:
    """A part that came with a code the shop has no rate for has no price until there is one."""
    Part.objects.update(tax="reduced")
    ((_draft, found),) = look(manager, NEW, **REDUCED, valid_from=bike.priced_on.isoformat()).context["effects"]
    assert found.stands.total is None
    assert found.stands_with.total is not None
    note(manager, NEW, **REDUCED, valid_from=bike.priced_on.isoformat())
    assert offered(bike).found.explained.result.total == found.stands_with.total  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("typed", "box", "sentence"),
    [
        ({"code": "standard"}, "code", "“VAT” has this code already."),
        ({"code": "Standard"}, "code", "“VAT” has this code already."),
        ({"code": "two words"}, "code", "Use letters, digits and hyphens only"),
        ({"code": ""}, "code", "Fill this in."),
        ({"name": "vat"}, "name", "The tax with the code “standard” is called that."),
        ({"name": ""}, "name", "Fill this in."),
        ({"percent": "-1"}, "percent", "greater than or equal to 0"),
        ({"percent": "lots"}, "percent", "Give a number in digits"),
    ],
)
def test_what_cannot_be_is_refused_at_its_box_and_stays_typed(
    shop: workshop.Workshop, manager: Client, typed: dict[str, str], box: str, sentence: str
) -> None:
    before = (TaxRate.objects.count(), Entry.objects.count())
    answer = look(manager, NEW, **(REDUCED | typed))
    assert answer.status_code == 422
    assert list(errors(answer)) == [box]
    assert sentence in errors(answer)[box][0]
    assert answer.context["form"]["code"].value() == (REDUCED | typed)["code"]
    assert (TaxRate.objects.count(), Entry.objects.count()) == before


def test_a_tax_is_renamed_with_its_next_rate_and_not_after_another(shop: workshop.Workshop, manager: Client) -> None:
    note(manager, NEW, **REDUCED)
    standard = address(kinds.Taxes(), "standard")
    refused = look(manager, standard, name="VAT, Reduced")
    assert errors(refused) == {
        "name": ["The tax with the code “reduced” is called that. Choose another name, so that nobody mixes them up."]
    }
    assert note(manager, standard, name="VAT, full").status_code == 302
    assert kinds.Taxes().name("standard") == "VAT, full"
    assert (
        TaxRate.objects.filter(code="standard").latest("pk").percent
        == TaxRate.objects.filter(code="standard").earliest("pk").percent
    )
