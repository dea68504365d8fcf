"""How a machine came in: kept field by field, photographed, signed for, and never changed behind a signature."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from shop.journal.models import Entry
from shop.papers.models import Photograph
from shop.restorations import intake as services
from shop.restorations.evidence import add_evidence
from shop.restorations.models import Intake, IntakeSignature, Restoration
from shop.restorations.services import ChangedMeanwhileError
from tests.workshop import NOW, TODAY, WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def intake() -> Intake:
    return services.open_intake(restoration=restoration(), came_on=TODAY, **WHO)


def change(intake: Intake, seen: dict[str, Any] | None = None, **changes: Any) -> Intake:
    return services.change_intake(intake=intake, changes=changes, seen=seen, **WHO)


def photograph(sha256: str = "a" * 64) -> Photograph:
    return Photograph.objects.create(
        sha256=sha256, thumbnail_sha256="b" * 64, kind="jpeg", width=4, height=3, bytes=9, caption="Headstock",
        added_at=NOW, added_by="ada",
    )  # fmt: skip


def sign(intake: Intake, **said: Any) -> IntakeSignature:
    given = {"who_signed": "Jo Fenwick", "signed_on": TODAY, "seen": services.mark(services.words(intake))} | said
    return services.sign(intake=intake, **given, **WHO)


def test_it_is_opened_once(intake: Intake) -> None:
    again = services.open_intake(restoration=intake.restoration, came_on=TODAY - timedelta(days=3), **WHO)
    assert (again.pk, again.came_on) == (intake.pk, TODAY)
    assert Entry.objects.filter(what="taken in").count() == 1


def test_what_is_changed_is_kept_with_its_version_and_told_to_the_journal(intake: Intake) -> None:
    changed = change(intake, keys=" two, on a ring ", agreed_value_minor=450000)
    assert (changed.keys, changed.agreed_value_minor, changed.version) == ("two, on a ring", 450000, 2)
    entry = Entry.objects.get(what="intake changed")
    assert entry.subject_uid == intake.restoration.uid
    assert "two, on a ring" in entry.after
    change(intake, keys="two, on a ring")
    assert Entry.objects.filter(what="intake changed").count() == 1
    assert Intake.objects.get().version == 2


def test_a_colleagues_change_is_not_overwritten(intake: Intake) -> None:
    change(Intake.objects.get(), keys="one", frame_number="H1")
    for field, seen in (("keys", ""), ("frame_number", "H1234")):
        with pytest.raises(ChangedMeanwhileError) as caught:
            change(intake, {field: seen}, **{field: "mine"})
        assert (caught.value.field, caught.value.now) == (field, {"keys": "one", "frame_number": "H1"}[field])
    assert Intake.objects.get().keys == "one"


def test_stamped_numbers_are_the_machines_own_and_all_is_kept_or_nothing(intake: Intake) -> None:
    with pytest.raises(ValidationError):
        change(intake, frame_number="H77", agreed_value_minor=-1)
    assert Restoration.objects.get().machine.frame_number == "H1234"
    change(intake, frame_number="H77", keys="one")
    assert Restoration.objects.get().machine.frame_number == "H77"
    assert Entry.objects.filter(what="machine corrected", subject_uid=intake.restoration.machine.uid).count() == 1


def test_a_stamped_number_changes_the_scope_only_where_evidence_may_speak_of_it(intake: Intake) -> None:
    part = frame(intake.restoration, workshop())
    before = Restoration.objects.get().scope_version
    change(intake, frame_number="H77")
    assert Restoration.objects.get().scope_version == before
    add_evidence(part=part, says=None, kind="trace", origin="tube", strength="fair", numbers_from="H1", **WHO)
    before = Restoration.objects.get().scope_version
    change(intake, frame_number="H78")
    assert Restoration.objects.get().scope_version == before + 1


def test_a_day_to_come_and_a_field_of_another_thing_are_refused(intake: Intake) -> None:
    with pytest.raises(ValidationError, match="still to come"):
        change(intake, came_on=TODAY + timedelta(days=1))
    with pytest.raises(ValidationError, match="cannot be changed here"):
        change(intake, version=9)


def test_missing_parts_are_one_of_each_line(intake: Intake) -> None:
    change(intake, missing=" Tool roll \r\n\r\nLeft mirror\n")
    assert services.missing_parts(intake) == ["Tool roll", "Left mirror"]


def test_the_numbers_have_to_be_photographed(intake: Intake) -> None:
    assert services.photographs_missing(intake) == [services.Shows.FRAME_NUMBER, services.Shows.ENGINE_NUMBER]
    row = services.add_photograph(intake=intake, photograph=photograph(), shows="whole", **WHO)
    assert len(services.photographs_missing(intake)) == 2
    services.say_what_it_shows(row=row, shows="frame_number", **WHO)
    assert services.photographs_missing(Intake.objects.get()) == [services.Shows.ENGINE_NUMBER]
    services.add_photograph(intake=intake, photograph=row.photograph, shows="engine_number", **WHO)
    assert intake.photographs.count() == 1, "a photograph is there once"
    with pytest.raises(ValidationError):
        services.say_what_it_shows(row=row, shows="the moon", **WHO)


def test_what_is_signed_is_kept_word_for_word_with_its_hash(intake: Intake) -> None:
    change(intake, condition="Rust through the left silencer", missing="Tool roll")
    row = sign(intake)
    assert '"condition":"Rust through the left silencer"' in row.words
    assert row.words_sha256 == services.mark(row.words)
    assert services.changed_since(intake, row) == []
    assert row.words_sha256 in Entry.objects.get(what="intake signed").after


@pytest.mark.parametrize(
    ("changes", "label"),
    [
        ({"condition": "Tank dented"}, "condition"),
        ({"missing": "Tool roll"}, "missing parts"),
        ({"frame_number": "H9"}, "frame number as stamped"),
        ({"agreed_value_minor": 1}, "agreed value"),
        ({"reading": 12}, "distance on the clock"),
        ({"came_on": TODAY - timedelta(days=1)}, "came in on"),
    ],
)
def test_what_differs_from_what_was_signed_is_named(intake: Intake, changes: dict[str, Any], label: str) -> None:
    row = sign(intake)
    change(intake, **changes)
    assert label in [item.label for item in services.changed_since(intake, row)]
    assert row.words == IntakeSignature.objects.get().words


def test_a_photograph_after_the_signature_was_not_signed_for(intake: Intake) -> None:
    row = sign(intake)
    services.add_photograph(intake=intake, photograph=photograph(), shows="damage", **WHO)
    (changed,) = services.changed_since(intake, row)
    assert (changed.label, changed.signed) == ("photographs", [])


def test_nobody_signs_for_words_that_were_changed_under_their_hand(intake: Intake) -> None:
    seen = services.mark(services.words(intake))
    change(intake, condition="Engine seized")
    with pytest.raises(ValidationError, match="changed after you looked"):
        sign(intake, seen=seen)
    assert not IntakeSignature.objects.exists()


def test_a_signature_needs_a_name_and_a_day_that_has_come(intake: Intake) -> None:
    with pytest.raises(ValidationError) as caught:
        sign(intake, who_signed=" ")
    assert list(caught.value.message_dict) == ["who"]
    with pytest.raises(ValidationError) as caught:
        sign(intake, signed_on=TODAY + timedelta(days=1))
    assert list(caught.value.message_dict) == ["signed_on"]


def test_a_signature_is_never_changed_and_a_later_one_stands_beside_it(intake: Intake) -> None:
    first = sign(intake)
    change(intake, condition="Tank dented")
    second = sign(intake)
    assert services.last_signature(intake) == second
    assert services.changed_since(intake, second) == []
    with pytest.raises(DatabaseError, match="kept as it was"), transaction.atomic():
        IntakeSignature.objects.filter(pk=first.pk).update(who="Somebody else")
