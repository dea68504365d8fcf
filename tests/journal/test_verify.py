"""What the chain proves. Each way of tampering is done in the file itself, with the guards lifted."""

import random
from collections.abc import Callable
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from shop import guards
from shop.journal import selectors, services, verify
from shop.journal.models import Entry, Link
from shop.journal.selectors import Head
from tests.journal.test_services import NOW, record, sealed

LENGTH = 12


@pytest.fixture
def chained(transactional_db: None) -> None:
    sealed(LENGTH)
    assert verify.first_fault(selectors.head()) is None


def tamper(*statements: str) -> None:
    with guards.lifted(), connection.constraint_checks_disabled(), transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL session_replication_role = replica")  # foreign keys off, as in a raw file
        for statement in statements:
            cursor.execute(statement)


def entry_at(position: int) -> int:
    return Link.objects.get(position=position).entry_id


def edit(position: int) -> None:
    tamper(f"UPDATE journal_entry SET after = '{{\"number\":99}}' WHERE id = {entry_at(position)}")


def edit_link(position: int) -> None:
    tamper(f"UPDATE journal_link SET hash = '{'a' * 64}' WHERE position = {position}")


def delete_entry(position: int) -> None:
    tamper(f"DELETE FROM journal_entry WHERE id = {entry_at(position)}")


def delete_both(position: int) -> None:
    entry = entry_at(position)
    tamper(f"DELETE FROM journal_link WHERE position = {position}", f"DELETE FROM journal_entry WHERE id = {entry}")


def swap(position: int) -> None:
    one, two = entry_at(position), entry_at(position + 1)
    tamper(
        f"UPDATE journal_link SET entry_id = -1 WHERE position = {position}",
        f"UPDATE journal_link SET entry_id = {one} WHERE position = {position + 1}",
        f"UPDATE journal_link SET entry_id = {two} WHERE position = {position}",
    )


def insert(position: int) -> None:
    """A forged entry is given the place of a true one, and all after it move one on."""
    with transaction.atomic():
        forged = record(who="mallory")
    assert forged is not None
    tamper(
        f"UPDATE journal_link SET position = position + 1000 WHERE position >= {position}",
        "UPDATE journal_link SET position = position - 999 WHERE position >= 1000",
        f"DELETE FROM journal_unsealed WHERE entry_id = {forged.pk}",
        f"INSERT INTO journal_link (position, entry_id, sealed_at, hash)"
        f" SELECT {position}, {forged.pk}, sealed_at, hash FROM journal_link WHERE position = {position + 1}",
    )


TAMPERINGS = [edit, edit_link, delete_entry, delete_both, swap, insert]


@pytest.mark.parametrize("tampering", TAMPERINGS)
def test_the_first_bad_row_is_named(chained: None, tampering: Callable[[int], None]) -> None:
    random.seed(tampering.__name__)
    position = random.randint(2, LENGTH - 1)
    try:
        tampering(position)
    finally:
        fault = verify.first_fault()
    assert fault is not None
    assert fault.startswith(f"Position {position}")


def cut_tail(count: int) -> None:
    last = LENGTH - count
    entries = ", ".join(str(link.entry_id) for link in Link.objects.filter(position__gt=last))
    tamper(f"DELETE FROM journal_link WHERE position > {last}", f"DELETE FROM journal_entry WHERE id IN ({entries})")


@pytest.mark.parametrize("count", [1, 5])
def test_a_cut_tail_is_found_with_a_head_in_writing(chained: None, count: int) -> None:
    head = selectors.head()
    cut_tail(count)
    fault = verify.first_fault(head)
    assert (
        fault
        == f"The journal ends at position {LENGTH - count}, but its head was at {LENGTH} once: its end was cut off."
    )


@pytest.mark.control
def test_without_a_head_in_writing_a_cut_tail_is_not_found(chained: None) -> None:
    cut_tail(5)
    assert verify.first_fault() is None


def test_a_tail_cut_off_and_grown_anew_is_found_with_a_head_in_writing(chained: None) -> None:
    head = selectors.head()
    cut_tail(3)
    sealed(5)
    assert verify.first_fault() is None
    fault = verify.first_fault(Head(3, Link.objects.get(position=3).hash), head)
    assert fault == f"Position {LENGTH} has another hash than the head given: the chain was written anew."


def test_an_entry_put_in_past_the_service_is_found(chained: None) -> None:
    entry = Entry.objects.last()
    assert entry is not None
    entry.pk, entry.uid = None, "00000000-0000-0000-0000-0000000000aa"
    entry.save(force_insert=True)
    fault = verify.first_fault()
    assert fault is not None
    assert fault.endswith("is neither sealed nor waiting for it: it was put in past the service.")


def test_an_entry_that_waits_for_its_seal_is_no_fault(chained: None) -> None:
    with transaction.atomic():
        record()
    assert verify.first_fault() is None
    services.seal(now=NOW)
    assert selectors.head().position == LENGTH + 1


def test_long_chains_are_read_in_pieces(chained: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "AT_ONCE", 5)
    assert verify.first_fault(selectors.head()) is None
    edit(11)
    assert str(verify.first_fault()).startswith("Position 11")


def test_the_command_prints_the_head_of_a_whole_journal(chained: None) -> None:
    out = StringIO()
    call_command("verify_journal", head=[selectors.head()], stdout=out)
    assert out.getvalue() == f"The journal is whole up to {selectors.head()}\n"


def test_the_command_fails_with_the_fault(chained: None) -> None:
    edit(4)
    with pytest.raises(CommandError, match="Position 4: entry"):
        call_command("verify_journal", "--head", "12:" + "0" * 64)


def test_the_command_says_how_a_head_is_written(chained: None) -> None:
    with pytest.raises(CommandError, match="give a head as POSITION:HASH"):
        call_command("verify_journal", "--head", "twelve")
