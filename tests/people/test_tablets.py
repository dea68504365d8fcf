"""Tablets: let in once by a code, known by a cookie, taken off at once. Sources: NIST SP 800-63B 5.1.3.2; OWASP ASVS 5.0, 3.3.1-3.3.4."""

import base64
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.journal.models import Entry
from shop.people import tablets
from shop.people.models import Enrolment, Tablet, TabletSeen, User

NOW = datetime(2031, 3, 3, 9, tzinfo=UTC)
DOOR = "/sign-in/tablet/"

pytestmark = pytest.mark.django_db


def code(name: str = "Bench", now: datetime = NOW) -> str:
    return tablets.begin_enrolment(name=name, who="eve", now=now)


def fresh_code() -> str:
    return code(now=timezone.now())


def test_the_code_is_short_to_type_and_no_secret_is_kept_as_it_is() -> None:
    said = code()
    tablet, secret = tablets.enrol(code=f" {said.upper().replace('-', ' ')} ", now=NOW)
    assert len(said) == len("abcd-efgh")
    kept = [*Enrolment.objects.values_list("code_sha256", flat=True), tablet.secret_sha256]
    assert {len(one) for one in kept} == {64}
    written = " ".join(entry.before + entry.after for entry in Entry.objects.all())
    assert all(word not in written for word in (said, said.replace("-", ""), secret))
    assert len(base64.urlsafe_b64decode(secret + "=")) * 8 >= 128


@pytest.mark.parametrize(("later", "good"), [(timedelta(minutes=10, seconds=-1), True), (timedelta(minutes=10), False)])
def test_a_code_is_good_for_ten_minutes(later: timedelta, good: bool) -> None:
    said = code()
    if good:
        assert tablets.enrol(code=said, now=NOW + later)
    else:
        with pytest.raises(ValidationError, match="older than ten minutes"):
            tablets.enrol(code=said, now=NOW + later)


def test_a_code_works_once_and_a_newer_one_ends_it() -> None:
    said = code()
    tablets.enrol(code=said, now=NOW)
    with pytest.raises(ValidationError, match="used"):
        tablets.enrol(code=said, now=NOW)
    older, newer = code("Spray room"), code("Spray room")
    with pytest.raises(ValidationError):
        tablets.enrol(code=older, now=NOW)
    assert tablets.enrol(code=newer, now=NOW)


def test_a_hundred_codes_typed_wrong_end_those_that_are_open() -> None:
    """Source: NIST SP 800-63B 5.2.2."""
    said = code()
    for _ in range(tablets.CODE_MISSES):
        with pytest.raises(ValidationError):
            tablets.enrol(code="aaaa-aaaa", now=NOW)
    with pytest.raises(ValidationError):
        tablets.enrol(code=said, now=NOW)


def test_two_tablets_never_have_one_name() -> None:
    first, _secret = tablets.enrol(code=code(), now=NOW)
    with pytest.raises(ValidationError, match="There is a tablet of this name"):
        code()
    tablets.end_tablet(tablet=first, who="eve", now=NOW)
    assert tablets.enrol(code=code(), now=NOW)[0] != first


# -- the door ----------------------------------------------------------------------------------------------------------------


def test_looking_at_the_address_lets_nobody_in_and_confirming_does_once() -> None:
    said = fresh_code()
    client = Client()
    for _ in range(2):
        page = client.get(f"{DOOR}{said}/")
        assert said in page.content.decode()
        assert not page.cookies.get(tablets.cookie_name())
        assert page["Cache-Control"].startswith("max-age=0")
    assert not Tablet.objects.exists()
    assert Enrolment.objects.get().used_at is None
    answer = client.post(DOOR, {"code": said})
    assert (answer.status_code, answer["Location"]) == (302, "/floor/")
    cookie = answer.cookies[tablets.cookie_name()]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Lax", "/")
    assert int(cookie["max-age"]) > 300 * 24 * 3600
    assert Client().post(DOOR, {"code": said}).status_code == 422


def test_a_wrong_code_is_told_and_stays_in_the_box() -> None:
    answer = Client().post(DOOR, {"code": "abcd-efgh"})
    assert answer.status_code == 422
    assert "lets no tablet in" in answer.content.decode()
    assert "abcd-efgh" in answer.content.decode()


def test_whoever_was_signed_in_there_is_signed_out() -> None:
    client = Client()
    client.force_login(User.objects.create(username="eve", first_name="Eve"))
    assert "You are signed in here as Eve. That ends on this device." in client.get(DOOR).content.decode()
    client.post(DOOR, {"code": fresh_code()})
    assert "_auth_user_id" not in client.session


def test_the_cookie_over_tls_belongs_to_this_host_alone() -> None:
    """Source: RFC 6265bis section 4.1.3.2. Settings are read once for each process."""
    script = """
import django; django.setup()
from django.http import HttpResponse
from shop.people import tablets
answer = HttpResponse(); tablets.set_cookie(answer, "x")
print(answer.cookies.output(header="").strip())
"""
    environment = os.environ | {"BAREFRAME_HTTPS": "1", "DJANGO_SETTINGS_MODULE": "shop.settings"}
    ran = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    parts = {part.strip().lower() for part in ran.stdout.strip().split(";")}
    assert "__host-tablet=x" in parts
    assert {"secure", "httponly", "path=/", "samesite=lax"} <= parts
    assert not any(part.startswith("domain") for part in parts)


# -- afterwards ----------------------------------------------------------------------------------------------------------------


def enrolled() -> tuple[Client, Tablet]:
    client = Client()
    client.post(DOOR, {"code": fresh_code()})
    return client, Tablet.objects.get()


def test_taken_off_it_is_a_stranger_with_the_next_request_and_reads_why() -> None:
    client, row = enrolled()
    tom = User.objects.create(username="tom", first_name="Tom")
    address = f"/floor/people/{tom.uid}/pin/"
    assert client.get(address).status_code == 200
    tablets.end_tablet(tablet=row, who="eve", now=NOW)
    answer = client.get(address)
    assert answer.status_code == 403
    assert "This tablet was taken off." in answer.content.decode()
    assert client.get("/sign-in/").status_code == 200  # whoever holds it may sign in as on any device


def test_the_first_page_of_a_tablet_is_the_floor() -> None:
    client, _row = enrolled()
    assert client.get("/")["Location"] == "/floor/"


def test_last_seen_is_kept_to_five_minutes_and_prolongs_the_cookie() -> None:
    client, row = enrolled()
    address = f"/floor/people/{User.objects.create(username='tom').uid}/pin/"
    assert not client.get(address).cookies.get(tablets.cookie_name())
    old = timezone.now() - timedelta(minutes=6)
    TabletSeen.objects.update(at=old)
    assert client.get(address).cookies[tablets.cookie_name()]
    assert TabletSeen.objects.get(tablet=row).at > old


@pytest.mark.parametrize("secret", ["", "x", "x" * 43, "x" * 5000, "\udcff", "' OR 1=1 --"])
def test_no_made_up_cookie_is_a_tablet(secret: str) -> None:
    enrolled()
    client = Client()
    client.cookies[tablets.cookie_name()] = secret.encode("ascii", "replace").decode()
    assert client.get("/").status_code == 302
    assert client.get("/")["Location"].startswith("/sign-in/")


def test_knowing_a_tablet_takes_one_query_and_a_stranger_none() -> None:
    client, _row = enrolled()
    with CaptureQueriesContext(connection) as asked:
        client.get("/")
    assert len(asked) == 1
    with CaptureQueriesContext(connection) as asked:
        Client().get("/")
    assert len(asked) == 0
