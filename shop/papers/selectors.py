import hashlib
from pathlib import Path

from django.conf import settings

from shop.papers.models import Document


class DocumentDamaged(Exception):
    """The file is missing, or is no longer the one that was stored."""


def path_of(sha256: str) -> Path:
    return Path(settings.MEDIA_ROOT) / sha256[:2] / sha256


def content(document: Document) -> bytes:
    """The bytes as they were stored; raises ``DocumentDamaged`` rather than hand out others."""
    try:
        found = path_of(document.sha256).read_bytes()
    except FileNotFoundError as error:
        raise DocumentDamaged(f"The file of document {document.uid} is missing.") from error
    if hashlib.sha256(found).hexdigest() != document.sha256:
        raise DocumentDamaged(f"The file of document {document.uid} is not the one that was stored.")
    return found
