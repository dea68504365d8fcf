import json
import re
from decimal import Decimal
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.methods.models import Operation
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.people.services import add_person
from shop.restorations.models import Part
from shop.routes.models import Step, Wait
from shop.routes.parts import edit_part
from shop.routes.services import wait_for
from tests.workshop import WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
HTMX = {"HTTP_HX_REQUEST": "true"}


def person(*roles: str) -> User:
    return add_person(username=roles[0], name=roles[0], password="cold workshop 7", roles=roles)


@pytest.fixture
def shop():
    return workshop()


@pytest.fixture
def bike():
    return restoration()


@pytest.fixture
def desk(client):
    client.force_login(person(ROLE_DESK))
    return client


def sent(part: Part, **changed: str) -> dict[str, str]:
    """One box as the page sends it: what was seen and what is typed."""
    data = {}
    for name, value in changed.items():
        seen = getattr(part, f"{name}_id" if hasattr(part, f"{name}_id") else name)
        data |= {name: value, f"seen-{name}": "" if seen is None else str(seen)}
    return data


def price_in(html: str, part: Part) -> str:
    """The price of a part: where it stands on the page, or in the list that an answer brings for all the others."""
    found = re.search(rf'id="price-{part.uid}"[^>]*>([^<]*)<', html)
    if found is not None:
        return found.group(1)
    told = re.search(r'id="prices"[^>]* data-prices="([^"]*)"', html)
    assert told is not None
    return str(dict(json.loads(unescape(told.group(1))))[str(part.uid)])


def test_the_page_shows_each_part_with_its_price_and_the_sum(desk, shop, bike):
    part = frame(bike, shop)
    html = desk.get(reverse("desk:restoration", args=[bike.uid])).content.decode()
    assert price_in(html, part).startswith("€")
    assert "The customer pays" in html


def test_a_change_is_saved_and_answered_with_the_new_price(desk, shop, bike):
    part = frame(bike, shop)
    before = price_in(desk.get(reverse("desk:restoration", args=[bike.uid])).content.decode(), part)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, pieces="2"), **HTMX).content.decode()
    part.refresh_from_db()
    assert part.pieces == 2
    assert price_in(answer, part) != before
    assert 'id="total"' in answer
    assert 'name="seen-pieces" value="2"' in answer


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("pieces", "two", "Give a whole number in digits, such as 2."),
        ("pieces", "-1", "Give 0 or more."),
        ("area", "big", "Give a number in digits, such as 12.5."),
        ("area", "-3", "Give 0 or more."),
        ("weight", "x", "Give a number in digits, such as 12.5."),
        ("name", "", "Fill this in."),
        ("condition", "shiny", "Choose one from the list."),
        ("agreed_finish", "999999", "Choose one from the list."),
        ("strength", "hard", "Give a whole number in digits"),
        ("tax", "not a code!", "Choose one from the list."),
    ],
)
def test_a_wrong_entry_is_told_at_its_field_and_what_was_typed_stays(desk, shop, bike, name, typed, sentence):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, **{name: typed}), **HTMX).content.decode()
    box = answer[answer.index(f'id="box-{part.uid}-{name}"') :].split(f'name="seen-{name}"')[0]
    assert sentence in box
    assert (
        typed in {"", "shiny", "999999", "not a code!"} or f'value="{typed}"' in box
    )  # a list keeps only what is on it
    fresh = Part.objects.get(pk=part.pk)
    assert (fresh.pieces, fresh.area, fresh.name) == (part.pieces, part.area, part.name)


def test_a_colleagues_change_shows_at_the_field_and_nothing_is_lost(desk, shop, bike):
    part = frame(bike, shop)
    data = sent(part, pieces="7")
    edit_part(part=part, changes={"pieces": 3}, **WHO)
    answer = desk.post(reverse("desk:part", args=[part.uid]), data, **HTMX).content.decode()
    assert "changed this to “3” meanwhile" in answer
    assert 'value="7"' in answer
    assert Part.objects.get(pk=part.pk).pieces == 3


