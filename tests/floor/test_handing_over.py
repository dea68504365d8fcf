"""Hand-over: refused while something is missing or money is late, and kept as it was signed."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from shop.floor import handing_over, leaving
from shop.floor.models import HandedOver
from shop.journal.models import Entry
from shop.methods.models import Stage
from shop.restorations.intake import mark
from shop.restorations.models import FinishAgreement, Intake
from shop.routes.models import Done, Source
from shop.routes.services import add_step
from tests.floor.bench import Bench, agree, bench
from tests.floor.leaves import all_runs, hand_over, late, looked_at, run, said
from tests.workshop import NOW, WHO

pytestmark = pytest.mark.django_db


@pytest.fixture
def at() -> Bench:
    looked_at()
    return bench()


@pytest.fixture
def ready(at: Bench) -> Bench:
    all_runs(at.bike, at.joe)
    return at


def test_it_does_not_leave_while_a_run_is_missing_or_a_snag_is_open(at: Bench) -> None:
    run(at.bike, at.joe, Stage.FIRST_START)
    leaving.add_snag(restoration=at.bike, words="Rattles", person=at.joe, now=NOW)
    with pytest.raises(ValidationError) as refused:
        hand_over(at.bike)
    assert refused.value.messages == ["The road test is missing.", "Snag: Rattles. Settle it first."]
    assert not HandedOver.objects.exists()


def test_what_was_signed_is_kept_with_its_hash_and_never_changes(ready: Bench) -> None:
    row = hand_over(ready.bike)
    assert row.words_sha256 == mark(row.words)
    told = json.loads(row.words)
    assert (told["received_by"], told["reading"], told["keys"]) == ("Mr Fell", 18_240, "2")
    assert told["after_care"] == "Retorque after the first ride"
    for change in ({"received_by": "Mrs Fell"}, {"words": "{}"}, {"late_minor": 5}):
        with pytest.raises(DatabaseError), transaction.atomic():
            HandedOver.objects.update(**change)


def test_it_is_handed_over_once(ready: Bench) -> None:
    hand_over(ready.bike)
    with pytest.raises(ValidationError, match="handed over already"):
        hand_over(ready.bike)


def test_what_changed_after_the_sheet_was_read_is_refused(ready: Bench) -> None:
    seen = mark(handing_over.words(ready.bike, said()))
    with pytest.raises(ValidationError, match="changed after you looked"):
        hand_over(ready.bike, of=replace(said(), keys="3"), seen=seen)


def test_money_that_is_late_keeps_it_here_unless_somebody_lets_it_go_by_name_and_reason(ready: Bench) -> None:
    late(ready.bike, 125_000)
    with pytest.raises(ValidationError) as refused:
        hand_over(ready.bike)
    assert sorted(refused.value.message_dict) == ["let_go_by", "let_go_why"]
    assert "1,250.00" in refused.value.message_dict["let_go_by"][0]
    with pytest.raises(ValidationError, match="Say why"):
        hand_over(ready.bike, let_go_by="Ada")
    row = hand_over(ready.bike, let_go_by="Ada", let_go_why="Pays on Friday, known for years")
    assert (row.late_minor, row.let_go_by, row.let_go_why) == (125_000, "Ada", "Pays on Friday, known for years")
    assert "Ada" not in row.words
    entry = Entry.objects.filter(what="handed over").get()
    assert json.loads(entry.after)["who decided"] == "Ada"


def test_where_nothing_is_late_no_name_is_kept(ready: Bench) -> None:
    row = hand_over(ready.bike, let_go_by="Ada", let_go_why="No need")
    assert (row.late_minor, row.let_go_by, row.let_go_why) == (0, "", "")


def test_a_name_lets_no_snag_pass(ready: Bench) -> None:
    leaving.add_snag(restoration=ready.bike, words="Rattles", person=ready.joe, now=NOW)
    with pytest.raises(ValidationError, match="Rattles"):
        hand_over(ready.bike, let_go_by="Ada", let_go_why="It is nothing")


def test_the_day_is_no_day_to_come_and_not_before_it_came_in(ready: Bench) -> None:
    Intake.objects.create(restoration=ready.bike, came_on=NOW.date() - timedelta(days=3), keys="2 keys", papers="Book")
    for days in (1, -4):
        with pytest.raises(ValidationError) as refused:
            hand_over(ready.bike, of=said(on=NOW.date() + timedelta(days=days)))
        assert list(refused.value.message_dict) == ["on"]
    assert handing_over.came_with(ready.bike) == ("2 keys", "Book")


def test_the_sheet_says_what_was_replaced_and_which_deviations_were_signed(ready: Bench) -> None:
    bought = add_step(part=ready.part, origin="after", buy="Bearing", buy_source=Source.REPRODUCTION, **WHO)
    add_step(part=ready.part, origin="after", buy="Lamp", buy_source=Source.USED, **WHO)
    agree(ready.bike)
    Done.objects.create(step=bought, at=NOW, who="joe")
    assert handing_over.replaced_of(ready.bike) == f"{ready.part.name}: Bearing (reproduction)"
    for days, deviation in ((2, "Powder in place of stove enamel"), (1, "Semi-gloss")):
        FinishAgreement.objects.create(
            part=ready.part, finish=ready.part.agreed_finish, deviation=deviation, who="Mr Fell", how="signed",
            said_on=NOW.date(), at=NOW - timedelta(days=days), recorded_by="ada",
        )  # fmt: skip
    (signed,) = handing_over.deviations(ready.bike)
    assert "Semi-gloss" in signed
    assert json.loads(hand_over(ready.bike).words)["deviations"] == [signed]


def test_after_care_is_what_the_shop_said_last(ready: Bench) -> None:
    assert "retorque" in handing_over.last_after_care()
    hand_over(ready.bike, of=said(after_care="Call us\n\n Retorque "))
    assert handing_over.last_after_care() == "Call us\nRetorque"
