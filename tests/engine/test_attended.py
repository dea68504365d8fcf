"""Labour conservation (RELIABILITY M-05): every attended minute on exactly one task or break, whatever is split, merged or edited.

The oracle walks through the minutes one by one and asks the tz database, by way of `zoneinfo`, what the clock on the wall shows.
"""

import os
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quotes.engine.attended import (
    Pause,
    Span,
    attended,
    breaks_between,
    costs,
    day_bounds,
    instant,
    minute,
    pieces,
    shared_minutes,
    within,
)
from quotes.engine.errors import BadInput

LONG = os.environ.get("BAREFRAME_LONG") == "1"
runs = settings(max_examples=5_000 if LONG else 120)
#: The long form picks what is marked, and this belongs to it then.
pytestmark = [pytest.mark.long] if LONG else []

BERLIN, NEW_YORK, LORD_HOWE = map(ZoneInfo, ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe"))
ZONES = (BERLIN, NEW_YORK, LORD_HOWE, UTC)
#: Days on which the clocks of these places changed in 2026, and one on which none did. Source: tz database 2025b.
CHANGES = ("2026-03-29", "2026-10-25", "2026-03-08", "2026-11-01", "2026-04-05", "2026-10-04", "2026-06-10")
SECOND = timedelta(seconds=1)

zones = st.sampled_from(ZONES)
midnights = st.sampled_from([datetime.fromisoformat(day).replace(tzinfo=UTC) for day in CHANGES])


@st.composite
def shifts(draw: st.DrawFn) -> list[Span]:
    """One person's clockings around a change of the clock, apart or touching, to the microsecond, over midnight too."""
    at = draw(midnights) - timedelta(hours=draw(st.integers(0, 30)))
    spans = []
    for task in draw(st.lists(st.integers(1, 4), min_size=1, max_size=7)):
        began = at + draw(st.sampled_from([0, 0, 1, 59, 3_600])) * SECOND
        length = timedelta(seconds=draw(st.integers(0, 9 * 3_600)), microseconds=draw(st.integers(0, 999_999)))
        spans.append(Span(task, began, began + length, draw(st.booleans())))
        at = began + length
    return spans


@st.composite
def breaks(draw: st.DrawFn) -> list[Pause]:
    """Also at night, in the hour that comes twice or not at all, and over each other."""
    found = []
    for _ in range(draw(st.integers(0, 3))):
        begin = draw(st.sampled_from([0, 30, 90, 105, 120, 135, 150, 165, 570, 720, 735, 1_410]))
        end = min(begin + draw(st.sampled_from([15, 30, 60])), 1_439)
        found.append(Pause(time(begin // 60, begin % 60), time(end // 60, end % 60), draw(st.booleans())))
    return found


def offset(at: int, zone: ZoneInfo) -> timedelta:
    return instant(at).astimezone(zone).utcoffset() or timedelta()


def walked(spans: list[Span], pauses: list[Pause], zone: ZoneInfo) -> tuple[dict[int, int], int, int]:
    """Minute by minute. A break is on from the first minute of a day that shows its begin, or comes after it where it is skipped."""
    tasks = dict.fromkeys((span.task for span in spans), 0)
    paid = unpaid = 0
    on: dict[int, bool] = {}
    if spans:
        first, last = minute(spans[0].began) - 2 * 1_440, minute(spans[-1].ended) + 1_440
        seen: set[tuple[date, Pause]] = set()
        for at in range(first, last):
            wall = instant(at).astimezone(zone)
            for pause in pauses:
                if (wall.date(), pause) in seen or wall.time() < pause.begins:
                    continue
                seen.add((wall.date(), pause))
                if at == first:
                    continue  # it began before we came
                late = (wall.hour * 60 + wall.minute) - (pause.begins.hour * 60 + pause.begins.minute)
                gap = (offset(at, zone) - offset(at - 1, zone)) // timedelta(minutes=1)
                begin = at + max(gap - late, 0) if late else at  # so far into what was left out
                length = pause.ends.hour * 60 + pause.ends.minute - pause.begins.hour * 60 - pause.begins.minute
                for each in range(begin, begin + length):
                    on[each] = on.get(each, True) and pause.paid
    for span in spans:
        for at in range(minute(span.began), minute(span.ended)):
            if span.through_breaks or at not in on:
                tasks[span.task] += 1
            elif on[at]:
                paid += 1
            else:
                unpaid += 1
    return tasks, paid, unpaid


@runs
@given(shifts(), breaks(), zones)
def test_every_minute_is_where_a_walk_through_the_minutes_finds_it(
    spans: list[Span], pauses: list[Pause], zone: ZoneInfo
) -> None:
    found = attended(spans, pauses, zone)
    assert (dict(found.tasks), found.paid_break, found.unpaid_break) == walked(spans, pauses, zone)


@runs
@given(shifts(), breaks(), zones)
def test_the_sum_over_tasks_and_breaks_is_what_was_attended(
    spans: list[Span], pauses: list[Pause], zone: ZoneInfo
) -> None:
    found = attended(spans, pauses, zone)
    whole = sum(minute(span.ended) - minute(span.began) for span in spans)
    assert sum(found.tasks.values()) + found.paid_break + found.unpaid_break == whole
    assert found.minutes == whole - found.unpaid_break


@runs
@given(shifts(), breaks(), zones)
def test_no_minute_is_in_two_pieces(spans: list[Span], pauses: list[Pause], zone: ZoneInfo) -> None:
    taken = [at for span in spans for piece in pieces(span, pauses, zone) for at in range(piece.first, piece.last)]
    assert len(taken) == len(set(taken))


@runs
@given(shifts(), breaks(), zones, st.lists(st.floats(0, 1), max_size=5))
def test_splitting_at_any_instant_and_merging_again_changes_nothing(
    spans: list[Span], pauses: list[Pause], zone: ZoneInfo, cuts: list[float]
) -> None:
    split = []
    for span in spans:
        places = sorted(span.began + cut * (span.ended - span.began) for cut in cuts)
        ends = [*places, span.ended]
        begins = [span.began, *places]
        split += [Span(span.task, *pair, span.through_breaks) for pair in zip(begins, ends, strict=True)]
    assert attended(split, pauses, zone) == attended(spans, pauses, zone)


@runs
@given(shifts(), breaks(), zones)
def test_the_days_of_a_stretch_add_up_to_it(spans: list[Span], pauses: list[Pause], zone: ZoneInfo) -> None:
    """Over midnight, and on days of 23, 24, 25 hours or half an hour more or less."""
    day, last = (at.astimezone(zone).date() for at in (spans[0].began, spans[-1].ended))
    total = 0
    while day <= last:
        total += attended(within(spans, *day_bounds(day, zone)), pauses, zone).minutes
        day += timedelta(days=1)
    assert total == attended(spans, pauses, zone).minutes


@runs
@given(shifts(), breaks(), zones, st.integers(0, 6), st.floats(0, 1))
def test_giving_part_of_one_task_to_another_moves_minutes_and_loses_none(
    spans: list[Span], pauses: list[Pause], zone: ZoneInfo, which: int, cut: float
) -> None:
    before = attended(spans, pauses, zone)
    old = spans[which % len(spans)]
    middle = old.began + cut * (old.ended - old.began)
    edited = [span for span in spans if span is not old]
    edited += [Span(old.task, old.began, middle, old.through_breaks), Span(9, middle, old.ended, old.through_breaks)]
    after = attended(edited, pauses, zone)
    assert after.minutes == before.minutes
    assert after.tasks[9] + after.tasks[old.task] == before.tasks[old.task]


weights = st.lists(st.decimals(0, 500, places=3), min_size=1, max_size=12)


@runs
@given(st.integers(0, 20_000), weights)
def test_shares_over_steps_add_up_to_the_minute_and_none_is_off_by_more_than_one(
    total: int, weights: list[Decimal]
) -> None:
    shares = shared_minutes(total, weights, list(range(len(weights))))
    whole = sum(weights)
    assert sum(shares) == total
    for share, weight in zip(shares, weights, strict=True):
        exact = Decimal(total) * weight / whole if whole else Decimal(total) / len(weights)
        assert abs(share - exact) < 1


@runs
@given(shifts(), breaks(), zones, st.decimals(0, 400, places=2), st.sampled_from([0, 2, 3]))
def test_money_for_minutes_is_kept_to_the_minor_unit(
    spans: list[Span], pauses: list[Pause], zone: ZoneInfo, rate: Decimal, digits: int
) -> None:
    tasks = attended(spans, pauses, zone).tasks
    shares = costs(list(tasks.values()), list(tasks), rate=rate, digits=digits)
    unit = Decimal(1).scaleb(-digits)
    whole = (rate * sum(tasks.values()) / 60).quantize(unit, rounding=ROUND_HALF_UP)
    assert sum(shares) == whole
    for share, minutes in zip(shares, tasks.values(), strict=True):
        assert abs(share - rate * minutes / 60) <= unit


# -- by hand ---------------------------------------------------------------------------------------------------------------


def local(zone: ZoneInfo, text: str, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold).astimezone(UTC)


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (BERLIN, date(2026, 3, 29), 23),
        (BERLIN, date(2026, 10, 25), 25),
        (NEW_YORK, date(2026, 3, 8), 23),
        (NEW_YORK, date(2026, 11, 1), 25),
        (LORD_HOWE, date(2026, 10, 4), 23.5),
        (LORD_HOWE, date(2026, 4, 5), 24.5),
        (BERLIN, date(2026, 6, 10), 24),
    ],
)
def test_a_day_is_as_long_as_its_clock_says(zone: ZoneInfo, day: date, hours: float) -> None:
    begin, end = day_bounds(day, zone)
    assert (end - begin) / timedelta(hours=1) == hours


def test_a_night_over_the_end_of_summer_time_is_an_hour_longer() -> None:
    shift = Span(1, local(BERLIN, "2026-10-24T22:00"), local(BERLIN, "2026-10-25T06:00"))
    assert attended([shift], [], BERLIN).tasks == {1: 9 * 60}


def test_a_break_in_the_hour_that_comes_twice_is_had_once() -> None:
    shift = Span(1, local(BERLIN, "2026-10-24T22:00"), local(BERLIN, "2026-10-25T06:00"))
    found = attended([shift], [Pause(time(2, 15), time(2, 45))], BERLIN)
    assert (found.tasks[1], found.unpaid_break) == (9 * 60 - 30, 30)
    first = minute(local(BERLIN, "2026-10-25T02:15"))
    assert breaks_between(0, 2**30, [], BERLIN) == []
    assert breaks_between(first - 60, first + 600, [Pause(time(2, 15), time(2, 45))], BERLIN) == [
        (first, first + 30, False)
    ]


def test_a_break_in_the_hour_that_is_left_out_is_had_after_it() -> None:
    first = minute(local(BERLIN, "2026-03-29T03:15"))
    assert breaks_between(first - 180, first + 180, [Pause(time(2, 15), time(2, 45))], BERLIN) == [
        (first, first + 30, False)
    ]


def test_a_paid_break_counts_for_nobody_s_task_and_an_unpaid_one_for_nobody() -> None:
    day = Span(5, datetime(2026, 3, 3, 8, tzinfo=UTC), datetime(2026, 3, 3, 17, tzinfo=UTC))
    rests = [Pause(time(9), time(9, 15), paid=True), Pause(time(12), time(12, 30))]
    found = attended([day], rests, UTC)
    assert (dict(found.tasks), found.paid_break, found.unpaid_break, found.minutes) == ({5: 495}, 15, 30, 510)


def test_where_breaks_overlap_the_unpaid_one_counts() -> None:
    rests = [Pause(time(9), time(10), paid=True), Pause(time(9, 30), time(9, 45))]
    at = minute(datetime(2026, 3, 3, 9, tzinfo=UTC))
    assert breaks_between(at - 60, at + 90, rests, UTC) == [
        (at, at + 30, True),
        (at + 30, at + 45, False),
        (at + 45, at + 60, True),
    ]


def test_a_break_that_a_clock_put_forward_carries_over_midnight_goes_on_there() -> None:
    """In Nuuk the clock went from 23:00 to midnight on 28 March 2026. Source: tz database."""
    nuuk = ZoneInfo("America/Nuuk")
    after = Span(1, local(nuuk, "2026-03-29T00:00"), local(nuuk, "2026-03-29T01:00"))
    assert attended([after], [Pause(time(22, 45), time(23, 15))], nuuk).tasks == {1: 45}


def test_unpaid_breaks_that_overlap_count_once() -> None:
    rests = [Pause(time(12), time(12, 30)), Pause(time(12, 15), time(12, 45))]
    day = Span(5, datetime(2026, 3, 3, 8, tzinfo=UTC), datetime(2026, 3, 3, 17, tzinfo=UTC))
    assert (attended([day], rests, UTC).unpaid_break, attended([day], rests, UTC).minutes) == (45, 495)


def test_a_break_that_was_moved_is_where_it_was_on_each_day() -> None:
    moved = date(2026, 3, 3)
    rests = [Pause(time(12), time(12, 30), until=moved), Pause(time(13), time(13, 45), since=moved)]
    days = [Span(day, datetime(2026, 3, day, 11, tzinfo=UTC), datetime(2026, 3, day, 15, tzinfo=UTC)) for day in (2, 3)]
    assert attended(days, rests, UTC).tasks == {2: 210, 3: 195}


def test_who_works_through_the_break_is_on_the_task_meanwhile() -> None:
    day = Span(5, datetime(2026, 3, 3, 8, tzinfo=UTC), datetime(2026, 3, 3, 17, tzinfo=UTC), through_breaks=True)
    assert attended([day], [Pause(time(12), time(12, 30))], UTC).tasks == {5: 540}


def test_seconds_fall_into_their_minute() -> None:
    begin = datetime(2026, 3, 3, 8, 0, 40, tzinfo=UTC)
    assert attended([Span(1, begin, begin.replace(hour=9, minute=30, second=10))], [], UTC).tasks == {1: 90}


def test_what_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(BadInput):
        pieces(Span(1, datetime(2026, 3, 3, 9, tzinfo=UTC), datetime(2026, 3, 3, 8, tzinfo=UTC)), [], UTC)
