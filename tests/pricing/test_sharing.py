"""Notes and photographs the desk shares, and what is asked and answered: kept once, told in the journal, never of another bike."""

import json
import uuid
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.utils import timezone

from quotes.pricing.customers import messages, sharing
from quotes.pricing.models import Message, Shared
from shop.journal.models import Entry
from shop.restorations.evidence import add_evidence, add_photograph
from shop.restorations.models import FinishEvidence, Intake, IntakePhotograph, Restoration
from tests.desk import rows
from tests.pricing.told import ago, answer, ask, photograph, share

pytestmark = pytest.mark.django_db


@pytest.fixture
def bike() -> Restoration:
    return rows.restoration()


@pytest.fixture
def other() -> Restoration:
    return rows.restoration("Teal 350")


def told(of: Restoration) -> list[tuple[str, str]]:
    return list(Entry.objects.filter(subject_uid=of.uid).values_list("what", "who"))


def evidence_with(of: Restoration, picture: Any) -> FinishEvidence:
    given = {"who": "ada", "now": timezone.now()}
    row = add_evidence(part=of.parts.get(), kind="trace", origin="under the badge", says=None, strength="fair", **given)
    add_photograph(evidence=row, photograph=picture, **given)
    return row


def intake_with(of: Restoration, picture: Any) -> None:
    intake = Intake.objects.create(restoration=of, came_on=rows.today())
    IntakePhotograph.objects.create(intake=intake, photograph=picture)


# -- sharing ---------------------------------------------------------------------------------------------------------


def test_what_is_shared_is_kept_and_told(bike: Restoration) -> None:
    row = share(bike, "  The frame is straight.  ")
    assert (row.note, row.who, row.taken_back_at) == ("The frame is straight.", "ada", None)
    assert list(sharing.shown(bike)) == [row]
    assert told(bike) == [("shared with the customer", "ada")]


def test_a_note_or_a_photograph_is_enough_and_neither_is_not(bike: Restoration) -> None:
    share(bike, "", photograph=photograph())
    with pytest.raises(ValidationError) as caught:
        share(bike, "  \n ")
    assert caught.value.message_dict == {"note": ["Write a note, or choose a photograph."]}
    assert Shared.objects.count() == 1


def test_the_newest_is_first_and_what_was_taken_back_is_not_shown(bike: Restoration) -> None:
    old, new = share(bike, "old", now=ago(3)), share(bike, "new")
    assert list(sharing.shown(bike)) == [new, old]
    sharing.take_back(shared=old, who="eve", now=timezone.now())
    assert list(sharing.shown(bike)) == [new]
    assert list(sharing.of(bike)) == [new, old]


def test_taken_back_twice_is_taken_back_once(bike: Restoration) -> None:
    row = share(bike)
    for days in (2, 1):
        sharing.take_back(shared=row, who="eve", now=ago(days))
    row.refresh_from_db()
    assert row.taken_back_at == ago(2)
    assert told(bike).count(("taken back from the customer", "eve")) == 1


def test_the_same_form_is_shared_once(bike: Restoration) -> None:
    uid = uuid.uuid4()
    first, again = share(bike, uid=uid), share(bike, "something else", uid=uid)
    assert first == again
    assert Shared.objects.count() == 1
    assert len(told(bike)) == 1


def test_a_uid_of_another_bike_gives_nothing_of_it_away(bike: Restoration, other: Restoration) -> None:
    theirs = share(other, "theirs")
    mine = share(bike, "mine", uid=theirs.uid)
    assert mine != theirs
    assert (mine.restoration, mine.note) == (bike, "mine")
    question = ask(other)
    assert ask(bike, "mine", uid=question.uid).restoration == bike


def test_photographs_on_record_are_those_of_this_bike(bike: Restoration, other: Restoration) -> None:
    came, proof, shared, theirs, loose = (photograph(name) for name in ("came", "proof", "shared", "theirs", "loose"))
    intake_with(bike, came)
    row = evidence_with(bike, proof)
    share(bike, photograph=shared)
    evidence_with(other, theirs)
    assert set(sharing.photographs_of(bike)) == {came, proof, shared}
    assert loose not in sharing.photographs_of(bike)
    FinishEvidence.objects.filter(pk=row.pk).update(removed_at=timezone.now())
    assert proof not in sharing.photographs_of(bike)


