"""Many at once, each in a process of its own: one open clocking for each mechanic, one person where one is allowed, no errors.

RELIABILITY B-05, B-07, B-08. The figures of a run are printed; how many rounds there are is scaled down in the check.
"""

import json
import os
import sqlite3
import time
import uuid
from collections import Counter
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.db import connection, transaction
from django.db.models import Count
from django.test import Client
from django.utils import timezone

from shop.floor.models import Clocking, Tap
from shop.floor.selectors import minutes_by_task
from shop.floor.taps import take
from shop.people import tablets
from shop.people.models import User
from shop.people.roles import ROLE_MECHANIC
from shop.routes.models import Task
from tests.faults.processes import race
from tests.floor.conftest import person, task

LONG = os.environ.get("BAREFRAME_LONG") == "1"
pytestmark = [pytest.mark.django_db(transaction=True), *([pytest.mark.long] if LONG else [])]

PROCESSES = 8
MECHANICS = 1_000 if LONG else 20
ROUNDS = 1_000 if LONG else 10
WRITES = 500 if LONG else 25
BUSY = 2  # seconds that somebody reads meanwhile


def mechanics(count: int) -> list[User]:
    role = Group.objects.get_or_create(name=ROLE_MECHANIC)[0]
    found = [person(f"m{number}") for number in range(count)]
    for one in found:
        one.groups.add(role)
    return found


def tablet_secret() -> str:
    now = timezone.now()
    secret = tablets.enrol(code=tablets.begin_enrolment(name="Bench", who="boss", now=now), now=now)[1]
    on_a_tablet(secret).get("/floor/tap/")  # what a first request loads is loaded once, not in every process of a race
    return secret


def send(client: Client, who: User, to: Task, **more: Any) -> Any:
    sent = {"uid": str(uuid.uuid4()), "kind": "on", "person": str(who.uid), "task": str(to.uid)} | more
    return client.post("/floor/tap/", json.dumps(sent), content_type="application/json")


def on_a_tablet(secret: str) -> Client:
    client = Client(raise_request_exception=False)
    client.cookies[tablets.cookie_name()] = secret
    return client


def test_of_many_tablets_that_put_one_mechanic_on_one_wins_and_the_others_learn_who() -> None:
    people, secret = mechanics(MECHANICS), tablet_secret()
    tasks = [task(f"Task {number}") for number in range(PROCESSES)]

    def play(number: int) -> list[tuple[int, str]]:
        client = on_a_tablet(secret)
        answers = [send(client, who, tasks[number], seen="") for who in people]
        return [(answer.status_code, (answer.json().get("on") or {}).get("name", "")) for answer in answers]

    told = race(play, PROCESSES)
    counted = Counter(status for answers in told for status, _name in answers)
    print(f"{MECHANICS} mechanics, {PROCESSES} tablets each: answers {dict(counted)}")
    assert counted == {200: MECHANICS, 409: MECHANICS * (PROCESSES - 1)}
    open_rows = Clocking.objects.filter(ended_at=None).values("person").annotate(n=Count("pk"))
    assert [row["n"] for row in open_rows] == [1] * MECHANICS
    winners = dict(Clocking.objects.values_list("person", "task__name"))
    for place, who in enumerate(people):
        assert {answers[place][1] for answers in told} == {winners[who.pk]}
    assert Tap.objects.count() == MECHANICS * PROCESSES


@pytest.mark.control
def test_looking_before_writing_alone_puts_mechanics_on_twice() -> None:
    """What the constraint and the lock are for: the same race over a table that has neither."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE naive (person integer, task integer)")

    def play(number: int) -> None:
        for who in range(MECHANICS):
            with connection.cursor() as cursor:
                cursor.execute("SELECT count(*) FROM naive WHERE person = %s", [who])
                if not cursor.fetchone()[0]:
                    time.sleep(0.002)
                    cursor.execute("INSERT INTO naive VALUES (%s, %s)", [who, number])

    try:
        race(play, PROCESSES)
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM (SELECT person FROM naive GROUP BY person HAVING count(*) > 1) bad")
            assert cursor.fetchone()[0] > 0
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE naive")


def test_a_task_for_one_takes_one_and_a_task_for_all_takes_all() -> None:
    people, secret = mechanics(PROCESSES), tablet_secret()
    ovens = [task(f"Oven {number}", alone=True) for number in range(ROUNDS)]
    benches = [task(f"Bench {number}") for number in range(ROUNDS)]

    def play(number: int) -> list[int]:
        client = on_a_tablet(secret)
        return [send(client, people[number], to).status_code for to in ovens + benches]

    told = race(play, PROCESSES)
    assert {status for answers in told for status in answers} <= {200, 409}
    assert not Clocking.objects.filter(task__in=ovens, alone=False).exists()
    on_ovens = Clocking.objects.filter(task__in=ovens, ended_at=None).values("task").annotate(n=Count("pk"))
    assert {row["n"] for row in on_ovens} <= {1}
    for place, bench in enumerate(benches, start=ROUNDS):
        assert [answers[place] for answers in told] == [200] * PROCESSES
        assert Clocking.objects.filter(task=bench).count() == PROCESSES
    later = timezone.now() + timedelta(minutes=10)
    assert minutes_by_task([benches[-1].pk], now=later)[benches[-1].pk] in range(10 * PROCESSES, 11 * PROCESSES + 1)


def test_of_many_who_want_a_task_for_one_at_the_same_moment_one_gets_it() -> None:
    people, secret = mechanics(PROCESSES), tablet_secret()
    for number in range(ROUNDS // 3 or 1):
        oven = task(f"Oven {number}", alone=True)
        told = race(lambda place, to=oven: send(on_a_tablet(secret), people[place], to).status_code, PROCESSES)
        assert sorted(told) == [200] + [409] * (PROCESSES - 1)
        assert Clocking.objects.filter(task=oven, ended_at=None).count() == 1


def test_eight_tapping_beside_a_long_reader_are_never_told_that_it_is_locked() -> None:
    people = mechanics(PROCESSES)
    tasks = [task("One"), task("Other")]

    def play(number: int) -> tuple[Counter[int], float]:
        if number == PROCESSES:
            return _read_for_long()
        counted, longest = Counter[int](), 0.0
        for turn in range(WRITES):
            began = time.monotonic()
            kind, to = ("off", None) if turn % 3 == 2 else ("on", tasks[turn % 2])
            given = {"uid": uuid.uuid4(), "tablet": None, "device_at": None, "body": f"{number} {turn}"}
            answer = take(kind=kind, person=people[number], task=to, now=timezone.now(), **given)  # type: ignore[arg-type]
            counted[answer.status] += 1
            longest = max(longest, time.monotonic() - began)
        return counted, longest

    told = race(play, PROCESSES + 1)
    print(f"{PROCESSES} x {WRITES} taps: longest {max(longest for _counted, longest in told):.3f} s")
    assert sum((counted for counted, _longest in told), Counter()) == {200: PROCESSES * WRITES}
    assert Tap.objects.count() == PROCESSES * WRITES


def _read_for_long() -> tuple[Counter[int], float]:
    if connection.vendor == "sqlite":
        with sqlite3.connect(connection.settings_dict["NAME"]) as plain:
            plain.execute("BEGIN")
            plain.execute("SELECT count(*) FROM floor_tap").fetchone()
            time.sleep(BUSY)
    else:
        with transaction.atomic():
            Tap.objects.count()
            time.sleep(BUSY)
    return Counter(), 0.0
