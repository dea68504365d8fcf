"""How photographs come in through a page, and go out (RELIABILITY S-22)."""

import re
import uuid
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import Permission
from django.test import Client

from shop.papers import selectors
from shop.papers.models import Photograph
from shop.people.services import add_person
from tests.papers.conftest import NOW
from tests.papers.pictures import files, keep, plain
from tests.papers.test_photographs_kinds import KEPT

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.papers.photograph_page")]

PROOF = "/proof/"
WAYS = ["photograph", "thumbnail"]


def signed_in(*roles: str) -> Client:
    client = Client()
    client.force_login(add_person(username="ida", name="Ida", password="spoke nipple 36", roles=roles))
    return client


@pytest.fixture
def viewer() -> Client:
    """Somebody who may see photographs, whatever else."""
    client = Client()
    person = add_person(username="eve", name="Eve", password="spoke nipple 36", roles=["mechanic"])
    person.user_permissions.add(Permission.objects.get(codename="view_photograph"))
    client.force_login(person)
    return client


@pytest.fixture
def photograph() -> Photograph:
    return keep(plain(size=(900, 600)))


def address(photograph: Photograph, way: str) -> str:
    return photograph.get_absolute_url() + ("thumbnail/" if way == "thumbnail" else "")


def send(client: Client, content: bytes, *, name: str = "tank.jpg", said: str = "image/jpeg", **words: str) -> Any:
    """The body as a hostile client writes it: Django's own test client would tidy the name first."""
    given = {"photograph-caption": "Tank, left side", "photograph-taken_on": ""} | words
    body = b"".join(
        f'--x\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
        for key, value in given.items()
    )
    head = f'--x\r\nContent-Disposition: form-data; name="photograph-file"; filename="{name}"\r\nContent-Type: {said}'
    body += head.encode() + b"\r\n\r\n" + content + b"\r\n--x--\r\n"
    return client.post(PROOF, body, content_type="multipart/form-data; boundary=x")


# -- out ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("role", ["desk", "mechanic", "manager"])
def test_each_role_sees_photographs(photograph: Photograph, role: str, way: str) -> None:
    assert signed_in(role).get(address(photograph, way)).status_code == 200


@pytest.mark.parametrize("way", WAYS)
def test_a_person_without_a_right_to_them_sees_none(photograph: Photograph, way: str) -> None:
    client = Client()
    person = add_person(username="ida", name="Ida", password="spoke nipple 36", roles=["desk"])
    person.groups.clear()
    client.force_login(person)
    assert client.get(address(photograph, way)).status_code == 403


@pytest.mark.parametrize("way", WAYS)
def test_a_stranger_is_sent_to_sign_in(photograph: Photograph, way: str) -> None:
    answer = Client().get(address(photograph, way))
    assert (answer.status_code, answer.content) == (302, b"")
    assert answer["Location"].startswith("/sign-in/?next=/papers/photographs/")


@pytest.mark.parametrize("way", WAYS)
def test_a_photograph_goes_out_as_what_it_is_and_cannot_act_as_a_page(
    photograph: Photograph, way: str, viewer: Client
) -> None:
    answer = viewer.get(address(photograph, way))
    read = selectors.photograph_content if way == "photograph" else selectors.thumbnail_content
    assert answer.content == read(photograph)
    # Source: OWASP ASVS 5.0, 3.2.1, 5.4.1 and 14.3.2; RFC 6266, 4.1.
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
    disposition = "attachment" if way == "photograph" else "inline"
    assert answer["Content-Disposition"] == f'{disposition}; filename="photograph-{photograph.uid}.jpg"'
    assert answer["Cache-Control"] == "private, no-cache"
    assert "Cookie" in answer["Vary"]


@pytest.mark.parametrize("way", WAYS)
def test_a_browser_asks_each_time_and_shows_one_taken_away_no_longer(
    photograph: Photograph, way: str, viewer: Client
) -> None:
    """``no-cache``: what is kept is not shown before it was asked for again (RFC 9111, 5.2.2.4)."""
    here = address(photograph, way)
    known = viewer.get(here)["ETag"]
    again = viewer.get(here, headers={"If-None-Match": known})
    assert (again.status_code, again.content, again["Cache-Control"]) == (304, b"", "private, no-cache")
    by = {"taken_away_at": photograph.added_at, "taken_away_by": "ada", "taken_away_why": "Shows a letter"}
    Photograph.objects.filter(pk=photograph.pk).update(**by)
    assert viewer.get(here, headers={"If-None-Match": known}).status_code == 404


@pytest.mark.parametrize("way", WAYS)
def test_a_photograph_cannot_be_changed_through_its_address(photograph: Photograph, way: str, viewer: Client) -> None:
    assert viewer.post(address(photograph, way)).status_code == 405


def test_an_unknown_photograph_is_not_found(viewer: Client) -> None:
    assert viewer.get(f"/papers/photographs/{uuid.uuid4()}/thumbnail/").status_code == 404


def test_a_forged_file_is_not_served(photograph: Photograph, viewer: Client) -> None:
    selectors.path_of(photograph.sha256).write_bytes(plain())
    viewer.raise_request_exception = False
    assert viewer.get(photograph.get_absolute_url()).status_code == 500


def test_a_photograph_is_no_document(photograph: Photograph) -> None:
    assert signed_in("desk").get(f"/papers/{photograph.uid}/").status_code == 404


# -- in ----------------------------------------------------------------------------------------------------------------


