"""One button for damage found: chosen or described, with a photograph if there is one. Figures are invented."""

import html
import re
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from quotes.desk import damages
from quotes.pricing.customers.sharing import photographs_of
from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.methods.models import DamageStep, Operation, PartKind, PossibleDamage
from shop.papers.models import Photograph
from shop.restorations.damage import add_usual, remove_damage
from shop.restorations.models import FinishCandidate, Part, PartDamage
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step
from tests import workshop as made
from tests.desk.test_damage import accept
from tests.papers.pictures import plain
from tests.workshop import WHO, Workshop

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def shop(db: None) -> Workshop:
    return made.workshop()


@pytest.fixture
def part(shop: Workshop) -> Part:
    """A frame of whose kind the library knows two damages, one of them with a step."""
    kind = PartKind.objects.create(name="Frame")
    costs = {"low_minor": 5_000, "likely_minor": 9_000, "high_minor": 20_000}
    usual = PossibleDamage.objects.create(kind=kind, name="Cracked lug", frequency="rare", **costs)
    PossibleDamage.objects.create(kind=kind, name="Bent fork stop", frequency="rare", **costs)
    DamageStep.objects.create(damage=usual, position=1, operation=shop.fit, quantity=D(3))
    row = made.frame(made.restoration(), shop, kind=kind)
    made.draft(row.restoration)
    return row


def usual(name: str = "Cracked lug") -> str:
    return f"usual-{PossibleDamage.objects.get(name=name).pk}"


def say(client: Client, part: Part, what: str, *, file: Any = None, follow: bool = True, **sent: str) -> Any:
    typed = {"uid": str(uuid4()), "what": what, "note": "left lug, a hand's width"} | sent
    data: dict[str, Any] = {f"found-{name}": value for name, value in typed.items()}
    if file is not None:
        data["photograph-file"] = file
    return client.post(f"/parts/{part.uid}/damage-found/", data, follow=follow)


def text_of(answer: Any) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def picture() -> SimpleUploadedFile:
    return SimpleUploadedFile("lug.jpg", plain(), content_type="image/jpeg")


# --- the button ---


def test_the_button_stands_on_the_part_and_on_the_bike_once_it_may_be_taken_apart(
    front_desk: Client, part: Part
) -> None:
    pages = (f"/restorations/{part.restoration.uid}/", f"/parts/{part.uid}/")
    assert not any("Damage found" in text_of(front_desk.get(page)) for page in pages)
    accept(Draft.objects.get())
    assert all("Damage found" in text_of(front_desk.get(page)) for page in pages)


def test_from_the_bike_the_part_is_chosen_first(front_desk: Client, part: Part) -> None:
    address = f"/restorations/{part.restoration.uid}/damage-found/"
    assert "On which part" in text_of(front_desk.get(address))
    chosen = front_desk.get(address, {"part": str(part.uid)})
    assert chosen.headers["Location"] == f"/parts/{part.uid}/damage-found/"
    nothing = front_desk.get(address, {"part": ""})
    assert (nothing.status_code, "Choose the part on which it was found." in text_of(nothing)) == (422, True)


def test_a_part_of_another_bike_is_not_to_be_chosen(front_desk: Client, part: Part, shop: Workshop) -> None:
    other = made.frame(made.restoration(), shop)
    answer = front_desk.get(f"/restorations/{part.restoration.uid}/damage-found/", {"part": str(other.uid)})
    assert answer.status_code == 422


def test_mechanics_and_strangers_do_not_see_it(mechanic: Client, stranger: Client, part: Part) -> None:
    for page in (f"/parts/{part.uid}/damage-found/", f"/restorations/{part.restoration.uid}/damage-found/"):
        assert (mechanic.get(page).status_code, stranger.get(page).status_code) == (403, 302)


