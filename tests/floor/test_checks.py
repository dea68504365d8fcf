"""What is looked at before a step is done: the newest answer of the present visit counts, what is out holds until named."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.floor.checks import answer_check, checks_for, checks_of, known_step, let_pass
from shop.floor.doing import again, done
from shop.floor.models import Checked
from shop.journal.models import Entry
from shop.methods.models import Check, PartKind
from shop.restorations.models import FinishCandidate
from shop.routes.models import Step
from tests.floor.bench import Bench, agree, bench, check
from tests.workshop import NOW, frame

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Bench:
    return bench()


def answered(here: Bench, step: Step, asked: Check, answer: Any, visit: int = 1) -> Checked:
    given = {"as_it_should": answer} if isinstance(answer, bool) else {"value": answer}
    return answer_check(step=step, check=asked, visit=visit, person=here.joe, now=NOW, **given)


def asked(step: Step) -> Any:
    return checks_of(known_step(step.pk))


def test_checks_are_asked_in_order_without_those_that_ended_or_are_for_other_parts(shop: Bench) -> None:
    blast = shop.shop.blast
    frames, tanks = PartKind.objects.create(name="Frame"), PartKind.objects.create(name="Tank")
    shop.part.kind = frames
    shop.part.save()
    check(blast, "Second", position=2)
    check(blast, "First", position=1)
    check(blast, "Of old", position=3, ended=True)
    check(blast, "Frames", position=4, kind_of_part=frames)
    check(blast, "Tanks", position=5, kind_of_part=tanks)
    check(shop.shop.spray, "Elsewhere")
    assert [one.check.words for one in asked(shop.blast)] == ["First", "Second", "Frames"]


def test_a_finish_is_asked_of_steps_of_the_finish_and_shows_what_was_agreed_and_how_sure_it_is(shop: Bench) -> None:
    check(shop.shop.spray, "Paint is as agreed", kind="finish")
    check(shop.shop.fit, "Paint is as agreed", kind="finish")
    FinishCandidate.objects.create(part=shop.part, finish=shop.shop.black)
    FinishCandidate.objects.create(part=shop.part, finish=shop.shop.green)
    (one,) = asked(shop.spray)
    assert one.finish == "Black"
    assert one.proof.startswith("It is open")
    assert asked(shop.fit) == []


def test_a_count_without_limits_is_compared_with_the_pieces(shop: Bench) -> None:
    shop.part.pieces = 48
    shop.part.save()
    row = check(shop.shop.blast, "Counted", kind="count")
    assert not answered(shop, shop.blast, row, Decimal(47)).as_it_should
    assert answered(shop, shop.blast, row, Decimal(48)).as_it_should
    row.low, row.high = Decimal(40), None
    row.save()
    assert answered(shop, shop.blast, row, Decimal(47)).as_it_should


@pytest.mark.parametrize(("value", "right"), [("8", True), ("10", True), ("7.999", False), ("10.001", False)])
def test_what_is_measured_is_right_within_its_limits_both_included(shop: Bench, value: str, right: bool) -> None:
    row = check(shop.shop.fit, "Torque", kind="measure", low=8, high=10, unit="Nm")
    kept = answered(shop, shop.fit, row, Decimal(value))
    assert kept.as_it_should is right
    assert kept.words == "Torque: 8 to 10 Nm"


def test_a_weight_without_limits_is_noted_as_it_is(shop: Bench) -> None:
    row = check(shop.shop.fit, "Weighed", kind="weight", unit="kg")
    assert answered(shop, shop.fit, row, Decimal("8.25")).as_it_should


def test_a_step_is_not_done_before_all_is_answered(shop: Bench) -> None:
    first, second = check(shop.shop.blast, "Plugged"), check(shop.shop.blast, "Proof on record")
    answered(shop, shop.blast, first, True)
    with pytest.raises(ValidationError, match="“Proof on record” is not answered yet"):
        done(step=shop.blast, person=shop.joe, now=NOW)
    answered(shop, shop.blast, second, True)
    assert done(step=shop.blast, person=shop.joe, now=NOW) == [shop.spray]


def test_the_newest_answer_counts(shop: Bench) -> None:
    row = check(shop.shop.blast)
    answered(shop, shop.blast, row, True)
    answered(shop, shop.blast, row, False)
    with pytest.raises(ValidationError, match="not as it should be"):
        done(step=shop.blast, person=shop.joe, now=NOW)
    answered(shop, shop.blast, row, True)
    done(step=shop.blast, person=shop.joe, now=NOW)
    assert Checked.objects.count() == 3


def test_what_is_out_holds_the_step_until_somebody_lets_it_pass_by_name_and_reason(shop: Bench) -> None:
    row = check(shop.shop.blast)
    answered(shop, shop.blast, row, False)
    given: dict[str, Any] = {"step": shop.blast, "check": row, "visit": 1, "person": shop.joe, "now": NOW}
    with pytest.raises(ValidationError, match="Say why it may pass"):
        let_pass(**given, passed_by="Eve", reason="  ")
    with pytest.raises(ValidationError, match="Say who lets it pass"):
        let_pass(**given, passed_by="", reason="Hidden under the seat")
    let_pass(**given, passed_by="Eve", reason="Hidden under the seat")
    done(step=shop.blast, person=shop.joe, now=NOW)
    entry = Entry.objects.get(what="check let pass")
    assert '"Eve"' in entry.after
    assert "Hidden under the seat" in entry.after


def test_what_was_not_answered_or_is_right_cannot_be_let_pass(shop: Bench) -> None:
    row = check(shop.shop.blast)
    given: dict[str, Any] = {"step": shop.blast, "check": row, "visit": 1, "person": shop.joe, "now": NOW}
    with pytest.raises(ValidationError, match="Nothing has to be let pass"):
        let_pass(**given, passed_by="Eve", reason="In a hurry")
    answered(shop, shop.blast, row, True)
    with pytest.raises(ValidationError, match="Nothing has to be let pass"):
        let_pass(**given, passed_by="Eve", reason="In a hurry")


def test_on_the_next_visit_everything_is_asked_again(shop: Bench) -> None:
    row = check(shop.shop.blast)
    answered(shop, shop.blast, row, True)
    done(step=shop.blast, person=shop.joe, now=NOW)
    sent_back(shop, shop.blast)
    (one,) = asked(shop.blast)
    assert one.result is None
    with pytest.raises(ValidationError, match="opened anew meanwhile"):
        answered(shop, shop.blast, row, True, visit=1)
    with pytest.raises(ValidationError, match="opened anew meanwhile"):
        done(step=shop.blast, person=shop.joe, now=NOW, visit=1)
    answered(shop, shop.blast, row, True, visit=2)
    done(step=shop.blast, person=shop.joe, now=NOW, visit=2)


def sent_back(shop: Bench, step: Step) -> None:
    given: dict[str, Any] = {"came_from": None, "cause": shop.cause, "pieces": 1, "person": shop.joe, "now": NOW}
    again(uid=uuid.uuid4(), step=step, visit=1, back_to=step, **given)


def test_what_is_done_is_not_checked_any_more(shop: Bench) -> None:
    row = check(shop.shop.blast)
    answered(shop, shop.blast, row, True)
    done(step=shop.blast, person=shop.joe, now=NOW)
    with pytest.raises(ValidationError, match="done already"):
        answered(shop, shop.blast, row, False)


def test_a_check_of_another_operation_or_one_that_ended_takes_no_answer(shop: Bench) -> None:
    for row in (check(shop.shop.spray), check(shop.shop.blast, "Of old", ended=True)):
        with pytest.raises(ValidationError, match="not asked here"):
            answered(shop, shop.blast, row, True)


def test_an_answer_without_a_value_is_refused_at_its_box(shop: Bench) -> None:
    tick, weight = check(shop.shop.fit), check(shop.shop.fit, "Weighed", kind="weight")
    for row, box in ((tick, "as_it_should"), (weight, "value")):
        with pytest.raises(ValidationError) as refused:
            answer_check(step=shop.fit, check=row, visit=1, person=shop.joe, now=NOW)
        assert list(refused.value.error_dict) == [box]


def test_any_number_of_steps_is_read_in_the_same_number_of_queries(shop: Bench) -> None:
    check(shop.shop.spray, "Paint is as agreed", kind="finish")
    check(shop.shop.blast)
    one = [known_step(shop.spray.pk)]
    for number in range(6):
        frame(shop.bike, shop.shop, name=f"Bracket {number}")
    agree(shop.bike)
    many = [known_step(step.pk) for step in Step.objects.filter(part__restoration=shop.bike)]
    counts = []
    for steps in (one, many):
        with CaptureQueriesContext(
            connection,
        ) as found:
            checks_for(steps)
        counts.append(len(found))
    assert counts[0] == counts[1] <= 8
