"""Parts from a file for a bike that is there: looked at first, then all of it, once."""

import html as markup
import io
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quotes.desk import exporting, importing, tables, uploads
from quotes.desk.cells import Known
from quotes.desk.models import Upload
from quotes.desk.previewing import SHOWN, preview
from quotes.desk.selectors import known
from quotes.desk.services import take_in_parts
from quotes.desk.template_file import FIELDS, sample_csv, sample_xlsx
from shop.journal.models import Entry
from shop.methods.models import Finish, SizeClass
from shop.outbox import menders
from shop.restorations.models import Part, Restoration
from shop.routes.laying import Routes
from shop.routes.parts import add_routed_parts
from tests.papers.sheets import book
from tests.workshop import NOW, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db: None) -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    found = restoration()
    frame(found, shop)
    return found


def choose(client: Client, bike: Restoration, content: bytes | str, name: str = "bike.csv", **more: Any) -> Any:
    file = SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content)
    return client.post(f"/restorations/{bike.uid}/import/", {"file": file}, **more)


def page_of(response: Any) -> str:
    return markup.unescape(response.content.decode())


def kept(bike: Restoration, content: bytes = b"part\nNut\n", **more: Any) -> Upload:
    return uploads.keep(
        kind=Upload.Kind.PARTS, name="bike.csv", content=content, subject_uid=bike.uid, who="ada", now=NOW, **more
    )


# who may


@pytest.mark.parametrize(
    ("role", "status"),
    [("front_desk", 200), ("manager", 200), ("alone", 200), ("mechanic", 403), ("nobody", 403), ("stranger", 302)],
)
def test_the_pages_are_for_the_front_desk_and_the_manager(
    role: str, status: int, bike: Restoration, request: Any
) -> None:
    client, upload = request.getfixturevalue(role), kept(bike)
    lists = ["/restorations/list.csv", "/restorations/list.xlsx"]
    own = [
        f"/restorations/{bike.uid}/{name}" for name in ("import/", f"import/{upload.uid}/", "parts.csv", "parts.xlsx")
    ]
    for address in (*lists, *own):
        assert client.get(address).status_code == status, address
    if status != 200:
        client.post(f"/restorations/{bike.uid}/import/{upload.uid}/")
        assert Part.objects.count() == 1


# looked at, then taken in


