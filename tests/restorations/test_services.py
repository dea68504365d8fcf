from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.journal.models import Entry
from shop.restorations.models import Part
from shop.restorations.services import add_part, change_part, change_restoration, remove_part
from tests.workshop import WHO, restoration

pytestmark = pytest.mark.django_db
SAME = {"customer": {}, "machine": {}, "title": "Heron 250", "begun_on": date(2026, 3, 2)}


def part(**fields):
    return add_part(restoration=restoration(), name="Frame", **fields, **WHO)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"pieces": 100_001}, "Give 100000 or less."),
        ({"openings": 100_001}, "Give 100000 or less."),
        ({"spokes": 100_001}, "Give 100000 or less."),
        ({"pieces": -1}, "Give 0 or more."),
        ({"strength": 0}, "Give 1 or more."),
        ({"strength": 5001}, "Give 5000 or less."),
        ({"thickness": Decimal(0)}, "Give 0.1 or more."),
        ({"thickness": Decimal("1000.1")}, "Give 1000 or less."),
        ({"area": Decimal("100000.001")}, "Give 100000 or less."),
        ({"area": Decimal(-1)}, "Give 0 or more."),
        ({"weight": Decimal("100000.001")}, "Give 100000 or less."),
    ],
)
def test_a_part_refuses_what_no_bike_has_and_says_what_it_takes(changes, said):
    row = part()
    with pytest.raises(ValidationError) as refusal:
        change_part(part=row, changes=changes, **WHO)
    (field,) = changes
    assert said in refusal.value.message_dict[field]
    row.refresh_from_db()
    assert getattr(row, field) != changes[field]


def test_the_highest_that_may_be_is_kept_as_given():
    row = part()
    most = {
        "pieces": 100_000,
        "openings": 100_000,
        "spokes": 100_000,
        "strength": 5000,
        "thickness": Decimal(1000),
        "area": Decimal(100_000),
        "weight": Decimal(100_000),
    }
    change_part(part=row, changes=most, **WHO)
    row.refresh_from_db()
    assert {name: getattr(row, name) for name in most} == most


@pytest.mark.parametrize("thickness", [0, -1, Decimal("1000.1")])
def test_the_database_itself_refuses_a_thickness_that_cannot_be(thickness):
    row = part()
    with pytest.raises(IntegrityError), transaction.atomic():
        Part.objects.filter(pk=row.pk).update(thickness=thickness)


def test_a_part_removed_on_another_page_cannot_be_changed_from_an_old_one():
    row = part()
    stale = Part.objects.get(pk=row.pk)
    remove_part(part=row, **WHO)
    with pytest.raises(ValidationError, match="out of scope"):
        change_part(part=stale, changes={"pieces": 2}, **WHO)


def test_what_was_said_at_the_beginning_can_be_corrected_and_the_journal_tells_what_it_was():
    bike = restoration()
    version = bike.scope_version
    given = {
        "customer": {"name": " Jo Fenwick-Hale ", "address": "2 Mill Bank", "email": "jo@example.com", "phone": "1"},
        "machine": {"maker": "Heron", "model": "350", "year": 1958, "frame_number": "H9", "engine_number": "E9"},
        "title": "Heron 350",
        "begun_on": date(2026, 3, 1),
    }
    change_restoration(restoration=bike, **given, **WHO)
    bike = type(bike).objects.get()
    assert (bike.customer.name, bike.customer.address) == ("Jo Fenwick-Hale", "2 Mill Bank")
    assert (bike.customer.email, bike.customer.phone) == ("jo@example.com", "1")
    assert (bike.machine.model, bike.machine.year, bike.machine.frame_number) == ("350", 1958, "H9")
    assert (bike.machine.engine_number, bike.title, bike.begun_on) == ("E9", "Heron 350", date(2026, 3, 1))
    assert bike.scope_version == version
    told = {entry.what: (entry.before, entry.after) for entry in Entry.objects.filter(what__endswith="corrected")}
    assert told["restoration corrected"] == (
        '{"begun on":"2026-03-02","title":"Heron 250"}',
        '{"begun on":"2026-03-01","title":"Heron 350"}',
    )
    assert '"model":"250"' in told["machine corrected"][0]
    assert '"maker"' not in told["machine corrected"][0]
    assert '"name":"Jo Fenwick"' in told["customer corrected"][0]


def test_everything_wrong_is_said_at_once_by_the_name_of_its_field_and_nothing_is_saved():
    bike = restoration()
    entries = Entry.objects.count()
    wrong = {
        "customer": {"name": "", "email": "nobody"},
        "machine": {"maker": "Swift", "year": -5},
        "title": "x" * 121,
        "begun_on": None,
    }
    with pytest.raises(ValidationError) as refusal:
        change_restoration(restoration=bike, **wrong, **WHO)
    assert set(refusal.value.message_dict) == {"name", "email", "year", "title", "begun_on"}
    assert type(bike).objects.get().machine.maker == "Heron"
    assert Entry.objects.count() == entries


def test_a_correction_that_corrects_nothing_leaves_no_entry():
    bike = restoration()
    entries = Entry.objects.count()
    change_restoration(restoration=bike, **SAME, **WHO)
    assert Entry.objects.count() == entries


def test_without_a_title_it_is_called_after_the_corrected_machine():
    bike = restoration()
    change_restoration(restoration=bike, **SAME | {"machine": {"model": "350"}, "title": " "}, **WHO)
    assert type(bike).objects.get().title == "Heron 350 1957"


def test_what_is_no_field_of_a_customer_is_refused():
    with pytest.raises(ValidationError, match="cannot be changed here"):
        change_restoration(restoration=restoration(), **SAME | {"customer": {"uid": "1"}}, **WHO)
