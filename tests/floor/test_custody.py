"""Tags and where they are: one for every part, moved with a tap, ended and taken back; and what their pages show."""

import re
import uuid
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.floor import custody
from shop.floor.models import Move, Shelf, Tag
from shop.floor.tag_codes import is_code, spaced
from shop.journal.models import Entry
from shop.people.roles import ROLE_MECHANIC
from shop.routes.finishing import finish_step
from tests.floor.bench import Bench, agree, bench
from tests.floor.test_doing_views import ann, joe, role, tablet, text  # noqa: F401  (fixtures)
from tests.workshop import NOW, WHO, frame, restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Bench:
    made = bench()
    role(made.joe, ROLE_MECHANIC)
    return made


def shelf(name: str = "Shelf A2") -> Shelf:
    return custody.add_shelf(name=name, **WHO)


def tagged(shop: Bench) -> Tag:
    return custody.make_tags(restoration=shop.bike, **WHO)[0]


def bag(shop: Bench, **more: Any) -> Tag:
    given: dict[str, Any] = {"uid": uuid.uuid4(), "part": None, "what": "Bolts of the plates", "pieces": 12}
    return custody.add_tag(restoration=shop.bike, **given | more, **WHO)


def moved(shop: Bench, tag: Tag, **to: Any) -> Move:
    return custody.move(tag=tag, **to, person=shop.joe, now=NOW)


def place(tag: Tag) -> str:
    return custody.where_are([tag])[0].place


# -- tags --------------------------------------------------------------------------------------------------------------


def test_every_part_in_scope_gets_one_tag_and_asking_again_makes_none(shop: Bench) -> None:
    frame(shop.bike, shop.shop, name="Fork")
    gone = frame(shop.bike, shop.shop, name="Rack")
    type(gone).objects.filter(pk=gone.pk).update(removed_at=NOW)
    made = custody.make_tags(restoration=shop.bike, **WHO)
    assert sorted(str(tag.part) for tag in made) == ["Fork", "Frame"]
    assert all(is_code(tag.code) for tag in made)
    assert custody.make_tags(restoration=shop.bike, **WHO) == []


def test_a_part_whose_tag_came_off_gets_another_one_with_another_number(shop: Bench) -> None:
    first = tagged(shop)
    custody.end_tag(tag=first, **WHO)
    assert [one.tag for one in custody.tags_of(shop.bike)] == []
    second = tagged(shop)
    assert second.code != first.code
    custody.use_again(tag=first, **WHO)
    assert {one.tag.pk for one in custody.tags_of(shop.bike)} == {first.pk, second.pk}


