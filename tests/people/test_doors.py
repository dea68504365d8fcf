"""What every answer carries, and that nothing but sign-in and a customer's own pages is open (RELIABILITY S-02, S-04, S-05)."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from uuid import UUID

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils.html import escape

from tests.people.conftest import Enter

SIGN_OUT = "/sign-in/out/"
# A tablet comes here with a code, before anybody knows it.
TABLET = {"/sign-in/tablet/", "/sign-in/tablet/x/"}
# A calendar program has a secret in its address and no account; a wrong one is told nothing.
CALENDAR = "/due/x.ics"
OPEN = {"/sign-in/", SIGN_OUT, CALENDAR} | TABLET
# Opened by the cookie of a link, without an account.
CUSTOMER = "/c/"
SAMPLES = {"uuid": str(UUID(int=1)), "int": "1", "str": "x", "slug": "x", "path": "x"}

# Source: CSP Level 3 section 6 names the directives; what each must be is OWASP ASVS 5.0, 3.4.3.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "manifest-src": "'self'",
    "object-src": "'none'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


def addresses(patterns: list[URLPattern | URLResolver], before: str = "/") -> Iterator[str]:
    for pattern in patterns:
        here = before + re.sub(r"<(?:(\w+):)?\w+>", lambda m: SAMPLES[m[1] or "str"], str(pattern.pattern))
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns, here)
        else:
            yield here


def policy_of(header: str) -> dict[str, str]:
    return dict(part.strip().split(" ", 1) for part in header.split(";"))


@pytest.mark.django_db
def test_a_stranger_gets_nothing_but_the_way_to_sign_in() -> None:
    seen = set(addresses(get_resolver("shop.urls").url_patterns))
    assert seen > OPEN
    assert Client().get(SIGN_OUT)["Location"] == Client().post(SIGN_OUT)["Location"] == "/"
    assert Client().get(CALENDAR).status_code == 404
    assert Client().post(CALENDAR).status_code == 405
    for address in {one for one in seen - OPEN if not one.startswith(CUSTOMER)}:
        for answer in (Client().get(address), Client().post(address)):
            assert answer.status_code == 302, address
            assert answer["Location"].startswith("/sign-in/?next="), address


@pytest.mark.django_db
def test_a_customers_pages_tell_a_stranger_nothing_and_all_of_them_the_same() -> None:
    """Whatever the address is for, and whatever is sent to it: one page, which says that it is closed."""
    seen = {one for one in addresses(get_resolver("shop.urls").url_patterns) if one.startswith(CUSTOMER)}
    assert seen >= {"/c/quote/", "/c/quote/pdf/", "/c/x/"}
    answers = [ask(address) for address in seen for ask in (Client().get, Client().post)]
    shown = {answer.content for answer in answers if answer.status_code != 405}
    assert {answer.status_code for answer in answers} <= {404, 405}
    assert len(shown) == 1
    assert b"This page is closed" in shown.pop()
    assert all("no-store" in answer["Cache-Control"] for answer in answers if answer.status_code == 404)
    assert all(not answer.cookies for answer in answers)


@pytest.mark.django_db
@pytest.mark.urls("tests.people.failing_urls")
@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/sign-in/", 200),
        ("/sign-in/look/", 302),
        ("/nothing-here/", 404),
        ("/refused/", 403),
        ("/suspicious/", 400),
        ("/broken/", 500),
    ],
)
def test_every_answer_carries_the_same_strict_headers(address: str, status: int) -> None:
    client = Client(raise_request_exception=False)
    answer = client.get(address)
    assert answer.status_code == status
    assert policy_of(answer["Content-Security-Policy"]) == POLICY
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"


@pytest.mark.urls("tests.people.failing_urls")
@pytest.mark.django_db
def test_an_error_page_tells_nothing_and_asks_the_database_nothing(django_assert_num_queries: object) -> None:
    client = Client(raise_request_exception=False)
    with django_assert_num_queries(0):  # type: ignore[operator]
        broken, suspicious = client.get("/broken/"), client.get("/suspicious/")
    assert b"Something broke on our side" in broken.content
    assert b"was not understood" in suspicious.content
    for answer in (broken, suspicious):
        assert not re.search(rb"secret|quotes_draft|passwd|Traceback|RuntimeError", answer.content)


def test_a_mechanic_reads_whom_a_page_is_for(enter: Enter) -> None:
    answer = enter("mechanic").get("/sign-in/look/")
    assert answer.status_code == 403
    sentence = "This page is for the front desk or the manager. Ask the manager if it should be for you too."
    assert escape(sentence) in answer.content.decode()


def test_a_missing_page_offers_the_way_back(enter: Enter) -> None:
    answer = enter("desk").get("/nothing-here/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()


def test_htmx_may_not_run_text_as_code_or_call_elsewhere(enter: Enter) -> None:
    page = enter("desk").get("/sign-in/look/").content.decode()
    config = re.search(r"<meta name=\"htmx-config\" content='([^']+)'>", page)
    assert config
    assert json.loads(config[1]) == {
        "includeIndicatorStyles": False,
        "allowEval": False,
        "selfRequestsOnly": True,
        "historyCacheSize": 0,
    }
    assert re.search(r"<body hx-headers='\{\"X-CSRFToken\": \"\w{64}\"\}'", page)


def test_no_page_of_ours_needs_an_exception_from_the_policy(enter: Enter) -> None:
    page = enter("desk").get("/sign-in/look/").content.decode()
    assert not re.search(r"<style|\sstyle=|\son\w+=|hx-on|<script(?![^>]*\ssrc=)|js:", page)


def test_cookies_over_tls_belong_to_this_host_alone() -> None:
    """Settings are read once for each process, so the secure ones are seen from another."""
    script = """
import django, json; django.setup()
from django.conf import settings
from django.test import Client
from pathlib import Path
Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
answer = Client().get("/sign-in/", secure=True, headers={"host": "localhost"})
cookie = answer.cookies[settings.CSRF_COOKIE_NAME]
print(json.dumps({
    "names": [settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME],
    "session": [settings.SESSION_COOKIE_SECURE, settings.SESSION_COOKIE_HTTPONLY, settings.SESSION_COOKIE_SAMESITE,
                settings.SESSION_COOKIE_DOMAIN, settings.SESSION_COOKIE_PATH],
    "csrf": [cookie["secure"], cookie["path"], cookie["domain"], cookie["samesite"]],
    "hsts": answer["Strict-Transport-Security"],
    "referrer": answer["Referrer-Policy"],
}))
"""
    environment = os.environ | {"BAREFRAME_HTTPS": "1", "DJANGO_SETTINGS_MODULE": "shop.settings"}
    ran = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    told = json.loads(ran.stdout)
    # Source: RFC 6265bis section 4.1.3.2, the __Host- prefix: Secure, Path=/, no Domain.
    assert all(name.startswith("__Host-") for name in told["names"])
    assert told["session"] == [True, True, "Lax", None, "/"]
    assert told["csrf"] == [True, "/", "", "Lax"]
    assert told["hsts"] == "max-age=31536000; includeSubDomains"
    assert told["referrer"] == "same-origin"
