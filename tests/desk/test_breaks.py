"""Breaks of the day: kept by the manager, never two at once, and of days past as they were."""

from datetime import date, time

import pytest
from django.test import Client
from django.utils import timezone

from shop.journal.models import Entry
from shop.people.models import Break
from shop.people.times import breaks

PAGE, ADD = "/workshop/times/", "/workshop/breaks/"
LUNCH = {"name": "Lunch", "span": "12:00-12:30"}

pytestmark = pytest.mark.django_db


def test_a_break_is_added_from_today_on_and_told(manager: Client) -> None:
    manager.post(ADD, LUNCH | {"paid": "on"})
    row = Break.objects.get()
    assert (row.name, row.begins, row.ends, row.paid) == ("Lunch", time(12), time(12, 30), True)
    assert row.since == timezone.localdate()
    page = manager.get(PAGE).content.decode()
    assert "Lunch" in page
    assert ">paid<" in page
    assert Entry.objects.filter(what="break added", who="eve").count() == 1


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"span": "noon"}, "is no span of hours"),
        ({"span": "12:30-12:00"}, "It ends before it begins."),
        ({"span": "12:15-13:00"}, "It overlaps with “Lunch"),
        ({"name": ""}, "Fill this in"),
    ],
)
def test_a_wrong_break_is_told_and_nothing_typed_is_lost(manager: Client, wrong: dict[str, str], sentence: str) -> None:
    manager.post(ADD, LUNCH)
    answer = manager.post(ADD, {"name": "Tea", "span": "15:00-15:10"} | wrong)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert f'value="{wrong.get("span", "15:00-15:10")}"' in page
    assert Break.objects.count() == 1


def test_one_taken_away_still_holds_for_the_days_it_was_there(manager: Client) -> None:
    manager.post(ADD, LUNCH)
    Break.objects.update(since=date(2026, 1, 5))
    row = Break.objects.get()
    manager.post(f"{ADD}{row.pk}/end/")
    row.refresh_from_db()
    assert row.until == timezone.localdate()
    assert not breaks().exists()
    assert "Lunch" not in manager.get(PAGE).content.decode()
    assert manager.post(f"{ADD}{row.pk}/end/").status_code == 404
    assert manager.post(ADD, LUNCH).status_code == 302


def test_one_that_held_for_no_day_is_gone(manager: Client) -> None:
    manager.post(ADD, LUNCH)
    manager.post(f"{ADD}{Break.objects.get().pk}/end/")
    assert not Break.objects.exists()


def test_only_the_manager_says_when_there_are_breaks(front_desk: Client, mechanic: Client) -> None:
    for client in (front_desk, mechanic):
        assert client.post(ADD, LUNCH).status_code == 403
