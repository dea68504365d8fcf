"""The walls of the house that import-linter cannot see, and its one front door."""

import re
import uuid
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.test import Client
from django.urls import include, path, register_converter

from tests import house
from tests.house import COMPONENTS, FRAME, Page, Pointer, goes_up

# -- what points up --------------------------------------------------------------------------------------------------


def test_no_foreign_key_points_up_the_house() -> None:
    found = list(house.model_pointers())
    assert len(found) > 20
    assert [pointer for pointer in found if goes_up(pointer)] == []


def test_no_template_links_includes_or_loads_up_the_house() -> None:
    found = list(house.template_pointers())
    assert len(found) > 20
    assert [pointer for pointer in found if goes_up(pointer)] == []


def test_no_source_names_a_page_a_model_or_a_template_up_the_house() -> None:
    found = list(house.source_pointers())
    assert len(found) > 20
    assert [pointer for pointer in found if goes_up(pointer)] == []


def test_every_room_has_its_floor() -> None:
    from django.apps import apps

    rooms = {app.name for app in apps.get_app_configs() if app.name.startswith(("shop.", "quotes."))}
    assert rooms <= house.levels().keys()


@pytest.mark.control
@pytest.mark.parametrize(
    ("below", "above", "up"),
    [
        ("shop.papers", "quotes.desk", True),
        ("quotes.desk", "shop.papers", False),
        ("shop.papers", "shop.papers", False),
        ("shop.papers", "", True),
        (FRAME, "quotes.desk", False),
        (FRAME, "", True),
        (COMPONENTS, "shop.papers", True),
        ("shop.papers", COMPONENTS, False),
    ],
)
def test_up_is_what_is_above_or_nowhere(below: str, above: str, up: bool) -> None:
    assert goes_up(Pointer("here", below, "that", above)) is up


@pytest.mark.control
@pytest.mark.parametrize(
    "source",
    [
        'reverse("outbox:background_jobs")',
        'redirect("outbox:background_jobs", 7)',
        'reverse_lazy(viewname="outbox:background_jobs")',
        'reverse("no:such_page")',
        'apps.get_model("outbox.Row")',
        'apps.get_model("outbox", "Row")',
        'models.ForeignKey("outbox.Row", on_delete=models.PROTECT)',
        'models.OneToOneField(to="outbox.Row", on_delete=models.PROTECT)',
        'render(request, "outbox/background_jobs.html", {})',
    ],
)
def test_a_planted_name_in_a_source_below_is_found(source: str) -> None:
    (pointer,) = house.pointers_of_source("shop.journal.views", source)
    assert goes_up(pointer)
    assert house.room_of_label("outbox") == "shop.outbox"


@pytest.mark.control
@pytest.mark.parametrize(
    "text",
    [
        "{% url 'people:look' %}",
        '<a hx-get="{% url "people:look" %}">',
        "{% url 'no:such_page' %}",
        '{% include "people/look.html" %}',
        "{%extends 'people/look.html'%}",
        "{% load i18n pricing_text %}",
        '{% include "pricing/_figures.html" %}',
    ],
)
def test_a_planted_name_in_a_template_below_is_found(text: str) -> None:
    (pointer,) = house.pointers_of_template("outbox/list.html", text)
    assert goes_up(pointer)


@pytest.mark.control
def test_a_planted_foreign_key_would_be_read_from_the_models_themselves() -> None:
    pointers = {(pointer.where, pointer.what): pointer.to for pointer in house.model_pointers()}
    assert pointers["journal.Link", "entry"] == "shop.journal"


# -- the front door --------------------------------------------------------------------------------------------------

# Pages that a stranger may open, and why.
OPEN = {
    "account_login": "it is the front door",
    "account_logout": "a stranger is signed out already, and sent home",
    "people:enrol": "a tablet comes here with a code, before anybody knows it",
    "due:feed": "a calendar program has an address with a secret, and no account",
}
EXAMPLES = {"int": "1", "uuid": str(uuid.UUID(int=0)), "str": "x", "slug": "x", "path": "x"}


def address(page: Page) -> str:
    """An address that the page's route matches."""

    def example(match: re.Match[str]) -> str:
        return EXAMPLES[match[1] or "str"]

    return "/" + re.sub(r"<(?:(\w+):)?\w+>", example, page.route).removeprefix("/")


def open_doors(client: Client) -> Iterator[tuple[str, str, int]]:
    """Pages and methods that do not send a stranger to sign in. A customer's pages tell one nothing (see test_doors)."""
    for page in house.pages():
        if page.name in OPEN or page.name.startswith("customer:"):
            continue
        for method in ("get", "post", "head", "options", "put", "patch", "delete"):
            response = getattr(client, method)(address(page))
            if response.status_code != 302 or not response.headers["Location"].startswith("/sign-in/?next="):
                yield page.name, method, response.status_code


@pytest.mark.django_db
def test_a_stranger_is_sent_to_sign_in_by_every_page(client: Client) -> None:
    assert len(house.pages()) > 10
    assert list(open_doors(client)) == []


@pytest.mark.django_db
def test_what_is_said_to_be_open_is_there_and_open(client: Client) -> None:
    addresses = {page.name: address(page) for page in house.pages()}
    for name in OPEN:
        assert client.get(addresses[name]).headers.get("Location", "/") == "/", name


def page_for_all(request: Any, **_: Any) -> HttpResponse:
    return HttpResponse("anyone")


class Unknown:
    regex = "[a-z]+"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


@pytest.fixture
def planted(settings: Any) -> Callable[..., None]:
    def plant(route: str, view: Any) -> None:
        urlconf = ModuleType("planted")
        urlconf.urlpatterns = [path("", include("shop.urls")), path(route, view, name="planted")]  # type: ignore[attr-defined]
        settings.ROOT_URLCONF = urlconf

    return plant


@pytest.mark.control
@pytest.mark.django_db
def test_a_planted_open_page_is_found(client: Client, planted: Callable[..., None]) -> None:
    planted("for-all/<uuid:uid>/", login_not_required(page_for_all))
    assert {name for name, _method, _status in open_doors(client)} == {"planted"}


@pytest.mark.control
@pytest.mark.django_db
def test_a_route_that_cannot_be_tried_is_not_passed_over(client: Client, planted: Callable[..., None]) -> None:
    register_converter(Unknown, "unknown")
    planted("for-all/<unknown:it>/", page_for_all)
    with pytest.raises(KeyError):
        list(open_doors(client))
