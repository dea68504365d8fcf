"""The desk sends a quote, hands out links and closes them, and takes a quote off the table."""

import html
import re
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from django.utils import timezone

from quotes.pricing.customers import letters, links, mailing, sending
from quotes.pricing.models import Draft, IssuedQuote, Link, Mailed, Outcome, QuotePaper, Stage
from quotes.pricing.paper import offer_of
from quotes.pricing.templatetags.pricing_text import version_words
from shop.outbox import services as outbox
from shop.outbox.mail import one_line
from shop.outbox.models import Row
from shop.papers.services import store
from shop.people.models import User
from shop.restorations.models import Customer
from tests.pricing.customers import PAGE, customer, every_row, issued_now, link_to, words_of, yes
from tests.pricing.post import FROM, Office, account, post_office, text_of
from tests.pricing.staged import at, bike, note_odds
from tests.pricing.workshop import Workshop, answer

pytestmark = pytest.mark.django_db

TO = "margaret@ashgrove.example"
ACTS = ["send/", "link/", "withdraw/"]


@pytest.fixture
def quote(draft: Draft) -> IssuedQuote:
    Customer.objects.update(email=TO)
    return issued_now(draft)


def signed_in(*roles: str) -> Client:
    client, person = Client(), User.objects.create(username="ida", first_name="Ida")
    person.groups.set(Group.objects.filter(name__in=roles))
    client.force_login(person)
    return client


@pytest.fixture
def desk(db: None) -> Client:
    return signed_in("desk")


@pytest.fixture
def office(settings: Any) -> Iterator[Office]:
    with post_office() as opened:
        settings.MAIL, settings.MAIL_FROM, settings.ADDRESS = account(opened.port), FROM, ""
        yield opened


def page(quote: IssuedQuote, piece: str = "") -> str:
    return f"/quotes/{quote.uid}/{piece}"


def letter(**changes: Any) -> dict[str, Any]:
    return {"address": TO, "subject": "Our quote", "text": "Dear Margaret,", "once": str(uuid.uuid4())} | changes


# --- who may ---


@pytest.mark.parametrize("act", ACTS)
def test_only_the_desk_and_the_manager_may(quote: IssuedQuote, office: Office, act: str) -> None:
    sent = letter() | {"why": "dear"}
    assert Client().post(page(quote, act), sent)["Location"].startswith("/sign-in/")
    assert signed_in("mechanic").post(page(quote, act), sent).status_code == 403
    assert [model.objects.count() for model in (Link, Mailed, Outcome)] == [0, 0, 0]
    assert not Row.objects.filter(handler=mailing.MAIL_HANDLER).exists()


@pytest.mark.parametrize("act", ACTS)
def test_looking_at_the_address_of_a_form_leads_back_to_the_quote(desk: Client, quote: IssuedQuote, act: str) -> None:
    before = every_row()
    assert desk.get(page(quote, act))["Location"] == page(quote)
    assert every_row() == before


def test_a_mechanic_cannot_revoke(quote: IssuedQuote) -> None:
    link, _secret = link_to(quote)
    assert signed_in("mechanic").post(f"/quotes/links/{link.uid}/revoke/").status_code == 403
    assert Link.objects.get().revoked_at is None


# --- mail ---


def test_what_is_typed_goes_out_with_a_link_that_lets_the_customer_in(
    desk: Client, quote: IssuedQuote, office: Office
) -> None:
    given: dict[str, Any] = {"name": "Q.pdf", "media_type": "application/pdf", "content": b"%PDF-1.7 made up"}
    QuotePaper.objects.create(quote=quote, document=store(now=timezone.now(), **given))
    assert desk.post(page(quote, "send/"), letter()).status_code == 302
    assert "on its way" in words_of(desk.get(page(quote)))
    mailed = Mailed.objects.get()
    assert (mailed.address, mailed.subject, mailed.text, mailed.who) == (TO, "Our quote", "Dear Margaret,", "ida")
    assert mailed.quote == quote
    row = Row.objects.get(key=mailed.job_key)
    outbox.deliver(row.pk, now=timezone.now(), worker="w1")
    found = re.search(r"http://testserver(/c/[\w-]{43}/)", text_of(office.letters[0]))
    assert found
    reader = Client()
    assert reader.get(found[1], follow=True).status_code == 200
    assert "Q00001" in words_of(reader.get(PAGE))
    words = words_of(desk.get(page(quote)))
    assert f"{TO} sent" in words


