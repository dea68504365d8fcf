"""Two versions of a quote side by side, on the page and in words."""

from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.desk.changes import TERMS, WORDS, told_change
from quotes.desk.templatetags.desk_sums import days_change, iso_day, money_change, money_rounded
from quotes.engine import comparing
from quotes.engine.comparing import Change, ChangeKind
from quotes.pricing import services
from quotes.pricing.comparing import compare, snapshot
from quotes.pricing.models import Draft, IssuedQuote
from shop.restorations.models import Restoration
from shop.routes.parts import edit_part
from tests.desk.test_editor import HTMX
from tests.planned import fresh_draft, lever, planning_workshop
from tests.workshop import SINCE, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop, settings: Any, tmp_path: Path) -> Restoration:
    settings.MEDIA_ROOT = tmp_path
    made = restoration()
    frame(made, shop)
    lever(made, shop)
    return made


def issue(of: Restoration) -> IssuedQuote:
    draft = fresh_draft(of)
    return services.issue(
        draft=draft,
        seen_scope=of.scope_version,
        seen_draft=draft.version,
        today=TODAY,
        guesses_are_told=True,
        may_go_below_floor=True,
        below_floor_reason="show bike",
        **WHO,
    )


def address(of: Restoration) -> str:
    return reverse("desk:compare", args=[of.uid])


def text(client: Client, of: Restoration, *, htmx: bool = False, **asked: str) -> str:
    answer = client.get(address(of), asked, **(HTMX if htmx else {}))
    assert answer.status_code == 200
    return answer.content.decode()


def test_comparing_is_for_desk_and_manager(
    bike: Restoration, manager: Client, mechanic: Client, nobody: Client, stranger: Client
) -> None:
    assert [who.get(address(bike)).status_code for who in (manager, mechanic, nobody)] == [200, 403, 403]
    answer = stranger.get(address(bike))
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, "/sign-in/")


def test_with_no_quote_issued_the_page_says_what_to_do(bike: Restoration, front_desk: Client) -> None:
    for asked in ({}, {"now": "1"}, {"before": "", "after": "draft"}):
        html = text(front_desk, bike, **asked)
        assert "Nothing to compare yet" in html
        assert "Issue a quote first" in html


def test_without_a_word_it_is_the_newest_quote_against_the_draft(bike: Restoration, front_desk: Client) -> None:
    issue(bike)
    newest = issue(bike)
    html = text(front_desk, bike)
    assert f'<option value="{newest.uid}" selected>Q00002' in html
    assert '<option value="draft" selected>the draft as it stands' in html
    assert f'hx-get="{address(bike)}?before={newest.uid}&amp;after=draft"' in html
    assert "What changed, and what each change did" not in html  # that is fetched


@pytest.mark.parametrize("htmx", [True, False])
def test_every_change_is_shown_with_what_it_did(bike: Restoration, front_desk: Client, htmx: bool) -> None:
    quote = issue(bike)
    edit_part(part=bike.parts.get(name="Frame"), changes={"pieces": 2}, **WHO)
    later = issue(bike)
    html = text(front_desk, bike, htmx=htmx, before=str(quote.uid), after=str(later.uid), now="1")
    assert ("<html" in html) != htmx
    assert "Frame: pieces" in html
    (effect,) = compare(snapshot(quote), snapshot(later)).effects
    assert f'<td class="num">{money_change(effect.price)}</td>' in html
    assert effect.price > 0


def test_against_the_draft_nothing_changed_is_said(bike: Restoration, front_desk: Client) -> None:
    quote = issue(bike)
    html = text(front_desk, bike, htmx=True, before=str(quote.uid), after=str(quote.uid))
    assert "Nothing that moves a figure has changed." in html


def test_any_two_versions_are_compared_the_draft_with_itself_too(bike: Restoration, front_desk: Client) -> None:
    quote = issue(bike)
    for before, after in (("draft", "draft"), ("draft", str(quote.uid)), (str(quote.uid), "draft")):
        assert "What changed" in text(front_desk, bike, htmx=True, before=before, after=after)


