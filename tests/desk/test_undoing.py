"""What was there before a change is there after its undo, whatever the change was: rows against rows, nothing assumed of
how an undo works. The oracle is plain: the state is read before and after, and compared.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from quotes.desk import undoing
from quotes.pricing.models import Draft
from quotes.pricing.selectors import priced
from quotes.pricing.services import change_draft, price_anew
from shop.journal.models import Entry
from shop.journal.selectors import of_one_change
from shop.journal.services import ALSO, subject_of
from shop.methods.models import EvidenceSource, Finish
from shop.papers import photographs
from shop.papers.models import Photograph
from shop.restorations import damage as damages
from shop.restorations import evidence as evidences
from shop.restorations.models import FinishEvidence, Part, PartDamage, Restoration
from shop.restorations.services import change_restoration, remove_part, start_on
from shop.routes.models import Step, Wait
from shop.routes.parts import add_routed_part, bring_back_routed_part, edit_part
from shop.routes.services import (
    add_step,
    bring_back_step,
    change_step,
    move_step,
    remove_step,
    stop_waiting,
    wait_for,
)
from tests.workshop import NOW, TODAY, WHO, Workshop, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
BEN: dict[str, Any] = {"who": "ben", "now": NOW + timedelta(minutes=1)}


@dataclass
class Bike:
    shop: Workshop
    row: Restoration
    frame: Part
    fork: Part
    straighten: Step
    check: Step
    blast: Step
    spray: Step
    fitted: Step
    draft: Draft


@pytest.fixture
def bike() -> Bike:
    """A frame in black with two steps before it; a fork in green whose last step waits for the frame's spraying."""
    shop, row = workshop(), restoration()
    one, other = frame(row, shop), frame(row, shop, name="Fork", finish=shop.green)
    straighten, check = (
        add_step(part=one, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO) for _count in range(2)
    )
    change_step(step=check, changes={"fail_chance": Decimal(5), "back_to": straighten}, **WHO)
    blast, spray = one.steps.filter(origin=Step.Origin.FINISH)
    change_step(step=spray, changes={"quantity": Decimal("3.5")}, **WHO)
    fitted = add_step(part=other, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    wait_for(step=fitted, on=spray, **WHO)
    return Bike(shop, row, one, other, straighten, check, blast, spray, fitted, draft(row))


def rows(model: Any, **asked: Any) -> list[dict[str, Any]]:
    return sorted(model.objects.filter(**asked).values(), key=lambda row: str(row["id"]))


def state(of: Restoration) -> dict[str, Any]:
    """Everything a person can see of a bike and change, with the numbers that count changes left out."""
    of.refresh_from_db()
    live = {"removed_at__isnull": True}
    steps = rows(Step, part__restoration=of, part__removed_at__isnull=True, **live)
    shown = [row["id"] for row in steps]
    restoration_row, draft_row = Restoration.objects.filter(pk=of.pk).values()[0], Draft.objects.values()[0]
    return {
        "parts": rows(Part, restoration=of, **live),
        "steps": steps,
        "photographs": sorted(Photograph.objects.values_list("pk", "caption")),
        "waits": sorted(Wait.objects.filter(step__in=shown, on__in=shown).values_list("step", "on")),
        "draft": {name: value for name, value in draft_row.items() if name != "version"},
        "restoration": {name: value for name, value in restoration_row.items() if name != "scope_version"},
        "customer": type(of.customer).objects.values()[0],
        "machine": type(of.machine).objects.values()[0],
        "evidence": rows(FinishEvidence, **live),
        "damages": rows(PartDamage, **live),
    }


def last_change() -> Entry:
    return Entry.objects.exclude(reference__endswith=ALSO).latest("pk")


def undo(bike: Bike, entry: Entry, *, over: str = "") -> Entry:
    undoing.undo(restoration=bike.row, entry=entry, over=over, **BEN)
    return last_change()


def facts(bike: Bike, **changes: Any) -> None:
    own = {"title": bike.row.title, "begun_on": bike.row.begun_on, "customer": {}, "machine": {}} | changes
    change_restoration(restoration=bike.row, **own, **WHO)


def evidence(bike: Bike) -> FinishEvidence:
    red = Finish.objects.create(name="Red")
    source = EvidenceSource.objects.create(name="Parts book")
    evidences.list_candidate(part=bike.frame, finish=red, **WHO)
    return evidences.add_evidence(
        part=bike.frame, kind=FinishEvidence.Kind.TRACE, source=source, says=red, note="chip", **WHO
    )


def damage(bike: Bike) -> PartDamage:
    said = {"low_minor": 100, "likely_minor": 200, "high_minor": 300, "cost_class": "labour", "treatment": "ours"}
    return damages.add_by_hand(part=bike.frame, name="Crack", frequency="rare", **said, **WHO)


def picture(_bike: Bike) -> Photograph:
    said = {"sha256": "0" * 64, "thumbnail_sha256": "1" * 64, "kind": "jpeg", "width": 4, "height": 3, "bytes": 9}
    return Photograph.ever.create(caption="Tank", added_at=NOW, added_by="ada", **said)


WHY: dict[str, Any] = {"why": "another bike", **WHO}

#: What a change does, and which row it needs first: (name, what makes ready, what changes).
CHANGES: dict[str, tuple[Callable[[Bike], Any], Callable[[Bike, Any], Any]]] = {
    "pieces of a part": (lambda _b: None, lambda b, _r: edit_part(part=b.frame, changes={"pieces": 4}, **WHO)),
    "name and size emptied": (
        lambda _b: None,
        lambda b, _r: edit_part(part=b.frame, changes={"name": "Main frame", "area": None}, **WHO),
    ),
    "another finish": (
        lambda _b: None,
        lambda b, _r: edit_part(part=b.frame, changes={"agreed_finish": b.shop.green, "pieces": 2}, **WHO),
    ),
    "another finish under a way back": (
        lambda b: change_step(
            step=add_step(part=b.frame, origin=Step.Origin.AFTER, operation=b.shop.fit, **WHO),
            changes={"fail_chance": Decimal(4), "back_to": b.spray},
            **WHO,
        ),
        lambda b, _r: edit_part(part=b.frame, changes={"agreed_finish": b.shop.green}, **WHO),
    ),
    "no finish": (lambda _b: None, lambda b, _r: edit_part(part=b.frame, changes={"agreed_finish": None}, **WHO)),
    "a finish to take off": (
        lambda _b: None,
        lambda b, _r: edit_part(part=b.frame, changes={"old_finish": b.shop.black}, **WHO),
    ),
    "part added": (lambda _b: None, lambda b, _r: frame(b.row, b.shop, name="Stand")),
    "part out": (lambda _b: None, lambda b, _r: remove_part(part=b.frame, **WHO)),
    "part back": (
        lambda b: remove_part(part=b.frame, **WHO),
        lambda b, _r: bring_back_routed_part(part=b.frame, **WHO),
    ),
    "step added": (
        lambda _b: None,
        lambda b, _r: add_step(part=b.fork, origin=Step.Origin.BEFORE, buy="Bush", buy_source="used", **WHO),
    ),
    "step off": (lambda _b: None, lambda b, _r: remove_step(step=b.spray, **WHO)),
    "step back": (lambda b: remove_step(step=b.blast, **WHO), lambda b, _r: bring_back_step(step=b.blast, **WHO)),
    "step changed": (
        lambda _b: None,
        lambda b, _r: change_step(step=b.check, changes={"back_to": None, "fail_chance": Decimal("7.25")}, **WHO),
    ),
    "step moved": (
        lambda b: change_step(step=b.check, changes={"back_to": None}, **WHO),
        lambda b, _r: move_step(step=b.check, earlier=True, **WHO),
    ),
    "wait added": (lambda _b: None, lambda b, _r: wait_for(step=b.fitted, on=b.blast, **WHO)),
    "wait taken away": (lambda _b: None, lambda _b, _r: stop_waiting(wait=Wait.objects.get(), **WHO)),
    "terms": (
        lambda _b: None,
        lambda b, _r: change_draft(
            draft=b.draft, changes={"stage": "ballpark", "discount": Decimal("2.5"), "note": "Ring\nfirst"}, **WHO
        ),
    ),
    "rates of another day": (
        lambda _b: None,
        lambda b, _r: price_anew(draft=b.draft, today=TODAY + timedelta(days=3), **WHO),
    ),
    "customer": (lambda _b: None, lambda b, _r: facts(b, customer={"name": "Jo Fen", "phone": "12"})),
    "machine": (lambda _b: None, lambda b, _r: facts(b, machine={"year": None, "frame_number": "H12"})),
    "title": (lambda _b: None, lambda b, _r: facts(b, title="The Heron", begun_on=date(2026, 2, 2))),
    "start": (lambda _b: None, lambda b, _r: start_on(restoration=b.row, starts_on=date(2026, 5, 4), **WHO)),
    "evidence added": (lambda _b: None, lambda b, _r: evidence(b)),
    "evidence changed": (
        evidence,
        lambda _b, row: evidences.change_evidence(evidence=row, changes={"note": "", "says": None}, **WHO),
    ),
    "evidence away": (evidence, lambda _b, row: evidences.remove_evidence(evidence=row, **WHO)),
    "evidence back": (
        lambda b: evidences.remove_evidence(evidence=evidence(b), **WHO),
        lambda _b, row: evidences.bring_back_evidence(evidence=row, **WHO),
    ),
    "photograph away": (picture, lambda b, row: photographs.take_away(photograph=row, of=subject_of(b.row), **WHY)),
    "photograph back": (
        lambda b: photographs.take_away(photograph=picture(b), of=subject_of(b.row), **WHY),
        lambda b, row: photographs.bring_back(photograph=row, of=subject_of(b.row), **WHO),
    ),
    "damage added": (lambda _b: None, lambda b, _r: damage(b)),
    "damage changed": (
        damage,
        lambda _b, row: damages.change_damage(damage=row, changes={"treatment": "excluded", "high_minor": 900}, **WHO),
    ),
    "damage away": (damage, lambda _b, row: damages.remove_damage(damage=row, **WHO)),
    "damage back": (
        lambda b: damages.remove_damage(damage=damage(b), **WHO),
        lambda _b, row: damages.bring_back_damage(damage=row, **WHO),
    ),
}


@pytest.mark.parametrize("kind", CHANGES)
def test_undone_everything_is_as_it_was_and_undone_again_as_it_was_made(bike: Bike, kind: str) -> None:
    ready, change = CHANGES[kind]
    row = ready(bike)
    before = state(bike.row)
    change(bike, row)
    made, entry = state(bike.row), last_change()
    assert made != before
    undone = undo(bike, entry)
    assert state(bike.row) == before
    assert undone.reference == f"undo {entry.uid}"
    assert undone.who == "ben"
    undo(bike, undone)
    assert state(bike.row) == made


def test_every_kind_that_can_be_undone_is_tried(bike: Bike) -> None:
    undone: set[str] = set()
    for ready, change in CHANGES.values():
        with transaction.atomic():
            change(bike, ready(bike))
            entry = last_change()
            undo(bike, undo(bike, entry))
            done = Entry.objects.filter(pk__gte=entry.pk)
            undone |= {one.what for one in done if undoing.undone_by(one) or one.reference.endswith(ALSO)}
            transaction.set_rollback(True)
    assert undone == undoing.WAYS.keys()


def test_the_price_is_what_it_was(bike: Bike) -> None:
    before = priced(bike.draft).explained.result
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.zinc}, **WHO)
    assert priced(bike.draft).explained.result != before
    undo(bike, last_change())
    assert priced(bike.draft).explained.result == before


