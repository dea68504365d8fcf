"""Reminders on pages: on the first page with one tap, on their own, their rules, and the address of a calendar."""

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shop.journal.models import Entry
from shop.methods.models import Vendor
from shop.restorations.models import Part
from shop.vendor_jobs.buying import Wanted, add_supplier, place_order
from shop.vendor_jobs.lots import plan_lot
from shop.vendor_jobs.models import Feed, Job, Order, Quiet, Reminder, Rule
from shop.vendor_jobs.reminding.raising import raise_reminders
from shop.vendor_jobs.sending import Told, send_out
from tests.pricing.customers import words_of
from tests.vendor_jobs.lots import lever, plating
from tests.workshop import restoration, workshop

pytestmark = pytest.mark.django_db

LONG_LATE = timedelta(days=30)


@pytest.fixture
def late() -> Job:
    """A lot that should have been back a month ago: the desk and the manager are reminded of it."""
    part = lever(restoration(), workshop())
    return out(part)


def out(part: Part) -> Job:
    now = timezone.now()
    today, by = timezone.localdate(now), {"who": "ada", "now": now}
    job = plan_lot(steps=[plating(part)], **by)  # type: ignore[arg-type]
    send_out(job=job, on=today - 2 * LONG_LATE, told=Told(today - LONG_LATE, said_by="Iris"), **by)  # type: ignore[arg-type]
    raise_reminders(now=now)
    return job


def of(level: int) -> Reminder:
    return Reminder.objects.get(kind="overdue", level=level)


def test_the_first_page_shows_it_to_the_desk_and_what_climbed_to_the_manager_too(
    late: Job, front_desk: Client, manager: Client
) -> None:
    desk, boss = words_of(front_desk.get("/")), words_of(manager.get("/"))
    assert f"{late} · Brook Platers" in desk
    assert "Reminders for you" not in desk
    assert "Reminders for you" in boss


def test_one_tap_and_it_is_done(late: Job, front_desk: Client) -> None:
    page = front_desk.get("/").content.decode()
    address = reverse("desk:reminder_done", args=[of(0).uid])
    assert f'action="{address}"' in page
    front_desk.post(address)
    assert (of(0).settled, of(0).settled_by, of(1).settled) == ("done", "ada", "")
    assert address not in front_desk.get("/").content.decode()
    assert Entry.objects.filter(what="reminder settled", who="ada").count() == 1


def test_one_tap_and_it_is_put_off_for_a_day_or_a_week(late: Job, front_desk: Client) -> None:
    page = front_desk.get("/").content.decode()
    address = reverse("desk:put_off", args=[of(0).uid])
    days = re.findall(rf'action="{address}">.*?name="until" value="([0-9-]+)"', page)
    today = timezone.localdate()
    assert days == [(today + timedelta(days=days)).isoformat() for days in (1, 7)]
    front_desk.post(address, {"until": days[1]})
    assert of(0).snoozed_until == today + timedelta(days=7)
    assert address not in front_desk.get("/").content.decode()


def test_a_day_that_is_none_to_put_it_off_to_is_said_at_its_box(late: Job, front_desk: Client) -> None:
    address = reverse("desk:put_off", args=[of(0).uid])
    for typed in ("", "2020-01-01", "tomorrow"):
        answer = front_desk.post(address, {"until": typed})
        assert answer.status_code == 422
        assert 'id="put-off-until_error"' in answer.content.decode()
    assert of(0).snoozed_until is None


def test_the_new_day_is_noted_from_the_reminder(late: Job, front_desk: Client) -> None:
    day = timezone.localdate() + LONG_LATE
    address = reverse("desk:reminder_told", args=[of(0).uid])
    said: dict[str, Any] = {"due_on": day, "status": "phoned", "said_by": "Iris", "told_on": timezone.localdate()}
    wrong = front_desk.post(address, said | {"due_on": "2020-01-01"})
    assert (wrong.status_code, "Iris" in wrong.content.decode()) == (422, True)
    front_desk.post(address, said)
    assert late.promises.last().due_on == day
    assert [of(0).settled, of(1).settled] == ["told", "told"]


@pytest.fixture
def late_order(front_desk: Client) -> Order:
    """Paint that was to come a month ago: the desk and the manager are reminded of it."""
    now = timezone.now()
    today, by = timezone.localdate(now), {"who": "ada", "now": now}
    supplier = add_supplier(name="Ford Street Paints", **by)  # type: ignore[arg-type]
    paint = Wanted(4_000, consumable=workshop().paint, quantity=Decimal(2), pack_size=Decimal(1))
    days = {"ordered_on": today - 2 * LONG_LATE, "due_on": today - LONG_LATE}
    order = place_order(supplier=supplier, lines=[paint], **days, **by)  # type: ignore[arg-type]
    raise_reminders(now=now)
    return order


