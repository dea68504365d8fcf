"""The page that sends a quote out: what its stage offers, what stands in the way, and the choice of another stage."""

import re
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedQuote, Stage
from shop.methods.models import Operation, StandardTime
from shop.people.roles import ROLE_MECHANIC
from shop.rates.services import note_odds
from shop.restorations.models import Restoration
from shop.restorations.services import change_part
from shop.routes.models import Step
from shop.routes.services import add_step
from tests.desk.test_editor import person
from tests.workshop import SINCE, WHO, Workshop, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame(made, shop)
    draft(made)
    return made


def at(bike: Restoration, stage: Stage) -> None:
    Draft.objects.filter(restoration=bike).update(stage=stage)


def look(client: Client, bike: Restoration) -> str:
    html = client.get(reverse("desk:issue", args=[bike.uid])).content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.split("<main")[1]))


def issue(client: Client, bike: Restoration, **said: str) -> Any:
    address = reverse("desk:issue", args=[bike.uid])
    return client.post(address, client.get(address).context["form"].initial | said)


def choose(client: Client, bike: Restoration, stage: str, seen: str = "") -> Any:
    return client.post(reverse("desk:issue_stage", args=[bike.uid]), {"stage": stage, "seen_stage": seen})


# -- what is not settled ---------------------------------------------------------------------------------------------


