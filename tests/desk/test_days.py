"""The days of a restoration, and the ready day in the sum."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from quotes.pricing import planning
from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.people.models import Shop
from shop.restorations.models import Restoration
from shop.routes.models import Done, Hold, Plan, PlannedStep, Step
from shop.routes.parts import edit_part
from shop.routes.planning import hold
from tests.desk.test_editor import HTMX, sent
from tests.planned import agree_to, bought, fitted, fresh_draft, kept, lever, planning_workshop
from tests.routes.aways import out
from tests.workshop import SINCE, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
BEING = "The ready day is being worked out"


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    """A frame that is fitted when a plated lever is back, and a seal that is bought."""
    made = restoration()
    frame_part, plated = frame(made, shop), lever(made, shop)
    bought(frame_part)
    fitted(frame_part, shop, plated.steps.get(service=shop.plate))
    fresh_draft(made)
    return made


def page(client: Client, of: Restoration, name: str = "days") -> str:
    answer = client.get(reverse(f"desk:{name}", args=[of.uid]))
    assert answer.status_code == 200
    return answer.content.decode()


def day(offset: int = 0) -> date:
    return timezone.localdate() + timedelta(days=offset)


def shown(one: date) -> str:
    return date_format(one, "DATE_FORMAT")


def unpriceable(of: Restoration) -> None:
    Draft.objects.filter(restoration=of).update(priced_on=SINCE - timedelta(days=1))


# --- who may ---

PAGES = [("get", "days"), ("post", "ready_day"), ("post", "add_hold"), ("post", "begin_on")]


@pytest.mark.parametrize(("method", "name"), PAGES)
def test_days_are_for_desk_and_manager(
    bike: Restoration, mechanic: Client, nobody: Client, stranger: Client, method: str, name: str
) -> None:
    address = reverse(f"desk:{name}", args=[bike.uid])
    assert [getattr(who, method)(address).status_code for who in (mechanic, nobody)] == [403, 403]
    answer = getattr(stranger, method)(address)
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, "/sign-in/")
    assert not Plan.objects.exists()


def test_only_the_desk_takes_a_hold_back(bike: Restoration, mechanic: Client, stranger: Client) -> None:
    row = hold(restoration=bike, first=day(1), last=day(2), reason="deciding", **WHO)
    address = reverse("desk:end_hold", args=[row.pk])
    assert [who.post(address).status_code for who in (mechanic, stranger)] == [403, 302]
    row.refresh_from_db()
    assert row.removed_at is None


def test_the_manager_sees_the_days_too(bike: Restoration, manager: Client) -> None:
    assert "Days to the ready day" in page(manager, bike)


# --- the page ---


def test_the_page_says_when_it_is_ready_what_leaves_and_what_is_ordered(bike: Restoration, front_desk: Client) -> None:
    html = page(front_desk, bike)
    plan = kept(bike, today=day())
    for one in (plan.ready_likely, plan.ready_kept):
        assert shown(one) in html
    assert "<dt>Kept 4 in 5</dt>" in html
    for row in plan.steps.exclude(leave_by=None):
        assert f'<th scope="row">{shown(row.leave_by)}</th>' in html
    assert "Zinc plate leaves for Brook Platers" in html
    assert "order Seal" in html
    assert 'class="picture"' in html


def test_what_leaves_and_what_is_ordered_is_one_list_in_date_order_with_what_follows(
    bike: Restoration, front_desk: Client
) -> None:
    leaving = front_desk.get(reverse("desk:days", args=[bike.uid])).context["leaving"]
    kept(bike, today=day())
    steps = Plan.objects.get(restoration=bike).steps.exclude(leave_by=None).select_related("step")
    assert len(leaving) == 2
    assert [row["by"] for row in leaving] == sorted(step.leave_by for step in steps)
    for step in steps:
        (row,) = (row for row in leaving if row["parts"] == [step.step.part.name])
        assert row["by"] == step.leave_by
        assert row["then"].endswith(shown(step.back_by))


def test_what_is_out_or_on_order_stands_apart_with_the_day_by_which_it_must_be_here(
    bike: Restoration, shop: Workshop, front_desk: Client
) -> None:
    plate, seal = Step.objects.get(service=shop.plate), Step.objects.get(buy="Seal")
    for one, where in ((plate, "Brook Platers"), (seal, "Old Stock Ltd")):
        out(one, day(60), since=day(), where=where)
    answer = front_desk.get(reverse("desk:days", args=[bike.uid]))
    assert (answer.context["leaving"], len(answer.context["table"]["out"])) == ([], 2)
    kept(bike, today=day())
    html = answer.content.decode()
    for one in (plate, seal):
        must = PlannedStep.objects.get(step=one).back_by
        assert must is not None
        assert must >= day(60)
        assert f'<th scope="row">{shown(must)}</th><td>{one}' in html
    assert "leaves for Brook Platers" not in html
    assert "order Seal" not in html


def test_a_bike_on_which_all_is_done_has_its_days_too(bike: Restoration, front_desk: Client) -> None:
    steps = list(Step.objects.filter(part__restoration=bike))
    agree_to(*steps)
    Done.objects.bulk_create(Done(step=one, at=timezone.now(), who="ada") for one in steps)
    answer = front_desk.get(reverse("desk:days", args=[bike.uid]))
    assert answer.context["table"]["certain"] == answer.context["table"]["kept"] <= day(4)
    assert (answer.context["leaving"], answer.context["table"]["out"]) == ([], [])


def test_no_day_stands_there_that_could_be_later_than_the_likely_one_and_mean_less(
    bike: Restoration, front_desk: Client
) -> None:
    """The pass with expected times can end after the middle of all trials: it is no promise, and not shown as one."""
    assert re.findall(r"<dt>([^<]+)</dt>", page(front_desk, bike)) == ["Likely", "Kept 4 in 5"]


def test_looking_keeps_no_plan(bike: Restoration, front_desk: Client) -> None:
    page(front_desk, bike)
    assert not Plan.objects.exists()


def test_a_bike_that_cannot_be_priced_says_so_and_its_days_can_still_be_held(
    bike: Restoration, front_desk: Client
) -> None:
    unpriceable(bike)
    html = page(front_desk, bike)
    assert "There is no price policy in force" in html
    assert "Hold it" in html


def test_a_bike_without_parts_has_days_all_the_same(shop: Workshop, front_desk: Client) -> None:
    assert "When it is ready" in page(front_desk, restoration())


@pytest.mark.parametrize(
    ("country", "lead", "sentence"),
    [("ZZ", 10, "There are no holidays known for “ZZ”."), ("GB", 1900, "Add those that follow.")],
    ids=["a country nobody knows", "holidays that end"],
)
def test_holidays_that_are_not_known_are_told_on_the_page_and_in_the_sum(
    bike: Restoration, shop: Workshop, front_desk: Client, country: str, lead: int, sentence: str
) -> None:
    Shop.objects.update(country=country)
    shop.plate.lead_days = lead
    shop.plate.save()
    assert sentence in page(front_desk, bike)
    answer = front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert "hx-post" not in answer.content.decode()  # asked again it would say the same, for ever


def test_what_the_hands_decide_is_said(bike: Restoration, shop: Workshop, front_desk: Client) -> None:
    assert "The longest way through the steps decides it." in page(front_desk, bike)
    Shop.objects.update(hands=1, productive=1)
    assert "The hands there are decide it" in page(front_desk, bike)


# --- holds ---


def test_days_are_held_and_given_back_from_the_page(bike: Restoration, front_desk: Client) -> None:
    given = {
        "first": day(1).isoformat(),
        "last": day(3).isoformat(),
        "kind": "part",
        "reason": "waiting for <the tank>",
    }
    answer = front_desk.post(reverse("desk:add_hold", args=[bike.uid]), given)
    assert answer.headers["Location"] == reverse("desk:days", args=[bike.uid])
    assert "waiting for &lt;the tank&gt;" in page(front_desk, bike)
    row = Hold.objects.get()
    assert (row.first, row.last) == (day(1), day(3))
    assert Entry.objects.get(what="held").who == "ada"
    answer = front_desk.post(reverse("desk:end_hold", args=[row.pk]))
    assert answer.headers["Location"] == reverse("desk:days", args=[bike.uid])
    assert "Take back" not in page(front_desk, bike)
    assert front_desk.post(reverse("desk:end_hold", args=[row.pk])).status_code == 302  # pressed twice
    assert Entry.objects.filter(what="hold taken back").count() == 1


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"first": "2026-05-03", "last": "2026-05-01"}, "last", "The last day is before the first. Swap them."),
        ({"first": "2026-05-03", "last": "2031-05-01"}, "last", "That is more than two years."),
        ({"first": "", "last": "2026-05-01"}, "first", "Fill this in."),
        ({"first": "soon", "last": "2026-05-01"}, "first", "Enter a valid date."),
        ({"first": "2026-05-01", "last": "2026-05-03", "reason": " "}, "reason", "Fill this in."),
    ],
)
def test_a_wrong_hold_is_told_at_its_field_and_what_was_typed_stays(
    bike: Restoration, front_desk: Client, given: dict[str, str], field: str, sentence: str
) -> None:
    given = {"kind": "unpaid", "reason": "not paid yet"} | given
    answer = front_desk.post(reverse("desk:add_hold", args=[bike.uid]), given)
    assert answer.status_code == 422
    form = answer.context["hold_form"]
    assert list(form.errors) == [field]
    html = answer.content.decode()
    assert sentence in html[html.index(f'id="id_{field}_error"') :][:300]
    for name, typed in given.items():
        if typed.strip():
            kept = f'value="{typed}" selected' if name == "kind" else f'name="{name}" value="{typed}"'
            assert kept in html
    assert not Hold.objects.exists()


def test_a_hold_that_is_not_there_is_not_found(front_desk: Client) -> None:
    assert front_desk.post(reverse("desk:end_hold", args=[4711])).status_code == 404


# --- when work can begin ---


def test_the_day_work_can_begin_on_is_saved_shown_and_emptied(bike: Restoration, front_desk: Client) -> None:
    address = reverse("desk:begin_on", args=[bike.uid])
    assert front_desk.post(address, {"starts_on": day(40).isoformat()}).status_code == 302
    bike.refresh_from_db()
    assert bike.starts_on == day(40)
    assert f'value="{day(40).isoformat()}"' in page(front_desk, bike)
    front_desk.post(address, {"starts_on": ""})
    bike.refresh_from_db()
    assert bike.starts_on is None


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [("someday", "Enter a valid date."), ("9999-12-31", "That is more than two years away. Give a nearer day.")],
)
def test_a_wrong_day_is_told_at_its_field_and_what_was_typed_stays(
    bike: Restoration, front_desk: Client, typed: str, sentence: str
) -> None:
    answer = front_desk.post(reverse("desk:begin_on", args=[bike.uid]), {"starts_on": typed})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html[html.index('id="id_starts_on_error"') :][:300]
    assert f'value="{typed}"' in html
    bike.refresh_from_db()
    assert bike.starts_on is None


# --- the ready day in the sum ---


def box(html: str) -> str:
    return html[html.index('id="ready"') :].split("</section>")[0]


def test_before_it_was_ever_worked_out_the_sum_says_that_it_is_being(bike: Restoration, front_desk: Client) -> None:
    found = box(page(front_desk, bike, "restoration"))
    assert BEING in found
    assert f'hx-post="{reverse("desk:ready_day", args=[bike.uid])}"' in found
    assert "<s>" not in found


def test_it_is_worked_out_kept_and_answered_with_both_days(bike: Restoration, front_desk: Client) -> None:
    answer = front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    html, plan = answer.content.decode(), Plan.objects.get()
    assert answer.templates[0].name == "desk/_ready.html"
    assert shown(plan.ready_likely) in html
    assert shown(plan.ready_kept) in html
    assert BEING not in html
    assert "<s>" not in html
    assert BEING not in box(page(front_desk, bike, "restoration"))


def test_after_a_change_the_old_days_are_struck_out_while_the_new_ones_are_worked_out(
    bike: Restoration, shop: Workshop, front_desk: Client
) -> None:
    old = kept(bike, today=day())
    part = bike.parts.get(name="Frame")
    answer = front_desk.post(reverse("desk:part", args=[part.uid]), sent(part, pieces="40"), **HTMX).content.decode()
    found = box(answer)
    assert BEING in found
    assert f"<s>{shown(old.ready_likely)}</s>" in found
    assert f"<s>{shown(old.ready_kept)}</s>" in found
    new = box(front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX).content.decode())
    assert "<s>" not in new
    plan = Plan.objects.get()
    assert plan.ready_likely > old.ready_likely
    assert shown(plan.ready_likely) in new


def test_a_day_kept_yesterday_is_worked_out_anew(bike: Restoration, front_desk: Client) -> None:
    kept(bike, today=day(-1))
    if Plan.objects.get().starts_on >= day():  # yesterday nobody worked
        Plan.objects.update(starts_on=day(-1))
    assert BEING in box(page(front_desk, bike, "restoration"))


def test_a_plan_that_stands_is_shown_and_not_made_again(bike: Restoration, front_desk: Client) -> None:
    made = kept(bike, today=day())
    front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    assert Plan.objects.get().made_at == made.made_at


def test_a_plan_whose_rates_have_changed_is_made_anew_when_it_is_asked_for(
    bike: Restoration, shop: Workshop, front_desk: Client
) -> None:
    made = kept(bike, today=day())
    shop.plate.lead_days = 50
    shop.plate.save()
    front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    assert Plan.objects.get().ready_certain > made.ready_certain


def test_without_scripting_it_leads_to_the_days(bike: Restoration, front_desk: Client) -> None:
    answer = front_desk.post(reverse("desk:ready_day", args=[bike.uid]))
    assert answer.headers["Location"] == reverse("desk:days", args=[bike.uid])
    assert Plan.objects.exists()
    unpriceable(bike)
    assert front_desk.post(reverse("desk:ready_day", args=[bike.uid])).status_code == 302


def test_a_bike_that_cannot_be_priced_says_why_instead_of_a_day(bike: Restoration, front_desk: Client) -> None:
    unpriceable(bike)
    answer = front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    assert answer.status_code == 200
    assert "There is no price policy in force" in answer.content.decode()


def test_where_the_scope_moves_on_while_it_is_worked_out_it_is_asked_for_again(
    bike: Restoration, front_desk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody at another desk changes a part between reading and keeping; nothing is mocked but the moment."""
    real = planning.keep_plan

    def meanwhile(**given: Any) -> Plan | None:
        edit_part(part=bike.parts.get(name="Lever"), changes={"pieces": 2}, **WHO)
        return real(**given)

    monkeypatch.setattr(planning, "keep_plan", meanwhile)
    answer = front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX)
    assert not Plan.objects.exists()
    assert answer.status_code == 200
    assert BEING in answer.content.decode()


