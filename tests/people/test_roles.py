import pytest
from django.contrib.auth.models import AnonymousUser, Group
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import RequestFactory

from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC, ROLES, has_role, role_required
from shop.people.services import add_person

PASSWORD = "spoke nipple 36"


@pytest.fixture
def mechanic(db: None) -> User:
    return add_person(username="tom", name="Tom", password=PASSWORD, roles=[ROLE_MECHANIC])


@pytest.mark.django_db
def test_the_three_roles_exist_after_migrating() -> None:
    assert set(Group.objects.values_list("name", flat=True)) == set(ROLES) == {"desk", "mechanic", "manager"}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("_round", [1, 2])
def test_the_roles_are_back_after_the_tables_are_flushed(_round: int) -> None:
    person = add_person(username="ada", name="Ada", password=PASSWORD, roles=[ROLE_DESK])
    assert User.objects.get(pk=person.pk).has_perm("papers.view_document")


def test_a_mechanic_holds_only_that_role(mechanic: User) -> None:
    assert has_role(mechanic, ROLE_MECHANIC)
    assert has_role(mechanic, ROLE_DESK, ROLE_MECHANIC)
    assert not has_role(mechanic, ROLE_DESK, ROLE_MANAGER)


def test_a_stranger_holds_no_role() -> None:
    assert not has_role(AnonymousUser(), *ROLES)


def test_a_switched_off_person_holds_no_role(mechanic: User) -> None:
    mechanic.is_active = False
    assert not has_role(mechanic, *ROLES)


def test_roles_are_read_once_for_each_request(mechanic: User, django_assert_num_queries: object) -> None:
    with django_assert_num_queries(1):  # type: ignore[operator]
        has_role(mechanic, ROLE_MECHANIC)
        has_role(mechanic, ROLE_DESK)


@role_required(ROLE_DESK, ROLE_MANAGER)
def prices(request: object) -> HttpResponse:
    return HttpResponse("prices")


def test_a_view_opens_only_to_its_roles(mechanic: User, rf: RequestFactory) -> None:
    request = rf.get("/")
    request.user = mechanic
    with pytest.raises(PermissionDenied, match="This page is for the front desk or the manager"):
        prices(request)
    manager = add_person(username="eve", name="Eve", password=PASSWORD, roles=[ROLE_MANAGER])
    request.user = manager
    assert prices(request).content == b"prices"


def test_a_view_cannot_be_guarded_by_a_role_that_does_not_exist() -> None:
    with pytest.raises(ValueError, match="role_required needs roles"):
        role_required("boss")
