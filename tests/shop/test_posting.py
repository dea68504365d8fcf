"""Addresses that only take a form lead back to it: whoever has one left in the bar and looks again reads no bare refusal."""

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from shop.people.models import User
from shop.people.roles import ROLES
from tests.every_page import Address

#: Addresses that no form of a page leads to, and why whoever looks there may read that it is not for looking.
NOT_FOR_LOOKING: dict[str, str] = {}


@pytest.fixture
def shop(furnished: list[Address], db: None) -> list[Address]:
    return furnished


def client_for(one: Address) -> Client:
    """Somebody with every role, or the customer let in."""
    client = Client()
    if one.enter:
        client.get(one.enter)
        return client
    person = User.objects.get(username="manager")
    person.groups.set(Group.objects.filter(name__in=ROLES))
    client.force_login(person)
    return client


def test_no_address_refuses_a_look_and_what_leads_back_leads_to_a_page_that_is_there(shop: list[Address]) -> None:
    ends = {one.name: client_for(one).get(one.path, follow=True).status_code for one in shop}
    assert len(ends) > 100
    assert {name for name, status in ends.items() if status == 405} == set(NOT_FOR_LOOKING)
    assert {name: status for name, status in ends.items() if status not in {200, 405}} == {}


@pytest.mark.parametrize(
    "name", ["desk:let_hold_go", "desk:remove_wait", "desk:take_back_shared", "desk:end_vendor_closure"]
)
def test_an_address_of_a_row_tells_nobody_else_where_it_leads(shop: list[Address], name: str) -> None:
    """A mechanic is told whom the page is for, whether the row is there or not."""
    client = Client()
    client.force_login(User.objects.get(username="mechanic"))
    paths = [one.path for one in shop if one.name == name]
    assert paths
    assert {client.get(path).status_code for path in paths} == {403}
