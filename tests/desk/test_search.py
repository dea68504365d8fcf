"""Search from anywhere: what is found, in which order, and by whom."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk import finding
from quotes.desk.folding import compact, fold
from shop.methods.models import Service, Vendor
from shop.restorations.models import Customer, Machine, Part
from tests.desk.rows import day, quote, restoration

pytestmark = pytest.mark.django_db


def found(term: str) -> dict[str, list[str]]:
    """Kind to the names found."""
    return {group.kind: [hit.name for hit in group.hits] for group in finding.groups(finding.asked(term))}


def customers(*names: str, **more: str) -> None:
    Customer.objects.bulk_create(Customer(name=name, **more) for name in names)


# what is found


# Source: Unicode's CaseFolding.txt and canonical decompositions, as Python's unicodedata has them; the names are invented.
@pytest.mark.parametrize(
    ("stored", "typed"),
    [
        ("Jo Fenwick", "FENWICK"),
        ("Jörg Öztürk", "öztürk"),
        ("Jörg Öztürk", "ÖZTÜRK"),
        ("Jörg Öztürk", "ozturk"),
        ("Édith Garçon", "edith GARCON"),
        ("Zoë Łukasiewicz", "ZOË"),
        ("Ελένη", "ΕΛΈΝΗ"),
        ("Ελένη", "ελενη"),
        ("Жанна", "ЖАННА"),
        ("Anna Weiß", "WEIß"),
        ("Jo Fenwick", "wick jo"),
        ("Nguyễn Văn", "nguyen VAN"),
        ("Jörg", "Jo\N{COMBINING DIAERESIS}rg"),
    ],
)
def test_case_and_accents_do_not_matter_on_either_engine(stored, typed):
    customers(stored, "Somebody Else")
    assert found(typed) == {"customers": [stored]}


def test_every_word_must_be_there():
    customers("Jo Fenwick", "Jo Marsh")
    assert found("jo fen") == {"customers": ["Jo Fenwick"]}
    assert found("jo fen marsh") == {}


# Wildcards of LIKE, of GLOB and of regular expressions, and what could end a class of letters.
SIGNS = [
    "%",
    "_",
    "*",
    "?",
    "[a-z]",
    "[",
    "]",
    "^",
    "$",
    ".",
    ".*",
    "\\",
    "\\d",
    "(",
    ")",
    "|",
    "{2}",
    "+",
    "-",
    "a-z",
    "'",
    '"',
    ";",
]


@pytest.mark.parametrize("sign", SIGNS)
def test_a_sign_means_itself(sign):
    customers(f"a{sign}z1", "azz1", "abz1", "a1", "z1", "a\N{SUPERSCRIPT TWO}z1")
    assert found(f"a{sign}z1") == {"customers": [f"a{sign}z1"]}


@pytest.mark.parametrize("sign", SIGNS)
def test_a_sign_means_itself_beside_letters_beyond_ascii(sign):
    customers(f"Öl {sign}x1", "Öl x1", "Öl ax1")
    assert found(f"öl {sign}x1") == {"customers": [f"Öl {sign}x1"]}


@pytest.mark.parametrize("sign", SIGNS)
def test_signs_alone_find_only_themselves(sign):
    customers("Jo Fenwick", f"x {sign}{sign} y")
    assert found(sign * 2).get("customers", []) in ([f"x {sign}{sign} y"], [])
    assert "Jo Fenwick" not in found(sign * 2).get("customers", [])


@pytest.mark.parametrize("typed", ["H-12 345", "h12345", "12-34", "H 12 34 5", "12.345"])
def test_a_stamped_number_is_found_however_it_is_written(typed):
    restoration("Heron 250", frame_number="H 12-345", engine_number="E/77 001")
    restoration("Other", frame_number="H 99-999")
    assert found(typed)["bikes"] == ["Heron 250"]
    assert found("e77 0-01")["bikes"] == ["Heron 250"]


def test_a_bike_is_found_by_what_it_is_and_whose_it_is():
    bike = restoration("Grandfather's", customer="Jo Fenwick", maker="Bramble", model="Scout")
    for typed in ("grandfather", "BRAMBLE sco", "fenwick"):
        assert found(typed)["bikes"] == [bike.title]


@pytest.mark.parametrize("typed", ["01 23/45", "01-2345", "(01) 2345"])
def test_a_customer_is_found_by_telephone(typed):
    customers("Jo Fenwick", phone="0123 45-6")
    customers("Ann Marsh", phone="999")
    assert found(typed) == {"customers": ["Jo Fenwick"]}


def test_a_customer_is_found_by_mail():
    customers("Jo Fenwick", email="workshop@example.org")
    assert found("WORKSHOP@exam") == {"customers": ["Jo Fenwick"]}


def test_a_part_taken_out_is_not_found():
    bike = restoration(parts=0)
    Part.objects.create(restoration=bike, position=1, name="Front mudguard")
    Part.objects.create(restoration=bike, position=2, name="Rear mudguard", removed_at=timezone.now())
    assert found("mudguard") == {"parts": ["Front mudguard"]}


def test_a_vendor_is_found_by_its_name_and_by_what_it_does():
    vendor = Vendor.objects.create(name="Brook Platers", phone="0123")
    Service.objects.create(vendor=vendor, name="Zinc, clear", measure="kg")
    assert found("brook") == found("ZINC cl") == {"vendors": ["Brook Platers"]}
    (group,) = finding.groups("brook")
    assert group.hits[0].about == "Zinc, clear · 0123"


# quotes


@pytest.mark.parametrize("typed", ["Q00012", "q00012", "12", "012", "Q 12", "q-12"])
def test_a_quote_is_found_by_its_number_and_comes_before_longer_ones(typed):
    bike = restoration()
    for _ in range(12):
        quote(bike, until=day(3))
    assert found(typed)["quotes"] == ["Q00012"]


def test_a_number_finds_the_quote_itself_before_those_that_begin_so():
    bike = restoration()
    for _ in range(13):
        quote(bike, until=day(3))
    assert found("q1")["quotes"] == ["Q00001", "Q00013", "Q00012", "Q00011", "Q00010"]


@pytest.mark.parametrize("typed", ["Q", "quote", "Q12a", "1e1", "99999999999999999999"])
def test_what_is_no_quote_number_finds_no_quote(typed):
    quote(restoration(), until=day(3))
    assert "quotes" not in found(typed)


# order and amount


def test_what_begins_so_comes_first_and_the_rest_by_name():
    customers("Ann Marshall", "Marsha Reed", "Bill Marsh", "marsh, Zoë")
    assert found("marsh") == {"customers": ["Marsha Reed", "marsh, Zoë", "Ann Marshall", "Bill Marsh"]}


def test_the_exact_frame_number_comes_before_longer_ones_that_are_newer():
    restoration("Exact", frame_number="H-123")
    restoration("Longer", frame_number="H-1234")
    restoration("Inside", frame_number="XH 123")
    assert found("h123")["bikes"] == ["Exact", "Longer", "Inside"]


def test_eight_of_a_kind_are_shown_and_the_way_to_all(front_desk):
    customers(*(f"Marsh {number:02}" for number in range(9)))
    (group,) = finding.groups("marsh")
    assert (len(group.hits), group.more) == (8, True)
    page = front_desk.get("/search/", {"search": "marsh"}).content.decode()
    assert "Marsh 07" in page
    assert "Marsh 08" not in page
    (address,) = re.findall(r'href="(/search/\?search=marsh&amp;only=customers)"', page)
    everything = front_desk.get(address.replace("&amp;", "&")).content.decode()
    assert everything.count("<b>Marsh") == 9


def test_what_is_shown_of_all_ends_and_says_so(front_desk):
    customers(*(f"Marsh {number:03}" for number in range(201)))
    page = front_desk.get("/search/", {"search": "marsh", "only": "customers"}).content.decode()
    assert page.count("<b>Marsh") == 200
    assert "The first 200 are shown." in page


def test_searching_takes_as_many_queries_for_many_as_for_one(front_desk):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert front_desk.get("/search/", {"search": "fenwick 1"}).status_code == 200
        return len(seen)

    def more(number: int) -> None:
        bike = restoration("Fenwick 1", customer="Fenwick 1")
        Part.objects.create(restoration=bike, position=9, name="Fenwick 1")
        Service.objects.create(
            vendor=Vendor.objects.create(name=f"Fenwick 1 {number}"), name=f"s{number}", measure="kg"
        )

    more(0)
    one = queries()
    for number in range(1, 12):
        more(number)
    assert queries() == one


# the page


@pytest.mark.parametrize("typed", ["a", " a ", "--", "7"])
def test_one_letter_is_too_short_and_that_is_said(front_desk, typed):
    customers("a7")
    page = front_desk.get("/search/", {"search": typed}).content.decode()
    assert "Type at least two letters or figures." in page
    assert "a7" not in page.split("<main", 1)[1]


@pytest.mark.parametrize("typed", ["", "   ", "\0"])
def test_nothing_typed_says_what_can_be_found(front_desk, typed):
    assert "Type a name, a frame number" in front_desk.get("/search/", {"search": typed}).content.decode()


@pytest.mark.parametrize(
    "typed", ["no\0thing", "x" * 5000, "\u202eabc", "ab\ud83d".encode("utf-8", "replace").decode(), "a\r\nb", "🏍🏍"]
)
def test_whatever_is_typed_gets_an_answer(front_desk, typed):
    assert front_desk.get("/search/", {"search": typed}).status_code == 200


def test_what_is_typed_cannot_write_into_the_page(front_desk):
    customers("<b onclick=x>Jo</b>")
    page = front_desk.get("/search/", {"search": "<b onclick"}).content.decode()
    assert "<b onclick" not in page
    assert "&lt;b onclick=x&gt;" in page


def test_while_typing_only_what_was_found_comes(front_desk):
    customers("Jo Fenwick")
    part = front_desk.get("/search/", {"search": "fenw"}, headers={"HX-Request": "true", "HX-Target": "found"})
    assert "<html" not in part.content.decode()
    assert "Jo Fenwick" in part.content.decode()


@pytest.mark.parametrize("who", ["mechanic", "nobody"])
def test_customers_are_not_for_everyone(who, request):
    client: Client = request.getfixturevalue(who)
    assert client.get("/search/", {"search": "fenwick"}).status_code == 403
    assert 'id="seek"' not in client.get("/").content.decode()


@pytest.mark.parametrize("who", ["front_desk", "manager"])
def test_the_box_is_at_the_head_of_every_page(who, request):
    client: Client = request.getfixturevalue(who)
    for page in ("/", "/restorations/", "/sign-in/password/", "/nothing-here/"):
        assert 'action="/search/"' in client.get(page).content.decode(), page


def test_what_is_found_leads_to_where_it_is(front_desk):
    bike = restoration("Heron 250", customer="Jo Fenwick", frame_number="H1")
    row = quote(bike, until=day(3))
    assert finding.groups("q1")[0].hits[0].address == f"/quotes/{row.uid}/"
    for term, name in (("heron", "Heron 250"), ("fenwick", "Jo Fenwick"), ("part 0", "Part 0")):
        hits = [hit for group in finding.groups(term) for hit in group.hits if hit.name == name]
        assert hits, term
        assert front_desk.get(hits[0].address).status_code == 200


def test_folding_is_without_case_and_accents():
    assert fold("Łańcuch ÉMAIL") == "łancuch email"
    assert compact("H-12 3.4/5 (6)") == "H123456"


def test_machines_without_a_restoration_are_no_bike_here():
    Machine.objects.create(maker="Bramble", model="500")
    assert found("bramble") == {}
