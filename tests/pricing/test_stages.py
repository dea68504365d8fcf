"""Each stage from draft to outcome: ballpark, strip and inspect with its credit, main offer, variation."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from quotes.engine import canonical, inputs, rollup
from quotes.engine.money import to_minor
from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.paper import offer_of
from quotes.pricing.services import CannotIssueError
from quotes.pricing.stages import offered
from quotes.pricing.verify import verify
from shop import guards
from shop.journal.models import Entry
from shop.restorations.models import PartDamage
from shop.restorations.services import change_part, remove_part
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step, bring_back_step, remove_step, wait_for
from tests.pricing.staged import CREDIT_DAYS, FEE, at, bike, cracked, issued, later, note_odds, uids
from tests.pricing.workshop import BY, TODAY, Workshop, add_parts, answer, issue, note_policy

pytestmark = pytest.mark.django_db
D = Decimal
ACCEPTED, DECLINED = Outcome.Kind.ACCEPTED, Outcome.Kind.DECLINED


@pytest.fixture
def draft(shop: Workshop) -> Draft:
    note_odds()
    return bike(shop)


def steps_of(quote: IssuedQuote) -> set[Any]:
    return set(quote.steps.values_list("step_uid", flat=True))


def authorised() -> set[Any]:
    return set(Authorisation.objects.values_list("step_uid", flat=True))


def frozen(quote: IssuedQuote) -> inputs.Restoration:
    return canonical.load(inputs.Restoration, quote.snapshot.encode())


def net_of(given: inputs.Restoration, variants: str = "") -> Decimal:
    return rollup.price(given, json.loads(variants) if variants else None).result.net


def refused(of: Draft, stage: Stage, words: str, **changes: Any) -> None:
    before = IssuedQuote.objects.count()
    with pytest.raises(CannotIssueError, match=words):
        issued(of, stage, **changes)
    assert IssuedQuote.objects.count() == before


# --- ballpark ---


def test_a_ballpark_is_no_offer_so_nobody_can_accept_it(draft: Draft) -> None:
    quote = issued(draft, Stage.BALLPARK)
    with pytest.raises(ValidationError, match="no offer") as refusal:
        answer(quote)
    assert list(refusal.value.error_dict) == ["kind"]
    assert not Outcome.objects.exists()
    assert not Authorisation.objects.exists()
    assert answer(quote, DECLINED, reason="too dear").kind == "declined"
    assert not Authorisation.objects.exists()


def test_a_ballpark_says_from_nothing_found_to_all_of_it_found(draft: Draft, shop: Workshop) -> None:
    part = draft.restoration.parts.get(name="Bracket 0")
    cracked(shop, part, PartDamage.Treatment.OURS)
    offer = offer_of(issued(draft, Stage.BALLPARK))
    assert offer.low is not None
    assert offer.high is not None
    assert offer.low < offer.total < offer.high
    # Rounded outwards to a tenth of the distance: no figure pretends to more than it knows.
    step = D(10) ** ((offer.high - offer.low).adjusted() - 1)
    assert (offer.low % step, offer.high % step) == (0, 0)
    # Cracked costs 40, 70 or 150, so (40 + 4 × 70 + 150) / 6 = 78.33, sold at a margin of 40 % with 20 % tax on it.
    without = offer_of(issued(draft, Stage.MAIN)).total
    assert offer.high > without + D("78.33") / D("0.6") * D("0.9")


def test_a_ballpark_below_the_floor_needs_nobodys_leave(draft: Draft) -> None:
    services.change_draft(draft=at(draft, Stage.BALLPARK), changes={"discount": D(60)}, **BY)
    assert issue(draft).stage == "ballpark"


# --- strip and inspect ---


def test_strip_and_inspect_costs_exactly_its_fee_whatever_the_work_costs(draft: Draft) -> None:
    services.change_draft(draft=draft, changes={"discount": D(10)}, **BY)
    quote = issued(draft, Stage.INSPECT)
    assert (quote.price_minor, quote.discount_minor, quote.net_minor) == (48_000, 0, 48_000)
    assert quote.total_minor == 57_600
    assert [(line.part, line.price) for area in offer_of(quote).areas for line in area.lines] == [("Whole bike", FEE)]
    assert [(stage.name, stage.amount) for stage in offer_of(quote).stages] == [("Fee", D("576.00"))]


def test_accepted_it_authorises_exactly_the_steps_that_inspect(draft: Draft) -> None:
    quote = issued(draft, Stage.INSPECT)
    strip = Step.objects.get(operation__inspects=True)
    assert steps_of(quote) == {strip.uid}
    answer(quote)
    assert authorised() == {strip.uid}


def test_what_is_agreed_to_inspect_is_not_offered_again(draft: Draft) -> None:
    answer(issued(draft, Stage.INSPECT))
    refused(draft, Stage.INSPECT, "agreed already")


def test_without_a_step_that_inspects_or_a_fee_nobody_can_offer_it(draft: Draft) -> None:
    note_odds(TODAY, inspect_fee_minor=0)
    refused(draft, Stage.INSPECT, "no fee for strip and inspect")
    note_odds(TODAY, revision=2)
    remove_step(step=Step.objects.get(operation__inspects=True), **BY)
    refused(draft, Stage.INSPECT, "No step here belongs to strip and inspect")


def test_the_fee_is_the_one_noted_for_the_day_the_draft_is_priced_on(draft: Draft) -> None:
    note_odds(later(5), inspect_fee_minor=99_900)
    assert issued(draft, Stage.INSPECT).net_minor == 48_000
    services.price_anew(draft=draft, today=later(5), **BY)
    assert issued(draft, Stage.INSPECT).net_minor == 99_900


# --- the credit of its fee ---


def main_after_inspection(draft: Draft, *, priced: int, today: int, **changes: Any) -> IssuedQuote:
    """A main offer priced and issued so many days after the inspection was accepted today."""
    inspection = issued(draft, Stage.INSPECT)
    answer(inspection)
    draft.refresh_from_db()
    services.price_anew(draft=draft, today=later(priced), **BY)
    return issued(draft, Stage.MAIN, today=later(today), now=BY["now"] + timedelta(days=today), **changes)


def test_the_main_offer_credits_the_fee_after_the_discount_and_before_tax(draft: Draft) -> None:
    services.change_draft(draft=draft, changes={"discount": D(10)}, **BY)
    whole = offered(at(draft, Stage.MAIN)).found.explained.result
    quote = main_after_inspection(draft, priced=0, today=0)
    assert quote.net_minor == to_minor(whole.net - FEE, digits=2)
    assert quote.discount_minor == to_minor(whole.discount, digits=2)
    assert quote.tax_minor == to_minor(((whole.net - FEE) * D("0.2")).quantize(D("0.01")), digits=2)
    assert quote.credits == IssuedQuote.objects.get(stage="inspect")
    (credit,) = offer_of(quote).credits
    assert (credit.name, credit.amount) == ("Fee for strip and inspect, Q00001", FEE)
    assert steps_of(quote) == uids(draft)


def test_on_the_last_day_of_the_credit_the_offer_can_be_accepted_and_no_later(draft: Draft) -> None:
    quote = main_after_inspection(draft, priced=30, today=30)
    # The policy gives 30 days, the credit only 10 more.
    assert quote.valid_until == later(CREDIT_DAYS)
    with pytest.raises(ValidationError, match="valid until"):
        answer(quote, today=later(CREDIT_DAYS + 1))
    assert answer(quote, today=later(CREDIT_DAYS)).kind == "accepted"


def test_priced_after_the_last_day_nothing_is_credited(draft: Draft) -> None:
    quote = main_after_inspection(draft, priced=CREDIT_DAYS + 1, today=CREDIT_DAYS + 1)
    assert (quote.credits, offer_of(quote).credits) == (None, ())
    assert quote.valid_until == later(CREDIT_DAYS + 1 + 30)


def test_priced_in_time_but_issued_too_late_it_has_to_be_priced_anew(draft: Draft) -> None:
    with pytest.raises(CannotIssueError, match="was credited until 11 Apr 2026 only"):
        main_after_inspection(draft, priced=CREDIT_DAYS, today=CREDIT_DAYS + 1)
    assert IssuedQuote.objects.count() == 1


def test_the_days_of_credit_are_those_its_paper_said(draft: Draft) -> None:
    inspection = issued(draft, Stage.INSPECT)
    assert offer_of(inspection).credit_days == CREDIT_DAYS
    answer(inspection)
    note_odds(TODAY, credit_days=1)
    draft.refresh_from_db()
    services.price_anew(draft=draft, today=later(20), **BY)
    assert issued(draft, Stage.MAIN, today=later(20)).credits == inspection


@pytest.mark.parametrize("kind", [None, DECLINED])
def test_only_a_fee_that_was_accepted_is_credited(draft: Draft, kind: Outcome.Kind | None) -> None:
    inspection = issued(draft, Stage.INSPECT)
    if kind:
        answer(inspection, kind, reason="too dear")
    assert issued(draft, Stage.MAIN).credits is None


# --- which quote takes whose place ---

OPEN = ["ballpark", "inspect", "main"]
STAYS = {
    Stage.BALLPARK: {"inspect", "main"},
    Stage.INSPECT: set(),
    Stage.MAIN: set(),
}


@pytest.mark.parametrize("stage", STAYS)
def test_a_new_quote_withdraws_only_what_it_takes_the_place_of(draft: Draft, stage: Stage) -> None:
    of = at(draft, stage).restoration
    first = {name: IssuedQuote.objects.create(**row(of, number, name)) for number, name in enumerate(OPEN, start=90)}
    issued(draft, stage)
    still = {name for name, quote in first.items() if not Outcome.objects.filter(quote=quote).exists()}
    assert still == STAYS[stage]


def row(of: Any, number: int, stage: str) -> dict[str, Any]:
    """An open quote of any stage, with nothing in it."""
    texts = dict.fromkeys(("variants", "snapshot", "result", "offer"), "{}")
    money = dict.fromkeys(("price_minor", "discount_minor", "net_minor", "tax_minor", "total_minor"), 0)
    hashes = dict.fromkeys(("snapshot_sha256", "result_sha256", "offer_sha256", "journal_hash"), "0" * 64)
    return (
        {
            "number": number,
            "restoration": of,
            "version": number,
            "stage": stage,
            "scope_version": 1,
            "issued_at": BY["now"],
            "issued_by": "desk",
            "valid_until": later(30),
            "currency": "EUR",
            "journal_position": 0,
        }
        | texts
        | money
        | hashes
    )


def test_once_the_main_offer_is_accepted_there_is_no_other_and_no_inspection(draft: Draft) -> None:
    quote = issued(draft, Stage.MAIN)
    answer(quote)
    for stage in (Stage.MAIN, Stage.INSPECT):
        refused(draft, stage, f"{quote} is accepted. What differs from it is a variation")
    quote.refresh_from_db()
    assert quote.outcome.kind == ACCEPTED


def test_what_is_offered_next_follows_from_what_was_accepted(draft: Draft) -> None:
    for stage, following in ((Stage.INSPECT, "main"), (Stage.MAIN, "variation")):
        answer(issued(draft, stage))
        draft.refresh_from_db()
        assert draft.stage == following
    assert Entry.objects.filter(what="draft changed").count() == 3


# --- variation ---


@pytest.fixture
def agreed(draft: Draft) -> IssuedQuote:
    """An accepted main offer."""
    quote = issued(draft, Stage.MAIN)
    answer(quote)
    return quote


def test_before_a_main_offer_is_accepted_or_while_nothing_differs_there_is_nothing_to_vary(draft: Draft) -> None:
    refused(draft, Stage.VARIATION, "No main offer is accepted yet")
    answer(issued(draft, Stage.MAIN))
    refused(draft, Stage.VARIATION, "Nothing differs from what was agreed")


def test_a_variation_holds_exactly_the_new_steps_and_authorises_exactly_those(
    draft: Draft, agreed: IssuedQuote, shop: Workshop
) -> None:
    bracket = draft.restoration.parts.get(name="Bracket 0")
    new = add_step(part=bracket, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    (part,) = add_parts(draft.restoration, shop, 1)
    wanted = {new.uid, *part.steps.values_list("uid", flat=True)}
    quote = issued(draft, Stage.VARIATION)
    assert (steps_of(quote), quote.varies) == (wanted, agreed)
    assert [line.part for area in offer_of(quote).areas for line in area.lines] == ["Bracket 0", "Bracket 0"]
    assert authorised() == steps_of(agreed)
    outcome = answer(quote, how=Outcome.How.PHONE, said_by="M. Ashgrove")
    assert authorised() == steps_of(agreed) | wanted
    rows = Authorisation.objects.filter(step_uid__in=wanted)
    assert set(rows.values_list("kind", "reference")) == {("quote", str(quote))}
    assert (outcome.who, outcome.how, outcome.said_on) == ("M. Ashgrove", "phone", TODAY)


def test_new_work_is_priced_as_it_is_alone_at_the_rates_of_the_draft(
    draft: Draft, agreed: IssuedQuote, shop: Workshop
) -> None:
    add_step(part=draft.restoration.parts.get(name="Bracket 0"), origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    quote = issued(draft, Stage.VARIATION)
    # 4 + 11 minutes at 31.37 an hour and 18.73 of overhead an hour; margins of 40 % and 10 %; fixed, so a contingency too.
    labour, overhead = D(15) / 60 * D("31.37"), D(15) / 60 * D("18.73")
    plain = labour / D("0.6") + overhead / D("0.9")
    contingency = sum(part.contingency for part in frozen(quote).parts)
    assert contingency > 0
    assert quote.price_minor == to_minor((plain + contingency).quantize(D("0.01")), digits=2)


def test_what_was_left_out_is_credited_with_what_it_contributed_to_the_quote_it_was_agreed_in(
    draft: Draft, agreed: IssuedQuote
) -> None:
    note_policy(TODAY, labour_margin=D(70))  # later rates do not change what was agreed
    step = draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit")
    remove_step(step=step, **BY)
    quote = issued(draft, Stage.VARIATION)
    whole = frozen(agreed)
    parts = tuple(replace(part, steps=tuple(s for s in part.steps if s.uid != str(step.uid))) for part in whole.parts)
    worth = net_of(whole, agreed.variants) - net_of(replace(whole, parts=parts), agreed.variants)
    assert worth > 0
    assert D(quote.net_minor) / 100 == -worth
    assert (quote.total_minor < 0, offer_of(quote).is_credit) == (True, True)
    (line,) = quote.lines.all()
    assert (line.price_minor, line.tax) == (quote.price_minor, "standard")
    answer(quote)
    assert step.uid not in authorised()
    assert authorised() == steps_of(agreed) - {step.uid}


def test_a_whole_part_left_out_is_credited_with_its_contingency_and_what_was_ours(draft: Draft, shop: Workshop) -> None:
    part = draft.restoration.parts.get(name="Whole bike")  # alone in its batch: what it contributed is its own line
    cracked(shop, part, PartDamage.Treatment.OURS)
    main = issued(draft, Stage.MAIN)
    answer(main)
    remove_part(part=part, **BY)
    quote = issued(draft, Stage.VARIATION)
    (frozen_part,) = (p for p in frozen(main).parts if p.uid == str(part.uid))
    assert (frozen_part.contingency > 0, len(frozen_part.damages)) == (True, 1)
    assert -quote.net_minor == main.lines.get(part_uid=part.uid).net_minor


def test_what_is_new_and_what_is_left_out_come_to_one_sum(draft: Draft, agreed: IssuedQuote, shop: Workshop) -> None:
    remove_step(step=draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit"), **BY)
    add_parts(draft.restoration, shop, 1)
    quote = issued(draft, Stage.VARIATION)
    lines = list(quote.lines.values_list("net_minor", flat=True))
    assert (len(lines), min(lines) < 0 < max(lines), sum(lines)) == (2, True, quote.net_minor)
    offer = offer_of(quote)
    assert offer.work_price - offer.discount - offer.credited == offer.net
    assert [credit.name for credit in offer.credits] == ["Bearing seat 2: Fit, left out"]


def test_a_credit_is_given_once(draft: Draft, agreed: IssuedQuote) -> None:
    remove_step(step=draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit"), **BY)
    answer(issued(draft, Stage.VARIATION))
    refused(draft, Stage.VARIATION, "Nothing differs")


def test_what_was_credited_and_comes_back_has_to_be_agreed_again(draft: Draft, agreed: IssuedQuote) -> None:
    step = draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit")
    remove_step(step=step, **BY)
    answer(issued(draft, Stage.VARIATION))
    bring_back_step(step=step, **BY)
    quote = issued(draft, Stage.VARIATION)
    assert (steps_of(quote), quote.net_minor > 0) == ({step.uid}, True)
    answer(quote)
    assert step.uid in authorised()
    # And out again: credited by what the second variation asked for it.
    remove_step(step=step, **BY)
    assert issued(draft, Stage.VARIATION).net_minor == -quote.net_minor


def test_a_variation_leaves_the_accepted_offer_alone_and_takes_the_place_of_an_unanswered_one(
    draft: Draft, agreed: IssuedQuote, shop: Workshop
) -> None:
    add_parts(draft.restoration, shop, 1)
    first = issued(draft, Stage.VARIATION)
    add_parts(draft.restoration, shop, 1)
    second = issued(draft, Stage.VARIATION)
    kinds = {quote.pk: Outcome.objects.filter(quote=quote).first() for quote in (agreed, first, second)}
    assert {pk: out and out.kind for pk, out in kinds.items()} == {
        agreed.pk: "accepted",
        first.pk: "withdrawn",
        second.pk: None,
    }
    assert steps_of(first) < steps_of(second)


def test_a_declined_variation_authorises_nothing_and_can_be_offered_again(
    draft: Draft, agreed: IssuedQuote, shop: Workshop
) -> None:
    add_parts(draft.restoration, shop, 1)
    answer(issued(draft, Stage.VARIATION), DECLINED, reason="not now")
    assert authorised() == steps_of(agreed)
    assert steps_of(issued(draft, Stage.VARIATION)) == uids(draft) - steps_of(agreed)


def test_waits_and_ways_back_stay_inside_the_variation(draft: Draft, agreed: IssuedQuote, shop: Workshop) -> None:
    part = draft.restoration.parts.get(name="Bracket 0")
    first, second = (add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **BY) for _n in range(2))
    old = part.steps.order_by("position").first()
    Step.objects.filter(pk=second.pk).update(fail_chance=10, back_to=old)
    other = draft.restoration.parts.get(name="Spindle 1").steps.first()
    wait_for(step=second, on=other, **BY)
    (bought,) = add_parts(draft.restoration, shop, 1)
    wait_for(step=first, on=bought.steps.first(), **BY)
    given = frozen(issued(draft, Stage.VARIATION))
    inside = {step.uid for p in given.parts for step in p.steps}
    assert inside == {str(uid) for uid in (first.uid, second.uid, *bought.steps.values_list("uid", flat=True))}
    (way,) = next(step for p in given.parts for step in p.steps if step.uid == str(second.uid)).ways_back
    assert way.to == str(first.uid)
    assert {uid for p in given.parts for step in p.steps for uid in step.waits_for} == {str(bought.steps.first().uid)}


# --- all of them are checked again ---


def test_every_stage_recomputes_from_what_was_frozen(draft: Draft, shop: Workshop) -> None:
    part = draft.restoration.parts.get(name="Bracket 0")
    cracked(shop, part, PartDamage.Treatment.PROVISIONAL)
    draft.restoration.parts.filter(name="Spindle 1").update(basis="hourly", cap_minor=30_000)
    issued(draft, Stage.BALLPARK)
    answer(issued(draft, Stage.INSPECT))
    answer(issued(draft, Stage.MAIN))
    remove_step(step=draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit"), **BY)
    add_parts(draft.restoration, shop, 1)
    answer(issued(draft, Stage.VARIATION))
    assert [quote.stage for quote in IssuedQuote.objects.order_by("number")] == Stage.values
    assert {str(quote): list(verify(quote)) for quote in IssuedQuote.objects.all()} == {
        f"Q{number:05d}": [] for number in range(1, 5)
    }


def tampered(quote: IssuedQuote, change: Callable[[dict[str, Any]], object]) -> list[str]:
    """What is found after somebody changed what the customer reads, its hash included."""
    told = json.loads(quote.offer)
    change(told)
    text = canonical.dump(told).decode()
    with guards.lifted():
        rows = IssuedQuote.objects.filter(pk=quote.pk)
        rows.update(offer=text, offer_sha256=canonical.sha256(text.encode()))
    return [finding.what for finding in verify(IssuedQuote.objects.get(pk=quote.pk))]


def line_of(told: dict[str, Any]) -> dict[str, Any]:
    return next(line for area in told["areas"] for line in area["lines"] if line["part"] == "Spindle 1")


CHANGES: dict[str, tuple[Stage, Callable[[dict[str, Any]], object], str]] = {
    "range": (Stage.BALLPARK, lambda told: told.update(low="1"), "the range the customer reads"),
    "no range": (Stage.BALLPARK, lambda told: told.update(high=None), "the range the customer reads"),
    "a range for an offer": (Stage.MAIN, lambda told: told.update(low="1", high="2"), "the range the customer reads"),
    "basis": (Stage.MAIN, lambda told: line_of(told).update(basis="fixed"), "what each line promises"),
    "cap": (Stage.MAIN, lambda told: line_of(told).update(cap="1"), "what each line promises"),
    "provisional": (Stage.MAIN, lambda told: told["provisional"][0].update(price="1"), "the possible damage"),
    "excluded": (Stage.MAIN, lambda told: told.update(excluded=[]), "the possible damage"),
    "stage": (Stage.MAIN, lambda told: told.update(stage="ballpark"), "its stage, or the quote it varies"),
    "credit": (Stage.MAIN, lambda told: told["credits"][0].update(amount="1"), "the lines the customer reads"),
    "varied": (Stage.VARIATION, lambda told: told.update(varies="Q00099"), "its stage, or the quote it varies"),
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_a_stage_adds_to_the_paper_is_checked_too(draft: Draft, shop: Workshop, name: str) -> None:
    stage, change, found = CHANGES[name]
    change_part(
        part=draft.restoration.parts.get(name="Spindle 1"), changes={"basis": "hourly", "cap_minor": 30_000}, **BY
    )
    cracked(shop, draft.restoration.parts.get(name="Bracket 0"), PartDamage.Treatment.PROVISIONAL)
    cracked(shop, draft.restoration.parts.get(name="Bearing seat 2"), PartDamage.Treatment.EXCLUDED)
    answer(issued(draft, Stage.INSPECT))
    if stage == Stage.VARIATION:
        answer(issued(draft, Stage.MAIN))
        add_parts(draft.restoration, shop, 1)
    quote = issued(draft, stage)
    assert list(verify(quote)) == []
    assert any(what.startswith(found) for what in tampered(quote, change))


def test_a_credit_that_is_not_what_was_agreed_before_is_found(draft: Draft, agreed: IssuedQuote) -> None:
    """Snapshot, result, lines and paper all agree with each other, and still not with the quote that was agreed."""
    remove_step(step=draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit"), **BY)
    quote = issued(draft, Stage.VARIATION)
    assert list(verify(quote)) == []
    with guards.lifted():
        text = agreed.snapshot.replace('"31.37"', '"41.37"')
        IssuedQuote.objects.filter(pk=agreed.pk).update(snapshot=text)
    found = [finding.what for finding in verify(IssuedQuote.objects.get(pk=quote.pk))]
    assert found == ["what it credits is not what was agreed before"]
