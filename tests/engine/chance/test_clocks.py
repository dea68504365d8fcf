"""Tables for many trials against the calendar they are made of."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.calendars import DAY
from quotes.engine.chance.clocks import Clock
from tests.engine import test_calendars
from tests.engine.strategies import fewer, seeds

DAYS = 120


@fewer
@given(seeds, st.lists(st.tuples(test_calendars.instants, test_calendars.lengths), min_size=3, max_size=30))
def test_tables_say_what_the_calendar_says(seed: int, asked: list[tuple[int, int]]) -> None:
    working = test_calendars.both(seed)[0]
    zero, first = working.first * DAY, working.first
    clock = Clock(working, first + DAYS)
    at, minutes = (np.array(column, dtype=np.int64) for column in zip(*asked, strict=True))
    ends = [working.add(zero + a, m) - zero for a, m in asked]
    assert clock.add(at, minutes).tolist() == ends
    assert clock.worked_by(at).tolist() == [working.worked(zero + a) for a, _ in asked]
    assert clock.opening(at).tolist() == [working.opening(zero + a) - zero for a, _ in asked]
    days = clock.day_at(at)
    assert days.tolist() == [working.day_at(zero + a) - first for a, _ in asked]
    assert clock.closing(days).tolist() == [working.closing(first + int(day)) - zero for day in days]
    later = [working.after(first + a // DAY, m % 9) - first for a, m in asked]
    assert clock.after(at // DAY, minutes % 9).tolist() == later
    some = np.maximum(1, minutes)
    begins = [working.together(zero + a, int(m)) - zero for a, m in zip(at, some, strict=True)]
    assert clock.together(at, some).tolist() == begins
    done = np.array([working.add(zero + begin, int(m)) - zero for begin, m in zip(begins, some, strict=True)])
    pairs = list(zip(done.tolist(), some.tolist(), strict=True))
    assert clock.subtract(done, some).tolist() == [working.subtract(zero + e, m) - zero for e, m in pairs]
    assert clock.together_by(done, some).tolist() == [working.together_by(zero + e, m) - zero for e, m in pairs]


def test_what_lies_beyond_the_tables_is_on_their_last_day_or_after() -> None:
    working = test_calendars.on({0, 1, 2, 3, 4}, "2026-03-02")
    clock = Clock(working, working.first + 5)
    far = np.array([100 * DAY], dtype=np.int64)
    last = int(clock.days[-1]) * DAY
    assert int(clock.add(far, far)[0]) >= last
    assert int(clock.closing(clock.day_at(far))[0]) >= last
    assert int(clock.closing(clock.after(far, 3))[0]) >= last