# --- holds without an end ---


def test_a_hold_without_an_end_runs_until_it_is_let_go_from_the_page(bike: Restoration, front_desk: Client) -> None:
    given = {"first": day(-2).isoformat(), "last": "", "kind": "unpaid", "reason": "the deposit"}
    assert front_desk.post(reverse("desk:add_hold", args=[bike.uid]), given).status_code == 302
    row = Hold.objects.get()
    assert (row.kind, row.last) == ("unpaid", None)
    html = page(front_desk, bike)
    assert f"{shown(day(-2))} – until it is let go: the deposit" in html
    assert "a payment is missing" in html
    address = reverse("desk:let_hold_go", args=[row.pk])
    assert front_desk.post(address, {"last": day(0).isoformat()}).status_code == 302
    row.refresh_from_db()
    assert (row.last, row.removed_at) == (day(0), None)
    assert address not in page(front_desk, bike)


def test_a_hold_is_not_let_go_before_it_began(bike: Restoration, front_desk: Client) -> None:
    row = hold(restoration=bike, first=day(-2), kind="unpaid", reason="the deposit", **WHO)
    answer = front_desk.post(reverse("desk:let_hold_go", args=[row.pk]), {"last": day(-3).isoformat()})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "It was not held yet on that day." in html
    assert f'value="{day(-3).isoformat()}"' in html
    row.refresh_from_db()
    assert row.last is None


