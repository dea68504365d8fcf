"""A photograph put in by mistake: taken away it is shown nowhere, who and why is on record, and it can be undone."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from quotes.pricing.customers import sharing
from shop.journal.models import Entry
from shop.papers.models import Photograph
from shop.restorations.intake import add_photograph as add_to_intake
from shop.restorations.intake import open_intake, photographs_missing
from shop.restorations.models import Intake, Restoration
from tests.papers.pictures import keep, plain
from tests.pricing.told import accepted, ago, link_for, share

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bike() -> Restoration:
    return accepted()


@pytest.fixture
def picture() -> Photograph:
    return keep(plain(size=(90, 60)), caption="Somebody's face")


def away(bike: Restoration, picture: Photograph) -> str:
    return f"/restorations/{bike.uid}/photographs/{picture.uid}/"


def take(client: Client, bike: Restoration, picture: Photograph, why: str = "a face in it") -> Any:
    return client.post(away(bike, picture), {"why": why}, follow=True)


def undo_last(client: Client, bike: Restoration) -> Any:
    entry = Entry.objects.latest("pk")
    return client.post(f"/restorations/{bike.uid}/history/{entry.uid}/undo/", follow=True)


def test_taken_away_it_is_shown_to_nobody_and_its_row_and_file_stay(
    front_desk: Client, bike: Restoration, picture: Photograph
) -> None:
    share(bike, "", photograph=picture, now=ago(1))
    share(bike, "Beside a word", photograph=picture, now=ago(1))
    customer = Client()
    customer.get(f"/c/{link_for(bike)[1]}/")
    small = f"/c/photograph/{picture.uid}/small/"
    assert customer.get(small).status_code == 200
    answer = take(front_desk, bike, picture)
    assert "“Somebody&#x27;s face” is taken away." in answer.content.decode()
    page = customer.get("/c/progress/").content.decode()
    assert "Beside a word" in page
    assert str(picture.uid) not in page
    assert customer.get(small).status_code == 404
    for address in (picture.get_absolute_url(), picture.get_thumbnail_url()):
        assert front_desk.get(address).status_code == 404
    assert list(sharing.photographs_of(bike)) == []
    kept = Photograph.ever.get()
    assert (kept.taken_away_by, kept.taken_away_why, kept.sha256) == ("ada", "a face in it", picture.sha256)


def test_it_is_on_record_with_who_and_why_and_undone_and_undone_again(
    front_desk: Client, bike: Restoration, picture: Photograph
) -> None:
    share(bike, "", photograph=picture, now=ago(1))
    take(front_desk, bike, picture)
    history = front_desk.get(f"/restorations/{bike.uid}/history/").content.decode()
    assert "photograph taken away" in history
    assert "why it is taken away: a face in it" in history
    undo_last(front_desk, bike)
    assert Photograph.objects.get() == picture
    assert front_desk.get(picture.get_thumbnail_url()).status_code == 200
    undo_last(front_desk, bike)
    assert not Photograph.objects.exists()
    assert Photograph.ever.get().taken_away_why == "a face in it"


def test_it_says_why_and_another_bikes_photograph_is_not_there(
    front_desk: Client, bike: Restoration, picture: Photograph
) -> None:
    assert front_desk.get(away(bike, picture)).status_code == 404  # of no bike yet
    share(bike, "", photograph=picture, now=ago(1))
    answer = take(front_desk, bike, picture, why="  ")
    assert answer.status_code == 422
    assert Photograph.objects.exists()


def test_of_an_intake_it_is_missing_again(front_desk: Client, bike: Restoration, picture: Photograph) -> None:
    said: dict[str, Any] = {"who": "desk", "now": ago(2)}
    intake = open_intake(restoration=bike, came_on=bike.begun_on, **said)
    add_to_intake(intake=intake, photograph=picture, shows="frame_number", **said)
    before = photographs_missing(intake)
    take(front_desk, bike, picture)
    after = photographs_missing(Intake.objects.get())
    assert set(after) - set(before) == {"frame_number"}


def test_the_database_insists_on_who_and_why(bike: Restoration, picture: Photograph) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Photograph.ever.update(taken_away_at=ago(1))


def test_it_is_the_desks(mechanic: Client, bike: Restoration, picture: Photograph) -> None:
    assert mechanic.get(away(bike, picture)).status_code == 403
    assert mechanic.post(away(bike, picture), {"why": "x"}).status_code == 403
