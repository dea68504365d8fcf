"""From rows of evidence to what the engine asks, and which sources are left to look into."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from quotes.engine import evidence as engine
from quotes.engine.errors import BadInput
from quotes.engine.inputs import NONE_OF_THESE, FinishQuestion, Work
from shop.methods.models import EvidenceSource, Finish, PartKind
from shop.rates.models import Odds
from shop.restorations.evidence import add_evidence, list_candidate, remove_evidence
from shop.restorations.models import FinishAgreement, Part, Restoration
from shop.restorations.services import change_part, remove_part
from shop.routes.finishes import list_finish, sign_finish
from shop.routes.models import Step
from shop.routes.parts import add_routed_part, choose_finish
from shop.routes.questions import look_ups, questions
from shop.routes.selectors import scope
from tests.workshop import NOW, SINCE, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal
ODDS = Odds(valid_from=SINCE)


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike() -> Restoration:
    return restoration()


@pytest.fixture
def tank(shop: Workshop, bike: Restoration) -> Part:
    """Agreed black, listed black and green; nobody has said yet what the factory did."""
    part = frame(bike, shop, name="Tank", factory_finish=None)
    for finish in (shop.black, shop.green):
        list_finish(part=part, finish=finish, **WHO)
    return part


def said(part: Part, says: Finish | None, **fields: Any) -> Any:
    return add_evidence(part=part, says=says, **{"kind": "trace", "origin": "under the badge"} | fields, **WHO)


def asked(part: Part, odds: Odds = ODDS) -> FinishQuestion | None:
    return questions(scope(Restoration.objects.get(pk=part.restoration_id)), odds).get(str(part.uid))


# -- questions ---------------------------------------------------------------------------------------------------------


def test_a_question_names_the_listed_finishes_with_the_works_of_their_routes(shop: Workshop, tank: Part) -> None:
    found = asked(tank)
    assert found is not None
    assert found.chosen == str(shop.black.uid)
    assert {item.name: item.prior for item in found.candidates} == {"Black": 1, "Green": 1}
    green = next(item for item in found.candidates if item.name == "Green")
    assert [(work.work, work.ref) for work in green.apply] == [
        (Work.OPERATION, str(shop.blast.uid)),
        (Work.OPERATION, str(shop.spray.uid)),
    ]
    assert [work.ref for work in green.remove] == [str(shop.strip.uid)]
    assert (found.none, found.noticed) == (D("0.03"), 1)


def test_words_become_the_ratios_of_the_odds_in_force(shop: Workshop, tank: Part) -> None:
    said(tank, shop.green, strength="strong")
    said(tank, None, strength="weak", origin="letter")
    found = asked(tank, Odds(valid_from=SINCE, strong=D(33), weak=D("1.5"), none=D(10), noticed=D(80)))
    assert found is not None
    assert [(item.says, item.strength) for item in found.evidence] == [
        (str(shop.green.uid), 33),
        (NONE_OF_THESE, D("1.5")),
    ]
    assert (found.none, found.noticed) == (D("0.1"), D("0.8"))


def test_what_does_not_speak_of_this_machine_or_was_taken_away_is_not_heard(shop: Workshop, tank: Part) -> None:
    """The machine is of 1957, first sold nobody knows where, and its frame is H1234."""
    said(tank, shop.green, origin="a", years_from=1958)
    said(tank, shop.green, origin="b", markets="Norway")
    said(tank, shop.green, origin="c", numbers_from="H2000")
    remove_evidence(evidence=said(tank, shop.green, origin="d"), **WHO)
    said(tank, shop.green, origin="e", numbers_from="H1000", numbers_to="H1999")
    found = asked(tank)
    assert found is not None
    assert [item.origin for item in found.evidence] == ["e"]


def test_one_finish_listed_is_a_question_only_with_evidence(shop: Workshop, bike: Restoration) -> None:
    part = frame(bike, shop, factory_finish=None)
    list_finish(part=part, finish=shop.black, **WHO)
    assert asked(part) is None
    said(part, shop.black)
    assert asked(part) is not None


def test_without_a_list_there_is_no_question(shop: Workshop, bike: Restoration) -> None:
    assert asked(frame(bike, shop)) is None


def test_who_signs_for_another_finish_knowing_asks_no_question(shop: Workshop, tank: Part) -> None:
    sign(tank, shop.black, deviation="Black, though it may have been green")
    assert asked(tank) is None
    choose_finish(part=tank, finish=shop.green, **WHO)
    assert asked(tank) is not None, "the signature was for black"


def test_a_signature_without_a_deviation_leaves_the_question(shop: Workshop, tank: Part) -> None:
    sign(tank, shop.black)
    assert asked(tank) is not None


def test_another_finish_than_those_listed_is_asked_about_while_the_factorys_is_open(shop: Workshop, tank: Part) -> None:
    choose_finish(part=tank, finish=shop.zinc, **WHO)
    found = asked(tank)
    assert found is not None
    assert found.chosen == str(shop.zinc.uid)
    change_part(part=tank, changes={"factory_finish": shop.green}, **WHO)
    assert asked(tank) is None


def test_where_nothing_is_agreed_yet_the_likeliest_is_taken(shop: Workshop, tank: Part) -> None:
    choose_finish(part=tank, finish=None, **WHO)
    said(tank, shop.green)
    found = asked(tank)
    assert found is not None
    assert found.chosen == str(shop.green.uid)


def test_a_listed_finish_with_no_route_is_said_at_the_part(shop: Workshop, bike: Restoration) -> None:
    part = add_routed_part(restoration=bike, name="Lever", material="aluminium", **WHO)
    with pytest.raises(ValidationError) as caught:
        list_finish(part=part, finish=shop.black, **WHO)
    assert "there is no route to put “Black” on aluminium" in caught.value.message_dict["finish"][0]
    assert not part.candidates.exists()
    for finish in (shop.black, shop.green):
        list_candidate(part=part, finish=finish, **WHO)
    with pytest.raises(BadInput, match="Lever: There is no route to put “Black” on aluminium"):
        asked(part)


def test_what_needs_no_taking_off_can_be_listed(shop: Workshop, tank: Part) -> None:
    list_finish(part=tank, finish=shop.zinc, **WHO)
    found = asked(tank)
    assert found is not None
    assert next(item.remove for item in found.candidates if item.name == "Zinc") == ()


def test_the_engine_takes_what_is_asked(shop: Workshop, tank: Part) -> None:
    """By hand: green .485 × 5 = 2.425 against black .485 and .03, of 2.94."""
    said(tank, shop.green)
    said(tank, shop.green, kind="print", origin=" Under the BADGE ")
    found = asked(tank)
    assert found is not None
    assert round(engine.belief(engine.checked(found))[str(shop.green.uid)], 9) == round(D("2.425") / D("2.94"), 9)


def test_questions_take_the_same_few_queries_for_one_part_and_for_many(
    shop: Workshop, tank: Part, django_assert_num_queries: Any
) -> None:
    said(tank, shop.green)
    for number in range(4):
        part = frame(tank.restoration, shop, name=f"Guard {number}", factory_finish=None)
        for finish in (shop.black, shop.green):
            list_finish(part=part, finish=finish, **WHO)
        said(part, shop.black, source=EvidenceSource.objects.create(name=f"Book {number}"))
        found = scope(Restoration.objects.select_related("machine").get())
        with django_assert_num_queries(3):
            assert len(questions(found, ODDS)) == number + 2
        with django_assert_num_queries(5):
            assert len(look_ups(found, ODDS)) == number + 1


# -- signing -----------------------------------------------------------------------------------------------------------


def sign(part: Part, finish: Finish, **fields: Any) -> FinishAgreement:
    given = {"who_agreed": "Jo Fenwick", "how": "signed", "said_on": TODAY} | fields
    return sign_finish(part=part, finish=finish, **given, **WHO)


def test_signing_lays_the_route_of_what_was_agreed(shop: Workshop, tank: Part) -> None:
    change_part(part=tank, changes={"factory_finish": shop.black}, **WHO)
    row = sign(tank, shop.zinc, deviation="Zinc in place of black, at the customer's wish")
    tank.refresh_from_db()
    assert (tank.agreed_finish, tank.factory_finish, tank.deviation) == (shop.zinc, shop.black, row.deviation)
    live = Step.objects.filter(part=tank, origin="finish", removed_at__isnull=True)
    assert [step.service for step in live] == [shop.plate]
    assert (row.who, row.recorded_by, row.at) == ("Jo Fenwick", "ada", NOW)


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        ({"who_agreed": " "}, "who", "blank"),
        ({"how": "telepathy"}, "how", "not a valid choice"),
        ({"said_on": TODAY.replace(year=2027)}, "said_on", "yet to come"),
        ({}, "deviation", "The factory finish is “Black”. Say how the agreed one departs from it."),
    ],
)
def test_a_signature_that_cannot_be_is_refused_whole(
    shop: Workshop, tank: Part, wrong: dict[str, Any], field: str, words: str
) -> None:
    change_part(part=tank, changes={"factory_finish": shop.black}, **WHO)
    with pytest.raises(ValidationError) as caught:
        sign(tank, shop.green, **({"deviation": "green"} | wrong if wrong else {}))
    assert words in caught.value.message_dict[field][0]
    tank.refresh_from_db()
    assert (tank.agreed_finish, FinishAgreement.objects.count()) == (shop.black, 0)


def test_a_finish_with_no_route_cannot_be_signed_for(shop: Workshop, tank: Part) -> None:
    bare = Finish.objects.create(name="Tin", process="dip")
    with pytest.raises(ValidationError) as caught:
        sign(tank, bare)
    assert "there is no route" in caught.value.message_dict["finish"][0]
    assert not FinishAgreement.objects.exists()


# -- looking up --------------------------------------------------------------------------------------------------------


def source(name: str = "Club archive", **fields: Any) -> EvidenceSource:
    return EvidenceSource.objects.create(name=name, **{"strength": "strong", "cost_minor": 4500} | fields)


def found_sources(part: Part) -> dict[str, tuple[str, ...]]:
    return {item.name: item.parts for item in look_ups(scope(Restoration.objects.get()), ODDS)}


def test_a_source_comes_with_its_cost_and_what_it_is_worth(shop: Workshop, tank: Part) -> None:
    row = source()
    (found,) = look_ups(scope(tank.restoration), ODDS)
    assert (found.key, found.cost, found.strength, found.parts) == (str(row.uid), 45, 20, (str(tank.uid),))


def test_a_source_speaks_of_its_kinds_years_and_markets(shop: Workshop, tank: Part) -> None:
    kinds = [PartKind.objects.create(name=name) for name in ("Tank", "Wheel")]
    source("of tanks").kinds.add(kinds[0])
    source("of wheels").kinds.add(kinds[1])
    source("of later years", years_from=1960)
    source("of these years", years_from=1950, years_to=1957)
    source("of Norway", markets="Norway")
    change_part(part=tank, changes={"kind": kinds[0]}, **WHO)
    assert set(found_sources(tank)) == {"of tanks", "of these years"}


def test_what_was_looked_into_for_the_upper_one_is_left_for_the_lower(shop: Workshop, bike: Restoration) -> None:
    kind = PartKind.objects.create(name="Fork yoke", pair="upper_lower")
    archive, yokes = source(), []
    for side in ("upper", "lower"):
        yoke = frame(bike, shop, name=f"Yoke, {side}", kind=kind, side=side, factory_finish=None)
        for finish in (shop.black, shop.green):
            list_finish(part=yoke, finish=finish, **WHO)
        yokes.append(yoke)
    upper, lower = yokes
    row = said(upper, shop.green, kind="record", source=archive)
    assert found_sources(upper) == {"Club archive": (str(lower.uid),)}
    assert {len(question.evidence) for question in questions(scope(bike), ODDS).values()} == {0, 1}
    remove_evidence(evidence=row, **WHO)
    assert found_sources(upper) == {"Club archive": (str(upper.uid), str(lower.uid))}


def test_a_source_is_left_out_where_nothing_is_listed_or_in_scope(shop: Workshop, tank: Part) -> None:
    source()
    frame(tank.restoration, shop, name="Saddle")
    assert found_sources(tank) == {"Club archive": (str(tank.uid),)}
    remove_part(part=tank, **WHO)
    assert found_sources(tank) == {}
