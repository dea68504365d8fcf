"""What is kept for whoever reads the same rows again rests on the day that is asked for, never on the clock."""

from datetime import datetime

import pytest
from django.utils import timezone

from quotes.desk import first_page, money, money_jobs, today
from quotes.pricing.models import Draft, IssuedQuote
from quotes.pricing.selectors import priced
from quotes.pricing.views import _sheet
from shop.restorations.models import Restoration

pytestmark = pytest.mark.django_db


def _no_clock() -> datetime:
    raise AssertionError("the clock was asked")


def test_no_answer_that_is_kept_asks_the_clock(furnished: object, monkeypatch: pytest.MonkeyPatch) -> None:
    day = timezone.localdate()
    monkeypatch.setattr(timezone, "now", _no_clock)
    assert first_page.blocks(day, fold=True)
    assert today.for_manager(day).accepted_count
    assert money_jobs.jobs(day, settled=True).rows
    for restoration in Restoration.objects.select_related("customer", "machine"):
        assert money.shown(restoration, day)
    assert [found.explained for found in map(priced, Draft.objects.select_related("restoration__machine"))]
    assert all(_sheet(quote, {})[1] for quote in IssuedQuote.objects.all())
