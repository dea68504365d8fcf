"""What accepted quotes ask for, and the events that make it due."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quotes.engine.inputs import PaymentStage
from quotes.pricing import services
from quotes.pricing.models import Instalment, IssuedQuote, Outcome, Stage
from quotes.pricing.money.instalments import reach, unreach
from quotes.pricing.money.money_in import in_force, standing, standings
from shop.journal.models import Entry
from shop.restorations.services import remove_part
from shop.routes.models import Funding
from tests.desk import rows
from tests.pricing.paid import STAGED, agreed, asked, by, day, paid, staged_policy, stands
from tests.pricing.staged import bike, issued, note_odds
from tests.pricing.workshop import BY, TODAY, Workshop, add_parts, answer, issue, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def quote(shop: Workshop) -> IssuedQuote:
    """A main offer in three stages, accepted today."""
    staged_policy()
    of = restoration()
    add_parts(of, shop)
    return agreed(draft_of(of))


def shares(total: int) -> list[int]:
    """20, 30 and 50 % by cumulative rounding, half up. Source: the engine's rule for instalments."""
    first, second = (int((D(total) * percent).quantize(D(1), "ROUND_HALF_UP")) for percent in (D("0.2"), D("0.5")))
    return [first, second - first, total - second]


# --- what is asked for ---


def test_the_stages_of_an_accepted_quote_are_asked_for_and_the_first_is_due(quote: IssuedQuote) -> None:
    first, second, rest = Instalment.objects.filter(quote=quote)
    assert [row.amount_minor for row in (first, second, rest)] == shares(quote.total_minor)
    assert [(row.name, row.event, row.days) for row in (first, second, rest)] == [
        (stage.name, stage.event, stage.days) for stage in STAGED
    ]
    assert (first.reached_on, first.due_on) == (TODAY, TODAY)
    assert {(row.reached_on, row.due_on) for row in (second, rest)} == {(None, None)}


def test_what_is_due_after_acceptance_counts_from_the_day_it_was_said(shop: Workshop) -> None:
    staged_policy(stages=(PaymentStage("All", D(100), "ten days after the order", "accepted", 10),))
    of = restoration()
    add_parts(of, shop)
    quote = issue(draft_of(of))
    answer(quote, said_on=day(2), today=day(4), now=by(4)["now"])
    row = Instalment.objects.get()
    assert (row.reached_on, row.due_on) == (day(2), day(12))


def test_nothing_is_asked_before_the_yes_or_after_a_no(shop: Workshop) -> None:
    of = restoration()
    add_parts(of, shop)
    quote = issue(draft_of(of))
    assert not Instalment.objects.exists()
    answer(quote, Outcome.Kind.DECLINED, reason="too dear")
    assert not Instalment.objects.exists()


def test_a_refused_acceptance_asks_for_nothing(shop: Workshop) -> None:
    of = restoration()
    add_parts(of, shop)
    quote = issue(draft_of(of))
    answer(quote)
    with pytest.raises(services.SettledError):
        answer(quote)
    assert Instalment.objects.filter(quote=quote).count() == 2


def test_the_fee_of_an_inspection_is_asked_at_once_and_the_main_offer_asks_for_what_is_left(shop: Workshop) -> None:
    note_odds()
    draft = bike(shop)
    fee = issued(draft, Stage.INSPECT)
    answer(fee)
    assert asked(draft.restoration) == [("Fee", "accepted", 57_600)]
    draft.refresh_from_db()
    main = issued(draft, Stage.MAIN)
    answer(main)
    found = stands(draft.restoration)
    assert sum(amount for _name, _event, amount in asked(draft.restoration)) == fee.total_minor + main.total_minor
    assert found.agreed == D(fee.total_minor + main.total_minor) / 100


def test_a_variation_asks_for_its_own_with_the_final_account(quote: IssuedQuote, shop: Workshop) -> None:
    of = quote.restoration
    add_parts(of, shop, 1)
    varied = issued(services.open_draft(restoration=of, today=TODAY, **BY), Stage.VARIATION)
    answer(varied)
    assert asked(of)[-1] == ("Variation", "handed_over", varied.total_minor)
    assert stands(of).agreed == D(quote.total_minor + varied.total_minor) / 100


