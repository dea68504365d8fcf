"""Fifty tablets that tap at once, each once within a second, ten rounds, against the whole service over SQLite; and one tap
beside a bare view that somebody signed in has insert one row."""

import http.client
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, side_by_side
from tests.served import ROOT, served

TABLETS, ROUNDS = 50, 10
TOKEN = "a" * 32
TARGET_P99, TARGET_RATIO = 400, 4

MAKE = """
import json, django
django.setup()
from django.contrib.auth.models import Group
from django.utils import timezone
from shop.people import tablets
from shop.people.models import User
from shop.routes.models import Task
now, role, made = timezone.now(), Group.objects.get(name="mechanic"), []
tasks = [Task.objects.create(name=f"Measured {n}", kind="indirect", made_at=now) for n in range(5)]
for n in range(%d):
    who = User.objects.create(username=f"bench{n}", first_name=f"Bench {n}")
    who.groups.add(role)
    code = tablets.begin_enrolment(name=f"Tablet {n}", who="bench", now=now)
    made.append([tablets.enrol(code=code, now=now)[1], str(who.uid)])
print(json.dumps({"hands": made, "tasks": [str(task.uid) for task in tasks]}))
"""


def lines() -> Iterator[str]:
    yield from at_once()
    yield from with_both_engines("tests.bench.taps")


def at_once() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), "--empty") as shop:
        environment = os.environ | {"BAREFRAME_HOME": folder, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        environment.pop("BAREFRAME_DATABASE", None)
        code = MAKE % TABLETS
        made = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, check=True)
        there = json.loads(made.stdout)
        answers: list[tuple[int, float]] = []
        for number in range(ROUNDS):
            answers += _round(urlsplit(shop.address).netloc, there, number)
    times = sorted(taken for _status, taken in answers)
    counted = Counter(status for status, _taken in answers)
    errors = sum(count for status, count in counted.items() if status != 200)
    p50, p99 = (times[int(len(times) * share)] * 1e3 for share in (0.5, 0.99))
    yield (
        f"{TABLETS} tablets, each once within a second, {ROUNDS} rounds, the whole service over SQLite: {errors} errors "
        f"(target 0), p50 {p50:.0f} ms, p99 {p99:.0f} ms (target {TARGET_P99} ms), answers {dict(counted)}"
    )


def _round(address: str, there: dict[str, Any], number: int) -> list[tuple[int, float]]:
    answers: list[tuple[int, float]] = []
    threads = [
        threading.Thread(target=_tap, args=(address, *hand, there["tasks"][(number + place) % 5], answers))
        for place, hand in enumerate(there["hands"])
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def _tap(address: str, secret: str, person: str, task: str, answers: list[tuple[int, float]]) -> None:
    time.sleep(random.random())
    body = json.dumps({"uid": str(uuid.uuid4()), "kind": "on", "person": person, "task": task})
    cookies = f"tablet={secret}; csrftoken={TOKEN}"
    head = {"Content-Type": "application/json", "Cookie": cookies, "X-CSRFToken": TOKEN}
    began = time.perf_counter()
    try:
        line = http.client.HTTPConnection(address, timeout=30)
        line.request("POST", "/floor/tap/", body, head)
        answer = line.getresponse()
        answer.read()
        status = answer.status
        line.close()
    except OSError:
        status = 0
    answers.append((status, time.perf_counter() - began))


def main() -> None:
    """A tap and a bare insert, in turns, on the engine of the environment."""
    with made_shop():
        from django.contrib.auth.models import Group
        from django.http import HttpRequest, HttpResponse
        from django.test import Client
        from django.urls import path
        from django.utils import timezone

        import shop.urls
        from shop.floor.models import Tap
        from shop.people.models import User
        from shop.routes.models import Task

        people = [User.objects.create(username=f"bench{n}", first_name=f"Bench {n}") for n in range(2)]
        for who in people:
            who.groups.add(Group.objects.get(name="mechanic"))
        tasks = [Task.objects.create(name=f"T{n}", kind="indirect", made_at=timezone.now()) for n in range(2)]

        def bare(request: HttpRequest) -> HttpResponse:
            now = timezone.now()
            Task.objects.create(name=str(uuid.uuid4()), kind="walk_in", made_at=now)
            return HttpResponse(request.user.get_username())

        shop.urls.urlpatterns.insert(0, path("bare/", bare))
        client = Client()
        client.force_login(people[0])
        turn = iter(range(10**6))

        def tap() -> None:
            sent = {"uid": str(uuid.uuid4()), "kind": "on", "person": str(people[0].uid)}
            client.post(
                "/floor/tap/",
                json.dumps(sent | {"task": str(tasks[next(turn) % 2].uid)}),
                content_type="application/json",
            )

        floor, taken = side_by_side(lambda: client.post("/bare/"), tap, rounds=100, clock=WALL)
        assert Tap.objects.filter(state="applied").count() == 100
        print(
            f"a tap that switches {taken * 1e3:.1f} ms, {taken / floor:.1f} times (target {TARGET_RATIO}) a bare signed-in "
            f"insert of one row ({floor * 1e3:.1f} ms), medians of 100 in turns"
        )


if __name__ == "__main__":
    main()