def test_the_button_pressed_twice_sends_once(desk: Client, quote: IssuedQuote, office: Office) -> None:
    sent = letter()
    desk.post(page(quote, "send/"), sent)
    desk.post(page(quote, "send/"), sent)
    assert Mailed.objects.count() == Row.objects.filter(handler=mailing.MAIL_HANDLER).count() == 1


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("address", ""),
        ("address", "a@b\nBcc: eve@example.org"),
        ("address", "a@b.example, c@d.example"),
        ("subject", ""),
        ("subject", "a\nBcc: eve@example.org"),
        ("subject", "a\u2028b"),
        ("subject", "a\x00b"),
        ("subject", "=?utf-8?q?a=0ABcc:_eve@example.org?="),
        ("subject", "x" * 201),
        ("text", ""),
        ("text", "a\x00b"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_sent(
    desk: Client, quote: IssuedQuote, office: Office, field: str, text: str
) -> None:
    refused = desk.post(page(quote, "send/"), letter(**{field: text}))
    assert refused.status_code == 422
    assert list(refused.context["mail_form"].errors) == [field]
    assert not Mailed.objects.exists()
    kept = {"address": TO, "subject": "Our quote", "text": "Dear Margaret,"}
    shown = html.unescape(refused.content.decode())
    assert all(word in shown for name, word in kept.items() if name != field)


def test_without_a_mail_server_the_page_says_so_and_offers_the_link(
    desk: Client, quote: IssuedQuote, settings: Any
) -> None:
    settings.MAIL = None
    shown = desk.get(page(quote))
    assert "This workshop’s mail is not set up: make a link and send it yourself." in words_of(shown)
    folded = re.sub(r"<details.*?</details>", "", shown.content.decode(), flags=re.S)
    assert "BAREFRAME_" not in folded  # what a front desk cannot do is one touch away, not in its face
    assert "Make a link to this quote" in words_of(shown)
    assert 'name="subject"' not in shown.content.decode()
    assert desk.post(page(quote, "send/"), letter()).status_code == 422
    assert not Mailed.objects.exists()


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("done", "sent"),
        ("dead", "The mail server did not take it"),
        ("unknown", "It may or may not have arrived. Ask the customer before you send it again."),
        ("pending", "on its way"),
    ],
)
def test_how_far_a_mail_got_stands_on_the_page(
    desk: Client, quote: IssuedQuote, office: Office, state: str, said: str
) -> None:
    desk.post(page(quote, "send/"), letter())
    done = {"done_at": timezone.now()} if state == "done" else {}
    Row.objects.filter(handler=mailing.MAIL_HANDLER).update(state=state, **done)
    assert said in words_of(desk.get(page(quote)))


@pytest.mark.parametrize("stage", [Stage.BALLPARK, Stage.INSPECT, Stage.MAIN])
def test_the_proposed_mail_speaks_of_its_stage_and_names_no_cost(shop: Workshop, stage: Stage) -> None:
    note_odds()
    offer = offer_of(issued_now(at(bike(shop), stage)))
    subject, text = letters.subject(offer), letters.text(offer)
    one_line(subject)
    assert offer.number in subject
    assert offer.machine in subject
    assert text.startswith("Dear Margaret Ashgrove,\n\nhere is ")
    assert text.endswith("Kind regards\nLow Mill Restorations")
    assert ("no offer" in text) == (stage == Stage.BALLPARK)
    assert ("fixed fee" in text) == (stage == Stage.INSPECT)
    assert ("You can accept it until" in text) == (stage != Stage.BALLPARK)


# --- links ---


def test_a_link_is_shown_once_and_opens_the_customers_page(desk: Client, quote: IssuedQuote) -> None:
    shown = desk.post(page(quote, "link/"))
    found = re.search(r'value="http://testserver(/c/([\w-]{43})/)"', shown.content.decode())
    assert found
    assert "no-store" in shown["Cache-Control"]
    assert 'src="data:image/svg+xml' in shown.content.decode()
    assert found[2] not in desk.get(page(quote)).content.decode()
    assert not any(found[2] in row for rows in every_row().values() for row in rows)
    reader = Client()
    assert reader.get(found[1], follow=True).status_code == 200


