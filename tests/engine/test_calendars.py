"""Working time against a plain walk through the minutes, and against numpy's business days."""

from datetime import date, timedelta
from random import Random

import holidays
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.calendars import (
    DAY,
    WorkingTime,
    check_known,
    day_of,
    day_text,
    held_days,
    instant_of,
    instant_text,
)
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Calendar, Held
from tests.engine.days import WEEKDAYS, Minutes, calendar
from tests.engine.strategies import seeds

FIRST = date(2026, 3, 2)
DAYS = 40
ZERO = FIRST.toordinal() * DAY


def made(seed: int) -> tuple[Calendar, tuple[Held, ...]]:
    """Any week with a working day, lunch breaks, closed days, held days."""
    by = Random(seed)
    hours = []
    for weekday in sorted(by.sample(range(7), by.randint(1, 7))):
        cuts = sorted(by.sample(range(0, DAY + 1, 15), by.choice((2, 2, 4))))
        hours += [(weekday, opens, closes) for opens, closes in zip(cuts[::2], cuts[1::2], strict=True)]
    closed = tuple((FIRST + timedelta(by.randint(0, 13))).isoformat() for _ in range(by.randint(0, 3)))
    first = FIRST + timedelta(by.randint(0, 10))
    held = (Held(first.isoformat(), (first + timedelta(by.randint(0, 3))).isoformat(), "paint is late"),)
    return calendar(hours=hours, closed=closed), held[: by.randint(0, 1)]


def both(seed: int) -> tuple[WorkingTime, Minutes]:
    given_calendar, held = made(seed)
    return (
        WorkingTime(given_calendar, FIRST.toordinal(), held_days(held)),
        Minutes.of(given_calendar, FIRST, DAYS, held),
    )


instants = st.integers(0, 10 * DAY)
lengths = st.one_of(st.just(0), st.integers(1, 300))


@given(seeds, instants, lengths)
def test_adding_working_minutes_is_a_walk_through_the_minutes(seed: int, at: int, minutes: int) -> None:
    working, plain = both(seed)
    assert working.opening(ZERO + at) == ZERO + plain.opening(at)
    assert working.worked(ZERO + at) == sum(plain.open[:at])
    assert working.add(ZERO + at, minutes) == ZERO + plain.add(at, minutes)


@given(seeds, st.integers(0, 10 * DAY), lengths)
def test_subtracting_gives_the_latest_begin_of_which_it_is_the_end(seed: int, at: int, minutes: int) -> None:
    working, plain = both(seed)
    end = plain.add(at, minutes)
    begin = working.subtract(ZERO + end, minutes) - ZERO
    assert plain.add(begin, minutes) <= end < plain.add(begin + 1, minutes)
    assert begin == (plain.opening(at) if minutes else at)


@given(seeds, st.integers(0, 10 * DAY), lengths)
def test_what_is_done_together_begins_when_the_day_is_long_enough(seed: int, at: int, minutes: int) -> None:
    minutes = max(1, minutes)  # nothing to do has no stretch to be done in
    working, plain = both(seed)
    begin = working.together(ZERO + at, minutes) - ZERO
    assert begin == plain.together(at, minutes)
    # By the end of that, it could not have begun later.
    end = plain.add(begin, minutes)
    latest = working.together_by(ZERO + end, minutes) - ZERO
    assert plain.add(plain.together(latest, minutes), minutes) <= end
    assert plain.add(plain.together(latest + 1, minutes), minutes) > end


@given(seeds, instants)
def test_work_can_begin_by_an_instant_at_the_latest_when_somebody_works(seed: int, at: int) -> None:
    working, plain = both(seed)
    by = plain.opening(0) + at
    begin = working.begin_by(ZERO + by) - ZERO
    assert plain.opening(begin) <= by < plain.opening(begin + 1)


