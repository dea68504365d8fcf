"""The final account of a job from what was accepted, and storage by the policy of the day."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.settlement import Kind
from quotes.pricing import damages, services
from quotes.pricing.models import Draft, IssuedQuote, Stage
from quotes.pricing.money.final_account import forecast, storage_of
from shop.rates import services as rates
from shop.restorations.models import Part, PartDamage, Restoration
from shop.restorations.services import change_part, remove_part
from shop.routes.planning import end_on, hold
from tests.pricing.paid import STAGED, agreed, by, day, paid, staged_policy
from tests.pricing.staged import bike, cracked, issued, note_odds
from tests.pricing.workshop import BY, POLICY, TODAY, Workshop, add_parts, answer, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def draft(shop: Workshop) -> Draft:
    staged_policy(storage=D("4.00"), storage_after_days=5)
    of = restoration()
    add_parts(of, shop)
    return draft_of(of)


def total(of: Restoration) -> Decimal:
    return D(sum(quote.total_minor for quote in of.quotes.filter(outcome__kind="accepted"))) / 100


def test_before_anything_is_accepted_there_is_no_account(draft: Draft) -> None:
    assert forecast(draft.restoration, TODAY) is None


def test_as_long_as_nothing_is_known_the_account_is_what_was_agreed(draft: Draft) -> None:
    agreed(draft)
    paid(draft.restoration, 5_000)
    found = forecast(draft.restoration, TODAY)
    assert found is not None
    assert found.account.total == total(draft.restoration)
    assert found.account.balance == total(draft.restoration) - 50
    assert found.left == found.account.balance
    assert found.account.sums[Kind.FIXED] == found.account.net


def test_fee_main_and_variation_add_up_to_what_was_accepted(shop: Workshop) -> None:
    note_odds()
    draft = bike(shop)
    answer(issued(draft, Stage.INSPECT))
    draft.refresh_from_db()
    answer(issued(draft, Stage.MAIN))
    remove_part(part=draft.restoration.parts.first(), **BY)
    add_parts(draft.restoration, shop, 1)
    varied = issued(draft, Stage.VARIATION)
    answer(varied)
    found = forecast(draft.restoration, TODAY)
    assert found is not None
    assert found.account.total == total(draft.restoration)
    assert found.account.sums[Kind.CREDIT] == D(-480)
    assert found.account.sums[Kind.VARIATION] == D(varied.net_minor) / 100


def test_an_estimate_is_settled_at_its_cap_and_hours_as_they_were(draft: Draft) -> None:
    of = draft.restoration
    capped, hourly, _fixed = of.parts.all()
    change_part(part=capped, changes={"basis": "capped", "cap_minor": 50_000}, **BY)
    change_part(part=hourly, changes={"basis": "hourly"}, **BY)
    quote = agreed(draft)
    lines = {str(line.part_uid): D(line.net_minor) / 100 for line in quote.lines.all()}
    actuals = {str(capped.uid): D(900), str(hourly.uid): D("333.33")}
    found = forecast(of, TODAY, actuals=actuals)
    assert found is not None
    assert found.account.sums[Kind.CAPPED] == D(500)
    assert found.account.sums[Kind.HOURLY] == D("333.33")
    moved = D(500) + D("333.33") - lines[str(capped.uid)] - lines[str(hourly.uid)]
    net = D(quote.net_minor) / 100 + moved
    assert (found.account.net, found.account.tax) == (net, (net * D("0.2")).quantize(D("0.01"), "ROUND_HALF_UP"))


def test_a_provisional_damage_may_come_and_counts_only_as_the_variation_it_becomes(
    draft: Draft, shop: Workshop
) -> None:
    damage = cracked(shop, Part.objects.get(name="Bracket 0"), PartDamage.Treatment.PROVISIONAL)
    agreed(draft)
    of = draft.restoration
    found = forecast(of, TODAY)
    assert found is not None
    (may,) = found.may_come
    assert (may.part, may.name) == ("Bracket 0", "Cracked")
    assert may.price > 0
    assert found.account.total == total(of)
    damages.settle(damage=damage, settled=PartDamage.Settled.FOUND, note="at the lug", **BY)
    waiting = forecast(of, TODAY)
    assert waiting is not None
    assert (waiting.may_come, waiting.account.total) == ((), total(of))  # nobody has agreed to its price yet
    varied = issued(draft, Stage.VARIATION)
    answer(varied)
    settled = forecast(of, TODAY)
    assert settled is not None
    assert settled.account.sums[Kind.VARIATION] == D(varied.net_minor) / 100
    assert settled.account.net == found.account.net + D(varied.net_minor) / 100


def test_a_provisional_damage_that_was_not_found_is_gone(draft: Draft, shop: Workshop) -> None:
    damage = cracked(shop, Part.objects.get(name="Bracket 0"), PartDamage.Treatment.PROVISIONAL)
    agreed(draft)
    before = forecast(draft.restoration, TODAY)
    damages.settle(damage=damage, settled=PartDamage.Settled.NOT_FOUND, **BY)
    settled = forecast(draft.restoration, TODAY)
    assert before is not None
    assert settled is not None
    assert (settled.may_come, settled.account.total) == ((), before.account.total)


def test_storage_is_charged_for_the_customers_reasons_once_a_day_with_its_tax(draft: Draft) -> None:
    """Hand-worked: 2 to 11 March undecided and 5 to 20 March unpaid are 19 days; 15 of them, from the fifth on, at 4.00."""
    agreed(draft)
    of = draft.restoration
    hold(restoration=of, first=TODAY, last=day(9), kind="deciding", reason="colour", **BY)
    hold(restoration=of, first=day(3), last=day(18), kind="unpaid", reason="deposit", **BY)
    hold(restoration=of, first=day(19), kind="part", reason="stanchion", **BY)
    hold(restoration=of, first=day(19), last=day(40), kind="ours", reason="holidays", **BY)
    (stretch,) = storage_of(of, day(60))
    assert (stretch.first, stretch.last, stretch.days, stretch.charged) == (TODAY, day(18), 19, 15)
    found = forecast(of, day(60))
    assert found is not None
    assert found.account.storage == D(60)
    assert found.account.total == total(of) + D(72)


def test_a_hold_that_runs_is_charged_up_to_the_day_and_no_further(draft: Draft) -> None:
    of = draft.restoration
    row = hold(restoration=of, first=TODAY, kind="unpaid", reason="deposit", **BY)
    assert [one.charged for one in storage_of(of, day(5))] == [2]
    end_on(hold=row, last=day(6), **by(6))
    assert [one.charged for one in storage_of(of, day(30))] == [3]
    assert storage_of(of, day(-1)) == ()


def test_storage_goes_by_the_policy_of_the_day_the_stretch_began(draft: Draft) -> None:
    rates.note_policy(
        valid_from=day(10), stages=STAGED, overhead_rate=D(1), storage=D(9), storage_after_days=1, **POLICY, **BY
    )
    of = draft.restoration
    hold(restoration=of, first=day(4), last=day(12), kind="unpaid", reason="deposit", **BY)
    hold(restoration=of, first=day(20), last=day(21), kind="unpaid", reason="second", **BY)
    assert [one.amount for one in storage_of(of, day(60))] == [D(20), D(18)]


def test_the_account_takes_no_more_queries_for_more_quotes(draft: Draft, shop: Workshop) -> None:
    agreed(draft)
    of = draft.restoration
    hold(restoration=of, first=TODAY, kind="unpaid", reason="deposit", **BY)
    with CaptureQueriesContext(connection) as one:
        forecast(of, TODAY)
    for _time in range(2):
        add_parts(of, shop, 1)
        answer(issued(services.open_draft(restoration=of, today=TODAY, **BY), Stage.VARIATION))
    with CaptureQueriesContext(connection) as many:
        forecast(of, TODAY)
    assert len(one) == len(many)
    assert IssuedQuote.objects.count() == 3
