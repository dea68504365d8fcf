"""Kill -9 anywhere loses nothing and doubles nothing (RELIABILITY D-01, D-02, D-05, B-01).

Source of the promise: Celery's documentation, userguide/tasks ("worker can be killed"), and the transactional outbox
pattern. What was acknowledged is what a writer printed after its commit had returned, read raw from a pipe.
"""

from typing import Any

import pytest

from tests.faults.kill_loop import Figures
from tests.faults.running import engines, needs_postgres, needs_redis, run

WRONG = ("lost", "without_row", "unsent", "doubled", "unasked", "files_missing", "not_done", "unexplained")


def assert_nothing_lost_or_doubled(code: int, figures: dict[str, Any]) -> None:
    assert {name: figures[name] for name in WRONG} == dict.fromkeys(WRONG, 0)
    assert (figures["journal"], figures["database"]) == ("", "ok")
    assert code == 0
    assert figures["acknowledged"] > figures["cycles"]


@engines
def test_twenty_five_kills_lose_and_double_nothing(engine: str) -> None:
    code, figures = run("kill_loop", "--cycles", "25", "--db", engine)
    assert_nothing_lost_or_doubled(code, figures)
    assert figures["interrupted"] > 0, "no kill hit a running row: this run shows nothing"


@pytest.mark.control
@engines
def test_a_worker_that_marks_in_a_second_transaction_comes_out_red(engine: str) -> None:
    code, figures = run("kill_loop", "--cycles", "8", "--db", engine, "--control")
    assert code == 1
    assert figures["doubled"] > 0


@engines
def test_of_mail_that_kills_interrupt_none_is_lost_and_none_sent_twice(engine: str) -> None:
    """RELIABILITY D-03. Exactly once is not to be had from SMTP (RFC 1047): what may have gone out is for a person."""
    code, figures = run("kill_loop", "--cycles", "8", "--db", engine, "--mail")
    assert_nothing_lost_or_doubled(code, figures)
    assert figures["unexplained"] == 0
    assert figures["unknown"] > 0, "no kill hit a mail on its way: this run shows nothing"


@pytest.mark.control
@engines
def test_a_sweep_that_sends_again_what_was_interrupted_doubles_mail(engine: str) -> None:
    code, figures = run("kill_loop", "--cycles", "12", "--db", engine, "--mail", "--control")
    assert code == 1
    assert figures["doubled"] > 0


@engines
@pytest.mark.long
def test_the_same_at_length(engine: str) -> None:
    for more in ((), ("--mail",)):
        arguments = ("--cycles", "1000", "--db", engine, *more)
        assert_nothing_lost_or_doubled(*run("kill_loop", *arguments, patience=3000))


@needs_redis
@pytest.mark.redis
def test_workers_beat_and_redis_may_be_killed_too() -> None:
    assert_nothing_lost_or_doubled(*run("kill_loop", "--cycles", "6", "--db", "sqlite", "--redis"))


@needs_redis
@pytest.mark.redis
@needs_postgres
def test_a_redis_that_is_wiped_again_and_again_is_harmless() -> None:
    assert_nothing_lost_or_doubled(
        *run("kill_loop", "--cycles", "8", "--db", "postgres", "--redis", "--targets", "flush")
    )


def test_figures_without_a_fault_are_green() -> None:
    assert not Figures(acknowledged=1, database="ok").red()


@pytest.mark.control
@pytest.mark.parametrize("name", WRONG)
def test_each_figure_alone_turns_a_run_red(name: str) -> None:
    assert Figures(acknowledged=1, database="ok", **{name: 1}).red()


@pytest.mark.control
@pytest.mark.parametrize("wrong", [{"acknowledged": 0}, {"database": "row 7 missing"}, {"journal": "Position 7"}])
def test_a_broken_database_a_broken_chain_and_a_run_without_writes_are_red(wrong: dict[str, Any]) -> None:
    assert Figures(**{"acknowledged": 1, "database": "ok"} | wrong).red()