def test_a_file_is_shown_before_anything_is_written(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    text = "part;area;pieces;dm2;finish;depth\nYoke;Front fork;1;4,5;black;\nNut;Front fork;4;;zinc;1\nGrip;;2;;;\n"
    sent = choose(front_desk, bike, text)
    upload = Upload.objects.get()
    assert sent.status_code == 302
    assert sent["Location"] == f"/restorations/{bike.uid}/import/{upload.uid}/"
    page = page_of(front_desk.get(sent["Location"]))
    assert "What “bike.csv” adds: 3 parts" in page
    assert "Front fork (2), without an area (1)" in page
    assert "Black (1), Zinc (1)" in page
    assert "2 parts have no size yet" in page
    assert "Take in 3 parts" in page
    assert re.search(r'<th scope="row" class="deep-1">Nut', page)
    assert (bike.parts.count(), upload.taken_at) == (1, None)


def test_taken_in_all_of_it_is_there_with_routes_and_the_journal_tells(front_desk: Client, bike: Restoration) -> None:
    sent = choose(front_desk, bike, "part;finish\nYoke;black\nNut;zinc\n")
    version = bike.scope_version
    done = front_desk.post(sent["Location"], follow=True)
    assert "2 parts are added from “bike.csv”." in page_of(done)
    parts = list(bike.parts.order_by("position"))
    assert [part.name for part in parts] == ["Frame", "Yoke", "Nut"]
    assert [step.operation or step.service for step in parts[1].steps.order_by("position")] != []
    bike.refresh_from_db()
    assert bike.scope_version == version + 1
    told = Entry.objects.filter(what="parts taken in from a file").get()
    assert '"file":"bike.csv"' in told.after
    assert '"parts":2' in told.after
    assert [entry.subject_label for entry in Entry.objects.filter(what="part added")][-2:] == ["Yoke", "Nut"]


def test_a_second_time_nothing_is_added(front_desk: Client, bike: Restoration) -> None:
    address = choose(front_desk, bike, "part\nNut\n")["Location"]
    front_desk.post(address)
    for again in (front_desk.post(address, follow=True), front_desk.get(address, follow=True)):
        assert "“bike.csv” was taken in already. Nothing was added again." in page_of(again)
    assert bike.parts.count() == 2


def test_a_file_of_another_bike_is_not_found_here(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    upload = kept(restoration())
    for send in (front_desk.get, front_desk.post):
        assert send(f"/restorations/{bike.uid}/import/{upload.uid}/").status_code == 404
    assert Part.objects.count() == 1


def test_what_is_on_the_bike_already_is_pointed_out(front_desk: Client, bike: Restoration) -> None:
    sent = choose(front_desk, bike, "part;area\nFrame;Frame\nFrame;Rear\n", follow=True)
    assert "1 part of this name is on the bike already" in page_of(sent)


@pytest.mark.parametrize("name", ["bike.csv", "bike.xlsx", "bike.txt"])
def test_what_is_wrong_is_named_row_by_row_and_nothing_is_kept(
    front_desk: Client, bike: Restoration, name: str
) -> None:
    """What a file is called says nothing of what it holds."""
    response = choose(
        front_desk, bike, book([["part", "pieces", "dm2"], ["Nut", "two", 1], ["Bolt", 1.5, "=1+1"]]), name
    )
    assert response.status_code == 422
    table = re.findall(r"<tr><td[^>]*>(.*?)</td><td>(.*?)</td><td>(.*?)</td></tr>", page_of(response))
    assert table == [
        ("2", "pieces", "“two” is not a whole number. Give digits, such as 2."),
        ("3", "pieces", "“1.5” is not a whole number. Give digits, such as 2."),
        ("3", "dm2", "There is a formula that nobody has computed. Type its result instead."),
    ]
    assert "3 things are wrong in it" in page_of(response)
    assert (Upload.objects.count(), bike.parts.count()) == (0, 1)


@pytest.mark.parametrize(
    "content", [b"", b"\xd0\xcf\x11\xe0old", b"PK\x03\x04half", b"%PDF-1.7", b"x" * (2 * 2**20 + 1)]
)
def test_what_is_no_list_is_refused_with_a_sentence(front_desk: Client, bike: Restoration, content: bytes) -> None:
    response = choose(front_desk, bike, content)
    assert response.status_code == 422
    assert re.search(r"<td>–</td><td>[A-Z][^<]+\.</td>|<td>–</td><td>[A-Z][^<]+\?</td>", page_of(response))
    assert Upload.objects.count() == 0


def test_without_a_file_one_is_asked_for(front_desk: Client, bike: Restoration) -> None:
    response = front_desk.post(f"/restorations/{bike.uid}/import/", {})
    assert response.status_code == 422
    assert "Choose the file." in page_of(response)


def test_a_kept_file_is_read_again_before_it_is_taken_in(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    address = choose(front_desk, bike, "part,finish\nNut,black\n")["Location"]
    Finish.objects.filter(pk=shop.black.pk).update(name="Jet")
    response = front_desk.post(address)
    assert response.status_code == 422
    assert "“black” is not a finish of this shop." in page_of(response)
    assert (bike.parts.count(), Upload.objects.get().taken_at) == (1, None)


def test_what_a_file_holds_is_shown_as_text(front_desk: Client, bike: Restoration) -> None:
    sent = choose(front_desk, bike, "part,area\n<b>Nut</b>,<i>x</i>\n", "<u>.csv", follow=True)
    html = sent.content.decode()
    assert "&lt;b&gt;Nut" in html
    assert not re.search(r"<b>Nut|<i>x|<u>\.csv", html)


def test_a_spreadsheet_is_read_like_a_text_file(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    content = book([["part", "pieces", "dm2", "finish"], ["Nut", 4, 1.234, "Zinc"], ["Yoke", None, 12, "black"]])
    front_desk.post(choose(front_desk, bike, content, "bike.xlsx")["Location"])
    found = [(part.name, part.pieces, part.area, part.agreed_finish) for part in bike.parts.order_by("position")][1:]
    assert found == [("Nut", 4, Decimal("1.234"), shop.zinc), ("Yoke", 1, Decimal(12), shop.black)]


@pytest.mark.django_db(transaction=True)
def test_of_two_who_take_in_the_same_file_at_once_one_does(shop: Workshop) -> None:
    bike = restoration()
    upload = kept(bike)
    rows = importing.read(b"part\nNut\n", known()).rows

    def take(_turn: int) -> str:
        try:
            take_in_parts(restoration=bike, upload=Upload.objects.get(pk=upload.pk), rows=rows, **WHO)
        except uploads.TakenError:
            return "was taken"
        finally:
            connections.close_all()
        return "took"

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(take, range(4))) == ["took", "was taken", "was taken", "was taken"]
    assert bike.parts.count() == 1


# kept for a while


def test_what_nobody_took_in_for_a_week_is_thrown_away(bike: Restoration) -> None:
    old, taken, new = kept(bike), kept(bike), kept(bike)
    Upload.objects.filter(pk__in=[old.pk, taken.pk]).update(at=NOW - uploads.KEPT_FOR - timedelta(seconds=1))
    Upload.objects.filter(pk=new.pk).update(at=NOW - uploads.KEPT_FOR)
    Upload.objects.filter(pk=taken.pk).update(taken_at=NOW)
    assert uploads.sweep(now=NOW) == 1
    assert set(Upload.objects.values_list("pk", flat=True)) == {taken.pk, new.pk}
    assert uploads.sweep(now=NOW) == 0


def test_the_sweep_throws_them_away_by_itself(bike: Restoration) -> None:
    kept(bike)
    assert menders.run(now=timezone.now() + timedelta(days=3650)) == []
    assert Upload.objects.count() == 0


# a file to fill in


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_file_to_fill_in_gives_the_same_parts_as_it_is(front_desk: Client, shop: Workshop, kind: str) -> None:
    SizeClass.objects.create(name="=Small", area=Decimal(2), weight=Decimal(1))
    answered = front_desk.get(f"/restorations/parts.{kind}")
    assert answered["Content-Disposition"] == f'attachment; filename="parts.{kind}"'
    found = importing.read(answered.content, known())
    assert found.wrong == []
    assert found.rows == importing.read(sample_csv(known(), comma=False), known()).rows
    assert [row["name"] for row in found.rows] == ["Fork yoke, lower", "Yoke nut", "Wheel rim, front"]
    assert found.rows[0]["size_class"] == SizeClass.objects.get()


def test_the_spreadsheet_offers_what_this_shop_has(shop: Workshop) -> None:
    made = openpyxl.load_workbook(io.BytesIO(sample_xlsx(known())))
    parts, choices = made.worksheets
    offered: dict[str, list[str]] = {}
    for rule in parts.data_validations.dataValidation:
        column = parts.cell(1, next(iter(rule.sqref.ranges)).min_col).value
        if rule.type == "list":
            reach = rule.formula1.partition("!")[2].replace("$", "")
            offered[column] = [cell[0].value for cell in choices[reach]]
        assert next(iter(rule.sqref.ranges)).max_row == importing.MOST_ROWS + 1
        assert rule.prompt
    assert offered["finish"] == offered["old finish"] == ["Black", "Green", "Zinc"]
    assert offered["material"][:2] == ["steel", "stainless steel"]
    assert "worn" in offered["condition"]
    assert len(parts.data_validations.dataValidation) == len(FIELDS)


# lists


def rows_of(content: bytes) -> list[list[Any]]:
    sheet = openpyxl.load_workbook(io.BytesIO(content)).worksheets[0]
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def test_the_list_of_restorations_holds_what_was_searched_on_all_pages(front_desk: Client, bike: Restoration) -> None:
    for number in range(30):
        restoration(f"Gull {number}")
    found = rows_of(front_desk.get("/restorations/list.xlsx?search=gull").content)
    assert len(found) == 31
    assert found[0][:2] == ["title", "customer"]
    assert found[1][0] == "Gull 29"
    assert str(found[1][7]) == "2026-03-02 00:00:00"
    text = front_desk.get("/restorations/list.csv?search=heron+250").content.decode("utf-8-sig")
    assert len(text.splitlines()) == 32


def test_the_list_asks_as_much_for_many_as_for_few(front_desk: Client, shop: Workshop) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            front_desk.get("/restorations/list.csv")
        return len(queries)

    restoration()
    few = asked()
    for number in range(40):
        restoration(f"Gull {number}")
    assert asked() == few


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_parts_of_one_bike_can_be_taken_in_for_another(front_desk: Client, shop: Workshop, kind: str) -> None:
    SizeClass.objects.create(name="'=x", area=Decimal(2), weight=Decimal(1))
    one, other = restoration(), restoration()
    text = (
        "part;area;pieces;material;size class;dm2;kg;openings;spokes;condition;strength;thickness;old finish;finish;depth\n"
        "'=1+1;@home;2;steel;''=x;1,234;0,5;3;40;corroded;800;6,5;Black;Zinc;0\nNut;;1;rubber;;;;;;;;;;;1\n"
    )
    first = importing.read(text.encode(), known())
    assert first.wrong == []
    add_routed_parts(restoration=one, rows=first.rows, **WHO)
    sent = choose(front_desk, other, front_desk.get(f"/restorations/{one.uid}/parts.{kind}").content, f"x.{kind}")
    front_desk.post(sent["Location"])

    def facts(of: Restoration) -> list[dict[str, Any]]:
        left_out = ("id", "uid", "restoration_id", "position")
        rows = of.parts.order_by("position").values()
        return [{name: value for name, value in row.items() if name not in left_out} for row in rows]

    assert facts(other) == facts(one)
    assert facts(one)[0]["name"] == "=1+1"


LETTER = st.one_of(st.sampled_from("=+-@'\"; ,\uff1d"), st.characters(exclude_categories=["C", "Z"]))
NAMES = st.text(alphabet=LETTER, min_size=1, max_size=20)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(names=st.lists(NAMES, min_size=1, max_size=5), comma=st.booleans())
def test_names_come_back_as_they_were(names: list[str], comma: bool) -> None:
    tidied = [" ".join(name.split()) for name in names]
    wanted = [name for name in tidied if name]
    if not wanted:
        return
    content = tables.as_csv(["part", "pieces"], [[name, 1] for name in wanted], comma=comma)
    found = importing.read(content, Known([], [], Routes()))
    assert found.wrong == []
    assert [row["name"] for row in found.rows] == wanted


def test_a_preview_shows_what_else_the_file_gives_and_marks_what_is_assumed() -> None:
    row = {"name": "Spindle", "strength": 1200, "thickness": Decimal("12.5"), "openings": 2, "condition": "sound"}
    given, bare = preview("x", [row, {"name": "Clip"}]).lines
    assert given.more.replace("\u00a0", " ") == "1,200 MPa, 12.5 mm thick, openings: 2"
    assert (bare.material, bare.condition, bare.more) == ("steel", "worn", "")
    assert (given.assumed, bare.assumed) == ({"material"}, {"material", "condition"})


def test_a_preview_shows_the_first_and_counts_the_others() -> None:
    found = preview("x", [{"name": f"Nut {number}", "pieces": 2} for number in range(SHOWN + 5)])
    assert (found.parts, found.pieces, len(found.lines), found.more, found.unsized) == (17, 34, SHOWN, 5, 17)


def test_headings_of_the_list_are_those_of_a_list_to_be_taken_in() -> None:
    assert exporting.part_headings() == importing.headings()
