"""The pages of an issued quote."""

import html
import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.engine import formulas
from quotes.pricing import selectors, services
from quotes.pricing.models import Draft, IssuedQuote, Outcome
from shop import guards
from shop.outbox.models import Row
from shop.people.models import User
from tests.pricing.paper import make_papers
from tests.pricing.workshop import Workshop, add_parts, answer, issue, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db
SignedIn = Callable[..., Client]


@pytest.fixture
def signed_in() -> SignedIn:
    def sign_in(*roles: str) -> Client:
        client = Client(headers={"accept-language": "en-gb"})
        if roles:
            person = User.objects.create(username="eve", first_name="Eve")
            person.groups.set(Group.objects.filter(name__in=roles))
            client.force_login(person)
        return client

    return sign_in


@pytest.fixture
def quote(draft: Draft) -> IssuedQuote:
    """Issued today, whatever day it is: the pages look at the clock."""
    now = timezone.now()
    return issue(draft, today=timezone.localdate(now), now=now)


@pytest.fixture
def desk(signed_in: SignedIn) -> Client:
    return signed_in("desk")


def page(quote: IssuedQuote, piece: str = "") -> str:
    return f"/quotes/{quote.uid}/{piece}"


def said(**changes: str) -> dict[str, str]:
    """What is typed into the form, today."""
    today = timezone.localdate().isoformat()
    return {"kind": "accepted", "who": "Margaret Ashgrove", "how": "signed", "said_on": today, "reason": ""} | changes


def text_of(response: Any) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split()))


# --- who may see what ---

PIECES = ["", "paper/", "costs/"]
ANSWERS = {(): 302, ("mechanic",): 403, ("desk",): 200, ("manager",): 200, ("mechanic", "desk"): 200}


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("roles", ANSWERS)
def test_the_front_desk_and_the_manager_may_look_and_mechanics_may_not(
    quote: IssuedQuote, signed_in: SignedIn, piece: str, roles: tuple[str, ...]
) -> None:
    assert signed_in(*roles).get(page(quote, piece)).status_code == ANSWERS[roles]


@pytest.mark.parametrize("roles", ANSWERS)
def test_nor_may_mechanics_or_strangers_record_an_outcome(
    quote: IssuedQuote, signed_in: SignedIn, roles: tuple[str, ...]
) -> None:
    signed_in(*roles).post(page(quote), said())
    assert Outcome.objects.exists() == (ANSWERS[roles] == 200)


@pytest.mark.parametrize("piece", PIECES)
def test_an_unknown_quote_is_not_found(desk: Client, db: None, piece: str) -> None:
    assert desk.get(f"/quotes/{uuid.uuid4()}/{piece}").status_code == 404


@pytest.mark.parametrize("piece", ["paper/", "costs/"])
def test_looking_changes_nothing(desk: Client, quote: IssuedQuote, piece: str) -> None:
    assert desk.post(page(quote, piece)).status_code == 405


# --- where it stands ---


def test_an_open_quote_says_until_when_and_offers_the_form(desk: Client, quote: IssuedQuote) -> None:
    shown = desk.get(page(quote))
    assert "The customer has not answered." in text_of(shown)
    assert 'name="kind"' in shown.content.decode()


def test_a_lapsed_quote_says_so_and_what_to_do(desk: Client, draft: Draft) -> None:
    now = timezone.now()
    quote = issue(draft, today=timezone.localdate(now) - timedelta(days=31), now=now)
    told = text_of(desk.get(page(quote)))
    assert "lapsed" in told
    assert "price the restoration anew and issue it again" in told


def test_an_outcome_is_shown_with_who_how_and_why_and_the_form_is_gone(desk: Client, quote: IssuedQuote) -> None:
    answer(quote, Outcome.Kind.DECLINED, reason="sold the bike", today=timezone.localdate())
    shown = desk.get(page(quote))
    for word in ("declined", "Margaret Ashgrove", "signed on paper", "sold the bike"):
        assert word in text_of(shown)
    assert 'name="kind"' not in shown.content.decode()