def test_the_new_day_of_an_order_is_noted_from_its_reminder(late_order: Order, front_desk: Client) -> None:
    first = Reminder.objects.get(kind="order_late", level=0)
    address, day = reverse("desk:reminder_told", args=[first.uid]), timezone.localdate() + timedelta(days=5)
    assert f'action="{address}"' in front_desk.get(reverse("desk:reminder", args=[first.uid])).content.decode()
    for wrong in ("", "2020-01-01", (timezone.localdate() - timedelta(days=1)).isoformat()):
        answer = front_desk.post(address, {"due_on": wrong, "said_by": "Iris"})
        assert (answer.status_code, "Iris" in answer.content.decode()) == (422, True)
    front_desk.post(address, {"due_on": day.isoformat(), "said_by": "Iris"})
    late_order.refresh_from_db()
    assert (late_order.due_on, late_order.said_by) == (day, "Iris")
    assert set(Reminder.objects.values_list("settled", flat=True)) == {"told"}
    raise_reminders(now=timezone.now())
    assert not Reminder.objects.filter(settled="").exists(), "it is late again only once the new day has passed"


def test_what_may_leave_is_one_line(front_desk: Client) -> None:
    shop, bike = workshop(), restoration()
    for number in range(3):
        lever(bike, shop, name=f"Lever {number}")
    raise_reminders(now=timezone.now())
    assert "3 parts may leave for vendors." in words_of(front_desk.get("/"))


def test_many_reminders_take_their_page_no_more_queries(late: Job, manager: Client) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def asked() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert manager.get("/reminders/").status_code == 200
        return len(seen)

    one = asked()
    row = of(0)
    for number in range(3):
        row.pk, row.uid, row.key = None, f"00000000-0000-4000-8000-00000000000{number}", f"made/{number}"
        row.save(force_insert=True)
    assert asked() == one


@pytest.mark.parametrize("page", ["reminders", "my_calendar", "reminder_rules"])
def test_they_are_not_for_the_bench(page: str, mechanic: Client) -> None:
    assert mechanic.get(reverse(f"desk:{page}")).status_code == 403


# -- rules -----------------------------------------------------------------------------------------------------------------


def typed(page: str) -> dict[str, str]:
    """The first form of the page as it is filled in."""
    form = page.split('action="/workshop/reminders/"')[1].split("</form>")[0]
    found: dict[str, str] = {}
    for box in re.findall(r"<input [^>]*>", form):
        name, value = re.search(r'name="([^"]+)"', box), re.search(r'value="([^"]*)"', box)
        if name and (" checked" in box or 'type="checkbox"' not in box):
            found[name[1]] = value[1] if value else "on" if "checkbox" in box else ""
    return found


def test_saving_what_stands_there_changes_nothing(manager: Client) -> None:
    said = typed(manager.get("/workshop/reminders/").content.decode())
    assert said["days_overdue"] == "1"
    manager.post("/workshop/reminders/", said)
    assert not Rule.objects.exists()


def test_the_manager_changes_a_rule(manager: Client, front_desk: Client) -> None:
    said = typed(manager.get("/workshop/reminders/").content.decode())
    manager.post("/workshop/reminders/", said | {"days_overdue": "2", "climbs_after_overdue": ""})
    row = Rule.objects.get()
    assert (row.kind, row.vendor, row.on, row.days, row.climbs_after) == ("overdue", None, True, 2, None)
    assert front_desk.get("/workshop/reminders/").status_code == 403


