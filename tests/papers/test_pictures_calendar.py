import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.utils import translation

from shop.papers.pictures import PAPER, PHONE
from shop.papers.pictures.calendar import calendar_in_words, draw
from shop.papers.pictures.calendar_rows import MOST, Calendar, Row
from tests.papers.seen import Seen

WIDTHS = [PHONE, PAPER]
DAY = timedelta(days=1)


def closed(first: date, last: date) -> frozenset[date]:
    days = (first + DAY * count for count in range((last - first).days + 1))
    return frozenset(day for day in days if day.weekday() >= 5 or (day.month, day.day) in {(12, 24), (12, 25), (1, 1)})


STRIP = Row(label="Strip, tag, photograph", start=date(2026, 9, 7), finish=date(2026, 9, 11), drives=True)
CHROME = Row(
    label="Chrome, lot 1",
    start=date(2026, 9, 21),
    finish=date(2026, 11, 20),
    drives=True,
    must_leave=date(2026, 9, 21),
)
PAINT = Row(
    label="Paint and lining",
    start=date(2026, 10, 5),
    finish=date(2026, 11, 27),
    latest=date(2026, 12, 18),
    held=((date(2026, 10, 26), date(2026, 11, 6)),),
)
BUILD = Row(label="Rolling chassis", start=date(2026, 11, 23), finish=date(2026, 12, 22), drives=True)
PLAN = Calendar(
    rows=(BUILD, PAINT, CHROME, STRIP),
    closed=closed(date(2026, 9, 1), date(2027, 3, 1)),
    likely=date(2026, 12, 22),
    kept=date(2027, 1, 22),
    promised=date(2027, 1, 29),
)


@pytest.fixture(autouse=True)
def english() -> object:
    with translation.override("en-gb"):
        yield


def seen(calendar: Calendar, width: int = PHONE) -> Seen:
    return Seen(draw(calendar, ident="plan", width=width))


def bars(picture: Seen) -> list[tuple[float, float]]:
    """Left and right end of each row's bar, from the top."""
    found = [box for box in picture.boxes if "rx" in box and float(box["height"]) == 9]
    found.sort(key=lambda box: float(box["y"]))
    return [(float(box["x"]), float(box["x"]) + float(box["width"])) for box in found]


@pytest.mark.parametrize("width", WIDTHS)
def test_bars_reach_from_the_start_of_their_first_day_to_the_end_of_their_last(width: int) -> None:
    found = bars(seen(PLAN, width))
    rows = [STRIP, CHROME, PAINT, BUILD]
    (left, _right), (_left, right) = found[0], found[-1]
    per_day = (right - left) / ((BUILD.finish - STRIP.start).days + 1)
    for row, (start, end) in zip(rows, found, strict=True):
        assert start == pytest.approx(left + per_day * (row.start - STRIP.start).days, abs=0.03)
        assert end == pytest.approx(left + per_day * ((row.finish - STRIP.start).days + 1), abs=0.03)


@pytest.mark.parametrize("width", WIDTHS)
def test_posts_of_the_ready_day_stand_at_the_end_of_their_days(width: int) -> None:
    picture = seen(PLAN, width)
    found = bars(picture)
    per_day = (found[-1][1] - found[0][0]) / ((BUILD.finish - STRIP.start).days + 1)
    for words, day in (("likely", PLAN.likely), ("kept 4 in 5", PLAN.kept), ("promised", date(2027, 1, 29))):
        (x,) = [x for x, _top, bottom in picture.uprights if bottom == picture.find(words).y]
        assert x == pytest.approx(found[-1][1] + per_day * (day - BUILD.finish).days, abs=0.03)


@pytest.mark.parametrize("width", WIDTHS)
def test_what_drives_the_day_is_filled_and_joined_and_the_rest_is_neither(width: int) -> None:
    picture = seen(PLAN, width)
    fills = sorted((float(box["y"]), box["fill"]) for box in picture.boxes if float(box["rx"]) > 0)
    assert [fill for _y, fill in fills] == ["currentColor", "currentColor", "none", "currentColor"]
    ends = [right for _left, right in bars(picture)]
    joined = {x for x, _top, _bottom in picture.uprights}
    for number in (0, 1):
        assert any(abs(x - ends[number]) < 0.05 for x in joined)
    assert not any(abs(x - ends[2]) < 0.05 for x in joined)


def test_held_days_are_hatched_and_time_to_slip_is_a_thin_line() -> None:
    picture = seen(PLAN)
    (held,) = [box for box in picture.boxes if box["fill"] == "url(#plan-held)"]
    paint = bars(picture)[2]
    per_day = (paint[1] - paint[0]) / ((PAINT.finish - PAINT.start).days + 1)
    assert float(held["width"]) == pytest.approx(per_day * 12, abs=0.03)  # 26 October to 6 November, both included
    slack = [path for path in picture.paths if len(path) == 2 and path[0][0] == pytest.approx(paint[1], abs=0.02)]
    assert any(path[1][0] - path[0][0] == pytest.approx(per_day * 21, abs=0.03) for path in slack)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_lot_shows_by_when_it_must_leave(width: int) -> None:
    assert "leave by 21 Sep" in seen(PLAN, width).find("leave by").words