def test_a_revoked_link_is_listed_as_such_and_opens_nothing(desk: Client, quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    assert f"Link {links.short(link)} open until" in words_of(desk.get(page(quote)))
    desk.post(f"/quotes/links/{link.uid}/revoke/")
    assert f"Link {links.short(link)} revoked" in words_of(desk.get(page(quote)))
    assert Client().get(f"/c/{secret}/").status_code == 404


def test_a_link_that_ran_out_is_listed_as_such(desk: Client, quote: IssuedQuote) -> None:
    link, _secret = link_to(quote)
    Link.objects.update(expires_at=link.made_at)
    assert f"Link {links.short(link)} run out" in words_of(desk.get(page(quote)))


@pytest.mark.parametrize(
    ("base", "only_here"),
    [
        ("http://localhost:8000", True),
        ("http://127.0.0.1:8000", True),
        ("http://[::1]:8000", True),
        ("http://192.168.1.7", True),
        ("https://bench", True),
        ("https://bench.local", True),
        ("https://shop.example", False),
        ("https://8.8.4.4", False),
    ],
)
def test_whether_customers_can_reach_an_address(base: str, only_here: bool) -> None:
    # Source: RFC 1918 (192.168/16), RFC 5735 and 4291 (loopback), RFC 6762 (.local).
    assert sending.opens_only_here(base) is only_here


# --- off the table ---


def test_withdrawing_asks_why_and_not_what_the_customer_is_called(desk: Client, quote: IssuedQuote) -> None:
    refused = desk.post(page(quote, "withdraw/"), {"why": " "})
    assert refused.status_code == 422
    assert refused.context["withdraw_form"].errors["why"]
    assert not Outcome.objects.exists()
    link, secret = link_to(quote)
    desk.post(page(quote, "withdraw/"), {"why": "priced without the tank"})
    outcome = Outcome.objects.get()
    assert (outcome.kind, outcome.reason, outcome.who) == ("withdrawn", "priced without the tank", "ida")
    words = words_of(desk.get(page(quote)))
    assert "The workshop took it back" in words
    assert "priced without the tank" in words
    assert "Who said so" not in words
    customer(secret).post(PAGE, yes(link))
    assert Outcome.objects.get().kind == "withdrawn"


def test_replaced_reads_differently_and_leads_to_the_newer_one(desk: Client, draft: Draft) -> None:
    first = issued_now(draft)
    second = issued_now(draft)
    shown = desk.get(page(first))
    words = words_of(shown)
    assert f"It was replaced by {second}" in words
    assert page(second) in shown.content.decode()
    assert "replaced by a newer one" in words
    assert "took it back" not in words
    assert f"{first} main offer replaced by a newer one" in words_of(desk.get(page(second)))


def test_what_is_off_the_table_is_not_sent_and_what_was_accepted_may_be(desk: Client, draft: Draft) -> None:
    first = issued_now(draft)
    second = issued_now(draft)
    given: dict[str, Any] = {"today": timezone.localdate(), "now": timezone.now()}
    answer(second, **given)
    assert "Make a link to this quote" not in words_of(desk.get(page(first)))
    assert "Make a link to this quote" in words_of(desk.get(page(second)))


def test_the_desk_cannot_say_that_something_was_said_on_the_customers_page(desk: Client, quote: IssuedQuote) -> None:
    said = {"kind": "accepted", "who": "Eve", "how": "online", "said_on": timezone.localdate().isoformat()}
    assert desk.post(page(quote), said).context["form"].errors["how"]
    assert desk.post(page(quote), said | {"how": "phone", "kind": "withdrawn"}).context["form"].errors["kind"]
    assert desk.post(page(quote), said | {"how": "phone", "kind": "declined"}).context["form"].errors["reason"]
    assert not Outcome.objects.exists()


def test_which_quote_of_a_restoration_it_is_is_said_in_words() -> None:
    assert version_words(1) == "first quote for this restoration"
    assert version_words(10) == "tenth quote for this restoration"
    assert version_words(11) == "quote number 11 for this restoration"
