"""Published time studies. Learning curves are not here: the engine has none."""

from decimal import Decimal
from statistics import mean

from quotes.engine.labour import expected_minutes, standard_time, standard_time_of_workday

D = Decimal


def expected(run: Decimal, **factors: Decimal) -> Decimal:
    """One piece without set-up, on a sound part, by a shop that keeps its standards."""
    plain = {"allowance": D(0), "shop_factor": D(1), "pace": D(1)}
    return expected_minutes(setup=D(0), run=run, quantity=D(1), condition=D(1), **(plain | factors))


def test_an_allowance_on_the_job_itself() -> None:
    """Source: indextestingapp.uonbi.ac.ke, question 14003372: observed 20 s, rating 120 %, allowance 20 % of the job."""
    observed = D(mean([27, 19, 20, 21, 13]))
    basic = observed * D("1.20")
    assert (observed, basic) == (20, 24)
    assert standard_time(basic, D("0.20")) == D("28.8")
    assert expected(basic, allowance=D("0.20")) == D("28.8")


def test_somebody_rated_110_needs_800_seconds_for_880_of_basic_time() -> None:
    """Source: blog.ergo-mtm.it: 800 s observed at a rating of 110 are 880 s of basic time.

    The engine goes the other way: who works at 110 has a pace of 100/110 against the standard.
    """
    assert D(800) * 110 / 100 == 880
    assert expected(D(880), pace=D(100) / 110).quantize(D("1e-20")) == 800


def test_an_allowance_on_the_working_day() -> None:
    """Source: studylib.net 5841379 (University of Hawaii at Hilo): observed 21.5 min is printed; the rest, cut off
    there, is computed: rating .85, allowance .10 of the working day."""
    observed = D(sum([20, 23, 19, 18, 24, 25])) / 6
    basic = observed * D("0.85")
    assert (observed, basic) == (D("21.5"), D("18.275"))
    assert standard_time_of_workday(basic, D("0.10")).quantize(D("0.001")) == D("20.306")


def test_fifteen_percent_means_two_things() -> None:
    """Both conventions on one unit of basic time, computed: 1.15 and 1.1765."""
    assert standard_time(D(1), D("0.15")) == D("1.15")
    assert standard_time_of_workday(D(1), D("0.15")).quantize(D("0.0001")) == D("1.1765")
