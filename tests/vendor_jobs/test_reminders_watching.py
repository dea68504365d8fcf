"""The sweep finds what is due: cheaply where nothing changed, once where many look, and late where nobody could look."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import override_settings
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.outbox.models import Heartbeat
from shop.restorations.models import Part
from shop.vendor_jobs.models import Order, Reminder, Supplier
from shop.vendor_jobs.reminding.raising import raise_reminders
from shop.vendor_jobs.reminding.watching import FOUND, mend
from shop.vendor_jobs.sending import Told, told_new_day
from tests.faults.processes import race
from tests.vendor_jobs.lots import DUE, sent
from tests.vendor_jobs.reminded import at, noon, utc

ONE, MINUTE = timedelta(days=1), timedelta(minutes=1)
FEW = 6


def overdue() -> int:
    return Reminder.objects.filter(kind="overdue", level=0).count()


def swept(now: datetime) -> int:
    """How many queries a sweep took."""
    with CaptureQueriesContext(connection) as asked:
        mend(now=now)
    return len(asked)


@pytest.mark.django_db
def test_where_nothing_changed_a_sweep_takes_few_queries(levers: Part) -> None:
    sent(levers)
    now = noon(DUE + ONE)
    first = swept(now)
    assert overdue() == 1
    again = [swept(now + number * MINUTE) for number in range(1, 15)]
    assert (max(again) <= FEW, first > 3 * FEW) == (True, True), (first, again)
    assert swept(now + 14 * MINUTE + timedelta(seconds=5)) == 1, "not more often than once a minute"


@pytest.mark.django_db
def test_what_changed_is_found_within_a_minute(levers: Part) -> None:
    job = sent(levers)
    now = noon(DUE + ONE)
    mend(now=now)
    told_new_day(job=job, told=Told(DUE + 7 * ONE), told_on=DUE + ONE, **at(DUE + ONE))
    mend(now=now + MINUTE)
    assert Reminder.objects.get(kind="overdue").settled == "itself"


@pytest.mark.django_db
def test_who_died_in_the_middle_is_followed_by_the_next(levers: Part, monkeypatch: pytest.MonkeyPatch) -> None:
    from shop.vendor_jobs.reminding import watching

    sent(levers)

    def dies(**_: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(watching, "raise_reminders", dies)
        with pytest.raises(KeyboardInterrupt):
            mend(now=noon(DUE + ONE))
    assert not Heartbeat.objects.filter(name=FOUND).exists()
    mend(now=noon(DUE + ONE) + MINUTE)
    assert overdue() == 1


@pytest.mark.django_db
def test_stopped_over_the_day_the_service_tells_it_once_when_it_is_back(levers: Part) -> None:
    """RELIABILITY D-09, in process: nobody looked from the day it left until days after it was due."""
    sent(levers)
    back = noon(DUE + 4 * ONE)
    for minute in range(3):
        mend(now=back + minute * MINUTE)
    rows = Reminder.objects.exclude(kind="may_leave")
    assert list(rows.values_list("kind", "level")) == [("overdue", 0)]


@pytest.mark.django_db
def test_many_due_at_once_take_few_statements_and_nothing_where_all_are_known() -> None:
    """RELIABILITY D-17, what can be counted: rows go in together, as many as a statement of SQLite takes."""
    count, together = 1_000, 50
    told = {"ordered_on": DUE, "due_on": DUE, "at": noon(DUE), "recorded_by": "ada"}
    supplier = Supplier.objects.create(name="Marsh Spares")
    Order.objects.bulk_create(Order(number=number, supplier=supplier, **told) for number in range(1, count + 1))
    first, again = (_statements(DUE + ONE) for _ in range(2))
    assert Reminder.objects.count() == count
    assert len(first) < 40 + count / together
    assert [sql for sql in again if not sql.startswith("SELECT")] == []


def _statements(day: date) -> list[str]:
    with CaptureQueriesContext(connection) as asked:
        raise_reminders(now=noon(day))
    return [one["sql"] for one in asked]


@pytest.mark.django_db(transaction=True)
def test_three_who_find_at_once_make_one_row_of_each_event(levers: Part) -> None:
    """RELIABILITY D-09: more than one looks, each in a process of its own."""
    sent(levers)
    for late in (1, 2, 6):
        now = noon(DUE + late * ONE)
        race(lambda _place, now=now: raise_reminders(now=now), 3)
    assert overdue() == 1
    assert Reminder.objects.filter(kind="overdue", level=1).count() == 1


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_looking_before_writing_alone_would_double_them() -> None:
    """What the unique key is for: the same race over a table without one."""
    import time

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bare_reminder (key varchar(60))")

    def find(_place: int) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM bare_reminder")
            if not cursor.fetchone()[0]:
                time.sleep(0.2)
                cursor.execute("INSERT INTO bare_reminder VALUES ('overdue')")

    try:
        race(find, 3)
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM bare_reminder")
            assert cursor.fetchone()[0] > 1
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE bare_reminder")


# -- the shop's own day (RELIABILITY D-16) -------------------------------------------------------------------------------------

#: Zone, the day its clocks change in 2026, and the moment in UTC at which that day begins there (the tz database).
CHANGES = [
    ("Europe/Berlin", date(2026, 3, 29), utc(2026, 3, 28, 23, 0)),
    ("Europe/Berlin", date(2026, 10, 25), utc(2026, 10, 24, 22, 0)),
    ("America/New_York", date(2026, 3, 8), utc(2026, 3, 8, 5, 0)),
    ("America/New_York", date(2026, 11, 1), utc(2026, 11, 1, 4, 0)),
    ("Australia/Lord_Howe", date(2026, 4, 5), utc(2026, 4, 4, 13, 0)),
    ("Australia/Lord_Howe", date(2026, 10, 4), utc(2026, 10, 3, 13, 30)),
    ("Asia/Kolkata", date(2026, 3, 29), utc(2026, 3, 28, 18, 30)),  # whose clocks never change
]


@contextmanager
def zone(name: str) -> Iterator[None]:
    with override_settings(TIME_ZONE=name), timezone.override(name):
        yield


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "day", "begins"), CHANGES)
def test_a_day_on_which_clocks_change_comes_once_and_begins_when_the_shop_says(
    levers: Part, name: str, day: date, begins: datetime
) -> None:
    """Half an hour before its midnight it is not due; from midnight on it is; through the change and after it is told once."""
    job = sent(levers)
    with zone(name):
        told_new_day(job=job, told=Told(day), told_on=DUE, **at(DUE))
        raise_reminders(now=begins - timedelta(minutes=30))
        due = Reminder.objects.filter(kind="due_today")
        assert due.count() == 0
        for hour in (0, 1, 2, 3, 4, 13, 25):
            raise_reminders(now=begins + timedelta(minutes=1, hours=hour))
        assert due.count() == 1
        assert timezone.localdate(due.get().raised_at) == day
        assert due.get().raised_at == begins + timedelta(minutes=1)


@pytest.mark.control
@pytest.mark.django_db
def test_by_the_day_of_utc_it_would_come_at_the_wrong_hour(levers: Part) -> None:
    name, day, begins = CHANGES[4]
    job = sent(levers)
    with zone(name):
        told_new_day(job=job, told=Told(day), told_on=DUE, **at(DUE))
    with zone("UTC"):
        raise_reminders(now=begins + timedelta(minutes=1))
        assert not Reminder.objects.filter(kind="due_today").exists()
