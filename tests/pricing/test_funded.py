"""What pricing tells the routes: what steps come to that leave the house, what was received, what is late."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.pricing import services
from quotes.pricing.models import Draft, Stage
from quotes.pricing.money import funded
from shop.outbox import menders
from shop.restorations.models import Restoration
from shop.restorations.services import remove_part
from shop.routes import funding
from shop.routes.models import Funding, Step
from tests.pricing.paid import agreed, at, day, paid, staged_policy, stands
from tests.pricing.staged import issued
from tests.pricing.workshop import BY, NOW, TODAY, Workshop, add_parts, answer, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def job(shop: Workshop) -> Restoration:
    staged_policy()
    of = restoration()
    add_parts(of, shop)
    agreed(draft_of(of))
    return of


def test_a_step_comes_to_its_quoted_price_with_tax(job: Restoration) -> None:
    """By hand: one bearing for each of 3 pieces at 17.99 are 53.97; at a margin of 25 % 71.96; with a fifth of tax 86.352.
    Plating of 2 pieces of 0.35 kg costs the minimum of 38.60, with 3.5 % handling 39.951, and the trip 23.00: 62.951; at a
    margin of 20 % 78.68875; with tax 94.4265.
    """
    found = funded.prices(job)
    bearing, plating = Step.objects.get(buy="Bearing"), Step.objects.get(service__isnull=False)
    assert found[bearing.uid] == 8_635
    assert found[plating.uid] == 9_443
    assert found.keys() == {bearing.uid, plating.uid}


def test_the_discount_comes_off(shop: Workshop) -> None:
    """By hand: 86.352 less a tenth is 77.7168."""
    of = restoration()
    add_parts(of, shop)
    draft = services.change_draft(draft=draft_of(of), changes={"discount": D(10)}, **BY)
    agreed(draft)
    assert funded.prices(of)[Step.objects.get(buy="Bearing").uid] == 7_772


def test_what_is_agreed_later_has_its_own_price_and_what_is_left_out_none(job: Restoration, shop: Workshop) -> None:
    old = Step.objects.get(buy="Bearing")
    remove_part(part=old.part, **BY)
    add_parts(job, shop, 3)
    new = Step.objects.exclude(pk=old.pk).get(buy="Bearing")
    assert new.uid not in funded.prices(job)
    answer(issued(Draft.objects.get(restoration=job), Stage.VARIATION))
    found = funded.prices(job)
    assert old.uid not in found
    assert found[new.uid] == 8_635


def test_what_is_late_is_written_anew_on_the_day_it_is_needed(job: Restoration) -> None:
    """The deposit is due on the day of the yes: today it is not late, tomorrow it is, though nobody wrote anything."""
    deposit = stands(job).due
    assert Funding.objects.get().late_minor == 0
    assert funding.funds_of(job, now=NOW) == funding.Funds(0, 0)
    assert funding.funds_of(job, now=at(1)) == funding.Funds(0, int(deposit * 100))
    assert Funding.objects.get().late_minor == int(deposit * 100)


def test_on_the_day_it_was_written_it_is_read(job: Restoration) -> None:
    funding.funds_of(job, now=at(3))
    with CaptureQueriesContext(connection) as caught:
        funding.funds_of(job, now=at(3) + timedelta(hours=2))
    assert len(caught) == 1


def test_the_sweep_writes_anew_what_is_from_an_earlier_day(job: Restoration) -> None:
    funded.mend(now=at(1))
    assert Funding.objects.get().late_minor == int(stands(job, 1).late * 100) > 0
    before = Funding.objects.get().at
    funded.mend(now=at(1) + timedelta(hours=1))
    assert Funding.objects.get().at == before
    assert menders.run(now=at(2)) == []
    assert Funding.objects.get().at == at(2)


def test_a_look_writes_nothing(job: Restoration) -> None:
    paid(job, 100)
    before = Funding.objects.get().at
    assert funded.funds(job, day(5)).received == 100
    assert Funding.objects.get().at == before
    assert funded.funds(job, TODAY).late == 0
