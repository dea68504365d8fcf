"""All-day events as an iCalendar file (RFC 5545), no more of it than that takes. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

#: A line is at most so many octets, without what ends it (3.1).
WIDTH = 75
PRODUCT = "-//Bareframe//Vendor work//EN"


@dataclass(frozen=True, slots=True)
class AllDay:
    """``uid`` stays the same for the same thing; ``changed_at`` is when what is said of it last changed (3.8.7.2)."""

    uid: str
    on: date
    summary: str
    changed_at: datetime


def calendar(name: str, events: Iterable[AllDay]) -> bytes:
    """The file, in UTF-8. An all-day event ends on the day after it, which is not part of it (3.6.1)."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN", f"X-WR-CALNAME:{text(name)}"]
    for one in events:
        lines += [
            "BEGIN:VEVENT",
            f"UID:{text(one.uid)}",
            f"DTSTAMP:{one.changed_at.astimezone(UTC):%Y%m%dT%H%M%SZ}",
            f"DTSTART;VALUE=DATE:{one.on:%Y%m%d}",
            f"DTEND;VALUE=DATE:{one.on + timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{text(one.summary)}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def text(value: str) -> str:
    """A value of type TEXT: backslash, semicolon, comma and line breaks are escaped (3.3.11), other controls left out (3.1)."""
    plain = value.replace("\r\n", "\n").replace("\r", "\n")
    for sign in ("\\", ";", ","):
        plain = plain.replace(sign, f"\\{sign}")
    return "".join(one for one in plain.replace("\n", "\\n") if one == "\t" or (one >= " " and one != "\x7f"))


def folded(line: str) -> bytes:
    """A content line with its end; a long one goes on behind a line break and a space, never inside a character (3.1)."""
    found, room, so_far = [], WIDTH, b""
    for sign in line:
        octets = sign.encode()
        if len(so_far) + len(octets) > room:
            found.append(so_far)
            so_far, room = b"", WIDTH - 1
        so_far += octets
    return b"\r\n ".join([*found, so_far]) + b"\r\n"
