"""The calendar's address: its secret, who it opens for, and a file as RFC 5545 asks for it."""

import hashlib
import logging
import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client

from shop.logs import Line
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MECHANIC
from shop.restorations.models import Part
from shop.vendor_jobs.models import Feed
from shop.vendor_jobs.reminding import feeds
from shop.vendor_jobs.reminding.icalendar import AllDay, calendar, folded, text
from tests.vendor_jobs.lots import DUE, planned, sent
from tests.vendor_jobs.reminded import noon
from tests.workshop import NOW, TODAY

STAMP = datetime(2026, 3, 2, 10, 30, tzinfo=UTC)


def read(file: bytes) -> list[str]:
    """Content lines, unfolded as 3.1 says: a line break followed by a space is nothing."""
    assert file.endswith(b"\r\n")
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75
    return file.replace(b"\r\n ", b"").decode().removesuffix("\r\n").split("\r\n")


def test_an_all_day_event_as_the_standard_writes_it() -> None:
    """RFC 5545, 3.6.1 (DTEND is the day after, and not part of it), 3.8.4.7 (UID), 3.8.7.2 (DTSTAMP in UTC)."""
    lines = read(calendar("Vendor work", [AllDay("due-1@shop", date(2026, 12, 31), "V1 due", STAMP)]))
    assert lines[:2] == ["BEGIN:VCALENDAR", "VERSION:2.0"]
    assert lines[-1] == "END:VCALENDAR"
    inside = lines[lines.index("BEGIN:VEVENT") : lines.index("END:VEVENT")]
    assert inside[1:6] == [
        "UID:due-1@shop",
        "DTSTAMP:20260302T103000Z",
        "DTSTART;VALUE=DATE:20261231",
        "DTEND;VALUE=DATE:20270101",
        "SUMMARY:V1 due",
    ]


def test_text_is_escaped() -> None:
    """RFC 5545, 3.3.11: backslash, semicolon, comma and line breaks; its own example of a text with all three."""
    given = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert text(given) == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert text("a;b,c\\d") == r"a\;b\,c\\d"
    assert text("a\r\nEND:VEVENT\rb\x00\x1b") == r"a\nEND:VEVENTb".replace("b", r"\nb")


@pytest.mark.parametrize(
    "said", ["x" * 74, "x" * 75, "x" * 76, "x" * 400, "ä" * 100, "漢" * 60, "🏍" * 50, "a" + "🏍" * 40]
)
def test_long_lines_are_folded_at_75_octets_and_never_inside_a_character(said: str) -> None:
    """RFC 5545, 3.1."""
    whole = folded(said)
    assert all(len(line) <= 75 for line in whole.split(b"\r\n"))
    for line in whole.removesuffix(b"\r\n").split(b"\r\n"):
        line.decode()
    assert read(whole) == [said]
    assert (b"\r\n " in whole) == (len(said.encode()) > 75)


@pytest.mark.control
def test_folding_by_characters_would_break_the_line_length() -> None:
    said = "ä" * 70
    assert len(said) <= 75 < len(said.encode())


# -- the address -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def ada(db: None) -> User:
    row = User.objects.create(username="ada")
    row.groups.set([Group.objects.get_or_create(name=ROLE_DESK)[0]])
    return row


def opened(secret: str) -> int:
    return Client().get(f"/due/{secret}.ics").status_code


def test_only_the_hash_of_a_secret_of_256_bits_is_kept(ada: User) -> None:
    secret = feeds.make(person=ada, who="ada", now=NOW)
    assert len(secret) >= 43
    assert Feed.objects.get().secret_sha256 == hashlib.sha256(secret.encode()).hexdigest()
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            assert secret not in repr(cursor.fetchall()), table


def test_a_new_address_ends_the_old_one_and_an_ended_one_opens_nothing(ada: User) -> None:
    old = feeds.make(person=ada, who="ada", now=NOW)
    new = feeds.make(person=ada, who="ada", now=NOW)
    assert (opened(old), opened(new), opened(new + "x"), opened("x" * 500)) == (404, 200, 404, 404)
    feeds.end(person=ada, who="ada", now=NOW)
    feeds.end(person=ada, who="ada", now=NOW)
    assert opened(new) == 404


def test_it_opens_for_whom_vendor_work_is(ada: User) -> None:
    secret = feeds.make(person=ada, who="ada", now=NOW)
    ada.groups.set([Group.objects.get_or_create(name=ROLE_MECHANIC)[0]])
    assert opened(secret) == 404
    ada.groups.set([Group.objects.get(name=ROLE_DESK)])
    assert opened(secret) == 200
    User.objects.update(is_active=False)
    assert opened(secret) == 404


def test_it_is_only_read(ada: User) -> None:
    secret = feeds.make(person=ada, who="ada", now=NOW)
    assert Client().post(f"/due/{secret}.ics").status_code == 405
    answer = Client().get(f"/due/{secret}.ics")
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert (answer["Cache-Control"], answer["Referrer-Policy"]) == ("private, no-store", "no-referrer")


def test_the_secret_is_in_no_line_of_the_log(ada: User) -> None:
    secret = feeds.make(person=ada, who="ada", now=NOW)
    given = logging.LogRecord("django.request", logging.WARNING, "", 1, "Not Found: %s", (f"/due/{secret}.ics",), None)
    assert secret in given.getMessage()
    assert Line().format(given) == "Not Found: /due/…"


def test_it_names_lots_vendors_and_days_and_neither_money_nor_customers(ada: User, levers: Part) -> None:
    sent(levers)
    lines = read(feeds.file(now=noon(TODAY)))
    assert "SUMMARY:V1 due back from Brook Platers (Zinc plate)" in lines
    assert f"DTSTART;VALUE=DATE:{DUE:%Y%m%d}" in lines
    whole = "\n".join(lines)
    for told in (levers.restoration.customer.name, levers.restoration.title, "50.00", "€"):
        assert told not in whole


def test_the_same_lot_has_the_same_uid_day_after_day(levers: Part) -> None:
    job = planned(levers, leave_on=DUE)
    first, later = (feeds.file(now=noon(TODAY + timedelta(days=number))).decode() for number in (0, 1))
    uids = re.findall(r"UID:(\S+)", first)
    assert uids == [f"leave-{job.uid}@bareframe"]
    assert re.findall(r"UID:(\S+)", later) == uids