def test_another_finish_brings_its_route_at_once(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(
        reverse("desk:part", args=[part.uid]), sent(part, agreed_finish=str(shop.zinc.pk)), **HTMX
    ).content.decode()
    assert "Zinc plate" in answer
    assert f'id="route-{part.uid}"' in answer


def test_plating_steel_of_unknown_strength_blocks_issuing_until_somebody_says(desk, shop, bike):
    part = frame(bike, shop, finish=shop.zinc)
    html = desk.get(reverse("desk:issue", args=[bike.uid])).content.decode()
    assert "its strength is not known" in html
    desk.post(reverse("desk:part", args=[part.uid]), sent(part, strength="400"), **HTMX)
    assert "its strength is not known" not in desk.get(reverse("desk:issue", args=[bike.uid])).content.decode()


def test_a_finish_without_a_route_says_so_at_the_field(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, material="brass"), **HTMX).content.decode()
    assert "no route to put “Black”" in answer
    assert Part.objects.get(pk=part.pk).material == "steel"


def test_it_all_works_with_scripting_off(desk, shop, bike):
    part = frame(bike, shop)
    saved = desk.post(reverse("desk:part", args=[part.uid]), sent(part, pieces="4"))
    assert saved.status_code == 302
    assert Part.objects.get(pk=part.pk).pieces == 4
    part.refresh_from_db()
    refused = desk.post(reverse("desk:part", args=[part.uid]), sent(part, pieces="four"))
    assert refused.status_code == 422
    assert 'value="four"' in refused.content.decode()


def test_a_part_is_added_taken_out_and_brought_back(desk, shop, bike):
    desk.post(reverse("desk:add_part", args=[bike.uid]), {"name": "Fork yoke", "area_name": "Steering", "pieces": "1"})
    part = Part.objects.get(name="Fork yoke")
    desk.post(reverse("desk:take_out", args=[part.uid]))
    assert "Bring back Fork yoke" in desk.get(reverse("desk:restoration", args=[bike.uid])).content.decode()
    desk.post(reverse("desk:bring_back", args=[part.uid]))
    part.refresh_from_db()
    assert part.removed_at is None


def test_a_part_without_a_name_is_refused_and_the_rest_of_the_form_stays(desk, shop, bike):
    answer = desk.post(reverse("desk:add_part", args=[bike.uid]), {"name": "", "area_name": "Steering", "pieces": "x"})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Give a whole number in digits" in html
    assert 'value="Steering"' in html


def test_steps_are_added_changed_moved_and_taken_off(desk, shop, bike):
    part = frame(bike, shop)
    desk.post(reverse("desk:add_step", args=[part.uid]), {"origin": "after", "operation": shop.fit.pk})
    step = part.steps.get(operation=shop.fit)
    answer = desk.post(
        reverse("desk:step", args=[step.uid]), {"fail_chance": "5", "seen-fail_chance": "0"}, **HTMX
    ).content.decode()
    step.refresh_from_db()
    assert step.fail_chance == 5
    assert f'id="cost-{step.uid}"' in answer
    desk.post(reverse("desk:take_off", args=[step.uid]), **HTMX)
    step.refresh_from_db()
    assert step.removed_at is not None


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"fail_chance": "100", "seen-fail_chance": "10.00"}, "never be done"),
        ({"fail_chance": "-1", "seen-fail_chance": "10.00"}, "Give 0 or more."),
        ({"fail_chance": "often", "seen-fail_chance": "10.00"}, "Give a number in digits"),
        ({"quantity": "lots", "seen-quantity": ""}, "Give a number in digits"),
        ({"replacement": "1.234", "seen-replacement": "0.00"}, "Give 2 decimal places at most."),
    ],
)
def test_a_wrong_entry_about_a_step_is_told_at_its_field(desk, shop, bike, data, sentence):
    step = frame(bike, shop).steps.get(operation=shop.spray)
    answer = desk.post(reverse("desk:step", args=[step.uid]), data, **HTMX).content.decode()
    assert sentence in answer