@pytest.mark.parametrize("wrong", ["", "-1", "61", "two"])
def test_a_wrong_number_is_said_at_its_box_and_kept(manager: Client, wrong: str) -> None:
    said = typed(manager.get("/workshop/reminders/").content.decode())
    answer = manager.post("/workshop/reminders/", said | {"days_overdue": wrong, "days_core": "9"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="id_days_overdue_error"' in page
    assert typed(page)["days_core"] == "9"
    assert not Rule.objects.exists()


def test_quiet_times_are_set(manager: Client) -> None:
    said: dict[str, Any] = {"days": ["5", "6", "7"], "morning": "06:45", "evening": "17:00", "digest": "on"}
    assert manager.post("/workshop/reminders/quiet/", said | {"evening": "06:00"}).status_code == 422
    manager.post("/workshop/reminders/quiet/", said)
    row = Quiet.objects.get()
    assert (row.days, f"{row.morning:%H:%M}", f"{row.evening:%H:%M}", row.digest) == ("567", "06:45", "17:00", True)


# -- a vendor's own --------------------------------------------------------------------------------------------------------

OWN = "/workshop/reminders/vendors/"


def own(**changes: str) -> dict[str, str]:
    vendor = Vendor.objects.get(name="Brook Platers")
    return {"vendor": str(vendor.uid), "kind": "overdue", "on": "on", "days": "4", "climbs_after": "6"} | changes


def test_a_vendor_has_a_rule_of_its_own_until_it_is_dropped(late: Job, manager: Client) -> None:
    assert manager.post(OWN, own()).status_code == 302
    row = Rule.objects.get()
    assert (str(row.vendor), row.kind, row.on, row.days, row.climbs_after) == ("Brook Platers", "overdue", True, 4, 6)
    page = words_of(manager.get("/workshop/reminders/"))
    assert "Brook Platers overdue 4 working days, the manager 6 more" in page
    manager.post(OWN, own(days="2"))
    assert Rule.objects.get().days == 2, "said again, it is the same rule"
    manager.post(f"{OWN}{late.vendor.uid}/overdue/drop/")
    assert not Rule.objects.exists()
    assert "None: every vendor goes by the rules above." in words_of(manager.get("/workshop/reminders/"))
    assert Entry.objects.filter(what="reminder rule dropped", subject_label="Brook Platers").count() == 1
    manager.post(f"{OWN}{late.vendor.uid}/overdue/drop/")
    assert Entry.objects.filter(what="reminder rule dropped").count() == 1, "what is gone is not dropped again"


def test_what_is_told_of_at_once_takes_no_days_from_the_form(late: Job, manager: Client) -> None:
    manager.post(OWN, own(kind="due_today", days="9", climbs_after="9"))
    row = Rule.objects.get()
    assert (row.days, row.climbs_after) == (0, None)
    assert "Brook Platers due today told of at once" in words_of(manager.get("/workshop/reminders/"))


def test_a_vendor_of_whom_nobody_is_reminded(late: Job, manager: Client) -> None:
    data = own()
    del data["on"]
    manager.post(OWN, data)
    assert "Brook Platers overdue nobody is reminded" in words_of(manager.get("/workshop/reminders/"))
    raise_reminders(now=timezone.now())
    assert of(0).settled == "itself", "what is not reminded of any more is not before anybody"


@pytest.mark.parametrize(
    ("typed", "box"),
    [
        ({"days": "61"}, "own-days"),
        ({"climbs_after": "x"}, "own-climbs_after"),
        ({"kind": "core"}, "own-kind"),
        ({"vendor": "00000000-0000-4000-8000-000000000000"}, "own-vendor"),
    ],
)
def test_a_wrong_rule_of_a_vendor_is_said_at_its_box_and_nothing_typed_is_lost(
    late: Job, manager: Client, typed: dict[str, str], box: str
) -> None:
    answer = manager.post(OWN, own() | {"days": "7"} | typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'id="{box}_error"' in page
    assert Rule.objects.count() == 0
    if "days" not in typed:
        assert re.search(r'name="days" value="7"', page)


def test_rules_of_vendors_are_the_managers(late: Job, front_desk: Client) -> None:
    assert front_desk.post(OWN, own()).status_code == 403
    assert front_desk.post(f"{OWN}{late.vendor.uid}/overdue/drop/").status_code == 403


def test_what_is_no_kind_of_reminder_is_not_found(late: Job, manager: Client) -> None:
    assert manager.post(f"{OWN}{late.vendor.uid}/nothing/drop/").status_code == 404


# -- the calendar ----------------------------------------------------------------------------------------------------------


def test_an_address_is_shown_once_and_opens_until_it_is_ended(front_desk: Client) -> None:
    answer = front_desk.post("/reminders/calendar/new/")
    assert answer["Cache-Control"] == "no-store"
    address = re.search(r"http://testserver(/due/[\w-]+\.ics)", answer.content.decode())
    assert address
    assert Client().get(address[1]).status_code == 200
    assert address[1] not in front_desk.get("/reminders/calendar/").content.decode()
    front_desk.post("/reminders/calendar/end/")
    assert Client().get(address[1]).status_code == 404
    assert Feed.objects.get().ended_at is not None
