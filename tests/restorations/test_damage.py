"""Possible damage on a part: from the library, by hand, changed, taken away, settled once. Damages here are invented."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.journal.models import Entry
from shop.methods.models import PartKind, PossibleDamage
from shop.restorations.damage import (
    add_by_hand,
    add_usual,
    bring_back_damage,
    change_damage,
    note_settled,
    remove_damage,
)
from shop.restorations.models import Part, PartDamage
from shop.restorations.services import ChangedMeanwhileError, add_part, remove_part
from tests.workshop import WHO, restoration

pytestmark = pytest.mark.django_db
FOUND, NOT_FOUND = PartDamage.Settled.FOUND, PartDamage.Settled.NOT_FOUND
BENT: dict[str, Any] = {
    "name": "Bent rim",
    "frequency": "rare",
    "low_minor": 4_000,
    "likely_minor": 6_000,
    "high_minor": 9_000,
}


@pytest.fixture
def part(db: None) -> Part:
    wheel = PartKind.objects.create(name="Wheel")
    for name, frequency in (("Rusted through under the tyre", "sometimes"), ("Spokes seized", "common")):
        costs = {"low_minor": 2_000, "likely_minor": 5_000, "high_minor": 12_000}
        PossibleDamage.objects.create(kind=wheel, name=name, frequency=frequency, cost_class="bought_in", **costs)
    return add_part(restoration=restoration(), name="Front wheel", kind=wheel, **WHO)


def scope_of(part: Part) -> int:
    part.restoration.refresh_from_db()
    return part.restoration.scope_version


def named(part: Part) -> list[str]:
    return sorted(part.damages.filter(removed_at=None).values_list("name", flat=True))


def test_the_usual_damages_of_its_kind_are_added_in_one_go_as_the_library_has_them(part: Part) -> None:
    before = scope_of(part)
    added = add_usual(part=part, treatment=PartDamage.Treatment.PROVISIONAL, **WHO)
    assert named(part) == ["Rusted through under the tyre", "Spokes seized"]
    row = next(row for row in added if row.name == "Spokes seized")
    assert (row.frequency, row.low_minor, row.likely_minor, row.high_minor) == ("common", 2_000, 5_000, 12_000)
    assert (row.cost_class, row.treatment, row.settled) == ("bought_in", "provisional", "")
    assert scope_of(part) == before + 1
    assert Entry.objects.filter(what="possible damage added").count() == 2


def test_what_stands_there_is_not_added_again_and_what_was_taken_away_comes_back(part: Part) -> None:
    first, second = add_usual(part=part, **WHO)
    note_settled_in(first, FOUND)
    remove_damage(damage=second, **WHO)
    version = scope_of(part)
    assert [row.uid for row in add_usual(part=part, **WHO)] == [second.uid]
    assert add_usual(part=part, **WHO) == []
    assert (part.damages.count(), scope_of(part)) == (2, version + 1)


def test_a_part_of_no_kind_has_no_usual_damages_and_the_sentence_stands_at_the_kind(part: Part) -> None:
    Part.objects.update(kind=None)
    with pytest.raises(ValidationError, match="what kind of part") as refusal:
        add_usual(part=part, **WHO)
    assert list(refusal.value.error_dict) == ["kind"]


def test_a_damage_by_hand_stands_on_the_part_and_in_the_journal(part: Part) -> None:
    before = scope_of(part)
    row = add_by_hand(part=part, **BENT | {"name": "  Bent rim "}, treatment="excluded", **WHO)
    assert (row.name, row.treatment, row.damage) == ("Bent rim", "excluded", None)
    assert scope_of(part) == before + 1
    assert Entry.objects.get(what="possible damage added").subject_uid == row.uid


WRONG = [
    ({"name": "  "}, "name"),
    ({"frequency": "often"}, "frequency"),
    ({"low_minor": -1}, "low_minor"),
    ({"low_minor": 7_000}, "likely_minor"),
    ({"high_minor": 5_000}, "high_minor"),
    ({"high_minor": 10**12 + 1}, "high_minor"),
    ({"cost_class": "paint"}, "cost_class"),
    ({"treatment": "theirs"}, "treatment"),
]


@pytest.mark.parametrize(("wrong", "field"), WRONG)
def test_a_slip_is_said_at_its_field_and_nothing_is_saved(part: Part, wrong: dict[str, Any], field: str) -> None:
    before = scope_of(part)
    with pytest.raises(ValidationError) as refusal:
        add_by_hand(part=part, **BENT | wrong, **WHO)
    assert list(refusal.value.error_dict) == [field]
    assert all(message.endswith(".") for message in refusal.value.messages)
    assert (scope_of(part), PartDamage.objects.count()) == (before, 0)


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"low_minor": 6_001}, "low_minor"), ({"likely_minor": 9_001}, "likely_minor"), ({"high_minor": 1}, "high_minor")],
)
def test_costs_out_of_order_are_said_at_the_one_that_was_typed(part: Part, changes: dict[str, Any], field: str) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    with pytest.raises(ValidationError, match="in order") as refusal:
        change_damage(damage=row, changes=changes, **WHO)
    assert list(refusal.value.error_dict) == [field]
    row.refresh_from_db()
    assert (row.low_minor, row.likely_minor, row.high_minor) == (4_000, 6_000, 9_000)


def test_a_change_is_told_from_what_to_what_and_none_is_not(part: Part) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    version = scope_of(part)
    change_damage(damage=row, changes={"treatment": "excluded", "name": "Bent rim"}, **WHO)
    assert scope_of(part) == version + 1
    entry = Entry.objects.get(what="possible damage changed")
    assert ('"ours"' in entry.before, '"excluded"' in entry.after, "name" in entry.after) == (True, True, False)
    change_damage(damage=row, changes={"treatment": "excluded"}, **WHO)
    assert scope_of(part) == version + 1


def test_two_people_cannot_overwrite_each_other(part: Part) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    change_damage(damage=row, changes={"likely_minor": 7_000}, **WHO)
    with pytest.raises(ChangedMeanwhileError):
        change_damage(damage=row, changes={"likely_minor": 8_000}, seen={"likely_minor": 6_000}, **WHO)
    row.refresh_from_db()
    assert row.likely_minor == 7_000


def test_taken_away_and_brought_back_it_is_the_same_one(part: Part) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    version = scope_of(part)
    remove_damage(damage=row, **WHO)
    assert named(part) == []
    with pytest.raises(ValidationError, match="Bring it back first"):
        change_damage(damage=row, changes={"name": "Dented"}, **WHO)
    assert bring_back_damage(damage=row, **WHO).uid == row.uid
    assert (named(part), scope_of(part)) == (["Bent rim"], version + 2)


def note_settled_in(row: PartDamage, settled: PartDamage.Settled, note: str = "seen") -> PartDamage:
    with transaction.atomic():
        return note_settled(damage=row, settled=settled, note=note, **WHO)


def test_settled_it_keeps_who_when_and_what_was_seen(part: Part) -> None:
    row = note_settled_in(add_by_hand(part=part, **BENT, **WHO), FOUND, " 6 mm out of true ")
    row.refresh_from_db()
    assert (row.settled, row.settled_by, row.settled_at, row.note) == ("found", "ada", WHO["now"], "6 mm out of true")
    assert Entry.objects.get(what="damage found").subject_uid == row.uid


def test_found_needs_a_word_on_what_was_seen_and_not_found_does_not(part: Part) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    with pytest.raises(ValidationError) as refusal:
        note_settled_in(row, FOUND, "  ")
    assert list(refusal.value.error_dict) == ["note"]
    row.refresh_from_db()
    assert row.settled == ""
    assert note_settled_in(row, NOT_FOUND, "").settled == "not_found"


@pytest.mark.parametrize("again", [FOUND, NOT_FOUND])
def test_it_is_settled_once_and_stays_what_it_is(part: Part, again: PartDamage.Settled) -> None:
    row = note_settled_in(add_by_hand(part=part, **BENT, **WHO), NOT_FOUND)
    version = scope_of(part)
    for attempt in (
        lambda: note_settled_in(row, again),
        lambda: change_damage(damage=row, changes={"name": "Dented"}, **WHO),
        lambda: remove_damage(damage=row, **WHO),
    ):
        with pytest.raises(ValidationError, match="settled already"):
            attempt()
    row.refresh_from_db()
    assert (row.settled, row.name, row.removed_at, scope_of(part)) == ("not_found", "Bent rim", None, version)


def test_nothing_changes_on_a_part_out_of_scope(part: Part) -> None:
    row = add_by_hand(part=part, **BENT, **WHO)
    remove_part(part=part, **WHO)
    for attempt in (
        lambda: add_usual(part=part, **WHO),
        lambda: add_by_hand(part=part, **BENT, **WHO),
        lambda: change_damage(damage=row, changes={"name": "Dented"}, **WHO),
        lambda: remove_damage(damage=row, **WHO),
        lambda: note_settled_in(row, FOUND),
    ):
        with pytest.raises(ValidationError, match="out of scope"):
            attempt()
    assert PartDamage.objects.get().settled == ""
