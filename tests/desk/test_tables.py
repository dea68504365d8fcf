"""RELIABILITY S-21: what begins like a formula is text in every file, and numbers stay numbers."""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quotes.desk import tables
from quotes.desk.tables import answer, as_csv, as_xlsx
from shop.papers.formula_guard import FORMULA_MARKS, guarded, unguarded
from shop.papers.workbooks import sheet_name
from tests.office import CSV_FILTER, converted, office

RISKY = [f"{mark}1+1" for mark in FORMULA_MARKS] + ["=cmd|' /C x'!A0", "'=1+1", "''=1", " =1+1", "\t=1+1", "@SUM(A1)"]
HARMLESS = ["Yoke, lower", "1+1", "'quoted'", "12", "1e3", "007", "https://a.example/", "TRUE", "2026-03-02", "a\nb"]


def cells_of(content: bytes):
    sheet = openpyxl.load_workbook(io.BytesIO(content)).worksheets[0]
    return [
        [sheet.cell(row, column) for column in range(1, sheet.max_column + 1)] for row in range(1, sheet.max_row + 1)
    ]


def table_of(content: bytes, mark: str = ",") -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), delimiter=mark, strict=True))


def as_kept(text: str) -> str:
    """What a spreadsheet makes of line ends."""
    return text.replace("\r", "\n")


@pytest.mark.parametrize("text", RISKY + HARMLESS)
def test_text_is_text_whatever_it_begins_with(text):
    cell = cells_of(as_xlsx(["part"], [[text]], title="list"))[1][0]
    assert (cell.data_type, cell.value) == ("s", as_kept(text))


@pytest.mark.parametrize("text", RISKY)
def test_a_spreadsheet_is_told_to_leave_risky_text_alone_when_somebody_edits_the_cell(text):
    risky, plain = (cells_of(as_xlsx(["part"], [[one]], title="list"))[1][0] for one in (text, "Yoke"))
    assert (risky.quotePrefix, plain.quotePrefix) == (True, False)


@pytest.mark.parametrize("text", RISKY)
def test_no_text_of_a_csv_file_begins_like_a_formula_and_all_come_back(text):
    found = table_of(as_csv([text], [[text]], comma=False))
    assert [cell[0] for line in found for cell in line] == ["'", "'"]
    assert [unguarded(cell) for line in found for cell in line] == [text, text]


@pytest.mark.parametrize("text", HARMLESS)
def test_harmless_text_is_left_as_it_is(text):
    assert table_of(as_csv(["part"], [[text]], comma=False))[1] == [text]


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=f"'a1 {FORMULA_MARKS}", max_size=8))
def test_a_guard_comes_off_exactly(text):
    assert unguarded(guarded(text)) == text
    assert guarded(text)[:1] not in tuple(FORMULA_MARKS)


@pytest.mark.control
def test_a_library_that_guesses_writes_a_formula():
    book = openpyxl.Workbook()
    book.active.append(["=1+1"])
    out = io.BytesIO()
    book.save(out)
    assert cells_of(out.getvalue())[0][0].data_type == "f"


NUMBERS = [
    (Decimal("-12.50"), "-12.50", "-12,50", "#,##0.00"),
    (Decimal("1234567.890"), "1234567.890", "1234567,890", "#,##0.000"),
    (-3, "-3", "-3", "#,##0"),
    (0, "0", "0", "#,##0"),
    (Decimal("1E+3"), "1000", "1000", "#,##0"),
]


@pytest.mark.parametrize(("number", "point", "comma", "look"), NUMBERS)
def test_numbers_stay_numbers(number, point, comma, look):
    cell = cells_of(as_xlsx(["price"], [[number]], title="list"))[1][0]
    assert (cell.data_type, Decimal(str(cell.value)), cell.number_format) == ("n", Decimal(number), look)
    assert table_of(as_csv(["price"], [[number]], comma=False))[1] == [point]
    assert table_of(as_csv(["price"], [[number]], comma=True), ";")[1] == [comma]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.decimals(-(10**12), 10**12, places=2), min_size=1, max_size=20))
def test_no_cent_is_lost_on_the_way(amounts):
    found = cells_of(as_xlsx(["price"], [[amount] for amount in amounts], title="list"))[1:]
    assert [round(Decimal(line[0].value), 2) for line in found] == amounts


def test_a_number_with_more_digits_than_a_spreadsheet_has_is_kept_as_text():
    number = 12345678901234567
    assert cells_of(as_xlsx(["number"], [[number]], title="list"))[1][0].value == str(number)


