"""The bytes that a link of the chain covers. To change anything here is to break every chain there is."""

import hashlib
from datetime import UTC, datetime

from quotes.engine import canonical
from shop.journal.models import Entry

# What stands before the first link.
START = "0" * 64


def entry_bytes(entry: Entry) -> bytes:
    return canonical.dump(
        {
            "uid": str(entry.uid),
            "at": moment(entry.at),
            "who": entry.who,
            "what": entry.what,
            "subject": [entry.subject_type, str(entry.subject_uid), entry.subject_label],
            "before": entry.before,
            "after": entry.after,
            "reference": entry.reference,
        }
    )


def link_hash(*, previous: str, position: int, sealed_at: datetime, entry: Entry) -> str:
    head = f"{previous}\n{position}\n{moment(sealed_at)}\n".encode("ascii")
    return hashlib.sha256(head + entry_bytes(entry)).hexdigest()


def moment(at: datetime) -> str:
    """UTC with microseconds always, or whole seconds would be written another way."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")
