import html as markup
import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quotes.desk import today
from quotes.desk.forms_beginning import BeginForm
from quotes.desk.models import Upload
from quotes.desk.records import MOST_BYTES
from quotes.desk.selectors import known
from quotes.desk.services import begin_restoration
from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.methods.models import FinishRoute, SizeClass, Template, TemplatePart
from shop.restorations.models import Customer, Machine, Part, Restoration
from shop.restorations.services import change_scope
from shop.routes.models import Step
from tests.desk.rows import day, quote, restoration
from tests.workshop import NOW, Workshop, workshop

pytestmark = pytest.mark.django_db
LIST, BEGIN, SAMPLE = "/restorations/", "/restorations/begin/", "/restorations/parts.csv"
SAMPLE_XLSX = "/restorations/parts.xlsx"

NEW: dict[str, Any] = {
    "name": "Jo Fenwick",
    "address": "3 Mill Row",
    "email": "jo@example.org",
    "phone": "0123 456",
    "maker": "Heron",
    "model": "250",
    "year": "1957",
    "frame_number": "H1234",
    "engine_number": "E99",
    "title": "Heron of Jo",
    "begun_on": "2026-03-02",
    "parts_from": "empty",
}


@pytest.fixture
def shop(db: None) -> Workshop:
    return workshop()


@pytest.fixture
def template(shop: Workshop) -> Template:
    found = Template.objects.create(name="Light single")
    TemplatePart.objects.create(template=found, position=1, area_name="Frame", name="Frame", finish=shop.black)
    TemplatePart.objects.create(template=found, position=2, area_name="Frame", name="Stand", finish=shop.black)
    return found