def test_a_variation_warns_only_of_the_parts_that_are_in_it(front_desk: Client, part: Part, shop: Workshop) -> None:
    other = made.frame(part.restoration, shop, name="Stand")
    Operation.objects.filter(pk=shop.blast.pk).update(destroys_evidence=True)
    for finish in (shop.black, shop.green):
        FinishCandidate.objects.create(part=other, finish=finish)
    page = f"/restorations/{part.restoration.uid}/issue/"
    assert front_desk.get(page).context["unproven"] == [part, other]
    accept(Draft.objects.get())
    assert "with “variation” as its stage" in text_of(say(front_desk, part, usual()))
    Draft.objects.update(stage="variation")
    assert front_desk.get(page).context["unproven"] == []


# --- said in one step ---


def test_what_the_library_knows_is_found_in_one_step_with_its_steps_and_goes_to_the_customer(
    front_desk: Client, part: Part
) -> None:
    accept(Draft.objects.get())
    answer = say(front_desk, part, usual())
    assert "“Cracked lug” was found. Its steps are on the route; the customer has not agreed to them yet." in text_of(
        answer
    )
    assert "Not agreed yet: this differs from Q00001" in text_of(answer)
    row = PartDamage.objects.get()
    assert (row.name, row.settled, row.treatment, row.note) == (
        "Cracked lug",
        "found",
        "provisional",
        "left lug, a hand's width",
    )
    step = part.steps.get(operation__name="Fit")
    assert not Authorisation.objects.filter(step_uid=step.uid).exists()


def test_the_journal_tells_of_one_find_and_of_each_step(front_desk: Client, part: Part) -> None:
    before = Entry.objects.count()
    say(front_desk, part, usual())
    entries = list(Entry.objects.order_by("pk")[before:].values_list("what", "subject_type"))
    assert entries == [("damage found", "restorations.partdamage"), ("step added", "routes.step")]


def test_what_no_list_knows_is_described_and_leads_to_adding_its_steps(front_desk: Client, part: Part) -> None:
    answer = say(front_desk, part, "other", name="Drain boss torn out")
    assert "“Drain boss torn out” was found. Add the steps it needs to the route." in text_of(answer)
    assert answer.redirect_chain[-1][0] == f"/parts/{part.uid}/steps/"
    row = PartDamage.objects.get()
    assert (row.damage, row.treatment, row.settled, row.high_minor) == (None, "provisional", "found", 0)
    told = text_of(front_desk.get(f"/parts/{part.uid}/damages/"))
    assert "Drain boss torn out provisional" in told  # it never was a chance: no how often, no amounts


def test_what_is_on_the_list_is_settled_there_and_paid_as_agreed(front_desk: Client, part: Part) -> None:
    row = next(row for row in add_usual(part=part, **WHO) if row.name == "Cracked lug")
    accept(Draft.objects.get())
    assert "ours: we pay" in text_of(front_desk.get(f"/parts/{part.uid}/damage-found/"))
    answer = say(front_desk, part, f"listed-{row.pk}")
    assert "authorised: its price was agreed" in text_of(answer)
    assert PartDamage.objects.count() == 2
    row.refresh_from_db()
    assert (row.settled, row.treatment) == ("found", "ours")


def test_a_photograph_may_come_along_and_is_called_by_the_damage(front_desk: Client, part: Part) -> None:
    say(front_desk, part, usual(), file=picture())
    row = PartDamage.objects.get()
    (kept,) = row.photographs.all()
    assert kept.caption == "Cracked lug"
    assert 'alt="Cracked lug"' in front_desk.get(f"/damages/{row.uid}/").content.decode()
    assert list(photographs_of(part.restoration)) == [kept]
    assert Entry.objects.filter(what="damage photographed", subject_uid=row.uid).exists()


def test_a_file_that_is_no_photograph_is_refused_at_its_box_and_nothing_is_found(
    front_desk: Client, part: Part
) -> None:
    answer = say(front_desk, part, usual(), file=SimpleUploadedFile("a.jpg", b"no picture", "image/jpeg"))
    assert answer.status_code == 422
    assert answer.context["photograph_form"].errors["file"]
    assert "left lug, a hand's width" in html.unescape(answer.content.decode())
    assert not PartDamage.objects.exists()
    assert not part.steps.filter(operation__name="Fit").exists()


