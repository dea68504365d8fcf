"""The customer's page about a restoration: what stands there, who may see it, and that looking changes nothing (S-13, S-15, S-19)."""

import re
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format

from quotes.pricing.customers import links, mailing, messages, sharing
from quotes.pricing.models import Draft, Instalment, Link, Mailed, Message, Receipt, Shared
from shop.journal.models import Entry
from shop.outbox.models import Row
from shop.people.models import Shop
from shop.restorations.evidence import add_evidence
from shop.restorations.models import Intake, Part, Restoration
from shop.routes.models import Authorisation, Plan, Step
from shop.routes.parts import edit_part
from shop.routes.planning import hold
from tests.desk import rows
from tests.papers.pictures import keep, plain
from tests.planned import agree_to, kept, lever, planning_workshop
from tests.pricing.customers import every_row, issued_now, words_of
from tests.pricing.told import accepted, ago, answer, ask, browser_of, link_for, photograph, say_yes, share
from tests.workshop import WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
PAGE, ASK = "/c/progress/", "/c/ask/"


@pytest.fixture
def bike() -> Restoration:
    Shop.objects.create(name="Hollow Lane Works", phone="01632 960118")
    return accepted()


@pytest.fixture
def customer(bike: Restoration) -> Client:
    return browser_of(bike)


def page(client: Client) -> str:
    answer = client.get(PAGE)
    assert answer.status_code == 200
    return words_of(answer)


def shown(day: Any) -> str:
    return date_format(day, "DATE_FORMAT")


def sent(client: Client, **changes: Any) -> dict[str, Any]:
    """The form as the page has it, filled in."""
    given = client.get(PAGE).context["ask_form"].initial
    given = {"uid": given["uid"], "link": given["link"], "text": "When can I see it?", "name": "Jo Fenwick"} | changes
    return {f"ask-{name}": value for name, value in given.items()}


# -- who may ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("address", [PAGE, ASK, "/c/photograph/{}/", "/c/photograph/{}/small/"])
def test_without_a_link_every_page_is_the_same_closed_one(bike: Restoration, address: str) -> None:
    picture = keep(plain())
    share(bike, photograph=picture)
    of_quote = browser_of(bike, bike.quotes.get())
    for client in (Client(), of_quote) if address != ASK else (Client(),):
        answers = [client.get(address.format(uid)) for uid in (picture.uid, uuid.uuid4())]
        assert [one.status_code for one in answers] == [404, 404]
        assert answers[0].content == answers[1].content
        assert "This page is closed" in words_of(answers[0])


def test_a_link_that_ran_out_or_was_closed_opens_nothing(bike: Restoration) -> None:
    (link, secret), client = link_for(bike), Client()
    client.get(f"/c/{secret}/")
    assert client.get(PAGE).status_code == 200
    Link.objects.filter(pk=link.pk).update(expires_at=ago(0, 0))
    assert client.get(PAGE).status_code == 404
    Link.objects.filter(pk=link.pk).update(expires_at=ago(-1))
    assert client.get(PAGE).status_code == 200
    links.revoke(link=link, who="ada", now=timezone.now())
    assert client.get(PAGE).status_code == 404
    assert client.post(ASK, {"ask-text": "Hello?", "ask-name": "Jo", "ask-link": link.uid}).status_code == 404
    assert not Message.objects.exists()


def test_another_customers_photograph_one_taken_back_one_not_shared_and_none_are_the_same(
    bike: Restoration, customer: Client
) -> None:
    other = accepted("Teal 350")
    mine, theirs, taken, unshared = (keep(plain(colour=colour)) for colour in ("red", "green", "blue", "grey"))
    share(bike, photograph=mine)
    share(other, photograph=theirs)
    sharing.take_back(shared=share(bike, photograph=taken), who="ada", now=timezone.now())
    for suffix in ("", "small/"):
        assert customer.get(f"/c/photograph/{mine.uid}/{suffix}").status_code == 200
        uids = (theirs.uid, taken.uid, unshared.uid, uuid.uuid4())
        answers = [customer.get(f"/c/photograph/{uid}/{suffix}") for uid in uids]
        assert [one.status_code for one in answers] == [404] * 4
        assert len({one.content for one in answers}) == 1


def test_what_is_taken_back_can_be_shared_again(bike: Restoration, customer: Client) -> None:
    picture = keep(plain())
    sharing.take_back(shared=share(bike, photograph=picture), who="ada", now=timezone.now())
    share(bike, photograph=picture)
    assert customer.get(f"/c/photograph/{picture.uid}/").status_code == 200