def csv_file(content: str | bytes, name: str = "parts.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content)


def send(client: Client, **changed: Any) -> Any:
    data = {name: value for name, value in (NEW | changed).items() if value is not None}
    return client.post(BEGIN, data)


def kept_in(response: Any) -> str:
    """The uid of the file that the page goes on with."""
    found = re.findall(r'<input type="hidden" name="upload" value="([0-9a-f-]+)">', response.content.decode())
    assert len(found) == 1
    return str(found[0])


def send_file(client: Client, file: SimpleUploadedFile, **changed: Any) -> Any:
    """Choose a file, look at what it adds, and begin."""
    shown = send(client, parts_from="file", file=file, **changed)
    assert shown.status_code == 200
    return send(client, parts_from="file", upload=kept_in(shown), **changed)


def page_of(response: Any) -> str:
    return markup.unescape(response.content.decode())


def wrong(response: Any) -> dict[str, list[str]]:
    """The sentences at each field, as the page shows them."""
    assert response.status_code == 422
    found = re.findall(r'<ul class="wrong" id="id_(\w+)_error">(.*?)</ul>', response.content.decode(), re.DOTALL)
    return {name: [markup.unescape(text) for text in re.findall(r"<li>(.*?)</li>", items)] for name, items in found}


def nothing_was_begun() -> bool:
    return not any(model.objects.exists() for model in (Customer, Machine, Restoration, Part, Step, Draft))


# who may


@pytest.mark.parametrize("address", [LIST, BEGIN, SAMPLE, SAMPLE_XLSX])
@pytest.mark.parametrize(
    ("role", "status"),
    [("front_desk", 200), ("manager", 200), ("alone", 200), ("mechanic", 403), ("nobody", 403), ("stranger", 302)],
)
def test_the_pages_are_for_the_front_desk_and_the_manager(role, status, address, request):
    assert request.getfixturevalue(role).get(address).status_code == status


@pytest.mark.parametrize(("role", "status"), [("mechanic", 403), ("nobody", 403), ("stranger", 302)])
def test_nobody_else_begins_anything(role, status, request):
    assert send(request.getfixturevalue(role)).status_code == status
    assert nothing_was_begun()


@pytest.mark.parametrize("address", [LIST, SAMPLE])
def test_a_list_takes_nothing(front_desk, address):
    assert front_desk.post(address).status_code == 405


def test_what_is_sent_from_another_site_is_refused(front_desk):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = front_desk.cookies
    assert send(strict).status_code == 403
    assert nothing_was_begun()


# the list


def lines(client: Client, address: str = LIST) -> list[str]:
    html = client.get(address).content.decode()
    items = re.findall(r'<li class="line">(.*?)</li>', html, re.DOTALL)
    return [" ".join(re.sub(r"<[^>]*>", " ", markup.unescape(item)).split()) for item in items]


def titles(client: Client, address: str = LIST) -> list[str]:
    return re.findall(r'class="line-name"[^>]*>([^<]*)<', client.get(address).content.decode())


def test_restorations_come_newest_first_25_to_a_page(front_desk):
    for number in range(27):
        restoration(f"Bike {number:02}")
    assert titles(front_desk) == [f"Bike {number:02}" for number in range(26, 1, -1)]
    assert titles(front_desk, f"{LIST}?page=2") == ["Bike 01", "Bike 00"]
    assert titles(front_desk, f"{LIST}?page=99") == ["Bike 01", "Bike 00"]
    assert len(titles(front_desk, f"{LIST}?page=x")) == 25


def test_an_empty_list_leads_to_the_first_restoration(front_desk):
    page = page_of(front_desk.get(LIST))
    assert f'<a class="button button-main" href="{BEGIN}">Begin the first restoration</a>' in page


@pytest.mark.parametrize(
    ("until", "outcome", "words"),
    [
        (30, "", "Q00001 open until"),
        (7, "", "Q00001 lapses in 7 days"),
        (0, "", "Q00001 lapses today"),
        (-1, "", "Q00001 lapsed after"),
        (-1, "accepted", "Q00001 accepted"),
        (30, "declined", "Q00001 declined"),
        (30, "withdrawn", "Q00001 withdrawn"),
    ],
)
def test_a_quote_says_in_words_how_it_stands_and_what_it_came_to(front_desk, until, outcome, words):
    quote(restoration(frame_number="H77"), until=day(until), net=123_400, outcome=outcome)
    (line,) = lines(front_desk)
    assert line.startswith("Heron 250 Jo Fenwick · H77 " + words)
    assert line.endswith("€1,480.80")


def test_of_several_quotes_the_newest_counts_and_an_accepted_one_is_not_forgotten(front_desk):
    row = restoration()
    quote(row, until=day(9), outcome="accepted")
    quote(row, until=day(9), net=5_000)
    change_scope(row)
    (line,) = lines(front_desk)
    assert "Q00002 open until" in line
    assert "Q00001 accepted changed since €60.00" in line


def test_a_draft_shows_no_price(front_desk):
    restoration()
    (line,) = lines(front_desk)
    assert line.endswith("draft")


def test_every_word_of_a_search_must_be_found_somewhere(front_desk):
    restoration("Green one", customer="Jo Fenwick", maker="Heron", model="250", frame_number="H12")
    restoration("Black one", customer="Al Moor", maker="Teal", model="500 Sport", frame_number="T99")
    for words, expected in {
        "fenwick": ["Green one"],
        "HERON": ["Green one"],
        "sport": ["Black one"],
        "t99": ["Black one"],
        "green": ["Green one"],
        "one": ["Black one", "Green one"],
        "one moor": ["Black one"],
        "fenwick teal": [],
        "%": [],
        "\0": ["Black one", "Green one"],
    }.items():
        response = front_desk.get(LIST, {"search": words})
        assert re.findall(r'class="line-name"[^>]*>([^<]*)<', response.content.decode()) == expected, words
    assert "Nothing found" in page_of(front_desk.get(LIST, {"search": "x" * 500}))


def test_what_was_searched_stays_in_the_box_and_in_the_pager(front_desk):
    for _ in range(26):
        restoration('A "quoted" <one>')
    html = front_desk.get(LIST, {"search": '"quoted"', "standing": "draft"}).content.decode()
    assert 'value="&quot;quoted&quot;"' in html
    assert "search=%22quoted%22&amp;standing=draft&amp;page=2" in html
    assert "<one>" not in html


def test_restorations_are_found_by_how_they_stand(front_desk):
    restoration("unready", parts=0)
    restoration("draft")
    quote(restoration("open"), until=day(0))
    quote(restoration("lapsed"), until=day(-1))
    for outcome in ("accepted", "declined", "withdrawn"):
        quote(restoration(outcome), until=day(9), outcome=outcome)
    for standing in today.STANDINGS:
        expected = {"draft": ["withdrawn", "draft"]}.get(standing, [standing])
        assert titles(front_desk, f"{LIST}?standing={standing}") == expected
    assert len(titles(front_desk, f"{LIST}?standing=nonsense")) == 7


@pytest.mark.parametrize("address", [LIST, f"{LIST}?search=bike&standing=open", f"{LIST}?page=3"])
def test_the_list_asks_as_much_for_500_as_for_5(front_desk, address):
    def asked() -> int:
        front_desk.get(address)
        with CaptureQueriesContext(connection) as queries:
            front_desk.get(address)
        return len(queries)

    def fill(count: int) -> None:
        for number in range(count):
            quote(restoration(f"Bike {number}"), until=day(9), outcome="" if number % 2 else "accepted")

    fill(5)
    few = asked()
    fill(495)
    assert asked() == few
    assert few <= 7


# beginning


def test_one_form_begins_customer_machine_restoration_and_draft(front_desk):
    response = send(front_desk)
    row = Restoration.objects.get()
    assert response.url == f"/restorations/{row.uid}/"
    customer, machine = row.customer, row.machine
    assert (customer.name, customer.address) == ("Jo Fenwick", "3 Mill Row")
    assert (customer.email, customer.phone) == ("jo@example.org", "0123 456")
    assert (machine.maker, machine.model, machine.year) == ("Heron", "250", 1957)
    assert (machine.frame_number, machine.engine_number) == ("H1234", "E99")
    assert (row.title, row.begun_on) == ("Heron of Jo", date(2026, 3, 2))
    assert row.draft.priced_on == timezone.localdate()
    assert [entry.what for entry in Entry.objects.order_by("pk")] == [
        "customer added",
        "machine added",
        "restoration begun",
        "draft opened",
    ]
    assert {entry.who for entry in Entry.objects.all()} == {"ada"}


def test_the_page_after_it_says_what_was_begun(front_desk, shop, template):
    response = front_desk.post(BEGIN, NEW | {"parts_from": "template", "template": template.pk}, follow=True)
    assert "“Heron of Jo” is begun, with 2 parts." in page_of(response)
    response = front_desk.post(BEGIN, NEW | {"frame_number": "H2", "name": "Al"}, follow=True)
    assert "“Heron of Jo” is begun. Add its first part." in page_of(response)


def test_little_is_enough(front_desk):
    least = {"name": "Jo", "maker": "Heron", "model": "250", "begun_on": "2.3.2026", "parts_from": "empty"}
    assert front_desk.post(BEGIN, least).status_code == 302
    assert Restoration.objects.get().title == "Heron 250"


def test_a_title_made_of_the_longest_names_is_cut_to_what_a_title_holds(front_desk):
    assert send(front_desk, title="", maker="M" * 60, model="N" * 60).status_code == 302
    assert Restoration.objects.get().title == "M" * 60 + " " + "N" * 59


def test_a_known_customer_is_chosen_and_not_made_again(front_desk):
    known_one = Customer.objects.create(name="Jo Fenwick", phone="77")
    assert f'<option value="{known_one.pk}">Jo Fenwick (77)</option>' in page_of(front_desk.get(BEGIN))
    blank = dict.fromkeys(("name", "address", "email", "phone"), "")
    assert send(front_desk, customer=known_one.pk, **blank).status_code == 302
    assert Restoration.objects.get().customer == known_one
    assert Customer.objects.count() == 1


def test_a_known_machine_comes_back_as_itself(front_desk):
    send(front_desk)
    assert send(front_desk, name="Another owner", model="250", maker="HERON", frame_number="h1234").status_code == 302
    assert send(front_desk, name="A third", year="", engine_number="").status_code == 302
    assert Machine.objects.count() == 1
    assert send(front_desk, name="A fourth", model="350").status_code == 302
    assert Machine.objects.count() == 2


def test_machines_without_a_frame_number_are_never_taken_for_each_other(front_desk):
    send(front_desk, frame_number="")
    send(front_desk, frame_number="", name="Another")
    assert Machine.objects.count() == 2


def test_the_parts_of_a_template_are_laid_out_with_their_routes(front_desk, template):
    assert send(front_desk, parts_from="template", template=template.pk).status_code == 302
    parts = Restoration.objects.get().parts.all()
    assert [part.name for part in parts] == ["Frame", "Stand"]
    assert parts[0].steps.count() == 2


def test_the_only_template_is_chosen_already_and_of_several_none_is(front_desk, template):
    chosen = f'<option value="{template.pk}" selected>'
    assert chosen in front_desk.get(BEGIN).content.decode()
    Template.objects.create(name="Heavy twin")
    assert chosen not in front_desk.get(BEGIN).content.decode()


def test_the_browser_goes_to_the_first_box_that_is_wrong(front_desk, template):
    page = send(front_desk, parts_from="template", template="").content.decode()
    assert re.findall(r'name="(\w+)"[^>]* autofocus', page) == ["template"]
    page = send(front_desk, maker="", parts_from="template", template="").content.decode()
    assert re.findall(r'name="(\w+)"[^>]* autofocus', page) == ["maker"]
    assert "autofocus" not in front_desk.get(BEGIN).content.decode()


def test_without_templates_none_is_offered(front_desk, shop):
    page = page_of(front_desk.get(BEGIN))
    assert 'name="template"' not in page
    assert 'value="template"' not in page
    assert wrong(send(front_desk, parts_from="template")) == {"parts_from": ["Choose where the parts come from."]}


def test_what_is_needed_in_one_case_of_several_is_not_called_optional(front_desk, template):
    labels = re.findall(r'<label for="id_(\w+)">(.*?)</label>', page_of(front_desk.get(BEGIN)))
    optional = {name for name, label in labels if "optional" in label}
    assert optional == {"address", "email", "phone", "year", "frame_number", "engine_number", "title"}


def test_a_template_that_cannot_be_laid_out_says_so_and_begins_nothing(front_desk, template):
    FinishRoute.objects.all().delete()
    response = send(front_desk, parts_from="template", template=template.pk)
    assert wrong(response) == {
        "template": ["Frame: there is no route to put “Black” on steel. Choose another finish or material."]
    }
    assert nothing_was_begun()
    assert not Entry.objects.filter(what="customer added").exists()


# what is wrong, field by field


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"customer": "77"}, "customer", "This customer is not there. Choose one of the list."),
        ({"customer": "x"}, "customer", "This customer is not there. Choose one of the list."),
        ({"customer": "9" * 30}, "customer", "This customer is not there. Choose one of the list."),
        ({"name": ""}, "name", "Give the customer's name, or choose a known customer above."),
        ({"name": " "}, "name", "Give the customer's name, or choose a known customer above."),
        ({"name": "x" * 121}, "name", "Ensure this value has at most 120 characters (it has 121)."),
        ({"address": "x" * 501}, "address", "Ensure this value has at most 500 characters (it has 501)."),
        ({"email": "jo"}, "email", "This is no e-mail address. Write it like name@example.org."),
        ({"phone": "1" * 41}, "phone", "Ensure this value has at most 40 characters (it has 41)."),
        ({"maker": ""}, "maker", "Give the maker, as it stands on the tank or the papers."),
        ({"maker": "x" * 61}, "maker", "Ensure this value has at most 60 characters (it has 61)."),
        ({"maker": "a\0"}, "maker", "Null characters are not allowed."),
        ({"model": ""}, "model", "Give the model. If nobody knows it, write “unknown”."),
        ({"model": "x" * 61}, "model", "Ensure this value has at most 60 characters (it has 61)."),
        ({"year": "fifty"}, "year", "Give the year in four digits, such as 1951."),
        ({"year": "51"}, "year", "Give the year in four digits, from 1885 to %(year)s."),
        ({"year": "2999"}, "year", "Give the year in four digits, from 1885 to %(year)s."),
        ({"year": "-1"}, "year", "Give the year in four digits, from 1885 to %(year)s."),
        ({"frame_number": "x" * 41}, "frame_number", "Ensure this value has at most 40 characters (it has 41)."),
        ({"engine_number": "x" * 41}, "engine_number", "Ensure this value has at most 40 characters (it has 41)."),
        ({"title": "x" * 121}, "title", "Ensure this value has at most 120 characters (it has 121)."),
        ({"begun_on": ""}, "begun_on", "Give the day it was begun."),
        ({"begun_on": "2026-02-30"}, "begun_on", "Give a day that exists, such as 2026-03-14."),
        ({"begun_on": "2206-03-02"}, "begun_on", "Check the year of this day."),
        ({"begun_on": "0206-03-02"}, "begun_on", "Check the year of this day."),
        ({"parts_from": None}, "parts_from", "Choose where the parts come from."),
        ({"parts_from": "nowhere"}, "parts_from", "Choose where the parts come from."),
        ({"parts_from": "template"}, "template", "Choose a template, or take the parts from elsewhere."),
        (
            {"parts_from": "template", "template": "99"},
            "template",
            "This template is not there. Choose one of the list.",
        ),
        ({"parts_from": "file"}, "file", "Choose the file, or take the parts from elsewhere."),
    ],
)
def test_each_field_says_what_is_wrong_and_nothing_typed_is_lost(front_desk, template, changed, field, sentence):
    response = send(front_desk, **changed)
    assert wrong(response) == {field: [sentence % {"year": timezone.localdate().year}]}
    assert nothing_was_begun()
    page = page_of(response)
    assert "everything you typed is still here" in page
    for name, value in (NEW | changed).items():
        if name in {"customer", "template", "parts_from"} or not value or "\0" in value or not value.strip():
            continue
        assert f'name="{name}" value="{value}"' in page or f">\n{value}</textarea>" in page, name
    if NEW["parts_from"] == (NEW | changed)["parts_from"]:
        assert re.search(r'name="parts_from" value="empty"[^>]* checked', page)