def test_versions_lead_to_each_other(desk: Client, draft: Draft, quote: IssuedQuote) -> None:
    newer = issue(draft, today=timezone.localdate(timezone.now()))
    assert page(newer) in desk.get(page(quote)).content.decode()
    assert page(quote) in desk.get(page(newer)).content.decode()


# --- recording the outcome ---


def test_recording_an_acceptance_shows_it_and_says_so_once(desk: Client, quote: IssuedQuote) -> None:
    answered = desk.post(page(quote), said(), follow=True)
    assert answered.redirect_chain == [(page(quote), 302)]
    assert "The outcome is recorded." in text_of(answered)
    kept = Outcome.objects.get()
    assert (kept.kind, kept.who, kept.how, kept.recorded_by) == ("accepted", "Margaret Ashgrove", "signed", "eve")
    assert "The outcome is recorded." not in text_of(desk.get(page(quote)))


WRONG = [
    ({"kind": ""}, "kind", "This field is required."),
    ({"kind": "eaten"}, "kind", "Select a valid choice."),
    ({"who": " "}, "who", "This field is required."),
    ({"who": "x" * 121}, "who", "at most 120 characters"),
    ({"how": ""}, "how", "This field is required."),
    ({"said_on": ""}, "said_on", "This field is required."),
    ({"said_on": "31/31/2026"}, "said_on", "Enter a valid date."),
    ({"said_on": "2999-01-01"}, "said_on", "from the day of issue to today"),
    ({"kind": "declined"}, "reason", "Say in a word why it was declined"),
]


@pytest.mark.parametrize(("change", "field", "told"), WRONG)
def test_what_is_wrong_is_said_at_its_field_and_what_was_typed_stays(
    desk: Client, quote: IssuedQuote, change: dict[str, str], field: str, told: str
) -> None:
    typed = said(**change)
    refused = desk.post(page(quote), typed)
    assert refused.status_code == 422
    form = refused.context["form"]
    assert list(form.errors) == [field]
    assert told in form.errors[field][0]
    assert f'id="id_{field}_error"' in refused.content.decode()
    for name, value in typed.items():
        assert form[name].value() == value
    assert not Outcome.objects.exists()


def test_accepting_a_lapsed_quote_is_refused_at_the_outcome(desk: Client, draft: Draft) -> None:
    now = timezone.now()
    quote = issue(draft, today=timezone.localdate(now) - timedelta(days=31), now=now)
    refused = desk.post(page(quote), said())
    assert "Price it anew" in refused.context["form"].errors["kind"][0]
    assert refused.context["outcome"] is None


def test_who_comes_second_reads_what_was_recorded_first(desk: Client, quote: IssuedQuote) -> None:
    answer(quote, today=timezone.localdate())
    for sent in (
        desk.post(page(quote), said(kind="declined", reason="sold it"), follow=True),
        desk.post(page(quote, "withdraw/"), {"why": "priced wrongly"}, follow=True),
    ):
        told = text_of(sent)
        assert "has an outcome already" in told
        assert "accepted" in told


# --- the PDF ---


def test_the_page_asks_until_the_pdf_is_there(desk: Client, quote: IssuedQuote) -> None:
    waiting = desk.get(page(quote, "paper/")).content.decode()
    assert "The PDF is being made." in waiting
    assert f'hx-get="{page(quote, "paper/")}"' in waiting
    assert 'hx-trigger="every 1s"' in waiting
    make_papers()
    there = desk.get(page(quote, "paper/")).content.decode()
    assert "hx-get" not in there
    address = re.search(r'href="(/papers/[^"]+)"', there)
    assert address
    got = desk.get(address.group(1))
    assert (got.status_code, got.content[:5]) == (200, b"%PDF-")
    assert f'filename="{quote}-v1.pdf"' in got["Content-Disposition"]


