"""Redis may be absent, end, or freeze; Celery's processes may end; its messages may come again.

RELIABILITY D-06, D-07, D-08 (three restarts), D-09, D-11, D-13, D-18. Sources: Celery's documentation (brokers/redis "Caveats",
userguide/tasks, periodic-tasks) and what issues 4556, 5935, 8030, 9781 and 2856 of its project report.
"""

import pytest

from tests.faults.running import engines, needs_postgres, needs_redis, run

OF_REDIS = ["absent", "restarted", "frozen"]
OF_ROWS = ["slow", "ended", "pool_child", "beats"]


@needs_redis
@pytest.mark.redis
@pytest.mark.parametrize(
    ("engine", "upsets"),
    [("sqlite", OF_REDIS), ("sqlite", OF_ROWS), pytest.param("postgres", OF_ROWS, marks=needs_postgres)],
)
def test_each_upset_loses_and_doubles_nothing_and_its_broken_rule_shows(engine: str, upsets: list[str]) -> None:
    code, told = run("upsets", "--db", engine, "--times", "1", "--only", ",".join(upsets), patience=1200)
    assert {name: one["right"]["wrong"] for name, one in told.items()} == {name: [] for name in upsets}
    assert [name for name, one in told.items() if not one["control"]["wrong"]] == []
    assert code == 0


@engines
@needs_redis
@pytest.mark.redis
@pytest.mark.long
def test_a_redis_that_is_started_again_and_again_is_found_again(engine: str) -> None:
    """A hundred times; no process ends by it."""
    code, _told = run("upsets", "--db", engine, "--times", "98", "--only", "restarted", patience=1200)
    assert code == 0


@engines
@needs_redis
@pytest.mark.redis
@pytest.mark.long
def test_again_and_again(engine: str) -> None:
    code, _told = run("upsets", "--db", engine, "--times", "50", patience=3000)
    assert code == 0
