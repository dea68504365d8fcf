import uuid
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.core.management.sql import emit_post_migrate_signal, emit_pre_migrate_signal
from django.db import IntegrityError, connection, models, transaction

from shop import guards
from shop.guards import Guard
from shop.journal.models import Entry
from shop.people.roles import ROLES
from tests.guards import catalogue

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


def add_entry() -> Entry:
    return Entry.objects.create(
        at=NOW, who="ada", what="part added", subject_type="part", subject_uid=uuid.uuid4(), subject_label="Fork, left"
    )


@pytest.fixture
def shelf(db: None) -> Iterator[None]:
    """A table of its own, to try guards on that no room has."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE shelf (id integer PRIMARY KEY, label varchar(20), note varchar(20))")
        cursor.execute("INSERT INTO shelf VALUES (1, 'left', ''), (2, NULL, '')")
    yield
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE shelf")


def make(guard: Guard) -> None:
    guards._run(connection, guard.create[connection.vendor])


def refused(sql: str) -> str:
    with pytest.raises(IntegrityError) as caught, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    return str(caught.value).splitlines()[0]


def run(sql: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def test_append_only_refuses_change_and_deletion_with_a_plain_sentence(shelf: None) -> None:
    make(guards.append_only("shelf"))
    sentence = "Rows of shelf are kept as written: they cannot be changed or deleted."
    run("INSERT INTO shelf VALUES (3, 'right', '')")
    assert refused("UPDATE shelf SET note = 'x' WHERE id = 1") == sentence
    assert refused("DELETE FROM shelf WHERE id = 1") == sentence


def test_append_only_refuses_to_be_emptied_at_once(shelf: None) -> None:
    make(guards.append_only("shelf", "It isn't emptied."))
    empty = "TRUNCATE shelf" if connection.vendor == "postgresql" else "DELETE FROM shelf"
    assert refused(empty) == "It isn't emptied."


def test_append_only_refuses_to_replace_a_row_by_inserting_it_again(shelf: None) -> None:
    make(guards.append_only("shelf"))
    refused(
        "INSERT INTO shelf VALUES (1, 'x', '') ON CONFLICT (id) DO UPDATE SET label = 'x'"
        if connection.vendor == "postgresql"
        else "INSERT OR REPLACE INTO shelf VALUES (1, 'x', '')"
    )


def test_frozen_columns_refuse_change_while_the_others_may(shelf: None) -> None:
    make(guards.frozen_columns("shelf", ["label"]))
    run("UPDATE shelf SET label = 'left', note = 'dusty' WHERE id = 1")
    sentence = "label of shelf are kept as written: they cannot be changed."
    assert refused("UPDATE shelf SET label = 'right' WHERE id = 1") == sentence
    assert refused("UPDATE shelf SET label = NULL WHERE id = 1") == sentence
    assert refused("UPDATE shelf SET label = 'right' WHERE id = 2") == sentence


@pytest.mark.parametrize(
    ("on", "when", "bad", "good"),
    [
        ("INSERT", "NEW.label = ''", "INSERT INTO shelf VALUES (3, '', '')", "INSERT INTO shelf VALUES (3, 'x', '')"),
        (
            "UPDATE",
            "OLD.id = 1",
            "UPDATE shelf SET note = 'x' WHERE id = 1",
            "UPDATE shelf SET note = 'x' WHERE id = 2",
        ),
        ("DELETE", "OLD.id = 1", "DELETE FROM shelf WHERE id = 1", "DELETE FROM shelf WHERE id = 2"),
        (
            "INSERT",
            "EXISTS (SELECT 1 FROM shelf WHERE label = NEW.label)",
            "INSERT INTO shelf VALUES (3, 'left', '')",
            "INSERT INTO shelf VALUES (3, 'right', '')",
        ),
    ],
)
def test_refuse_refuses_the_rows_it_names_and_no_others(shelf: None, on: str, when: str, bad: str, good: str) -> None:
    make(guards.refuse("shelf", "rule", on=on, when=when, message="That's not possible."))
    assert refused(bad) == "That's not possible."
    run(good)


def test_a_guard_with_a_name_that_would_be_cut_off_or_not_found_is_refused() -> None:
    with pytest.raises(ValueError, match="must begin with"):
        Guard("shelf", "shelf_guard", {}, {})
    with pytest.raises(ValueError, match="at most"):
        guards.append_only("s" * 60)


@pytest.mark.django_db
def test_installing_twice_is_installing_once() -> None:
    before = catalogue.lines()
    guards.install()
    assert catalogue.lines() == before


@pytest.mark.django_db
def test_lifted_guards_are_back_after_an_error_inside() -> None:
    entry = add_entry()
    with pytest.raises(ValueError, match="invalid literal"), guards.lifted():
        Entry.objects.filter(pk=entry.pk).update(what=int("tampered"))
    refused(f"UPDATE journal_entry SET what = 'x' WHERE id = {entry.pk}")
    assert not guards.missing()


@pytest.mark.django_db
def test_a_guard_that_no_room_lists_any_more_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guards, "all_guards", lambda: ())
    guards.remove()
    assert guards._objects(connection) == []


@pytest.mark.django_db
def test_guards_wait_for_their_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guards, "all_guards", lambda: (guards.append_only("not_there_yet"),))
    guards.install()
    assert not guards.missing()


@pytest.mark.django_db
def test_the_check_names_guards_that_a_broken_migrate_left_out() -> None:
    assert guards.check_guards(databases=["default"]) == []
    with guards.lifted():
        messages = guards.check_guards(databases=["default"])
    assert any("guard_journal_entry_append_only" in message.msg for message in messages)
    assert guards.check_guards(databases=None) == []


def rebuild() -> None:
    """What adding a constraint does on SQLite: a new table, the rows copied, the old one dropped."""
    constraint = models.CheckConstraint(condition=~models.Q(subject_label=""), name="journal_entry_tried_out")
    with connection.schema_editor() as editor:
        editor.add_constraint(Entry, constraint)
    with connection.schema_editor() as editor:
        editor.remove_constraint(Entry, constraint)


@pytest.mark.django_db(transaction=True)
def test_guards_survive_a_migration_that_rebuilds_their_table() -> None:
    before = catalogue.lines()
    emit_pre_migrate_signal(verbosity=0, interactive=False, db="default")
    rebuild()
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    assert catalogue.lines() == before


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_without_the_signals_sqlite_would_lose_them() -> None:
    rebuild()
    assert bool(guards.missing()) == (connection.vendor == "sqlite")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("_round", [1, 2])
def test_tables_that_refuse_deletion_are_empty_again_for_the_next_test(_round: int) -> None:
    assert not Entry.objects.exists()
    add_entry()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("_round", [1, 2])
def test_what_a_fresh_database_holds_is_there_again_for_the_next_test(_round: int) -> None:
    assert set(Group.objects.values_list("name", flat=True)) == set(ROLES)
    assert not guards.missing()
    Group.objects.all().delete()
    guards.remove()


@pytest.mark.django_db(transaction=True)
def test_migrate_itself_leaves_every_guard_in_place() -> None:
    guards.remove()
    call_command("migrate", verbosity=0)
    assert not guards.missing()