def test_a_pdf_that_was_given_up_is_said_so_and_not_asked_for_again(desk: Client, quote: IssuedQuote) -> None:
    Row.objects.update(state="dead", attempts=5)
    told = desk.get(page(quote, "paper/")).content.decode()
    assert "could not be made" in told
    assert "hx-get" not in told


# --- the cost sheet ---


def test_the_sheet_says_that_it_agrees_and_opens_to_formulas_and_sources(desk: Client, quote: IssuedQuote) -> None:
    told = text_of(desk.get(page(quote, "costs/")))
    assert "every figure is as it was issued" in told
    assert formulas.REGISTRY["film_1"].text in told
    assert formulas.REGISTRY["vendor_1"].text in told
    assert "price of 2026-01-05, revision 1, seen in writing" in told
    assert "a margin of 20%" in told


def test_the_sheet_gives_the_reason_below_the_floor(desk: Client, draft: Draft) -> None:
    services.change_draft(draft=draft, changes={"discount": 60}, who="desk", now=timezone.now())
    quote = issue(draft, may_go_below_floor=True, below_floor_reason="show bike")
    told = text_of(desk.get(page(quote, "costs/")))
    assert "below the floor" in told
    assert "show bike" in told


def test_the_sheet_of_a_tampered_quote_says_that_it_does_not_agree(desk: Client, quote: IssuedQuote) -> None:
    with guards.lifted():
        IssuedQuote.objects.update(snapshot=quote.snapshot.replace('"31.37"', '"13.37"'))
    assert "other figures than were issued" in text_of(desk.get(page(quote, "costs/")))


def test_the_sheet_of_a_ruined_quote_says_that_it_cannot_be_recomputed(desk: Client, quote: IssuedQuote) -> None:
    with guards.lifted():
        IssuedQuote.objects.update(snapshot="<ruined>")
    shown = desk.get(page(quote, "costs/"))
    assert shown.status_code == 200
    assert "cannot be recomputed" in text_of(shown)


def test_the_sheet_shows_the_present_method_beside_the_one_of_its_day(
    desk: Client, quote: IssuedQuote, correct_film: Callable[[], None]
) -> None:
    correct_film()
    told = text_of(desk.get(page(quote, "costs/")))
    assert "every figure is as it was issued" in told
    assert "By the present method it would come to" in told


def test_a_big_sheet_opens_one_part_at_a_time(desk: Client, shop: Workshop) -> None:
    one = restoration()
    parts = add_parts(one, shop, 60)
    quote = issue(draft_of(one))
    closed = desk.get(page(quote, "costs/")).content.decode()
    assert "<details" not in closed
    opened = desk.get(page(quote, f"costs/?part={parts[4].uid}")).content.decode()
    assert opened.count('class="sheet-part" id="part-') == 60
    assert re.findall(r'<details class="sheet-part" id="part-([^"]+)" open', opened) == [str(parts[4].uid)]
    assert formulas.REGISTRY["vendor_1"].text in opened


# --- how much is asked of the database ---


def test_a_quote_of_500_lines_asks_no_more_than_one_of_5(desk: Client, shop: Workshop) -> None:
    counts: dict[str, list[int]] = {piece: [] for piece in PIECES}
    for lines in (5, 500):
        one = restoration(f"{lines} lines")
        add_parts(one, shop, lines)
        quote = issue(draft_of(one))
        for piece in PIECES:
            with CaptureQueriesContext(connection) as asked:
                assert desk.get(page(quote, piece)).status_code == 200
            counts[piece].append(len(asked))
    for piece, (few, many) in counts.items():
        assert few == many <= 9, (piece, few, many)


def test_nor_does_a_quote_with_many_versions(desk: Client, draft: Draft) -> None:
    counts = []
    for versions in (2, 6):
        while selectors.quotes(draft.restoration).count() < versions:
            quote = issue(draft)
        with CaptureQueriesContext(connection) as asked:
            assert desk.get(page(quote)).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1], counts