@pytest.mark.parametrize("which", ["before", "after"])
def test_a_version_nobody_knows_is_not_found(bike: Restoration, front_desk: Client, which: str) -> None:
    issue(bike)
    other = restoration("Plover 125")
    for asked in ("nonsense", str(uuid4()), address(other)):
        assert front_desk.get(address(bike), {which: asked}).status_code == 404
    assert front_desk.get(address(bike), {"after": ""}).status_code == 404


def test_the_quote_of_another_bike_is_not_found(bike: Restoration, shop: Workshop, front_desk: Client) -> None:
    other = restoration("Plover 125")
    frame(other, shop)
    foreign = issue(other)
    issue(bike)
    assert front_desk.get(address(bike), {"before": str(foreign.uid)}).status_code == 404


def test_a_draft_that_cannot_be_priced_says_why(bike: Restoration, front_desk: Client) -> None:
    issue(bike)
    Draft.objects.filter(restoration=bike).update(priced_on=SINCE - timedelta(days=1))
    assert "There is no price policy in force" in text(front_desk, bike, htmx=True)
    assert "There is no price policy in force" in text(front_desk, bike, now="1")


def test_it_asks_the_same_number_of_questions_for_one_part_and_for_many(
    shop: Workshop, front_desk: Client, settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path

    def asked(parts: int) -> int:
        bike = restoration(f"Bike {parts}")
        for number in range(parts):
            frame(bike, shop, name=f"Frame {number}")
            lever(bike, shop, name=f"Lever {number}")
        issue(bike)
        for part in bike.parts.all():
            edit_part(part=part, changes={"pieces": 2}, **WHO)
        with CaptureQueriesContext(connection) as caught:
            assert text(front_desk, bike, htmx=True).count(": pieces</th>") == 2 * parts
        return len(caught)

    assert asked(1) == asked(8)


# --- in words ---


def test_every_kind_of_change_has_words() -> None:
    assert WORDS.keys() == set(ChangeKind)
    for kind in ChangeKind:
        name = "discount" if kind is ChangeKind.TERMS else "Frame"
        said = told_change(Change(kind, "key", name, "Fork", ("pieces", "area")))
        assert said
        assert "%" not in said
    assert set(comparing._TERMS) == TERMS.keys()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change(ChangeKind.PART, "", "Frame", fields=("pieces", "area")), "Frame: pieces, area"),
        (Change(ChangeKind.PART, "", "Frame", fields=("unheard_of",)), "Frame: details"),
        (Change(ChangeKind.STEP, "", "Blast", "Frame", ("factor",)), "Frame, “Blast”: condition"),
        (Change(ChangeKind.STEP_OUT, "", "Blast", "Frame"), "Frame: “Blast” taken off"),
        (Change(ChangeKind.PART_IN, "", "100 % new"), "100 % new came in"),
        (Change(ChangeKind.TERMS, "fee", "fee"), "Terms: fee"),
        (Change(ChangeKind.RATE, "", "Blast", fields=("run", "setup")), "Rate book, Blast: run time, set-up time"),
    ],
)
def test_a_change_says_what_of_it_changed(change: Change, words: str) -> None:
    assert told_change(change) == words


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        (D("12.345"), "+€12.35"),
        (D("-12.345"), "\N{MINUS SIGN}€12.35"),
        (D("0.004"), "\N{EN DASH}"),
        (D("-0.004"), "\N{EN DASH}"),
        (D(0), "\N{EN DASH}"),
    ],
)
def test_a_difference_of_money_has_its_sign_or_is_none(amount: Decimal, words: str) -> None:
    assert money_change(amount) == words


def test_days_and_costs_are_written_as_people_do() -> None:
    assert money_rounded(D("1") / 3) == "€0.33"
    assert (days_change(D(3)), days_change(D(-1)), days_change(D(0)), days_change(None)) == (
        "3 days later",
        "1 day sooner",
        "\N{EN DASH}",
        "\N{EN DASH}",
    )
    assert (iso_day("2026-05-04"), iso_day("")) == ("4 May 2026", "not planned")