def test_a_customer_is_chosen_or_typed_but_not_both(front_desk):
    known_one = Customer.objects.create(name="Al Moor")
    response = send(front_desk, customer=known_one.pk)
    assert wrong(response) == {"customer": ["Either choose a known customer or type a new one; empty the other."]}
    assert f'<option value="{known_one.pk}" selected>' in page_of(response)


@pytest.mark.parametrize(
    ("typed", "same"),
    [
        ({"email": "", "phone": ""}, True),
        ({"email": "JO@example.org", "phone": ""}, True),
        ({"email": "", "phone": "99"}, True),
        ({"email": "other@example.org", "phone": ""}, False),
        ({"name": "Jo Fenwick senior"}, False),
    ],
)
def test_a_customer_who_is_on_record_is_not_made_again_by_mistake(front_desk, typed, same):
    Customer.objects.create(name="jo fenwick", email="jo@example.org")
    response = send(front_desk, **typed)
    if same:
        text = "There is a customer of this name already. Choose them above, or give what tells the two apart."
        assert wrong(response) == {"name": [text]}
    assert Restoration.objects.exists() is not same


def test_a_machine_on_record_under_other_numbers_is_asked_about(front_desk):
    send(front_desk, engine_number="")
    response = send(front_desk, name="Another", year="1958", engine_number="E1")
    correct = "if yours is another machine, correct the frame number."
    start = "The machine with this frame number is on record"
    assert wrong(response) == {
        "year": [f"{start} with “1957” here. Write the same or leave it empty; {correct}"],
        "engine_number": [f"{start} without this. Leave it empty; {correct}"],
    }
    assert Restoration.objects.count() == 1