def test_a_variation_that_takes_out_more_comes_off_the_last_payment(quote: IssuedQuote) -> None:
    """Hand-worked: nothing that was due changes; what is to come at the end is less by exactly the credit."""
    of = quote.restoration
    before = stands(of)
    remove_part(part=of.parts.first(), **BY)
    varied = issued(services.open_draft(restoration=of, today=TODAY, **BY), Stage.VARIATION)
    assert varied.total_minor < 0
    answer(varied)
    after = stands(of)
    assert asked(of)[-1] == ("Variation", "handed_over", varied.total_minor)
    assert (after.due, after.asked, after.late) == (before.due, before.asked, before.late)
    assert after.to_come == before.to_come + D(varied.total_minor) / 100
    rest = next(payment for payment in after.payments if payment.name == "Rest")
    assert rest.open == rest.amount + D(varied.total_minor) / 100


def test_of_two_accepted_main_offers_only_the_newest_counts_and_what_was_paid_stays() -> None:
    """As rows: issuing a main offer withdraws the older ones, so that nobody should ever see this."""
    of = rows.restoration()
    for net in (10_000, 15_000):
        made = rows.quote(of, until=TODAY, net=net, outcome="accepted")
        Instalment.objects.create(
            quote=made, position=1, name="All", due="now", event="accepted", amount_minor=made.total_minor,
            reached_on=TODAY, due_on=TODAY,
        )  # fmt: skip
    paid(of, 12_000)
    found = stands(of)
    assert [payment.amount for payment in found.payments] == [D("180.00")]
    assert (found.agreed, found.received, found.asked) == (D("180.00"), D("120.00"), D("60.00"))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15, deadline=None, derandomize=True)
@given(parts=st.lists(st.integers(1, 40), min_size=1, max_size=6), area=st.integers(1, 900))
def test_instalments_are_what_is_agreed_to_the_minor_unit(shop: Workshop, parts: list[int], area: int) -> None:
    whole = sum(parts)
    percents = [(D(part) * 100 / whole).quantize(D("0.001")) for part in parts]
    percents[-1] += 100 - sum(percents)
    stages = [PaymentStage(f"Stage {n}", percent, "in turn", "coated") for n, percent in enumerate(percents)]
    point = transaction.savepoint()
    staged_policy(stages=stages)
    of = restoration(f"Bike {area}")
    (part, *_rest) = add_parts(of, shop, 2)
    type(part).objects.filter(pk=part.pk).update(area=D(area) / 7)
    agreed(draft_of(of))
    remove_part(part=of.parts.last(), **BY)
    answer(issued(services.open_draft(restoration=of, today=TODAY, **BY), Stage.VARIATION))
    every = sum(quote.total_minor for quote in of.quotes.filter(outcome__kind="accepted"))
    assert sum(row.amount_minor for row in in_force([of])) == every
    assert standing(of, TODAY).agreed == D(every) / 100
    transaction.savepoint_rollback(point)


# --- reached, and taken back ---


def test_an_event_makes_what_waits_for_it_due(quote: IssuedQuote) -> None:
    (row,) = reach(event="coated", restoration=quote.restoration, day=day(9), **by(10))
    assert (row.name, row.reached_on, row.due_on) == ("Second", day(9), day(16))
    row.refresh_from_db()
    assert row.due_on == day(16)
    told = Entry.objects.get(what="payment stage reached")
    assert (told.subject_uid, told.who) == (quote.restoration.uid, "desk")
    assert '"Q00001: Second","2026-03-18"' in told.after


def test_what_was_reached_before_the_yes_counts_from_the_yes(quote: IssuedQuote) -> None:
    (row,) = reach(event="coated", restoration=quote.restoration, day=day(-20), **by(1))
    assert (row.reached_on, row.due_on) == (TODAY, day(7))


@pytest.mark.parametrize(
    ("event", "offset", "field", "sentence"),
    [
        ("coated", 2, "day", "This day is still to come."),
        ("ready", 0, "event", "No payment waits for this."),
        ("accepted", 0, "event", "Choose one of the events"),
        ("flown", 0, "event", "Choose one of the events"),
    ],
)
def test_what_cannot_be_reached_is_refused(
    quote: IssuedQuote, event: str, offset: int, field: str, sentence: str
) -> None:
    with pytest.raises(ValidationError) as refused:
        reach(event=event, restoration=quote.restoration, day=day(offset), **by(1))
    assert sentence in refused.value.message_dict[field][0]
    assert Instalment.objects.filter(reached_on__isnull=False).count() == 1


