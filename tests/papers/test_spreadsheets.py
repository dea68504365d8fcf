"""Spreadsheets in: what is read from them, and that hostile ones do nothing but be refused."""

import subprocess
import sys
from datetime import date, datetime, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.papers import spreadsheets
from shop.papers import spreadsheets_child as child
from shop.papers.formula_guard import unguarded
from shop.papers.spreadsheets import SENTENCES, Number, SpreadsheetRefused, Unread, read_rows
from shop.papers.workbooks import Book
from tests.house import ROOT
from tests.papers.sheets import SHEET, book, with_members, with_sheet, zipped

LAUGHS = "<!DOCTYPE x [<!ENTITY a 'ha'>" + "".join(
    f"<!ENTITY {chr(98 + n)} '{f'&{chr(97 + n)};' * 10}'>" for n in range(12)
)


def rows(content: bytes, most: int = 2_001) -> list[tuple[int, list[str]]]:
    return read_rows(content, most=most)


def tried(content: bytes, most: int = 2_001) -> list[tuple[int, list[str]]] | str:
    """The rows, or the reason why there are none."""
    try:
        return read_rows(content, most=most)
    except SpreadsheetRefused as error:
        return error.reason


def refusal(content: bytes, most: int = 2_001) -> str:
    with pytest.raises(SpreadsheetRefused) as caught:
        read_rows(content, most=most)
    assert str(caught.value) == SENTENCES[caught.value.reason]
    return caught.value.reason


# what is read


def test_cells_come_as_text_and_numbers_say_that_they_are():
    found = rows(book([["part", "dm2"], ["Nut", 0.35], ["007", 2]]))
    assert found == [(1, ["part", "dm2"]), (2, ["Nut", "0.35"]), (3, ["007", "2"])]
    assert [[type(cell) for cell in cells] for _row, cells in found[1:]] == [[str, Number], [str, Number]]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1.0, "1"),
        (0.1 + 0.2, "0.3"),
        (1e21, "1000000000000000000000"),
        (1e-7, "0.0000001"),
        (-2.5, "-2.5"),
        (1234567.891, "1234567.891"),
        (True, "TRUE"),
        (date(2026, 3, 14), "2026-03-14"),
        (datetime(2026, 3, 14, 9, 30), "2026-03-14 09:30"),  # noqa: DTZ001  (a cell has no zone)
        (time(7, 15), "07:15:00"),
        ("  two  spaces ", "  two  spaces "),
        ("a\nb", "a\nb"),
        ("Zündhebel ½ 漢", "Zündhebel ½ 漢"),
        ("_x0041_", "_x0041_"),
    ],
)
def test_a_value_is_the_cells_own_whatever_it_looks_like(value, text):
    assert rows(book([["x"], [value]]))[1] == (2, [text])


def test_how_a_number_is_shown_changes_nothing():
    def shape(made):
        made.worksheets[0]["A1"].number_format = "#,##0"
        made.worksheets[0]["B1"].number_format = "0%"

    assert rows(book([[1234.56, 0.125]], shape=shape)) == [(1, ["1234.56", "0.125"])]


def test_rows_that_are_empty_are_passed_over_but_counted():
    assert rows(book([[], ["part"], [None, ""], [None, "x"]])) == [(2, ["part"]), (4, ["", "x"])]


def test_the_first_sheet_that_is_not_empty_is_read():
    assert rows(book([], [[None]], [["part"], ["Nut"]], [["other"]])) == [(1, ["part"]), (2, ["Nut"])]


def test_a_formula_gives_the_value_it_was_saved_with():
    content = with_sheet('<row r="1"><c r="A1"><f>1+1</f><v>2</v></c><c r="B1" t="str"><f>"a"</f><v>a</v></c></row>')
    assert rows(content) == [(1, ["2", "a"])]


def test_a_formula_that_nobody_computed_says_so():
    (_, (cell, other)), *_ = rows(book([["=1+1", "x"]]))
    assert (type(cell), cell, other) == (
        Unread,
        "There is a formula that nobody has computed. Type its result instead.",
        "x",
    )


def test_a_formula_that_ends_in_an_error_says_so():
    (_, (cell,)), *_ = rows(with_sheet('<row r="1"><c r="A1" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>'))
    assert (type(cell), cell) == (
        Unread,
        "The formula here ends in an error (#DIV/0!). Correct it, or type the value.",
    )


