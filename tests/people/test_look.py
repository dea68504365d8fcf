"""The page of components shows every one there is, in the colours there are; and days and quantities are written in one way."""

import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from shop import text
from shop.people.views import TOKENS
from tests.house import ROOT, TEMPLATES
from tests.people.conftest import Enter

CSS = (ROOT / "static" / "css" / "bareframe.css").read_text()


def test_every_component_is_on_the_page_of_components(enter: Enter) -> None:
    used = {template.name for template in enter("desk").get("/sign-in/look/").templates}
    there = {path.relative_to(TEMPLATES).as_posix() for path in (TEMPLATES / "components").glob("*.html")}
    assert len(there) >= 10
    assert there - used == set()


def test_every_class_of_the_frame_that_makes_a_piece_is_on_it(enter: Enter) -> None:
    """Tags, buttons, notices in all their kinds."""
    page = enter("desk").get("/sign-in/look/").content.decode()
    kinds = set(re.findall(r"\.((?:tag|button|notice)(?:-\w+)?)\b", CSS))
    assert len(kinds) > 8
    assert [kind for kind in kinds if not re.search(rf'class="[^"]*\b{kind}\b', page)] == []


def test_every_colour_has_a_chip(enter: Enter) -> None:
    light = CSS.split(":root {")[1].split("}")[0]
    named = {name for name, value in re.findall(r"--([\w-]+): (#\w{6});", light)}
    assert set(TOKENS) <= named
    assert named - set(TOKENS) == {
        "on-enamel",
        "act-over",
        "on-act",
        "mind-band",
        "on-manila",
        "focus",
    }  # of the other chips


def test_the_dark_has_every_colour_of_the_light_and_paper_has_none_of_the_dark() -> None:
    """A colour that only the light knows would stay as it is in the dark; on paper light letters would be lost."""
    light = set(re.findall(r"--([\w-]+): #", CSS.split(":root {")[1].split("}")[0]))
    dark = CSS.split("@media screen and (prefers-color-scheme: dark) {")[1].split(":root {")[1].split("}")[0]
    assert light - set(re.findall(r"--([\w-]+): #", dark)) == {"on-enamel"}
    assert CSS.count("prefers-color-scheme") == 1


def test_days_are_written_in_one_way_on_every_page() -> None:
    """``date:"DATE_FORMAT"`` for days, ``moment`` for instants, ``TIME_FORMAT`` for the clock of a day that is named.

    ``c`` and ``Y-m-d`` are for machines, the names of a day and of a month for heads.
    """
    allowed = {"DATE_FORMAT", "TIME_FORMAT", "c", "Y-m-d", "l", "M Y"}
    found = [
        f"{path.relative_to(TEMPLATES)}: {form}"
        for path in sorted(TEMPLATES.rglob("*.html"))
        for form in re.findall(r"""\|(?:date|time):["']([^"']*)["']""", path.read_text())
        if form not in allowed
    ]
    assert found == []


@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_a_moment_is_the_day_and_the_shops_clock(language: str, settings: object) -> None:
    from django.utils import translation

    settings.TIME_ZONE = "Europe/London"  # type: ignore[attr-defined]
    with translation.override(language):
        assert text.moment(datetime(2026, 3, 2, 14, 5, tzinfo=UTC)) == f"{text.day(date(2026, 3, 2))}, 14:05"


# Worked by hand: a figure space is as wide as a figure, a punctuation space as wide as the mark (Unicode, 6.2).
@pytest.mark.parametrize(
    ("amount", "places", "shown"),
    [
        ("62.5", 2, "62.5\N{FIGURE SPACE}"),
        ("31.25", 2, "31.25"),
        ("48", 2, "48\N{PUNCTUATION SPACE}\N{FIGURE SPACE}\N{FIGURE SPACE}"),
        ("1234.5", 1, "1,234.5"),
        ("0.125", 2, "0.125"),
        ("7", 0, "7"),
    ],
)
def test_the_decimal_marks_of_a_column_stand_in_line(amount: str, places: int, shown: str) -> None:
    assert text.aligned(Decimal(amount), places) == shown


def test_in_a_language_with_a_comma_the_commas_stand_in_line() -> None:
    from django.utils import translation

    with translation.override("de"):
        assert text.aligned(Decimal("62.5"), 2) == "62,5\N{FIGURE SPACE}"


def test_a_region_that_scrolls_is_reached_by_keyboard_and_has_a_name() -> None:
    """Source: WCAG 2.2, 2.1.1 and 4.1.2. What scrolls sideways is a focusable region with a name."""
    wrong = [
        f"{path.relative_to(TEMPLATES)}: {tag}"
        for path in sorted(TEMPLATES.rglob("*.html"))
        for tag in re.findall(r'<\w+[^>]*class="[^"]*\b(?:scroll|offer-scroll)\b[^"]*"[^>]*>', path.read_text())
        if not ('tabindex="0"' in tag and 'role="region"' in tag and "aria-label" in tag)
    ]
    assert wrong == []