def test_an_event_is_reached_once(quote: IssuedQuote) -> None:
    reach(event="coated", restoration=quote.restoration, day=TODAY, **BY)
    with pytest.raises(ValidationError, match="No payment waits"):
        reach(event="coated", restoration=quote.restoration, day=day(-1), **BY)


def test_a_slip_is_taken_back(quote: IssuedQuote) -> None:
    of = quote.restoration
    reach(event="coated", restoration=of, day=TODAY, **BY)
    assert stands(of, 8).late > stands(of).late
    unreach(event="coated", restoration=of, **BY)
    row = Instalment.objects.get(name="Second")
    assert (row.reached_on, row.due_on) == (None, None)
    assert Entry.objects.filter(what="payment stage taken back").count() == 1


def test_a_stage_stays_once_a_later_one_is_reached(quote: IssuedQuote) -> None:
    of = quote.restoration
    reach(event="coated", restoration=of, day=TODAY, **BY)
    reach(event="handed_over", restoration=of, day=TODAY, **BY)
    with pytest.raises(ValidationError, match="“Rest” came after it"):
        unreach(event="coated", restoration=of, **BY)
    unreach(event="handed_over", restoration=of, **BY)
    unreach(event="coated", restoration=of, **BY)
    assert Instalment.objects.filter(reached_on__isnull=False).count() == 1


def test_a_stage_stays_once_money_came_in_for_it(quote: IssuedQuote) -> None:
    of = quote.restoration
    reach(event="coated", restoration=of, day=day(-1), **BY)
    paid(of, shares(quote.total_minor)[0])
    unreach(event="coated", restoration=of, **BY)
    reach(event="coated", restoration=of, day=TODAY, **BY)
    paid(of, 1)
    with pytest.raises(ValidationError, match="Money came in for it"):
        unreach(event="coated", restoration=of, **by(8))


def test_acceptance_is_never_taken_back_here(quote: IssuedQuote) -> None:
    with pytest.raises(ValidationError, match="nothing to take back"):
        unreach(event="accepted", restoration=quote.restoration, **BY)
    with pytest.raises(ValidationError, match="nothing to take back"):
        unreach(event="coated", restoration=quote.restoration, **BY)


def test_the_routes_know_of_every_change(quote: IssuedQuote) -> None:
    of, total = quote.restoration, quote.total_minor
    deposit, second, _rest = shares(total)
    assert (Funding.objects.get().received_minor, Funding.objects.get().late_minor) == (0, 0)
    reach(event="coated", restoration=of, day=TODAY, **by(8))
    assert Funding.objects.get().late_minor == deposit + second
    unreach(event="coated", restoration=of, **by(8))
    assert Funding.objects.get().late_minor == deposit
    paid(of, deposit, 8)
    assert (Funding.objects.get().received_minor, Funding.objects.get().late_minor) == (deposit, 0)


def test_an_instalment_has_no_due_day_before_it_is_reached(quote: IssuedQuote) -> None:
    for wrong in ({"due_on": TODAY}, {"reached_on": TODAY, "due_on": day(-1)}):
        with pytest.raises(IntegrityError, match="instalment_is_due_once_reached"), transaction.atomic():
            Instalment.objects.filter(name="Rest").update(**wrong)


def test_one_place_of_a_quote_holds_one_instalment(quote: IssuedQuote) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Instalment.objects.filter(name="Rest").update(position=1)


def test_a_standing_takes_three_queries_for_one_and_for_many(quote: IssuedQuote, shop: Workshop) -> None:
    with CaptureQueriesContext(connection) as one:
        standings([quote.restoration], TODAY)
    others = [rows.restoration(f"Bike {number}") for number in range(6)]
    for other in others:
        rows.quote(other, until=TODAY, outcome="accepted")
        paid(other, 500)
    with CaptureQueriesContext(connection) as many:
        found = standings([quote.restoration, *others], TODAY)
    assert (len(one), len(many)) == (3, 3)
    assert found[others[0].pk].received == D("5.00")
    assert found[others[0].pk].agreed == D("120.00")
