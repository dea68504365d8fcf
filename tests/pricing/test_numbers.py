"""What may go out while frame or engine number differ between machine and papers."""

from typing import Any

import pytest

from quotes.pricing.models import Draft, IssuedQuote, Stage
from quotes.pricing.services import CannotIssueError, change_draft, issue
from shop.restorations.intake import change_intake, open_intake
from shop.restorations.models import Intake, Restoration
from shop.restorations.numbers import clear_numbers, numbers_of
from tests.workshop import TODAY, WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def intake() -> Intake:
    bike = restoration()
    frame(bike, workshop())
    draft(bike)
    row = open_intake(restoration=bike, came_on=TODAY, **WHO)
    return change_intake(intake=row, changes={"papers_engine_number": "E9", "engine_number": "E8"}, **WHO)


def out(stage: Stage) -> IssuedQuote:
    row = Draft.objects.get()
    if row.stage != stage:
        row = change_draft(draft=row, changes={"stage": stage}, **WHO)
    seen: dict[str, Any] = {"seen_scope": Restoration.objects.get().scope_version, "seen_draft": row.version}
    return issue(draft=row, today=TODAY, guesses_are_told=True, **seen, **WHO)


def test_only_a_ballpark_goes_out_until_somebody_clears_exactly_these_numbers(intake: Intake) -> None:
    assert out(Stage.BALLPARK).stage == Stage.BALLPARK
    with pytest.raises(CannotIssueError) as caught:
        out(Stage.MAIN)
    (said,) = caught.value.messages
    assert "Only a ballpark may go out" in said
    assert "The engine number stamped is “E8”, the papers say “E9”." in said
    clear_numbers(intake=intake, seen=numbers_of(intake), who_decided="Eve", reason="works engine, invoice", **WHO)
    assert out(Stage.MAIN).stage == Stage.MAIN
    change_intake(intake=intake, changes={"engine_number": "E7"}, **WHO)
    with pytest.raises(CannotIssueError, match="E7"):
        out(Stage.MAIN)
    change_intake(intake=intake, changes={"engine_number": "e 9"}, **WHO)
    assert out(Stage.MAIN).version == 3
