"""Every link in the head of a page leads somewhere its reader may go."""

import pytest
from django.urls import reverse

from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from tests.desk import rows
from tests.desk.test_editor import person

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", [ROLE_DESK, ROLE_MECHANIC, ROLE_MANAGER])
def test_nobody_is_shown_a_way_that_is_closed_to_them(client, role):
    client.force_login(person(role))
    links = [url for url, _label, _here in client.get(reverse("desk:home"), follow=True).context["nav"]]
    assert links
    assert {url: client.get(url, follow=True).status_code for url in links} == dict.fromkeys(links, 200)


def test_a_mechanic_has_no_business_with_background_jobs(client):
    client.force_login(person(ROLE_MECHANIC))
    assert client.get(reverse("outbox:background_jobs")).status_code == 403


def test_a_row_knows_the_page_of_its_restoration():
    bike = rows.restoration()
    assert bike.get_absolute_url() == reverse("desk:restoration", args=[bike.uid])