def test_a_number_is_never_given_out_twice(shop: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    first = bag(shop)
    custody.end_tag(tag=first, **WHO)
    new = iter([first.code, first.code, "224463"])
    monkeypatch.setattr("shop.floor.tag_codes.new_code", lambda: next(new))
    assert bag(shop).code == "224463"


def test_a_bag_says_what_is_in_it_and_the_same_form_makes_one(shop: Bench) -> None:
    uid = uuid.uuid4()
    assert bag(shop, uid=uid) == bag(shop, uid=uid)
    with pytest.raises(ValidationError, match="say what is in the bag"):
        bag(shop, what=" ")
    other = frame(restoration("Heron 500"), shop.shop)
    with pytest.raises(ValidationError, match="a part of this bike"):
        bag(shop, part=other, what="")


def test_making_and_ending_stand_in_the_journal(shop: Bench) -> None:
    tag = tagged(shop)
    custody.end_tag(tag=tag, **WHO)
    custody.end_tag(tag=tag, **WHO)
    custody.use_again(tag=tag, **WHO)
    whats = Entry.objects.filter(what__startswith="tag").values_list("what", flat=True)
    assert sorted(whats) == ["tag ended", "tag made", "tag used again"]


# -- places ------------------------------------------------------------------------------------------------------------


def test_the_newest_move_says_where_it_is(shop: Bench) -> None:
    tag, other = tagged(shop), bag(shop)
    assert place(tag) == ""
    moved(shop, tag, shelf=shelf())
    moved(shop, other, shelf=shelf("Crate 1"))
    moved(shop, tag, at_whom="Joe")
    assert (place(tag), place(other)) == ("Joe", "Crate 1")
    assert Move.objects.filter(tag=tag).count() == 2


def test_saying_the_same_place_twice_is_one_move_and_coming_back_is_another(shop: Bench) -> None:
    tag, one, two = tagged(shop), shelf(), shelf("Crate 1")
    for to in (one, one, two, one):
        moved(shop, tag, shelf=to)
    assert [row.shelf for row in tag.moves.all()] == [one, two, one]


@pytest.mark.parametrize("both", [True, False])
def test_it_is_at_one_place(shop: Bench, both: bool) -> None:
    tag = tagged(shop)
    with pytest.raises(ValidationError, match="Choose a shelf, or say where"):
        moved(shop, tag, **({"shelf": shelf(), "at_whom": "Joe"} if both else {"at_whom": " "}))


def test_a_tag_that_came_off_goes_nowhere(shop: Bench) -> None:
    tag = custody.end_tag(tag=tagged(shop), **WHO)
    with pytest.raises(ValidationError, match="came off"):
        moved(shop, tag, at_whom="Joe")


def test_where_it_was_is_kept_by_the_database(shop: Bench) -> None:
    row = moved(shop, tagged(shop), at_whom="Joe")
    with pytest.raises(DatabaseError), transaction.atomic():
        Move.objects.filter(pk=row.pk).update(at_whom="Ann")
    with pytest.raises(DatabaseError), transaction.atomic():
        row.delete()


def test_a_shelf_keeps_what_is_on_it_under_another_name(shop: Bench) -> None:
    tag, on = tagged(shop), shelf()
    moved(shop, tag, shelf=on)
    custody.rename_shelf(shelf=on, name="Shelf B", **WHO)
    assert place(tag) == "Shelf B"
    with pytest.raises(ValidationError):
        custody.add_shelf(name="Shelf B", **WHO)


def test_next_is_the_first_open_step_of_its_route(shop: Bench) -> None:
    found = custody.next_of(shop.part, now=NOW)
    assert found
    assert found.step == shop.blast
    finish_step(step=shop.blast, who="joe", now=NOW)
    found = custody.next_of(shop.part, now=NOW)
    assert found
    assert found.step == shop.spray


@pytest.mark.parametrize("count", [1, 8])
def test_where_everything_is_takes_as_many_queries_for_one_as_for_many(shop: Bench, count: int) -> None:
    for number in range(count):
        moved(shop, bag(shop, part=shop.part), shelf=shelf(f"Shelf {number}"))
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert len(custody.tags_of(shop.bike)) == count
    assert len(asked) == 3
    with CaptureQueriesContext(connection) as asked:
        assert len(custody.of_parts([shop.part.pk])[shop.part.pk]) == count
    assert len(asked) == 3


# -- pages -------------------------------------------------------------------------------------------------------------


def test_a_scanned_tag_says_what_it_is_and_what_is_next(shop: Bench, joe: Client) -> None:  # noqa: F811
    tag = tagged(shop)
    said = text(joe.get(f"/floor/t/{tag.code}/"))
    for words in (spaced(tag.code), "Frame", "1 piece", "Agreed finish: Black", "Next: Blast", "Nobody has said yet"):
        assert words in said
    assert joe.get(f"/floor/t/{tag.code.lower()}/").status_code == 302
    assert joe.get("/floor/t/222222/").status_code == 404


def test_one_tap_puts_it_on_a_shelf_and_the_page_says_so(shop: Bench, joe: Client) -> None:  # noqa: F811
    tag, on = tagged(shop), shelf()
    answer = joe.post(f"/floor/t/{tag.code}/move/", {"shelf": str(on.uid)}, follow=True)
    assert "It is here Shelf A2 says Joe" in text(answer)
    joe.post(f"/floor/t/{tag.code}/move/", {"at": "me"})
    joe.post(f"/floor/t/{tag.code}/move/", {"at": "bike"})
    joe.post(f"/floor/t/{tag.code}/move/", {"at_whom": "Under the bench"})
    assert [row.at_whom for row in tag.moves.all()] == ["", "Joe", "on the bike", "Under the bench"]
    said = text(joe.get(f"/floor/t/{tag.code}/"))
    assert "It is here Under the bench" in said
    assert "Where it was on the bike" in said


def test_on_a_tablet_somebody_says_first_who_they_are_then_it_is_one_tap(shop: Bench, tablet: Client) -> None:  # noqa: F811
    tag, on = tagged(shop), shelf()
    page = tablet.get(f"/floor/t/{tag.code}/").content.decode()
    assert f'href="?person={shop.joe.uid}"' in page
    refused = tablet.post(f"/floor/t/{tag.code}/move/", {"shelf": str(on.uid)})
    assert refused.status_code == 422
    assert "Say first who you are" in text(refused)
    tablet.post(f"/floor/t/{tag.code}/move/", {"shelf": str(on.uid), "person": str(shop.joe.uid)})
    assert tag.moves.get().person == shop.joe


def test_the_number_is_typed_and_what_is_wrong_with_it_is_told_beside_it(shop: Bench, joe: Client) -> None:  # noqa: F811
    tag = tagged(shop)
    answer = joe.get("/floor/tags/", {"code": spaced(tag.code).lower()})
    assert answer.headers["Location"].startswith(f"/floor/t/{tag.code}/")
    wrong = joe.get("/floor/tags/", {"code": "O23456"})
    assert wrong.status_code == 422
    assert "There is no O on any tag" in text(wrong)
    assert "O23456" in wrong.content.decode()


def test_all_tags_of_a_bike_are_made_and_moved_together(shop: Bench, joe: Client) -> None:  # noqa: F811
    frame(shop.bike, shop.shop, name="Fork")
    here, on = f"/floor/restorations/{shop.bike.uid}/tags/", shelf()
    assert "2 parts have no tag yet" in text(joe.get(here))
    assert "2 tags are made" in text(joe.post(f"{here}all/", follow=True))
    codes = list(Tag.objects.values_list("code", flat=True))
    answer = joe.post(f"{here}move/", {"tag": codes, "shelf": str(on.uid)}, follow=True)
    assert "2 tags are there now" in text(answer)
    assert {one.place for one in custody.tags_of(shop.bike)} == {"Shelf A2"}
    none = joe.post(f"{here}move/", {"shelf": str(on.uid)})
    assert none.status_code == 422
    assert "Tick the tags" in text(none)


def test_a_bag_made_by_hand_keeps_what_was_typed_where_something_is_wrong(shop: Bench, joe: Client) -> None:  # noqa: F811
    new = f"/floor/restorations/{shop.bike.uid}/tags/new/"
    wrong = joe.post(new, {"uid": str(uuid.uuid4()), "what": "Bolts of the plates", "pieces": "none"})
    assert wrong.status_code == 422
    assert 'value="Bolts of the plates"' in wrong.content.decode()
    joe.post(new, {"uid": str(uuid.uuid4()), "what": "Bolts of the plates", "pieces": "12"})
    assert Tag.objects.get().pieces == 12


def test_the_task_page_says_where_each_part_is(shop: Bench, joe: Client) -> None:  # noqa: F811
    page = f"/floor/tasks/{shop.task(shop.blast).uid}/"
    assert "No tag yet" in text(joe.get(page))
    tag = tagged(shop)
    moved(shop, tag, shelf=shelf())
    assert f"{spaced(tag.code)} : Shelf A2" in text(joe.get(page))
    leads = joe.get(f"/floor/parts/{shop.part.uid}/tags/")
    assert leads.headers["Location"].startswith(f"/floor/t/{tag.code}/")


def test_ending_is_asked_of_the_tag_and_taken_back_there(shop: Bench, joe: Client) -> None:  # noqa: F811
    tag = tagged(shop)
    joe.post(f"/floor/t/{tag.code}/end/")
    assert "This tag came off" in text(joe.get(f"/floor/t/{tag.code}/"))
    assert joe.post(f"/floor/t/{tag.code}/move/", {"at": "me"}).status_code == 422
    joe.post(f"/floor/t/{tag.code}/end/", {"undo": "1"})
    assert not re.search("came off[,.]", text(joe.get(f"/floor/t/{tag.code}/")))


@pytest.mark.parametrize("many", [1, 12])
def test_the_page_of_a_bike_takes_as_many_queries_for_one_tag_as_for_many(
    shop: Bench,
    joe: Client,  # noqa: F811
    many: int,
) -> None:
    for _number in range(many):
        moved(shop, bag(shop, part=shop.part), shelf=Shelf.objects.first() or shelf())
    agree(shop.bike)
    with CaptureQueriesContext(connection) as asked:
        joe.get(f"/floor/restorations/{shop.bike.uid}/tags/")
    assert len(asked) <= 16, "\n".join(one["sql"][:200] for one in asked.captured_queries)