def test_a_new_step_is_exactly_one_thing(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:add_step", args=[part.uid]), {"origin": "after"})
    assert "Choose one: a labour operation, a vendor" in answer.content.decode()
    answer = desk.post(reverse("desk:add_step", args=[part.uid]), {"origin": "after", "buy": "Seal"})
    assert "Say where it comes from." in answer.content.decode()


def test_what_the_customer_brings_has_no_price(desk, shop, bike):
    part = frame(bike, shop)
    desk.post(
        reverse("desk:add_step", args=[part.uid]), {"origin": "after", "buy": "Seal", "buy_source": "reproduction"}
    )
    step = part.steps.get(buy="Seal")
    seen = {"seen-buy_price": "0.00", "seen-buy_source": "reproduction"}
    answer = desk.post(
        reverse("desk:step", args=[step.uid]), {"buy_price": "12.50", "buy_source": "customers_own", **seen}, **HTMX
    )
    assert "What the customer brings has no price here" in answer.content.decode()
    desk.post(reverse("desk:step", args=[step.uid]), {"buy_price": "12.50", "seen-buy_price": "0.00"}, **HTMX)
    step.refresh_from_db()
    assert step.buy_price_minor == 1250


def test_waits_are_set_and_a_circle_is_refused_on_the_page(desk, shop, bike):
    one, two = frame(bike, shop), frame(bike, shop, name="Fork")
    first, last = one.steps.get(operation=shop.blast), two.steps.get(operation=shop.spray)
    desk.post(reverse("desk:add_wait", args=[first.uid]), {"on": last.pk})
    refused = desk.post(
        reverse("desk:add_wait", args=[two.steps.get(operation=shop.blast).uid]),
        {"on": one.steps.get(operation=shop.spray).pk},
    )
    assert "wait for each other in a circle" in refused.content.decode()
    desk.post(reverse("desk:remove_wait", args=[first.waits.get().pk]))
    assert not first.waits.exists()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("lots", "Give a number in digits"),
        ("100", "Give 99 at most."),
        ("-5", "Give 0 or more."),
    ],
)
def test_a_wrong_discount_is_told_at_its_field(desk, shop, bike, typed, sentence):
    frame(bike, shop)
    draft(bike)
    answer = desk.post(
        reverse("desk:change_draft", args=[bike.uid]), {"discount": typed, "seen-discount": "0"}, **HTMX
    ).content.decode()
    assert sentence in answer


def test_a_discount_lowers_the_total_at_once(desk, shop, bike):
    frame(bike, shop)
    draft(bike)
    answer = desk.post(
        reverse("desk:change_draft", args=[bike.uid]), {"discount": "10", "seen-discount": "0.00"}, **HTMX
    ).content.decode()
    assert "Discount" in answer
    assert Draft.objects.get(restoration=bike).discount == Decimal(10)


def test_a_quote_is_issued_from_the_page_as_it_was_seen(desk, shop, bike):
    part = frame(bike, shop)
    page = desk.get(reverse("desk:issue", args=[bike.uid]))
    form = page.context["form"].initial
    edit_part(part=part, changes={"pieces": 2}, **WHO)
    refused = desk.post(reverse("desk:issue", args=[bike.uid]), form)
    assert "Look at the price again" in refused.content.decode()


@pytest.mark.parametrize("name", ["restoration", "issue", "costs"])
def test_a_mechanic_sees_no_money(client, shop, bike, name):
    client.force_login(person(ROLE_MECHANIC))
    assert client.get(reverse(f"desk:{name}", args=[bike.uid])).status_code == 403


def test_a_stranger_is_sent_to_the_door(client, shop, bike):
    assert "/sign-in/" in client.get(reverse("desk:restoration", args=[bike.uid])).headers["Location"]


def test_the_manager_may_edit_too(client, shop, bike):
    client.force_login(person(ROLE_MANAGER))
    assert client.get(reverse("desk:restoration", args=[bike.uid])).status_code == 200


@pytest.mark.parametrize("name", ["restoration", "issue", "part", "answer"])
def test_a_page_asks_the_same_number_of_questions_for_5_parts_and_for_500(desk, shop, bike, name):
    def ask() -> int:
        part = bike.parts.first()
        with CaptureQueriesContext(connection) as caught:
            if name == "part":
                desk.get(reverse("desk:part", args=[part.uid]))
            elif name == "answer":
                desk.post(reverse("desk:part", args=[part.uid]), sent(part, deviation="lined by hand"), **HTMX)
                part.deviation = ""
                part.save()
            else:
                desk.get(reverse(f"desk:{name}", args=[bike.uid]))
        return len(caught)

    rows(bike, shop, 5)
    draft(bike)
    few = ask()
    rows(bike, shop, 495)
    assert ask() == few


