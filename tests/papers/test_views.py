import uuid
from pathlib import Path

import pytest
from django.test import Client

from shop.papers import selectors, services
from shop.papers.models import Document
from shop.people.services import add_person
from tests.papers.conftest import NOW

pytestmark = pytest.mark.django_db


def signed_in(*roles: str) -> Client:
    client = Client()
    client.force_login(add_person(username="p", name="P", password="spoke nipple 36", roles=roles))
    return client


@pytest.fixture
def drawing() -> Document:
    content = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
    return services.store(name='frame "A".svg', media_type="image/svg+xml", content=content, now=NOW)


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_the_front_desk_and_the_manager_open_documents(drawing: Document, role: str) -> None:
    response = signed_in(role).get(drawing.get_absolute_url())
    assert (response.status_code, response.content) == (200, selectors.content(drawing))


def test_a_mechanic_may_not_open_a_document_as_it_may_hold_money(drawing: Document) -> None:
    assert signed_in("mechanic").get(drawing.get_absolute_url()).status_code == 403


def test_a_stranger_is_sent_to_sign_in(drawing: Document) -> None:
    response = Client().get(drawing.get_absolute_url())
    assert response.status_code == 302
    assert response["Location"].startswith("/sign-in/?next=/papers/")


def test_a_stored_file_cannot_act_as_a_page_of_ours(drawing: Document) -> None:
    response = signed_in("desk").get(drawing.get_absolute_url())
    assert response["Content-Security-Policy"] == "sandbox"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["X-Frame-Options"] == "DENY"
    assert response["Cache-Control"] == "private, no-store"
    # Source: RFC 6266 section 4.1 with RFC 9110 section 5.6.4, quoted-string escaping.
    assert response["Content-Disposition"] == 'attachment; filename="frame \\"A\\".svg"'


def test_a_name_outside_ascii_is_sent_as_the_standard_says() -> None:
    paper = services.store(name="Prüfung.png", media_type="image/png", content=b"png", now=NOW)
    response = signed_in("desk").get(paper.get_absolute_url())
    # Source: RFC 8187 section 3.2.1 (ü is C3 BC in UTF-8).
    assert response["Content-Disposition"] == "inline; filename*=utf-8''Pr%C3%BCfung.png"


def test_a_pdf_opens_in_the_browser_under_its_own_name() -> None:
    paper = services.store(name="quote 12.pdf", media_type="application/pdf", content=b"%PDF-1.7", now=NOW)
    response = signed_in("desk").get(paper.get_absolute_url())
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="quote 12.pdf"'


def test_an_unknown_document_is_not_found() -> None:
    assert signed_in("desk").get(f"/papers/{uuid.uuid4()}/").status_code == 404


def test_a_document_cannot_be_changed_through_its_address(drawing: Document) -> None:
    assert signed_in("desk").post(drawing.get_absolute_url()).status_code == 405


def test_a_forged_file_is_not_served(drawing: Document, documents: Path) -> None:
    selectors.path_of(drawing.sha256).write_bytes(b"forged")
    client = signed_in("desk")
    client.raise_request_exception = False
    response = client.get(drawing.get_absolute_url())
    assert response.status_code == 500
    assert b"forged" not in response.content
