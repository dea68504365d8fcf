"""Finish evidence as rows: kept whole or not at all, told to the journal, refused at its field."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from shop.journal.models import Entry
from shop.methods.models import EvidenceSource, Finish, PartKind
from shop.restorations import evidence as services
from shop.restorations.models import FinishCandidate, FinishEvidence, Part
from shop.restorations.services import ChangedMeanwhileError, add_part, change_part, change_restoration, remove_part
from tests.workshop import NOW, WHO, restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def red() -> Finish:
    return Finish.objects.create(name="Red", process="paint")


@pytest.fixture
def black() -> Finish:
    return Finish.objects.create(name="Black", process="paint")


@pytest.fixture
def tank(red: Finish, black: Finish) -> Part:
    """A tank that was red or black, of a machine of 1957 with the frame number H1234."""
    part = add_part(restoration=restoration(), name="Tank", **WHO)
    for finish in (red, black):
        services.list_candidate(part=part, finish=finish, **WHO)
    return part


def trace(part: Part, says: Finish | None, **fields: Any) -> FinishEvidence:
    given = {"kind": "trace", "origin": "under the badge", "strength": "strong"} | fields
    return services.add_evidence(part=part, says=says, **given, **WHO)


def refusal(call: Any, **given: Any) -> dict[str, list[str]]:
    """What a call is refused with; nothing is written."""
    before = (Entry.objects.count(), FinishEvidence.objects.count(), FinishCandidate.objects.count())
    with pytest.raises(ValidationError) as caught:
        call(**given, **WHO)
    assert (Entry.objects.count(), FinishEvidence.objects.count(), FinishCandidate.objects.count()) == before
    return caught.value.message_dict if hasattr(caught.value, "error_dict") else {"": caught.value.messages}


def versions(part: Part) -> int:
    part.restoration.refresh_from_db()
    return part.restoration.scope_version


# -- kept --------------------------------------------------------------------------------------------------------------


def test_evidence_is_kept_with_who_and_when_and_changes_the_scope(tank: Part, red: Finish) -> None:
    before = versions(tank)
    row = trace(tank, red, note=" chip of red ")
    assert (row.added_by, row.added_at, row.note) == ("ada", NOW, "chip of red")
    assert versions(tank) == before + 1
    entry = Entry.objects.latest("id")
    assert (
        entry.what,
        f'"says":{{"name":"Red","uid":"{red.uid}"}}' in entry.after,
        '"part":"Tank"' in entry.after,
    ) == (
        "finish evidence added",
        True,
        True,
    )


def test_what_comes_from_a_source_has_its_name_as_origin_unless_it_has_its_own(tank: Part, red: Finish) -> None:
    source = EvidenceSource.objects.create(name="Club archive")
    assert trace(tank, red, kind="record", source=source, origin=" ").origin == "Club archive"
    assert trace(tank, red, kind="print", source=source, origin="Parts book").origin == "Parts book"


def test_evidence_can_be_changed_taken_away_and_brought_back(tank: Part, red: Finish, black: Finish) -> None:
    row = trace(tank, red)
    services.change_evidence(evidence=row, changes={"says": black, "strength": "weak"}, **WHO)
    services.remove_evidence(evidence=row, **WHO)
    assert FinishEvidence.objects.get().removed_at == NOW
    services.remove_evidence(evidence=row, **WHO)
    services.bring_back_evidence(evidence=row, **WHO)
    found = FinishEvidence.objects.get()
    assert (found.uid, found.says, found.strength, found.removed_at) == (row.uid, black, "weak", None)
    told = [entry.what for entry in Entry.objects.filter(what__startswith="finish evidence").order_by("id")]
    assert told == [f"finish evidence {what}" for what in ("added", "changed", "taken away", "brought back")]


def test_a_change_that_changes_nothing_leaves_no_entry(tank: Part, red: Finish) -> None:
    row = trace(tank, red)
    entries, version = Entry.objects.count(), versions(tank)
    services.change_evidence(evidence=row, changes={"says": red}, **WHO)
    assert refusal(services.change_evidence, evidence=row, changes={"years_from": 1960, "years_to": 1950})["years_to"]
    assert (Entry.objects.count(), versions(tank)) == (entries, version)


def test_two_people_do_not_overwrite_each_other(tank: Part, red: Finish, black: Finish) -> None:
    row = trace(tank, red)
    stale = FinishEvidence.objects.get()
    services.change_evidence(evidence=row, changes={"strength": "weak"}, **WHO)
    with pytest.raises(ChangedMeanwhileError):
        services.change_evidence(evidence=stale, changes={"strength": "fair"}, seen={"strength": "strong"}, **WHO)
    assert FinishEvidence.objects.get().strength == "weak"


# -- contradiction -----------------------------------------------------------------------------------------------------


def test_one_origin_that_says_two_things_is_refused_at_the_field_by_name(
    tank: Part, red: Finish, black: Finish
) -> None:
    trace(tank, red, origin="Parts book 1957")
    said = refusal(services.add_evidence, part=tank, says=black, kind="print", origin=" parts  BOOK 1957")
    assert said["says"][0].startswith("Contradicting evidence: “Parts book 1957” says already that it was “Red”.")


def test_none_of_these_contradicts_a_finish_and_the_other_way_round(tank: Part, red: Finish) -> None:
    trace(tank, None, origin="letter")
    assert (
        "none of these"
        in refusal(services.add_evidence, part=tank, says=red, kind="opinion", origin="letter")["says"][0]
    )


def test_copies_that_say_the_same_are_kept(tank: Part, red: Finish) -> None:
    for _copy in range(3):
        trace(tank, red)
    assert FinishEvidence.objects.count() == 3


def test_a_book_may_say_two_things_of_different_years(tank: Part, red: Finish, black: Finish) -> None:
    """The machine is of 1957: what the book says of later ones is silent here, and contradicts nobody."""
    trace(tank, red, origin="Parts book", years_from=1950, years_to=1957)
    trace(tank, black, origin="Parts book", years_from=1958)
    assert FinishEvidence.objects.count() == 2


def test_a_change_or_a_return_can_contradict_too(tank: Part, red: Finish, black: Finish) -> None:
    first = trace(tank, red)
    services.remove_evidence(evidence=first, **WHO)
    second = trace(tank, black)
    assert "says" in refusal(services.bring_back_evidence, evidence=first)
    other = trace(tank, red, origin="a letter")
    assert "says" in refusal(services.change_evidence, evidence=other, changes={"origin": "Under the badge"})
    second.refresh_from_db()
    assert (FinishEvidence.objects.get(pk=first.pk).removed_at, second.says) == (NOW, black)


def test_the_same_origin_says_one_thing_of_the_upper_and_another_of_the_lower(red: Finish, black: Finish) -> None:
    bike = restoration()
    kind = PartKind.objects.create(name="Fork yoke", pair="upper_lower")
    for side, finish in (("upper", red), ("lower", black)):
        yoke = add_part(restoration=bike, name=f"Fork yoke, {side}", kind=kind, side=side, **WHO)
        services.list_candidate(part=yoke, finish=finish, **WHO)
        trace(yoke, finish, origin="Parts book")
    assert [part.evidence.get().says for part in bike.parts.order_by("position")] == [red, black]


# -- refused -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        ({"origin": " "}, "origin", "blank"),
        ({"kind": "rumour"}, "kind", "not a valid choice"),
        ({"strength": "certain"}, "strength", "not a valid choice"),
        ({"years_from": 1960, "years_to": 1950}, "years_to", "The last year is before the first. Swap them."),
        ({"years_from": 57}, "years_from", "Give a year from 1880 to 2100."),
        ({"numbers_from": "unknown"}, "numbers_from", "There is no figure in it."),
        ({"numbers_from": "H200", "numbers_to": "H100"}, "numbers_to", "The last number is before the first."),
        ({"numbers_from": "H100", "numbers_to": "K200"}, "numbers_to", "different series"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    tank: Part, red: Finish, wrong: dict[str, Any], field: str, words: str
) -> None:
    given = {"kind": "trace", "origin": "under the badge", "says": red, "strength": "fair"} | wrong
    said = refusal(services.add_evidence, part=tank, **given)
    assert words in said[field][0]


def test_a_finish_that_is_not_listed_cannot_be_said(tank: Part) -> None:
    green = Finish.objects.create(name="Green", process="paint")
    said = refusal(services.add_evidence, part=tank, says=green, kind="trace", origin="a chip")
    assert said["says"] == ["“Green” is not on the list of what this part may have had. List it first."]


def test_the_machine_decides_what_speaks_and_correcting_it_is_enough(tank: Part, red: Finish, black: Finish) -> None:
    trace(tank, red, origin="Parts book", years_to=1957)
    bike = tank.restoration
    version = versions(tank)
    change_restoration(
        restoration=bike,
        customer={},
        machine={"year": 1958, "market": " Sweden "},
        title="",
        begun_on=bike.begun_on,
        **WHO,
    )
    tank.refresh_from_db()
    assert (bike.machine.market, versions(tank)) == ("Sweden", version + 1)
    trace(Part.objects.get(), black, origin="Parts book", years_from=1958)


@pytest.mark.parametrize("weight", ["0", "-1", "1000.01", "NaN"])
def test_a_weight_that_cannot_be_is_refused_at_its_field(tank: Part, weight: str) -> None:
    green = Finish.objects.create(name="Green", process="paint")
    assert "weight" in refusal(services.list_candidate, part=tank, finish=green, weight=Decimal(weight))
    row = tank.candidates.first()
    assert "weight" in refusal(services.weigh_candidate, candidate=row, weight=Decimal(weight))


def test_a_finish_is_listed_once_and_stays_while_evidence_speaks_for_it(tank: Part, red: Finish) -> None:
    assert "is on the list already" in refusal(services.list_candidate, part=tank, finish=red)["finish"][0]
    row = trace(tank, red)
    listed = tank.candidates.get(finish=red)
    assert "Take that evidence away first" in refusal(services.unlist_candidate, candidate=listed)["finish"][0]
    services.remove_evidence(evidence=row, **WHO)
    services.unlist_candidate(candidate=listed, **WHO)
    services.unlist_candidate(candidate=FinishCandidate(pk=0, part=tank, finish=red), **WHO)
    assert [item.finish.name for item in tank.candidates.all()] == ["Black"]
    assert "not on the list" in refusal(services.bring_back_evidence, evidence=row)["says"][0]


def test_nothing_changes_on_a_part_out_of_scope_or_on_evidence_taken_away(tank: Part, red: Finish) -> None:
    row = trace(tank, red)
    services.remove_evidence(evidence=row, **WHO)
    assert "taken away" in refusal(services.change_evidence, evidence=row, changes={"strength": "weak"})[""][0]
    remove_part(part=tank, **WHO)
    for call, given in (
        (services.add_evidence, {"part": tank, "says": red, "kind": "trace", "origin": "x"}),
        (services.bring_back_evidence, {"evidence": row}),
        (services.list_candidate, {"part": tank, "finish": red}),
    ):
        assert "out of scope" in refusal(call, **given)[""][0]


def test_a_kind_that_comes_as_upper_and_lower_has_no_left_one() -> None:
    kind = PartKind.objects.create(name="Fork yoke", pair="upper_lower")
    part = add_part(restoration=restoration(), name="Yoke", kind=kind, **WHO)
    with pytest.raises(ValidationError) as caught:
        change_part(part=part, changes={"side": "left"}, **WHO)
    assert caught.value.message_dict["side"] == [
        "“Fork yoke” comes as upper and lower. Choose one of these, or leave it empty."
    ]
    change_part(part=part, changes={"side": "lower"}, **WHO)
    assert Part.objects.get().side == "lower"