def test_a_photograph_is_kept_by_no_cache_and_cannot_act_as_a_page(bike: Restoration, customer: Client) -> None:
    picture = keep(plain(size=(900, 600)))
    share(bike, photograph=picture)
    sizes = []
    for suffix in ("", "small/"):
        answer = customer.get(f"/c/photograph/{picture.uid}/{suffix}")
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        styles = "" if suffix else "; style-src 'unsafe-inline'"  # of the browser's own viewer
        assert answer["Content-Security-Policy"] == f"sandbox; default-src 'none'{styles}"
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["Content-Disposition"] == f'inline; filename="photograph-{picture.uid}.jpg"'
        sizes.append(len(answer.content))
    assert sizes[0] > sizes[1]


def test_nobody_reads_another_customers_page(bike: Restoration, customer: Client) -> None:
    other = accepted("Teal 350", customer="Una Marsh")
    share(other, "CANARY note")
    answer(ask(other, "CANARY question"), "CANARY answer")
    assert "CANARY" not in page(customer)
    assert "Una Marsh" not in page(customer)
    assert "CANARY note" in page(browser_of(other))


# -- what stands there -----------------------------------------------------------------------------------------------


def test_it_names_the_bike_and_what_was_shared_the_newest_first(bike: Restoration, customer: Client) -> None:
    share(bike, "The frame is straight.", now=ago(3))
    share(bike, "The tank is red.", photograph=photograph("Tank, left side"), now=ago(1))
    words = page(customer)
    assert "Heron 250" in words
    assert words.index("The tank is red.") < words.index("The frame is straight.")
    assert shown(ago(3)) in words
    assert "Tank, left side" in words
    html = customer.get(PAGE).content.decode()
    assert 'alt="Tank, left side"' in html


def test_nothing_of_the_workshop_stands_there_that_was_not_shared(customer: Client, bike: Restoration) -> None:
    """A canary in every text the house keeps about this bike, apart from what is shown on purpose."""
    canary = "CANARY"
    part = priced_with(bike, canary)
    hold(restoration=bike, first=rows.day(0), last=rows.day(9), reason=canary, kind="deciding", **WHO)
    add_evidence(part=part, kind="trace", origin=canary, says=None, strength="fair", note=canary, **WHO)
    photograph(canary)
    sharing.take_back(shared=share(bike, canary), who=canary, now=timezone.now())
    share(bike, "The frame is straight.", who=canary)
    answer(ask(bike), "On Friday.", who=canary)
    Intake.objects.create(restoration=bike, came_on=rows.day(-40), **dict.fromkeys(INTAKE_TEXTS, canary))
    Receipt.objects.create(
        number=1,
        restoration=bike,
        amount_minor=5,
        currency="EUR",
        received_on=rows.day(-1),
        reference=canary,
        at=ago(1),
        recorded_by=canary,
    )
    html = customer.get(PAGE).content.decode()
    assert canary not in html
    assert "The frame is straight." in html
    assert "On Friday." in html
    assert "Work rests until you have decided" in html


INTAKE_TEXTS = ("brought_by", "papers", "papers_frame_number", "papers_engine_number", "keys", "missing", "condition")


def priced_with(bike: Restoration, canary: str) -> Part:
    part = bike.parts.get()
    Part.objects.filter(pk=part.pk).update(name=canary, area_name=canary, deviation=canary)
    Draft.objects.filter(restoration=bike).update(note=canary)
    step = Step.objects.create(part=part, position=1, buy=canary, buy_source="used", buy_said_by=canary)
    agree_to(step)
    rows.quote(bike, until=rows.day(3), stage="variation", reason=canary)
    return part


def test_what_was_agreed_is_counted_and_no_more(bike: Restoration, customer: Client) -> None:
    part = bike.parts.get()
    steps = [Step.objects.create(part=part, position=n, buy="Seal", buy_source="used") for n in range(1, 6)]
    agree_to(*steps[:3])
    Step.objects.filter(pk=steps[0].pk).update(removed_at=timezone.now())
    other = accepted("Teal 350").parts.get()
    agree_to(Step.objects.create(part=other, position=1, buy="Seal", buy_source="used"))
    assert "Agreed with you: work on 1 part, 2 steps in all." in page(customer)