def test_what_a_cell_keeps_from_being_computed_is_told_from_an_apostrophe_of_its_own():
    """By the look of the cell in the first, by an apostrophe in a file that was CSV in the second."""
    made = Book()
    made.add("parts").put(0, 0, "'=1")
    assert rows(made.content()) == [(1, ["''=1"])]
    assert rows(book([["'=1"]])) == [(1, ["'=1"])]


def test_rows_and_cells_need_not_say_where_they_are():
    assert rows(with_sheet("<row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row>")) == [
        (1, ["1", "2"]),
        (2, ["3"]),
    ]


def test_a_file_that_lies_about_its_size_is_read_in_full():
    content = with_sheet('<row r="1"><c r="A1"><v>1</v></c></row><row r="9"><c r="C9"><v>2</v></c></row>')
    lying = with_members(
        content,
        {
            SHEET: b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="A1:A1"/>'
            b'<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="9"><c r="C9"><v>2</v></c></row></sheetData></worksheet>'
        },
    )
    assert rows(lying) == [(1, ["1"]), (9, ["", "", "2"])]


def test_macros_are_not_looked_at():
    assert rows(with_members(book([["part"]]), {}, add={"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0" * 9})) == [
        (1, ["part"])
    ]


# what is refused


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"PK\x03\x04rest", "damaged"),
        (book([["part"]])[:-40], "damaged"),
        (book([["part"]])[:900], "damaged"),
        (zipped({"a.txt": b"x"}), "kind"),
        (zipped({"[Content_Types].xml": b"<Types/>", "word/document.xml": b"<x/>"}), "kind"),
        (
            zipped({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<x/>"}),
            "open document",
        ),
        (zipped({"[Content_Types].xml": b"<Types/>", "xl/workbook.xml": b"<x/>"}), "damaged"),
        (book([[]]), "empty"),
        (book([[None]], []), "empty"),
        (zipped({f"xl/{n}": b"" for n in range(2_000)}), "unpacks"),
        (zipped({"[Content_Types].xml": b"x", "xl/a": bytes(100 * 10**6)}), "unpacks"),
        (with_members(book([["part"]]), {SHEET: None}), "empty"),
        (with_sheet('<row r="1"><c r="A1" t="s"><v>99</v></c></row>'), "damaged"),
        (with_sheet('<row r="1"><c r="A1"><v>x</v></c></row>'), "damaged"),
        (with_sheet("<row"), "damaged"),
    ],
)
def test_what_is_no_spreadsheet_says_what_it_is(content, reason):
    assert refusal(content) == reason


def test_more_text_than_a_list_holds_is_refused():
    assert rows(book([["x" * child.LONGEST_CELL]]))
    assert refusal(with_sheet(f'<row><c t="inlineStr"><is><t>{"x" * 32_768}</t></is></c></row>')) == "unpacks"
    assert refusal(book([["x" * 30_000] * 150] * 2)) == "unpacks"


def test_the_limits_are_exact():
    assert len(rows(book([["x"]] * 5), most=5)) == 5
    assert refusal(book([["x"]] * 6), most=5) == "rows"
    assert rows(book([[*[None] * (child.MOST_COLUMNS - 1), "x"]]))
    assert refusal(book([[*[None] * child.MOST_COLUMNS, "x"]])) == "columns"


def test_a_million_rows_are_refused():
    """By their number, or where the machine is slow by the time they take."""
    assert refusal(with_sheet("<row><c><v>1</v></c></row>" * 10**6)) in {"rows", "heavy"}
    assert refusal(with_sheet('<row r="1048576"><c r="A1048576"><v>1</v></c></row>')) == "rows"


def test_empty_rows_far_below_are_refused_rather_than_read_for_ever():
    assert refusal(with_sheet('<row r="1"><c><v>1</v></c></row>' + "<row/>" * 60_000)) == "rows"