@given(seeds, st.integers(0, 15), st.integers(0, 12))
def test_working_days_are_those_numpy_counts(seed: int, number: int, days: int) -> None:
    given_calendar, held = made(seed)
    working = both(seed)[0]
    mask = [weekday in {hours[0] for hours in given_calendar.hours} for weekday in range(7)]
    off = [*given_calendar.closed, *(day_text(day) for day in held_days(held))]
    reference = np.busdaycalendar(weekmask=mask, holidays=off)
    day = FIRST + timedelta(number)
    then = np.busday_offset(day, days, roll="forward", busdaycal=reference).astype(date)
    assert day_text(working.after(day.toordinal(), days)) == then.isoformat()
    # The latest day from which so many working days do not lead past that one.
    back = working.before(then.toordinal(), days)
    assert working.after(back, days) <= then.toordinal() < working.after(back + 1, days)


@given(seeds, instants)
def test_the_day_of_an_instant_is_the_first_that_has_not_closed_before_it(seed: int, at: int) -> None:
    working, plain = both(seed)
    day = plain.day_at(at)
    assert working.day_at(ZERO + at) == FIRST.toordinal() + day
    assert working.closing(FIRST.toordinal() + day) == ZERO + plain.closing(day)
    assert working.day_at(ZERO + plain.closing(day)) == FIRST.toordinal() + day
    closed = working.closed_by(ZERO + plain.closing(day)) - FIRST.toordinal()
    assert closed == day


@given(seeds)
def test_held_days_are_days_on_which_nobody_works(seed: int) -> None:
    given_calendar, held = made(seed)
    days = tuple(day_text(day) for day in held_days(held))
    closed = Calendar("", "the shop", given_calendar.hours, given_calendar.closed + days)
    one, other = WorkingTime(given_calendar, FIRST.toordinal(), held_days(held)), WorkingTime(closed, FIRST.toordinal())
    until = FIRST.toordinal() + DAYS
    assert list(one.spans_until(until)) == list(other.spans_until(until))
    assert list(one.days_until(until)) == list(other.days_until(until))


def test_a_table_grows_as_far_as_it_is_asked() -> None:
    working = WorkingTime(calendar(), FIRST.toordinal())
    far = working.add(ZERO, 540 * 261 * 30)
    assert instant_text(far)[:4] in ("2055", "2056")
    assert working.subtract(far, 540 * 261 * 30) == working.opening(ZERO)


def test_what_takes_more_than_a_hundred_years_is_refused() -> None:
    with pytest.raises(BadInput, match="within a hundred years"):
        WorkingTime(calendar(), FIRST.toordinal()).add(ZERO, 10**10)


def test_instants_are_written_as_they_are_read() -> None:
    for text in ("2026-03-02T08:05", "2028-02-29T23:59", "2027-01-01T00:00"):
        assert instant_text(instant_of(text)) == text


# -- published figures -----------------------------------------------------------------------------------------------


def days_in(working: WorkingTime, first: str, last: str) -> int:
    return sum(day_of(first) <= day <= day_of(last) for day in working.days_until(day_of(last)))


def on(weekdays: set[int], first: str, **changes: object) -> WorkingTime:
    return WorkingTime(calendar(hours=[(day, 480, 960) for day in sorted(weekdays)], **changes), day_of(first))


def test_business_days_of_the_numpy_documentation() -> None:
    """Source: the docstrings of `numpy.busday_count` and `numpy.busday_offset`."""
    weekdays = on({0, 1, 2, 3, 4}, "2011-01-01")
    assert days_in(weekdays, "2011-01-01", "2011-01-31") == 21
    assert days_in(weekdays, "2011-01-01", "2011-12-31") == 260
    assert days_in(on({5}, "2011-01-01"), "2011-01-01", "2011-12-31") == 53
    assert day_text(weekdays.closed_by(day_of("2012-03-01") * DAY)) == "2012-02-29"
    assert day_text(on({6}, "2012-05-01").after(day_of("2012-05-01"), 1)) == "2012-05-13"


def test_holidays_of_the_numpy_documentation() -> None:
    """Source: the docstring of `numpy.is_busday`: two closed days and an open one."""
    off = ("2011-07-01", "2011-07-04", "2011-07-17")
    working = on({0, 1, 2, 3, 4}, "2011-06-01", closed=off)
    days = working.days_until(day_of("2011-08-01"))
    assert [day_of(day) in days for day in ("2011-07-01", "2011-07-02", "2011-07-18")] == [False, False, True]


