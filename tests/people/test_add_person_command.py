import io

import pytest
from django.core.management import CommandError, call_command

from shop.people.models import User
from tests.people.conftest import PASSWORD

pytestmark = pytest.mark.django_db


def run(monkeypatch: pytest.MonkeyPatch, password: str, *arguments: str) -> str:
    out = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO(password + "\n"))
    call_command("add_person", *arguments, stdout=out)
    return out.getvalue()


def test_a_person_is_added_with_the_password_from_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    said = run(monkeypatch, PASSWORD, "ida", "--name", "Ida Brandt", "--role", "desk", "--role", "manager")
    assert said == "Ida Brandt can sign in as ida.\n"
    assert User.objects.get().check_password(PASSWORD)


def test_a_weak_password_is_refused_with_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="password: This password is too short"):
        run(monkeypatch, "abc", "ida", "--name", "Ida", "--role", "desk")
    assert not User.objects.exists()


def test_a_role_that_does_not_exist_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="invalid choice"):
        run(monkeypatch, PASSWORD, "ida", "--name", "Ida", "--role", "boss")