def test_before_anything_is_agreed_it_says_so() -> None:
    words = page(browser_of(rows.restoration()))
    assert "Nothing is agreed yet" in words
    assert "ready day" not in words


def test_the_way_names_what_happened_and_what_is_to_come_and_nothing_else(bike: Restoration, customer: Client) -> None:
    quote = bike.quotes.get()
    for position, (event, reached) in enumerate([("accepted", 30), ("stripped", 12), ("coated", None)], start=1):
        day = rows.day(-reached) if reached else None
        given = {"position": position, "name": "Stage", "due": "when", "amount_minor": 100}
        Instalment.objects.create(quote=quote, event=event, reached_on=day, due_on=day, **given)
    Intake.objects.create(restoration=bike, came_on=rows.day(-40))
    way = customer.get(PAGE).context["progress"].way
    assert [(stop.text, stop.day, stop.done) for stop in way] == [
        ("The bike came to us", rows.day(-40), True),
        (f"You accepted the offer {quote}", rows.day(-30), True),
        ("The bike is stripped", rows.day(-12), True),
        ("The frame is coated", None, False),
    ]


# -- what waits for the customer ------------------------------------------------------------------------------------


def test_nothing_waits_for_who_has_answered_and_paid(customer: Client) -> None:
    assert "Nothing waits for you at present." in page(customer)


def test_an_open_quote_waits_with_its_day_and_a_ballpark_or_lapsed_one_does_not(
    bike: Restoration, customer: Client
) -> None:
    open_one = rows.quote(bike, until=rows.day(5), stage="variation")
    rows.quote(bike, until=rows.day(5), stage="ballpark")
    lapsed = rows.quote(bike, until=rows.day(-1), stage="variation")
    words = page(customer)
    assert f"Quote {open_one} (variation) waits for your answer until {shown(rows.day(5))}." in words
    assert words.count("waits for your answer") == 1
    assert str(lapsed) not in words


def test_a_link_is_spoken_of_only_where_one_went_out_and_still_opens(bike: Restoration, customer: Client) -> None:
    quote = rows.quote(bike, until=rows.day(5), stage="variation")
    came = "Its link came by e-mail"
    assert came not in page(customer)
    assert "It is read and answered by a link of its own: ask us for it." in page(customer)
    link = links.make(purpose=Link.Purpose.QUOTE, restoration=bike, quote=quote, who="ada", now=timezone.now())[0]
    assert came not in page(customer)  # made, and nobody knows whether it was sent
    given = {"address": "jo@fenwick.example", "subject": "Quote", "text": "Here it is", "who": "ada"}
    mailed = Mailed.objects.create(kind="quote", restoration=bike, quote=quote, job_key="mail/1", at=ago(1), **given)
    job = {"handler": mailing.MAIL_HANDLER, "payload": "{}", "due_at": ago(1), "created_at": ago(1)}
    row = Row.objects.create(key=mailed.job_key, **job)
    assert came not in page(customer)  # asked for, and not sent yet
    Row.objects.filter(pk=row.pk).update(state="done", done_at=ago(1))
    assert f"{came} on {shown(ago(1).date())}" in page(customer)
    links.revoke(link=link, who="ada", now=timezone.now())
    assert came not in page(customer)


def test_the_link_is_asked_for_with_one_button_once_a_day_and_opens_nothing_here(
    bike: Restoration, customer: Client
) -> None:
    assert "Ask for the link" not in page(customer)
    customer.post(f"{ASK}link/")
    assert not Message.objects.exists()  # nothing waits
    quote = rows.quote(bike, until=rows.day(5), stage="variation")
    assert "Ask for the link" in page(customer)
    for _again in range(2):
        assert customer.post(f"{ASK}link/").status_code == 302
    message = Message.objects.get()
    assert (message.from_customer, message.quote, message.restoration) == (True, quote, bike)
    assert message.text == f"Please send me the link to {quote} (variation)."
    assert list(messages.unanswered()) == [message]
    assert customer.get("/c/quote/").status_code == 404
    assert Client().post(f"{ASK}link/").status_code == 404