def test_a_part_with_many_gaps_is_one_line_that_leads_to_the_box(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    part = frame(bike, shop, name="Tank", area=None, weight=None)
    other = frame(bike, shop, name="Stays", finish=shop.zinc)
    context = front_desk.get(reverse("desk:issue", args=[bike.uid])).context
    lines = context["blocking"]
    assert [item.part for item in lines] == ["Tank", "Stays"]
    assert lines[0].address == f"/parts/{part.uid}/#box-{part.uid}-size_class"
    assert lines[1].address == f"/parts/{other.uid}/#box-{other.uid}-strength"
    assert len(lines[0].sentences) == 1
    assert "A size class is enough" in lines[0].sentences[0]
    for item in lines:
        address, box = item.address.split("#")
        assert f'id="{box}"' in front_desk.get(address).content.decode()


def test_a_ballpark_may_go_out_with_gaps_that_an_offer_may_not_have(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    frame(bike, shop, name="Tank", area=None, weight=None)
    frame(bike, shop, name="Stays", finish=shop.zinc)
    assert issue(front_desk, bike).status_code == 422
    at(bike, Stage.BALLPARK)
    said = look(front_desk, bike)
    assert "On 2 parts something is not settled. A ballpark may go out with that" in said
    assert "Electroplating can make strong steel break without warning" in said
    assert "Settle this first" not in said
    assert issue(front_desk, bike).status_code == 302
    assert IssuedQuote.objects.get().stage == Stage.BALLPARK


def test_steel_that_must_not_be_plated_stays_in_sight_at_a_ballpark_and_stops_an_offer(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    part = frame(bike, shop, name="Stays", finish=shop.zinc)
    change_part(part=part, changes={"strength": 1750}, **WHO)
    assert "It must not be electroplated at 1750 MPa" in look(front_desk, bike)
    assert issue(front_desk, bike).status_code == 422
    at(bike, Stage.BALLPARK)
    assert "It must not be electroplated at 1750 MPa" in look(front_desk, bike)


# -- guesses ---------------------------------------------------------------------------------------------------------


def test_guesses_are_folded_with_their_number_and_a_missing_tick_is_asked_for_at_its_box(
    front_desk: Client, bike: Restoration
) -> None:
    for name in ("Badge", "Seal"):
        add_step(
            part=bike.parts.get(), origin=Step.Origin.AFTER, buy=name, buy_source="used", buy_price_minor=900, **WHO
        )
    html = front_desk.get(reverse("desk:issue", args=[bike.uid])).content.decode()
    assert '<details class="notice"><summary>2 prices are only guessed</summary>' in html
    refused = issue(front_desk, bike)
    assert refused.status_code == 422
    form = refused.context["form"]
    assert form.errors["guesses_are_told"] == ["Some prices are only guessed. Tick that you know, or note better ones."]
    assert re.search(r'<input[^>]*name="guesses_are_told"[^>]*\bautofocus', refused.content.decode())
    assert issue(front_desk, bike, guesses_are_told="on").status_code == 302


# -- what the sum says at each stage ---------------------------------------------------------------------------------


def test_a_stage_has_one_heading_and_says_nothing_of_the_whole_bike(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    strip_down(bike, shop)
    for stage, heading in (
        (Stage.BALLPARK, "Ballpark: what the customer reads"),
        (Stage.INSPECT, "Strip and inspect: the customer pays"),
    ):
        at(bike, stage)
        said = look(front_desk, bike)
        assert said.count(heading) == 1
        for other in ("The whole bike, priced now", "What goes out as", "at this price", "Ready, likely", "ready day"):
            assert other not in said
    at(bike, Stage.MAIN)
    said = look(front_desk, bike)
    assert "Main offer: the customer pays" in said
    assert "at this price" in said
    assert "ready day" in said


def strip_down(bike: Restoration, shop: Workshop) -> None:
    """A fee of 10.00 for an hour of the grade: far below the floor."""
    look_inside = Operation.objects.create(name="Look inside", measure="hour", grade=shop.grade, inspects=True)
    StandardTime.objects.create(operation=look_inside, valid_from=SINCE, setup=0, run=Decimal(60))
    add_step(
        part=bike.parts.get(name="Frame"),
        origin=Step.Origin.BEFORE,
        operation=look_inside,
        quantity=Decimal(1),
        **WHO,
    )
    note_odds(valid_from=SINCE, inspect_fee=Decimal(10), **WHO)


def test_the_floor_is_not_asked_of_the_fee_and_what_the_fee_leaves_is_said(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    strip_down(bike, shop)
    at(bike, Stage.INSPECT)
    context = front_desk.get(reverse("desk:issue", args=[bike.uid])).context
    said = look(front_desk, bike)
    assert "error" not in context, context["error"]
    assert context["result"].net == Decimal(10)
    assert context["left"] < 0
    assert "The floor does not apply to this fee, which is the manager's own price. It leaves" in said.replace(
        "&#x27;", "'"
    )
    assert "below the floor" not in said
    assert issue(front_desk, bike).status_code == 302


# -- another stage ---------------------------------------------------------------------------------------------------


def test_the_stage_is_chosen_where_the_quote_goes_out(front_desk: Client, bike: Restoration) -> None:
    html = front_desk.get(reverse("desk:issue", args=[bike.uid])).content.decode()
    assert re.findall(r'type="radio"[^>]*value="(\w+)"', html) == list(Stage.values)
    answer = choose(front_desk, bike, "ballpark", seen="main")
    assert answer.headers["Location"] == reverse("desk:issue", args=[bike.uid])
    assert Draft.objects.get().stage == Stage.BALLPARK


def test_a_stage_chosen_meanwhile_is_not_chosen_over(front_desk: Client, bike: Restoration) -> None:
    at(bike, Stage.INSPECT)
    answer = choose(front_desk, bike, "ballpark", seen="main")
    assert Draft.objects.get().stage == Stage.INSPECT
    assert [str(said) for said in get_messages(answer.wsgi_request)] == [
        "Somebody else chose “strip and inspect” meanwhile. Look again, then choose."
    ]


def test_a_stage_that_is_none_changes_nothing(front_desk: Client, bike: Restoration) -> None:
    assert choose(front_desk, bike, "gift").status_code == 302
    assert Draft.objects.get().stage == Stage.MAIN


def test_a_mechanic_chooses_no_stage(client: Client, bike: Restoration) -> None:
    client.force_login(person(ROLE_MECHANIC))
    assert choose(client, bike, "ballpark").status_code == 403


# -- an offer that is out --------------------------------------------------------------------------------------------


def test_an_offer_that_is_out_is_named_and_asked_about_before_another_takes_its_place(
    front_desk: Client, bike: Restoration
) -> None:
    assert "Take it back" not in look(front_desk, bike)
    issue(front_desk, bike, guesses_are_told="on")
    first = IssuedQuote.objects.get()
    told = look(front_desk, bike)
    assert f"{first} is out (main offer), waiting since" in told
    assert f"the customer can accept {first} no longer" in told
    refused = issue(front_desk, bike, guesses_are_told="on")
    assert (refused.status_code, IssuedQuote.objects.count()) == (422, 1)
    assert "An offer is out. Tick that this one takes its place." in refused.content.decode()
    assert issue(front_desk, bike, guesses_are_told="on", replaced_is_told="on").status_code == 302
    assert [quote.outcome.kind for quote in IssuedQuote.objects.filter(outcome__isnull=False)] == ["withdrawn"]


def test_an_offer_that_lapsed_is_not_asked_about(front_desk: Client, bike: Restoration) -> None:
    made = Draft.objects.get(restoration=bike)
    bike.refresh_from_db()
    seen = {"seen_scope": bike.scope_version, "seen_draft": made.version}
    long_ago = datetime(2026, 1, 1, 9, tzinfo=UTC)
    services.issue(draft=made, guesses_are_told=True, today=SINCE, who="ada", now=long_ago, **seen)
    assert IssuedQuote.objects.get().valid_until < timezone.localdate()
    assert "is out" not in look(front_desk, bike)
    assert issue(front_desk, bike, guesses_are_told="on").status_code == 302


def test_a_ballpark_is_no_offer_that_could_be_taken_back(front_desk: Client, bike: Restoration) -> None:
    at(bike, Stage.BALLPARK)
    issue(front_desk, bike, guesses_are_told="on")
    at(bike, Stage.MAIN)
    assert issue(front_desk, bike, guesses_are_told="on").status_code == 302
    assert IssuedQuote.objects.count() == 2