def rows(bike, shop, count: int) -> None:
    """Parts with two steps each, quickly."""
    start = bike.parts.count()
    parts = Part.objects.bulk_create(
        Part(
            restoration=bike,
            position=(start + n + 1) * 10,
            name=f"Part {start + n}",
            area=Decimal(5),
            agreed_finish=shop.black,
        )
        for n in range(count)
    )
    Step.objects.bulk_create(
        Step(part=part, position=position, origin="finish", operation=operation)
        for part in parts
        for position, operation in ((50_000, shop.blast), (50_010, shop.spray))
    )


def test_a_step_taken_off_waits_below_the_route_until_it_is_brought_back(desk, shop, bike):
    part = frame(bike, shop)
    step = part.steps.get(operation=shop.spray)
    gone = desk.post(reverse("desk:take_off", args=[step.uid]), **HTMX).content.decode()
    assert "Bring back Spray" in gone
    back = desk.post(reverse("desk:bring_back_step", args=[step.uid]), **HTMX).content.decode()
    assert "Bring back Spray" not in back
    assert f'id="step-{step.uid}"' in back


def test_steps_another_finish_replaced_are_not_offered_back(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(
        reverse("desk:part", args=[part.uid]), sent(part, agreed_finish=str(shop.zinc.pk)), **HTMX
    ).content.decode()
    assert "Bring back" not in answer


def test_looking_writes_nothing(desk, shop, bike):
    part = frame(bike, shop)
    entries = Entry.objects.count()
    for name in ("restoration", "issue", "costs"):
        desk.get(reverse(f"desk:{name}", args=[bike.uid]))
    desk.get(reverse("desk:part", args=[part.uid]))
    assert Entry.objects.count() == entries
    assert not Draft.objects.exists()


def test_a_comma_is_as_good_as_a_point_and_no_zeros_trail(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, area="12,5"), **HTMX).content.decode()
    part.refresh_from_db()
    assert part.area == Decimal("12.5")
    assert 'value="12.5"' in answer


def test_a_part_without_a_size_cannot_be_issued_at_nothing(desk, shop, bike):
    frame(bike, shop, area=None, weight=None)
    assert "this part has none" in desk.get(reverse("desk:issue", args=[bike.uid])).content.decode()


def test_a_slip_of_the_hand_is_refused_at_its_field_and_the_page_still_opens(desk, shop, bike):
    part = frame(bike, shop)
    answer = desk.post(
        reverse("desk:part", args=[part.uid]), sent(part, pieces="9000000000000000000"), **HTMX
    ).content.decode()
    assert "field-wrong" in answer
    assert Part.objects.get(pk=part.pk).pieces == 1
    assert desk.get(reverse("desk:restoration", args=[bike.uid])).status_code == 200


def test_an_absurd_price_is_a_sentence(desk, shop, bike):
    part = frame(bike, shop)
    Step.objects.create(
        part=part, position=70_000, origin="after", buy="Seal", buy_source="used", buy_price_minor=10**12
    )
    html = desk.get(reverse("desk:restoration", args=[bike.uid])).content.decode()
    assert "too large to be true" in html
    refused = desk.post(reverse("desk:issue", args=[bike.uid]), {"seen_scope": "1", "seen_draft": "1"})
    assert refused.status_code == 422


def test_work_by_the_hour_asks_for_its_hours(desk, shop, bike):
    part = frame(bike, shop)
    hourly = Operation.objects.create(name="Look for faults", measure="hour", grade=shop.grade)
    data = {"origin": "after", "operation": hourly.pk}
    assert "Say how many hours." in desk.post(reverse("desk:add_step", args=[part.uid]), data).content.decode()
    desk.post(reverse("desk:add_step", args=[part.uid]), data | {"quantity": "1,5"})
    assert part.steps.get(operation=hourly).quantity == Decimal("1.5")


def test_both_chances_together_are_told_where_somebody_typed(desk, shop, bike):
    step = frame(bike, shop).steps.get(operation=shop.spray)
    answer = desk.post(
        reverse("desk:step", args=[step.uid]),
        {"fail_chance": "10", "seen-fail_chance": "10", "scrap_chance": "95", "seen-scrap_chance": "0"},
        **HTMX,
    ).content.decode()
    box = answer[answer.index(f'id="box-{step.uid}-scrap_chance"') :].split('name="seen-scrap_chance"')[0]
    assert "never be done" in box