SLIPS = [
    ({"found-what": ""}, "Fill this in."),
    ({"found-what": "usual-0"}, "Choose one from the list."),
    ({"found-note": " "}, "Fill this in."),
    ({"found-what": "other", "found-name": " "}, "Say in a few words what is damaged, or choose from the list."),
]


@pytest.mark.parametrize(("sent", "said"), SLIPS)
def test_a_slip_is_said_what_was_typed_stays_and_nothing_is_kept(
    front_desk: Client, part: Part, sent: dict[str, str], said: str
) -> None:
    typed = {"found-uid": str(uuid4()), "found-what": usual(), "found-note": "left lug", "found-name": "torn"} | sent
    answer = front_desk.post(f"/parts/{part.uid}/damage-found/", typed | {"photograph-file": picture()})
    assert (answer.status_code, said in text_of(answer)) == (422, True)
    assert not PartDamage.objects.exists()
    assert not Photograph.objects.exists()
    if "found-note" not in sent:
        assert 'value="left lug"' in answer.content.decode()


def test_the_same_form_sent_twice_is_found_once(front_desk: Client, part: Part) -> None:
    uid = str(uuid4())
    for _time in range(2):
        assert say(front_desk, part, usual(), uid=uid).status_code == 200
    assert PartDamage.objects.get().uid == UUID(uid)
    assert part.steps.filter(operation__name="Fit").count() == 1


def test_a_uid_that_is_anothers_is_not_taken(front_desk: Client, part: Part, shop: Workshop) -> None:
    other = made.frame(made.restoration(), shop, kind=part.kind)
    theirs = add_usual(part=other, **WHO)[0]
    say(front_desk, part, usual(), uid=str(theirs.uid))
    theirs.refresh_from_db()
    assert (theirs.settled, part.damages.get().settled) == ("", "found")


def test_a_second_one_of_its_kind_is_another_find(front_desk: Client, part: Part) -> None:
    say(front_desk, part, usual())
    say(front_desk, part, usual(), note="right lug as well", again="on")
    assert PartDamage.objects.filter(settled="found", name="Cracked lug").count() == 2
    assert part.steps.filter(operation__name="Fit").count() == 2


def test_what_is_on_the_route_already_is_said_and_laid_again_only_on_a_tick(
    front_desk: Client, part: Part, shop: Workshop
) -> None:
    assert "already on the route" not in text_of(front_desk.get(f"/parts/{part.uid}/damage-found/"))
    add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    assert "Fit, 3 piece (already on the route)" in text_of(front_desk.get(f"/parts/{part.uid}/damage-found/"))
    assert "nothing is laid twice" in text_of(say(front_desk, part, usual()))
    assert part.steps.filter(operation=shop.fit).count() == 1


def test_what_was_taken_off_the_list_can_still_be_found(front_desk: Client, part: Part) -> None:
    for row in add_usual(part=part, **WHO):
        remove_damage(damage=row, who="ada", now=timezone.now())
    say(front_desk, part, usual())
    assert PartDamage.objects.filter(removed_at=None).get().settled == "found"


def test_what_can_be_found_is_read_in_as_many_queries_for_one_as_for_many(
    part: Part, django_assert_num_queries: Any
) -> None:
    def look() -> list[damages.Option]:
        with django_assert_num_queries(4):
            return damages.options(part)

    assert len(look()) == 2
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3}
    for number in range(9):
        more = PossibleDamage.objects.create(kind=part.kind, name=f"More {number}", frequency="rare", **costs)
        DamageStep.objects.create(damage=more, position=1, operation=Step.objects.filter(part=part)[0].operation)
    add_usual(part=part, **WHO)
    assert len(look()) == 11
