"""Which jobs come first, by hand and for any job; plain sums of poor quality against counting."""

from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest

from quotes.engine.errors import BadInput
from quotes.engine.margin.budgets import JobBudget
from quotes.engine.margin.forecast import Known, Leaves, forecast, price_of
from quotes.engine.margin.ranking import (
    Band,
    Offers,
    Poor,
    Saving,
    Sold,
    band_of,
    bands,
    margins,
    poor_quality,
    ranked,
    savings,
    standing,
    win_rates,
)
from quotes.engine.settlement import Agreed
from tests.engine.made import Chance
from tests.engine.margin import made
from tests.engine.margin.test_forecast import clocked, known_of, weld

D = Decimal
PRICE = price_of([Agreed("frame", "Q1", "fixed", D(1_000), "standard")], actuals={})


def test_a_loss_that_is_paid_for_cannot_be_saved_and_one_to_come_can() -> None:
    """Hand-worked: one weld took 25 h of 10: gone. The other is open, 10 h are said to be left where 6 were: 240 to save."""
    job = JobBudget((weld(),))
    gone, open_ = [clocked(25, done=True)], [clocked(4)]
    lost = standing("B-12", Leaves(PRICE, forecast(job, gone)), gone)
    known = [Known("weld", left=D(600))]
    going = standing("B-15", Leaves(PRICE, forecast(job, open_, known=known)), open_, not_agreed=D(50))
    assert (lost.leaves, lost.savable) == (-500, 0)
    assert (going.savable, going.steps, going.not_agreed) == (290, (Saving("weld", D(240)),), 50)
    assert [one.job for one in ranked([lost, going])] == ["B-15", "B-12"]


def test_no_more_can_be_saved_than_is_still_to_come() -> None:
    """Hand-worked: 14 h clocked of 10 and 1 h said to be left: 300 over, of which 60 are not spent yet."""
    spent = [clocked(14)]
    found = forecast(JobBudget((weld(),)), spent, known=[Known("weld", left=D(60))])
    assert savings(found, spent) == (Saving("weld", D(60)),)


def test_a_redo_that_is_going_on_can_still_be_saved() -> None:
    spent = [clocked(10, done=True)]
    found = forecast(JobBudget((weld(),)), spent, known=[Known("weld", left=D(120))])
    assert savings(found, spent) == (Saving("weld", D(120)),)


@pytest.mark.parametrize("seed", range(120))
def test_savings_lie_between_nothing_and_what_is_to_come(seed: int) -> None:
    job = made.job(seed)
    found = forecast(job.budget, job.spent, known=known_of(job, seed))
    saved = savings(found, job.spent)
    assert all(item.amount > 0 for item in saved)
    assert sum((item.amount for item in saved), D(0)) <= found.to_complete + D("1e-15")
    assert [item.amount for item in saved] == sorted((item.amount for item in saved), reverse=True)
    done = {item.uid for item in job.spent if item.done}
    told = {item.uid for item in known_of(job, seed)}
    assert not {item.uid for item in saved} & (done - told)


def test_equals_come_by_what_they_leave() -> None:
    leaves = Leaves(PRICE, forecast(JobBudget((weld(),)), []))
    one = standing("B-2", leaves, [])
    assert (one.savable, one.not_agreed) == (0, 0)
    assert [job.job for job in ranked([one, replace(one, job="B-1"), replace(one, job="B-3", leaves=D(-5))])] == [
        "B-3",
        "B-1",
        "B-2",
    ]


@pytest.mark.parametrize(
    ("margin", "least", "most"),
    [("-0.2", None, "0"), ("0", "0", "0.1"), ("0.1999", "0.1", "0.2"), ("0.3", "0.3", None)],
)
def test_an_edge_belongs_to_the_band_above_it(margin: str, least: str | None, most: str | None) -> None:
    def number(text: str | None) -> Decimal | None:
        return None if text is None else D(text)

    assert band_of(D(margin)) == Band(number(least), number(most))


def test_bands_lie_side_by_side_and_their_edges_rise() -> None:
    found = bands()
    assert [band.most for band in found[:-1]] == [band.least for band in found[1:]]
    with pytest.raises(BadInput, match="rise"):
        bands([D("0.2"), D("0.1")])


def test_win_rates_count_every_offer_once() -> None:
    by = Chance(3)
    offers = [(by.number(-0.5, 0.6), by.one_in(2)) for _ in range(500)]
    found = win_rates(offers)
    assert (sum(o.made for o in found.values()), sum(o.won for o in found.values())) == (500, sum(w for _, w in offers))
    plain = [won for margin, won in offers if D("0.1") <= margin < D("0.2")]
    assert found[Band(D("0.1"), D("0.2"))] == Offers(len(plain), sum(plain))


def test_margins_of_a_kind_are_of_the_sums() -> None:
    """Hand-worked: 100 at a loss of 20 and 900 at a gain of 270: 25 %, and not the mean of −20 and 30 %."""
    found = margins([Sold("twin", D(100), D(120)), Sold("twin", D(900), D(630), D(50)), Sold("single", D(0), D(9))])
    assert (found["twin"].jobs, found["twin"].at_hand_over, found["twin"].after_comebacks) == (2, D("0.25"), D("0.2"))
    assert (list(found), found["single"].at_hand_over) == (["single", "twin"], None)


def test_poor_quality_is_plain_sums() -> None:
    by = Chance(5)
    costs = [
        Poor(by.choice("abc"), by.choice("xyz"), by.number(0, 400), after=by.one_in(3))
        for _ in range(by.randint(50, 90))
    ]
    found = poor_quality(costs)
    causes: Counter[str] = Counter()
    for item in costs:
        causes[item.cause] += item.cost  # type: ignore[assignment]
    assert dict(found.by_cause) == dict(causes)
    for sums in (found.by_cause, found.by_origin, found.by_both):
        assert sum(sums.values()) == found.total
        assert list(sums.values()) == sorted(sums.values(), reverse=True)
    assert found.before_hand_over + found.after_hand_over == found.total
    assert found.after_hand_over == sum(item.cost for item in costs if item.after)