# parts from a file


def test_a_file_of_parts_is_laid_out_with_routes_in_its_order(front_desk, shop):
    file = csv_file("part;pieces;finish;dm2;depth\nFrame;1;black;60,5;\nNut;4;zinc;;1\nGrip;2;;;\n")
    assert send_file(front_desk, file).status_code == 302
    row = Restoration.objects.get()
    parts = list(row.parts.order_by("position"))
    assert [(part.name, part.pieces, part.depth) for part in parts] == [("Frame", 1, 0), ("Nut", 4, 1), ("Grip", 2, 0)]
    assert [part.agreed_finish for part in parts] == [part.factory_finish for part in parts]
    assert [part.agreed_finish for part in parts] == [shop.black, shop.zinc, None]
    assert parts[0].area == Decimal("60.5")
    assert [str(step) for step in parts[0].steps.order_by("position")] == ["Blast", "Spray"]
    assert Entry.objects.filter(what="part added").count() == 3


def test_what_is_wrong_in_a_file_stands_in_a_table_and_nothing_is_begun(front_desk, shop):
    file = csv_file("part;pieces;finish\nFrame;1;black\nNut;two;zync\nBox;1;black\n", "bike.csv")
    response = send(front_desk, parts_from="file", file=file)
    sentence = (
        "Nothing was taken from “bike.csv”: 2 things are wrong in it, named above. Correct them, then choose the file"
        " again."
    )
    assert wrong(response) == {"file": [sentence]}
    page = page_of(response)
    table = re.findall(r"<tr><td[^>]*>(.*?)</td><td>(.*?)</td><td>(.*?)</td></tr>", page)
    assert table == [
        ("3", "pieces", "“two” is not a whole number. Give digits, such as 2."),
        ("3", "finish", "“zync” is not a finish of this shop. Did you mean “Zinc”?"),
    ]
    assert 'value="Jo Fenwick"' in page
    assert re.search(r'name="parts_from" value="file"[^>]* checked', page)
    assert nothing_was_begun()