#: Source: bank holidays of England and Wales, lib/data/bank-holidays.json of github.com/alphagov/frontend @0d66bf1.
PUBLISHED = {
    2020: "01-01 04-10 04-13 05-08 05-25 08-31 12-25 12-28",
    2021: "01-01 04-02 04-05 05-03 05-31 08-30 12-27 12-28",
    2022: "01-03 04-15 04-18 05-02 06-02 06-03 08-29 12-26 12-27",
    2023: "01-02 04-07 04-10 05-01 05-29 08-28 12-25 12-26",
}


@pytest.mark.parametrize("year", PUBLISHED)
def test_published_bank_holidays_are_closed_days_by_the_holidays_library(year: int) -> None:
    """The library also lists the day at the weekend that a holiday moved from, and two days announced since."""
    library = holidays.country_holidays("GB", subdiv="ENG", years=year)
    closed = tuple(sorted(day.isoformat() for day in library))
    first, last = f"{year}-01-01", f"{year}-12-31"
    working = on({0, 1, 2, 3, 4}, first, closed=closed)
    published = [f"{year}-{day}" for day in PUBLISHED[year].split()]
    days = set(working.days_until(day_of(last)))
    assert [day for day in published if day_of(day) in days] == []
    since = {"2022-09-19", "2023-05-08"} & set(closed)
    all_weekdays = int(np.busday_count(first, f"{year + 1}-01-01"))
    assert days_in(working, first, last) == all_weekdays - len(published) - len(since)


# -- what makes no sense ---------------------------------------------------------------------------------------------


def refusal(given_calendar: Calendar) -> BadInput:
    with pytest.raises(BadInput) as caught:
        WorkingTime(given_calendar, FIRST.toordinal())
    return caught.value


def test_a_calendar_without_a_working_day_is_refused() -> None:
    error = refusal(calendar("chrome", (), name="A plater"))
    assert error.sentence() == "A plater has no working day. Give it hours on one day at least."
    assert error.field == "hours"


@pytest.mark.parametrize("span", [(0, 1020, 480), (0, 480, 480), (0, -1, 480), (0, 480, 1441), (7, 480, 960)])
def test_hours_that_end_before_they_begin_are_refused(span: tuple[int, int, int]) -> None:
    error = refusal(calendar(hours=[span], name="A plater"))
    assert error.template.endswith("Let it open before it closes, on the same day.")


def test_the_hours_are_named_in_the_sentence() -> None:
    assert refusal(calendar(hours=[(0, 1020, 480)])).sentence() == (
        "the shop opens at 17:00 and closes at 08:00. Let it open before it closes, on the same day."
    )


def test_hours_that_overlap_are_refused() -> None:
    error = refusal(calendar(hours=[(0, 480, 780), (0, 720, 1020)]))
    assert error.sentence() == "the shop has hours that overlap: one opens at 12:00, before another closes at 13:00."


def test_a_hold_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        held_days([Held("2026-03-05", "2026-03-04", "asked to wait")])
    assert caught.value.sentence() == "It is held from 2026-03-05 to 2026-03-04. Give the first day first."


def test_a_day_that_is_none_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        WorkingTime(calendar(closed=("2026-02-30",)), FIRST.toordinal())
    assert caught.value.sentence() == "“2026-02-30” is not a day. Write it like 2026-12-31."


def test_holidays_that_are_not_known_so_far_are_refused() -> None:
    known = calendar(known_until="2026-12-31")
    check_known(known, day_of("2026-12-31"))
    with pytest.raises(BadInput) as caught:
        check_known(known, day_of("2027-01-01"))
    assert caught.value.sentence() == (
        "The holidays of the shop are known until 2026-12-31, and the plan runs until 2027-01-01. Add those that follow."
    )
    check_known(calendar(), day_of("2100-01-01"))


def test_the_plain_walk_knows_the_week() -> None:
    """The oracle's own control: 2 March 2026 is a Monday."""
    plain = Minutes.of(calendar(hours=WEEKDAYS), FIRST, 7)
    assert [plain.works_on(day) for day in range(7)] == [True] * 5 + [False] * 2
    assert (plain.opening(0), plain.add(0, 541), plain.closing(4)) == (480, 1440 + 481, 4 * 1440 + 1020)
