"""While numbers do not match no step may begin, whatever is proven or overridden for one of them."""

import pytest
from django.core.exceptions import ValidationError

from shop.rates.models import Odds
from shop.restorations.intake import change_intake, open_intake
from shop.restorations.models import Intake, Part
from shop.restorations.numbers import clear_numbers, numbers_of
from shop.routes.gate import Cause, gate_for_scope, override, refusals
from shop.routes.models import Override, Step
from shop.routes.selectors import scope
from tests.workshop import SINCE, TODAY, WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db
ODDS = Odds(valid_from=SINCE)


@pytest.fixture
def part() -> Part:
    """A frame whose steps destroy nothing, so that only its numbers can hold it."""
    return frame(restoration(), workshop(), finish=None)


@pytest.fixture
def intake(part: Part) -> Intake:
    row = open_intake(restoration=part.restoration, came_on=TODAY, **WHO)
    return change_intake(intake=row, changes={"papers_frame_number": "H1235"}, **WHO)


def step_on(part: Part, **more: object) -> Step:
    return Step.objects.create(part=part, position=10, buy="Tool roll", **more)


def causes(step: Step) -> set[Cause]:
    """By the list and step by step alike."""
    by_list = gate_for_scope(scope(step.part.restoration), ODDS).get(str(step.uid), ())
    alone = refusals(Step.objects.get(pk=step.pk), odds=ODDS)
    assert list(by_list) == alone
    return {item.cause for item in alone}


def test_a_mismatch_holds_every_step_until_it_is_cleared_and_again_when_a_number_changes(
    part: Part, intake: Intake
) -> None:
    step = step_on(part)
    assert causes(step) == {Cause.NUMBERS}
    (refusal,) = refusals(step, odds=ODDS)
    assert "No step may begin while the numbers do not match." in refusal.sentence
    assert "“H1234”, the papers say “H1235”" in refusal.sentence
    clear_numbers(intake=intake, seen=numbers_of(intake), who_decided="Eve", reason="invoice seen", **WHO)
    assert causes(step) == set()
    change_intake(intake=intake, changes={"papers_frame_number": "H1236"}, **WHO)
    assert causes(step) == {Cause.NUMBERS}


def test_numbers_that_match_hold_nothing(part: Part, intake: Intake) -> None:
    change_intake(intake=intake, changes={"papers_frame_number": "h-1234"}, **WHO)
    assert causes(step_on(part)) == set()


def test_a_decision_about_finish_evidence_frees_no_step_from_its_numbers(part: Part, intake: Intake) -> None:
    """Nor is it asked for where only the numbers hold a step: it would say that something was decided which was not."""
    step = step_on(part)
    with pytest.raises(ValidationError, match="Nothing holds"):
        override(steps=[step], who_decided="Eve", reason="because", odds=ODDS, **WHO)
    Override.objects.create(step=step, who="Eve", reason="because", at=WHO["now"], recorded_by="ada")
    assert causes(step) == {Cause.NUMBERS}
