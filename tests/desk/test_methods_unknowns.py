"""Possible damage and where to look up a finish, on the manager's pages: added, changed, ended, and told in words."""

import re
from decimal import Decimal
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.desk import damages
from quotes.desk.forms_finish import EvidenceForm
from shop.floor.forms_doing import DamageForm
from shop.journal.models import Entry
from shop.methods.models import Consumable, EvidenceSource, PartKind, PossibleDamage
from shop.restorations.damage import add_usual
from shop.restorations.models import FinishEvidence, Part, PartDamage
from tests import workshop
from tests.desk.conftest import signed_in
from tests.desk.test_methods import address, boxes, errors, save, sent, shop

__all__ = ["shop"]


def cracked() -> PossibleDamage:
    return PossibleDamage.objects.select_related("kind").get(name="Cracked lug")


def record() -> EvidenceSource:
    return EvidenceSource.objects.get(name="Works record")


def frame(shop: workshop.Workshop) -> Part:
    part = workshop.frame(workshop.restoration(), shop)
    part.kind = PartKind.objects.get(name="Frame")
    part.save(update_fields=["kind"])
    return part


def past(client: Client, where: str) -> str:
    """What the newest change on a page says."""
    html = client.get(where).content.decode().split('id="past"')[1]
    newest = html.split('<h3 class="happened-what">')[1].split("</section>")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", newest).split())


# -- possible damage -----------------------------------------------------------------------------------------------------


def test_the_list_says_how_often_and_what_it_costs(shop: workshop.Workshop, front_desk: Client) -> None:
    page = front_desk.get(reverse("desk:methods")).content.decode()
    assert "Frame, rare, €120.00 to €600.00" in page
    assert "fair, looking costs €45.00" in page


def test_a_damage_is_changed_and_told_in_words(shop: workshop.Workshop, manager: Client) -> None:
    where = address("damages", cracked())
    assert save(manager, where, frequency="common", likely_minor="240,5").status_code == 302
    damage = cracked()
    assert (damage.frequency, damage.low_minor, damage.likely_minor) == ("common", 12000, 24050)
    said = past(manager, where)
    assert "Cracked lug: changed" in said
    assert "how often from rare to common" in said
    assert "most likely from €230.00 to €240.50" in said


def test_what_a_word_stands_for_is_said_as_the_rate_book_has_it(shop: workshop.Workshop, manager: Client) -> None:
    for where in (address("damages", cracked()), reverse("desk:method_new", args=["damages"])):
        page = manager.get(where).content.decode()
        assert "Common: found on 50 of 100 bikes; sometimes: found on 15 of 100 bikes; rare: found on 3" in page
    assert "fair: makes a finish 5 times likelier" in manager.get(address("sources", record())).content.decode()


def test_the_same_damage_of_the_same_kind_is_there_once(shop: workshop.Workshop, manager: Client) -> None:
    typed = {"name": "Cracked lug", "frequency": "rare", "low_minor": "1", "likely_minor": "2", "high_minor": "3"}
    where = reverse("desk:method_new", args=["damages"])
    answer = manager.post(where, typed | {"kind": cracked().kind.pk, "cost_class": "labour"})
    assert answer.status_code == 422
    assert errors(answer) == {"name": ["This is on the list already. Give another name."]}
    tank = PartKind.objects.create(name="Tank")
    assert manager.post(where, typed | {"kind": tank.pk, "cost_class": "labour"}).status_code == 302


def test_its_caution_goes_only_with_a_word(shop: workshop.Workshop, manager: Client) -> None:
    PossibleDamage.objects.update(caution="A cracked frame is a stop.")
    where = address("damages", cracked())
    assert "caution" in errors(save(manager, where, caution=""))
    assert cracked().caution
    assert save(manager, where, caution="", caution_goes="on").status_code == 302


