from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.journal.models import Entry
from shop.restorations.services import ChangedMeanwhileError, bring_back_part, remove_part
from shop.routes.laying import NoRouteError
from shop.routes.models import Authorisation, Step, Wait
from shop.routes.parts import choose_finish, edit_part
from shop.routes.selectors import engine_parts, scope
from shop.routes.services import (
    add_step,
    authorise,
    bring_back_step,
    change_step,
    move_step,
    remove_step,
    wait_for,
)
from tests.workshop import NOW, WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db


def names(part):
    return [str(step) for step in part.steps.filter(removed_at__isnull=True).order_by("position")]


def test_a_part_gets_the_route_of_its_finish_with_its_way_back():
    shop = workshop()
    part = frame(restoration(), shop)
    assert names(part) == ["Blast", "Spray"]
    spray = part.steps.get(operation=shop.spray)
    assert (spray.fail_chance, str(spray.back_to), spray.remedy_finish) == (Decimal(10), "Blast", shop.black)


def test_a_wrong_coat_is_stripped_before_the_right_one_goes_on():
    shop = workshop()
    part = frame(restoration(), shop, old_finish=shop.green)
    assert names(part) == ["Strip a coat", "Blast", "Spray"]


def test_another_finish_replaces_only_its_own_stretch_and_what_waited_waits_for_the_new_one():
    shop = workshop()
    bike = restoration()
    part, other = frame(bike, shop), frame(bike, shop, name="Fork")
    before = add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    fitted = add_step(part=other, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    wait_for(step=fitted, on=part.steps.get(operation=shop.spray), **WHO)
    choose_finish(part=part, finish=shop.zinc, **WHO)
    assert names(part) == ["Fit", "Zinc plate"]
    assert before.uid in set(part.steps.filter(removed_at__isnull=True).values_list("uid", flat=True))
    assert str(Wait.objects.get(step=fitted).on) == "Zinc plate"


def test_a_finish_nobody_knows_how_to_put_on_this_material_is_refused_and_nothing_changes():
    shop = workshop()
    part = frame(restoration(), shop)
    with pytest.raises(NoRouteError) as refusal:
        edit_part(part=part, changes={"material": "cast_iron"}, **WHO)
    assert "no route to put “Black” on cast iron" in refusal.value.messages[0]
    part.refresh_from_db()
    assert part.material == "steel"
    assert names(part) == ["Blast", "Spray"]


def test_two_people_cannot_overwrite_each_others_field():
    part = frame(restoration(), workshop())
    edit_part(part=part, changes={"pieces": 2}, seen={"pieces": 1}, **WHO)
    with pytest.raises(ChangedMeanwhileError) as conflict:
        edit_part(part=part, changes={"pieces": 5}, seen={"pieces": 1}, **WHO)
    assert (conflict.value.field, conflict.value.now) == ("pieces", 2)
    part.refresh_from_db()
    assert part.pieces == 2


def test_a_circle_of_waits_is_refused_naming_both_parts_and_leaves_no_wait():
    shop = workshop()
    bike = restoration()
    one, two = frame(bike, shop), frame(bike, shop, name="Fork")
    wait_for(step=one.steps.get(operation=shop.blast), on=two.steps.get(operation=shop.spray), **WHO)
    with pytest.raises(ValidationError) as refusal:
        wait_for(step=two.steps.get(operation=shop.blast), on=one.steps.get(operation=shop.spray), **WHO)
    assert "Frame" in refusal.value.messages[0]
    assert "Fork" in refusal.value.messages[0]
    assert Wait.objects.count() == 1


def test_a_step_cannot_send_the_part_to_a_later_one():
    shop = workshop()
    part = frame(restoration(), shop)
    blast, spray = part.steps.order_by("position")
    with pytest.raises(ValidationError):
        change_step(step=blast, changes={"back_to": spray}, **WHO)


def test_a_step_that_would_never_be_done_is_refused_by_the_database_too():
    part = frame(restoration(), workshop())
    step = part.steps.order_by("position").last()
    with pytest.raises(IntegrityError), transaction.atomic():
        Step.objects.filter(pk=step.pk).update(fail_chance=60, scrap_chance=40)


def test_moving_a_step_keeps_every_other_in_place_and_never_turns_a_way_back_forward():
    shop = workshop()
    part = frame(restoration(), shop)
    blast, spray = part.steps.order_by("position")
    with pytest.raises(ValidationError):
        move_step(step=spray, earlier=True, **WHO)
    change_step(step=spray, changes={"back_to": None}, **WHO)
    move_step(step=spray, earlier=True, **WHO)
    assert names(part) == ["Spray", "Blast"]
    with pytest.raises(ValidationError):
        move_step(step=Step.objects.get(pk=spray.pk), earlier=True, **WHO)
    assert blast.pk


def test_undo_brings_the_same_uid_back():
    shop = workshop()
    bike = restoration()
    part = frame(bike, shop)
    uid = part.uid
    remove_part(part=part, **WHO)
    frame(bike, shop, name="Fork")
    bring_back_part(part=part, **WHO)
    assert bike.parts.filter(removed_at__isnull=True, uid=uid).exists()
    step = part.steps.order_by("position").last()
    remove_step(step=step, **WHO)
    assert names(part) == ["Blast"]
    bring_back_step(step=step, **WHO)
    assert names(part) == ["Blast", "Spray"]


def test_every_change_raises_the_scope_version_and_says_who_and_from_what_to_what():
    bike = restoration()
    part = frame(bike, workshop())
    bike.refresh_from_db()
    version = bike.scope_version
    edit_part(part=part, changes={"pieces": 3}, who="ben", now=NOW)
    bike.refresh_from_db()
    entry = Entry.objects.filter(subject_uid=part.uid).order_by("pk").last()
    assert bike.scope_version > version
    assert (entry.who, entry.before, entry.after) == ("ben", '{"pieces":1}', '{"pieces":3}')


def test_only_what_is_not_authorised_yet_becomes_so():
    part = frame(restoration(), workshop())
    uids = list(part.steps.values_list("uid", flat=True))
    assert authorise(step_uids=uids, kind=Authorisation.Kind.QUOTE, reference="Q1", now=NOW) == 2
    assert authorise(step_uids=uids, kind=Authorisation.Kind.QUOTE, reference="Q2", now=NOW) == 0
    assert set(Authorisation.objects.values_list("reference", flat=True)) == {"Q1"}


#: Parts, steps, finishes, operations, waits, condition factors, finish routes: what is not named is not asked for.
QUERIES = 7


def test_the_scope_is_read_in_the_same_number_of_queries_for_one_part_and_for_fifty(django_assert_num_queries):
    shop = workshop()
    bike = restoration()
    frame(bike, shop)
    with django_assert_num_queries(QUERIES):
        engine_parts(scope(bike))
    for number in range(50):
        frame(bike, shop, name=f"Part {number}")
    with django_assert_num_queries(QUERIES):
        parts, _purchases = engine_parts(scope(bike))
    assert len(parts) == 51
