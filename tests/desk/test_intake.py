"""The intake page: kept box by box, photographed, printed, signed, and stopped where numbers do not match."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from quotes.desk import waiting_intake
from quotes.pricing.models import IssuedQuote
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.restorations.intake import change_intake, open_intake, sign
from shop.restorations.intake import mark as mark_of
from shop.restorations.intake import words as words_of
from shop.restorations.models import Intake, IntakePhotograph, IntakeSignature, NumbersCleared, Restoration
from tests.desk.test_editor import HTMX, person
from tests.papers.pictures import saved
from tests.workshop import WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
PICTURE = saved(Image.new("RGB", (40, 30), "grey"))


@pytest.fixture
def shop():
    return workshop()


@pytest.fixture
def bike(shop):
    return restoration()


@pytest.fixture
def desk(client):
    client.force_login(person(ROLE_DESK))
    return client


def intake(bike: Restoration, **changes: Any) -> Intake:
    row = open_intake(restoration=bike, came_on=timezone.localdate(), **WHO)
    return change_intake(intake=row, changes=changes, **WHO)


def address(bike: Restoration, name: str = "intake") -> str:
    return reverse(f"desk:{name}", args=[bike.uid])


def typed(**boxes: tuple[str, str]) -> dict[str, str]:
    """Boxes as the page sends them: what was seen, and what is typed."""
    return {f"seen-{name}": seen for name, (seen, _now) in boxes.items()} | {
        name: now for name, (_seen, now) in boxes.items()
    }


def upload(content: bytes = PICTURE) -> SimpleUploadedFile:
    return SimpleUploadedFile("IMG.jpg", content, content_type="image/jpeg")


# -- boxes -------------------------------------------------------------------------------------------------------------


def test_looking_opens_no_intake_and_the_first_box_does(desk, bike):
    assert desk.get(address(bike)).status_code == 200
    assert not Intake.objects.exists()
    answer = desk.post(address(bike), typed(keys=("", "two")), **HTMX)
    assert answer.status_code == 200
    row = Intake.objects.get()
    assert (row.restoration, row.keys, row.came_on) == (bike, "two", timezone.localdate())
    html = answer.content.decode()
    assert 'name="seen-keys" value="two"' in html
    assert 'name="seen-papers"' not in html, "only what was changed is answered"


def test_a_colleagues_change_is_asked_about_at_its_box_and_what_was_typed_stays(desk, bike):
    intake(bike, keys="one", frame_number="H9")
    html = desk.post(address(bike), typed(keys=("", "three"), frame_number=("H9", "H10")), **HTMX).content.decode()
    assert "Somebody else changed this to “one” meanwhile. Which should stand?" in html
    assert 'value="three"' in html
    assert 'name="theirs-keys" value="one"' in html
    row = Intake.objects.select_related("restoration__machine").get()
    assert (row.keys, row.restoration.machine.frame_number) == ("one", "H9"), "all of it or nothing"
    mine = typed(keys=("", "three")) | {"theirs-keys": "one", "settle": "mine:keys"}
    desk.post(address(bike), mine, **HTMX)
    assert Intake.objects.get().keys == "three"


@pytest.mark.parametrize(
    ("box", "text", "sentence"),
    [
        ("reading", "many", "Give a whole number in digits"),
        ("reading", "-4", "Give 0 or more."),
        ("agreed_value_minor", "-1", "Give 0 or more."),
        ("agreed_value_minor", "much", "Give a number in digits"),
        ("came_on", "2999-01-01", "This day is still to come."),
        ("came_on", "", "Fill this in."),
        ("frame_number", "H" * 41, "Give 40 letters at most."),
    ],
)
def test_what_is_wrong_is_said_at_its_box_and_what_was_typed_stays(desk, bike, box, text, sentence):
    seen = {"came_on": timezone.localdate().isoformat(), "frame_number": "H1234"}.get(box, "")
    html = desk.post(address(bike), typed(**{box: (seen, text)}), **HTMX).content.decode()
    place = html[html.index(f"box-{bike.uid}-{box}") :]
    assert sentence in place[: place.index(f'name="seen-{box}"')]
    assert not text or f'value="{text}"' in html


def test_money_is_kept_in_minor_units_and_shown_on_the_sheet(desk, bike):
    html = desk.post(address(bike), typed(agreed_value_minor=("", "4500,50")), **HTMX).content.decode()
    assert Intake.objects.get().agreed_value_minor == 450050
    assert "€4,500.50" in html[html.index('id="intake-sheet"') :]


def test_it_works_with_scripting_off(desk, bike):
    answer = desk.post(address(bike), typed(missing=("", "Tool roll\r\nLeft mirror"), keys=("", "two")))
    assert answer.headers["Location"] == address(bike)
    assert Intake.objects.get().keys == "two"
    sheet = desk.get(address(bike)).content.decode()
    assert "Tool roll · Left mirror" in sheet[sheet.index('id="intake-sheet"') :]


# -- photographs -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("box", ["camera", "file"])
def test_a_photograph_is_kept_by_what_it_shows(desk, bike, box):
    said = {"photograph-shows": "frame_number", "photograph-caption": "", f"photograph-{box}": upload()}
    assert desk.post(address(bike, "intake_photograph"), said).status_code == 302
    row = IntakePhotograph.objects.get()
    assert (row.shows, row.photograph.caption) == ("frame_number", "frame number")
    html = desk.get(address(bike)).content.decode()
    assert reverse("papers:thumbnail", args=[row.photograph.uid]) in html
    missing = re.search(r'tag-mind">missing</span>(.*?)</p>', html, re.DOTALL)
    assert missing is not None
    assert "engine number" in missing.group(1)
    assert "frame number" not in missing.group(1)


def test_the_camera_of_a_phone_is_asked_for(desk, bike):
    html = desk.get(address(bike)).content.decode()
    assert re.search(r'<input type="file" name="photograph-camera"[^>]* capture="environment"', html)
    assert not re.search(r'name="photograph-file"[^>]* capture', html), "one taken before can be chosen as well"


def test_what_a_photograph_shows_is_corrected(desk, bike):
    desk.post(address(bike, "intake_photograph"), {"photograph-shows": "whole", "photograph-file": upload()})
    row = IntakePhotograph.objects.get()
    desk.post(reverse("desk:intake_photograph_shows", args=[row.pk]), {"shows": "engine_number"})
    row.refresh_from_db()
    assert row.shows == "engine_number"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"no picture at all", "This is not a JPEG, PNG or WebP picture."),
        (b"", "This file is empty. Choose another."),
    ],
)
def test_a_refused_photograph_says_why_where_it_was_taken_and_its_words_stay(desk, bike, content, sentence):
    said = {"photograph-shows": "damage", "photograph-caption": "Dent, left", "photograph-camera": upload(content)}
    answer = desk.post(address(bike, "intake_photograph"), said)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in answer.context["photograph_form"].errors["camera"][0]
    assert 'value="Dent, left"' in html
    assert '<option value="damage" selected>' in html
    assert not IntakePhotograph.objects.exists()


def test_without_a_file_the_form_says_so(desk, bike):
    answer = desk.post(address(bike, "intake_photograph"), {"photograph-shows": "whole"})
    assert answer.context["photograph_form"].errors["file"] == ["Choose a photograph."]


def test_with_scripting_off_one_button_keeps_the_boxes_although_the_photograph_is_refused(desk, bike):
    """A file too large or of a wrong kind loses nothing else that was typed."""
    said = typed(keys=("", "two"), condition=("", "Rust\r\nDents"))
    more = {"with-shows": "whole", "with-caption": "From the left", "with-file": upload(b"a text")}
    answer = desk.post(address(bike), said | more)
    assert answer.status_code == 422
    assert Intake.objects.get().keys == "two"
    html = answer.content.decode()
    assert "This is not a JPEG, PNG or WebP picture." in html
    assert 'value="From the left"' in html
    assert desk.post(address(bike), more | {"with-file": upload()}).status_code == 302
    assert IntakePhotograph.objects.get().photograph.caption == "From the left"


def test_with_scripting_off_a_wrong_box_keeps_what_was_typed_and_the_photograph(desk, bike):
    said = typed(keys=("", "two"), reading=("", "many")) | {"with-shows": "whole", "with-file": upload()}
    answer = desk.post(address(bike), said)
    assert answer.status_code == 422
    assert 'value="two"' in answer.content.decode()
    assert IntakePhotograph.objects.count() == 1


# -- signature ---------------------------------------------------------------------------------------------------------


def signed_by(desk: Client, bike: Restoration, **said: str) -> Any:
    seen = re.search(r'id="sign-seen" value="([^"]*)"', desk.get(address(bike)).content.decode())
    assert seen is not None
    day = timezone.localdate().isoformat()
    given = {"sign-who_signed": "Jo Fenwick", "sign-signed_on": day, "sign-seen": seen.group(1)} | said
    return desk.post(address(bike, "sign_intake"), given)


def test_a_signature_is_noted_and_a_later_change_is_said_beside_it(desk, bike):
    intake(bike, condition="Rust")
    assert signed_by(desk, bike).status_code == 302
    html = desk.get(address(bike)).content.decode()
    assert "Jo Fenwick signed on" in html
    assert "changed since it was signed" not in html
    answer = desk.post(address(bike), typed(condition=("Rust", "Rust and dents")), **HTMX).content.decode()
    for page in (answer, desk.get(address(bike)).content.decode()):
        assert "changed since it was signed" in page
        assert "signed: Rust; now: Rust and dents" in page


def test_the_mark_to_sign_follows_what_is_typed_without_a_new_page(desk, bike):
    answer = desk.post(address(bike), typed(condition=("", "Rust")), **HTMX).content.decode()
    mark = mark_of(words_of(Intake.objects.get()))
    assert f'id="sign-seen" value="{mark}" hx-swap-oob="true"' in answer
    assert f"sheet {mark[:10]}" in answer


def test_what_was_changed_under_the_hand_of_whoever_signs_is_not_signed(desk, bike):
    intake(bike)
    answer = signed_by(desk, bike, **{"sign-seen": "0" * 64})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Something was changed after you looked." in html
    assert 'value="Jo Fenwick"' in html
    assert not IntakeSignature.objects.exists()
    mark = re.search(r'id="sign-seen" value="([^"]*)"', html)
    assert mark is not None
    assert mark.group(1) == mark_of(words_of(Intake.objects.get())), "read again, it can be signed"


def test_who_signed_has_to_be_named_and_not_ahead_of_time(desk, bike):
    tomorrow = (timezone.localdate() + timedelta(days=1)).isoformat()
    answer = signed_by(desk, bike, **{"sign-who_signed": "", "sign-signed_on": tomorrow})
    assert answer.context["sign_form"].errors["who_signed"] == ["Fill this in."]
    answer = signed_by(desk, bike, **{"sign-signed_on": tomorrow})
    assert "still to come" in answer.context["sign_form"].errors["signed_on"][0]


# -- numbers -----------------------------------------------------------------------------------------------------------


def test_numbers_that_do_not_match_are_said_at_once_with_what_to_look_at_again(desk, bike):
    intake(bike, frame_number="H1O34")
    html = desk.post(address(bike), typed(papers_frame_number=("", "h-1034")), **HTMX).content.decode()
    assert "The frame number stamped is “H1O34”, the papers say “h-1034”." in html
    assert "Look again: O or 0?" in html
    html = desk.post(address(bike), typed(frame_number=("H1O34", "H1034")), **HTMX).content.decode()
    assert "do not match" not in html


def cleared(desk: Client, bike: Restoration, **said: str) -> Any:
    page = desk.get(address(bike, "clear_numbers"))
    hidden = {name: value for name, value in page.context["form"].initial.items() if name.startswith("seen_")}
    return desk.post(address(bike, "clear_numbers"), hidden | {"who_decided": "Eve", "reason": "Invoice seen"} | said)


def test_clearing_asks_for_a_name_and_a_reason_and_defers_to_the_law_of_the_place(desk, bike):
    intake(bike, papers_frame_number="H9")
    html = desk.get(address(bike, "clear_numbers")).content.decode()
    assert "is for a qualified person or the authority to decide" in html
    answer = cleared(desk, bike, who_decided="", reason=" ")
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"who_decided", "reason"}
    assert cleared(desk, bike).headers["Location"] == address(bike)
    assert NumbersCleared.objects.get().who == "Eve"
    assert "Cleared by Eve on" in desk.get(address(bike)).content.decode()


def test_numbers_changed_meanwhile_are_not_cleared_and_are_shown_before_it_is_asked_again(desk, bike):
    intake(bike, papers_frame_number="H9")
    answer = cleared(desk, bike, seen_papers_frame="H8")
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "A number was changed after you looked." in html
    assert 'name="seen_papers_frame" value="H9"' in html
    assert 'name="reason" value="Invoice seen"' in html


def test_with_matching_numbers_there_is_nothing_to_clear(desk, bike):
    intake(bike, papers_frame_number="h 1234")
    assert desk.get(address(bike, "clear_numbers")).headers["Location"] == address(bike)


@pytest.mark.parametrize("name", ["restoration", "issue"])
def test_the_pages_of_the_bike_say_that_its_numbers_do_not_match(desk, bike, name):
    draft(bike)
    assert "do not match" not in desk.get(address(bike, name)).content.decode()
    intake(bike, papers_frame_number="H9")
    html = desk.get(address(bike, name)).content.decode()
    assert "The frame number stamped is “H1234”, the papers say “H9”." in html
    assert address(bike) in html
    cleared(desk, bike)
    assert "The numbers do not match; Eve cleared them." in desk.get(address(bike, name)).content.decode()


@pytest.mark.django_db(transaction=True)
def test_from_mismatch_to_issue_on_the_pages(desk, shop, bike):
    frame(bike, shop)
    intake(bike, papers_frame_number="H9")

    def issue() -> str:
        form = desk.get(address(bike, "issue")).context["form"].initial
        return desk.post(address(bike, "issue"), form | {"guesses_are_told": "on"}, follow=True).content.decode()

    assert "Only a ballpark may go out while the numbers do not match." in issue()
    assert not IssuedQuote.objects.exists()
    cleared(desk, bike)
    issue()
    assert IssuedQuote.objects.count() == 1


def test_the_first_page_names_the_bikes_that_are_stopped_and_no_others(desk, bike):
    intake(bike, papers_frame_number="H9")
    fine, done = restoration("Fine"), restoration("Done")
    intake(fine, papers_frame_number="h-1234")
    intake(done, papers_engine_number="E1", engine_number="E2")
    cleared(desk, done)
    group = waiting_intake.numbers(timezone.localdate())
    assert [row.restoration for row in group.rows] == [bike]
    assert "“H1234”, the papers say “H9”" in group.rows[0].text
    html = desk.get(reverse("desk:home")).content.decode()
    assert "Numbers do not match" in html


# -- who and how much ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["intake", "clear_numbers"])
@pytest.mark.parametrize(("role", "status"), [(ROLE_DESK, 200), (ROLE_MANAGER, 200), (ROLE_MECHANIC, 403)])
def test_only_desk_and_manager_see_them(client, bike, name, role, status):
    intake(bike, papers_frame_number="H9")
    client.force_login(person(role))
    assert client.get(address(bike, name)).status_code == status


@pytest.mark.parametrize("name", ["intake", "clear_numbers", "intake_photograph", "sign_intake"])
def test_a_stranger_is_sent_to_the_door(client, bike, name):
    assert "/sign-in/" in client.post(address(bike, name)).headers["Location"]
    assert not Intake.objects.exists()


def test_the_page_asks_as_much_for_one_photograph_and_signature_as_for_many(desk, bike):
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            desk.get(address(bike))
        return len(caught)

    def more() -> None:
        row = intake(bike)
        desk.post(address(bike, "intake_photograph"), {"photograph-shows": "whole", "photograph-file": upload()})
        day = timezone.localdate()
        sign(intake=row, who_signed="Jo", signed_on=day, seen=mark_of(words_of(row)), who="ada", now=timezone.now())

    more()
    few = asked()
    for _once in range(5):
        more()
    assert asked() == few


def test_the_list_of_stopped_bikes_asks_as_much_for_one_as_for_many(desk, bike, django_assert_num_queries):
    intake(bike, papers_frame_number="H9")
    for count in (1, 6):
        with django_assert_num_queries(2):
            customers = [row.restoration.customer.name for row in waiting_intake.numbers(timezone.localdate()).rows]
            assert len(customers) == count
        for number in range(5):
            intake(restoration(f"Bike {number}"), papers_frame_number="H9")
