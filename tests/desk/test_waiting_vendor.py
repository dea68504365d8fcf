"""The first page and the wall say what is late, what must leave today and what is out."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.desk.waiting_vendor import groups
from shop.restorations.models import Restoration
from shop.vendor_jobs.models import Job
from tests.desk.vendor_lots import must_leave, out
from tests.vendor_jobs.lots import lever
from tests.workshop import Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


def text(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def told() -> list[tuple[str, str]]:
    return [(row.name, row.tag) for group in groups(timezone.localdate()) for row in group.rows]


def test_what_is_late_or_due_today_waits_and_what_is_due_later_does_not(bike: Restoration, shop: Workshop) -> None:
    for name, due in (("Late", -2), ("Today", 0), ("Later", 1)):
        out(lever(bike, shop, name=name), due=due)
    assert told() == [("V1, Brook Platers", "2 days late"), ("V2, Brook Platers", "due today")]


def test_what_must_leave_today_waits_until_it_is_out(bike: Restoration, shop: Workshop) -> None:
    today, late, later = (lever(bike, shop, name=name) for name in ("Today", "Late", "Later"))
    must_leave(today, 0)
    must_leave(late, -1)
    must_leave(later, 1)
    (row,) = next(group for group in groups(timezone.localdate()) if group.name == "vendor-leaves").rows
    assert (row.name, row.text, row.tag) == ("Brook Platers", "2 parts must be gone by today", "late")
    out(late, due=9)
    out(today, due=9)
    assert told() == []


def test_it_takes_two_queries_with_fifty_as_with_one(bike: Restoration, shop: Workshop) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            told()
        return len(captured)

    out(lever(bike, shop), due=-1)
    assert queries() == 2
    for number in range(50):
        part = lever(bike, shop, name=f"Lever {number}")
        if number % 2:
            out(part, due=-number, since=-60)
        else:
            must_leave(part, -number)
    assert queries() == 2


def test_the_first_page_leads_to_the_lot(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    out(lever(bike, shop), due=-2)
    answer = front_desk.get("/")
    assert "Due back from vendors" in text(answer)
    assert f"/vendor-work/jobs/{Job.objects.get().uid}/" in answer.content.decode()


def test_the_wall_says_what_is_out_and_no_more_that_it_goes_out(
    manager: Client, bike: Restoration, shop: Workshop
) -> None:
    gone = lever(bike, shop, name="Lever, gone")
    lever(bike, shop, name="Pin, here")
    out(gone, due=-1)
    html = manager.get(reverse("floor:wall")).content.decode()
    sections = dict(re.findall(r'id="(w-\w+)">(.*?)</section>', html, re.DOTALL))
    assert "Lever, gone" in sections["w-gone"]
    assert "1 day late" in sections["w-gone"]
    assert "Lever, gone" not in sections["w-out"]
