"""The pages of methods: the manager defines, the desk reads, two people cannot overwrite each other, cautions do not vanish."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.desk.methods.definitions import DEFINITIONS
from shop.journal.models import Entry
from shop.methods.models import (
    Cause,
    Consumable,
    EvidenceSource,
    Finish,
    FinishRoute,
    Operation,
    PartKind,
    Place,
    PossibleDamage,
    Service,
    SizeClass,
    Template,
    TemplatePart,
    Vendor,
)
from tests import workshop
from tests.desk.conftest import signed_in


@pytest.fixture
def shop(db: None) -> workshop.Workshop:
    made = workshop.workshop()
    Operation.objects.filter(pk=made.blast.pk).update(caution="Lead in old paint.")
    Place.objects.create(name="Cabinet", capacity=Decimal(60))
    frames = PartKind.objects.create(name="Frame")
    PossibleDamage.objects.create(
        kind=frames, name="Cracked lug", frequency="rare", low_minor=12000, likely_minor=23000, high_minor=60000
    )
    EvidenceSource.objects.create(name="Works record", cost_minor=4500).kinds.add(frames)
    Cause.objects.create(name="Seal forgotten")
    SizeClass.objects.create(name="Small", area=1, weight=1)
    return made


def address(slug: str, thing: Any) -> str:
    return reverse("desk:method", args=[slug, thing.uid])


def sent(client: Client, where: str) -> dict[str, Any]:
    """A page's boxes as a browser sends them: an empty tick is not sent."""
    context = client.get(where).context
    data: dict[str, Any] = {}
    for box, seen in context["form"].boxes():
        data["seen-" + box.name] = seen
        _put(data, box)
    for rows in ("uses", "steps"):
        for box in context[rows] or ():
            _put(data, box)
    return data


def _put(data: dict[str, Any], box: Any) -> None:
    value = box.value()
    if isinstance(value, list):
        data[box.html_name] = [str(getattr(one, "pk", one)) for one in value]
    elif value is True:
        data[box.html_name] = "on"
    elif value is not False:
        data[box.html_name] = "" if value is None else str(value)


def save(client: Client, where: str, **typed: Any) -> Any:
    return client.post(where, sent(client, where) | typed)


def errors(answer: Any, form: str = "form") -> dict[str, list[str]]:
    return {name: [str(text) for text in said] for name, said in answer.context[form].errors.items()}


# -- who may -------------------------------------------------------------------------------------------------------------


def test_the_desk_reads_and_only_the_manager_defines(
    shop: workshop.Workshop, front_desk: Client, mechanic: Client
) -> None:
    assert front_desk.get(reverse("desk:methods")).status_code == 200
    assert mechanic.get(reverse("desk:methods")).status_code == 403
    for definition in DEFINITIONS:
        where = address(definition.slug, definition.rows()[0])
        page = front_desk.get(where)
        assert page.status_code == 200
        assert b"data-keep" not in page.content
        assert front_desk.post(where, {}).status_code == mechanic.get(where).status_code == 403
        new = reverse("desk:method_new", args=[definition.slug])
        assert front_desk.get(new).status_code == front_desk.post(new).status_code == 403
    route = reverse("desk:method_route", args=[shop.black.uid, "steel", "apply"])
    assert front_desk.get(route).status_code == front_desk.post(route).status_code == 403


def test_the_desk_reads_what_an_operation_says(shop: workshop.Workshop, front_desk: Client) -> None:
    page = front_desk.get(address("operations", shop.blast)).content.decode()
    for words in ("Lead in old paint.", "Data sheets, local codes and qualified people stand over it.", "mechanic"):
        assert words in page
    assert "Enamel" in front_desk.get(address("operations", shop.spray)).content.decode()


# -- changing ------------------------------------------------------------------------------------------------------------


