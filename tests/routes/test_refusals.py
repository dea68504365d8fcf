"""What a route refuses, in words a person can act on."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry
from shop.restorations.services import change_part, remove_part
from shop.routes.models import Step
from shop.routes.parts import choose_finish, edit_part
from shop.routes.services import add_step, bring_back_step, change_step, move_step, remove_step, wait_for
from tests.workshop import WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db


def state(bike):
    bike.refresh_from_db()
    return bike.scope_version, Entry.objects.count()


def given():
    shop = workshop()
    bike = restoration()
    part, other = frame(bike, shop), frame(bike, shop, name="Fork")
    bought = add_step(part=part, origin=Step.Origin.BEFORE, buy="Bearing", buy_source="used", **WHO)
    return shop, bike, part, other, bought


@pytest.mark.parametrize(
    "write",
    [
        lambda shop, part, step, other: change_part(part=part, changes={"pieces": 2}, **WHO),
        lambda shop, part, step, other: edit_part(part=part, changes={"pieces": 2}, **WHO),
        lambda shop, part, step, other: choose_finish(part=part, finish=shop.green, **WHO),
        lambda shop, part, step, other: add_step(part=part, origin="before", operation=shop.fit, **WHO),
        lambda shop, part, step, other: change_step(step=step, changes={"fail_chance": Decimal(1)}, **WHO),
        lambda shop, part, step, other: move_step(step=step, earlier=False, **WHO),
        lambda shop, part, step, other: remove_step(step=step, **WHO),
        lambda shop, part, step, other: bring_back_step(step=step, **WHO),
        lambda shop, part, step, other: wait_for(step=step, on=other, **WHO),
        lambda shop, part, step, other: wait_for(step=other, on=step, **WHO),
    ],
)
def test_nothing_changes_about_a_part_that_is_out_of_scope(write):
    shop, bike, part, other, bought = given()
    add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    remove_part(part=part, **WHO)
    before = state(bike)
    with pytest.raises(ValidationError, match=r"This part is out of scope\. Bring it back first\."):
        write(shop, part, bought, other.steps.first())
    assert state(bike) == before


@pytest.mark.parametrize(
    "write",
    [
        lambda step, other: change_step(step=step, changes={"fail_chance": Decimal(1)}, **WHO),
        lambda step, other: move_step(step=step, earlier=False, **WHO),
        lambda step, other: wait_for(step=step, on=other, **WHO),
        lambda step, other: wait_for(step=other, on=step, **WHO),
    ],
)
def test_nothing_changes_about_a_step_that_is_off_the_route(write):
    shop, bike, part, other, bought = given()
    add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    remove_step(step=bought, **WHO)
    before = state(bike)
    with pytest.raises(ValidationError, match=r"This step is off the route\. Bring it back first\."):
        write(bought, other.steps.first())
    assert state(bike) == before


def test_setting_every_field_to_what_it_is_changes_nothing():
    shop, bike, part, _other, bought = given()
    before = state(bike)
    fields = {"pieces": 1, "area": Decimal("60.0"), "agreed_finish": shop.black, "old_finish": None, "name": "Frame"}
    edit_part(part=part, changes=fields, **WHO)
    change_part(part=part, changes={"pieces": 1, "size_class": None}, **WHO)
    change_step(step=bought, changes={"buy": "Bearing", "fail_chance": 0, "back_to": None}, **WHO)
    assert state(bike) == before
    assert not Step.objects.filter(removed_at__isnull=False).exists()


def test_plain_fields_and_finish_together_are_one_change_of_scope_told_together():
    shop, bike, part, _other, _bought = given()
    version, entries = state(bike)
    edit_part(part=part, changes={"pieces": 2, "agreed_finish": shop.green, "name": "Frame"}, **WHO)
    assert state(bike) == (version + 1, entries + 2)
    told, laid = Entry.objects.order_by("pk")[entries:]
    black, green = (f'{{"name":"{finish}","uid":"{finish.uid}"}}' for finish in (shop.black, shop.green))
    assert (told.before, told.after) == (
        f'{{"agreed finish":{black},"pieces":1}}',
        f'{{"agreed finish":{green},"pieces":2}}',
    )
    assert (laid.what, laid.reference) == ("route laid anew", f"{told.reference} also")


def test_a_change_of_one_field_looks_only_at_what_it_can_have_made_wrong():
    """Counted: hold, read, see that no pieces were split off, write, raise the version, read it, and the journal's two rows."""
    _shop, _bike, part, _other, _bought = given()
    with CaptureQueriesContext(connection) as queries:
        edit_part(part=part, changes={"pieces": 2}, **WHO)
    asked = [query["sql"] for query in queries if "SAVEPOINT" not in query["sql"]]
    assert len(asked) == 8, asked


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"quantity": Decimal("1000000.001")}, "quantity", "Give 1000000 or less."),
        ({"fail_chance": Decimal(-1)}, "fail_chance", "Give 0 or more."),
        ({"replacement_minor": 10**12 + 1}, "replacement_minor", "Give 1000000000000 or less."),
        ({"buy_price_minor": 10**12 + 1}, "buy_price_minor", "Give 1000000000000 or less."),
        ({"buy_price_minor": -1}, "buy_price_minor", "Give 0 or more."),
        ({"buy_handling": Decimal("-0.1")}, "buy_handling", "Give 0 or more."),
        ({"buy": ""}, "__all__", "Choose one: a labour operation, a vendor's service, or a part to buy."),
        (
            {"fail_chance": Decimal(60), "scrap_chance": Decimal(40)},
            "__all__",
            "With this the step would never be done. Keep both chances below 100 % together.",
        ),
        (
            {"buy_source": "customers_own"},
            "__all__",
            "What the customer brings has no price here. Give 0, or another source.",
        ),
    ],
)
def test_a_step_refuses_what_cannot_be_and_says_what_to_do(changes, field, said):
    _shop, bike, _part, _other, bought = given()
    change_step(step=bought, changes={"buy_price_minor": 100}, **WHO)
    before = state(bike)
    with pytest.raises(ValidationError) as refusal:
        change_step(step=bought, changes=changes, **WHO)
    assert said in refusal.value.message_dict[field]
    assert state(bike) == before


def test_one_of_two_chances_is_measured_against_the_other_that_stays():
    _shop, _bike, part, _other, _bought = given()
    step = part.steps.order_by("position").last()
    with pytest.raises(ValidationError, match="would never be done"):
        change_step(step=step, changes={"scrap_chance": Decimal(90)}, **WHO)


def test_the_highest_that_may_be_is_kept_as_given():
    _shop, _bike, _part, _other, bought = given()
    most = {"buy_price_minor": 10**12, "replacement_minor": 10**12, "buy_handling": Decimal("99999.9")}
    change_step(step=bought, changes=most, **WHO)
    bought.refresh_from_db()
    assert {name: getattr(bought, name) for name in most} == most


def test_a_step_never_goes_back_to_one_that_is_off_the_route():
    shop, _bike, part, _other, bought = given()
    fit = add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    remove_step(step=bought, **WHO)
    with pytest.raises(ValidationError, match="Choose one above"):
        change_step(step=fit, changes={"back_to": bought}, **WHO)


def test_the_same_wait_twice_is_refused_in_plain_words():
    _shop, _bike, part, other, _bought = given()
    step, on = part.steps.first(), other.steps.first()
    wait_for(step=step, on=on, **WHO)
    with pytest.raises(ValidationError, match="It waits for that step already"):
        wait_for(step=step, on=on, **WHO)
