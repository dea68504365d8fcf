"""Learning over ten years of fifty mechanics: 1.3 million clockings, on both engines, read, learned and turned into suggestions.

The rows are laid in by the database itself, with the guards lifted for that: what is measured is reading, not writing.
"""

from collections.abc import Iterator

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, seconds

PEOPLE, BIKES, TASKS, STEPS, CLOCKINGS = 50, 3_000, 45, 3, 10

#: A row of numbers 0 to n − 1, and a uid, on each engine.
NUMBERS = {
    "sqlite": "(WITH RECURSIVE c(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM c WHERE n < {count} - 1) SELECT n FROM c)",
    "postgresql": "(SELECT generate_series(0, {count} - 1) AS n)",
}
UID = {"sqlite": "lower(hex(randomblob(16)))", "postgresql": "gen_random_uuid()"}
#: The minute ``m`` of the made years.
AT = {
    "sqlite": "datetime('2016-01-04 08:00:00', '+' || ({m}) || ' minutes')",
    "postgresql": "timestamptz '2016-01-04 08:00:00+00' + ({m}) * interval '1 minute'",
}


def lines() -> Iterator[str]:
    yield from with_both_engines("tests.bench.learning")


def _measured() -> Iterator[str]:
    from datetime import date

    from quotes.engine.learning.factors import learn
    from quotes.learning import suggesting, work

    today = date(2026, 3, 2)
    _lay_in(today)
    read: list[object] = []
    reading = seconds(lambda: read.append(work.tasks(today)), rounds=1, clock=WALL)
    tasks = work.tasks(today)
    clocked = BIKES * TASKS * CLOCKINGS
    learning = seconds(lambda: learn(tasks), rounds=1, clock=WALL)
    whole = seconds(lambda: suggesting.found(today=today), rounds=1, clock=WALL)
    yield (
        f"learning over {clocked:,} clockings on {len(tasks):,} tasks: read {reading:.1f} s, learned {learning:.1f} s,"
        f" all suggestions {whole:.1f} s (wanted: under 10 s)"
    )


def _lay_in(today: object) -> None:
    from django.db import connection

    from shop import guards
    from shop.people.models import User
    from shop.rates.loading import load_starter

    load_starter(guessed=False, today=today, who="bench", now=_now())  # type: ignore[arg-type]
    User.objects.bulk_create(User(username=f"bench{number}", first_name="Bench") for number in range(PEOPLE))
    operations = _operations()
    with guards.lifted():
        for statement in _statements(connection.vendor, operations):
            with connection.cursor() as cursor:
                cursor.execute(statement)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def _now() -> object:
    from django.utils import timezone

    return timezone.now()


def _operations() -> list[int]:
    from shop.methods.models import Operation

    return list(Operation.objects.exclude(measure="hour").order_by("pk").values_list("pk", flat=True))


def _statements(vendor: str, operations: list[int]) -> Iterator[str]:
    def numbers(count: int) -> str:
        return NUMBERS[vendor].format(count=count)

    def at(minutes: str) -> str:
        return AT[vendor].format(m=minutes)

    uid, now, false = UID[vendor], at("0"), {"sqlite": "0", "postgresql": "false"}[vendor]
    count = BIKES * TASKS
    # Whole numbers are divided to whole ones on both engines.
    operation = f"CASE n / {STEPS} % {{}} {{}} END".format(
        len(operations), " ".join(f"WHEN {at_} THEN {pk}" for at_, pk in enumerate(operations))
    )
    yield f"INSERT INTO restorations_customer (id, uid, name, address, email, phone) VALUES (1, {uid}, 'Made', '', '', '')"
    yield (
        "INSERT INTO restorations_machine (id, uid, maker, model, frame_number, engine_number, market)"
        f" VALUES (1, {uid}, 'Made', 'Made', '', '', '')"
    )
    yield (
        "INSERT INTO restorations_restoration (id, uid, customer_id, machine_id, title, begun_on, scope_version)"
        f" SELECT n + 1, {uid}, 1, 1, 'Made ' || n, '2016-01-04', 1 FROM {numbers(BIKES)} t"
    )
    yield (
        "INSERT INTO restorations_part (id, uid, restoration_id, position, depth, area_name, name, side, pieces, material,"
        " area, weight, openings, spokes, condition, deviation, tax, basis)"
        f" SELECT n + 1, {uid}, n + 1, 1, 0, '', 'Made', '', 2, 'steel', 4, 2, 3, 20, 'worn', '', 'standard', 'fixed'"
        f" FROM {numbers(BIKES)} t"
    )
    yield (
        "INSERT INTO routes_step (id, uid, part_id, position, origin, operation_id, fail_chance, scrap_chance, replacement_minor,"
        " buy, buy_source, buy_price_minor, buy_handling, buy_lead_days, buy_status, buy_said_by, buy_core_minor, visit, quantity)"
        f" SELECT n + 1, {uid}, n / {TASKS * STEPS} + 1, n % {TASKS * STEPS}, 'before',"
        f" {operation}, 0, 0, 0, '', '', 0, 0, 0, 'guessed', '', 0, 1,"
        f" 1 + n % 7 FROM {numbers(count * STEPS)} t"
    )
    yield (
        "INSERT INTO routes_task (id, uid, kind, name, restoration_id, area_name, alone, by_hand, key, made_at)"
        f" SELECT n + 1, {uid}, 'bike', 'Made', n / {TASKS} + 1, '', {false}, {false}, '', {now}"
        f" FROM {numbers(count)} t"
    )
    yield (
        "INSERT INTO routes_taskstep (id, task_id, step_id, visit)"
        f" SELECT n + 1, n / {STEPS} + 1, n + 1, 1 FROM {numbers(count * STEPS)} t"
    )
    yield (
        "INSERT INTO routes_done (id, uid, step_id, visit, at, who, undone_by)"
        f" SELECT n + 1, {uid}, n + 1, 1, {now}, 'bench', '' FROM {numbers(count * STEPS)} t"
    )
    task, turn = f"n / {CLOCKINGS}", f"n % {CLOCKINGS}"
    minute = f"{task} / {PEOPLE} * 300 + {turn} * 28"
    length = f"4 + ({task} * 7 + n) % 23"
    people = "(SELECT min(id) FROM people_user WHERE first_name = 'Bench')"
    yield (
        "INSERT INTO floor_clocking (id, uid, person_id, task_id, began_at, ended_at, how, ended_how, alone, through_breaks,"
        f" recorded_by) SELECT n + 1, {uid}, {people} + {task} % {PEOPLE}, {task} + 1, {at(minute)}, {at(f'{minute} + {length}')},"
        f" 'tap', 'tap', {false}, {false}, 'bench' FROM {numbers(count * CLOCKINGS)} t"
    )


def main() -> None:
    with made_shop():
        for line in _measured():
            print(line)


if __name__ == "__main__":
    main()
