"""What a customer reads and answers without an account (RELIABILITY S-15, S-19)."""

import html as htmls
import re
from datetime import timedelta
from decimal import Decimal
from html.parser import HTMLParser

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format

from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Receipt, Stage
from shop.journal.models import Entry
from shop.people.models import Shop
from shop.restorations.models import Customer, FinishAgreement, Machine, Part, Restoration
from shop.routes.models import Authorisation
from shop.routes.parts import add_routed_part, choose_finish
from shop.text import money
from tests.pricing.customers import (
    NAME,
    PAGE,
    customer,
    every_row,
    issued_now,
    link_to,
    no,
    other_finish,
    words_of,
    yes,
)
from tests.pricing.paper import make_papers
from tests.pricing.staged import at, bike, note_odds
from tests.pricing.workshop import BY, Workshop, add_parts, answer, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db

REAR_HUB = "zinc plated, not cadmium plated as it left the factory"


@pytest.fixture
def quote(draft: Draft) -> IssuedQuote:
    return issued_now(draft)


@pytest.fixture
def deviating(draft: Draft, shop: Workshop) -> IssuedQuote:
    """Two of three parts get another finish than the factory gave them: one says how, one does not."""
    bracket, spindle, _seat = Part.objects.order_by("pk")
    other_finish(bracket, shop.nickel, REAR_HUB)
    other_finish(spindle, shop.black)
    return issued_now(draft)


def keys() -> list[str]:
    return [str(part.uid) for part in Part.objects.order_by("pk")[:2]]


# --- looking ---


