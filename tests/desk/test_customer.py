"""The desk's page about what the customer sees and says, and what waits for the desk because of it."""

import re
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.desk import example_customer, waiting_customer
from quotes.pricing.customers import sharing
from quotes.pricing.models import Link, Mailed, Message, Shared
from shop.journal.models import Entry
from shop.outbox import services as outbox
from shop.outbox.models import Row
from shop.papers.models import Photograph
from shop.restorations.models import Customer, Restoration
from tests.desk import rows
from tests.papers.pictures import keep, plain
from tests.pricing.customers import words_of
from tests.pricing.post import FROM, Office, account, post_office, text_of
from tests.pricing.told import accepted, ago, answer, ask, link_for, photograph, share

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def documents(settings: Any, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path / "documents"


@pytest.fixture
def bike() -> Restoration:
    return accepted()


def address(of: Restoration, name: str = "customer") -> str:
    return reverse(f"desk:{name}", args=[of.uid])


def page(client: Client, of: Restoration) -> str:
    answer = client.get(address(of))
    assert answer.status_code == 200
    return answer.content.decode()


def picture_file() -> SimpleUploadedFile:
    return SimpleUploadedFile("IMG 0007.JPG", plain(), content_type="image/jpeg")


def section(html: str, title: str) -> str:
    """The card with that heading."""
    start = html.index(f">{title}</h")
    return html[start : start + html[start:].index("</section>")]


# -- who may ---------------------------------------------------------------------------------------------------------


def test_it_is_for_desk_and_manager(
    bike: Restoration, mechanic: Client, nobody: Client, stranger: Client, manager: Client
) -> None:
    row, question, link = share(bike), ask(bike), link_for(bike)[0]
    posts = [
        address(bike, "share"),
        address(bike, "make_progress_link"),
        address(bike, "close_progress_links"),
        reverse("desk:take_back_shared", args=[row.uid]),
        reverse("desk:answer_question", args=[question.uid]),
        reverse("desk:close_progress_link", args=[link.uid]),
    ]
    for refused in (mechanic, nobody):
        assert refused.get(address(bike)).status_code == 403
        assert [refused.post(one).status_code for one in posts] == [403] * 6
    assert [stranger.post(one).status_code for one in posts] == [302] * 6
    assert manager.get(address(bike)).status_code == 200
    row.refresh_from_db()
    assert row.taken_back_at is None
    assert (Shared.objects.count(), Message.objects.count(), Link.objects.get().revoked_at) == (1, 1, None)


def test_what_is_not_there_is_not_found(front_desk: Client, bike: Restoration) -> None:
    reply = answer(ask(bike))
    of_quote = link_for(bike, bike.quotes.get())[0]
    nothing = uuid.uuid4()
    assert front_desk.get(reverse("desk:customer", args=[nothing])).status_code == 404
    for name, uid in (
        ("take_back_shared", nothing),
        ("answer_question", nothing),
        ("answer_question", reply.uid),
        ("close_progress_link", nothing),
        ("close_progress_link", of_quote.uid),
    ):
        assert front_desk.post(reverse(f"desk:{name}", args=[uid])).status_code == 404, name


# -- what stands there -----------------------------------------------------------------------------------------------


def test_it_shows_what_the_customer_sees_and_what_was_taken_back_beside_it(
    front_desk: Client, bike: Restoration
) -> None:
    share(bike, "The frame is straight.", photograph=photograph("Frame on the bench"))
    sharing.take_back(shared=share(bike, "A slip of the pen."), who="ada", now=timezone.now())
    html = page(front_desk, bike)
    seen = html[html.index('id="sees"') : html.index('id="shared"')]
    assert "The frame is straight." in seen
    assert "A slip of the pen." not in seen
    assert "/c/photograph/" not in seen
    assert Photograph.objects.get().get_thumbnail_url() in seen
    beside = section(html, "What was shared")
    assert "A slip of the pen." in beside
    assert "taken back on" in beside
    assert beside.count("Take it back") == 1


def test_it_says_when_and_how_the_customer_last_heard_from_us(front_desk: Client, bike: Restoration) -> None:
    html = page(front_desk, bike)
    assert "quote accepted." in html
    assert "30 days ago" in html
    assert "at least every 14 days" in html
    share(bike, now=ago(13))
    html = page(front_desk, bike)
    assert "shared on their page." in html
    assert "days ago" not in html
    assert "has heard nothing from us" in page(front_desk, rows.restoration())


def test_a_bike_without_anything_has_its_page_too(front_desk: Client) -> None:
    html = page(front_desk, rows.restoration(drafted=False))
    assert "No link to how it goes is open" in html
    assert "Nothing is agreed yet" in html


def test_looking_changes_nothing(front_desk: Client, bike: Restoration) -> None:
    page(front_desk, bike)
    assert not Entry.objects.exists()
    assert not Link.objects.exists()


def test_the_page_of_the_bike_leads_there(front_desk: Client, bike: Restoration) -> None:
    assert address(bike) in front_desk.get(reverse("desk:facts", args=[bike.uid])).content.decode()


# -- sharing ---------------------------------------------------------------------------------------------------------


def test_a_note_is_shared_and_taken_back(front_desk: Client, bike: Restoration) -> None:
    response = front_desk.post(address(bike, "share"), {"share-note": "The frame is straight."})
    assert response["Location"] == f"{address(bike)}#shared"
    row = Shared.objects.get()
    assert (row.restoration, row.note, row.photograph, row.who) == (bike, "The frame is straight.", None, "ada")
    response = front_desk.post(reverse("desk:take_back_shared", args=[row.uid]))
    assert response["Location"] == f"{address(bike)}#shared"
    row.refresh_from_db()
    assert row.taken_back_at


def test_a_photograph_on_record_is_chosen(front_desk: Client, bike: Restoration) -> None:
    picture = keep(plain())
    sharing.take_back(shared=share(bike, photograph=picture), who="ada", now=timezone.now())
    assert f'value="{picture.uid}"' in page(front_desk, bike)
    front_desk.post(address(bike, "share"), {"share-note": "", "share-photograph": picture.uid})
    assert Shared.objects.get(taken_back_at=None).photograph == picture


def test_a_photograph_of_another_bike_cannot_be_chosen(front_desk: Client, bike: Restoration) -> None:
    picture = keep(plain())
    share(accepted("Teal 350"), photograph=picture)
    assert str(picture.uid) not in page(front_desk, bike)
    response = front_desk.post(address(bike, "share"), {"share-note": "Look", "share-photograph": picture.uid})
    assert response.status_code == 422
    assert list(response.context["share_form"].errors) == ["photograph"]
    assert not bike.shared.exists()


def test_a_new_photograph_is_taken_in_and_shared(front_desk: Client, bike: Restoration) -> None:
    given = {"share-note": "Look.", "photograph-file": picture_file(), "photograph-caption": "Tank, left side"}
    assert front_desk.post(address(bike, "share"), given).status_code == 302
    row = Shared.objects.get()
    assert row.photograph
    assert (row.photograph.caption, row.photograph.added_by) == ("Tank, left side", "ada")


def test_the_same_form_shares_and_takes_in_once(front_desk: Client, bike: Restoration) -> None:
    uid = uuid.uuid4()
    for _twice in range(2):
        given = {
            "share-note": "Look.",
            "share-uid": uid,
            "photograph-file": picture_file(),
            "photograph-caption": "Tank",
        }
        assert front_desk.post(address(bike, "share"), given).status_code == 302
    assert Shared.objects.count() == Photograph.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"share-note": " "}, "Write a note, or choose a photograph."),
        ({"share-note": "x" * 2001}, "Give 2000 letters at most."),
        ({"share-note": "Look", "photograph-caption": "Tank"}, "Choose a photograph."),
        ({"share-note": "Look", "photograph-file": "picture"}, "Say what it shows."),
        ({"share-note": "Look", "photograph-file": "text", "photograph-caption": "Tank"}, "not a JPEG, PNG or WebP"),
        (
            {
                "share-note": "Look",
                "photograph-file": "picture",
                "photograph-caption": "T",
                "photograph-taken_on": "9999-01-01",
            },
            "This day is still to come.",
        ),
        (
            {"share-note": "Look", "photograph-file": "picture", "photograph-caption": "T", "share-photograph": "one"},
            "Share one photograph at a time",
        ),
    ],
)
def test_what_is_not_in_order_is_said_nothing_is_kept_and_what_was_typed_stays(
    front_desk: Client, bike: Restoration, given: dict[str, Any], sentence: str
) -> None:
    one = keep(plain())
    old = share(bike, photograph=one)
    files = {"picture": picture_file(), "text": SimpleUploadedFile("a.jpg", b"<html>", content_type="image/jpeg")}
    data = {name: files.get(value, one.uid if value == "one" else value) for name, value in given.items()}
    response = front_desk.post(address(bike, "share"), data)
    assert response.status_code == 422
    html = response.content.decode()
    assert sentence in html
    assert given["share-note"].strip() in html
    assert "Not shared yet." in html
    assert given.get("photograph-caption", "") in html
    assert list(Shared.objects.all()) == [old]
    assert list(Photograph.objects.all()) == [one]