def test_a_photograph_comes_in_through_a_page_and_is_shown_with_its_caption(viewer: Client) -> None:
    answer = send(viewer, plain(), **{"photograph-taken_on": "2026-02-28"})
    assert (answer.status_code, answer["Location"]) == (302, PROOF)
    kept = Photograph.objects.get()
    assert (kept.caption, kept.taken_on, kept.added_by) == ("Tank, left side", date(2026, 2, 28), "eve")
    page = viewer.get(PROOF).content.decode()
    assert f'<img src="/papers/photographs/{kept.uid}/thumbnail/" alt="Tank, left side"' in page
    assert f'<a href="/papers/photographs/{kept.uid}/" download>' in page
    assert re.search(r"taken on 28 Feb(ruary)?\.? 2026", page)


def test_a_caption_cannot_become_markup(viewer: Client) -> None:
    keep(plain(), caption="\"><script>alert('x')</script>")
    page = viewer.get(PROOF).content.decode()
    assert "<script>alert" not in page
    assert 'alt="&quot;&gt;&lt;script&gt;' in page


NAMES = {
    "two endings": "tank.php.jpg",
    "wrong ending": "tank.html",
    "no picture's ending": "tank.jpg.exe",
    "NUL": "tank.php\x00.jpg",
    "turned letters": "tank\u202egpj.exe",
    "way up": "../../../../etc/passwd",
    "way up for another system": "..\\..\\boot.ini",
    "from the root": "/etc/passwd",
    "300 letters": "a" * 300 + ".jpg",
    "only dots": "....jpg",
    "markup": "<img src=x onerror=alert(1)>.jpg",
    "settings of a server": ".htaccess",
    "line end": "a%0d%0aSet-Cookie: x=1.jpg",
}


@pytest.mark.parametrize("name", NAMES)
def test_the_name_that_came_along_is_used_for_nothing(name: str, viewer: Client, documents: Path) -> None:
    assert send(viewer, plain(), name=NAMES[name]).status_code == 302
    kept = Photograph.objects.get()
    found = {str(path.relative_to(documents)) for path in files(documents)}
    assert all(re.fullmatch(r"([0-9a-f]{2})/\1[0-9a-f]{62}", path) for path in found)
    answer = viewer.get(kept.get_absolute_url())
    assert answer["Content-Disposition"] == f'attachment; filename="photograph-{kept.uid}.jpg"'
    assert answer["Content-Type"] == "image/jpeg"


@pytest.mark.parametrize("said", ["text/html", "image/svg+xml", "application/x-php", "", "x" * 500, "image/gif"])
def test_the_type_that_was_said_is_used_for_nothing(said: str, viewer: Client) -> None:
    assert send(viewer, plain("PNG"), said=said).status_code == 302
    assert viewer.get(Photograph.objects.get().get_absolute_url())["Content-Type"] == "image/jpeg"
    refused = send(viewer, b"<svg xmlns='http://www.w3.org/2000/svg'/>", said="image/jpeg")
    assert "This is not a JPEG, PNG or WebP picture." in refused.content.decode()


@pytest.mark.parametrize("name", KEPT)
def test_a_picture_that_is_also_a_page_goes_out_without_it(name: str, viewer: Client) -> None:
    send(viewer, KEPT[name], name="tank.html", said="text/html")
    for way in WAYS:
        assert b"CANARY" not in viewer.get(address(Photograph.objects.get(), way)).content


def error_at(page: str, field: str) -> str:
    found = re.search(rf'<ul class="wrong" id="id_photograph-{field}_error"><li>(.*?)</li>', page)
    return found[1] if found else ""


def test_without_a_file_or_a_caption_each_is_said_at_its_field(viewer: Client) -> None:
    page = viewer.post(PROOF, {"photograph-caption": " ", "photograph-taken_on": "yesterday"}).content.decode()
    assert error_at(page, "file") == "Choose a photograph."
    assert error_at(page, "caption") == "Say what it shows."
    assert error_at(page, "taken_on") == "Enter the day as year-month-day, such as 2026-03-02."


def test_an_empty_file_is_said_at_the_field(viewer: Client) -> None:
    assert error_at(send(viewer, b"").content.decode(), "file") == "This file is empty. Choose another."


def test_what_was_typed_is_still_there_and_the_file_is_asked_for_again(viewer: Client) -> None:
    page = send(
        viewer, plain(), **{"photograph-caption": "Lining", "photograph-taken_on": "2999-01-01"}
    ).content.decode()
    assert error_at(page, "taken_on").startswith("This day is still to come.")
    assert 'value="Lining"' in page
    assert 'value="2999-01-01"' in page
    assert "Choose the photograph again: a page cannot keep a file." in page
    assert "data-keep=" in page
    assert not Photograph.objects.exists()


def test_a_wrong_file_is_said_at_its_field_and_keeps_what_was_typed(viewer: Client) -> None:
    page = send(viewer, b"%PDF-1.7", **{"photograph-caption": "Lining"}).content.decode()
    assert error_at(page, "file").startswith("This is not a JPEG, PNG or WebP picture.")
    assert 'value="Lining"' in page
    assert "Choose the photograph again" not in page


def test_a_caption_with_nul_or_too_long_is_refused_at_its_field(viewer: Client) -> None:
    for caption in ("a\x00b", "x" * 201):
        page = send(viewer, plain(), **{"photograph-caption": caption}).content.decode()
        assert error_at(page, "caption")
    assert not Photograph.objects.exists()


def test_a_page_asks_no_more_of_the_database_for_many_photographs(
    viewer: Client, django_assert_num_queries: Any
) -> None:
    counts = []
    for _round in range(2):
        keep(plain(), now=NOW)
        with django_assert_num_queries(4, exact=False) as asked:  # session, person, roles, photographs
            viewer.get(PROOF)
        counts.append(len(asked))
    assert counts[0] == counts[1]
