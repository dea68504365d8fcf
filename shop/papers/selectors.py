import hashlib
from pathlib import Path

from django.conf import settings

from shop.papers.models import Document, Photograph


class DocumentDamaged(Exception):
    """The file is missing, or is no longer the one that was stored."""


def path_of(sha256: str) -> Path:
    return Path(settings.MEDIA_ROOT) / sha256[:2] / sha256


def content(document: Document) -> bytes:
    """The bytes as they were stored; raises ``DocumentDamaged`` rather than hand out others."""
    return kept_bytes(document.sha256, of=f"document {document.uid}")


def photograph_content(photograph: Photograph) -> bytes:
    return kept_bytes(photograph.sha256, of=f"photograph {photograph.uid}")


def thumbnail_content(photograph: Photograph) -> bytes:
    return kept_bytes(photograph.thumbnail_sha256, of=f"photograph {photograph.uid}, its thumbnail")


def kept_bytes(sha256: str, *, of: str) -> bytes:
    try:
        found = path_of(sha256).read_bytes()
    except FileNotFoundError as error:
        raise DocumentDamaged(f"The file of {of} is missing.") from error
    if hashlib.sha256(found).hexdigest() != sha256:
        raise DocumentDamaged(f"The file of {of} is not the one that was stored.")
    return found
