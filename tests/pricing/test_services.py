"""From draft to outcome, as people go through it."""

import time
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction

from quotes.engine import canonical, inputs
from quotes.engine.money import to_minor
from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedLine, IssuedQuote, IssuedStep, Outcome
from quotes.pricing.paper import offer_of
from quotes.pricing.selectors import priced, standing
from quotes.pricing.services import CannotIssueError, SettledError
from quotes.pricing.stages import Offered, offered
from shop.journal.models import Entry
from shop.methods.models import FinishStep
from shop.outbox.models import Row
from shop.rates import services as rates
from shop.restorations.services import change_part
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step
from tests.faults.processes import race
from tests.pricing.workshop import BY, JANUARY, NOW, TODAY, Workshop, add_parts, answer, issue, note_policy, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db
D = Decimal


def test_issuing_freezes_the_steps_by_uid_and_the_figures_they_were_priced_at(draft: Draft) -> None:
    result = priced(draft).explained.result
    quote = issue(draft)
    steps = Step.objects.filter(part__restoration=draft.restoration, removed_at__isnull=True)
    assert set(quote.steps.values_list("step_uid", flat=True)) == set(steps.values_list("uid", flat=True))
    frozen = canonical.load(inputs.Restoration, quote.snapshot.encode())
    assert {step.uid for part in frozen.parts for step in part.steps} == {str(step.uid) for step in steps}
    assert quote.total_minor == to_minor(result.total, digits=2)
    assert [line.price_minor for line in quote.lines.all()] == [to_minor(x.price, digits=2) for x in result.lines]
    assert (str(quote), quote.version, quote.valid_until) == ("Q00001", 1, date(2026, 4, 1))


def test_issuing_tells_the_journal_and_prints_its_head_on_the_quote(draft: Draft) -> None:
    quote = issue(draft)
    entry = Entry.objects.get(what="quote issued")
    assert (entry.who, entry.subject_uid) == ("desk", quote.uid)
    assert quote.journal_position > 0
    assert offer_of(quote).record == f"{quote.journal_position}:{quote.journal_hash}"
    # Everything told before is sealed: the head stands for it.
    assert quote.journal_position == Entry.objects.filter(pk__lt=entry.pk).count()


def test_scope_that_changed_after_the_look_is_refused(draft: Draft, shop: Workshop) -> None:
    seen = draft.restoration.scope_version
    draft.restoration.refresh_from_db()
    add_parts(draft.restoration, shop, 1)
    with pytest.raises(CannotIssueError, match="after you looked at it"):
        issue(draft, seen_scope=seen)
    assert not IssuedQuote.objects.exists()


def test_a_draft_that_changed_after_the_look_is_refused(draft: Draft) -> None:
    seen = draft.version
    services.change_draft(draft=draft, changes={"discount": D(5)}, **BY)
    with pytest.raises(CannotIssueError, match="after you looked at it"):
        issue(draft, seen_draft=seen)


def test_a_blocking_remark_refuses_and_says_what_to_do(draft: Draft) -> None:
    plated = draft.restoration.parts.get(name="Spindle 1")
    change_part(part=plated, changes={"strength": None}, **BY)
    with pytest.raises(CannotIssueError, match=r"Spindle 1, Nickel plating: .*Look for the head marking"):
        issue(draft)


def test_a_guessed_price_needs_the_tick(draft: Draft) -> None:
    part = draft.restoration.parts.get(name="Bracket 0")
    add_step(part=part, origin=Step.Origin.AFTER, buy="Badge", buy_source="used", buy_price_minor=900, **BY)
    with pytest.raises(CannotIssueError, match="only guessed"):
        issue(draft)
    assert issue(draft, guesses_are_told=True).number == 1


@pytest.mark.parametrize("allowed", [(False, "old friend"), (True, ""), (True, "   ")])
def test_below_the_floor_nobody_issues_without_leave_and_a_reason(draft: Draft, allowed: tuple[bool, str]) -> None:
    services.change_draft(draft=draft, changes={"discount": D(60)}, **BY)
    with pytest.raises(CannotIssueError, match="below the floor"):
        issue(draft, may_go_below_floor=allowed[0], below_floor_reason=allowed[1])


