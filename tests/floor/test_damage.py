"""Damage a mechanic finds: told once, before the desk until it says what became of it. And causes that return."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.floor.damage import open_reports, report_damage, settle_report
from shop.floor.doing import again, done
from shop.floor.models import DamageReport
from shop.floor.returning import proposals
from shop.methods.checks import answer_cause
from shop.methods.models import Check, PartKind, PossibleDamage
from shop.routes.models import Step
from tests.floor.bench import Bench, bench
from tests.workshop import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Bench:
    return bench()


def told(shop: Bench, **fields: Any) -> DamageReport:
    given: dict[str, Any] = {
        "uid": uuid.uuid4(),
        "part": shop.part,
        "possible": None,
        "words": "Lug cracked",
        "hours": Decimal("2.5"),
        "person": shop.joe,
        "now": NOW,
    }
    return report_damage(**given | fields)


def test_what_was_told_waits_for_the_desk_and_sent_twice_is_told_once(shop: Bench) -> None:
    row = told(shop, step=shop.blast)
    assert told(shop, uid=row.uid) == row
    assert list(open_reports()) == [row]
    assert (row.step, row.hours) == (shop.blast, Decimal("2.5"))


def test_it_says_what_it_is_in_words_or_by_the_library_of_its_kind(shop: Bench) -> None:
    with pytest.raises(ValidationError, match="say what you see"):
        told(shop, words=" ")
    frames, tanks = PartKind.objects.create(name="Frame"), PartKind.objects.create(name="Tank")
    shop.part.kind = frames
    shop.part.save()
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3, "frequency": "rare"}
    cracked = PossibleDamage.objects.create(kind=frames, name="Cracked lug", **costs)
    with pytest.raises(ValidationError, match="do not have that damage"):
        told(shop, possible=PossibleDamage.objects.create(kind=tanks, name="Pinholes", **costs))
    assert told(shop, possible=cracked, words="").possible == cracked


@pytest.mark.parametrize("hours", [Decimal(-1), Decimal(1001), Decimal("0.001")])
def test_hours_that_cannot_be_are_refused_at_their_box(shop: Bench, hours: Decimal) -> None:
    with pytest.raises(ValidationError) as refused:
        told(shop, hours=hours)
    assert list(refused.value.error_dict) == ["hours"]


def test_it_is_settled_once_with_a_word_on_what_became_of_it(shop: Bench) -> None:
    row = told(shop)
    with pytest.raises(ValidationError, match="Say why it is no damage"):
        settle_report(report=row, settled_as=" ", who="ada", now=NOW)
    settle_report(report=row, settled_as="No damage: a scratch in the coat", who="ada", now=NOW)
    assert not open_reports().exists()
    with pytest.raises(ValidationError, match="ada settled it already: No damage"):
        settle_report(report=row, settled_as="Found", who="eve", now=NOW)


# -- causes that return ------------------------------------------------------------------------------------------------


def fail(shop: Bench, step: Step, **fields: Any) -> None:
    done(step=step, person=shop.joe, now=NOW)
    step.refresh_from_db()
    given: dict[str, Any] = {"came_from": None, "cause": shop.cause, "pieces": 1, "person": shop.joe, "now": NOW}
    again(uid=uuid.uuid4(), step=step, visit=step.visit, back_to=step, **given | fields)
    step.refresh_from_db()


def test_a_cause_is_proposed_as_a_check_from_the_second_time_on(shop: Bench) -> None:
    fail(shop, shop.blast)
    assert proposals() == []
    fail(shop, shop.blast)
    (one,) = proposals()
    assert (one.cause, one.operation, one.count) == (shop.cause, shop.shop.blast, 2)


def test_it_counts_where_the_cause_lay_not_where_it_came_out(shop: Bench) -> None:
    done(step=shop.blast, person=shop.joe, now=NOW)
    fail(shop, shop.spray, came_from=shop.blast)
    fail(shop, shop.spray)
    assert proposals() == []
    fail(shop, shop.spray, came_from=shop.blast)
    (one,) = proposals()
    assert one.operation == shop.shop.blast


@pytest.mark.parametrize("wanted", [True, False])
def test_once_answered_it_is_not_proposed_again(shop: Bench, wanted: bool) -> None:
    fail(shop, shop.blast)
    fail(shop, shop.blast)
    given: dict[str, Any] = {"cause": shop.cause, "operation": shop.shop.blast, "who": "eve", "now": NOW}
    row = answer_cause(**given, wanted=wanted)
    assert (row.words, row.against, row.ended, row.kind) == (shop.cause.check_words, shop.cause, not wanted, "tick")
    assert proposals() == []
    assert answer_cause(**given, wanted=not wanted) == row
    assert Check.objects.count() == 1


def test_proposals_take_the_same_number_of_queries_however_often_something_failed(shop: Bench) -> None:
    counts = []
    for _round in range(3):
        fail(shop, shop.blast)
        with CaptureQueriesContext(connection) as found:
            proposals()
        counts.append(len(found))
    assert counts == [2, 2, 2]
