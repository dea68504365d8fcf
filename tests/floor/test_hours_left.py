"""How long a task still takes: the last word counts, less what was clocked since; on the floor by whoever works on it."""

import uuid
from datetime import time
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from shop.floor.hours_left import say_left, still_left
from shop.floor.models import HoursLeft
from shop.people.models import Break, User
from shop.people.roles import ROLE_MECHANIC
from shop.routes.models import Task
from tests.desk.conftest import signed_in
from tests.floor.conftest import at, tap, task

pytestmark = pytest.mark.django_db


def say(task: Task, minutes: int, who: User, now: Any) -> HoursLeft:
    return say_left(uid=uuid.uuid4(), task=task, minutes=minutes, person=who, now=now)


def test_what_was_clocked_since_is_taken_off(joe: User, ann: User, wheels: Task, tank: Task) -> None:
    Break.objects.create(name="Tea", begins=time(10), ends=time(10, 15), paid=True)
    tap(joe, wheels, now=at(8))
    say(wheels, 300, joe, at(9))
    tap(ann, wheels, now=at(10))
    tap(ann, now=at(11))
    # Joe from nine to twelve and Ann from ten to eleven, each without the quarter of an hour of tea.
    assert still_left([wheels.pk, tank.pk], now=at(12)) == {wheels.pk: 300 - 165 - 45}
    assert still_left([wheels.pk], now=at(18)) == {wheels.pk: 0}


def test_the_last_word_counts_and_the_same_form_sent_twice_is_one(joe: User, wheels: Task) -> None:
    say(wheels, 300, joe, at(9))
    row = say(wheels, 60, joe, at(10))
    assert say_left(uid=row.uid, task=wheels, minutes=999, person=joe, now=at(11)) == row
    assert still_left([wheels.pk], now=at(12)) == {wheels.pk: 60}
    assert HoursLeft.objects.count() == 2


def test_of_a_task_that_is_done_nothing_is_left(joe: User, wheels: Task) -> None:
    wheels.closed_at = at(9)
    wheels.save()
    with pytest.raises(ValidationError):
        say(wheels, 60, joe, at(10))


def test_the_page_takes_hours_and_says_what_is_wrong_with_them() -> None:
    client, bench = signed_in("tom", ROLE_MECHANIC), task("Strip the tank")
    address = f"/floor/tasks/{bench.uid}/left/"
    sent = {"uid": str(uuid.uuid4()), "hours": "2,5"}
    assert client.post(address, sent).status_code == 302
    row = HoursLeft.objects.get()
    assert (row.minutes, row.person.username) == (150, "tom")
    assert "2 h 30 min" in client.get(address).content.decode().replace("\xa0", " ").replace("\u202f", " ")
    wrong = client.post(address, {"uid": str(uuid.uuid4()), "hours": "soon"})
    assert wrong.status_code == 422
    assert "soon" in wrong.content.decode()
    assert "Hours left" in client.get(f"/floor/tasks/{bench.uid}/").content.decode()
    assert timezone.localdate(row.at) == timezone.localdate()


def test_a_stranger_is_not_asked(client: Client) -> None:
    assert client.get(f"/floor/tasks/{task('Strip the fork').uid}/left/").status_code in (302, 403)
