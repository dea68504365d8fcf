import pytest
from django.urls import reverse

from shop.people.models import Shop
from shop.people.roles import ROLE_DESK, ROLE_MANAGER
from tests.desk.test_editor import person

pytestmark = pytest.mark.django_db


def test_the_manager_names_the_workshop_once_and_may_change_it(client):
    client.force_login(person(ROLE_MANAGER))
    client.post(reverse("desk:workshop"), {"name": "Hollow Lane Works", "address": "1 Hollow Lane"})
    client.post(reverse("desk:workshop"), {"name": "Hollow Lane Works", "address": "2 Hollow Lane"})
    assert [shop.address for shop in Shop.objects.all()] == ["2 Hollow Lane"]


@pytest.mark.parametrize(
    ("wrong", "sentence"), [({"name": ""}, "required"), ({"name": "Works", "email": "at home"}, "valid email")]
)
def test_a_wrong_entry_is_told_at_its_field_and_nothing_is_lost(client, wrong, sentence):
    client.force_login(person(ROLE_MANAGER))
    answer = client.post(reverse("desk:workshop"), {"address": "1 Hollow Lane"} | wrong)
    assert sentence in answer.content.decode()
    assert "1 Hollow Lane" in answer.content.decode()
    assert not Shop.objects.exists()


def test_it_is_the_managers_page(client):
    client.force_login(person(ROLE_DESK))
    assert client.get(reverse("desk:workshop")).status_code == 403


def test_a_tax_or_company_number_is_kept(client):
    client.force_login(person(ROLE_MANAGER))
    client.post(reverse("desk:workshop"), {"name": "Hollow Lane Works", "tax_number": " XX 123 456 "})
    shop = Shop.objects.get()
    assert shop.tax_number == "XX 123 456"