def test_a_hold_says_why(bike: Restoration, front_desk: Client) -> None:
    given = {"first": day(1).isoformat(), "last": "", "kind": "", "reason": "the deposit"}
    answer = front_desk.post(reverse("desk:add_hold", args=[bike.uid]), given)
    assert answer.context["hold_form"].errors == {"kind": ["Fill this in."]}
    hold(restoration=bike, first=day(0), kind="unpaid", reason="the deposit", **WHO)
    twice = front_desk.post(reverse("desk:add_hold", args=[bike.uid]), given | {"kind": "unpaid"})
    assert "It is held for that already" in twice.context["hold_form"].errors["first"][0]


def test_only_the_desk_lets_a_hold_go(bike: Restoration, mechanic: Client, stranger: Client) -> None:
    row = hold(restoration=bike, first=day(0), reason="deciding", **WHO)
    address = reverse("desk:let_hold_go", args=[row.pk])
    assert [who.post(address).status_code for who in (mechanic, stranger)] == [403, 302]
    row.refresh_from_db()
    assert row.last is None


# --- queries ---


def test_the_days_ask_the_same_number_of_questions_for_one_part_and_for_many(
    shop: Workshop, front_desk: Client
) -> None:
    bike = restoration()

    def more(count: int) -> None:
        for number in range(count):
            part = lever(bike, shop, name=f"Lever {number}")
            bought(part)
            fitted(frame(bike, shop, name=f"Frame {number}"), shop, part.steps.get(service=shop.plate))

    def asked(act: Any) -> int:
        with CaptureQueriesContext(connection) as caught:
            act()
        return len(caught)

    def look() -> None:
        page(front_desk, bike)

    def work_out() -> None:
        assert front_desk.post(reverse("desk:ready_day", args=[bike.uid]), **HTMX).status_code == 200

    more(1)
    fresh_draft(bike)
    kept(bike, today=day())
    hold(restoration=bike, first=day(1), last=day(1), reason="deciding", **WHO)
    few = asked(look), asked(work_out)
    more(9)  # rows are written a thousand values at a time, so that hundreds of steps take a few more
    for number in range(10):
        days = {"first": day(2 * number + 2), "last": day(2 * number + 3)}
        hold(restoration=bike, reason=f"reason {number}", **days, **WHO)
    assert (asked(look), asked(work_out)) == few