def test_an_issue_form_that_lost_what_was_seen_says_so(desk, shop, bike):
    frame(bike, shop)
    assert "out of date" in desk.post(reverse("desk:issue", args=[bike.uid]), {}).content.decode()


def test_one_look_is_issued_once(desk, shop, bike):
    frame(bike, shop)
    seen = desk.get(reverse("desk:issue", args=[bike.uid])).context["form"].initial
    first = desk.post(reverse("desk:issue", args=[bike.uid]), seen)
    second = desk.post(reverse("desk:issue", args=[bike.uid]), seen)
    assert (first.status_code, second.status_code) == (302, 422)
    assert bike.quotes.count() == 1


def test_a_step_moves_earlier_or_later_and_nowhere_else(desk, shop, bike):
    step = frame(bike, shop).steps.get(operation=shop.blast)
    assert desk.post(f"/steps/{step.uid}/sideways/").status_code == 404


def test_customer_and_machine_can_be_put_right(desk, shop, bike):
    page = reverse("desk:facts", args=[bike.uid])
    data = {"name": "Jo Fenwick-Hale", "maker": "Heron", "model": "250", "year": "1958", "begun_on": "2026-03-02"}
    assert desk.post(page, data | {"year": "old"}).status_code == 422
    desk.post(page, data)
    bike.refresh_from_db()
    assert (bike.customer.name, bike.machine.year) == ("Jo Fenwick-Hale", 1958)
    assert Entry.objects.filter(subject_uid=bike.customer.uid).exists()


def test_what_cannot_be_done_is_a_sentence_and_never_a_failure(desk, shop, bike):
    part = frame(bike, shop)
    step = part.steps.get(operation=shop.spray)
    desk.post(reverse("desk:take_out", args=[part.uid]))
    for name, of in (("take_off", step), ("bring_back_step", step), ("move_step", step), ("add_step", part)):
        way = ["earlier"] if name == "move_step" else []
        data = {"origin": "after", "operation": shop.fit.pk}
        answer = desk.post(reverse(f"desk:{name}", args=[of.uid, *way]), data, follow=True)
        assert answer.status_code in {200, 422}, name
        assert "out of scope" in answer.content.decode(), name


def test_bringing_back_a_part_that_would_close_a_circle_is_refused(desk, shop, bike):
    one, two = frame(bike, shop), frame(bike, shop, name="Fork")
    wait_for(step=one.steps.get(operation=shop.blast), on=two.steps.get(operation=shop.spray), **WHO)
    desk.post(reverse("desk:take_out", args=[one.uid]))
    wait = Wait(step=two.steps.get(operation=shop.blast), on=one.steps.get(operation=shop.spray))
    wait.save()
    answer = desk.post(reverse("desk:bring_back", args=[one.uid]), follow=True)
    assert "wait for each other in a circle" in answer.content.decode()
    one.refresh_from_db()
    assert one.removed_at is not None


@pytest.mark.parametrize("pieces", ["0", "-1"])
def test_a_part_has_at_least_one_piece(desk, bike, shop, pieces):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), {"pieces": pieces, "seen-pieces": "1"}, **HTMX)
    assert b"Give" in answer.content
    assert b"or more" in answer.content
    part.refresh_from_db()
    assert part.pieces == 1
    desk.post(reverse("desk:add_part", args=[bike.uid]), {"name": "Nothing", "pieces": pieces})
    assert not bike.parts.filter(name="Nothing").exists()


@pytest.mark.parametrize(("page", "whole"), [("restorations", True), ("steps", False), ("damages", False)])
def test_a_page_of_one_step_or_damage_gets_nothing_it_has_no_place_for(desk, bike, shop, page, whole):
    """What is swapped in out of band needs its place on the page, or the browser says an error."""
    step = frame(bike, shop).steps.first()
    answer = desk.post(
        reverse("desk:step", args=[step.uid]),
        {"fail_chance": "5", "seen-fail_chance": "0"},
        **HTMX,
        headers={"HX-Current-URL": f"http://testserver/{page}/{step.uid}/"},
    ).content.decode()
    assert f'id="box-{step.uid}-fail_chance"' in answer
    assert ('id="total"' in answer) is whole
    assert ('id="prices"' in answer) is whole
