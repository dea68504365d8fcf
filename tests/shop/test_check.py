"""How ``check.py`` counts and judges what its steps report."""

import argparse
import sys
from pathlib import Path

import pytest

import check

STEP = check.Step("some tests", tests=("tests",))
LENIENT = argparse.Namespace(no_skips=False, verbose=False)
STRICT = argparse.Namespace(no_skips=True, verbose=False)

# What pytest writes for one test of each kind.
REPORT = """<testsuites><testsuite>
<testcase classname="a" name="good"/>
<testcase classname="a" name="bad"><failure message="no"/></testcase>
<testcase classname="a" name="broken"><error message="no"/></testcase>
<testcase classname="a" name="left_out"><skipped message="why not"/></testcase>
</testsuite></testsuites>"""


def read(folder: Path, report: str, code: int) -> check.Result:
    (folder / "report.xml").write_text(report)
    result = check.Result(STEP, code=code)
    check.read_report(folder / "report.xml", result)
    return result


def test_every_kind_of_outcome_is_counted(tmp_path):
    result = read(tmp_path, REPORT, 1)
    assert (result.passed, result.failed, result.skips) == (1, 2, ["a::left_out: why not"])


def test_a_pytest_that_broke_before_reporting_counts_as_failed(tmp_path, capsys):
    result = check.Result(STEP, code=3)
    check.read_report(tmp_path / "absent.xml", result)
    assert check.close([result], LENIENT) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "0 passed, 1 failed"


def test_the_last_line_counts_and_nothing_else(capsys):
    results = [check.Result(STEP, passed=3, skips=["a: b"]), check.Result(STEP, passed=4)]
    assert check.close(results, LENIENT) == 0
    assert capsys.readouterr().out.splitlines() == ["Skipped: a: b", "7 passed, 0 failed, 1 skipped"]


def test_a_step_without_tests_that_fails_makes_it_all_fail(capsys):
    results = [check.Result(check.Step("style"), code=1), check.Result(STEP, passed=4)]
    assert check.close(results, LENIENT) == 1
    assert capsys.readouterr().out.splitlines() == ["Failed: style", "4 passed, 0 failed"]


@pytest.mark.parametrize("result", [check.Result(STEP, skips=["a: b"]), check.Result(STEP, not_run="no program")])
def test_what_could_not_be_run_fails_only_where_nothing_may_be_left_out(result, capsys):
    assert (check.close([result], LENIENT), check.close([result], STRICT)) == (0, 1)


def test_what_was_not_run_says_why(capsys):
    check.close([check.Result(STEP, not_run="the program redis-server is not there")], LENIENT)
    assert capsys.readouterr().out.splitlines()[0] == "Not run: some tests (the program redis-server is not there)"


def test_a_real_failing_step_is_shown_and_a_good_one_is_not(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(check, "VENV", Path(sys.prefix))
    runner = check.Runner(tmp_path, {}, {})
    good = check.Step("good", ("-c", "print('all is well')"))
    bad = check.Step("bad", ("-c", "print('this is why'); raise SystemExit(3)"))
    assert [r.code for r in sorted(check.run_all([good, bad], runner, LENIENT), key=lambda r: r.code)] == [0, 3]
    said = capsys.readouterr().out
    assert "this is why" in said
    assert "all is well" not in said


def test_steps_share_no_folder_and_inherit_no_settings(tmp_path, monkeypatch):
    monkeypatch.setenv("BAREFRAME_DATABASE", "postgres://somewhere/dear")
    runner = check.Runner(tmp_path, {check.POSTGRESQL: "postgres://127.0.0.1:1/"}, {})
    seen = [runner._environment(step, tmp_path / step.name) for step in check.STEPS if step.tests]
    assert len({environment["BAREFRAME_HOME"] for environment in seen}) == len(seen)
    assert {environment.get("BAREFRAME_DATABASE") for environment in seen} == {
        None,
        "postgres://127.0.0.1:1/bareframe",
    }


def covers(step: check.Step, folder: str) -> bool:
    """Whether a step looks for tests in a folder: by its own name, or within all tests if it does not leave it out."""
    return folder in step.tests or ("tests" in step.tests and f"--ignore={folder}" not in step.tests)


@pytest.mark.parametrize("folder", [folder for folder in check.ON_THEIR_OWN if folder != "tests/bench"])
def test_a_folder_set_apart_is_run_by_another_step(folder):
    assert not covers(next(step for step in check.STEPS if step.tests == check.DATABASE_TESTS), folder)
    assert [step.name for step in check.STEPS if step.whole and not step.long and covers(step, folder)]


def test_the_benches_are_a_step():
    assert any("tests.bench" in step.command for step in check.STEPS)


def test_a_step_whose_service_is_absent_is_not_run_and_says_why(tmp_path):
    runner = check.Runner(tmp_path, {}, {check.REDIS: "the program redis-server is not there"})
    result = runner.run(check.Step("jobs", tests=("tests",), needs=(check.REDIS,)))
    assert (result.not_run, result.code) == ("the program redis-server is not there", 0)
