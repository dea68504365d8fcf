import hashlib
import os
import random
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, transaction

from shop.papers import selectors, services
from shop.papers.models import Document
from tests.papers.conftest import NOW

LETTER = b"Dear customer, the tank was enamelled in black."


def keep(content: bytes = LETTER, name: str = "letter.txt") -> Document:
    return services.store(name=name, media_type="text/plain", content=content, now=NOW)


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


@pytest.mark.django_db
def test_a_document_lies_under_its_own_hash(documents: Path) -> None:
    document = keep()
    # Source of the digest: coreutils sha256sum over the same bytes.
    assert document.sha256 == "337316465764c8d6de75caaac164dac3e4b46390143810abd1cf520b4a793629"
    assert files(documents) == [documents / document.sha256[:2] / document.sha256]
    assert selectors.content(document) == LETTER
    assert (document.bytes, document.created_at) == (len(LETTER), NOW)


@pytest.mark.django_db
def test_the_same_bytes_are_kept_once(documents: Path) -> None:
    assert keep() == keep(name="again.txt")
    assert Document.objects.count() == len(files(documents)) == 1


@pytest.mark.django_db
def test_a_document_without_a_name_is_refused_before_anything_is_written(documents: Path) -> None:
    with pytest.raises(ValidationError) as error:
        keep(name="")
    assert list(error.value.message_dict) == ["name"]
    assert files(documents) == []


@pytest.mark.django_db
def test_a_full_disk_leaves_neither_file_nor_row(documents: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        keep()
    assert files(documents) == []
    assert not Document.objects.exists()


@pytest.mark.django_db
def test_a_damaged_file_is_mended_when_the_same_bytes_come_again(documents: Path) -> None:
    document = keep()
    selectors.path_of(document.sha256).write_bytes(LETTER[:5])
    assert keep() == document
    assert selectors.content(document) == LETTER


@pytest.mark.django_db
@pytest.mark.parametrize("change", [lambda path: path.write_bytes(b"forged"), Path.unlink])
def test_a_changed_or_missing_file_is_never_handed_out(documents: Path, change: Callable[[Path], object]) -> None:
    document = keep()
    change(selectors.path_of(document.sha256))
    with pytest.raises(selectors.DocumentDamaged):
        selectors.content(document)


@pytest.mark.django_db
def test_the_database_refuses_to_change_or_delete_a_document(documents: Path) -> None:
    document = keep()
    for forgery in (Document.objects.filter(pk=document.pk).delete, lambda: Document.objects.update(name="x")):
        with pytest.raises((IntegrityError, DatabaseError)), transaction.atomic():
            forgery()
    document.refresh_from_db()
    assert document.name == "letter.txt"


def write_in_place(path: Path, content: bytes) -> None:
    """What the service must not do: the control for the test below."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        for start in range(0, len(content), 65536):
            file.write(content[start : start + 65536])


def kill_while_writing(write: Callable[[Path, bytes], None], *, rounds: int) -> None:
    """A child writes document after document; it is killed at a moment nobody chose."""
    chance = random.Random(1905)
    for number in range(rounds):
        child = os.fork()
        if child == 0:
            try:
                for count in range(1000):
                    content = f"{number} {count} ".encode() * 200_000
                    write(selectors.path_of(hashlib.sha256(content).hexdigest()), content)
            finally:
                os._exit(0)
        time.sleep(chance.uniform(0.02, 0.1))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


def partial(folder: Path) -> list[Path]:
    whole = (path for path in files(folder) if not path.name.startswith(".incoming-"))
    return [path for path in whole if hashlib.sha256(path.read_bytes()).hexdigest() != path.name]


def test_a_killed_writer_leaves_no_partial_file_under_a_final_name(documents: Path) -> None:
    kill_while_writing(services._write, rounds=20)
    assert files(documents)
    assert partial(documents) == []


@pytest.mark.control
def test_writing_in_place_would_leave_partial_files(documents: Path) -> None:
    kill_while_writing(write_in_place, rounds=20)
    assert partial(documents)
