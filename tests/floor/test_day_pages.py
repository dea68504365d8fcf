"""The pages of a person's day and of the manager's times."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from shop.floor.models import Clocking, Tap
from shop.people import pins
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER
from shop.routes.models import Task
from tests.floor.conftest import tap, task
from tests.floor.test_tap_view import eve, signed_in, tablet, tom, worker  # noqa: F401  (fixtures)
from tests.workshop import restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def noon(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Half past five on a working day, so that a day lies behind us."""
    now = timezone.make_aware(timezone.datetime(2026, 3, 3, 17, 30))  # type: ignore[attr-defined]
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    return now


@pytest.fixture
def boss(db: None) -> User:
    return worker("boss", ROLE_MANAGER)


def path(who: User, more: str = "") -> str:
    return f"/floor/hands/{who.uid}/day/{more}"


def lines(**fields: str) -> dict[str, str]:
    """``_1_begins`` is the second line's begin."""
    return {name.strip("_").replace("_", "-", 1): value for name, value in fields.items()}


def test_my_day_shows_what_i_was_on_and_how_long(tom: User, eve: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, wheels, now=noon - timedelta(hours=2))
    tap(tom, now=noon - timedelta(minutes=30))
    client = signed_in(tom)
    assert client.get("/floor/day/")["location"] == path(tom)
    html = client.get(path(tom)).content.decode()
    assert "Strip the wheels" in html
    assert "1:30" in html
    assert html.count("<svg") == 3  # the mark in the head, and a picture for each width
    assert "3:30 p.m. to 5 p.m.: Strip the wheels" in html


def test_lines_of_which_any_box_may_be_left_do_not_say_so_at_every_box(tom: User) -> None:  # noqa: F811
    html = signed_in(tom).get(path(tom)).content.decode()
    assert html.count("or minutes") >= 3
    assert "optional" not in html


def test_a_tablet_asks_whose_day(tablet: Client, tom: User) -> None:  # noqa: F811
    html = tablet.get("/floor/day/").content.decode()
    assert path(tom) in html


def test_one_s_own_day_is_nobody_else_s(tom: User, eve: User, boss: User) -> None:  # noqa: F811
    assert signed_in(tom).get(path(eve)).status_code == 403
    assert signed_in(boss).get(path(eve)).status_code == 200


def test_time_is_noted_by_from_to_and_minutes(tom: User, eve: User, wheels: Task, tank: Task, noon: Any) -> None:  # noqa: F811
    sent = lines(
        _0_task=str(wheels.uid), _0_begins="08:00", _0_ends="09:30", _1_task=str(tank.uid), _1_minutes="45"
    ) | {"day": "2026-03-03"}
    answer = signed_in(tom).post(path(tom, "add/"), sent)
    assert answer["location"] == path(tom) + "?day=2026-03-03"
    spans = [(row.ended_at - row.began_at, row.how) for row in Clocking.objects.order_by("began_at") if row.ended_at]
    assert spans == [(timedelta(minutes=90), "recalled"), (timedelta(minutes=45), "recalled")]


def test_what_is_wrong_stands_at_its_box_and_nothing_typed_is_lost(
    tom: User,  # noqa: F811
    eve: User,  # noqa: F811
    wheels: Task,
    noon: Any,
) -> None:
    sent = lines(_0_task=str(wheels.uid), _0_begins="08:00", _0_ends="09:30", _2_begins="10:00") | {"day": "2026-03-03"}
    answer = signed_in(tom).post(path(tom, "add/"), sent)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose what it was." in html
    assert 'value="09:30"' in html
    assert not Clocking.objects.exists()


def test_an_overlap_is_said_at_the_line_it_is_in(tom: User, eve: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, wheels, now=noon - timedelta(hours=2))
    tap(tom, now=noon - timedelta(hours=1))
    sent = lines(_1_task=str(wheels.uid), _1_begins="15:00", _1_ends="16:00") | {"day": "2026-03-03"}
    answer = signed_in(tom).post(path(tom, "add/"), sent)
    assert answer.status_code == 422
    field = answer.content.decode().split('for="row-1-begins"')[1].split("</div>")[0]
    assert "is noted from" in field