def test_a_payment_that_is_due_waits_until_it_is_paid(bike: Restoration, customer: Client) -> None:
    quote = bike.quotes.get()
    for position, (name, event, minor, day) in enumerate(
        [("Deposit", "accepted", 4_000, -3), ("Frame", "coated", 4_000, 5), ("Balance", "ready", 4_000, None)], start=1
    ):
        due = rows.day(day) if day is not None else None
        reached = rows.day(-5) if due else None
        given = {"position": position, "due": "when", "amount_minor": minor, "reached_on": reached, "due_on": due}
        Instalment.objects.create(quote=quote, name=name, event=event, **given)
    words = page(customer)
    assert f"Deposit: €40.00 is to be paid, due {shown(rows.day(-3))}." in words
    assert "Balance:" not in words
    assert "Frame:" not in words
    given = {"currency": "EUR", "received_on": rows.day(-1), "at": ago(1), "recorded_by": "ada", "restoration": bike}
    Receipt.objects.create(number=1, amount_minor=1_500, **given)
    assert "Deposit: €25.00 is to be paid" in page(customer)
    Receipt.objects.create(number=2, amount_minor=2_500, **given)
    assert "Deposit:" not in page(customer)


def test_a_new_answer_is_pointed_at_for_a_week(bike: Restoration, customer: Client) -> None:
    asked = ask(bike, now=ago(20))
    assert "is answered below" not in page(customer)
    answer(asked, now=ago(8))
    assert "is answered below" not in page(customer)
    answer(asked, now=ago(6))
    assert f"Your question of {shown(ago(20))} is answered below." in page(customer)


@pytest.mark.parametrize(
    ("kind", "first", "last", "said"),
    [
        ("deciding", 0, 3, "Work rests until you have decided"),
        ("unpaid", -3, 0, "Work rests until the payment is there."),
        ("part", 0, 3, ""),
        ("ours", 0, 3, ""),
        ("deciding", 1, 3, ""),
        ("deciding", -3, -1, ""),
    ],
)
def test_days_held_for_the_customer_are_said(
    bike: Restoration, customer: Client, kind: str, first: int, last: int, said: str
) -> None:
    row = bike.holds.create(first=rows.day(first), last=rows.day(last), kind=kind, reason="CANARY")
    assert ("Work rests" in page(customer)) is bool(said)
    assert said in page(customer)
    row.removed_at = timezone.now()
    row.save()
    assert "Work rests" not in page(customer)


# -- the ready day ---------------------------------------------------------------------------------------------------


@pytest.fixture
def works() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def planned(works: Workshop) -> Restoration:
    """A bike of which the days can be worked out."""
    made = restoration()
    say_yes(rows.quote(made, until=rows.day(60)), 30)
    frame(made, works)
    lever(made, works)
    return made


def test_the_ready_day_is_the_plan_of_today_with_how_often_it_is_kept(planned: Restoration) -> None:
    plan = kept(planned, today=rows.day(0))
    words = page(browser_of(planned))
    assert f"Ready, likely {shown(plan.ready_likely)}" in words
    assert f"Ready, kept 4 in 5 {shown(plan.ready_kept)}" in words


def test_until_the_main_offer_is_accepted_no_ready_day_is_named(works: Workshop) -> None:
    made = restoration()
    say_yes(rows.quote(made, until=rows.day(60), stage="inspect"), 30)
    frame(made, works)
    plan = kept(made, today=rows.day(0))
    words = page(browser_of(made))
    assert "Stripping and inspecting is agreed; the main offer is next." in words
    assert shown(plan.ready_likely) not in words
    assert shown(plan.ready_kept) not in words
    assert "worked out anew" not in words
    say_yes(rows.quote(made, until=rows.day(60)), 2)
    words = page(browser_of(made))
    assert f"Ready, kept 4 in 5 {shown(plan.ready_kept)}" in words
    assert "the main offer is next" not in words


def test_a_plan_of_yesterday_or_of_another_scope_names_no_day(planned: Restoration) -> None:
    customer = browser_of(planned)
    assert "is being worked out anew" in page(customer)
    plan = kept(planned, today=rows.day(0))
    assert "is being worked out anew" not in page(customer)
    edit_part(part=planned.parts.get(name="Lever"), changes={"pieces": 3}, **WHO)
    words = page(customer)
    assert "is being worked out anew" in words
    assert shown(plan.ready_kept) not in words
    kept(planned, today=rows.day(0))
    Plan.objects.update(starts_on=rows.day(-1))
    assert "is being worked out anew" in page(customer)


def test_a_plan_that_rests_on_other_rates_names_no_day(planned: Restoration, works: Workshop) -> None:
    kept(planned, today=rows.day(0))
    works.plate.lead_days = 70
    works.plate.save()
    assert "is being worked out anew" in page(browser_of(planned))