def test_quotas_of_photographs_hold_here_too(front_desk: Client, bike: Restoration, settings: Any) -> None:
    settings.PHOTOGRAPH_LIMITS = settings.PHOTOGRAPH_LIMITS | {"person_day": (1, 2**30)}
    given = {"photograph-caption": "Tank"}
    post = address(bike, "share")
    assert front_desk.post(post, given | {"photograph-file": picture_file()}).status_code == 302
    response = front_desk.post(post, given | {"photograph-file": picture_file(), "share-note": "Look"})
    assert response.status_code == 422
    assert "as many photographs today as one person may" in response.content.decode()
    assert Shared.objects.count() == 1


# -- answering -------------------------------------------------------------------------------------------------------


def test_a_question_is_answered_on_the_page(front_desk: Client, bike: Restoration) -> None:
    question = ask(bike, "Is it <blue>?")
    html = page(front_desk, bike)
    assert "Is it &lt;blue&gt;?" in html
    assert "not answered" in html
    post = reverse("desk:answer_question", args=[question.uid])
    prefix = f"answer-{question.uid}"
    response = front_desk.post(post, {f"{prefix}-text": " "})
    assert response.status_code == 422
    assert "Fill this in." in response.content.decode()
    response = front_desk.post(post, {f"{prefix}-text": "Red, as it was."})
    assert response["Location"] == f"{address(bike)}#asked-{question.uid}"
    reply = Message.objects.get(from_customer=False)
    assert (reply.answers, reply.text, reply.who) == (question, "Red, as it was.", "ada")
    html = page(front_desk, bike)
    assert "Red, as it was." in html
    assert "not answered" not in html


