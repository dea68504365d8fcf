import hashlib
import os
import tempfile
from datetime import datetime
from pathlib import Path

from django.db import transaction

from shop.papers.models import Document
from shop.papers.selectors import path_of


def store(*, name: str, media_type: str, content: bytes, now: datetime) -> Document:
    """Keep ``content`` for good; the same bytes are kept once, under the name they first came with.

    The file is whole on the disk before its row is committed. A crash in between leaves a file without
    a row, which the next ``store`` of the same bytes takes over; never a row without its file.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    document = Document(sha256=sha256, name=name, media_type=media_type, bytes=len(content), created_at=now)
    document.full_clean(validate_unique=False, validate_constraints=False)
    _write(path_of(sha256), content)
    with transaction.atomic():
        Document.objects.bulk_create([document], ignore_conflicts=True)
        return Document.objects.get(sha256=sha256)


def keep_bytes(content: bytes) -> str:
    """Put ``content`` on the disk under its SHA-256, whole or not at all, and return that; rows are the caller's."""
    sha256 = hashlib.sha256(content).hexdigest()
    _write(path_of(sha256), content)
    return sha256


def _write(path: Path, content: bytes) -> None:
    if _holds(path, content):
        return
    _make_folder(path.parent)
    descriptor, temporary = tempfile.mkstemp(dir=path.parent, prefix=".incoming-")
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _holds(path: Path, content: bytes) -> bool:
    try:
        return path.read_bytes() == content
    except FileNotFoundError:
        return False


def _make_folder(folder: Path) -> None:
    """Each new folder is synced into its parent, or a power cut could lose it with the file inside."""
    if folder.is_dir():
        return
    _make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)
    _sync_folder(folder.parent)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
