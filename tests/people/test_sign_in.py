import pytest
from django.test import Client
from django.urls import NoReverseMatch, reverse

from shop.journal.models import Entry
from shop.people.models import User
from tests.people.conftest import PASSWORD, person

pytestmark = pytest.mark.django_db

SIGN_IN = "/sign-in/"


def sign_in(client: Client, password: str = PASSWORD, **more: str) -> object:
    return client.post(SIGN_IN, {"login": "ida", "password": password, **more})


def signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def test_the_right_password_leads_to_the_first_page() -> None:
    person("desk")
    client = Client()
    response = sign_in(client)
    assert (response.status_code, response["Location"]) == (302, "/")
    assert signed_in(client)


def test_the_page_asked_for_comes_after_signing_in() -> None:
    person("desk")
    assert sign_in(Client(), next="/papers/x/")["Location"] == "/papers/x/"


@pytest.mark.parametrize("place", ["https://example.com/", "//example.com/", "javascript:alert(1)"])
def test_signing_in_never_leads_away_from_the_shop(place: str) -> None:
    person("desk")
    assert sign_in(Client(), next=place)["Location"] == "/"


@pytest.mark.parametrize("username", ["ida", "nobody"])
def test_a_wrong_password_and_a_wrong_name_read_alike_and_the_name_stays(username: str) -> None:
    person("desk")
    page = Client().post(SIGN_IN, {"login": username, "password": "wrong"}).content.decode()
    assert "This username and this password do not belong together. Check both." in page
    assert f'value="{username}"' in page
    assert 'value="wrong"' not in page


def test_guessing_ends_after_five_tries_even_with_the_right_password() -> None:
    person("desk")
    client = Client()
    for _ in range(5):
        sign_in(client, "wrong")
    assert "Too many tries" in sign_in(client).content.decode()
    assert not signed_in(client)


def test_the_session_gets_a_new_key_when_somebody_signs_in() -> None:
    person("desk")
    client = Client()
    session = client.session
    session["planted"] = "yes"
    session.save()
    planted = session.session_key
    client.cookies["sessionid"] = planted
    sign_in(client)
    assert client.session.session_key != planted


def test_a_switched_off_person_is_told_so_and_stays_outside() -> None:
    person("desk")
    User.objects.update(is_active=False)
    client = Client()
    page = client.post(SIGN_IN, {"login": "ida", "password": PASSWORD}, follow=True)
    assert not signed_in(client)
    assert page.redirect_chain in ([], [(SIGN_IN, 302)])


def test_a_person_switched_off_is_out_with_the_next_request() -> None:
    client = Client()
    client.force_login(person("desk"))
    assert client.get("/sign-in/look/").status_code == 200
    User.objects.update(is_active=False)
    assert client.get("/sign-in/look/").status_code == 302


def test_signing_out_ends_the_session() -> None:
    client = Client()
    client.force_login(person("desk"))
    old = client.session.session_key
    assert client.get("/sign-in/out/").status_code == 200
    assert client.post("/sign-in/out/").status_code == 302
    client.cookies["sessionid"] = old
    assert client.get("/sign-in/look/").status_code == 302


def test_changing_the_password_ends_other_sessions_and_is_in_the_journal() -> None:
    ida = person("desk")
    here, elsewhere = Client(), Client()
    here.force_login(ida)
    elsewhere.force_login(ida)
    new = "rim tape 21"
    response = here.post("/sign-in/password/", {"oldpassword": PASSWORD, "password1": new, "password2": new})
    assert (response.status_code, response["Location"]) == (302, "/")
    ida.refresh_from_db()
    assert ida.check_password(new)
    assert here.get("/sign-in/look/").status_code == 200
    assert elsewhere.get("/sign-in/look/").status_code == 302
    assert Entry.objects.filter(what="password changed", who="ida", subject_uid=ida.uid).count() == 1


def test_a_wrong_present_password_changes_nothing_and_says_so() -> None:
    ida = person("desk")
    client = Client()
    client.force_login(ida)
    page = client.post(
        "/sign-in/password/", {"oldpassword": "x", "password1": "rim tape 21", "password2": "rim tape 21"}
    )
    assert "This is not your present password. Type it again." in page.content.decode()
    ida.refresh_from_db()
    assert ida.check_password(PASSWORD)


@pytest.mark.parametrize(
    "name", ["account_signup", "account_reset_password", "account_email", "account_set_password", "account_inactive"]
)
def test_nobody_signs_up_or_resets_a_password_here(name: str) -> None:
    with pytest.raises(NoReverseMatch):
        reverse(name)


@pytest.mark.parametrize(
    "path", ["signup/", "sign-up/", "password/reset/", "email/", "inactive/", "login/", "reauthenticate/"]
)
def test_no_other_door_is_served(path: str) -> None:
    assert Client().get(SIGN_IN + path).status_code == 404
    assert Client().post(SIGN_IN + path, {"username": "x", "password1": PASSWORD}).status_code == 404
    assert not User.objects.exists()


def test_a_form_without_its_token_is_refused_in_words() -> None:
    person("desk")
    response = Client(enforce_csrf_checks=True).post(SIGN_IN, {"login": "ida", "password": PASSWORD})
    assert response.status_code == 403
    assert "this page was open for too long" in response.content.decode()
