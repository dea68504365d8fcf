"""The day from which work can go on."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from shop.journal.models import Entry
from shop.restorations.services import start_on
from tests.workshop import NOW, WHO, restoration

pytestmark = pytest.mark.django_db
MAY = date(2026, 5, 4)


def test_it_is_kept_the_scope_moves_on_and_the_journal_says_from_what_to_what():
    bike = restoration()
    before = bike.scope_version
    start_on(restoration=bike, starts_on=MAY, **WHO)
    start_on(restoration=bike, starts_on=None, **WHO)
    bike.refresh_from_db()
    assert (bike.starts_on, bike.scope_version) == (None, before + 2)
    told = [(entry.before, entry.after) for entry in Entry.objects.filter(what="start changed").order_by("pk")]
    assert told == [('{"day":null}', '{"day":"2026-05-04"}'), ('{"day":"2026-05-04"}', '{"day":null}')]


def test_the_same_day_again_changes_nothing_even_for_a_page_that_read_it_before():
    bike = restoration()
    old = type(bike).objects.get(pk=bike.pk)
    start_on(restoration=bike, starts_on=MAY, **WHO)
    start_on(restoration=old, starts_on=MAY, **WHO)
    old.refresh_from_db()
    assert old.scope_version == bike.scope_version
    assert Entry.objects.filter(what="start changed").count() == 1


@pytest.mark.parametrize("day", [date(2028, 3, 2), date(9999, 12, 31)])
def test_a_day_more_than_two_years_away_is_refused_at_its_field(day: date):
    bike = restoration()
    with pytest.raises(ValidationError) as refused:
        start_on(restoration=bike, starts_on=day, **WHO)
    assert list(refused.value.error_dict) == ["starts_on"]
    bike.refresh_from_db()
    assert bike.starts_on is None


def test_two_years_away_is_near_enough():
    bike = restoration()
    last = date(2028, 3, 1)
    assert (last - NOW.date()).days == 730
    start_on(restoration=bike, starts_on=last, **WHO)
    assert bike.starts_on == last