def test_no_day_is_promised_before_the_bike_is_accepted(works: Workshop) -> None:
    other = restoration("Teal 350")
    frame(other, works)
    kept(other, today=rows.day(0))
    words = page(browser_of(other))
    assert "Ready, likely" not in words
    assert "worked out anew" not in words


# -- asking ----------------------------------------------------------------------------------------------------------


def test_a_question_is_kept_and_read_with_its_answer(bike: Restoration, customer: Client) -> None:
    response = customer.post(ASK, sent(customer))
    assert (response.status_code, response["Location"]) == (302, f"{PAGE}#said")
    row = Message.objects.get()
    assert (row.restoration, row.quote, row.from_customer, row.who) == (bike, None, True, "Jo Fenwick")
    assert "Not answered yet." in page(customer)
    answer(row)
    words = page(customer)
    assert "Hollow Lane Works answered on" in words
    assert "On Friday." in words
    entry = Entry.objects.get(what="customer asked")
    assert entry.who.startswith("customer, by link ")


def test_the_name_of_who_works_there_is_not_told(bike: Restoration, customer: Client) -> None:
    share(bike, who="CANARY")
    answer(ask(bike), who="CANARY")
    assert "CANARY" not in page(customer)


def test_a_form_sent_twice_is_one_question(bike: Restoration, customer: Client) -> None:
    form = sent(customer)
    for _twice in range(2):
        assert customer.post(ASK, form).status_code == 302
    assert Message.objects.count() == 1


def test_a_form_whose_uid_is_none_is_taken_all_the_same(bike: Restoration, customer: Client) -> None:
    assert customer.post(ASK, sent(customer, uid="nonsense")).status_code == 302
    assert Message.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"text": " "}, "Write what you would like to know."),
        ({"text": "x" * 4001}, "Write 4000 letters at most"),
        ({"name": ""}, "Give your name."),
        ({"text": "a\x00b"}, "cannot be sent"),
        ({"link": ""}, "Another link was opened in this browser"),
        ({"link": str(uuid.uuid4())}, "Another link was opened in this browser"),
    ],
)
def test_what_is_not_in_order_is_said_and_nothing_typed_is_lost(
    bike: Restoration, customer: Client, changes: dict[str, str], sentence: str
) -> None:
    given = {"text": "Is it <blue>?", "name": "Jo & Co"} | changes
    response = customer.post(ASK, sent(customer, **given))
    assert response.status_code == 422
    assert sentence in words_of(response)
    assert "Not saved yet" not in words_of(response)
    assert response.context["ask_form"]["text"].value() == given["text"]
    assert f'href="{PAGE}"' in response.content.decode()
    assert not Message.objects.exists()


def test_a_form_of_one_bike_is_not_sent_to_another_opened_since(bike: Restoration, customer: Client) -> None:
    form = sent(customer)
    other = accepted("Teal 350")
    customer.get(f"/c/{link_for(other)[1]}/")
    response = customer.post(ASK, form)
    assert response.status_code == 422
    assert "When can I see it?" in response.content.decode()
    assert not Message.objects.exists()


def test_too_many_questions_are_refused_in_words(bike: Restoration, customer: Client) -> None:
    for number in range(messages.MOST_IN_A_DAY):
        ask(bike, f"number {number}")
    response = customer.post(ASK, sent(customer))
    assert response.status_code == 422
    assert "Telephone us, or write again tomorrow." in words_of(response)


def test_a_question_from_a_quotes_page_is_about_the_quote(bike: Restoration) -> None:
    quote = bike.quotes.get()
    link, secret = link_for(bike, quote)
    client = Client()
    client.get(f"/c/{secret}/")
    given = {"ask-text": "Is the tank in it?", "ask-name": "Jo", "ask-link": link.uid, "ask-uid": uuid.uuid4()}
    response = client.post(ASK, given)
    assert (response.status_code, response["Location"]) == (302, "/c/quote/#said")
    assert Message.objects.get().quote == quote
    assert f"about {quote}" in page(browser_of(bike))