def test_a_wrong_answer_stays_in_its_own_form(front_desk: Client, bike: Restoration) -> None:
    first, second = ask(bike, "first"), ask(bike, "second")
    post = reverse("desk:answer_question", args=[first.uid])
    html = front_desk.post(post, {f"answer-{first.uid}-text": "x" * 4001}).content.decode()
    assert "x" * 4001 in html
    assert html.count("letters at most") == 1
    assert f'id="id_answer-{first.uid}-text_error"' in html
    assert f'id="id_answer-{second.uid}-text_error"' not in html


# -- told by e-mail --------------------------------------------------------------------------------------------------


@pytest.fixture
def office(settings: Any) -> Iterator[Office]:
    with post_office() as opened:
        settings.MAIL, settings.MAIL_FROM, settings.ADDRESS = account(opened.port), FROM, ""
        yield opened


@pytest.fixture
def reached(bike: Restoration) -> Restoration:
    Customer.objects.update(email="jo@example.org")
    return bike


def deliver_all() -> None:
    for pk in Row.objects.values_list("pk", flat=True):
        outbox.deliver(pk, now=timezone.now(), worker="w1")


def test_news_go_out_by_mail_once_with_a_link_to_the_page(
    front_desk: Client, reached: Restoration, office: Office, stranger: Client
) -> None:
    given = {"share-note": "The frame is straight.", "share-tell": "on", "share-uid": uuid.uuid4()}
    for _twice in range(2):
        assert front_desk.post(address(reached, "share"), given).status_code == 302
    assert Mailed.objects.get().kind == Mailed.Kind.PROGRESS
    deliver_all()
    (letter,) = office.letters
    assert letter["To"] == "jo@example.org"
    assert letter["Subject"] == "News of your Heron 250"
    text = text_of(letter)
    assert text.startswith("Hello Jo Fenwick,")
    assert "The frame is straight." in text
    (secret,) = re.findall(r"http://testserver/c/([\w-]{43})/", text)
    seen = stranger.get(f"/c/{secret}/", follow=True)
    assert "The frame is straight." in words_of(seen)
    assert "e-mail." in page(front_desk, reached)


