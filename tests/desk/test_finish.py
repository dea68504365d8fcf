"""The pages on which a factory finish is proven: what is shown, what is kept, what is refused at its field."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.methods.models import EvidenceSource, Finish, PartKind
from shop.papers.models import Photograph
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.restorations.evidence import add_evidence
from shop.restorations.models import FinishAgreement, FinishCandidate, FinishEvidence, Looked, Part
from shop.routes.finishes import list_finish
from shop.routes.models import Override, Step
from tests.desk.test_editor import HTMX, person, price_in, sent
from tests.workshop import NOW, TODAY, WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    made = workshop()
    made.blast.destroys_evidence = True
    made.blast.save()
    return made


@pytest.fixture
def bike():
    return restoration()


@pytest.fixture
def tank(bike, shop):
    """Agreed black, listed black and green."""
    part = frame(bike, shop, name="Tank")
    for finish in (shop.black, shop.green):
        list_finish(part=part, finish=finish, **WHO)
    return part


@pytest.fixture
def desk(client):
    client.force_login(person(ROLE_DESK))
    return client


def page(desk: Any, part: Part) -> str:
    return desk.get(reverse("desk:finish", args=[part.uid])).content.decode()


def evidence_form(**said: Any) -> dict[str, Any]:
    given = {"kind": "trace", "origin": "under the badge", "strength": "strong"} | said
    return {f"evidence-{name}": value for name, value in given.items()}


def post(desk: Any, name: str, uid: Any, data: dict[str, Any] | None = None) -> Any:
    return desk.post(reverse(f"desk:{name}", args=[uid]), data or {})


# -- what is shown -----------------------------------------------------------------------------------------------------


def test_the_panel_says_what_is_believed_and_what_waits(desk, shop, tank):
    add_evidence(part=tank, says=shop.green, kind="trace", origin="under the badge", strength="fair", **WHO)
    html = desk.get(reverse("desk:part", args=[tank.uid]), **HTMX).content.decode()
    assert "Green is likely, but not proven (about 5 in 6)." in html
    assert "under the badge: Green" in html
    assert "Waits for the evidence" in html
    assert reverse("desk:finish", args=[tank.uid]) in html


def test_the_page_says_why_a_step_waits_and_no_longer_when_it_is_proven(desk, shop, tank):
    assert "“Blast” destroys the traces of the factory finish. It is open: nothing speaks for" in page(desk, tank)
    add_evidence(part=tank, says=shop.black, kind="trace", origin="under the badge", strength="strong", **WHO)
    html = page(desk, tank)
    assert "Black is proven (about 19 in 20)." in html
    assert "No step of this part waits for the evidence." in html


def test_where_nothing_was_found_nobody_is_sent_again_until_it_is_taken_back(desk, shop, tank):
    draft(tank.restoration)
    source = EvidenceSource.objects.create(name="Parts book", cost_minor=500, strength="fair")
    address = reverse("desk:look_ups", args=[tank.restoration.uid])
    assert "Looked, found nothing" in desk.get(address).content.decode()
    for _twice in range(2):
        desk.post(reverse("desk:found_nothing", args=[tank.restoration.uid, source.uid]))
    row = Looked.objects.get()
    assert (row.part, row.source) == (tank, source)
    html = desk.get(address).content.decode()
    assert "Looked, found nothing" not in html
    assert "Looked into, nothing found" in html
    desk.post(reverse("desk:look_again", args=[row.pk]))
    assert "Looked, found nothing" in desk.get(address).content.decode()
    told = Entry.objects.filter(subject_uid=tank.uid).values_list("what", flat=True)
    assert {"looked, found nothing", "to be looked into again"} <= set(told)


def test_whoever_issues_is_told_on_which_parts_work_would_wait(desk, shop, tank):
    draft(tank.restoration)
    address = reverse("desk:issue", args=[tank.restoration.uid])
    html = desk.get(address).content.decode()
    assert "On 1 part work waits for finish evidence" in html
    assert reverse("desk:finish", args=[tank.uid]) in html
    add_evidence(part=tank, says=shop.black, kind="trace", origin="under the badge", strength="strong", **WHO)
    assert "waits for finish evidence" not in desk.get(address).content.decode()


def test_another_finish_says_at_once_what_waits_now(desk, shop, tank):
    add_evidence(part=tank, says=shop.green, kind="trace", origin="under the badge", strength="strong", **WHO)
    address = reverse("desk:part", args=[tank.uid])
    assert "Waits for the evidence" in desk.get(address, **HTMX).content.decode()
    answer = desk.post(address, sent(tank, agreed_finish=str(shop.green.pk)), **HTMX).content.decode()
    assert f'id="proof-{tank.uid}"' in answer
    assert "Waits for the evidence" not in answer
    assert f'id="proof-{tank.uid}"' not in desk.post(address, sent(tank, pieces="3"), **HTMX).content.decode()


def test_evidence_of_other_machines_is_shown_with_the_reason_why_it_does_not_count(desk, shop, tank):
    add_evidence(part=tank, says=shop.green, kind="record", origin="record", strength="strong", years_from=1960, **WHO)
    html = page(desk, tank)
    assert "does not count" in html
    assert "It speaks of other years; this machine is of 1957." in html


def test_a_part_without_a_list_says_how_to_begin(desk, shop, bike):
    html = page(desk, frame(bike, shop))
    assert "Nothing says yet which finish it had." in html
    assert "List the finishes it may have had" in html


# -- evidence ----------------------------------------------------------------------------------------------------------


def test_evidence_is_added_corrected_taken_away_and_brought_back(desk, shop, tank):
    answer = post(desk, "add_evidence", tank.uid, evidence_form(says=str(shop.green.pk)))
    assert answer.headers["Location"] == reverse("desk:finish", args=[tank.uid])
    row = FinishEvidence.objects.get()
    assert (row.says, row.strength, row.added_by) == (shop.green, "strong", ROLE_DESK)
    post(desk, "evidence", row.uid, evidence_form(says="none", years_from="1950"))
    row.refresh_from_db()
    assert (row.says, row.years_from) == (None, 1950)
    post(desk, "take_away_evidence", row.uid)
    assert "Bring back" in page(desk, tank)
    post(desk, "bring_back_evidence", row.uid)
    row.refresh_from_db()
    assert row.removed_at is None


@pytest.mark.parametrize(
    ("said", "field", "sentence"),
    [
        ({"origin": ""}, "origin", "Say where it comes from first, or choose a source."),
        ({"says": ""}, "says", "Fill this in."),
        ({"kind": "rumour"}, "kind", "Choose one from the list."),
        ({"strength": "certain"}, "strength", "Choose one from the list."),
        ({"years_from": "early"}, "years_from", "Give a whole number in digits, such as 2."),
        ({"years_from": "57"}, "years_from", "Give a year from 1880 to 2100."),
        ({"years_from": "1960", "years_to": "1950"}, "years_to", "The last year is before the first. Swap them."),
        ({"numbers_from": "none"}, "numbers_from", "There is no figure in it."),
        ({"numbers_from": "H9", "numbers_to": "H1"}, "numbers_to", "The last number is before the first. Swap them."),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_what_was_typed_stays(desk, shop, tank, said, field, sentence):
    typed = evidence_form(says=str(shop.green.pk), note="a chip of green paint") | evidence_form(
        **{"says": str(shop.green.pk)} | said
    )
    answer = post(desk, "add_evidence", tank.uid, typed)
    form = answer.context["evidence_form"]
    assert answer.status_code == 422
    assert sentence in form.errors[field][0]
    assert "a chip of green paint" in answer.content.decode()
    assert not FinishEvidence.objects.exists()


def test_contradicting_evidence_is_said_at_what_it_says_by_the_name_of_its_origin(desk, shop, tank):
    post(desk, "add_evidence", tank.uid, evidence_form(says=str(shop.green.pk)))
    answer = post(desk, "add_evidence", tank.uid, evidence_form(says=str(shop.black.pk), origin="Under the Badge"))
    assert answer.status_code == 422
    (said,) = answer.context["evidence_form"].errors["says"]
    assert said.startswith("Contradicting evidence: “under the badge” says already that it was “Green”.")
    assert FinishEvidence.objects.count() == 1


def test_a_correction_that_is_wrong_is_refused_on_its_own_page(desk, shop, tank):
    post(desk, "add_evidence", tank.uid, evidence_form(says=str(shop.green.pk)))
    row = FinishEvidence.objects.get()
    answer = post(desk, "evidence", row.uid, evidence_form(says=str(shop.green.pk), numbers_to="none"))
    assert (answer.status_code, "There is no figure in it." in answer.content.decode()) == (422, True)
    row.refresh_from_db()
    assert row.numbers_to == ""


def test_what_comes_from_a_source_needs_no_origin_of_its_own(desk, shop, tank):
    source = EvidenceSource.objects.create(name="Club archive")
    post(desk, "add_evidence", tank.uid, evidence_form(says="none", origin="", source=source.pk))
    assert FinishEvidence.objects.get().origin == "Club archive"


def test_a_photograph_is_shown_with_the_evidence_it_belongs_to(desk, shop, tank):
    row = add_evidence(part=tank, says=shop.green, kind="trace", origin="under the badge", **WHO)
    row.photographs.add(
        Photograph.objects.create(
            sha256="0" * 64,
            thumbnail_sha256="1" * 64,
            kind="jpeg",
            width=40,
            height=30,
            bytes=100,
            caption="Green under the left badge",
            added_at=WHO["now"],
            added_by="ada",
        )
    )
    assert 'alt="Green under the left badge"' in page(desk, tank)
    assert 'alt="Green under the left badge"' in desk.get(reverse("desk:evidence", args=[row.uid])).content.decode()


def test_a_file_that_is_no_photograph_is_refused_at_its_field(desk, shop, tank):
    row = add_evidence(part=tank, says=shop.green, kind="trace", origin="under the badge", **WHO)
    file = SimpleUploadedFile("badge.jpg", b"no picture at all", "image/jpeg")
    answer = post(
        desk, "evidence_photograph", row.uid, {"photograph-file": file, "photograph-caption": "Green under the badge"}
    )
    assert answer.status_code == 422
    assert answer.context["photograph_form"].errors["file"]
    assert "Green under the badge" in answer.content.decode()


# -- the list ----------------------------------------------------------------------------------------------------------


def test_finishes_are_listed_and_taken_off(desk, shop, tank):
    post(desk, "list_finish", tank.uid, {"list-finish": shop.zinc.pk, "list-weight": "2,5"})
    row = tank.candidates.get(finish=shop.zinc)
    assert row.weight == Decimal("2.5")
    post(desk, "unlist_finish", row.pk)
    assert not FinishCandidate.objects.filter(finish=shop.zinc).exists()


@pytest.mark.parametrize(
    ("weight", "sentence"), [("0", "Give 0.01 or more."), ("much", "Give a number in digits"), ("", "Fill this in.")]
)
def test_a_weight_that_cannot_be_is_said_at_its_field(desk, shop, tank, weight, sentence):
    answer = post(desk, "list_finish", tank.uid, {"list-finish": shop.zinc.pk, "list-weight": weight})
    assert (answer.status_code, tank.candidates.count()) == (422, 2)
    assert sentence in answer.context["list_form"].errors["weight"][0]


def test_a_finish_with_no_route_or_listed_already_is_said_at_the_finish(desk, shop, tank):
    bare = Finish.objects.create(name="Tin", process="dip")
    for finish, sentence in ((shop.black, "is on the list already"), (bare, "there is no route to put “Tin” on steel")):
        answer = post(desk, "list_finish", tank.uid, {"list-finish": finish.pk, "list-weight": "1"})
        assert sentence in answer.context["list_form"].errors["finish"][0]
    assert tank.candidates.count() == 2


def test_a_finish_that_evidence_speaks_for_stays_and_the_page_says_why(desk, shop, tank):
    add_evidence(part=tank, says=shop.green, kind="trace", origin="under the badge", **WHO)
    row = tank.candidates.get(finish=shop.green)
    answer = desk.post(reverse("desk:unlist_finish", args=[row.pk]), follow=True).content.decode()
    assert "Take that evidence away first." in answer
    assert tank.candidates.count() == 2


# -- the signature and the gate ----------------------------------------------------------------------------------------


def sign_form(finish: Any, **said: str) -> dict[str, Any]:
    given = {"finish": finish.pk, "deviation": "", "who_agreed": "Jo", "how": "signed", "said_on": TODAY.isoformat()}
    return {f"sign-{name}": value for name, value in (given | said).items()}


def test_a_signature_changes_the_route(desk, shop, tank):
    post(desk, "sign_finish", tank.uid, sign_form(shop.zinc, deviation="Zinc in place of black"))
    tank.refresh_from_db()
    assert (tank.agreed_finish, tank.deviation) == (shop.zinc, "Zinc in place of black")
    assert Step.objects.get(part=tank, origin="finish", removed_at__isnull=True).service == shop.plate
    assert "Deviation: Zinc in place of black." in page(desk, tank)


def test_a_deviation_has_to_be_named(desk, shop, tank):
    answer = post(desk, "sign_finish", tank.uid, sign_form(shop.zinc))
    assert answer.status_code == 422
    assert "Say how the agreed one departs from it." in answer.context["sign_form"].errors["deviation"][0]
    assert not FinishAgreement.objects.exists()


def let(desk: Any, part: Part, **said: str) -> Any:
    given = {"step": "", "who_decided": "Eve", "reason": "bare metal"} | said
    return post(desk, "override", part.uid, {f"override-{name}": value for name, value in given.items()})


def test_somebody_lets_a_step_begin_by_name(desk, shop, tank):
    refused = let(desk, tank, reason="")
    assert (refused.status_code, Override.objects.count()) == (422, 0)
    assert 'value="Eve"' in refused.content.decode()
    let(desk, tank, step=str(tank.steps.get(operation=shop.blast).uid))
    html = page(desk, tank)
    assert "“Blast” may begin: Eve on" in html
    assert "“Blast” destroys" not in html
    assert "“Spray” belongs to “Black”" in html


def test_one_name_does_for_all_that_wait(desk, shop, tank):
    let(desk, tank)
    assert {str(row.step) for row in Override.objects.all()} == {"Blast", "Spray"}
    assert "No step of this part waits for the evidence." in page(desk, tank)


def test_where_nothing_waits_any_more_nothing_is_noted(desk, shop, tank):
    add_evidence(part=tank, says=shop.black, kind="trace", origin="under the badge", strength="strong", **WHO)
    answer = let(desk, tank)
    assert answer.context["override_form"].errors["step"] == [
        "No step waits for the evidence: what there is can begin."
    ]
    assert not Override.objects.exists()


def test_a_step_of_another_part_cannot_be_let_through_here(desk, shop, bike, tank):
    other = frame(bike, shop).steps.get(operation=shop.blast)
    answer = let(desk, tank, step=str(other.uid))
    assert answer.context["override_form"].errors["step"] == ["Choose one from the list."]
    assert not Override.objects.exists()


# -- the price and what to look up -------------------------------------------------------------------------------------


def test_doubt_costs_money_and_proof_takes_it_off_again(desk, shop, bike, tank):
    draft(bike)
    address = reverse("desk:restoration", args=[bike.uid])
    doubtful = amount(desk.get(address).content.decode(), tank)
    add_evidence(part=tank, says=shop.black, kind="trace", origin="under the badge", strength="strong", **WHO)
    assert amount(desk.get(address).content.decode(), tank) < doubtful


def amount(html: str, part: Part) -> Decimal:
    return Decimal(price_in(html, part).strip("€").replace(",", ""))


def test_the_source_that_saves_most_comes_first_with_its_parts(desk, shop, bike, tank):
    for name, strength, cost in (("Dear letter", "weak", 90_000), ("Works record", "strong", 0)):
        EvidenceSource.objects.create(name=name, strength=strength, cost_minor=cost)
    draft(bike)
    html = desk.get(reverse("desk:look_ups", args=[bike.uid])).content.decode()
    assert html.index("Works record") < html.index("Dear letter")
    assert "Worth looking: it is expected to save more than it costs." in html
    assert reverse("desk:finish", args=[tank.uid]) in html


def test_what_cannot_change_the_choice_is_said_to_be_worth_nothing(desk, shop, bike, tank):
    for number in range(3):
        add_evidence(part=tank, says=shop.black, kind="trace", origin=f"trace {number}", strength="strong", **WHO)
    EvidenceSource.objects.create(name="A friend", strength="weak", cost_minor=0)
    draft(bike)
    html = desk.get(reverse("desk:look_ups", args=[bike.uid])).content.decode()
    assert "Whatever it says, the same finish would go on" in html


def test_with_nothing_to_look_up_the_page_says_what_to_do(desk, shop, bike):
    html = desk.get(reverse("desk:look_ups", args=[bike.uid])).content.decode()
    assert "Nothing left to look up" in html
    assert "no finish evidence" not in html
    assert not Draft.objects.exists(), "looking begins nothing"


def test_parts_without_evidence_are_counted_and_nothing_is_called_done(desk, shop, bike):
    bare, listed, proven, signed, unfinished = (
        frame(bike, shop, name=name, finish=finish)
        for name, finish in (
            ("Bare", shop.black),
            ("Listed", shop.black),
            ("Proven", shop.black),
            ("Signed", shop.green),
            ("Unfinished", None),
        )
    )
    for part in (listed, proven):
        list_finish(part=part, finish=shop.black, **WHO)
    add_evidence(part=proven, says=shop.black, kind="trace", origin="under the clamp", strength="strong", **WHO)
    FinishAgreement.objects.create(
        part=signed,
        finish=shop.green,
        deviation="green, as wished",
        who="Jo",
        how="phone",
        said_on=TODAY,
        at=NOW,
        recorded_by="ada",
    )
    html = desk.get(reverse("desk:look_ups", args=[bike.uid])).content.decode()
    assert "2 parts have no finish evidence yet" in html
    assert "Nothing left to look up" not in html
    waiting = html.split("no finish evidence yet")[1]
    for part, there in ((bare, True), (listed, True), (proven, False), (signed, False), (unfinished, False)):
        assert (reverse("desk:finish", args=[part.uid]) in waiting) is there, part
    assert waiting.count("no finish listed") == 1


@pytest.mark.parametrize("name", ["finish", "look_ups", "part"])
def test_a_page_asks_as_much_for_one_piece_of_evidence_as_for_many(desk, shop, bike, tank, name):
    draft(bike)
    of = bike if name == "look_ups" else tank

    def ask() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert desk.get(reverse(f"desk:{name}", args=[of.uid])).status_code == 200
        return len(caught)

    def more(number: int) -> None:
        source = EvidenceSource.objects.create(name=f"Source {number}", cost_minor=100)
        EvidenceSource.objects.create(name=f"Other source {number}", cost_minor=100)
        add_evidence(part=tank, says=shop.green, kind="print", origin=f"o{number}", source=source, **WHO)
        guard = frame(bike, shop, name=f"Guard {number}")
        list_finish(part=guard, finish=shop.black, **WHO)

    more(0)
    few = ask()
    for number in range(1, 6):
        more(number)
    assert ask() == few


@pytest.mark.parametrize("name", ["finish", "look_ups"])
def test_only_desk_and_manager_see_them(client, shop, bike, tank, name):
    address = reverse(f"desk:{name}", args=[(bike if name == "look_ups" else tank).uid])
    assert "/sign-in/" in client.get(address).headers["Location"]
    for role, status in ((ROLE_MECHANIC, 403), (ROLE_MANAGER, 200)):
        client.force_login(person(role))
        assert client.get(address).status_code == status


# -- which one ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def yoke():
    return PartKind.objects.create(name="Fork yoke", pair="upper_lower")


def test_a_new_part_of_a_pair_is_asked_once_which_one_it_is(desk, shop, bike, yoke):
    data = {"name": "Yoke", "pieces": "1", "kind": yoke.pk, "side": ""}
    asked = post(desk, "add_part", bike.uid, data)
    assert asked.status_code == 422
    assert "Upper and lower are not always the same: which one is this?" in asked.content.decode()
    assert not bike.parts.exists()
    post(desk, "add_part", bike.uid, data | {"side": "lower"})
    assert (bike.parts.get().kind, bike.parts.get().side) == (yoke, "lower")


def test_who_leaves_it_open_twice_means_both(desk, shop, bike, yoke):
    data = {"name": "Yokes", "pieces": "2", "kind": yoke.pk, "side": ""}
    asked = post(desk, "add_part", bike.uid, data)
    assert 'name="asked"' in asked.content.decode()
    assert asked.context["new_part"]["asked"].value() == "on"
    post(desk, "add_part", bike.uid, data | {"asked": "on"})
    assert bike.parts.get().side == ""


def test_a_side_the_kind_does_not_have_is_said_at_its_field(desk, shop, bike, yoke):
    answer = post(desk, "add_part", bike.uid, {"name": "Yoke", "pieces": "1", "kind": yoke.pk, "side": "left"})
    assert answer.status_code == 422
    assert "comes as upper and lower" in answer.context["new_part"].errors["side"][0]
    assert not bike.parts.exists()


def test_another_kind_asks_its_question_at_once(desk, shop, bike, yoke):
    part = frame(bike, shop)
    answer = desk.post(reverse("desk:part", args=[part.uid]), sent(part, kind=str(yoke.pk)), **HTMX).content.decode()
    assert f'id="box-{part.uid}-side"' in answer
    assert "Upper and lower are not always the same: which one is this?" in answer
    part.refresh_from_db()
    assert part.kind == yoke
    desk.post(reverse("desk:part", args=[part.uid]), sent(part, side="upper"), **HTMX)
    part.refresh_from_db()
    assert part.side == "upper"
