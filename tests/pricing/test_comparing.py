"""Two versions side by side: every change with what it did, and all of them together are the whole difference."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine import inputs
from quotes.engine.chance.quoting import quote as quoted
from quotes.engine.comparing import ChangeKind
from quotes.engine.errors import BadInput
from quotes.pricing import comparing, services
from quotes.pricing.comparing import Compared, Effect, compare, present, snapshot
from quotes.pricing.models import Draft
from shop.rates import services as rates
from shop.restorations.models import Part
from shop.restorations.services import remove_part
from shop.routes.models import Step
from shop.routes.parts import edit_part
from shop.routes.planning import hold
from shop.routes.services import add_step, change_step, remove_step, stop_waiting, wait_for
from tests.pricing.workshop import BY, JANUARY, TODAY, Workshop, add_parts, issue

pytestmark = pytest.mark.django_db
D = Decimal


def now(draft: Draft) -> inputs.Restoration:
    """The draft as it stands."""
    draft.refresh_from_db()
    draft.restoration.refresh_from_db()
    return present(draft, today=TODAY)


def part(draft: Draft, name: str) -> Part:
    return draft.restoration.parts.get(name=name)


def more_pieces(draft: Draft, _shop: Workshop) -> None:
    edit_part(part=part(draft, "Spindle 1"), changes={"pieces": 30}, **BY)


def larger(draft: Draft, _shop: Workshop) -> None:
    edit_part(part=part(draft, "Bracket 0"), changes={"area": D(40)}, **BY)


def many_things(draft: Draft, shop: Workshop) -> None:
    more_pieces(draft, shop)
    bracket = part(draft, "Bracket 0")
    add_step(part=bracket, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    change_step(step=bracket.steps.get(operation=shop.coat), changes={"fail_chance": D(25)}, **BY)
    remove_step(step=part(draft, "Bearing seat 2").steps.get(operation=shop.fit), **BY)
    remove_part(part=part(draft, "Bearing seat 2"), **BY)
    add_parts(draft.restoration, shop, 2)
    later = TODAY + timedelta(days=1)
    rates.note_grade_rate(grade=shop.mechanic, valid_from=later, cost_rate=D(35), charge_rate=D(60), **BY)
    hold(restoration=draft.restoration, first=date(2026, 3, 2), last=date(2026, 3, 20), reason="deciding", **BY)
    services.change_draft(draft=draft, changes={"discount": D(5)}, **BY)
    services.price_anew(draft=draft, today=later, **BY)


def adds_up(found: Compared) -> None:
    for name in ("cost", "price", "contingency"):
        effects = sum((getattr(effect, name) for effect in found.effects), D(0))
        assert effects == getattr(found.after, name) - getattr(found.before, name)
    if found.before.day:
        days = sum((effect.days or D(0) for effect in found.effects), D(0))
        assert days == (date.fromisoformat(found.after.day) - date.fromisoformat(found.before.day)).days


def told(found: Compared) -> list[list[tuple[ChangeKind, str]]]:
    return [[(change.kind, change.name) for change in effect.changes] for effect in found.effects]


def test_between_two_issued_versions_the_effects_are_the_whole_difference(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    many_things(draft, shop)
    two = snapshot(issue(draft, may_go_below_floor=True, below_floor_reason="show bike"))
    found = compare(one, two)
    assert len(found.effects) >= 8
    adds_up(found)
    for end, given in ((found.before, one), (found.after, two)):
        result = quoted(given).explained.result
        assert (end.cost, end.price, end.contingency) == (result.cost, result.net, result.contingency)


def test_between_an_issued_version_and_the_draft_days_add_up_as_well(draft: Draft, shop: Workshop) -> None:
    planned = now(draft).schedule
    one = replace(snapshot(issue(draft)), schedule=planned)
    many_things(draft, shop)
    found = compare(one, now(draft))
    adds_up(found)
    days = next(effect for effect in found.effects if effect.changes[0].kind is ChangeKind.DAYS)
    # Nineteen days are held from the first on; by themselves they move nothing but the day.
    assert (days.cost, days.price, days.contingency) == (0, 0, 0)
    assert days.days is not None
    assert days.days >= 19


def test_a_version_that_was_not_planned_is_compared_without_days(draft: Draft, shop: Workshop) -> None:
    one = replace(snapshot(issue(draft)), schedule=None)
    more_pieces(draft, shop)
    found = compare(one, now(draft))
    assert (found.before.day, found.after.day) == ("", "")
    assert [effect.days for effect in found.effects] == [None]
    assert told(found) == [[(ChangeKind.PART, "Spindle 1")]]
    adds_up(found)


def test_the_same_version_has_no_effects(draft: Draft) -> None:
    one = snapshot(issue(draft))
    found = compare(one, one)
    assert (found.effects, found.before) == ((), found.after)


@pytest.mark.parametrize(
    ("edits", "names"),
    [((more_pieces, larger), ["Spindle 1", "Bracket 0"]), ((larger, more_pieces), ["Bracket 0", "Spindle 1"])],
    ids=["pieces first", "area first"],
)
def test_changes_come_in_the_order_the_journal_has_them(
    draft: Draft, shop: Workshop, edits: tuple[Callable[..., None], ...], names: list[str]
) -> None:
    one = snapshot(issue(draft))
    for edit in edits:
        edit(draft, shop)
    found = compare(one, snapshot(issue(draft)))
    assert [effect.changes[0].name for effect in found.effects] == names
    adds_up(found)


def test_what_was_touched_again_stands_at_its_last_turn(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    more_pieces(draft, shop)
    larger(draft, shop)
    edit_part(part=part(draft, "Spindle 1"), changes={"pieces": 31}, **BY)
    found = compare(one, snapshot(issue(draft)))
    assert [effect.changes[0].name for effect in found.effects] == ["Bracket 0", "Spindle 1"]


def test_the_other_way_round_the_whole_difference_is_turned_round(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    many_things(draft, shop)
    two = snapshot(issue(draft, may_go_below_floor=True, below_floor_reason="show bike"))
    there, back = compare(one, two), compare(two, one)
    adds_up(back)
    assert (back.before, back.after) == (there.after, there.before)


def test_many_changes_of_one_part_are_told_together(
    draft: Draft, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = snapshot(issue(draft))
    larger(draft, shop)
    change_step(step=part(draft, "Bracket 0").steps.get(operation=shop.coat), changes={"fail_chance": D(25)}, **BY)
    more_pieces(draft, shop)
    two = snapshot(issue(draft))
    apart = compare(one, two)
    assert [len(effect.changes) for effect in apart.effects] == [1, 1, 1]
    monkeypatch.setattr(comparing, "MOST_ONE_BY_ONE", 3)
    assert compare(one, two) == apart
    monkeypatch.setattr(comparing, "MOST_ONE_BY_ONE", 2)
    together = compare(one, two)
    assert told(together) == [
        [(ChangeKind.PART, "Bracket 0"), (ChangeKind.STEP, "Coat in black")],
        [(ChangeKind.PART, "Spindle 1")],
    ]
    assert together.effects[0].cost == apart.effects[0].cost + apart.effects[1].cost
    adds_up(together)


def test_a_change_that_makes_sense_only_with_the_next_is_told_with_it(draft: Draft, shop: Workshop) -> None:
    """Two fittings wait for each other first one way, then the other; taken one by one they would wait in a circle."""
    one, two = (
        add_step(part=part(draft, name), origin=Step.Origin.AFTER, operation=shop.fit, **BY)
        for name in ("Bracket 0", "Spindle 1")
    )
    wait = wait_for(step=one, on=two, **BY)
    before = snapshot(issue(draft))
    stop_waiting(wait=wait, **BY)
    wait_for(step=two, on=one, **BY)
    change_step(step=one, changes={"quantity": D(4)}, **BY)
    found = compare(before, snapshot(issue(draft)))
    assert told(found) == [[(ChangeKind.STEP, "Fit"), (ChangeKind.STEP, "Fit")]]
    assert [change.part for change in found.effects[0].changes] == ["Spindle 1", "Bracket 0"]
    adds_up(found)


def test_a_draft_that_cannot_be_priced_says_why(draft: Draft) -> None:
    Draft.objects.filter(pk=draft.pk).update(priced_on=JANUARY - timedelta(days=1))
    with pytest.raises(BadInput, match="no price policy in force on 2026-01-04"):
        now(draft)


def test_an_end_that_cannot_be_priced_says_why(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    wrong = replace(one, parts=(replace(one.parts[0], pieces=-1), *one.parts[1:]))
    for ends in ((one, wrong), (wrong, one)):
        with pytest.raises(BadInput, match="Bracket 0"):
            compare(*ends)


def test_the_journal_is_asked_once_however_much_changed(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    many_things(draft, shop)
    two = snapshot(issue(draft, may_go_below_floor=True, below_floor_reason="show bike"))
    with CaptureQueriesContext(connection) as caught:
        compare(one, two)
    assert len(caught) == 1


def test_terms_stand_before_what_the_journal_knows(draft: Draft, shop: Workshop) -> None:
    one = snapshot(issue(draft))
    more_pieces(draft, shop)
    services.change_draft(draft=draft, changes={"discount": D(5)}, **BY)
    found = compare(one, snapshot(issue(draft)))
    assert told(found) == [[(ChangeKind.TERMS, "discount")], [(ChangeKind.PART, "Spindle 1")]]
    first: Effect = found.effects[0]
    assert first.cost == 0
    assert first.price < 0
