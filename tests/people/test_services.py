from typing import Any

import pytest
from django.core.exceptions import ValidationError

from shop.journal.models import Entry
from shop.people.models import User
from shop.people.services import add_person
from tests.people.conftest import PASSWORD, person

pytestmark = pytest.mark.django_db


def test_a_person_is_added_with_name_and_roles() -> None:
    added = add_person(username=" ida ", name=" Ida Brandt ", password=PASSWORD, roles=["desk", "manager"])
    assert (added.username, str(added)) == ("ida", "Ida Brandt")
    assert set(added.groups.values_list("name", flat=True)) == {"desk", "manager"}


def test_passwords_are_kept_as_argon2id_only() -> None:
    # Source: RFC 9106 section 4 recommends Argon2id; the encoded form begins with its name.
    assert person("desk").password.startswith("argon2$argon2id$")
    assert PASSWORD not in person("desk", username="tom").password


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"username": ""}, "username"),
        ({"username": "two words"}, "username"),
        ({"name": "  "}, "first_name"),
        ({"password": "short"}, "password"),
        ({"password": "password1"}, "password"),
        ({"roles": []}, "roles"),
        ({"roles": ["boss"]}, "roles"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_stored(change: dict[str, Any], field: str) -> None:
    right = {"username": "ida", "name": "Ida", "password": PASSWORD, "roles": ["desk"]}
    with pytest.raises(ValidationError) as error:
        add_person(**(right | change))
    assert list(error.value.message_dict) == [field]
    assert not User.objects.exists()


def test_a_username_is_given_once() -> None:
    person("desk")
    with pytest.raises(ValidationError) as error:
        person("mechanic")
    assert list(error.value.message_dict) == ["username"]


def test_the_journal_says_who_was_added_and_nothing_of_the_password() -> None:
    added = person("desk")
    entry = Entry.objects.get(subject_uid=added.uid)
    assert (entry.what, entry.at) == ("person added", added.date_joined)
    assert '"roles":["desk"]' in entry.after
    assert PASSWORD not in entry.after + entry.before
    assert "argon2" not in entry.after + entry.before