def test_the_page_shows_the_quote_as_on_its_paper_and_where_it_stands(quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    words = words_of(customer(secret).get(PAGE))
    for said in ("Quote Q00001", "waits for your answer", "Bracket 0", "To be paid", "on acceptance", "Total", "Fit"):
        assert said in words
    assert "authorise exactly the lines on this page" in words


def test_looking_changes_nothing_at_all(quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    before = every_row()
    client = customer(secret)
    for path in (f"/c/{secret}/", PAGE, f"{PAGE}?act=accept&said_by=Eve", f"{PAGE}pdf/"):
        for ask in (client.get, client.head):
            assert ask(path).status_code in {200, 302}
    assert every_row() == before


def test_the_shops_own_pages_stay_closed_to_whoever_has_a_link(quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    client = customer(secret)
    for path in (
        "/",
        f"/quotes/{quote.uid}/",
        f"/quotes/{quote.uid}/costs/",
        f"/restorations/{quote.restoration.uid}/",
    ):
        assert client.get(path)["Location"].startswith("/sign-in/")
    assert "<nav" not in client.get(PAGE).content.decode()


def test_no_cost_margin_hour_or_note_of_the_shop_is_on_the_page(draft: Draft, shop: Workshop) -> None:
    """Canaries: figures and words that appear nowhere but inside the shop."""
    quote = issued_now(draft, may_go_below_floor=True, below_floor_reason="CANARY-BELOW-FLOOR")
    answer(
        quote,
        Outcome.Kind.DECLINED,
        reason="CANARY-REASON he haggles",
        today=timezone.localdate(),
        now=timezone.now(),
    )
    _link, secret = link_to(quote)
    page = customer(secret).get(PAGE).content.decode()
    assert "CANARY" not in page
    assert "declined" in page
    for inside in (
        "31.37",
        "18.73",
        "83.90",
        "17.99",
        "14.45",
        "38.60",
        "3.5%",
        "margin",
        "floor",
        "overhead",
        "Mechanic",
    ):
        assert not re.search(rf"(?<!\d){re.escape(inside)}", page), inside  # a longer price may end in the same digits
    for word in ("snapshot", "contingency", "allowance", "Recorded by", "cost"):
        assert word not in words_of(customer(secret).get(PAGE)).lower(), word


def test_another_customers_quote_is_never_on_it(quote: IssuedQuote, shop: Workshop) -> None:
    other = restoration("Heron 250 of somebody else")
    Customer.objects.filter(pk=other.customer_id).update(name="Somebody Else")
    add_parts(other, shop)
    second = issued_now(draft_of(other))
    mine, secret = link_to(quote)
    client = customer(secret)
    words = words_of(client.get(PAGE))
    assert "Somebody Else" not in words
    assert str(second) not in words
    theirs, other_secret = link_to(second)
    refused = client.post(PAGE, yes(theirs))
    assert refused.status_code == 422
    assert "Nothing was answered" in words_of(refused)
    assert not Outcome.objects.exists()
    # Whoever opens another link has that one's page, and an answer meant for the first is not taken for the second.
    client.get(f"/c/{other_secret}/")
    assert client.post(PAGE, yes(mine)).status_code == 422
    assert not Outcome.objects.exists()


def test_the_page_asks_the_database_the_same_however_long_the_quote_is(quote: IssuedQuote, shop: Workshop) -> None:
    long_one = restoration()
    add_parts(long_one, shop, 60)
    counts = []
    for one in (quote, issued_now(draft_of(long_one))):
        client = customer(link_to(one)[1])
        with CaptureQueriesContext(connection) as asked:
            client.get(PAGE)
        counts.append(len(asked))
    assert counts[0] == counts[1] < 12


def test_the_pdf_can_be_kept(quote: IssuedQuote, preloaded: None) -> None:
    _link, secret = link_to(quote)
    client = customer(secret)
    assert "being made" in words_of(client.get(PAGE))
    assert client.get(f"{PAGE}pdf/")["Location"] == PAGE
    make_papers()
    kept = client.get(f"{PAGE}pdf/")
    assert kept.content.startswith(b"%PDF-")
    assert kept["Content-Disposition"] == 'attachment; filename="Q00001-v1.pdf"'
    assert "no-store" in kept["Cache-Control"]


# --- accepting ---


def test_accepting_is_kept_with_name_day_and_way_and_authorises_exactly_its_steps(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    answer = client.post(PAGE, yes(link))
    assert (answer.status_code, answer["Location"]) == (302, PAGE)
    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.who, outcome.how) == ("accepted", NAME, "online")
    assert outcome.said_on == timezone.localdate()
    assert outcome.recorded_by == f"customer, by link {link.uid.hex[:6]}"
    assert set(Authorisation.objects.values_list("step_uid", flat=True)) == set(
        quote.steps.values_list("step_uid", flat=True)
    )
    words = words_of(client.get(PAGE))
    assert f"Accepted by {NAME}" in words
    assert "on this page" in words
    assert "Your answer" not in words


def test_after_accepting_the_page_says_what_is_paid_first_and_how_to_reach_the_shop(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    assert "What is next" not in words_of(client.get(PAGE))
    client.post(PAGE, yes(link))
    # By the policy of this workshop: 30 % on acceptance, the rest on handing over, which has no day yet.
    quote.instalments.filter(position=2).update(reached_on=None, due_on=None)
    deposit, balance = quote.instalments.order_by("position")
    amount = money(Decimal(deposit.amount_minor) / 100, quote.currency)
    words = words_of(client.get(PAGE)).split("What is next")[1].split("The PDF is being made")[0]
    assert f"Deposit: {amount} , to be paid by {date_format(deposit.due_on, 'DATE_FORMAT')}" in words
    assert balance.name not in words
    assert "01632 960118" in words
    receipt = {"number": 1, "currency": quote.currency, "received_on": timezone.localdate(), "recorded_by": "desk"}
    Receipt.objects.create(
        restoration=quote.restoration, amount_minor=deposit.amount_minor, at=timezone.now(), **receipt
    )
    words = words_of(client.get(PAGE)).split("What is next")[1].split("The PDF is being made")[0]
    assert "Deposit" not in words
    assert f"Balance: {money(Decimal(balance.amount_minor) / 100, quote.currency)} , on handing over." in words


def test_a_second_answer_shows_calmly_what_was_settled(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    client.post(PAGE, yes(link))
    before = every_row()
    for sent in (yes(link), yes(link, said_by="Eve"), no(link)):
        again = client.post(PAGE, sent, follow=True)
        assert again.status_code == 200
        assert f"Accepted by {NAME}" in words_of(again)
    assert every_row() == before


def test_a_form_from_another_site_is_refused(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = Client(enforce_csrf_checks=True)
    client.get(f"/c/{secret}/")
    assert client.post(PAGE, yes(link)).status_code == 403
    token = client.get(PAGE).context["csrf_token"]
    assert client.post(PAGE, yes(link, csrfmiddlewaretoken=str(token))).status_code == 302
    assert Outcome.objects.get().kind == "accepted"


@pytest.mark.parametrize("name", ["", "   ", "x" * 121, "a\x00b"])
def test_without_a_name_nothing_is_accepted(quote: IssuedQuote, name: str) -> None:
    link, secret = link_to(quote)
    refused = customer(secret).post(PAGE, yes(link, said_by=name))
    assert refused.status_code == 422
    assert refused.context["accept"].errors["said_by"]
    assert not Outcome.objects.exists()


def test_each_deviation_of_finish_is_ticked_by_itself_and_lands_as_a_signature(
    deviating: IssuedQuote, shop: Workshop
) -> None:
    link, secret = link_to(deviating)
    client = customer(secret)
    page = words_of(client.get(PAGE))
    assert f"Bracket 0: I agree to Black stove enamel. Deviation: {REAR_HUB}" in page
    assert "Spindle 1: I agree to Dull nickel. Deviation: the factory finish was Black stove enamel" in page
    for ticked in ([], keys()[:1], keys()[1:], ["nonsense"], [*keys(), "nonsense"]):
        refused = client.post(PAGE, yes(link, signed=ticked))
        assert refused.status_code == 422, ticked
        assert refused.context["accept"].errors["signed"], ticked
    assert not Outcome.objects.exists()
    assert not FinishAgreement.objects.exists()
    assert client.post(PAGE, yes(link, signed=keys())).status_code == 302
    signed = {row.part.name: row for row in FinishAgreement.objects.all()}
    assert set(signed) == {"Bracket 0", "Spindle 1"}
    bracket = signed["Bracket 0"]
    assert (bracket.finish, bracket.deviation, bracket.who, bracket.how) == (shop.black, REAR_HUB, NAME, "online")
    assert signed["Spindle 1"].finish == shop.nickel
    assert Entry.objects.filter(what="finish agreed").count() == 2


def test_what_is_still_unticked_is_named_by_its_part(deviating: IssuedQuote) -> None:
    link, secret = link_to(deviating)
    refused = customer(secret).post(PAGE, yes(link, signed=keys()[:1]))
    assert "Spindle 1" in str(refused.context["accept"].errors["signed"])
    assert "Bracket 0" not in str(refused.context["accept"].errors["signed"])
    assert (
        re.findall(r'type="checkbox" name="signed" value="([^"]+)"[^>]*checked', refused.content.decode()) == keys()[:1]
    )


def test_the_signature_is_for_what_the_quote_says_also_when_the_desk_went_on(
    deviating: IssuedQuote, shop: Workshop
) -> None:
    link, secret = link_to(deviating)
    bracket = Part.objects.get(name="Bracket 0")
    choose_finish(part=bracket, finish=shop.nickel, **BY)
    assert customer(secret).post(PAGE, yes(link, signed=keys())).status_code == 302
    assert FinishAgreement.objects.get(part=bracket).finish == shop.black
    bracket.refresh_from_db()
    assert bracket.agreed_finish == shop.nickel


def test_declining_asks_why_and_keeps_it(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    refused = client.post(PAGE, no(link, reason=" "))
    assert refused.status_code == 422
    assert refused.context["decline"].errors["reason"]
    assert not Outcome.objects.exists()
    client.post(PAGE, no(link))
    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.who, outcome.how, outcome.reason) == ("declined", NAME, "online", "sold the machine")
    assert not Authorisation.objects.exists()
    assert "You said: sold the machine" in words_of(client.get(PAGE))


# --- stages and standings ---


@pytest.mark.parametrize("stage", [Stage.BALLPARK, Stage.INSPECT, Stage.MAIN, Stage.VARIATION])
def test_every_stage_but_a_ballpark_can_be_accepted(shop: Workshop, stage: Stage) -> None:
    note_odds()
    draft = bike(shop)
    if stage == Stage.VARIATION:
        services.record_outcome(
            quote=issued_now(at(draft, Stage.MAIN)),
            kind=Outcome.Kind.ACCEPTED,
            said_by=NAME,
            how=Outcome.How.SIGNED,
            today=timezone.localdate(),
            who="desk",
            now=timezone.now(),
        )
        add_routed_part(
            restoration=draft.restoration, name="Chain case", area=3, finish=shop.black, material="steel", **BY
        )
    quote = issued_now(at(draft, stage))
    link, secret = link_to(quote)
    client = customer(secret)
    page = client.get(PAGE)
    offered = "Accept" in words_of(page) and page.context["accept"] is not None
    client.post(PAGE, yes(link))
    accepted = Outcome.objects.filter(quote=quote, kind="accepted", how="online").exists()
    assert offered == accepted == (stage != Stage.BALLPARK)


def test_a_lapsed_quote_says_so_and_cannot_be_accepted(draft: Draft) -> None:
    quote = issued_now(draft, today=timezone.localdate() - timedelta(days=31))
    link, secret = link_to(quote)
    client = customer(secret)
    page = client.get(PAGE)
    assert "It could be accepted until" in words_of(page)
    assert page.context["accept"] is None
    assert client.post(PAGE, yes(link)).status_code == 422
    assert not Outcome.objects.exists()


def test_the_last_day_still_counts(draft: Draft) -> None:
    quote = issued_now(draft, today=timezone.localdate() - timedelta(days=30))
    link, secret = link_to(quote)
    assert quote.valid_until == timezone.localdate()
    customer(secret).post(PAGE, yes(link))
    assert Outcome.objects.get().kind == "accepted"


def test_replaced_and_withdrawn_read_differently(draft: Draft) -> None:
    first = issued_now(draft)
    link, secret = link_to(first)
    client = customer(secret)
    second = issued_now(draft)
    words = words_of(client.get(PAGE))
    assert f"A newer quote, {second}, took its place" in words
    assert "withdrew" not in words
    assert "Accepted" not in words_of(client.post(PAGE, yes(link), follow=True))
    answer(second, Outcome.Kind.WITHDRAWN, reason="CANARY", today=timezone.localdate(), now=timezone.now())
    words = words_of(customer(link_to(second)[1]).get(PAGE))
    assert "We withdrew it on" in words
    assert "took its place" not in words
    assert "CANARY" not in words


# --- hostile words ---

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{7*7}}{% now %}&amp;<b>"


class Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, str | None]] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen += [(tag, None), *((tag, name) for name, _value in attrs)]

    def handle_data(self, data: str) -> None:
        self.words += data


def test_no_word_of_anybody_becomes_an_element_of_the_page(draft: Draft, shop: Workshop) -> None:
    Shop.objects.update(name=HOSTILE, address=HOSTILE)
    Customer.objects.update(name=HOSTILE, address=HOSTILE)
    Machine.objects.update(frame_number=HOSTILE[:40], engine_number=HOSTILE[:40], model=HOSTILE[:60])
    Restoration.objects.update(title=HOSTILE)
    part = Part.objects.order_by("pk")[0]
    other_finish(part, shop.nickel, HOSTILE)
    Part.objects.update(name=HOSTILE)
    quote = issued_now(draft)
    link, secret = link_to(quote)
    client = customer(secret)
    pages = [
        client.get(PAGE),
        client.post(PAGE, yes(link, said_by=HOSTILE)),
        client.post(PAGE, no(link, said_by=HOSTILE, reason="")),
    ]
    client.post(PAGE, yes(link, said_by=HOSTILE, signed=[str(part.uid)]))
    pages.append(client.get(PAGE))
    assert Outcome.objects.get().who == HOSTILE
    for shown in pages:
        parser = Elements()
        parser.feed(shown.content.decode())
        assert ("img", None) not in parser.seen
        assert not [one for one in parser.seen if one[1] and one[1].startswith("on")]
        assert all("alert" not in (src or "") for tag, src in parser.seen if tag == "script")
        assert HOSTILE in parser.words
        assert htmls.escape("<script>alert(1)</script>") in shown.content.decode()
