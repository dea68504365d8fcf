"""A nudge when a customer has heard nothing for 14 days, or for what the policy says."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from quotes.engine.inputs import PaymentStage
from quotes.pricing.customers import quiet, sharing
from quotes.pricing.models import Instalment, Mailed
from shop.outbox.models import Row as Job
from shop.rates.services import note_policy
from shop.restorations.models import Restoration
from tests.desk import rows
from tests.pricing.told import accepted, ago, answer, ask, photograph, say_yes, share

pytestmark = pytest.mark.django_db
LONG_AGO = 60


def is_quiet(row: Restoration, days: int = 0) -> bool:
    day = timezone.localdate() + timedelta(days=days)
    return row in quiet.quiet(day, limit=quiet.limit(day))


def mail(of: Restoration, days: int, **job: Any) -> None:
    key = f"mail {Mailed.objects.count()}"
    given = {"kind": "progress", "address": "jo@example.org", "subject": "News", "text": "Hello", "who": "ada"}
    Mailed.objects.create(restoration=of, at=ago(days), job_key=key, **given)
    if job:
        Job.objects.create(key=key, handler="mail", payload="{}", due_at=ago(days), created_at=ago(days), **job)


WAYS = {
    "a note": lambda of, days: share(of, now=ago(days)),
    "a photograph": lambda of, days: share(of, "", photograph=photograph(), now=ago(days)),
    "an answer": lambda of, days: answer(ask(of, now=ago(LONG_AGO)), now=ago(days)),
    "an e-mail": mail,
    "a yes": lambda of, days: say_yes(rows.quote(of, until=rows.day(60), stage="variation"), days),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("days", "silent"), [(13, False), (14, True), (15, True)])
def test_silence_is_told_from_the_fourteenth_day_on(way: str, days: int, silent: bool) -> None:
    bike = accepted(said=LONG_AGO)
    WAYS[way](bike, days)
    assert is_quiet(bike) is silent
    word = quiet.last_word(bike)
    assert word
    assert word.days(timezone.localdate()) == days


@pytest.mark.parametrize(("hour", "silent"), [(0, True), (23, True)])
def test_days_are_counted_by_the_shops_calendar_not_by_the_hour(hour: int, silent: bool) -> None:
    bike = accepted(said=LONG_AGO)
    share(bike, now=ago(14, hour))
    assert is_quiet(bike) is silent
    assert not is_quiet(bike, -1)


def test_the_policy_says_after_how_many_days() -> None:
    bike = accepted(said=LONG_AGO)
    share(bike, now=ago(8))
    assert not is_quiet(bike)
    percents = ("labour_margin", "overhead_margin", "material_margin", "vendor_margin", "bought_in_margin", "floor")
    note_policy(
        valid_from=rows.day(-100),
        stages=[PaymentStage("All", Decimal(100), "at hand-over")],
        quiet_days=8,
        who="eve",
        now=timezone.now(),
        **dict.fromkeys(percents, Decimal(10)),
    )
    assert is_quiet(bike)
    assert not is_quiet(bike, -1)


def test_what_does_not_reach_the_customer_is_no_word() -> None:
    bike = accepted(said=LONG_AGO)
    ask(bike, now=ago(1))  # the customer's own
    sharing.take_back(shared=share(bike, now=ago(1)), who="ada", now=timezone.now())
    mail(bike, 1, state="dead")
    mail(bike, 1, state="unknown")
    assert is_quiet(bike)
    mail(bike, 1, state="pending")
    assert not is_quiet(bike)


def test_only_accepted_bikes_that_are_still_here_are_asked_about() -> None:
    asked, declined = rows.restoration("asked"), rows.restoration("declined")
    rows.quote(asked, until=rows.day(1))
    rows.quote(declined, until=rows.day(1), outcome="declined")
    gone = accepted("gone", said=LONG_AGO)
    here = accepted("here", said=LONG_AGO)
    event = {"event": "handed_over", "position": 1, "name": "Balance", "due": "at hand-over", "amount_minor": 100}
    Instalment.objects.create(quote=gone.quotes.get(), reached_on=rows.day(-20), due_on=rows.day(-20), **event)
    Instalment.objects.create(quote=here.quotes.get(), **event)
    assert list(quiet.quiet(rows.today(), limit=quiet.limit(rows.today()))) == [here]


def test_the_last_of_several_words_counts_and_says_how() -> None:
    bike = accepted(said=LONG_AGO)
    word = quiet.last_word(bike)
    assert word
    assert word.how == "quote accepted"
    share(bike, now=ago(9))
    answer(ask(bike, now=ago(20)), now=ago(5))
    mail(bike, 7)
    word = quiet.last_word(bike)
    assert word == quiet.Word(ago(5), "answer on their page")


def test_of_nobody_nothing_was_heard() -> None:
    assert quiet.last_word(rows.restoration()) is None
    assert quiet.last_words([]) == {}
