"""A process that ends at the worst moment leaves one effect, or one row that says "unknown" (RELIABILITY D-04).

Source of the method: SQLite's crash tests (sqlite.org/testing.html), which break off at each step in turn.
"""

import pytest

from tests.faults.running import engines, needs_redis, run

POINTS, CASES = 14, 19


@engines
@needs_redis
@pytest.mark.redis
def test_wherever_a_process_ends_there_is_one_effect_or_one_unknown_row_and_broken_rules_show(engine: str) -> None:
    code, figures = run("points", "--db", engine, "--controls")
    assert (figures["points"], figures["right"], figures["kills"]) == (POINTS, POINTS, CASES)
    assert figures["one effect"] + figures["one unknown"] == CASES
    well = figures["controls that came out well"]
    assert (len(well), [name for name in well if well[name]]) == (5, [])
    assert code == 0


@engines
@needs_redis
@pytest.mark.redis
@pytest.mark.long
def test_twenty_times_over(engine: str) -> None:
    code, figures = run("points", "--db", engine, "--times", "20", patience=3000)
    assert (code, figures["right"], figures["kills"]) == (0, POINTS, CASES * 20)