def test_an_answer_goes_out_by_mail_and_an_unticked_one_does_not(
    front_desk: Client, reached: Restoration, office: Office
) -> None:
    question = ask(reached)
    post, prefix = reverse("desk:answer_question", args=[question.uid]), f"answer-{question.uid}"
    front_desk.post(post, {f"{prefix}-text": "Not this."})
    assert not Mailed.objects.exists()
    for _twice in range(2):
        front_desk.post(
            post, {f"{prefix}-text": "On Friday.", f"{prefix}-tell": "on", f"{prefix}-uid": question.uid.hex[::-1]}
        )
    assert Mailed.objects.get().kind == Mailed.Kind.ANSWER
    deliver_all()
    (letter,) = office.letters
    assert "On Friday." in text_of(letter)
    assert "Not this." not in text_of(letter)


def test_where_nobody_can_be_told_by_mail_the_page_says_why_and_does_not_ask(
    front_desk: Client, bike: Restoration, settings: Any
) -> None:
    settings.MAIL = None
    html = page(front_desk, bike)
    assert "No mail server is set up" in html
    assert "share-tell" not in html
    settings.MAIL = account(25)
    html = page(front_desk, bike)
    assert "No e-mail address of this customer is noted." in html
    assert "share-tell" not in html
    Customer.objects.update(email="jo@example.org")
    assert "share-tell" in page(front_desk, bike)
    settings.MAIL = None
    with pytest.raises(ValidationError):
        share(bike, tell_at="http://testserver")
    assert not Shared.objects.exists()  # all or nothing


def test_a_title_cannot_write_a_head_of_its_own(reached: Restoration, office: Office) -> None:
    Restoration.objects.update(title="Heron\r\nBcc: eve@example.org \u2028=?utf-8?q?x?=")
    share(Restoration.objects.get(), tell_at="http://testserver")
    deliver_all()
    (letter,) = office.letters
    assert letter["Bcc"] is None
    assert letter["Subject"].startswith("News of your Heron")


# -- the link --------------------------------------------------------------------------------------------------------


def test_a_link_is_made_shown_once_opens_the_page_and_is_closed(
    front_desk: Client, bike: Restoration, stranger: Client
) -> None:
    response = front_desk.post(address(bike, "make_progress_link"))
    assert response["Cache-Control"] == "private, no-store"
    (secret,) = re.findall(
        r'id="new-link" readonly value="http://testserver/c/([\w-]{43})/"', response.content.decode()
    )
    html = response.content.decode()
    for needed in ("data-copy=", "new-link-code", "autofocus", "This link opens only here"):
        assert needed in html
    assert secret not in page(front_desk, bike)
    assert not Entry.objects.filter(after__contains=secret).exists()
    assert stranger.get(f"/c/{secret}/", follow=True).status_code == 200
    link = Link.objects.get()
    assert (link.purpose, link.restoration, link.made_by) == ("progress", bike, "ada")
    assert front_desk.post(reverse("desk:close_progress_link", args=[link.uid])).status_code == 302
    assert stranger.get("/c/progress/").status_code == 404
    assert "No link to how it goes is open" in page(front_desk, bike)


def test_all_links_of_this_bike_are_closed_at_once_and_no_others(front_desk: Client, bike: Restoration) -> None:
    other = accepted("Teal 350")
    for _n in range(3):
        link_for(bike)
    of_quote, others = link_for(bike, bike.quotes.get())[0], link_for(other)[0]
    assert "Close all 3 links" in page(front_desk, bike)
    assert "Close all" not in page(front_desk, other)
    assert front_desk.post(address(bike, "close_progress_links")).status_code == 302
    assert set(Link.objects.filter(revoked_at=None)) == {of_quote, others}
    assert Entry.objects.filter(what="link revoked").count() == 3