def test_a_file_wrong_throughout_says_that_there_may_be_more(front_desk, shop):
    response = send(front_desk, parts_from="file", file=csv_file("part,pieces\n" + "Nut,x\n" * 300))
    assert "More may be wrong further down." in page_of(response)


def test_nothing_is_written_before_somebody_has_seen_what_a_file_adds(front_desk, shop):
    response = send(front_desk, parts_from="file", file=csv_file("part;pieces\nFrame;1\nNut;4\n", "bike.csv"))
    assert response.status_code == 200
    page = page_of(response)
    assert "“bike.csv” is read, and nothing is written yet." in page
    assert "Begin with 2 parts" in page
    assert nothing_was_begun()
    upload = Upload.objects.get()
    assert (upload.name, upload.kind, upload.who, upload.subject_uid, upload.taken_at) == (
        "bike.csv",
        "parts",
        "ada",
        None,
        None,
    )


def test_a_file_that_was_begun_with_is_taken_once(front_desk, shop):
    shown = kept_in(send(front_desk, parts_from="file", file=csv_file("part\nNut\n", "bike.csv")))
    first = send(front_desk, parts_from="file", upload=shown)
    again = front_desk.post(BEGIN, NEW | {"parts_from": "file", "upload": shown, "frame_number": "H9"}, follow=True)
    assert (Restoration.objects.count(), Part.objects.count()) == (1, 1)
    assert again.redirect_chain == [(first["Location"], 302)]
    assert "“bike.csv” was taken in already. Nothing was added again." in page_of(again)
    upload = Upload.objects.get()
    assert upload.taken_at is not None
    assert upload.subject_uid == Restoration.objects.get().uid


