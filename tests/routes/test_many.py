"""One change for many parts: all of them or none, told part by part, and undone as one (see tests/desk/test_many.py)."""

from uuid import UUID

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry
from shop.journal.services import ALSO
from shop.restorations.models import Part, Restoration
from shop.restorations.services import add_part, change_part
from shop.routes.many import NotForAllError, ScopeMovedError, add_step_to_parts, edit_parts, remove_parts
from shop.routes.models import Step
from tests.workshop import WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    row = restoration()
    for number in range(12):
        frame(row, shop, name=f"Bracket {number}")
    row.refresh_from_db()
    return row


def uids(row: Restoration) -> list[UUID]:
    return list(row.parts.order_by("position").values_list("uid", flat=True))


def given(row: Restoration) -> dict[str, object]:
    row.refresh_from_db()
    return {"restoration": row, "parts": uids(row), "seen": row.scope_version, **WHO}


def rows() -> tuple[list[object], list[object], int]:
    return list(Part.objects.order_by("pk").values()), list(Step.objects.order_by("pk").values()), Entry.objects.count()


def test_twelve_parts_are_set_with_their_routes(shop: Workshop, bike: Restoration) -> None:
    edit_parts(changes={"agreed_finish": shop.green, "condition": "corroded", "area_name": "Rear"}, **given(bike))
    told = set(bike.parts.values_list("agreed_finish__name", "condition", "area_name"))
    assert told == {("Green", "corroded", "Rear")}
    works = {
        tuple(part.steps.filter(removed_at=None).values_list("operation__name", flat=True)) for part in bike.parts.all()
    }
    one = frame(bike, shop, finish=shop.green)
    assert works == {tuple(one.steps.values_list("operation__name", flat=True))}


def test_only_the_parts_named_change(shop: Workshop, bike: Restoration) -> None:
    named = uids(bike)[:5]
    edit_parts(changes={"agreed_finish": None}, **given(bike) | {"parts": named})
    assert set(bike.parts.filter(agreed_finish=None).values_list("uid", flat=True)) == set(named)


def test_what_cannot_be_done_is_told_part_by_part_and_nothing_changes(shop: Workshop, bike: Restoration) -> None:
    odd = [frame(bike, shop, name=name, finish=None, material="aluminium") for name in ("Cover", "Lever")]
    asked = given(bike)
    before = rows()
    with pytest.raises(NotForAllError) as raised:
        edit_parts(changes={"agreed_finish": shop.green}, **asked)
    assert [part.pk for part, _why in raised.value.wrong] == [part.pk for part in odd]
    assert "there is no route to put “Green” on" in raised.value.wrong[0][1]
    assert rows() == before
    bike.refresh_from_db()
    assert bike.scope_version == asked["seen"]


def test_a_field_that_is_wrong_on_one_part_changes_none(bike: Restoration) -> None:
    part = bike.parts.order_by("position")[3]
    change_part(part=part, changes={"basis": "capped", "cap_minor": 100}, **WHO)
    asked = given(bike)
    before = rows()
    with pytest.raises(NotForAllError) as raised:
        edit_parts(changes={"basis": "fixed", "condition": "sound"}, **asked)
    assert [row.pk for row, _why in raised.value.wrong] == [part.pk]
    assert rows() == before


def test_a_colleagues_change_is_noticed(bike: Restoration) -> None:
    asked = given(bike)
    change_part(part=bike.parts.all()[0], changes={"pieces": 9}, **WHO)
    before = rows()
    for way in (
        lambda: edit_parts(changes={"condition": "sound"}, **asked),
        lambda: remove_parts(**asked),
        lambda: add_step_to_parts(step={"origin": "before", "buy": "Bush", "buy_source": "used"}, **asked),
    ):
        with pytest.raises(ScopeMovedError):
            way()
    assert rows() == before


def test_the_same_step_for_all_and_all_out_of_scope(shop: Workshop, bike: Restoration) -> None:
    add_step_to_parts(step={"origin": "before", "operation": shop.fit}, **given(bike))
    assert Step.objects.filter(operation=shop.fit, origin="before").count() == 12
    remove_parts(**given(bike))
    assert not bike.parts.filter(removed_at=None).exists()


def test_nothing_chosen_says_so(bike: Restoration) -> None:
    with pytest.raises(ValidationError):
        edit_parts(changes={"condition": "sound"}, **given(bike) | {"parts": []})


def test_parts_of_another_bike_are_left_alone(bike: Restoration) -> None:
    other = add_part(restoration=restoration("Other"), name="Theirs", **WHO)
    edit_parts(changes={"condition": "sound"}, **given(bike) | {"parts": [*uids(bike), other.uid]})
    other.refresh_from_db()
    assert other.condition == "worn"


def test_the_journal_tells_of_one_change(shop: Workshop, bike: Restoration) -> None:
    before = Entry.objects.latest("pk").pk
    edit_parts(changes={"agreed_finish": shop.green}, **given(bike))
    told = list(Entry.objects.filter(pk__gt=before).order_by("pk"))
    assert told[0].reference.startswith("many ")
    assert {entry.reference for entry in told[1:]} == {told[0].reference + ALSO}
    assert len(told) == 24  # each part, and its route


@pytest.mark.parametrize(
    ("kind", "most"), [("condition", 12), ("agreed_finish", 27)], ids=["a plain field", "a finish and its route"]
)
def test_queries_are_bounded_by_part(shop: Workshop, kind: str, most: int) -> None:
    """What one more part costs, measured between 4 and 12 parts, and printed."""

    def queries(parts: int) -> int:
        row = restoration()
        for number in range(parts):
            frame(row, shop, name=f"Bracket {number}")
        changes = {"condition": "sound"} if kind == "condition" else {"agreed_finish": shop.green}
        asked = given(row)
        with CaptureQueriesContext(connection) as seen:
            edit_parts(changes=changes, **asked)
        return len(seen)

    few, many = queries(4), queries(12)
    each = (many - few) / 8
    print(f"{kind}: {few} queries for 4 parts, {many} for 12, {each} for each part")
    assert each <= most
