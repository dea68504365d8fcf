"""Some pieces go their own way: what was agreed, priced and planned stays as it was, and the work is told apart."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from quotes.desk.exporting import part_rows
from quotes.engine import canonical
from quotes.pricing.building import engine_input
from quotes.pricing.money.funded import prices
from quotes.pricing.selectors import draft_of
from quotes.pricing.variations import difference
from shop.restorations.models import Part, Restoration
from shop.restorations.services import bring_back_part, change_part, remove_part
from shop.routes.again import again
from shop.routes.copying import copy_parts
from shop.routes.finishing import finish_step
from shop.routes.funding import Funds, queue
from shop.routes.gate import gate_for_scope
from shop.routes.models import Authorisation, Done, Step, TaskStep
from shop.routes.order import refuse_circles
from shop.routes.parts import choose_finish
from shop.routes.progress import states
from shop.routes.selectors import order_graph, scope
from shop.routes.services import add_step, remove_step, wait_for
from shop.routes.splitting import put_together, split_part
from shop.routes.tasks import form_tasks
from tests.at_the_bench import agreed, bench_frame, steps_of
from tests.workshop import NOW, TODAY, WHO, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike() -> Restoration:
    return restoration()


@pytest.fixture
def bolts(shop: Workshop, bike: Restoration) -> Part:
    """Eight of them, blasted, to be sprayed and fitted."""
    part = bench_frame(bike, shop, name="Bolts", pieces=8)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, quantity=Decimal(5), **WHO)
    steps = agreed(part)
    form_tasks(restoration=bike, now=NOW)
    finish_step(step=steps[0], **WHO)
    part.refresh_from_db()
    return part


def test_the_pieces_become_a_part_with_every_step_as_far_as_it_is(bolts: Part) -> None:
    new = split_part(part=bolts, pieces=3, **WHO)
    bolts.refresh_from_db()
    assert (bolts.pieces, new.pieces, new.name, new.split_from) == (5, 3, "Bolts (3 of 8)", bolts)
    own, copies = steps_of(bolts), steps_of(new)
    assert [step.split_from for step in copies] == own
    assert [str(step) for step in copies] == ["Blast", "Spray", "Fit"]
    assert [step.quantity for step in (own[2], copies[2])] == [Decimal("3.125"), Decimal("1.875")]
    found = states([bolts.restoration], now=NOW)
    assert [found[step.pk].standing for step in own] == [found[step.pk].standing for step in copies]
    granted = dict(Authorisation.objects.values_list("step_uid", "reference"))
    assert [granted[step.uid] for step in copies] == [granted[step.uid] for step in own]
    tasks = dict(TaskStep.objects.values_list("step", "task"))
    assert [tasks[step.pk] for step in copies[1:]] == [tasks[step.pk] for step in own[1:]]
    assert copies[0].pk not in tasks


def test_they_go_their_own_way(bolts: Part) -> None:
    new = split_part(part=bolts, pieces=3, **WHO)
    own, copies = steps_of(bolts), steps_of(new)
    assert finish_step(step=copies[1], **WHO) == [copies[2]]
    again(step=own[1], back_to=own[0], remedies=[], **WHO)
    found = states([bolts.restoration], now=NOW)
    assert [found[step.pk].standing.value for step in own] == ["ready", "waiting", "waiting"]
    assert [found[step.pk].standing.value for step in copies] == ["done", "done", "ready"]
    assert Done.objects.filter(step=copies[0]).count() == 1


def test_waiting_for_a_step_is_waiting_for_all_its_pieces(shop: Workshop, bike: Restoration, bolts: Part) -> None:
    head = agreed(bench_frame(bike, shop, name="Head"))
    spray = steps_of(bolts)[1]
    wait_for(step=head[0], on=spray, **WHO)
    new = split_part(part=bolts, pieces=3, **WHO)
    late = steps_of(new)[1]
    finish_step(step=spray, **WHO)
    assert [one.step for one in states([bike], now=NOW)[head[0].pk].why] == [late]
    assert finish_step(step=late, **WHO) == [steps_of(new)[2], head[0]]


def test_what_its_step_waits_for_holds_the_pieces_too(shop: Workshop, bike: Restoration, bolts: Part) -> None:
    head = agreed(bench_frame(bike, shop, name="Head"))
    new = split_part(part=bolts, pieces=3, **WHO)
    wait_for(step=steps_of(bolts)[1], on=head[0], **WHO)
    found = states([bike], now=NOW)
    assert [one.step for one in found[steps_of(new)[1].pk].why] == [head[0]]


def test_a_step_taken_off_the_route_is_off_for_all_pieces(bolts: Part) -> None:
    new = split_part(part=bolts, pieces=3, **WHO)
    remove_step(step=steps_of(bolts)[1], **WHO)
    found = states([bolts.restoration], now=NOW)
    assert steps_of(new)[1].pk not in found
    assert found[steps_of(new)[2].pk].is_ready


def test_pieces_split_twice_add_up_and_have_names_of_their_own(bolts: Part) -> None:
    first = split_part(part=bolts, pieces=3, **WHO)
    bolts.refresh_from_db()
    second, third = split_part(part=first, pieces=1, **WHO), split_part(part=bolts, pieces=2, **WHO)
    assert [row.name for row in (second, third)] == ["Bolts (1 of 8, split 2)", "Bolts (2 of 8, split 3)"]
    assert {row.split_from for row in (second, third)} == {bolts}
    (part,) = scope(bolts.restoration).parts
    assert part.pieces == 8
    assert [step.quantity for step in scope(bolts.restoration).steps[part.pk]] == [None, None, Decimal(5)]


@pytest.mark.parametrize("pieces", [-1, 0, 8, 9])
def test_at_least_one_goes_and_one_stays(bolts: Part, pieces: int) -> None:
    with pytest.raises(ValidationError) as caught:
        split_part(part=bolts, pieces=pieces, **WHO)
    assert "pieces" in caught.value.error_dict


def test_what_holds_for_all_pieces_is_not_changed_while_they_are_apart(shop: Workshop, bolts: Part) -> None:
    new = split_part(part=bolts, pieces=3, **WHO)
    for part in (bolts, new):
        with pytest.raises(ValidationError) as caught:
            change_part(part=part, changes={"pieces": 4}, **WHO)
        assert "go their own way" in caught.value.message_dict["pieces"][0]
        with pytest.raises(ValidationError):
            choose_finish(part=part, finish=shop.green, **WHO)
    change_part(part=bolts, changes={"name": "Frame bolts"}, **WHO)


def test_what_was_split_off_goes_out_of_scope_with_the_rest_only(bolts: Part) -> None:
    new = split_part(part=bolts, pieces=3, **WHO)
    with pytest.raises(ValidationError):
        remove_part(part=new, **WHO)
    remove_part(part=bolts, **WHO)
    assert states([bolts.restoration], now=NOW) == {}
    bring_back_part(part=bolts, **WHO)
    assert len(states([bolts.restoration], now=NOW)) == 6


def test_they_are_put_together_again_once_they_have_come_equally_far(bolts: Part) -> None:
    before = canonical.dump(scope_of(bolts.restoration))
    new = split_part(part=bolts, pieces=3, **WHO)
    own, copies = steps_of(bolts), steps_of(new)
    finish_step(step=own[1], **WHO)
    with pytest.raises(ValidationError) as caught:
        put_together(part=new, **WHO)
    assert caught.value.code == "apart"
    finish_step(step=copies[1], **WHO)
    put_together(part=new, **WHO)
    bolts.refresh_from_db()
    assert (bolts.pieces, steps_of(bolts)[2].quantity) == (8, Decimal(5))
    assert canonical.dump(scope_of(bolts.restoration)) == before
    assert [state.standing.value for state in states([bolts.restoration], now=NOW).values()] == [
        "done",
        "done",
        "ready",
    ]
    with pytest.raises(ValidationError):
        bring_back_part(part=new, **WHO)
    assert change_part(part=bolts, changes={"pieces": 9}, **WHO).pieces == 9


def test_the_next_bike_begins_anew_with_all_pieces(bolts: Part) -> None:
    """What was split, done again and put into tasks here says nothing about the bike that takes its parts from it."""
    split_part(part=bolts, pieces=3, **WHO)
    steps = steps_of(bolts)
    again(step=steps[0], back_to=steps[0], remedies=[], **WHO)
    (part,) = copy_parts(restoration=restoration("Wren"), earlier=bolts.restoration, **WHO)
    assert (part.pieces, part.split_from) == (8, None)
    assert [(step.visit, step.split_from, step.quantity) for step in steps_of(part)] == [
        (1, None, None),
        (1, None, None),
        (1, None, Decimal(5)),
    ]


def scope_of(bike: Restoration) -> Any:
    found = scope(Restoration.objects.get(pk=bike.pk))
    rows = {part.name: (part.pieces, found.steps[part.pk]) for part in found.parts}
    return {name: [pieces, [(str(s.uid), s.quantity) for s in steps]] for name, (pieces, steps) in rows.items()}


# -- the furnished world ------------------------------------------------------------------------------------------------


def told(bike: Restoration) -> dict[str, object]:
    """All that is read of what was agreed: price input, order, what differs, what leaves, the list for other programs."""
    bike = Restoration.objects.get(pk=bike.pk)
    found, draft = scope(bike), draft_of(bike)
    assert draft is not None
    differs = difference(found)
    return {
        "version": bike.scope_version,
        "input": canonical.dump(engine_input(found, draft)),
        "order": repr(order_graph(bike)),
        "differs": (differs.new, differs.left_out),
        "leaves": [(row.step.uid, row.total) for row in queue(bike, Funds(), prices(bike))],
        "list": list(part_rows(bike)),
        "gate": gate_for_scope(found, _odds()),
    }


def _odds() -> Any:
    from shop.rates.selectors import odds

    return odds(TODAY)


def test_splitting_every_part_of_the_furnished_world_leaves_what_was_agreed_byte_for_byte(
    furnished: object,
) -> None:
    bikes = [bike for bike in Restoration.objects.order_by("pk") if draft_of(bike)]
    before = {bike.pk: told(bike) for bike in bikes}
    split = 0
    for part in Part.objects.filter(pieces__gt=1, removed_at=None, restoration__in=bikes).order_by("pk"):
        split_part(part=part, pieces=part.pieces // 2, **WHO)
        split += 1
    assert split > 20
    for bike in bikes:
        assert told(bike) == before[bike.pk]
        refuse_circles(bike)
