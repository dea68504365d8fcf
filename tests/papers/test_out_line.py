"""The line of days: what is out, by when it is due, and how late, never by colour alone."""

import re
from datetime import date, timedelta

import pytest

from shop.papers.pictures import PAPER, PHONE
from shop.papers.pictures.lettering import width_of
from shop.papers.pictures.out_line import MOST, Bar, draw, in_words

TODAY = date(2026, 3, 2)


def bar(name: str = "V1", *, since: int = -5, due: int | None = 5, where: str = "Brook Platers") -> Bar:
    told = None if due is None else TODAY + timedelta(days=due)
    return Bar(name=name, where=where, since=TODAY + timedelta(days=since), due=told)


def drawn(*bars: Bar, width: int = PHONE) -> str:
    return str(draw(bars, today=TODAY, ident="x", width=width))


def test_it_says_in_words_what_it_shows() -> None:
    words = in_words([bar(due=-2), bar("V2", due=0), bar("V3", due=None), bar("V4", due=3)], TODAY)
    said = ["due Sat 28 Feb, 2 days late", "due today", "no day told", "due Thu 5 Mar"]
    assert words == " ".join(f"V{n} at Brook Platers: {one}." for n, one in enumerate(said, start=1))
    assert f"<desc>{in_words([bar()], TODAY)}</desc>" in drawn(bar())


def test_only_what_is_late_is_hatched_and_as_long_as_it_is_late() -> None:
    def hatched(due: int) -> list[float]:
        return [float(one) for one in re.findall(r'<rect[^>]*width="([\d.]+)"[^>]*fill="url', drawn(bar(due=due)))]

    assert hatched(0) == hatched(3) == []
    (one,), (two,) = hatched(-1), hatched(-2)
    assert two == pytest.approx(2 * one, abs=0.02), "to the end of today"


def test_nothing_is_drawn_beside_the_paper_and_every_word_has_room() -> None:
    many = [bar(f"V{n}", since=-400 + n, due=300 - 40 * n, where="A vendor with a long name " * 3) for n in range(20)]
    for width in (PHONE, PAPER):
        svg = drawn(*many, width=width)
        for x, wide in re.findall(r'<rect x="([\d.-]+)"[^>]*? width="([\d.]+)"', svg):
            assert float(x) >= 0
            assert float(x) + float(wide) <= width
        for x, anchor, bold, said in re.findall(
            r'<text x="([\d.]+)"[^>]*text-anchor="(\w+)"[^>]*font-weight="(\d+)">([^<]*)<', svg
        ):
            long = width_of(said, bold=bold == "600")
            assert float(x) + (long / 2 if anchor == "middle" else long) <= width


def test_more_than_it_holds_is_counted() -> None:
    assert f"and {20 - MOST} more" in drawn(*[bar(f"V{n}") for n in range(20)])