def test_months_are_named_from_left_to_right() -> None:
    picture = seen(PLAN, PAPER)
    months = [one.words for one in picture.written if one.y < 20]
    assert months[:5] == ["Sep", "Oct", "Nov", "Dec", "Jan 2027"]


@pytest.mark.parametrize("width", WIDTHS)
def test_a_weekend_is_a_tick_and_a_holiday_week_goes_all_the_way_down(width: int) -> None:
    holiday = frozenset(date(2026, 12, 24) + DAY * count for count in range(12))
    picture = seen(replace(PLAN, closed=PLAN.closed | holiday), width)
    faint = [box for box in picture.boxes if float(box["opacity"]) < 1]
    tall = [box for box in faint if float(box["height"]) > 20]
    assert len(tall) == 1
    assert len(faint) > 15


def test_words_say_what_the_picture_shows() -> None:
    assert calendar_in_words(PLAN) == (
        "Likely ready on 22 Dec 2026; kept 4 in 5 by 22 Jan 2027. Promised for 29 Jan 2027. "
        "What drives it: Strip, tag, photograph, then Chrome, lot 1, then Rolling chassis. "
        "Must leave: Chrome, lot 1 by 21 Sep."
    )
    assert seen(PLAN).words == calendar_in_words(PLAN)
    assert seen(PLAN).title == "Calendar to the ready day"


def test_more_rows_than_can_be_read_are_counted_and_those_that_slip_least_are_shown() -> None:
    easy = tuple(replace(PAINT, label=f"Easy {n}", latest=date(2027, 1, 8), held=()) for n in range(20))
    full = replace(PLAN, rows=(*easy, *PLAN.rows))
    picture = seen(full)
    assert len(bars(picture)) == MOST
    assert picture.find("and 10 more, which can slip further")
    for row in PLAN.rows:
        assert picture.find(row.label)


def test_drivers_left_out_are_not_called_able_to_slip() -> None:
    chain = tuple(
        replace(STRIP, label=f"Link {n}", start=STRIP.start + DAY * n, finish=STRIP.finish + DAY * n) for n in range(20)
    )
    assert seen(replace(PLAN, rows=chain)).find("and 6 more").words == "and 6 more"


ONE_DAY = date(2027, 1, 29)
STRANGE = [
    replace(PLAN, rows=()),
    replace(PLAN, rows=(), likely=ONE_DAY, kept=ONE_DAY, promised=None, closed=frozenset()),
    replace(
        PLAN, rows=(Row(label="Fit tank", start=ONE_DAY, finish=ONE_DAY, drives=True),), likely=ONE_DAY, kept=ONE_DAY
    ),
    replace(PLAN, kept=date(2126, 1, 1)),
    replace(PLAN, promised=date(2026, 8, 1)),
    replace(PLAN, rows=tuple(replace(row, label=row.label * 12) for row in PLAN.rows)),
    replace(PLAN, rows=(STRIP, STRIP, STRIP)),
]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("calendar", [PLAN, *STRANGE])
def test_everything_stays_in_the_frame_and_can_be_read(calendar: Calendar, width: int) -> None:
    picture = seen(calendar, width)
    assert picture.outside() == []
    assert picture.overlaps() == []


def made_up(seed: int) -> Calendar:
    chance = random.Random(seed)
    rows = []
    for number in range(chance.randint(1, 20)):
        start = date(2026, 9, 7) + DAY * chance.randint(0, 150)
        finish = start + DAY * chance.randint(0, 60)
        label = chance.choice(["Chrome, lot 1", "Frame: straighten, blast, coat", "Fit"]) + f" {number}"
        latest = chance.choice([None, finish + DAY * chance.randint(0, 40)])
        leave = chance.choice([None, start + DAY * chance.randint(0, 20)])
        rows.append(
            Row(label=label, start=start, finish=finish, latest=latest, drives=chance.random() < 0.4, must_leave=leave)
        )
    likely = max(row.finish for row in rows)
    return replace(PLAN, rows=tuple(rows), likely=likely, kept=likely + DAY * 20, promised=likely + DAY * 24)


@pytest.mark.parametrize("width", WIDTHS)
def test_whatever_is_planned_can_be_read(width: int) -> None:
    for seed in range(60):
        picture = seen(made_up(seed), width)
        assert picture.outside() == [], seed
        assert picture.overlaps() == [], seed
        assert picture.struck() == [], seed


def test_a_row_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="in this order"):
        replace(STRIP, finish=STRIP.start - DAY)
    with pytest.raises(ValueError, match="in this order"):
        replace(STRIP, latest=STRIP.finish - DAY)
    with pytest.raises(ValueError, match="first to a last"):
        replace(STRIP, held=((STRIP.finish, STRIP.start),))
