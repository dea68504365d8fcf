"""Twenty thousand due at once, with pages looked at meanwhile: how long it takes, and what it does to the pages.

Reminders are raised, and then as many rows of the outbox delivered, by a process of its own, as in a shop; this one looks at
a page again and again. On two cores.
"""

import os
import sys
import time
from collections.abc import Callable, Iterator
from statistics import median

DUE = 20_000
#: Rows of the outbox are delivered one by one; of so many the time for all is reckoned, as all take minutes.
ROWS = 2_000
LOOKS = 40
TARGET, MINUTES = 1.5, 10


def lines() -> Iterator[str]:
    import subprocess

    from tests.faults import stage

    for engine in ["sqlite", *(["postgres"] if not stage.postgres_trouble() else [])]:
        command = [sys.executable, "-m", "tests.bench.backlog", engine]
        ran = subprocess.run(command, capture_output=True, text=True, check=True)
        yield from (f"{engine}: {line}" for line in ran.stdout.splitlines())


def main(engine: str) -> None:
    from tests.faults import stage

    with stage.home(engine, ""):
        stage.build()
        _play()
        stage.leave_database()


def _play() -> None:
    from django.test import Client
    from django.utils import timezone

    from shop.outbox import handlers
    from shop.outbox.models import Row
    from shop.people.models import Shop, User
    from shop.vendor_jobs.models import Reminder
    from shop.vendor_jobs.reminding.raising import raise_reminders
    from tests.bench import reminders
    from tests.faults import roles

    Shop.objects.create(name="Low Mill", country="IE", currency="EUR")
    client = Client()
    client.force_login(User.objects.create_superuser(username="manager", password="far from any wordlist 7"))
    reminders.fill()

    def look() -> float:
        start = time.perf_counter()
        answer = client.get("/reminders/", headers={"host": "localhost"})
        assert answer.status_code == 200, (answer.status_code, answer.headers)
        return time.perf_counter() - start

    def raised() -> None:
        raise_reminders(now=timezone.now())

    def deliver() -> None:
        from shop.outbox import services

        while due := services.due_rows(now=timezone.now()):
            for row_id in due:
                services.deliver(row_id, now=timezone.now(), worker="bench")

    _tell(DUE, "reminders raised", look, raised)
    assert Reminder.objects.count() == DUE, Reminder.objects.count()
    handlers.register("note", roles.nothing, handlers.HERE)
    now = timezone.now()
    rows = (Row(key=f"k/{number}", handler="note", payload="{}", due_at=now, created_at=now) for number in range(ROWS))
    Row.objects.bulk_create(rows, batch_size=500)
    _tell(ROWS, "rows delivered", look, deliver)
    assert Row.objects.filter(state="done").count() == ROWS


def _tell(count: int, what: str, look: Callable[[], float], work: Callable[[], None]) -> None:
    from django.db import connections

    from tests.faults.kill_loop import fork

    look()
    idle = [look() for _look in range(LOOKS)]
    connections.close_all()
    start, pid, busy = time.perf_counter(), fork(work), []
    while not os.waitpid(pid, os.WNOHANG)[0]:
        busy.append(look())
        time.sleep(0.05)  # as somebody who looks, not as a flood
    took = time.perf_counter() - start
    worst = [sorted(some)[int(0.95 * len(some))] for some in (busy, idle)]
    print(
        f"{count} {what} in {took:.0f} s, {DUE} would take {took * DUE / count:.0f} s (target {MINUTES * 60} s); "
        f"a page meanwhile {median(busy) / median(idle):.2f} times as when "
        f"idle, of the slowest twentieth {worst[0] / worst[1]:.2f} times (target {TARGET}), {len(busy)} looks",
        flush=True,
    )


if __name__ == "__main__":
    main(sys.argv[1])