def test_the_quotes_page_shows_what_was_asked_about_it_and_asks(shop: Any, draft: Draft) -> None:
    quote = issued_now(draft)
    bike = quote.restoration
    answer(ask(bike, "Is the tank in it?", quote=quote), "It is.")
    ask(bike, "CANARY of another page")
    client = browser_of(bike, quote)
    html = client.get("/c/quote/").content.decode()
    assert "Is the tank in it?" in html
    assert "It is." in html
    assert "CANARY" not in html
    assert 'action="/c/ask/"' in html
    (uid,) = re.findall(r'name="ask-uid" value="([^"]+)"', html)
    (link,) = re.findall(r'name="ask-link" value="([^"]+)"', html)
    given = {"ask-text": "And the seat?", "ask-name": "Jo", "ask-uid": uid, "ask-link": link}
    assert client.post(ASK, given)["Location"] == "/c/quote/#said"
    assert "And the seat?" in words_of(client.get("/c/quote/"))


def test_both_pages_of_one_browser_send_to_their_own(bike: Restoration, customer: Client) -> None:
    other = accepted("Teal 350")
    link, secret = link_for(other, other.quotes.get())
    customer.get(f"/c/{secret}/")
    customer.post(ASK, sent(customer))
    assert Message.objects.get().restoration == bike
    customer.post(ASK, sent(customer, link=link.uid, uid=uuid.uuid4()))
    assert Message.objects.latest("pk").restoration == other


def test_asking_needs_the_token_of_the_page(bike: Restoration) -> None:
    client = Client(enforce_csrf_checks=True)
    link, secret = link_for(bike)
    client.get(f"/c/{secret}/")
    assert client.post(ASK, {"ask-text": "x", "ask-name": "y", "ask-link": link.uid}).status_code == 403
    assert not Message.objects.exists()


# -- text, looking, queries -----------------------------------------------------------------------------------------


NASTY = "<script>alert('CANARY')</script>\"'&<b>{{ 7 }}"


def test_everything_written_is_shown_as_text(bike: Restoration, customer: Client) -> None:
    share(bike, NASTY, photograph=photograph(NASTY))
    answer(ask(bike, NASTY, name=NASTY), NASTY)
    Restoration.objects.filter(pk=bike.pk).update(title=NASTY)
    html = customer.get(PAGE).content.decode()
    assert "<script>alert" not in html
    assert "<b>" not in html
    assert words_of(customer.get(PAGE)).count("alert('CANARY')") >= 6


def test_looking_changes_nothing(bike: Restoration, customer: Client) -> None:
    picture = keep(plain())
    share(bike, photograph=picture)
    answer(ask(bike))
    before = every_row()
    for address in (PAGE, ASK, f"/c/photograph/{picture.uid}/", f"/c/photograph/{picture.uid}/small/"):
        for method in (customer.get, customer.head):
            assert method(address).status_code in {200, 302}
    assert customer.get(ASK)["Location"] == PAGE
    for method in (customer.put, customer.patch, customer.delete, customer.post):
        assert method(PAGE).status_code == 405
    assert every_row() == before


def test_the_page_is_kept_by_no_cache_and_listed_by_no_search(customer: Client) -> None:
    response = customer.get(PAGE)
    assert response["Cache-Control"] == "private, no-store"
    assert response["X-Robots-Tag"] == "noindex"


def test_the_page_asks_the_same_number_of_questions_for_one_of_each_and_for_many(planned: Restoration) -> None:
    customer = browser_of(planned)
    quote = planned.quotes.get()

    def more(count: int, start: int) -> None:
        for number in range(start, start + count):
            share(planned, f"note {number}", photograph=photograph(f"photograph {number}"))
            asked = ask(planned, f"question {number}", quote=quote)
            answer(asked)
            answer(asked)
            planned.holds.create(first=rows.day(0), last=rows.day(1), kind="deciding", reason="CANARY")
            given = {"name": f"Stage {number}", "due": "now", "event": "stripped", "amount_minor": 50}
            Instalment.objects.create(
                quote=quote, position=number + 1, reached_on=rows.day(-1), due_on=rows.day(-1), **given
            )
            say_yes(rows.quote(planned, until=rows.day(9), stage="variation"), 3)
            rows.quote(planned, until=rows.day(9), stage="variation")
        agree_to(
            *Step.objects.filter(part__restoration=planned).exclude(uid__in=Authorisation.objects.values("step_uid"))
        )
        kept(planned, today=rows.day(0))

    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert "Ready, likely" in page(customer)
        return len(caught)

    more(1, 0)
    few = asked()
    more(9, 1)
    assert asked() == few
    assert Shared.objects.count() == 10