def test_time_over_midnight_ends_on_the_next_day(tom: User, eve: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    sent = lines(_0_task=str(wheels.uid), _0_begins="22:00", _0_ends="02:00") | {"day": "2026-03-02"}
    signed_in(tom).post(path(tom, "add/"), sent)
    row = Clocking.objects.get()
    assert row.ended_at
    assert row.ended_at - row.began_at == timedelta(hours=4)


def test_a_time_the_clock_skips_is_refused(
    tom: User,  # noqa: F811
    eve: User,  # noqa: F811
    wheels: Task,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In London the clock goes from one to two on 29 March 2026. Source: tz database."""
    now = timezone.make_aware(timezone.datetime(2026, 3, 29, 17))  # type: ignore[attr-defined]
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    sent = lines(_0_task=str(wheels.uid), _0_begins="01:30", _0_ends="03:00") | {"day": "2026-03-29"}
    answer = signed_in(tom).post(path(tom, "add/"), sent)
    assert "put forward over this time" in answer.content.decode()


def test_a_forgotten_clocking_is_asked_about_and_the_answer_lets_the_next_tap_through(
    tom: User,  # noqa: F811
    eve: User,  # noqa: F811
    wheels: Task,
    tank: Task,
    noon: Any,
) -> None:
    tap(tom, wheels, now=noon - timedelta(days=1, hours=4))
    tap(tom, tank, now=noon - timedelta(hours=9))
    client = signed_in(tom)
    html = client.get(path(tom)).content.decode()
    assert "When did this end?" in html
    assert "When the shop shut, 5 p.m." in html
    row = Clocking.objects.get()
    client.post(path(tom, "ended/"), {"clocking": str(row.uid), "at_closing": "1", "day": "2026-03-03"})
    row.refresh_from_db()
    assert row.ended_at
    assert (timezone.localtime(row.ended_at).hour, row.ended_how) == (17, "recalled")
    assert Clocking.objects.filter(task=tank, ended_at=None).exists()


def test_an_answer_that_cannot_be_is_asked_for_again(tom: User, eve: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, wheels, now=noon - timedelta(days=1, hours=4))
    sent = {"clocking": str(Clocking.objects.get().uid), "ends": "2026-03-02T08:00", "day": "2026-03-03"}
    answer = signed_in(tom).post(path(tom, "ended/"), sent)
    assert answer.status_code == 422
    assert "It began at 1:30 p.m." in answer.content.decode()


def corrected(row: Clocking, **more: str) -> dict[str, str]:
    begins, ends = (
        timezone.localtime(at).strftime("%Y-%m-%dT%H:%M") if at else "" for at in (row.began_at, row.ended_at)
    )
    return {"task": str(row.task.uid), "begins": begins, "ends": ends, "reason": "It was the tank"} | more


def test_a_correction_leaves_the_seconds_of_a_time_that_was_not_touched(
    tom: User,  # noqa: F811
    eve: User,  # noqa: F811
    wheels: Task,
    tank: Task,
    noon: Any,
) -> None:
    began = noon - timedelta(hours=2, seconds=-17)
    tap(tom, wheels, now=began)
    tap(tom, now=began + timedelta(hours=1))
    row = Clocking.objects.get()
    answer = signed_in(tom).post(f"/floor/clockings/{row.uid}/", corrected(row, task=str(tank.uid)))
    assert answer.status_code == 302
    new = Clocking.objects.get(superseded_at=None)
    assert (new.task, new.began_at, new.ended_at) == (tank, row.began_at, row.ended_at)


def test_a_clocking_is_cut_in_two_and_taken_back(tom: User, eve: User, wheels: Task, tank: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, wheels, now=noon - timedelta(hours=2))
    tap(tom, now=noon - timedelta(hours=1))
    client, row = signed_in(tom), Clocking.objects.get()
    cut = corrected(row, then_task=str(tank.uid), then_from="2026-03-03T16:00")
    assert client.post(f"/floor/clockings/{row.uid}/", cut).status_code == 302
    first, second = Clocking.objects.filter(superseded_at=None).order_by("began_at")
    assert (first.ended_at, second.task) == (second.began_at, tank)
    client.post(f"/floor/clockings/{second.uid}/", corrected(second, taken_back="on"))
    assert Clocking.objects.filter(superseded_at=None).get() == first


def test_a_correction_without_a_reason_says_so_and_keeps_what_was_typed(
    tom: User,  # noqa: F811
    eve: User,  # noqa: F811
    wheels: Task,
    noon: Any,
) -> None:
    tap(tom, wheels, now=noon - timedelta(hours=2))
    tap(tom, now=noon - timedelta(hours=1))
    row = Clocking.objects.get()
    answer = signed_in(tom).post(f"/floor/clockings/{row.uid}/", corrected(row, reason="", begins="2026-03-03T15:00"))
    assert answer.status_code == 422
    assert 'value="2026-03-03T15:00"' in answer.content.decode()


def test_correcting_on_a_tablet_always_asks_for_the_pin(tablet: Client, tom: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, wheels, now=noon - timedelta(hours=2))
    tap(tom, now=noon - timedelta(hours=1))
    row, pin = Clocking.objects.get(), pins.give_pin(person=tom, who="boss", now=noon)
    sent = corrected(row, taken_back="on")
    asked = tablet.post(f"/floor/clockings/{row.uid}/", sent)
    assert "It was the tank" in asked.content.decode()
    assert Clocking.objects.filter(superseded_at=None).exists()
    assert tablet.post(f"/floor/clockings/{row.uid}/", sent | {"pin": pin}).status_code == 302
    assert not Clocking.objects.filter(superseded_at=None).exists()


# -- the manager's page ----------------------------------------------------------------------------------------------------


def test_the_manager_sees_what_waits_and_settles_it(boss: User, tom: User, wheels: Task, noon: Any) -> None:  # noqa: F811
    tap(tom, task("Old frame", closed_at=noon), now=noon)
    tap(tom, wheels, now=noon)
    client = signed_in(boss)
    html = client.get("/floor/times/").content.decode()
    assert "is closed" in html
    kept = Tap.objects.get(state="asked")
    client.post(f"/floor/taps/{kept.uid}/settle/", {"how": "apply"})
    kept.refresh_from_db()
    assert kept.state == "asked"
    client.post(f"/floor/taps/{kept.uid}/settle/", {"how": "leave"})
    kept.refresh_from_db()
    assert (kept.state, kept.settled_by) == ("settled", "boss")
    assert "No tap waits." in client.get("/floor/times/").content.decode()


def test_times_are_for_the_manager_alone(boss: User, tom: User, eve: User, tablet: Client) -> None:  # noqa: F811
    assert signed_in(tom).get("/floor/times/").status_code == 403
    assert tablet.get("/floor/times/").status_code == 302


def test_the_manager_s_first_page_says_that_taps_wait(boss: User, tom: User, noon: Any) -> None:  # noqa: F811
    restoration()  # an empty shop is shown how to begin
    client = signed_in(boss)
    assert "/floor/times/" not in client.get("/").content.decode()
    tap(tom, task("Old frame", closed_at=noon), now=noon)
    html = client.get("/").content.decode()
    assert "Taps that wait" in html
    assert 'href="/floor/times/"' in html
    assert "/floor/times/" not in signed_in(worker("desk", ROLE_DESK)).get("/").content.decode()


@pytest.mark.parametrize("count", [1, 12])
def test_the_pages_take_as_many_queries_for_many_rows_as_for_one(
    boss: User,
    tom: User,  # noqa: F811
    noon: Any,
    count: int,
    django_assert_num_queries: Any,
) -> None:
    closed = task("Old frame", closed_at=noon)
    for number in range(count):
        who = worker(f"w{number}")
        tap(who, task(f"T{number}"), now=noon - timedelta(minutes=9))
        tap(tom, task(f"U{number}"), now=noon - timedelta(minutes=60 - number))
        tap(tom, closed, now=noon)
    client = signed_in(boss)
    client.get("/floor/times/")
    with django_assert_num_queries(TIMES):
        client.get("/floor/times/")
    with django_assert_num_queries(DAY):
        client.get(path(tom))


TIMES, DAY = 8, 13
