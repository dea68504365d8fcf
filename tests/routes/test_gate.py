"""The gate: what destroys the traces, or puts a finish on, waits for proof or for a name."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from shop.journal.models import Entry
from shop.methods.models import Finish
from shop.rates.models import Odds
from shop.restorations.evidence import add_evidence
from shop.restorations.intake import change_intake, open_intake
from shop.restorations.models import FinishEvidence, Part, Restoration
from shop.restorations.services import change_part, change_restoration, remove_part
from shop.routes.finishes import list_finish, sign_finish
from shop.routes.gate import Cause, before_leaving, gate_for_scope, override, refusals
from shop.routes.models import Override, Step
from shop.routes.parts import choose_finish, choose_old_finish
from shop.routes.selectors import scope
from shop.routes.services import add_step
from tests.workshop import NOW, SINCE, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
ODDS = Odds(valid_from=SINCE)


@pytest.fixture
def shop() -> Workshop:
    """Blasting destroys traces; washing does so only where there is an old finish."""
    made = workshop()
    made.blast.destroys_evidence = True
    made.blast.save()
    made.fit.destroys_evidence = made.fit.spares_bare_metal = True
    made.fit.name = "Degrease"
    made.fit.save()
    return made


@pytest.fixture
def tank(shop: Workshop) -> Part:
    """Agreed black, listed black and green: the finish is blast, then spray."""
    part = frame(restoration(), shop, name="Tank")
    for finish in (shop.black, shop.green):
        list_finish(part=part, finish=finish, **WHO)
    return part


def step_of(part: Part, name: str) -> Step:
    live = Step.objects.filter(part=part, removed_at__isnull=True).select_related("part", "operation", "service")
    return next(step for step in live if str(step) == name)


def held(part: Part) -> dict[str, str]:
    """Step to why it is held back, by the list and step by step alike."""
    bike = Restoration.objects.get(pk=part.restoration_id)
    names = {str(step.uid): str(step) for step in Step.objects.filter(part=part)}
    by_list = {
        names[uid]: found[0].cause.value for uid, found in gate_for_scope(scope(bike), ODDS).items() if uid in names
    }
    live = Step.objects.filter(part__pk=part.pk, removed_at__isnull=True)
    one_by_one = {str(step): [item.cause.value for item in refusals(step, odds=ODDS)] for step in live}
    assert by_list == {name: causes[0] for name, causes in one_by_one.items() if causes}
    return by_list


def prove(part: Part, finish: Finish) -> None:
    add_evidence(part=part, says=finish, kind="trace", origin=f"trace of {finish}", strength="strong", **WHO)


def sign(part: Part, finish: Finish, deviation: str) -> None:
    given: dict[str, Any] = {"deviation": deviation, "who_agreed": "Jo", "how": "signed", "said_on": TODAY}
    sign_finish(part=part, finish=finish, **given, **WHO)


def test_until_it_is_proven_neither_blasting_nor_spraying_may_begin(tank: Part) -> None:
    assert held(tank) == {"Blast": Cause.DESTROYS, "Spray": Cause.UNPROVEN}


def test_a_list_alone_proves_nothing_even_where_it_names_one_finish(shop: Workshop) -> None:
    part = frame(restoration(), shop)
    assert set(held(part)) == {"Blast", "Spray"}
    list_finish(part=part, finish=shop.black, **WHO)
    assert set(held(part)) == {"Blast", "Spray"}


def test_proof_of_the_agreed_finish_frees_both(shop: Workshop, tank: Part) -> None:
    prove(tank, shop.black)
    assert held(tank) == {}


def test_weak_evidence_frees_nothing(shop: Workshop, tank: Part) -> None:
    add_evidence(part=tank, says=shop.black, kind="opinion", origin="a friend", strength="weak", **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}


def test_copies_of_one_print_free_nothing(shop: Workshop, tank: Part) -> None:
    """Two fair witnesses would prove it (.96); three copies of one are one (.82)."""
    for _copy in range(3):
        add_evidence(part=tank, says=shop.black, kind="print", origin="parts book", strength="fair", **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}
    add_evidence(part=tank, says=shop.black, kind="print", origin="sales sheet", strength="fair", **WHO)
    assert held(tank) == {}


def test_evidence_that_does_not_speak_of_this_machine_frees_nothing(shop: Workshop, tank: Part) -> None:
    add_evidence(part=tank, says=shop.black, kind="record", origin="record", strength="strong", years_from=1960, **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}


def test_where_another_finish_is_proven_the_agreed_one_waits(shop: Workshop, tank: Part) -> None:
    """Nothing is destroyed any more by blasting, but blasting is the beginning of black."""
    prove(tank, shop.green)
    assert held(tank) == {"Blast": Cause.ANOTHER, "Spray": Cause.ANOTHER}
    choose_finish(part=tank, finish=shop.green, **WHO)
    assert held(tank) == {}


def test_a_signed_deviation_frees_putting_it_on_but_not_destroying(shop: Workshop, tank: Part) -> None:
    sign(tank, shop.green, "Green at the customer's wish")
    assert held(tank) == {"Blast": Cause.DESTROYS}
    prove(tank, shop.black)
    assert held(tank) == {}


def test_proof_that_it_was_none_of_those_listed_frees_nothing(tank: Part) -> None:
    for origin in ("trace", "record", "print"):
        add_evidence(part=tank, says=None, kind="trace", origin=origin, strength="strong", **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}
    assert "none of those listed is proven" in refusals(step_of(tank, "Spray"), odds=ODDS)[0].sentence


def test_what_spares_bare_metal_waits_only_under_an_old_finish(shop: Workshop, tank: Part) -> None:
    add_step(part=tank, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    assert "Degrease" not in held(tank)
    choose_old_finish(part=tank, finish=shop.green, **WHO)
    assert held(tank)["Degrease"] == Cause.DESTROYS


def test_a_vendor_who_destroys_traces_waits_too(shop: Workshop, tank: Part) -> None:
    shop.plate.destroys_evidence = True
    shop.plate.save()
    add_step(part=tank, origin=Step.Origin.BEFORE, service=shop.plate, **WHO)
    assert held(tank)["Zinc plate"] == Cause.DESTROYS


def test_other_work_and_purchases_never_wait(shop: Workshop, tank: Part) -> None:
    shop.fit.destroys_evidence = False
    shop.fit.save()
    add_step(part=tank, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    add_step(part=tank, origin=Step.Origin.FINISH, buy="Badge", buy_source="used", **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}


def test_evidence_that_contradicts_itself_after_the_machine_was_corrected_holds_back_and_says_so(
    shop: Workshop, tank: Part
) -> None:
    for finish, years in ((shop.black, {"years_to": 1957}), (shop.green, {"years_from": 1957})):
        row = add_evidence(
            part=tank, says=finish, kind="print", origin="book", strength="strong", **WHO, years_from=1970
        )
        FinishEvidence.objects.filter(pk=row.pk).update(**{"years_from": None} | years)
    change_restoration(
        restoration=tank.restoration, customer={}, machine={"year": 1957}, title="", begun_on=TODAY, **WHO
    )
    assert "Contradicting evidence: “book” says two things." in refusals(step_of(tank, "Blast"), odds=ODDS)[0].sentence


def test_the_sentence_names_the_step_what_is_believed_and_what_to_do(shop: Workshop, tank: Part) -> None:
    add_evidence(part=tank, says=shop.green, kind="trace", origin="badge", strength="fair", **WHO)
    (found,) = refusals(step_of(tank, "Blast"), odds=ODDS)
    assert found.sentence == (
        "“Blast” destroys the traces of the factory finish. Green is likely, but not proven (about 5 in 6). Add evidence "
        "that proves it, or let somebody decide by name."
    )


# -- override ----------------------------------------------------------------------------------------------------------


def let(*steps: Step, **given: Any) -> Override:
    said = {"who_decided": "Eve", "reason": "bare metal all over"} | given
    return override(steps=steps, **said, odds=ODDS, **WHO)[0]


def test_a_name_lets_one_step_begin_and_no_other(tank: Part) -> None:
    row = let(step_of(tank, "Blast"), who_decided=" Eve ")
    assert (row.who, row.reason, row.recorded_by, row.at) == ("Eve", "bare metal all over", "ada", NOW)
    assert held(tank) == {"Spray": Cause.UNPROVEN}
    entry = Entry.objects.latest("id")
    assert (entry.what, "destroys the traces" in entry.after) == ("finish evidence overridden", True)


def test_a_name_lets_several_steps_begin_or_none_of_them(shop: Workshop, tank: Part) -> None:
    let(step_of(tank, "Blast"), step_of(tank, "Spray"))
    assert held(tank) == {}
    guard = frame(tank.restoration, shop, name="Guard")
    with pytest.raises(ValidationError, match="Nothing holds “Blast” back"):
        let(step_of(guard, "Spray"), step_of(guard, "Blast"), step_of(tank, "Blast"))
    assert Override.objects.count() == 2


def test_where_nothing_speaks_for_one_rather_than_another_none_is_called_the_likeliest(tank: Part) -> None:
    assert (
        "It is open: nothing speaks for one of those listed" in refusals(step_of(tank, "Blast"), odds=ODDS)[0].sentence
    )


def test_another_finish_needs_a_name_anew(shop: Workshop, tank: Part) -> None:
    for name in ("Blast", "Spray"):
        let(step_of(tank, name))
    choose_finish(part=tank, finish=shop.green, **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}


@pytest.mark.parametrize(
    ("given", "field"), [({"who_decided": " "}, "who"), ({"reason": ""}, "reason"), ({"reason": "x" * 201}, "reason")]
)
def test_an_override_without_a_name_or_a_reason_is_refused_at_its_field(
    tank: Part, given: dict[str, str], field: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        let(step_of(tank, "Blast"), **given)
    assert field in caught.value.message_dict
    assert not Override.objects.exists()


def test_what_is_not_held_back_needs_no_override(shop: Workshop, tank: Part) -> None:
    let(step_of(tank, "Blast"))
    with pytest.raises(ValidationError, match="Nothing holds “Blast” back"):
        let(step_of(tank, "Blast"))
    assert Override.objects.count() == 1


def test_an_override_is_kept_as_it_was_decided(tank: Part) -> None:
    row = let(step_of(tank, "Blast"))
    for change in (lambda: Override.objects.filter(pk=row.pk).update(reason="other"), row.delete):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()
    assert Override.objects.get().reason == "bare metal all over"


def test_out_of_scope_nothing_is_overridden(tank: Part) -> None:
    step = step_of(tank, "Blast")
    remove_part(part=tank, **WHO)
    with pytest.raises(ValidationError, match="out of scope"):
        let(step)


def test_the_gate_takes_five_queries_for_one_part_and_for_many(
    shop: Workshop, tank: Part, django_assert_num_queries: Any
) -> None:
    for number in range(3):
        part = frame(tank.restoration, shop, name=f"Guard {number}")
        list_finish(part=part, finish=shop.green, **WHO)
        prove(part, shop.green)
        found = scope(Restoration.objects.select_related("machine").get())
        with django_assert_num_queries(5):
            assert len(gate_for_scope(found, ODDS)) == 2 * (number + 2)


def test_a_shop_that_wants_to_be_surer_sets_the_bar_higher(shop: Workshop, tank: Part) -> None:
    """By hand: black .485 × 20 / (9.7 + .515) = .95."""
    prove(tank, shop.black)
    assert refusals(step_of(tank, "Blast"), odds=ODDS) == []
    assert refusals(step_of(tank, "Blast"), odds=Odds(valid_from=SINCE, proven=Decimal(96)))


def test_settling_the_factory_finish_by_hand_is_no_proof(shop: Workshop, tank: Part) -> None:
    change_part(part=tank, changes={"factory_finish": shop.black}, **WHO)
    assert set(held(tank)) == {"Blast", "Spray"}


# --- what leaves the house ---


def test_what_is_sent_out_waits_for_what_holds_a_step_before_it_and_what_is_bought_does_not(
    tank: Part, shop: Workshop
) -> None:
    first = add_step(part=tank, origin=Step.Origin.BEFORE, service=shop.plate, **WHO)
    last = add_step(part=tank, origin=Step.Origin.AFTER, service=shop.plate, **WHO)
    seal = add_step(part=tank, origin=Step.Origin.AFTER, buy="Seal", buy_source="reproduction", **WHO)
    found = before_leaving([tank.restoration_id], ODDS)
    assert found[last.uid] == Cause.DESTROYS
    assert first.uid not in found
    assert seal.uid not in found
    prove(tank, shop.black)
    assert before_leaving([tank.restoration_id], ODDS) == {}


def test_numbers_that_do_not_match_hold_back_what_is_bought_too(tank: Part, shop: Workshop) -> None:
    seal = add_step(part=tank, origin=Step.Origin.BEFORE, buy="Seal", buy_source="reproduction", **WHO)
    intake = open_intake(restoration=tank.restoration, came_on=TODAY, **WHO)
    change_intake(intake=intake, changes={"papers_frame_number": "H1235"}, **WHO)
    assert before_leaving([tank.restoration_id], ODDS)[seal.uid] == Cause.NUMBERS
    assert not before_leaving([restoration().pk], ODDS)


def test_several_bikes_are_read_in_as_many_queries_as_one(
    tank: Part, shop: Workshop, django_assert_max_num_queries: Any
) -> None:
    others = [frame(restoration(), shop, name="Tank") for _number in range(4)]
    with django_assert_max_num_queries(8):
        found = before_leaving([tank.restoration_id, *(part.restoration_id for part in others)], ODDS)
    assert len(found) == 10
