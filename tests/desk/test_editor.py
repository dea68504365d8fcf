import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.pricing.models import Draft
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.people.services import add_person
from shop.restorations.models import Part
from shop.routes.models import Step
from shop.routes.parts import edit_part
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
    found = re.search(rf'id="price-{part.uid}"[^>]*>([^<]*)<', html)
    assert found is not None
    return found.group(1)


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
        ("pieces", "two", "Give the number of pieces in digits, such as 2."),
        ("pieces", "-1", "greater than or equal to 0"),
        ("area", "big", "Give the area in dm² in digits, such as 12.5."),
        ("area", "-3", "greater than or equal to 0"),
        ("weight", "x", "Give the weight in kg in digits, such as 0.35."),
        ("name", "", "required"),
        ("condition", "shiny", "Select a valid choice"),
        ("agreed_finish", "999999", "Select a valid choice"),
        ("strength", "hard", "number"),
        ("tax", "not a code!", "valid"),
    ],
)
def test_a_wrong_entry_is_told_at_its_field_and_what_was_typed_stays(desk, shop, bike, name, typed, sentence):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, **{name: typed}), **HTMX).content.decode()
    box = answer[answer.index(f'id="box-{part.uid}-{name}"') :].split(f'name="seen-{name}"')[0]
    assert sentence in box
    assert typed in {"", "shiny", "999999"} or f'value="{typed}"' in box  # a list keeps only what is on it
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
    assert "Give the number of pieces in digits" in html
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
        ({"fail_chance": "-1", "seen-fail_chance": "10.00"}, "greater than or equal to 0"),
        ({"fail_chance": "often", "seen-fail_chance": "10.00"}, "Enter a number"),
        ({"quantity": "lots", "seen-quantity": ""}, "Enter a number"),
        ({"replacement": "1.234", "seen-replacement": "0.00"}, "no more than 2 decimal"),
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
        ("lots", "Give the discount in percent"),
        ("100", "less than or equal to 99"),
        ("-5", "greater than or equal to 0"),
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
