import os

import pytest
from django.core.management import CommandError

from shop.management import first_start
from shop.people.models import User
from shop.people.roles import ROLES, roles_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def home(tmp_path, settings):
    settings.HOME = tmp_path
    return tmp_path


def fill(*, empty: bool) -> list[str]:
    lines: list[str] = []
    first_start.fill(empty=empty, say=lines.append)
    return lines


def test_an_empty_shop_gets_one_manager_who_may_do_everything():
    first_start.first_start().write_text("empty")
    password = fill(empty=True)[1].split()[-1]
    person = User.objects.get()
    assert person.check_password(password)
    assert roles_of(person) == frozenset(ROLES)


def test_the_password_is_another_one_in_every_shop():
    passwords = set()
    for _ in range(3):
        first_start.add_manager(say=lambda line: passwords.add(line) if "manager" in line else None)
        User.objects.all().delete()
    assert len(passwords) == 3


def test_a_first_start_that_was_cut_short_is_finished_by_the_next(monkeypatch):
    called: list[str] = []

    def cut_short(name: str) -> None:
        called.append(name)
        raise CommandError("the lights went out")

    first_start.first_start().write_text("demo")
    monkeypatch.setattr(first_start, "call_command", cut_short)
    with pytest.raises(CommandError):
        fill(empty=False)
    monkeypatch.setattr(first_start, "call_command", called.append)
    fill(empty=False)
    fill(empty=False)
    assert called == ["demo", "demo"]


def test_a_shop_that_was_begun_is_left_alone(monkeypatch):
    monkeypatch.setattr(first_start, "call_command", pytest.fail)
    assert fill(empty=False) == []
    assert not User.objects.exists()


def test_the_state_of_the_tree_changes_with_its_files(tmp_path, settings):
    settings.BASE_DIR = tmp_path
    (tmp_path / "requirements.txt").touch()
    (tmp_path / "shop").mkdir()
    before = first_start.tree_state()
    assert first_start.tree_state() == before
    guards = tmp_path / "shop" / "guards.py"
    guards.write_text("one")
    added = first_start.tree_state()
    guards.write_text("two")
    os.utime(guards, (0, guards.stat().st_mtime + 1))
    assert len({before, added, first_start.tree_state()}) == 3