def test_a_float_is_refused():
    with pytest.raises(TypeError, match="not a float"):
        as_csv(["price"], [[1.5]], comma=False)


def test_days_and_moments_are_those_of_the_shop(settings):
    settings.TIME_ZONE = "Europe/Vienna"
    row = [date(2026, 3, 2), datetime(2026, 3, 2, 23, 30, tzinfo=UTC), True, False, None]
    assert table_of(as_csv(list("abcde"), [row], comma=False))[1] == ["2026-03-02", "2026-03-03 00:30", "yes", "no", ""]
    found = cells_of(as_xlsx(list("abcde"), [row], title="list"))[1]
    days = ["2026-03-02 00:00:00", "2026-03-03 00:30:00"]
    assert [str(cell.value) for cell in found] == [*days, "yes", "no", "None"]
    assert (found[0].number_format, found[1].number_format) == ("yyyy-mm-dd", "yyyy-mm-dd hh:mm")


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("parts", "parts"),
        ("", "1"),
        ("a/b:c*[d]", "a b c  d"),
        ("'", "1"),
        ("x" * 40, "x" * 31),
        ("y" * 30 + "'z", "y" * 30),
    ],
)
def test_a_sheet_gets_a_name_that_every_spreadsheet_takes(title, name):
    assert sheet_name(title) == name
    assert openpyxl.load_workbook(io.BytesIO(as_xlsx(["a"], [], title=title))).sheetnames == [name]


def test_more_text_than_a_cell_holds_is_cut_and_says_so():
    text = cells_of(as_xlsx(["a"], [["x" * 40_000]], title="list"))[1][0].value
    assert (len(text), text[-1]) == (32_767, "…")


@pytest.mark.parametrize("kind", [tables.CSV, tables.XLSX])
def test_an_answer_is_a_file_to_keep(kind):
    found = answer(kind, name="Money, öpen", headings=["part"], rows=[["=1"]])
    assert found["Content-Disposition"] == f'attachment; filename="money-open.{kind}"'
    assert found["Content-Type"] == tables.MEDIA_TYPES[kind]


def test_only_two_kinds_are_written():
    with pytest.raises(ValueError, match="csv or xlsx"):
        answer("ods", name="list", headings=[], rows=[])


# opened by a spreadsheet program

TEXTS = [*RISKY, *HARMLESS, "_x0041_", "Zündhebel ½ 漢", "'", '"', ";", ","]


@office
def test_a_spreadsheet_program_computes_none_of_it_and_keeps_every_text(tmp_path):
    """RELIABILITY S-21: written, opened and saved by another program, and read again by a third."""
    rows = [[text, Decimal("-12.50"), date(2026, 3, 2)] for text in TEXTS]
    content = as_xlsx(["part", "price", "day"], rows, title="list")
    book = openpyxl.load_workbook(io.BytesIO(converted(tmp_path, {"a.xlsx": content}, "xlsx")["a.xlsx"]))
    found = list(book.worksheets[0].iter_rows(min_row=2))
    assert [row[0].value for row in found] == [as_kept(text) for text in TEXTS]
    assert {row[0].data_type for row in found} == {"s"}
    assert {(row[1].data_type, row[1].value) for row in found} == {("n", -12.5)}
    assert {str(row[2].value) for row in found} == {"2026-03-02 00:00:00"}


@office
def test_a_csv_file_of_ours_holds_nothing_to_compute_for_a_spreadsheet_program(tmp_path):
    """With formulas computed on opening, as a person may have it set."""
    content = as_csv(["part", "price"], [[text, Decimal("-12.50")] for text in RISKY], comma=False)
    saved = converted(tmp_path, {"a.csv": content}, "xlsx", opened_as=CSV_FILTER)["a.csv"]
    found = list(openpyxl.load_workbook(io.BytesIO(saved)).worksheets[0].iter_rows(min_row=2))
    assert [unguarded(str(row[0].value)) for row in found] == [as_kept(text) for text in RISKY]
    assert {cell.data_type for row in found for cell in row} == {"s", "n"}
    assert {row[1].value for row in found} == {-12.5}


@office
@pytest.mark.control
def test_without_the_guard_a_spreadsheet_program_computes(tmp_path):
    content = b"part\r\n=1+1\r\n"
    saved = converted(tmp_path, {"a.csv": content}, "xlsx", opened_as=CSV_FILTER)["a.csv"]
    assert openpyxl.load_workbook(io.BytesIO(saved), data_only=True).worksheets[0]["A2"].value == 2