def test_what_a_colleague_changed_since_is_said_and_nothing_is_undone(bike: Bike) -> None:
    edit_part(part=bike.frame, changes={"pieces": 4, "name": "Main frame"}, **WHO)
    entry = last_change()
    edit_part(part=bike.frame, changes={"pieces": 6}, **BEN)
    theirs = state(bike.row)
    with pytest.raises(undoing.ChangedSinceError) as raised:
        undo(bike, entry)
    assert [(one.key, one.left, one.now) for one in raised.value.differences] == [("pieces", 4, 6)]
    assert state(bike.row) == theirs
    edit_part(part=bike.frame, changes={"pieces": 7}, **BEN)
    with pytest.raises(undoing.ChangedSinceError):  # what was agreed to was another state
        undo(bike, entry, over=raised.value.over)
    with pytest.raises(undoing.ChangedSinceError) as again:
        undo(bike, entry)
    undo(bike, entry, over=again.value.over)
    bike.frame.refresh_from_db()
    assert (bike.frame.pieces, bike.frame.name) == (1, "Frame")


def test_a_route_laid_again_since_is_asked_about_and_ends_as_it_first_was(bike: Bike) -> None:
    before = state(bike.row)
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.green}, **WHO)
    entry = last_change()
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.zinc}, **BEN)
    with pytest.raises(undoing.ChangedSinceError) as raised:
        undo(bike, entry)
    undo(bike, entry, over=raised.value.over)
    assert state(bike.row) == before