@pytest.mark.parametrize("of_another", ["intake", "evidence", "shared"])
def test_a_photograph_of_another_bike_is_refused(bike: Restoration, other: Restoration, of_another: str) -> None:
    picture = photograph()
    {"intake": intake_with, "evidence": evidence_with, "shared": lambda of, it: share(of, photograph=it)}[of_another](
        other, picture
    )
    with pytest.raises(ValidationError) as caught:
        share(bike, photograph=picture)
    assert list(caught.value.message_dict) == ["photograph"]
    assert not bike.shared.exists()


def test_a_photograph_of_both_bikes_may_be_shared_with_both(bike: Restoration, other: Restoration) -> None:
    picture = photograph()
    intake_with(bike, picture)
    intake_with(other, picture)
    assert share(bike, photograph=picture).photograph == share(other, photograph=picture).photograph


def test_too_long_a_note_is_refused(bike: Restoration) -> None:
    with pytest.raises(ValidationError) as caught:
        share(bike, "x" * 2001)
    assert list(caught.value.message_dict) == ["note"]


# -- asking and answering --------------------------------------------------------------------------------------------


def test_a_question_waits_until_it_is_answered(bike: Restoration) -> None:
    question = ask(bike)
    assert list(messages.unanswered()) == [question]
    reply = answer(question)
    assert list(messages.unanswered()) == []
    (item,) = messages.conversation(bike)
    assert (item.question, item.answers) == (question, (reply,))
    assert (question.from_customer, reply.from_customer) == (True, False)
    assert told(bike) == [("customer asked", "customer, by link"), ("customer answered", "ada")]
    entry = Entry.objects.get(what="customer answered")
    assert json.loads(entry.after)["text"] == "On Friday."


def test_the_newest_question_comes_first_and_its_answers_in_order(bike: Restoration, other: Restoration) -> None:
    first, second = ask(bike, "first", now=ago(5)), ask(bike, "second", now=ago(4))
    ask(other, "theirs")
    replies = tuple(answer(first, text, now=ago(days)) for text, days in (("one", 3), ("two", 2)))
    found = messages.conversation(bike)
    assert [(item.question, item.answers) for item in found] == [(second, ()), (first, replies)]


def test_the_same_question_sent_twice_is_one(bike: Restoration) -> None:
    uid = uuid.uuid4()
    question = ask(bike, uid=uid)
    assert ask(bike, uid=uid) == question
    reply = answer(question, uid=(given := uuid.uuid4()))
    assert answer(question, uid=given) == reply
    assert Message.objects.count() == Entry.objects.count() == 2


@pytest.mark.parametrize(
    ("text", "name", "field"), [(" ", "Jo", "text"), ("x" * 4001, "Jo", "text"), ("Hello?", " ", "who")]
)
def test_a_question_says_something_and_by_whom(bike: Restoration, text: str, name: str, field: str) -> None:
    with pytest.raises(ValidationError) as caught:
        ask(bike, text, name=name)
    assert list(caught.value.message_dict) == [field]
    assert not Message.objects.exists()


def test_an_answer_is_no_question(bike: Restoration) -> None:
    reply = answer(ask(bike))
    with pytest.raises(ValidationError):
        answer(reply)


def test_whoever_has_a_link_cannot_fill_the_disk(bike: Restoration, other: Restoration) -> None:
    for number in range(messages.MOST_IN_A_DAY):
        ask(bike, f"number {number}")
    with pytest.raises(ValidationError) as caught:
        ask(bike, "one more")
    assert "Telephone us" in caught.value.message_dict["text"][0]
    ask(other, "others may")
    answer(Message.objects.filter(restoration=bike)[0], "and so may we")
    ask(bike, "tomorrow again", now=ago(-2))


def test_what_was_said_stays_as_it_was_said(bike: Restoration) -> None:
    question = ask(bike)
    for act in (lambda: Message.objects.update(text="other"), lambda: question.delete()):
        with pytest.raises(DatabaseError), transaction.atomic():
            act()
    question.refresh_from_db()
    assert question.text == "When can I see it?"
