"""The pages that mechanics live in: two taps to be on a task, what is next first, and nothing that a glove would hit twice."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.floor.models import Clocking, Tap
from shop.floor.pictures import of_parts
from shop.floor.showing import SHOWN
from shop.methods.models import Operation
from shop.people import tablets
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.routes.models import Task
from shop.routes.planning import hold
from shop.routes.tasks import form_tasks
from tests.floor.bench import Bench, agree, bench
from tests.workshop import frame

pytestmark = pytest.mark.django_db


def role(person: User, name: str) -> User:
    person.groups.add(Group.objects.get_or_create(name=name)[0])
    return person


@pytest.fixture
def shop() -> Bench:
    made = bench()
    role(made.joe, ROLE_MECHANIC)
    role(User.objects.create(username="ann", first_name="Ann"), ROLE_MECHANIC)
    return made


@pytest.fixture
def tablet(shop: Bench) -> Client:
    now = timezone.now()
    client = Client()
    code = tablets.begin_enrolment(name="Bench", who="ada", now=now)
    client.cookies[tablets.cookie_name()] = tablets.enrol(code=code, now=now)[1]
    return client


def page(client: Client, name: str, *given: object, **query: str) -> str:
    answer = client.get(reverse(name, args=given, query=query))
    assert answer.status_code == 200, answer
    return answer.content.decode()


def forms(html: str) -> list[dict[str, str]]:
    """What each tap form of a page would send."""
    found = re.findall(r'<form method="post" action="/floor/tap/" data-tap>(.*?)</form>', html, re.S)
    return [dict(re.findall(r'name="(\w+)" value="([^"]*)"', one)) for one in found]


def test_a_name_and_a_task_are_all_that_is_tapped(shop: Bench, tablet: Client) -> None:
    names = page(tablet, "floor:home")
    href = re.search(r'class="name" href="([^"]+)"><strong>Joe', names)
    assert href is not None
    tasks = tablet.get(href[1]).content.decode()
    sent = next(one for one in forms(tasks) if one["task"] == str(shop.task(shop.blast).uid))
    answer = tablet.post("/floor/tap/", sent, follow=True)
    assert "On “" in answer.content.decode()
    row = Clocking.objects.get()
    assert (row.person, row.task, row.ended_at) == (shop.joe, shop.task(shop.blast), None)


def test_the_same_rendering_tapped_twice_is_one_tap(shop: Bench, tablet: Client) -> None:
    sent = forms(page(tablet, "floor:person", shop.joe.uid))[0]
    for _twice in range(2):
        tablet.post("/floor/tap/", sent)
    assert (Tap.objects.count(), Clocking.objects.count()) == (1, 1)


def test_each_card_carries_a_number_of_its_own_and_another_on_the_next_rendering(shop: Bench, tablet: Client) -> None:
    first, second = (forms(page(tablet, "floor:person", shop.joe.uid)) for _ in range(2))
    uids = [one["uid"] for one in first + second]
    assert len(uids) == len(set(uids)) > 0


def test_what_one_is_on_stands_on_top_with_off_and_done_and_not_among_what_is_next(shop: Bench, tablet: Client) -> None:
    sent = next(
        one
        for one in forms(page(tablet, "floor:person", shop.joe.uid))
        if one["task"] == str(shop.task(shop.blast).uid)
    )
    tablet.post("/floor/tap/", sent)
    html = page(tablet, "floor:person", shop.joe.uid)
    assert 'class="now now-on"' in html
    assert not any(one.get("task") == sent["task"] for one in forms(html))
    off = next(one for one in forms(html) if one["kind"] == "off")
    tablet.post("/floor/tap/", off)
    assert Clocking.objects.get().ended_at is not None


def test_what_waits_stands_apart_and_says_for_what(shop: Bench, tablet: Client) -> None:
    html = page(tablet, "floor:person", shop.joe.uid)
    ready, waiting = html.split('class="card waiting"')
    spray = shop.task(shop.spray)
    assert str(spray.uid) not in ready
    assert str(spray.uid) in waiting
    assert re.search(r'<ul class="waits"><li>[^<]*Blast', waiting)


def test_a_forgotten_end_is_asked_for_before_anything_else(shop: Bench, tablet: Client) -> None:
    task = shop.task(shop.blast)
    Clocking.objects.create(
        person=shop.joe, task=task, began_at=timezone.now() - timedelta(hours=30), recorded_by="joe"
    )
    html = page(tablet, "floor:person", shop.joe.uid)
    assert "was never ended" in html
    assert 'class="now' not in html


def test_the_names_say_what_everybody_is_on(shop: Bench, tablet: Client) -> None:
    began = timezone.now() - timedelta(minutes=65)
    Clocking.objects.create(person=shop.joe, task=shop.task(shop.blast), began_at=began, recorded_by="joe")
    html = re.sub(r"\s+", " ", page(tablet, "floor:home"))
    assert re.search(r"<strong>Joe</strong> <span class=\"state\">.*?on [^<]*, 1:0[56]", html)
    assert re.search(r"<strong>Ann</strong> <span class=\"state soft\">.*?on nothing", html)


def test_a_mechanic_lands_on_their_own_tasks_and_sees_no_other_page(shop: Bench) -> None:
    client = Client()
    client.force_login(shop.joe)
    answer = client.get("/", follow=True)
    assert answer.redirect_chain[-1][0] == reverse("floor:person", args=[shop.joe.uid])


def test_the_desk_is_not_let_onto_the_floor(shop: Bench) -> None:
    client = Client()
    client.force_login(role(User.objects.create(username="dee"), ROLE_DESK))
    assert client.get(reverse("floor:home")).status_code == 403


def test_a_task_says_which_part_how_it_must_look_and_what_is_dangerous(shop: Bench, tablet: Client) -> None:
    Operation.objects.filter(pk=shop.spray.operation_id).update(
        caution="Air-fed breathing.", instructions="Thin coats."
    )
    shop.part.side = "lower"
    shop.part.save()
    html = page(tablet, "floor:task", shop.task(shop.spray).uid, person=str(shop.joe.uid))
    for said in ("Air-fed breathing.", "Thin coats.", "lower", str(shop.part.agreed_finish), "Checks and done"):
        assert said in html
    assert html.index("Air-fed breathing.") < html.index("Thin coats.")
    assert html.count("Agreed finish") == 1


def test_the_wall_says_who_is_on_what_and_what_can_be_begun(shop: Bench, tablet: Client) -> None:
    Clocking.objects.create(person=shop.joe, task=shop.task(shop.blast), began_at=timezone.now(), recorded_by="joe")
    answer = tablet.get(reverse("floor:wall"))
    html = answer.content.decode()
    assert answer.headers["Refresh"]
    assert str(shop.task(shop.blast)) in html
    part = tablet.get(reverse("floor:wall"), headers={"hx-request": "true"}).content.decode()
    assert "<html" not in part
    assert "As of" in part


@pytest.mark.parametrize("name", ["floor:home", "floor:person", "floor:task", "floor:wall"])
def test_pages_ask_the_database_as_often_for_many_bikes_as_for_one(shop: Bench, tablet: Client, name: str) -> None:
    given = {"floor:person": [shop.joe.uid], "floor:task": [shop.task(shop.blast).uid]}.get(name, [])
    query = {"person": str(shop.joe.uid)} if name == "floor:task" else {}
    page(tablet, name, *given, **query)
    counts = []
    for turn in range(2):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            page(tablet, name, *given, **query)
        counts.append(len(asked))
        for number in range(6):
            frame(shop.bike, shop.shop, name=f"Frame {turn}{number}")
        agree(shop.bike)
        for number in range(4):
            role(User.objects.create(username=f"more{turn}{number}"), ROLE_MECHANIC)
    assert counts[0] == counts[1]


def test_only_the_next_dozen_is_shown_until_somebody_asks_for_more(shop: Bench, tablet: Client) -> None:
    now = timezone.now()
    for number in range(SHOWN + 3):
        Task.objects.create(kind=Task.Kind.WALK_IN, name=f"Job {number}", made_at=now)
    form_tasks(restoration=shop.bike, now=now)
    few = page(tablet, "floor:person", shop.joe.uid)
    assert len([one for one in forms(few.split('class="card waiting"')[0]) if "task" in one]) <= SHOWN + 8
    assert "more</a>" in few
    assert "Job 14" in page(tablet, "floor:person", shop.joe.uid, all="1")


def test_photographs_are_read_for_the_parts_of_the_task_alone(shop: Bench) -> None:
    assert of_parts([shop.part]) == {shop.part.pk: []}


def test_who_works_alone_clocks_from_any_page_and_nobody_else_is_asked_to() -> None:
    made = bench()
    for name in (ROLE_MECHANIC, ROLE_DESK, ROLE_MANAGER):
        role(made.joe, name)
    client = Client()
    client.force_login(made.joe)
    where = reverse("desk:restorations")
    assert 'class="clock-strip"' in client.get(where).content.decode()
    Clocking.objects.create(person=made.joe, task=made.task(made.blast), began_at=timezone.now(), recorded_by="joe")
    html = client.get(where).content.decode()
    off = dict(re.findall(r'name="(\w+)" value="([^"]*)"', html.split('class="clock-strip"')[1].split("</form>")[0]))
    assert client.post("/floor/tap/", off)["Location"] == where
    assert Clocking.objects.get().ended_at is not None
    User.objects.create(username="ann")
    assert 'class="clock-strip"' not in client.get(where).content.decode()


@pytest.mark.parametrize("last", [None, timedelta(days=3)])
def test_a_held_bike_is_not_worked_on_and_why_it_is_held_is_the_desks(
    shop: Bench, tablet: Client, last: timedelta | None
) -> None:
    today = timezone.localdate()
    hold(
        restoration=shop.bike,
        first=today,
        last=today + last if last else None,
        kind="unpaid",
        reason="Jo has not paid",
        who="ada",
        now=timezone.now(),
    )
    for html in (
        page(tablet, "floor:person", shop.joe.uid),
        page(tablet, "floor:task", shop.task(shop.blast).uid, person=str(shop.joe.uid)),
        page(tablet, "floor:task_done", shop.task(shop.blast).uid, person=str(shop.joe.uid)),
    ):
        assert "do not work on it" in html
        assert "paid" not in html
