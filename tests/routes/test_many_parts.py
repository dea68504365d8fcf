"""`add_routed_parts` beside `add_routed_part`: the same parts and routes, in one go."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry
from shop.restorations.models import Part, Restoration
from shop.restorations.services import remove_part
from shop.routes.laying import NoRouteError
from shop.routes.models import Step
from shop.routes.parts import add_routed_part, add_routed_parts
from tests.workshop import WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
PART = [f.name for f in Part._meta.concrete_fields if f.name not in {"id", "uid", "restoration", "position"}]
STEP = [f.name for f in Step._meta.concrete_fields if f.name not in {"id", "uid", "part", "back_to"}]


def given(shop: Workshop) -> list[dict[str, object]]:
    return [
        {"name": "Frame", "area": Decimal(60), "old_finish": shop.green, "finish": shop.black},
        {"name": "Nut", "pieces": 2, "finish": shop.zinc, "factory_finish": shop.green, "depth": 1},
        {"name": "Grip", "material": "rubber"},
    ]


def facts(of: Restoration) -> list[object]:
    """Everything about parts and steps but their identity."""
    return [
        (
            [getattr(part, name) for name in PART],
            [
                ([getattr(step, name) for name in STEP], step.back_to and step.back_to.position)
                for step in part.steps.order_by("position")
            ],
        )
        for part in of.parts.order_by("position")
    ]


def test_many_parts_at_once_are_the_same_as_one_by_one():
    shop = workshop()
    one, many = restoration(), restoration()
    for row in given(shop):
        add_routed_part(restoration=one, **row, **WHO)
    added = add_routed_parts(restoration=many, rows=given(shop), **WHO)
    assert facts(many) == facts(one)
    assert [part.pk for part in added] == list(many.parts.order_by("position").values_list("pk", flat=True))
    assert len(facts(many)[0][1]) == 3


def test_they_come_after_the_parts_in_scope():
    shop = workshop()
    bike = restoration()
    remove_part(part=frame(bike, shop, name="Gone"), **WHO)
    frame(bike, shop)
    add_routed_parts(restoration=bike, rows=given(shop)[1:], **WHO)
    live = bike.parts.filter(removed_at__isnull=True).order_by("position")
    assert [part.name for part in live] == ["Frame", "Nut", "Grip"]


def test_the_scope_rises_once_and_the_journal_tells_of_each_part():
    shop = workshop()
    bike = restoration()
    before = bike.scope_version
    add_routed_parts(restoration=bike, rows=given(shop), **WHO)
    bike.refresh_from_db()
    assert bike.scope_version == before + 1
    told = Entry.objects.filter(what="part added").order_by("pk")
    assert [entry.subject_label for entry in told] == ["Frame", "Nut", "Grip"]
    assert f'"finish":{{"name":"Black","uid":"{shop.black.uid}"}}' in told[0].after


@pytest.mark.parametrize(
    ("wrong", "error"),
    [
        ({"finish": "zinc", "material": "rubber"}, NoRouteError),
        ({"area": Decimal(-1)}, ValidationError),
        ({"pieces": "x"}, ValidationError),
        ({"name": "x" * 101}, ValidationError),
        ({"name": " "}, ValidationError),
    ],
)
def test_one_wrong_part_leaves_none(wrong, error):
    shop = workshop()
    bike = restoration()
    entries = Entry.objects.count()
    row = {"name": "Wrong"} | wrong | ({"finish": shop.zinc} if "finish" in wrong else {})
    with pytest.raises(error):
        add_routed_parts(restoration=bike, rows=[*given(shop), row], **WHO)
    bike.refresh_from_db()
    assert (bike.parts.count(), Step.objects.count(), bike.scope_version) == (0, 0, 1)
    assert Entry.objects.count() == entries


def test_the_queries_do_not_grow_with_the_parts():
    """SQLite takes a limited number of values in one statement, so there it grows, but far more slowly."""
    shop = workshop()

    def asked(count: int) -> int:
        rows = [{"name": f"Nut {n}", "finish": shop.black} for n in range(count)]
        with CaptureQueriesContext(
            connection,
        ) as queries:
            add_routed_parts(restoration=restoration(), rows=rows, **WHO)
        return len(queries)

    few, many = asked(5), asked(500)
    assert many == few if connection.vendor == "postgresql" else many < few + 100


def test_a_way_back_is_saved_with_its_step_and_not_afterwards():
    """What it leads to is saved first, whatever leads to that."""
    shop = workshop()
    bike = restoration()
    with CaptureQueriesContext(connection) as queries:
        add_routed_parts(restoration=bike, rows=[{"name": "Frame", "finish": shop.black}], **WHO)
    assert not [q for q in queries if q["sql"].startswith("UPDATE") and "routes_step" in q["sql"]]
    assert Step.objects.filter(part__restoration=bike, back_to__isnull=False).exists() == shop_goes_back(shop)


def shop_goes_back(shop: Workshop) -> bool:
    """Whether the last step of black sends a part back to another than itself."""
    route = shop.black.routes.get(direction="apply")
    return any(step.back_to not in {None, step.position} for step in route.steps.all())