def test_below_the_floor_the_manager_issues_with_a_reason_that_is_kept(draft: Draft) -> None:
    services.change_draft(draft=draft, changes={"discount": D(60)}, **BY)
    quote = issue(draft, may_go_below_floor=True, below_floor_reason="show bike")
    assert quote.below_floor_reason == "show bike"


def test_without_parts_there_is_nothing_to_issue(shop: Workshop) -> None:
    with pytest.raises(CannotIssueError, match="Add parts first"):
        issue(draft_of(restoration()))


def test_an_older_open_version_is_withdrawn_and_the_journal_says_by_what(draft: Draft) -> None:
    first = issue(draft)
    second = issue(draft)
    assert (second.version, str(second)) == (2, "Q00002")
    first.refresh_from_db()
    assert (first.outcome.kind, first.outcome.reason) == (Outcome.Kind.WITHDRAWN, "replaced by Q00002")
    assert Entry.objects.get(what="quote withdrawn").subject_uid == first.uid
    assert not hasattr(IssuedQuote.objects.get(pk=second.pk), "outcome")


def test_an_answered_version_keeps_its_answer_when_the_next_is_issued(draft: Draft) -> None:
    first = issue(draft)
    answer(first, Outcome.Kind.DECLINED, reason="too dear")
    issue(draft)
    assert Outcome.objects.get(quote=first).kind == Outcome.Kind.DECLINED


def test_acceptance_authorises_exactly_the_steps_that_were_issued(draft: Draft, shop: Workshop) -> None:
    quote = issue(draft)
    add_parts(draft.restoration, shop, 2)
    answer(quote)
    issued = set(quote.steps.values_list("step_uid", flat=True))
    assert set(Authorisation.objects.values_list("step_uid", flat=True)) == issued
    assert set(Authorisation.objects.values_list("kind", "reference")) == {("quote", "Q00001")}
    assert Step.objects.count() > len(issued)


@pytest.mark.parametrize("kind", [Outcome.Kind.DECLINED, Outcome.Kind.WITHDRAWN])
def test_no_other_outcome_authorises_anything(draft: Draft, kind: Outcome.Kind) -> None:
    answer(issue(draft), kind, reason="changed their mind")
    assert not Authorisation.objects.exists()


def test_a_second_outcome_is_refused(draft: Draft) -> None:
    quote = issue(draft)
    answer(quote)
    with pytest.raises(SettledError, match="has an outcome already"):
        answer(quote, Outcome.Kind.DECLINED, reason="too dear")
    assert Outcome.objects.get().kind == Outcome.Kind.ACCEPTED


def test_a_lapsed_quote_is_not_accepted_but_can_be_declined(draft: Draft) -> None:
    quote = issue(draft)
    late = quote.valid_until + timedelta(days=1)
    assert (standing(quote, quote.valid_until), standing(quote, late)) == ("open", "lapsed")
    with pytest.raises(ValidationError, match="valid until 1 Apr 2026") as refusal:
        answer(quote, today=late)
    assert list(refusal.value.error_dict) == ["kind"]
    assert answer(quote, Outcome.Kind.DECLINED, reason="sold it", today=late).kind == "declined"


def test_on_its_last_day_a_quote_is_accepted(draft: Draft) -> None:
    quote = issue(draft)
    assert answer(quote, today=quote.valid_until).kind == "accepted"


def test_what_was_said_in_time_is_accepted_when_it_is_recorded_late(draft: Draft) -> None:
    quote = issue(draft)
    outcome = answer(quote, said_on=quote.valid_until, today=quote.valid_until + timedelta(days=4))
    assert (outcome.kind, outcome.said_on) == ("accepted", quote.valid_until)


@pytest.mark.parametrize("days", [-1, 1])
def test_nothing_is_said_before_the_quote_is_issued_or_after_today(draft: Draft, days: int) -> None:
    quote = issue(draft)
    with pytest.raises(ValidationError) as refusal:
        answer(quote, said_on=TODAY + timedelta(days=days))
    assert list(refusal.value.error_dict) == ["said_on"]


