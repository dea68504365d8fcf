"""A link lets in whoever holds its secret, for its purpose, while it lasts: nobody else (RELIABILITY S-15)."""

import base64
import hashlib
import io
import logging
import logging.config
from datetime import timedelta
from typing import Any

import pytest
from django.core import signing
from django.http import HttpResponse
from django.test import Client, RequestFactory, override_settings
from django.utils import timezone

from quotes.pricing.customers import links
from quotes.pricing.models import Draft, IssuedQuote, Link, Outcome
from shop import settings as shop_settings
from shop.journal.models import Entry
from shop.outbox.models import Row
from tests.pricing.customers import PAGE, customer, every_row, issued_now, link_to, progress_link, words_of, yes

pytestmark = pytest.mark.django_db

SAMPLE, FLIPPED, ALL = 200, 40, 1000
CLOSED = "This page is closed"
COOKIE = "customer-quote"


@pytest.fixture
def quote(draft: Draft) -> IssuedQuote:
    return issued_now(draft)


def answer_to(secret: str) -> tuple[int, bytes]:
    answer = Client().get(f"/c/{secret}/")
    return answer.status_code, answer.content


def flipped(secret: str, place: int) -> str:
    """Another character of the same alphabet at ``place``."""
    return secret[:place] + ("A" if secret[place] != "A" else "B") + secret[place + 1 :]


# --- the secret ---


def test_a_secret_holds_at_least_128_random_bits_and_only_its_hash_is_kept(quote: IssuedQuote) -> None:
    # Source: OWASP ASVS 5.0, 11.5.1: at least 128 bits of entropy from a cryptographically secure source.
    link, secret = link_to(quote)
    assert len(base64.urlsafe_b64decode(secret + "=" * (-len(secret) % 4))) * 8 == 256 >= 128
    assert link.secret_sha256 == hashlib.sha256(secret.encode()).hexdigest()
    assert not any(secret in row for rows in every_row().values() for row in rows)


def test_no_two_secrets_are_alike_and_no_place_prefers_a_character(quote: IssuedQuote) -> None:
    secrets = [link_to(quote)[1] for _ in range(SAMPLE)]
    assert len(set(secrets)) == SAMPLE
    for place in range(42):  # the 43rd character carries only part of a byte
        assert len({secret[place] for secret in secrets}) > 40, f"place {place} of a secret hardly varies"


def _no_flipped_secret_opens(quote: IssuedQuote, count: int) -> None:
    now, opened, tried = timezone.now(), 0, 0
    for _ in range(count):
        link, secret = link_to(quote)
        opened += links.find(secret, now) == link
        for place in range(len(secret)):
            tried += 1
            assert links.find(flipped(secret, place), now) is None
    assert opened == count
    assert tried == 43 * count


def test_no_secret_with_one_character_changed_opens_anything(quote: IssuedQuote) -> None:
    _no_flipped_secret_opens(quote, FLIPPED)


@pytest.mark.long
def test_nor_does_any_of_a_thousand(quote: IssuedQuote) -> None:
    _no_flipped_secret_opens(quote, ALL)


@pytest.mark.parametrize("secret", ["x", "quote2", "é" * 43, "A" * 43, "A" * 5000, "\ud800", "%00", "a b", "..", "{}"])
def test_what_was_never_a_secret_finds_nothing(quote: IssuedQuote, secret: str) -> None:
    link_to(quote)
    assert links.find(secret, timezone.now()) is None


