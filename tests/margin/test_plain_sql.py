"""Costs worked out a second time in plain SQL from the rows of the floor and of vendors, for random shops (RELIABILITY M-05, M-06).

The second implementation knows no entry, no service and no engine: minutes are differences of whole minutes on the UTC line, an
hour costs the newest rate of the person's newest grade, halves are rounded up, a vendor's work costs its bills.
"""

import os
import random
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.db.models import F, Sum

from quotes.margin import closing, posting
from quotes.margin.models import AMOUNTS, Close, CostEntry
from shop.floor.corrections import Row, correct
from shop.floor.models import Clocking
from shop.people.grading import grade_person
from shop.people.models import Grade, User
from shop.rates.services import note_grade_rate
from shop.restorations.models import Restoration
from shop.routes.models import Task
from shop.vendor_jobs.models import Charge, Job, Line
from tests.margin.jobs import accept, bike, lever_step
from tests.workshop import NOW, SINCE, WHO, Workshop, workshop

LONG = os.environ.get("BAREFRAME_LONG") == "1"
SHOPS = 1_000 if LONG else 12
pytestmark = [pytest.mark.django_db(transaction=True), *([pytest.mark.long] if LONG else [])]
BEGIN = datetime(2026, 3, 2, 7, tzinfo=UTC)
MONDAYS = [date(2026, 3, 2) + timedelta(days=7 * number) for number in range(3)]
AFTER = datetime(2026, 3, 24, 8, tzinfo=UTC)

MINUTES = {
    "sqlite": "CAST(strftime('%s', ended_at) AS INTEGER) / 60 - CAST(strftime('%s', began_at) AS INTEGER) / 60",
    "postgresql": "FLOOR(EXTRACT(EPOCH FROM ended_at) / 60) - FLOOR(EXTRACT(EPOCH FROM began_at) / 60)",
}
DAY = {"sqlite": "date(began_at)", "postgresql": "CAST(began_at AT TIME ZONE 'UTC' AS date)"}
#: By task: whole minutes, and what each clocking costs, rounded half up before it is added.
LABOUR = """
    SELECT task_id, SUM(minutes), SUM(FLOOR((2 * minutes * rate + 60) / 120))
    FROM (
        SELECT task_id, {minutes} AS minutes, (
            SELECT rate.cost_rate_minor FROM rates_graderate rate
            WHERE rate.valid_from <= {day} AND rate.grade_id = (
                SELECT own.grade_id FROM people_persongrade own
                WHERE own.person_id = floor_clocking.person_id AND own.since <= {day}
                ORDER BY own.since DESC, own.id DESC LIMIT 1
            )
            ORDER BY rate.valid_from DESC, rate.revision DESC LIMIT 1
        ) AS rate
        FROM floor_clocking WHERE superseded_at IS NULL AND ended_at IS NOT NULL
    ) clocked
    GROUP BY task_id
"""
BILLS = "SELECT COALESCE(SUM(net_minor), 0) FROM vendor_jobs_charge"


@pytest.fixture
def bikes(transactional_db: None) -> list[Restoration]:
    shop = workshop()
    found = [bike(shop, f"Heron {number}") for number in range(2)]
    for of in found:
        accept(of)
    _cast(shop)
    posting.everything(now=NOW)
    return found


def _cast(shop: Workshop) -> None:
    apprentice = Grade.objects.create(name="apprentice")
    for grade, day, rate in (
        (apprentice, SINCE, "14.37"),
        (apprentice, date(2026, 3, 9), "15.11"),
        (shop.grade, date(2026, 3, 12), "31.49"),
    ):
        note_grade_rate(grade=grade, valid_from=day, cost_rate=Decimal(rate), charge_rate=Decimal(60), **WHO)
    for name in ("ann", "bo", "cy"):
        person = User.objects.create(username=name)
        grade_person(person=person, grade=apprentice if name == "bo" else shop.grade, since=SINCE, **WHO)
    grade_person(person=User.objects.get(username="bo"), grade=shop.grade, since=date(2026, 3, 17), **WHO)


