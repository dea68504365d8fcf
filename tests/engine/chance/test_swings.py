"""What moves a quote most: each swing is the whole quote at both ends of one input's range."""

from dataclasses import replace
from decimal import Decimal

from quotes.engine.chance import swings as room
from quotes.engine.chance.quoting import quote
from quotes.engine.chance.swings import SwingKind, longest, read, swings
from quotes.engine.inputs import Calendar, CostClass, Damage, Schedule, Treatment
from tests.bench.bikes import bike

D = Decimal
WEEK = tuple((day, 480, 1020) for day in range(5))
CRACK = Damage("d", "a crack", D("0.2"), D(300), D(500), D(900), Treatment.OURS, CostClass.VENDOR)
PLAIN = bike(20)
SERVICES = tuple(replace(item, lead_days=10, calendar="v") for item in PLAIN.services)
BIKE = replace(
    PLAIN,
    parts=(replace(PLAIN.parts[0], damages=(CRACK,)), *PLAIN.parts[1:]),
    services=SERVICES,
    schedule=Schedule("2026-03-02", (Calendar("", "the workshop", WEEK), Calendar("v", "a plater", WEEK))),
)
FOUND = swings(BIKE, quote(BIKE).explained, costs=40)
BY_KEY = {bar.key: bar for bar in FOUND.bars}


def test_both_ends_of_a_damage_are_without_it_and_with_it_at_its_most() -> None:
    bar = BY_KEY["damage d"]
    without = read(replace(BIKE, parts=(replace(BIKE.parts[0], damages=()), *BIKE.parts[1:])))
    assert bar.low == without
    assert (bar.high.cost - without.cost).quantize(D("0.00001")) == 900


def test_a_guessed_price_swings_by_its_spread() -> None:
    """The plater is phoned: 8 % up and down, but for the handling time, which does not hang on the price."""
    guessed = replace(BIKE, services=tuple(replace(item, status="phoned") for item in SERVICES))
    bars = {bar.key: bar for bar in swings(guessed, quote(guessed).explained, costs=40).bars}
    bar, base = bars["price zinc"], read(guessed)
    vendor = sum(line.vendor - line.damage for line in quote(guessed).explained.result.lines)
    assert (bar.high.cost - base.cost).quantize(D("1e-9")) == (vendor * D("0.08")).quantize(D("1e-9"))
    assert (base.cost - bar.low.cost).quantize(D("1e-9")) == (vendor * D("0.08")).quantize(D("1e-9"))


def test_a_lead_time_on_the_driving_chain_moves_the_day_and_no_money() -> None:
    (bar,) = (bar for bar in FOUND.bars if bar.kind is SwingKind.LEAD)
    assert bar.low.day < FOUND.base.day < bar.high.day
    assert bar.low.cost == bar.high.cost == FOUND.base.cost


def test_what_never_fails_costs_less_and_what_fails_twice_as_often_more() -> None:
    bars = [bar for bar in FOUND.bars if bar.kind is SwingKind.FAILURE]
    assert bars
    assert all(bar.low.cost < FOUND.base.cost < bar.high.cost for bar in bars)


def test_the_longest_bar_comes_first_and_what_moves_nothing_is_not_there() -> None:
    ranked = longest(FOUND, lambda reading: reading.cost, most=5)
    reach = [abs(bar.high.cost - bar.low.cost) for bar in ranked]
    assert reach == sorted(reach, reverse=True)
    assert all(bar.kind is not SwingKind.LEAD for bar in ranked)


def test_the_guess_beforehand_does_not_miss_what_moves_most() -> None:
    few = swings(BIKE, quote(BIKE).explained, costs=6)
    most = longest(FOUND, lambda reading: reading.cost, most=3)
    assert {bar.key for bar in most} <= {bar.key for bar in few.bars}


def test_the_base_is_the_quote_as_it_is() -> None:
    quoted = quote(BIKE)
    assert FOUND.base == read(BIKE)
    assert (FOUND.base.cost, FOUND.base.price) == (quoted.explained.result.cost, quoted.explained.result.net)
    assert room.days_between("2026-02-27", "2026-03-02") == 3
