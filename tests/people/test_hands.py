"""Who stands at a page of the floor, and as whom they act."""

from types import ModuleType
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import include, path
from django.utils import timezone

from shop.people import hands, pins, tablets
from shop.people.hands import on_the_floor
from shop.people.models import Shop, User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC

pytestmark = pytest.mark.django_db


@on_the_floor
def told(request: HttpRequest, uid: str) -> HttpResponse:
    """Whom the page is about, who holds it, and whether clocking and an override go without a PIN."""
    person, held = hands.person_of(request, uid), hands.hand(request)
    clocks, overrides = hands.pin_ok(request, person), hands.pin_ok(request, person, always=True)
    return HttpResponse(f"{person.username} {held.name} {clocks} {overrides}")


@on_the_floor(quiet=True)
def wall(request: HttpRequest) -> HttpResponse:
    return HttpResponse("wall")


@pytest.fixture(autouse=True)
def page(settings: Any) -> None:
    urlconf = ModuleType("floor_of_the_test")
    urlconf.urlpatterns = [  # type: ignore[attr-defined]
        path("floor/told/<str:uid>/", told),
        path("floor/quiet/", wall),
        path("", include("shop.urls")),
    ]
    settings.ROOT_URLCONF = urlconf


def somebody(name: str, *roles: str) -> User:
    row = User.objects.create(username=name, first_name=name.title())
    row.groups.set(Group.objects.filter(name__in=roles))
    return row


@pytest.fixture
def cast() -> dict[str, User]:
    roles = {"tom": [ROLE_MECHANIC], "ann": [ROLE_MECHANIC], "ada": [ROLE_DESK], "eve": [ROLE_MANAGER]}
    return {name: somebody(name, *held) for name, held in roles.items()}


@pytest.fixture
def bench() -> Client:
    now = timezone.now()
    client = Client()
    code = tablets.begin_enrolment(name="Bench", who="eve", now=now)
    client.cookies[tablets.cookie_name()] = tablets.enrol(code=code, now=now)[1]
    return client


def signed_in(person: User) -> Client:
    client = Client()
    client.force_login(person)
    return client


def ask(client: Client, person: User) -> str | int:
    answer = client.get(f"/floor/told/{person.uid}/")
    return answer.content.decode() if answer.status_code == 200 else int(answer.status_code)


def test_a_tablet_acts_for_any_active_mechanic_and_nobody_else(bench: Client, cast: dict[str, User]) -> None:
    assert ask(bench, cast["tom"]) == "tom Bench True False"
    assert ask(bench, cast["ann"]) == "ann Bench True False"
    assert ask(bench, cast["ada"]) == ask(bench, cast["eve"]) == 404
    User.objects.filter(username="ann").update(is_active=False)
    assert ask(bench, cast["ann"]) == 404
    assert bench.get("/floor/told/nobody/").status_code == 404


def test_on_ones_own_phone_one_is_oneself(cast: dict[str, User]) -> None:
    phone = signed_in(cast["tom"])
    assert ask(phone, cast["tom"]) == "tom tom True True"
    assert ask(phone, cast["ann"]) == 403


def test_the_manager_acts_for_anybody_at_work(cast: dict[str, User]) -> None:
    manager = signed_in(cast["eve"])
    assert ask(manager, cast["tom"]) == "tom eve True True"
    assert ask(manager, cast["eve"]) == "eve eve True True"
    assert ask(manager, cast["ada"]) == 404


def test_the_front_desk_and_strangers_stay_off_the_floor(cast: dict[str, User]) -> None:
    assert ask(signed_in(cast["ada"]), cast["tom"]) == 403
    answer = Client().get("/floor/quiet/")
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=/floor/quiet/")


def test_where_one_person_works_it_is_always_that_one(bench: Client) -> None:
    sam = somebody("sam", ROLE_DESK, ROLE_MANAGER)
    assert bench.get("/floor/told/nobody/").content == b"sam Bench True False"
    assert ask(signed_in(sam), sam) == "sam sam True True"
    somebody("tom", ROLE_MECHANIC)
    assert bench.get("/floor/told/nobody/").status_code == 404


def test_clocking_asks_for_the_pin_where_the_shop_says_so(bench: Client, cast: dict[str, User]) -> None:
    pins.ask_to_clock(asked=True, who="eve", now=timezone.now())
    tom = cast["tom"]
    assert ask(bench, tom) == "tom Bench False False"
    pin = pins.give_pin(person=tom, who="eve", now=timezone.now())
    answer = bench.post(f"/floor/people/{tom.uid}/pin/", {"pin": pin, "next": f"/floor/told/{tom.uid}/"})
    assert answer["Location"] == f"/floor/told/{tom.uid}/"
    assert ask(bench, tom) == "tom Bench True True"
    assert ask(bench, cast["ann"]) == "ann Bench False False"
    assert Shop.objects.get().pin_to_clock


@pytest.mark.parametrize("place", ["https://example.com/", "//example.com/floor/", "/workshop/", "javascript:x", ""])
def test_after_the_pin_it_goes_on_on_the_floor_and_nowhere_else(
    bench: Client, cast: dict[str, User], place: str
) -> None:
    tom = cast["tom"]
    pin = pins.give_pin(person=tom, who="eve", now=timezone.now())
    assert bench.post(f"/floor/people/{tom.uid}/pin/", {"pin": pin, "next": place})["Location"] == "/floor/"


def test_a_pin_is_never_sent_back_and_a_wrong_one_is_told(bench: Client, cast: dict[str, User]) -> None:
    tom = cast["tom"]
    pins.give_pin(person=tom, who="eve", now=timezone.now())
    for typed, sentence in {"12345": "A PIN has six digits.", "": "Type the six digits."}.items():
        page = bench.post(f"/floor/people/{tom.uid}/pin/", {"pin": typed})
        assert page.status_code == 422
        assert sentence in page.content.decode()
        assert f'value="{typed}"' not in page.content.decode() or not typed
    assert tom.pin.tries == 0  # what can be no PIN is no guess


def test_a_page_that_asks_by_itself_is_no_touch(bench: Client, cast: dict[str, User]) -> None:
    tom = cast["tom"]
    bench.post(f"/floor/people/{tom.uid}/pin/", {"pin": pins.give_pin(person=tom, who="eve", now=timezone.now())})
    session = bench.session
    left = timezone.now().timestamp() - 100
    session[hands.UNLOCKED] = session[hands.UNLOCKED] | {"touched": left}
    session.save()
    bench.get("/floor/quiet/")
    assert bench.session[hands.UNLOCKED]["touched"] == left
    ask(bench, tom)
    assert bench.session[hands.UNLOCKED]["touched"] > left
    desk = signed_in(cast["eve"])
    assert not desk.get("/floor/quiet/").cookies.get("seen")
    assert desk.get(f"/floor/told/{tom.uid}/").cookies["seen"]