def test_a_finish_that_was_renamed_since_is_the_same_finish(bike: Bike) -> None:
    before = state(bike.row)
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.green}, **WHO)
    Finish.objects.filter(pk__in=(bike.shop.green.pk,)).update(name="Renamed")
    undo(bike, last_change())
    assert state(bike.row) == before


def test_a_step_of_another_finish_does_not_slip_back_unasked(bike: Bike) -> None:
    remove_step(step=bike.spray, **WHO)
    entry = last_change()
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.green}, **WHO)
    with pytest.raises(undoing.ChangedSinceError) as raised:
        undo(bike, entry)
    assert [one.key for one in raised.value.differences] == ["finish"]


def test_undone_once_is_undone(bike: Bike) -> None:
    remove_part(part=bike.frame, **WHO)
    entry = last_change()
    undo(bike, entry)
    with pytest.raises(undoing.CannotUndoError):
        undo(bike, entry)


def test_taken_back_by_hand_there_is_nothing_to_undo(bike: Bike) -> None:
    remove_part(part=bike.frame, **WHO)
    entry = last_change()
    bring_back_routed_part(part=bike.frame, **WHO)
    with pytest.raises(ValidationError, match="back already"):
        undo(bike, entry)


def test_what_is_set_back_by_hand_is_no_undo(bike: Bike) -> None:
    edit_part(part=bike.frame, changes={"pieces": 4}, **WHO)
    entry = last_change()
    edit_part(part=bike.frame, changes={"pieces": 1}, **WHO)
    with pytest.raises(undoing.ChangedSinceError) as raised:
        undo(bike, entry)
    with pytest.raises(undoing.CannotUndoError, match="as it was before"):
        undo(bike, entry, over=raised.value.over)