def test_a_good_file_beside_a_wrong_field_is_kept(front_desk, shop):
    response = send(front_desk, parts_from="file", file=csv_file("part\nNut\n", "bike.csv"), year="x")
    assert list(wrong(response)) == ["year"]
    assert "“bike.csv” is kept" in page_of(response)
    assert send(front_desk, parts_from="file", upload=kept_in(response)).status_code == 302
    assert [part.name for part in Restoration.objects.get().parts.all()] == ["Nut"]


def test_another_file_takes_the_place_of_the_one_that_is_kept(front_desk, shop):
    first = kept_in(send(front_desk, parts_from="file", file=csv_file("part\nNut\n")))
    shown = send(front_desk, parts_from="file", upload=first, file=csv_file("part\nBolt\n"))
    assert "Begin with 1 part" in page_of(shown)
    assert send(front_desk, parts_from="file", upload=kept_in(shown)).status_code == 302
    assert [part.name for part in Part.objects.all()] == ["Bolt"]


def test_a_kept_file_is_let_go_when_the_parts_come_from_elsewhere(front_desk, shop):
    kept = kept_in(send(front_desk, parts_from="file", file=csv_file("part\nNut\n")))
    assert send(front_desk, upload=kept).status_code == 302
    assert Part.objects.count() == 0
    assert Upload.objects.get().taken_at is None


