"""What a tablet of the workshop opens: the pages of the floor, and on none of them money or customers.

RELIABILITY S-12; OWASP ASVS 5.0, 8.2.1, 8.2.3, 15.3.1. The addresses come from the URLconf, with something real in each.
"""

import re
from collections.abc import Callable, Iterator

import pytest
from django.db.models import F, Value
from django.db.models.functions import Concat
from django.test import Client
from django.utils import timezone

from quotes.pricing.models import IssuedQuote
from shop.people import tablets
from shop.people.models import User
from shop.people.sessions import FLOOR
from shop.restorations.models import Customer
from tests.every_page import Address

PERSON, PHONE, MAIL, PLACE = "Canarycustomer", "0999 777 555", "canary@post.invalid", "Canarylane"
CANARIES = (PERSON, PHONE, MAIL, PLACE)
#: Sums of money as pages write them, in the currency of the demo workshop or any other sign, and the words that go with them.
MONEY = re.compile(
    r"[€£$]\s?\d|\d\s?[€£$]|\bEUR\b|\b(?:margin|markup|charge-out|cost rate|overhead|contingency)\b", re.IGNORECASE
)


@pytest.fixture
def shop(furnished: list[Address], db: None) -> list[Address]:
    Customer.objects.update(name=Concat(Value(f"{PERSON} "), F("pk")), phone=PHONE, email=MAIL, address=f"7 {PLACE}")
    return furnished


def tablet() -> Client:
    now = timezone.now()
    code = tablets.begin_enrolment(name="For the sweep", who="manager", now=now)
    client = Client(raise_request_exception=False)
    client.cookies[tablets.cookie_name()] = tablets.enrol(code=code, now=now)[1]
    return client


def told(body: str) -> set[str]:
    """What of money and customers is in a body."""
    return {one for one in CANARIES if one in body} | set(MONEY.findall(body))


def ways(client: Client, path: str) -> Iterator[tuple[str, Callable[[], object]]]:
    yield "get", lambda: client.get(path)
    yield "htmx", lambda: client.get(path, headers={"hx-request": "true"})
    yield "post", lambda: client.post(path)


def test_on_no_page_of_the_floor_a_tablet_sees_money_or_a_customer(shop: list[Address]) -> None:
    """Looked at, asked for a part of, and sent an empty form: which has to be refused in words, not with an error."""
    client = tablet()
    floor = [one for one in shop if one.path.startswith(FLOOR)]
    assert floor
    wrong, statuses = [], {}
    for one in floor:
        for way, ask in ways(client, one.path):
            answer = ask()
            statuses[f"{way} {one.name}"] = status = answer.status_code  # type: ignore[attr-defined]
            found = told(_text(answer))
            wrong += [f"{way} {one.path}: {sorted(found)}"] if found else []
            wrong += [f"{way} {one.path}: {status}"] if status >= 500 else []
    assert wrong == []
    assert 200 in statuses.values()


def _text(answer: object) -> str:
    kind = answer.headers.get("Content-Type", "")  # type: ignore[attr-defined]
    if getattr(answer, "streaming", False) or not kind.startswith(("text/", "application/json")):
        return ""
    return str(answer.content.decode())  # type: ignore[attr-defined]


def test_every_other_address_is_refused_to_a_tablet(shop: list[Address]) -> None:
    """Also with a desk's session beside the tablet's cookie, and with a customer's link."""
    client = tablet()
    rest = [one for one in shop if not one.path.startswith(FLOOR)]
    assert len(rest) > 100
    opened = []
    for one in rest:
        client.force_login(User.objects.get(username="manager"))
        for way, ask in ways(client, one.path):
            answer = ask()
            home = one.path == "/" and answer.headers.get("Location") == FLOOR  # type: ignore[attr-defined]
            if not home and answer.status_code != 403:  # type: ignore[attr-defined]
                opened.append(f"{way} {one.path}: {answer.status_code}")  # type: ignore[attr-defined]
            opened += [f"{way} {one.path}: {one}" for one in told(_text(answer))]
    assert opened == []
    assert "_auth_user_id" not in client.session


def test_a_stranger_opens_no_page_of_the_floor(shop: list[Address]) -> None:
    client = Client()
    for one in shop:
        if one.path.startswith(FLOOR):
            for way, ask in ways(client, one.path):
                answer = ask()
                assert answer.status_code == 302, f"{way} {one.path}"  # type: ignore[attr-defined]
                assert answer.headers["Location"].startswith("/sign-in/?next="), one.path  # type: ignore[attr-defined]


@pytest.mark.control
def test_the_canaries_are_seen_where_they_may_be(shop: list[Address]) -> None:
    desk = Client()
    desk.force_login(User.objects.get(username="manager"))
    quote = IssuedQuote.objects.order_by("number")[0]
    seen: set[str] = set()
    for page in ("", "customer/", "costs/"):
        answer = desk.get(f"/restorations/{quote.restoration.uid}/{page}")
        seen |= told(answer.content.decode())
    assert PERSON in seen
    assert any("€" in one for one in seen)
    assert {"margin"} <= {one.lower() for one in seen}