def test_the_cookie_cannot_be_changed_by_one_character(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    signed = client.cookies[COOKIE].value
    assert client.get(PAGE).status_code == 200
    for place in range(len(signed)):
        client.cookies[COOKIE] = flipped(signed, place)
        # The last character of a base64 digest has spare bits; another one of the same value is the same digest.
        if place < len(signed) - 1:
            assert client.get(PAGE).status_code == 404, f"{signed} with another character at {place}"
    assert link.uid.hex in signed


# --- what closes it ---


def test_wrong_expired_revoked_and_other_purpose_all_get_the_same_answer(quote: IssuedQuote) -> None:
    long_ago = timezone.now() - timedelta(days=1000)
    revoked, revoked_secret = link_to(quote)
    links.revoke(link=revoked, who="desk", now=timezone.now())
    expired, expired_secret = link_to(quote)
    Link.objects.filter(pk=expired.pk).update(expires_at=long_ago)
    wrong = answer_to(flipped(revoked_secret, 5))
    assert answer_to(expired_secret) == answer_to(revoked_secret) == answer_to("x") == wrong
    assert wrong[0] == 404
    closed = Client().get(PAGE)
    assert (closed.status_code, closed.content) == wrong
    assert all(secret not in wrong[1].decode() for secret in (revoked_secret, expired_secret))
    other = Client()
    other.cookies[COOKIE] = signing.TimestampSigner(salt="quotes.pricing.customers.links.progress").sign(
        revoked.uid.hex
    )
    shown = other.get(PAGE)
    assert (shown.status_code, shown.content) == wrong


def test_a_cookie_opens_nothing_but_its_own_purpose(quote: IssuedQuote) -> None:
    """Also when its value is put under the other name: each purpose signs with a salt of its own."""
    progress, _secret = progress_link(quote)
    response = HttpResponse()
    links.set_cookie(response, progress)
    value = response.cookies["customer-progress"].value
    requests = RequestFactory()
    requests.cookies["customer-progress"] = requests.cookies[COOKIE] = value
    now = timezone.now()
    assert links.from_cookie(requests.get("/"), Link.Purpose.PROGRESS, now) == progress
    assert links.from_cookie(requests.get("/"), Link.Purpose.QUOTE, now) is None
    with pytest.raises(signing.BadSignature):  # refused before anything is looked up
        links._signer(Link.Purpose.QUOTE).unsign(value)


def test_a_cookie_signed_right_for_a_link_of_the_other_purpose_opens_nothing(quote: IssuedQuote) -> None:
    progress, _secret = progress_link(quote)
    requests = RequestFactory()
    requests.cookies[COOKIE] = signing.TimestampSigner(salt="quotes.pricing.customers.links.quote").sign(
        progress.uid.hex
    )
    assert links.from_cookie(requests.get("/"), Link.Purpose.QUOTE, timezone.now()) is None


def test_revoking_closes_a_page_that_is_open_already_and_is_kept_once(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    client = customer(secret)
    links.revoke(link=link, who="desk", now=timezone.now())
    first = Link.objects.get(pk=link.pk).revoked_at
    links.revoke(link=link, who="eve", now=timezone.now())
    assert CLOSED in words_of(client.get(PAGE))
    assert client.post(PAGE, yes(link)).status_code == 404
    assert not Outcome.objects.exists()
    assert Link.objects.get(pk=link.pk).revoked_at == first
    assert Entry.objects.filter(what="link revoked").count() == 1


def test_a_link_lasts_to_its_last_second_and_no_longer(quote: IssuedQuote) -> None:
    link, secret = link_to(quote)
    assert timezone.localdate(link.expires_at) == quote.valid_until + timedelta(days=60)
    assert links.find(secret, link.expires_at - timedelta(seconds=1)) == link
    assert links.find(secret, link.expires_at) is None
    progress, secret = progress_link(quote)
    assert progress.expires_at == progress.made_at + timedelta(days=400)


def test_a_link_to_a_quote_of_long_ago_can_still_be_read_for_a_while(quote: IssuedQuote) -> None:
    late = timezone.now() + timedelta(days=900)
    link, secret = link_to(quote, now=late)
    assert links.find(secret, late + timedelta(days=59)) == link


def test_a_cookie_runs_out_after_two_hours(quote: IssuedQuote, monkeypatch: pytest.MonkeyPatch) -> None:
    _link, secret = link_to(quote)
    client = customer(secret)
    began = timezone.now().timestamp()
    # Django keeps a cookie's age in whole seconds of this clock.
    monkeypatch.setattr("django.core.signing.time.time", lambda: began + 2 * 3600 - 2)
    assert client.get(PAGE).status_code == 200
    monkeypatch.setattr("django.core.signing.time.time", lambda: began + 2 * 3600 + 2)
    assert client.get(PAGE).status_code == 404


# --- the exchange ---


def test_the_secret_is_exchanged_without_a_write_for_an_address_without_it(quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    before = every_row()
    answer = Client().get(f"/c/{secret}/")
    assert (answer.status_code, answer["Location"]) == (302, PAGE)
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "no-store" in answer["Cache-Control"]
    assert secret not in str(answer.cookies)
    assert every_row() == before


def test_a_scanner_that_asks_for_the_head_or_sends_the_link_back_changes_nothing(quote: IssuedQuote) -> None:
    _link, secret = link_to(quote)
    before = every_row()
    assert Client().head(f"/c/{secret}/").status_code == 302
    assert Client().post(f"/c/{secret}/", {"act": "accept"}).status_code == 405
    assert every_row() == before


def test_the_cookie_is_for_this_host_and_no_script_can_read_it(quote: IssuedQuote) -> None:
    # Source: RFC 6265bis section 4.1.3.2, the __Host- prefix: Secure, Path=/, no Domain.
    link, _secret = link_to(quote)
    for https, name in ((False, COOKIE), (True, f"__Host-{COOKIE}")):
        response = HttpResponse()
        with override_settings(HTTPS=https):
            links.set_cookie(response, link)
        cookie = response.cookies[name]
        assert bool(cookie["secure"]) is https
        assert (cookie["httponly"], cookie["samesite"], cookie["path"], cookie["domain"]) == (True, "Lax", "/", "")
        assert cookie["max-age"] == 2 * 3600


def test_a_secret_is_in_no_log_journal_or_background_job(quote: IssuedQuote) -> None:
    """What is refused or breaks is logged with its address, and must be without the secret in it."""
    _link, secret = link_to(quote)
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    given: dict[str, Any] = shop_settings.LOGGING
    line = given["formatters"]["line"]
    handler.setFormatter(logging.config.DictConfigurator({}).configure_formatter(line))
    logger = logging.getLogger("django")
    logger.addHandler(handler)
    try:
        client = Client(raise_request_exception=False, enforce_csrf_checks=True)
        client.post(f"/c/{secret}/")
        client.put(f"/c/{secret}/")
        client.get(f"/c/{flipped(secret, 3)}/")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(links, "find", lambda secret, now: 1 / 0)
            assert client.get(f"/c/{secret}/").status_code == 500
    finally:
        logger.removeHandler(handler)
    told = stream.getvalue()
    assert "/c/" in told
    assert "ZeroDivisionError" in told
    assert secret not in told
    assert flipped(secret, 3) not in told
    assert Entry.objects.exists()
    assert Row.objects.exists()
    assert not any(secret in row for rows in every_row().values() for row in rows)
