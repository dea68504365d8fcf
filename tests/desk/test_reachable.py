"""Before a quote goes out the desk is told when nobody could reach the workshop by it."""

import pytest
from django.test import Client

from shop.people.models import Shop
from shop.restorations.models import Restoration
from tests.pricing.customers import words_of
from tests.workshop import draft, restoration

pytestmark = pytest.mark.django_db
SAID = "This workshop has no address and no telephone number yet"


@pytest.fixture
def bike() -> Restoration:
    row = restoration()
    draft(row)
    return row


@pytest.mark.parametrize(
    ("noted", "said"),
    [({}, True), ({"email": "bench@fen.example"}, True), ({"address": "Fen Lane"}, False), ({"phone": "01632"}, False)],
)
def test_without_address_and_phone_the_issue_page_says_so(
    manager: Client, bike: Restoration, noted: dict[str, str], said: bool
) -> None:
    Shop.objects.all().delete()
    Shop.objects.create(name="Fen Works", **noted)
    words = words_of(manager.get(f"/restorations/{bike.uid}/issue/"))
    assert (SAID in words) == said
    assert "no name yet" not in words