@pytest.mark.parametrize(
    "what", ["quote issued", "quote accepted", "finish agreed", "restoration begun", "damage found", "held"]
)
def test_what_stays_says_why(bike: Bike, what: str) -> None:
    entry = Entry(what=what, subject_type="x", subject_uid=bike.row.uid)
    assert undoing.why_it_stays(entry)
    with pytest.raises(undoing.CannotUndoError):
        undo(bike, entry)


def test_an_undo_that_would_close_a_circle_changes_nothing(bike: Bike) -> None:
    stop_waiting(wait=Wait.objects.get(), **WHO)
    entry = last_change()
    first = bike.frame.steps.order_by("position").first()
    assert first is not None
    wait_for(step=first, on=bike.fitted, **BEN)
    before = state(bike.row)
    with pytest.raises(ValidationError):
        undo(bike, entry)
    assert state(bike.row) == before


def test_a_change_of_many_entries_is_found_whole(bike: Bike) -> None:
    edit_part(part=bike.frame, changes={"agreed_finish": bike.shop.green}, **WHO)
    assert [entry.what for entry in of_one_change(last_change())] == ["part changed", "route laid anew"]


def test_a_part_added_with_a_route_comes_back_with_it(bike: Bike) -> None:
    part = add_routed_part(restoration=bike.row, finish=bike.shop.green, name="Rack", **WHO)
    made, added = state(bike.row), last_change()
    undone = undo(bike, added)
    undo(bike, undone)
    assert state(bike.row) == made
    assert part.steps.count() == 2