def test_what_it_lays_is_added_moved_and_taken_out(shop: workshop.Workshop, manager: Client) -> None:
    where = address("damages", cracked())
    own, vendor = f"o{shop.fit.pk}", f"s{shop.plate.pk}"
    typed = {"work-0": own, "quantity-0": "2,5", "work-1": vendor, "order-1": "0.5"}
    assert save(manager, where, **typed).status_code == 302
    assert [str(step.work) for step in cracked().steps.all()] == ["Zinc plate", "Fit"]
    assert cracked().steps.get(operation=shop.fit).quantity == Decimal("2.5")
    said = past(manager, where)
    assert "what is laid when it is found" in said
    assert "steps from nothing to vendor work Zinc plate; own work Fit, quantity 2.5" in said
    save(manager, where, **{"work-0": ""})
    assert [str(step.work) for step in cracked().steps.all()] == ["Fit"]
    count = Entry.objects.count()
    save(manager, where)
    assert Entry.objects.count() == count


def test_work_by_the_hour_says_how_many(shop: workshop.Workshop, manager: Client) -> None:
    shop.fit.measure = "hour"
    shop.fit.save()
    where = address("damages", cracked())
    answer = save(manager, where, frequency="common", **{"work-1": f"o{shop.fit.pk}"})
    assert answer.status_code == 422
    assert errors(answer, "steps") == {"quantity-1": ["Say how many hours."]}
    assert answer.context["steps"]["work-1"].value() == f"o{shop.fit.pk}"
    assert (cracked().frequency, cracked().steps.count()) == ("rare", 0)


def test_steps_somebody_else_changed_are_not_overwritten(shop: workshop.Workshop, manager: Client) -> None:
    where = address("damages", cracked())
    mine = sent(manager, where)
    save(signed_in("ann", "manager"), where, **{"work-0": f"o{shop.fit.pk}"})
    answer = manager.post(where, mine | {"work-0": f"o{shop.blast.pk}"})
    assert answer.status_code == 422
    assert "Somebody else changed these rows after you looked." in answer.content.decode()
    assert [str(step.work) for step in cracked().steps.all()] == ["Fit"]


def test_a_part_keeps_what_its_list_says_and_the_page_counts_who_pays(shop: workshop.Workshop, manager: Client) -> None:
    part = frame(shop)
    add_usual(part=part, treatment=PartDamage.Treatment.PROVISIONAL, **workshop.WHO)
    where = address("damages", cracked())
    save(manager, where, frequency="common", high_minor="900")
    row = part.damages.get()
    assert (row.frequency, row.high_minor) == ("rare", 60000)
    page = manager.get(where)
    assert page.context["beside"].listed == ((str(PartDamage.Treatment.PROVISIONAL.label), 1),)
    assert "no draft changes now" in page.content.decode()


def test_an_ended_damage_is_not_put_on_parts_any_more(shop: workshop.Workshop, manager: Client) -> None:
    part = frame(shop)
    assert (damages.listed(part).usual, len(damages.options(part)), len(DamageForm(part=part).fields)) == (1, 1, 6)
    save(manager, address("damages", cracked()), ended="on")
    assert "not used any more" in manager.get(reverse("desk:methods")).content.decode()
    assert (damages.listed(part).usual, damages.options(part), len(DamageForm(part=part).fields)) == (0, [], 5)
    assert add_usual(part=part, **workshop.WHO) == []


# -- sources -------------------------------------------------------------------------------------------------------------


def test_what_a_source_speaks_of_is_ticked_and_told(shop: workshop.Workshop, manager: Client) -> None:
    tank = PartKind.objects.create(name="Tank")
    where = address("sources", record())
    both = [str(PartKind.objects.get(name="Frame").pk), str(tank.pk)]
    assert save(manager, where, kinds=both, strength="strong", cost_minor="12").status_code == 302
    assert [str(kind) for kind in record().kinds.order_by("name")] == ["Frame", "Tank"]
    assert (record().strength, record().cost_minor) == ("strong", 1200)
    said = past(manager, where)
    assert "speaks of from Frame to Frame, Tank" in said
    assert "cost of looking from €45.00 to €12.00" in said
    data = sent(manager, where)
    del data["kinds"]
    manager.post(where, data)
    assert not record().kinds.exists()
    assert "speaks of from Frame, Tank to nothing" in past(manager, where)