@pytest.mark.parametrize("member", [SHEET, "xl/workbook.xml", "[Content_Types].xml", "xl/styles.xml"])
@pytest.mark.parametrize(
    "document",
    [
        LAUGHS + "]><x>&l;</x>",
        "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><x>&e;</x>",
        "<!DOCTYPE x [<!ENTITY % e SYSTEM 'http://127.0.0.1:9/x'> %e;]><x/>",
    ],
    ids=["laughs", "a file", "an address"],
)
def test_entities_are_refused_wherever_they_stand(member, document):
    assert refusal(with_members(book([["part"]]), {member: f'<?xml version="1.0"?>{document}'.encode()})) == "damaged"


def test_an_entity_in_a_cell_brings_no_file_in():
    head = "<!DOCTYPE worksheet [<!ENTITY e SYSTEM 'file:///etc/hostname'>]>"
    assert (
        refusal(with_sheet('<row r="1"><c r="A1" t="inlineStr"><is><t>&e;</t></is></c></row>', head=head)) == "damaged"
    )


def test_too_long_and_too_large_end_in_a_sentence(caplog):
    with pytest.raises(SpreadsheetRefused, match="takes too long"):
        read_rows(book([["part"]]), most=9, seconds=0.01)
    with pytest.raises(SpreadsheetRefused, match="takes too long"):
        read_rows(with_sheet("<row><c><v>1</v></c></row>" * 10**5), most=10**7, memory=2**20)


def test_when_all_places_are_taken_one_is_asked_to_wait(monkeypatch):
    monkeypatch.setattr(spreadsheets, "PATIENCE", 0.01)
    for _place in range(spreadsheets.AT_ONCE):
        spreadsheets._places.acquire()
    try:
        assert refusal(book([["part"]])) == "busy"
    finally:
        for _place in range(spreadsheets.AT_ONCE):
            spreadsheets._places.release()
    assert rows(book([["part"]]))


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_bomb_fills_no_memory_of_ours():
    """The parent's own growth, in a process of its own: 90 MB of blanks pack to 90 kB. Source: RELIABILITY S-23, 150 MiB."""
    code = (
        "import resource, sys; sys.path.insert(0, '.'); from django.conf import settings; settings.configure(USE_I18N=False);"
        "from shop.papers.spreadsheets import read_rows, SpreadsheetRefused\n"
        "content = sys.stdin.buffer.read(); before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try: read_rows(content, most=2001)\n"
        "except SpreadsheetRefused as error: print(error.reason)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"
    )
    bomb = with_sheet('<row r="1"><c t="inlineStr"><is><t>' + "a" * 60 * 10**6 + "</t></is></c></row>")
    ran = subprocess.run([sys.executable, "-c", code], input=bomb, capture_output=True, check=True, cwd=ROOT)
    reason, grown = ran.stdout.split()
    assert reason == b"unpacks"
    assert int(grown) * 1024 < 150 * 2**20


# anything at all

WHOLE = book([["part", "dm2"], ["Nut", 2.5], ["Bolt", "=1+1"]])
CELL = st.one_of(
    st.none(),
    st.text(alphabet=st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12),
    st.decimals(-(10**9), 10**9, places=3),
    st.integers(-(10**9), 10**9),
)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.lists(CELL, min_size=1, max_size=5), min_size=1, max_size=6))
def test_what_we_write_is_read_back_exactly(table):
    made = Book()
    sheet = made.add("list")
    for row, cells in enumerate(table):
        for column, value in enumerate(cells):
            sheet.put(row, column, value)
    wanted = {
        (row, column): value
        for row, cells in enumerate(table, start=1)
        for column, value in enumerate(cells)
        if value is not None
    }
    found = tried(made.content())
    if isinstance(found, str):
        assert (found, wanted) == ("empty", {})
        return
    read = {(row, column): cell for row, cells in found for column, cell in enumerate(cells) if cell}
    assert read.keys() == wanted.keys()
    for place, value in wanted.items():
        if isinstance(value, str):
            assert unguarded(read[place]) == value
        else:
            assert isinstance(read[place], Number)
            assert Decimal(read[place]) == value


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_no_damage_does_more_than_be_refused(data):
    content = bytearray(WHOLE)
    for _hit in range(data.draw(st.integers(1, 20))):
        content[data.draw(st.integers(4, len(content) - 1))] = data.draw(st.integers(0, 255))
    found = tried(bytes(content))
    assert isinstance(found, list) or found in SENTENCES


def test_every_reason_has_its_sentence():
    assert set(child.REASONS.values()) <= SENTENCES.keys()