@pytest.mark.parametrize("uid", ["", "x", "00000000-0000-4000-8000-000000000000"])
def test_without_a_file_that_is_kept_one_has_to_be_chosen(front_desk, shop, uid):
    assert wrong(send(front_desk, parts_from="file", upload=uid)) == {
        "file": ["Choose the file, or take the parts from elsewhere."]
    }


def test_a_file_kept_for_another_bike_does_not_begin_one(front_desk, shop):
    other = Upload.objects.create(
        kind="parts", subject_uid=restoration().uid, name="x", content=b"part\nNut\n", at=NOW, who="eve"
    )
    assert list(wrong(send(front_desk, parts_from="file", upload=str(other.uid), name="Eva Lind"))) == ["file"]


def test_what_a_finish_was_called_is_looked_up_again_before_it_is_begun(front_desk, shop):
    kept = kept_in(send(front_desk, parts_from="file", file=csv_file("part,finish\nNut,black\n", "bike.csv")))
    shop.black.name = "Jet"
    shop.black.save()
    response = send(front_desk, parts_from="file", upload=kept)
    assert list(wrong(response)) == ["file"]
    assert "“black” is not a finish of this shop." in page_of(response)
    assert nothing_was_begun()


def test_a_file_that_was_not_asked_for_is_not_passed_over_in_silence(front_desk, shop):
    response = send(front_desk, file=csv_file("part\nNut\n"))
    assert wrong(response) == {
        "parts_from": ["A file came along too. Choose “A parts list of your own” here, or leave the file out."]
    }


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The file is empty. It needs a line of headings, then a line for each part."),
        (b"x" * (MOST_BYTES + 1), "The file is larger than 2 MB. A list is far smaller; is it the right file?"),
        (
            b"PK\x03\x04",
            "This spreadsheet is damaged or cut short. Open it, save it anew as XLSX or CSV, then choose it again.",
        ),
    ],
)
def test_a_file_that_is_no_list_says_so_in_the_table(front_desk, shop, content, sentence):
    response = send(front_desk, parts_from="file", file=csv_file(content))
    assert list(wrong(response)) == ["file"]
    assert f"<td>{sentence}</td>" in page_of(response)


def test_what_a_file_holds_is_shown_as_text(front_desk, shop):
    response = send(front_desk, parts_from="file", file=csv_file("part,finish\nNut,<b>gold</b>\n", "<i>.csv"))
    html = response.content.decode()
    assert "&lt;b&gt;gold&lt;/b&gt;" in html
    assert "<b>gold" not in html
    assert "<i>.csv" not in html


def test_the_sample_is_this_shops_own_and_can_be_sent_back_as_it_is(front_desk, shop):
    SizeClass.objects.create(name="=Small", area=Decimal(2), weight=Decimal(1))
    response = front_desk.get(SAMPLE)
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"] == 'attachment; filename="parts.csv"'
    text = response.content.decode("utf-8-sig")
    assert text.startswith("part,area,pieces,material,size class,dm2,kg,openings,spokes,condition,strength,")
    assert ",'=Small," in text
    assert send_file(front_desk, csv_file(response.content)).status_code == 302
    parts = Restoration.objects.get().parts.order_by("position")
    assert [part.name for part in parts] == ["Fork yoke, lower", "Yoke nut", "Wheel rim, front"]
    assert parts[0].size_class is not None
    assert parts[0].agreed_finish == shop.black