def test_a_decline_needs_a_reason(draft: Draft) -> None:
    with pytest.raises(ValidationError) as refusal:
        answer(issue(draft), Outcome.Kind.DECLINED)
    assert list(refusal.value.error_dict) == ["reason"]


@pytest.mark.parametrize("said_by", ["", "   "])
def test_an_outcome_without_a_name_is_refused_at_its_field(draft: Draft, said_by: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        answer(issue(draft), said_by=said_by)
    assert list(refusal.value.error_dict) == ["who"]


# --- numbers, and what several people do at once ---


@pytest.mark.django_db(transaction=True)
def test_numbers_have_no_gap_and_no_double_when_several_issue_at_once(shop: Workshop) -> None:
    drafts = []
    for number in range(5):
        one = restoration(f"Bike {number}")
        add_parts(one, shop, 2)
        drafts.append(draft_of(one))
    race(lambda number: [issue(drafts[number]).number for _time in range(3)], 5)
    assert sorted(IssuedQuote.objects.values_list("number", flat=True)) == list(range(1, 16))
    for one in drafts:
        assert sorted(one.restoration.quotes.values_list("version", flat=True)) == [1, 2, 3]
        assert one.restoration.quotes.filter(outcome__isnull=True).count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_look_issued_by_two_at_once_is_one_quote(draft: Draft) -> None:
    draft.restoration.refresh_from_db()
    seen = {"seen_scope": draft.restoration.scope_version, "seen_draft": draft.version}

    def press(_number: int) -> bool:
        try:
            issue(Draft.objects.get(pk=draft.pk), **seen)
        except CannotIssueError:
            return False
        return True

    assert sorted(race(press, 3)) == [False, False, True]
    assert IssuedQuote.objects.get().version == 1


@pytest.mark.django_db(transaction=True)
def test_a_version_answered_while_the_next_is_issued_is_answered_or_withdrawn(draft: Draft) -> None:
    first = issue(draft)

    def act(number: int) -> str:
        if number == 0:
            try:
                return str(issue(Draft.objects.get(pk=draft.pk)))
            except CannotIssueError:  # the answer has moved the draft on to its next stage
                return "look again"
        try:
            return answer(IssuedQuote.objects.get(pk=first.pk)).kind
        except SettledError:
            return "too late"

    told = race(act, 2)
    kept = Outcome.objects.get(quote=first).kind
    assert (told[0], told[1], kept) in {
        ("Q00002", "accepted", "accepted"),
        ("Q00002", "too late", "withdrawn"),
        ("look again", "accepted", "accepted"),
    }
    assert Authorisation.objects.exists() == (kept == "accepted")


@pytest.mark.django_db(transaction=True)
def test_of_many_answers_at_once_one_is_kept(draft: Draft) -> None:
    quote = issue(draft)
    kinds = [Outcome.Kind.ACCEPTED, Outcome.Kind.DECLINED] * 3

    def say(number: int) -> bool:
        try:
            answer(IssuedQuote.objects.get(pk=quote.pk), kinds[number], reason="said so")
        except SettledError:
            return False
        return True

    said = race(say, len(kinds))
    assert said.count(True) == 1
    kept = Outcome.objects.get()
    assert kept.kind == kinds[said.index(True)]
    authorised = Authorisation.objects.count()
    assert authorised == (quote.steps.count() if kept.kind == Outcome.Kind.ACCEPTED else 0)


@pytest.mark.django_db(transaction=True)
def test_what_changes_while_it_is_issued_waits_or_refuses_it(
    draft: Draft, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One issues and takes its time, one adds a part: never a quote that says one scope version and holds another."""
    draft.restoration.refresh_from_db()
    before = draft.restoration.scope_version

    def slowly(of: Draft) -> Offered:
        time.sleep(1)
        return offered(of)

    monkeypatch.setattr(services, "offered", slowly)

    def act(number: int) -> str:
        if number == 0:
            time.sleep(0.4)
            add_parts(draft.restoration, shop, 1)
            return "added"
        try:
            issue(Draft.objects.get(pk=draft.pk), seen_scope=before)
        except CannotIssueError:
            return "refused"
        return "issued"

    told = race(act, 2)
    assert told[1] in {"issued", "refused"}
    for quote in IssuedQuote.objects.all():
        assert (quote.scope_version, quote.lines.count()) == (before, 3)


# --- issued is issued (RELIABILITY M-07) ---

TAMPERING = [
    ("UPDATE pricing_issuedquote SET total_minor = total_minor", IssuedQuote),
    ("DELETE FROM pricing_issuedquote", IssuedQuote),
    ("UPDATE pricing_issuedline SET tax = 'none'", IssuedLine),
    ("DELETE FROM pricing_issuedline", IssuedLine),
    ("UPDATE pricing_issuedstep SET part_uid = step_uid", IssuedStep),
    ("DELETE FROM pricing_issuedstep", IssuedStep),
    ("UPDATE pricing_outcome SET kind = 'declined'", Outcome),
    ("DELETE FROM pricing_outcome", Outcome),
]


@pytest.mark.parametrize(("statement", "model"), TAMPERING, ids=[statement for statement, _model in TAMPERING])
def test_raw_sql_cannot_change_what_was_issued(draft: Draft, statement: str, model: Any) -> None:
    answer(issue(draft))
    before = list(model.objects.order_by("pk").values())
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert list(model.objects.order_by("pk").values()) == before


def test_nor_can_the_models(draft: Draft) -> None:
    quote = issue(draft)
    attempts = [
        quote.save,
        quote.delete,
        lambda: IssuedQuote.objects.update(total_minor=1),
        lambda: IssuedLine.objects.bulk_update([*quote.lines.all()], ["tax"]),
        lambda: quote.steps.all().delete(),
        draft.restoration.delete,
    ]
    for attempt in attempts:
        with pytest.raises(IntegrityError), transaction.atomic():
            attempt()


def everything(quote: IssuedQuote) -> dict[str, Any]:
    kept = IssuedQuote.objects.filter(pk=quote.pk).values().get()
    return kept | {"lines": [*quote.lines.values()], "steps": [*quote.steps.values()]}


def test_what_changes_in_the_shop_later_leaves_an_issued_quote_equal(draft: Draft, shop: Workshop) -> None:
    quote = issue(draft)
    before = everything(quote)
    later = JANUARY + timedelta(days=1)
    rates.note_grade_rate(grade=shop.mechanic, valid_from=later, cost_rate=D(99), charge_rate=D(150), **BY)
    rates.note_tax_rate(code="standard", name="VAT", percent=D(25), valid_from=later, **BY)
    note_policy(later, labour_margin=D(70), validity_days=3, assumptions="none")
    FinishStep.objects.update(fail_chance=30)
    draft.restoration.customer.name = "Somebody else"
    draft.restoration.customer.save()
    shop.black.name = "White"
    shop.black.save()
    change_part(part=draft.restoration.parts.first(), changes={"pieces": 40, "name": "Other"}, **BY)
    assert everything(quote) == before
    assert priced(Draft.objects.get()).explained.result.total != D(quote.total_minor) / 100


def test_a_pdf_is_asked_for_with_the_quote_or_not_at_all(draft: Draft) -> None:
    quote = issue(draft)
    row = Row.objects.get()
    assert (row.key, row.due_at) == (f"quote/{quote.uid}/pdf", NOW)
    with pytest.raises(CannotIssueError):
        issue(draft, seen_draft=99)
    assert Row.objects.count() == 1


def test_drafts_keep_the_day_they_are_priced_on_until_priced_anew(draft: Draft, shop: Workshop) -> None:
    before = priced(draft).explained.result.total
    tomorrow = TODAY + timedelta(days=1)
    rates.note_grade_rate(grade=shop.mechanic, valid_from=tomorrow, cost_rate=D(99), charge_rate=D(150), **BY)
    assert priced(draft).explained.result.total == before
    services.price_anew(draft=draft, today=tomorrow, **BY)
    assert priced(Draft.objects.get()).explained.result.total > before