# -- escaping, queries -----------------------------------------------------------------------------------------------

NASTY = "<script>alert('CANARY')</script>\"'&"


def test_everything_written_is_shown_as_text(front_desk: Client, bike: Restoration) -> None:
    share(bike, NASTY, photograph=photograph(NASTY))
    answer(ask(bike, NASTY, name=NASTY), NASTY)
    html = page(front_desk, bike)
    assert "<script>alert" not in html
    assert words_of(front_desk.get(address(bike))).count("alert('CANARY')") >= 7


def queries(act: Any) -> int:
    with CaptureQueriesContext(connection) as caught:
        act()
    return len(caught)


def test_the_page_asks_the_same_number_of_questions_for_one_of_each_and_for_many(
    front_desk: Client, bike: Restoration
) -> None:
    def more(count: int) -> None:
        for _n in range(count):
            share(bike, photograph=photograph())
            answer(ask(bike, quote=bike.quotes.get()))
            ask(bike)
            link_for(bike)

    more(1)
    few = queries(lambda: page(front_desk, bike))
    more(9)
    assert queries(lambda: page(front_desk, bike)) == few


# -- what waits ------------------------------------------------------------------------------------------------------


def test_the_first_page_lists_questions_until_they_are_answered(front_desk: Client, bike: Restoration) -> None:
    assert "Customers ask" not in front_desk.get("/").content.decode()
    question = ask(bike, "Is it <blue>?", now=ago(3))
    html = front_desk.get("/").content.decode()
    assert "Customers ask" in html
    assert "Jo Fenwick: “Is it &lt;blue&gt;?”" in html
    assert "for 3 days" in html
    assert f'href="{address(bike)}#asked-{question.uid}"' in html
    assert f'id="asked-{question.uid}"' in page(front_desk, bike)
    answer(question)
    assert "Customers ask" not in front_desk.get("/").content.decode()


def test_the_first_page_lists_customers_who_heard_nothing_for_long(front_desk: Client) -> None:
    quiet, longer, fresh = accepted("quiet", said=15), accepted("longer", said=40), accepted("fresh", said=13)
    group = waiting_customer.silence(rows.today())
    assert [row.restoration for row in group.rows] == [longer, quiet]
    html = front_desk.get("/").content.decode()
    assert "heard nothing for 14 days or more" in html
    assert "40 days" in html
    assert address(fresh) not in html
    share(longer)
    assert [row.restoration for row in waiting_customer.silence(rows.today()).rows] == [quiet]


def test_of_very_many_the_longest_are_shown_and_all_are_counted() -> None:
    for number in range(waiting_customer.SHOWN + 2):
        ask(accepted(f"bike {number}", said=20 + number), f"number {number}", now=ago(number))
    for group in (waiting_customer.questions(rows.today()), waiting_customer.silence(rows.today())):
        assert len(group.rows) == waiting_customer.SHOWN
        assert "The longest of 22 come first." in group.about
        assert str(group.rows[0].restoration) == "bike 21"


@pytest.mark.parametrize("source", [waiting_customer.questions, waiting_customer.silence])
def test_what_waits_takes_the_same_number_of_queries_for_one_and_for_many(source: Any) -> None:
    def more(count: int) -> None:
        for number in range(count):
            ask(accepted(f"bike {number}"))

    def look() -> None:
        for row in source(rows.today()).rows:
            assert str(row.restoration.customer)

    more(1)
    few = queries(look)
    more(9)
    assert queries(look) == few


def test_the_example_has_a_question_to_answer_and_a_customer_who_heard_nothing_for_long() -> None:
    bike = accepted(customer="Bertil Quandt", said=22)
    example_customer.live(now=timezone.now())
    assert [row.restoration for row in waiting_customer.questions(rows.today()).rows] == [bike]
    assert [row.restoration for row in waiting_customer.silence(rows.today()).rows] == [bike]
    assert sharing.shown(bike).count() == 2