def test_two_people_on_the_ticks_are_asked(shop: workshop.Workshop, manager: Client) -> None:
    tank, seat = (PartKind.objects.create(name=name) for name in ("Tank", "Seat"))
    where = address("sources", record())
    mine = sent(manager, where)
    save(signed_in("ann", "manager"), where, kinds=[str(tank.pk)])
    answer = manager.post(where, mine | {"kinds": [str(seat.pk)]})
    assert errors(answer) == {
        "kinds": ["Somebody else changed this to “Tank” meanwhile. Save again if yours shall stand."]
    }
    assert [str(kind) for kind in record().kinds.all()] == ["Tank"]
    again = mine | {"kinds": [str(seat.pk)], "seen-kinds": answer.context["form"].moved["kinds"]}
    assert manager.post(where, again).status_code == 302
    assert [str(kind) for kind in record().kinds.all()] == ["Seat"]


def test_an_ended_source_is_offered_only_where_it_was_given(shop: workshop.Workshop, manager: Client) -> None:
    part = frame(shop)
    told = FinishEvidence.objects.create(
        part=part, source=record(), kind="record", strength="fair", says=shop.black, added_at=workshop.NOW
    )
    save(manager, address("sources", record()), ended="on")

    def offered(form: EvidenceForm) -> list[str]:
        field: Any = form.fields["source"]
        return [str(row) for row in field.queryset]

    assert offered(EvidenceForm(part=part)) == []
    assert offered(EvidenceForm(part=part, evidence=told)) == ["Works record"]


# -- what happened, of the neighbours too --------------------------------------------------------------------------------


def test_what_an_operation_uses_and_a_route_are_told_in_words(shop: workshop.Workshop, manager: Client) -> None:
    where = address("operations", shop.blast)
    grit = Consumable.objects.create(name="Grit", unit="kg")
    save(manager, where, **{"consumable-0": str(grit.pk), "amount-0": "0.024", "waste-0": "10"})
    assert "what it uses" in past(manager, where)
    assert "uses from nothing to consumable Grit, amount 0.024, transfer efficiency [%] 100, waste [%] 10" in past(
        manager, where
    )
    save(manager, where, **{"factor-corroded": "1,3"})
    assert "how condition tells" in past(manager, where)
    assert "corroded: 1.3" in past(manager, where)
    route = reverse("desk:method_route", args=[shop.black.uid, "steel", "apply"])
    manager.post(route, boxes(manager, route) | {"work-1": ""})
    where = address("finishes", shop.black)
    assert "route: apply, steel" in past(manager, where)
    assert "steps from own work Blast; own work Spray" in past(manager, where)


# -- all of them ---------------------------------------------------------------------------------------------------------


def test_the_pages_ask_as_much_for_many_as_for_one(shop: workshop.Workshop, manager: Client) -> None:
    counts: dict[str, list[int]] = {}
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3}
    save(manager, address("damages", cracked()), high_minor="650")
    save(manager, address("sources", record()), cost_minor="44")
    for turn in range(2):
        for where in (reverse("desk:methods"), address("damages", cracked()), address("sources", record())):
            manager.get(where)
            with CaptureQueriesContext(connection) as found:
                manager.get(where)
            counts.setdefault(where, []).append(len(found))
        for number in range(6 if turn == 0 else 0):
            kind = PartKind.objects.create(name=f"Kind {number}")
            PossibleDamage.objects.create(kind=kind, name=f"Damage {number}", frequency="rare", **costs)
            EvidenceSource.objects.create(name=f"Source {number}").kinds.add(kind)
            cracked().steps.create(position=number + 1, operation=shop.fit)
            save(manager, address("damages", cracked()), high_minor=str(700 + number))
            save(manager, address("sources", record()), cost_minor=str(number))
    assert all(first == last for first, last in counts.values()), counts