def _played(chance: random.Random, bikes: list[Restoration]) -> None:
    """Three weeks of random clockings, some corrected, and vendor jobs charged, some of it taken back."""
    tasks = list(Task.objects.filter(restoration__in=bikes))
    for person in User.objects.filter(username__in=["ann", "bo", "cy"]):
        at = BEGIN
        while at < BEGIN + timedelta(days=20):
            at += timedelta(seconds=chance.randint(60, 150_000))
            until = at + timedelta(seconds=chance.randint(0, 30_000))
            row = Clocking.objects.create(
                person=person,
                task=chance.choice(tasks),
                began_at=at,
                ended_at=until,
                ended_how="tap",
                recorded_by=person.username,
            )
            if chance.random() < 0.2 and until - at > timedelta(minutes=2):
                middle = at + (until - at) / 2
                rows = [Row(row.task, at, middle), Row(chance.choice(tasks), middle, until)]
                correct(person=person, replaced=[row], rows=rows, reason="Split", who="ada", now=AFTER)
            at = until
    for number, of in enumerate(bikes, start=1):
        step = lever_step(of)
        job = Job.objects.create(
            number=900 + number,
            service=step.service,
            made_at=NOW,
            made_by="ada",
            sent_on=MONDAYS[0],
            sent_at=NOW,
            sent_by="ada",
        )
        given = {"outcome": "good", "back_on": MONDAYS[1], "looked_by": "Bea", "settled_at": AFTER, "settled_by": "ada"}
        Line.objects.create(job=job, step=step, pieces=4, **given)
        for _time in range(chance.randint(1, 3)):
            bill = {"net_minor": chance.randint(1, 9_000), "on": chance.choice(MONDAYS), "at": AFTER}
            charge = Charge.objects.create(job=job, recorded_by="ada", **bill)
            if chance.random() < 0.4:
                Charge.objects.create(
                    job=job, recorded_by="ada", **(bill | {"net_minor": -bill["net_minor"]}), reverses=charge
                )


def _sql(query: str) -> list[tuple[int, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return [tuple(int(value) for value in row) for row in cursor.fetchall()]


def _check() -> None:
    """Labour by task and all vendor work are what plain SQL makes of them; weeks add up to the shop."""
    vendor = connection.vendor
    wanted = {
        task: (minutes * 60, cost)
        for task, minutes, cost in _sql(LABOUR.format(minutes=MINUTES[vendor], day=DAY[vendor]))
    }
    clocked = dict(Clocking.objects.values_list("pk", "task"))
    found: dict[int, tuple[int, int]] = {}
    rows = CostEntry.objects.filter(source="clocking").values_list("source_id", "seconds", "labour_minor")
    for key, seconds, cost in rows:
        before = found.get(clocked[key], (0, 0))
        found[clocked[key]] = before[0] + seconds, before[1] + cost
    assert {task: sums for task, sums in found.items() if any(sums)} == {
        task: sums for task, sums in wanted.items() if any(sums)
    }
    vendors = CostEntry.objects.filter(source="vendor").aggregate(sum=Sum("vendor_minor"))["sum"] or 0
    agreed = CostEntry.objects.filter(source="vendor", provisional=True).aggregate(sum=Sum("vendor_minor"))["sum"] or 0
    assert vendors - agreed == _sql(BILLS)[0][0]
    whole = sum(F(name) for name in AMOUNTS)
    by_week = CostEntry.objects.filter(close__isnull=False).order_by().values("close").annotate(sum=Sum(whole))
    by_bike = CostEntry.objects.filter(close__isnull=False).order_by().values("restoration").annotate(sum=Sum(whole))
    every = CostEntry.objects.filter(close__isnull=False).aggregate(sum=Sum(whole))["sum"]
    assert sum(row["sum"] for row in by_week) == sum(row["sum"] for row in by_bike) == every
    kept = {row.pk: row.ledger.aggregate(sum=Sum("amount_minor"))["sum"] or 0 for row in Close.objects.all()}
    assert set(kept.values()) <= {0}


def test_plain_sql_comes_to_the_same_costs(bikes: list[Restoration]) -> None:
    for seed in range(SHOPS):
        with transaction.atomic():
            _played(random.Random(seed), bikes)
            posting.everything(now=AFTER)
            for monday in MONDAYS:
                closing.close_week(week=monday, who="ada", now=AFTER)
            _check()
            transaction.set_rollback(True)


@pytest.mark.control
def test_an_entry_more_or_less_is_seen(bikes: list[Restoration]) -> None:
    with transaction.atomic():
        _played(random.Random(1), bikes)
        posting.everything(now=AFTER)
        for monday in MONDAYS:
            closing.close_week(week=monday, who="ada", now=AFTER)
        one = CostEntry.objects.filter(source="clocking", reverses=None).first()
        assert one is not None
        CostEntry.objects.create(
            source="clocking",
            source_id=one.source_id,
            revision=9,
            position=1,
            nature=one.nature,
            on=one.on,
            posted_at=AFTER,
            labour_minor=1,
            close=one.close,
        )
        with pytest.raises(AssertionError):
            _check()
        transaction.set_rollback(True)
