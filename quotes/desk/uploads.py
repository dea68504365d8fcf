"""Files on their way in: kept for a while, taken in once."""

from datetime import datetime, timedelta
from uuid import UUID

from django.utils.translation import gettext as _

from quotes.desk.models import Upload

KEPT_FOR = timedelta(days=7)
LONGEST_NAME = 200


class TakenError(Exception):
    """The file was taken in before; nothing was written again."""

    def __init__(self, upload: Upload) -> None:
        self.upload = upload
        super().__init__(_("“%(name)s” was taken in already. Nothing was added again.") % {"name": upload.name})


def keep(
    *, kind: Upload.Kind, name: str, content: bytes, subject_uid: UUID | None = None, who: str, now: datetime
) -> Upload:
    """Keep a file until somebody has seen what it would change. Nothing else is written."""
    shown = name.replace("\0", "")[-LONGEST_NAME:]
    return Upload.objects.create(kind=kind, name=shown, content=content, subject_uid=subject_uid, who=who, at=now)


def take(*, upload: Upload, now: datetime, subject_uid: UUID | None = None) -> None:
    """Mark a file as taken in, inside the transaction that writes what it holds. Raises `TakenError` the second time.

    ``subject_uid`` is what came of it, where there was nothing before.
    """
    subject = {} if subject_uid is None else {"subject_uid": subject_uid}
    # Of two at once the second waits here, and then finds nothing to take.
    if not Upload.objects.filter(pk=upload.pk, taken_at__isnull=True).update(taken_at=now, **subject):
        raise TakenError(upload)
    upload.refresh_from_db(fields=["taken_at", "subject_uid"])


def sweep(*, now: datetime) -> int:
    """Throw away what nobody took in for a week; the number thrown away."""
    old = Upload.objects.filter(taken_at__isnull=True, at__lt=now - KEPT_FOR)
    return old.delete()[0] if old.exists() else 0