def test_only_what_was_typed_is_changed_and_the_journal_says_so(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    count = Entry.objects.count()
    assert save(manager, where).status_code == 302
    assert Entry.objects.count() == count  # nothing typed, nothing changed
    assert save(manager, where, elapsed="30").status_code == 302
    shop.blast.refresh_from_db()
    assert (shop.blast.elapsed, shop.blast.shares_setup, shop.blast.measure) == (30, True, "dm2")
    entry = Entry.objects.latest("pk")
    assert (entry.who, entry.what, entry.before, entry.after) == (
        "eve",
        "method changed",
        '{"elapsed":0}',
        '{"elapsed":30}',
    )


def test_a_tick_can_be_taken_away(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    data = sent(manager, where)
    assert data.pop("shares_setup") == "on"
    manager.post(where, data | {"plates": "on"})
    shop.blast.refresh_from_db()
    assert (shop.blast.shares_setup, shop.blast.plates) == (False, True)


@pytest.mark.parametrize("slug", [definition.slug for definition in DEFINITIONS])
def test_saving_a_page_as_it_is_changes_nothing(shop: workshop.Workshop, manager: Client, slug: str) -> None:
    count = Entry.objects.count()
    (definition,) = [definition for definition in DEFINITIONS if definition.slug == slug]
    for thing in definition.rows():
        assert save(manager, address(slug, thing)).status_code == 302
    assert Entry.objects.count() == count


def test_two_people_on_different_boxes_both_stand(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    mine = sent(manager, where)
    assert save(signed_in("ann", "manager"), where, elapsed="45").status_code == 302
    assert manager.post(where, mine | {"latest_wait": "90"}).status_code == 302
    shop.blast.refresh_from_db()
    assert (shop.blast.elapsed, shop.blast.latest_wait) == (45, 90)


def test_two_people_on_one_box_are_asked(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    mine = sent(manager, where)
    save(signed_in("ann", "manager"), where, elapsed="45")
    answer = manager.post(where, mine | {"elapsed": "20"})
    assert answer.status_code == 422
    assert errors(answer) == {
        "elapsed": ["Somebody else changed this to “45” meanwhile. Save again if yours shall stand."]
    }
    shop.blast.refresh_from_db()
    assert shop.blast.elapsed == 45
    boxes = {box.name: (box.value(), seen) for box, seen in answer.context["form"].boxes()}
    assert boxes["elapsed"] == ("20", "45")  # mine is still typed, and theirs is now what was seen
    again = mine | {"elapsed": "20", "seen-elapsed": "45"}
    assert manager.post(where, again).status_code == 302
    shop.blast.refresh_from_db()
    assert shop.blast.elapsed == 20


@pytest.mark.parametrize(
    ("slug", "name", "typed", "box", "sentence"),
    [
        ("operations", "Blast", {"name": "Spray"}, "name", "already exists"),
        ("operations", "Blast", {"elapsed": "-1"}, "elapsed", "0"),
        ("operations", "Blast", {"measure": "mile"}, "measure", "Choose one from the list."),
        ("consumables", "Enamel", {"solids": "0"}, "solids", "needs its volume solids: more than 0 and at most 100 %."),
        ("consumables", "Enamel", {"smallest_mix": "lots"}, "smallest_mix", "Give a number in digits"),
        ("vendors", "Brook Platers", {"email": "not one"}, "email", "valid email"),
        ("services", "Zinc plate", {"late_spread": "-1"}, "late_spread", "0"),
        ("finishes", "Black", {"swatch": "#1234567"}, "swatch", "7"),
        ("sizes", "Small", {"area": "-1"}, "area", "0"),
        ("damages", "Cracked lug", {"likely_minor": "100"}, "likely_minor", "“Most likely” is less than “at least”."),
        ("damages", "Cracked lug", {"high_minor": "100"}, "high_minor", "“At most” is less than “most likely”."),
        ("damages", "Cracked lug", {"low_minor": "-1"}, "low_minor", "Give 0 or more."),
        ("damages", "Cracked lug", {"low_minor": "1.005"}, "low_minor", "Give 2 decimal places at most."),
        ("damages", "Cracked lug", {"frequency": "often"}, "frequency", "Choose one from the list."),
        ("sources", "Works record", {"cost_minor": "-1"}, "cost_minor", "Give 0 or more."),
        ("sources", "Works record", {"years_from": "1938", "years_to": "1930"}, "years_to", "Swap them."),
        ("sources", "Works record", {"strength": "sure"}, "strength", "Choose one from the list."),
        ("sources", "Works record", {"kinds": "0"}, "kinds", "Choose"),
    ],
)
def test_what_cannot_be_is_refused_at_its_box(
    shop: workshop.Workshop, manager: Client, slug: str, name: str, typed: dict[str, str], box: str, sentence: str
) -> None:
    (definition,) = [definition for definition in DEFINITIONS if definition.slug == slug]
    thing = definition.model._default_manager.get(name=name)
    count = Entry.objects.count()
    answer = save(manager, address(slug, thing), **typed)
    assert answer.status_code == 422
    assert list(errors(answer)) == [box]
    assert sentence in errors(answer)[box][0]
    assert answer.context["form"][next(iter(typed))].value() in (next(iter(typed.values())), [*typed.values()])
    assert Entry.objects.count() == count


def test_a_caution_goes_only_with_a_word(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    answer = save(manager, where, caution="  ")
    assert answer.status_code == 422
    assert "This would leave the work without its caution" in errors(answer)["caution"][0]
    assert "The caution may go" in answer.content.decode()
    shop.blast.refresh_from_db()
    assert shop.blast.caution == "Lead in old paint."
    assert save(manager, where, caution="", caution_goes="on").status_code == 302
    shop.blast.refresh_from_db()
    assert shop.blast.caution == ""
    assert '"caution":"Lead in old paint."' in Entry.objects.latest("pk").before


def test_a_caution_may_be_written_anew_without_asking(shop: workshop.Workshop, manager: Client) -> None:
    save(manager, address("operations", shop.blast), caution="Lead.\r\nSilica.")
    shop.blast.refresh_from_db()
    assert shop.blast.caution == "Lead.\nSilica."


# -- what an operation uses, and condition -------------------------------------------------------------------------------


def test_factors_and_usages_are_set_as_rows(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    grit = Consumable.objects.create(name="Grit", unit="kg")
    typed = {"factor-corroded": "1,3", "consumable-0": str(grit.pk), "amount-0": "0.024", "waste-0": "10"}
    assert save(manager, where, **typed).status_code == 302
    assert dict(shop.blast.condition_factors.values_list("condition", "factor")) == {"corroded": Decimal("1.3")}
    usage = shop.blast.usages.get()
    assert (usage.consumable, usage.amount, usage.waste, usage.transfer) == (grit, Decimal("0.024"), 10, 100)
    count = Entry.objects.count()
    save(manager, where)
    assert Entry.objects.count() == count
    save(manager, where, **{"factor-corroded": "", "consumable-0": ""})
    assert not shop.blast.condition_factors.exists()
    assert not shop.blast.usages.exists()


@pytest.mark.parametrize(
    ("typed", "box", "sentence"),
    [
        ({"factor-worn": "-1"}, "factor-worn", "0"),
        ({"transfer-0": "0"}, "transfer-0", "more than 0 and at most 100 %"),
        ({"amount-0": "0.12345"}, "amount-0", "4 decimal places"),
        ({"consumable-1": "same"}, "__all__", "The same consumable is there twice."),
    ],
)
def test_a_row_that_cannot_be_is_refused_and_nothing_else_is_kept(
    shop: workshop.Workshop, manager: Client, typed: dict[str, str], box: str, sentence: str
) -> None:
    where = address("operations", shop.spray)
    if "consumable-1" in typed:
        typed = typed | {"consumable-1": str(shop.paint.pk)}
    answer = save(manager, where, elapsed="99", **typed)
    assert answer.status_code == 422
    assert list(errors(answer, "uses")) == [box]
    assert sentence in errors(answer, "uses")[box][0]
    shop.spray.refresh_from_db()
    assert shop.spray.elapsed == 0
    assert shop.spray.usages.get().film == 50


def test_rows_somebody_else_changed_are_not_overwritten(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.spray)
    mine = sent(manager, where)
    save(signed_in("ann", "manager"), where, **{"film-0": "70"})
    answer = manager.post(where, mine | {"film-0": "60"})
    assert answer.status_code == 422
    assert "Somebody else changed these rows after you looked." in answer.content.decode()
    assert shop.spray.usages.get().film == 70


# -- new things ----------------------------------------------------------------------------------------------------------


def test_new_things_are_added_and_told(shop: workshop.Workshop, manager: Client) -> None:
    vendor = Vendor.objects.get()
    for slug, typed in (
        (
            "operations",
            {
                "name": "Polish",
                "grade": shop.grade.pk,
                "measure": "dm2",
                "elapsed": "0",
                "caution": "Dust.",
                "setup": "10",
                "run": "1,5",
            },
        ),
        (
            "consumables",
            {"name": "Wax", "unit": "kg", "by": "measure", "solids": "0", "density": "0", "smallest_mix": "0"},
        ),
        ("vendors", {"name": "Fell Plating"}),
        (
            "services",
            {
                "name": "Nickel",
                "vendor": vendor.pk,
                "measure": "dm2",
                "lead_days": "10",
                "late_spread": "0.35",
                "bake_hours": "0",
            },
        ),
        ("finishes", {"name": "Blue", "process": "paint"}),
        ("grades", {"name": "Journeyman", "alone": "Washing."}),
        ("places", {"name": "Oven", "capacity": "4", "capacity_by": "piece"}),
        ("kinds", {"name": "Tank"}),
        (
            "damages",
            {
                "kind": PartKind.objects.get(name="Frame").pk,
                "name": "Bent",
                "frequency": "sometimes",
                "low_minor": "180",
                "likely_minor": "400,50",
                "high_minor": "720",
                "cost_class": "vendor",
            },
        ),
        (
            "sources",
            {"name": "Club archive", "strength": "fair", "cost_minor": "0", "kinds": [PartKind.objects.all()[0].pk]},
        ),
        ("sizes", {"name": "Large", "area": "30", "weight": "4"}),
    ):
        answer = manager.post(reverse("desk:method_new", args=[slug]), typed)
        assert answer.status_code == 302, errors(answer)
        assert manager.get(answer["Location"]).status_code == 200
        assert Entry.objects.latest("pk").what == ("standard time noted" if slug == "operations" else "method added")
    assert Operation.objects.get(name="Polish").shares_setup is False
    assert Service.objects.get(name="Nickel").vendor == vendor
    twice = manager.post(reverse("desk:method_new", args=["kinds"]), {"name": "Tank"})
    assert twice.status_code == 422
    assert "name" in errors(twice)


NEW = {"name": "Polish", "measure": "dm2", "elapsed": "0", "setup": "10", "run": "1.5"}


def test_a_new_operation_has_its_time_from_today_on(shop: workshop.Workshop, manager: Client) -> None:
    where = reverse("desk:method_new", args=["operations"])
    manager.post(where, NEW | {"grade": shop.grade.pk})
    time = Operation.objects.get(name="Polish").times.get()
    assert (time.setup, time.run, time.valid_from) == (10, Decimal("1.5"), timezone.localdate())


@pytest.mark.parametrize(
    ("typed", "box", "form"),
    [
        ({"run": ""}, "run", "time"),
        ({"setup": "-1"}, "setup", "time"),
        ({"run": "1.2345"}, "run", "time"),
        ({"name": "Blast"}, "name", "form"),
    ],
)
def test_a_new_operation_is_kept_with_its_time_or_not_at_all(
    shop: workshop.Workshop, manager: Client, typed: dict[str, str], box: str, form: str
) -> None:
    before = (Operation.objects.count(), Entry.objects.count())
    answer = manager.post(reverse("desk:method_new", args=["operations"]), NEW | {"grade": shop.grade.pk} | typed)
    assert answer.status_code == 422
    assert list(errors(answer, form)) == [box]
    assert (Operation.objects.count(), Entry.objects.count()) == before


def test_the_head_marks_the_rate_book_on_the_pages_of_methods(shop: workshop.Workshop, manager: Client) -> None:
    nav = manager.get(reverse("desk:methods")).context["nav"]
    assert [url for url, _label, here in nav if here] == [reverse("desk:rates")]


# -- routes of finishes --------------------------------------------------------------------------------------------------


def route(of: Finish, material: str = "steel", direction: str = "apply") -> str:
    return reverse("desk:method_route", args=[of.uid, material, direction])


def boxes(client: Client, where: str) -> dict[str, str]:
    data: dict[str, str] = {}
    for box in client.get(where).context["form"]:
        _put(data, box)
    return data


def names(finish: Finish, material: str = "steel") -> list[str]:
    found = FinishRoute.objects.get(finish=finish, material=material, direction="apply")
    return [str(step.work) for step in found.steps.order_by("position")]


def test_a_step_is_added_moved_and_taken_out(shop: workshop.Workshop, manager: Client) -> None:
    where = route(shop.black)
    fit = f"o{shop.fit.pk}"
    assert manager.post(where, boxes(manager, where) | {"work-2": fit, "order-2": "1.5"}).status_code == 302
    assert names(shop.black) == ["Blast", "Fit", "Spray"]
    entry = Entry.objects.latest("pk")
    assert entry.what == "route set: apply on steel"
    assert (entry.before.count("Fit"), entry.after.count("Fit")) == (0, 1)
    manager.post(where, boxes(manager, where) | {"order-0": "9", "back_to-2": "", "remove_first-2": ""})
    assert names(shop.black) == ["Fit", "Spray", "Blast"]
    manager.post(where, boxes(manager, where) | {"work-0": "", "back_to-1": ""})
    assert names(shop.black) == ["Spray", "Blast"]
    assert names(shop.green) == ["Blast", "Spray"]


def test_a_route_for_another_material_begins_empty(shop: workshop.Workshop, manager: Client) -> None:
    where = route(shop.black, "aluminium")
    assert manager.get(where).status_code == 200
    assert not FinishRoute.objects.filter(material="aluminium").exists()  # looking makes none
    manager.post(where, boxes(manager, where) | {"work-0": f"s{shop.plate.pk}"})
    assert names(shop.black, "aluminium") == ["Zinc plate"]
    manager.post(where, boxes(manager, where) | {"work-0": ""})
    assert not FinishRoute.objects.filter(material="aluminium").exists()


@pytest.mark.parametrize(
    ("typed", "box"),
    [({"fail_chance-1": "100"}, "fail_chance-1"), ({"back_to-0": "2"}, "back_to-0"), ({"work-0": "o0"}, "work-0")],
)
def test_a_route_that_cannot_be_is_refused(
    shop: workshop.Workshop, manager: Client, typed: dict[str, str], box: str
) -> None:
    where = route(shop.black)
    answer = manager.post(where, boxes(manager, where) | typed)
    assert answer.status_code == 422
    assert list(errors(answer)) == [box]
    assert names(shop.black) == ["Blast", "Spray"]


def test_a_route_somebody_else_changed_is_not_overwritten(shop: workshop.Workshop, manager: Client) -> None:
    where = route(shop.black)
    mine = boxes(manager, where)
    signed_in("ann", "manager").post(where, mine | {"fail_chance-1": "20"})
    answer = manager.post(where, mine | {"fail_chance-1": "5"})
    assert "Somebody else changed these rows after you looked." in answer.content.decode()
    assert FinishRoute.objects.get(finish=shop.black, direction="apply").steps.get(position=2).fail_chance == 20


@pytest.mark.parametrize("tail", [("gold", "apply"), ("steel", "sideways")])
def test_no_route_for_what_is_not(shop: workshop.Workshop, manager: Client, tail: tuple[str, str]) -> None:
    assert manager.get(route(shop.black, *tail)).status_code == 404


# -- queries -------------------------------------------------------------------------------------------------------------


def test_a_finish_and_a_template_ask_as_much_for_many_as_for_one(shop: workshop.Workshop, manager: Client) -> None:
    template = Template.objects.create(name="Single")

    def asked(where: str) -> int:
        with CaptureQueriesContext(connection) as told:
            assert manager.get(where).status_code == 200
        return len(told)

    finish = address("finishes", shop.zinc)
    parts = reverse("desk:template", args=[template.uid])
    TemplatePart.objects.create(template=template, position=1, area_name="Frame", name="Frame", finish=shop.black)
    few = asked(finish), asked(parts)
    for number in range(2, 6):
        TemplatePart.objects.create(
            template=template, position=number, area_name="Frame", name=f"Part {number}", finish=shop.green
        )
        made = FinishRoute.objects.create(
            finish=shop.black, material=["brass", "rubber", "stainless", "other"][number - 2]
        )
        made.steps.create(position=1, service=shop.plate, fail_chance=number)
    assert (asked(finish), asked(parts)) == few