def test_where_decimals_have_a_comma_the_sample_has_semicolons(front_desk, settings):
    settings.LANGUAGE_CODE, settings.LANGUAGES = "de", [("de", "de")]
    text = front_desk.get(SAMPLE).content.decode("utf-8-sig")
    assert text.count(";") == 4 * 14
    assert ";0,35;" in text


def test_a_file_asks_little_more_of_the_database_for_500_parts_than_for_5(front_desk, shop):
    """SQLite takes a limited number of values in one statement."""

    def asked(count: int) -> int:
        file = csv_file("part,finish\n" + "Nut,black\n" * count)
        with CaptureQueriesContext(connection) as queries:
            assert send_file(front_desk, file, name=f"Jo {count}", frame_number="").status_code == 302
        return len(queries)

    few, many = asked(5), asked(500)
    assert many == few if connection.vendor == "postgresql" else many < few + 100


def test_the_page_asks_as_much_for_many_customers_and_templates_as_for_few(front_desk, shop):
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            front_desk.get(BEGIN)
        return len(queries)

    Customer.objects.create(name="One")
    Template.objects.create(name="One")
    few = asked()
    Customer.objects.bulk_create(Customer(name=f"Customer {n}") for n in range(499))
    Template.objects.bulk_create(Template(name=f"Template {n}") for n in range(499))
    assert asked() == few


# anything at all

CELL = st.one_of(
    st.sampled_from(["", "1", "0,5", "-2", "two", "steel", "rubber", "black", "Zinc", "green", "Frame", "'=x", '"']),
    st.text(max_size=8),
)
LINES = st.lists(st.lists(CELL, min_size=1, max_size=6).map(";".join), max_size=6).map("\n".join)
CONTENT = st.one_of(
    LINES.map(lambda text: f"part;pieces;material;finish;old finish;dm2\n{text}".encode()),
    st.lists(
        st.sampled_from(["Nut;1;;black", "Grip;2;rubber;", "Tank;1;steel;green;black", "Cap;1;;zinc"]), min_size=1
    ).map(lambda rows: ("part;pieces;material;finish;old finish\n" + "\n".join(rows)).encode()),
    st.binary(max_size=200),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=CONTENT)
def test_no_file_begins_anything_by_half(shop, content):
    """What the form takes is begun with every row as a part; what it does not take is told, and nothing is begun."""
    data = NEW | {"parts_from": "file"}
    with transaction.atomic():
        form = BeginForm(data, {"file": csv_file(content)}, today=timezone.localdate())
        if form.is_valid():
            row = begin_restoration(**form.given(), today=timezone.localdate(), who="ada", now=NOW)
            assert row.parts.count() == len(form.parts.rows) > 0
            assert [part.name for part in row.parts.order_by("position")] == [r["name"] for r in form.parts.rows]
            for part in row.parts.all():
                assert part.steps.exists() == bool(part.agreed_finish or part.old_finish)
        else:
            assert list(form.errors) == ["file"]
            assert form.parts.wrong
            assert nothing_was_begun()
        transaction.set_rollback(True)


def test_what_a_list_may_name_is_read_in_three_queries(shop, django_assert_num_queries):
    with django_assert_num_queries(3):
        found = known()
    assert [finish.name for finish in found.finishes] == ["Black", "Green", "Zinc"]


def test_a_day_a_year_ahead_may_be_planned_but_no_later(front_desk):
    ahead = timezone.localdate() + timedelta(days=367)
    assert list(wrong(send(front_desk, begun_on=ahead.isoformat()))) == ["begun_on"]
    assert send(front_desk, begun_on=(ahead - timedelta(days=1)).isoformat()).status_code == 302
