import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quotes.desk import cells, importing
from quotes.desk.cells import Known
from quotes.desk.importing import COLUMNS, MOST_ROWS, MOST_WRONG, read
from quotes.desk.records import MOST_BYTES
from quotes.desk.template_file import sample_csv
from shop.methods.models import Condition, Finish, FinishRoute, FinishStep, Material, SizeClass
from shop.papers.formula_guard import FORMULA_MARKS, guarded
from shop.routes.laying import Routes

APPLY, REMOVE = FinishRoute.Direction.APPLY, FinishRoute.Direction.REMOVE
BLACK, GREEN, SPECIAL = (
    Finish(pk=1, name="Black enamel"),
    Finish(pk=2, name="Green enamel"),
    Finish(pk=3, name="=Plum, two-tone"),
)
SMALL = SizeClass(pk=1, name="Small bracket", area=Decimal(2), weight=Decimal("0.2"))


def known() -> Known:
    """Black goes on steel and comes off it; green goes on, but its redo cannot be stripped; plum has no route at all."""
    steps = {
        (1, "steel", "apply"): [FinishStep(position=1, remove_first=True)],
        (1, "steel", "remove"): [FinishStep(position=1)],
        (2, "steel", "apply"): [FinishStep(position=1, remove_first=True)],
    }
    return Known([SPECIAL, BLACK, GREEN], [SMALL], Routes(steps))


def rows(text: str) -> list[dict[str, object]]:
    found = read(text.encode(), known())
    assert [str(wrong) for wrong in found.wrong] == []
    return found.rows


def wrong(text: str | bytes) -> list[str]:
    found = read(text if isinstance(text, bytes) else text.encode(), known())
    assert found.rows == []
    return [str(wrong) for wrong in found.wrong]


# what is read


def test_every_heading_fills_its_field():
    text = (
        "part,area,pieces,material,size class,dm2,kg,openings,spokes,condition,strength,thickness,old finish,finish,depth\n"
        "Rim,Front wheel,2,steel,small bracket,24.5,1.9,1,40,corroded,800,6.5,Black enamel,black ENAMEL,0\n"
    )
    assert rows(text) == [
        {
            "name": "Rim",
            "area_name": "Front wheel",
            "pieces": 2,
            "material": Material.STEEL,
            "size_class": SMALL,
            "area": Decimal("24.5"),
            "weight": Decimal("1.9"),
            "openings": 1,
            "spokes": 40,
            "condition": Condition.CORRODED,
            "strength": 800,
            "thickness": Decimal("6.5"),
            "old_finish": BLACK,
            "finish": BLACK,
            "depth": 0,
        }
    ]


def test_headings_come_in_any_order_and_case():
    assert rows(" Pieces ;SIZE_CLASS;Part;DM²\n3;;Nut;1\n") == [{"pieces": 3, "name": "Nut", "area": Decimal(1)}]


def test_only_the_name_is_needed_and_empty_cells_leave_the_defaults():
    assert rows("part,pieces,kg\nTank,,\n") == [{"name": "Tank"}]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_cells_are_parted_by_comma_semicolon_or_tab(mark):
    assert rows(f"part{mark}pieces\nNut{mark}2\n") == [{"name": "Nut", "pieces": 2}]


@pytest.mark.parametrize(
    ("content", "name"),
    [
        ("part\nZündhebel".encode(), "Zündhebel"),
        ("part\nZündhebel".encode("utf-8-sig"), "Zündhebel"),
        ("part\nZündhebel".encode("cp1252"), "Zündhebel"),
        (b"part\r\nNut\r\n", "Nut"),
        (b"part\rNut\r", "Nut"),
    ],
)
def test_the_usual_ways_to_save_a_sheet_are_read(content, name):
    assert read(content, known()).rows == [{"name": name}]


@pytest.mark.parametrize(
    ("text", "area"),
    [
        ("part;dm2\nNut;0,35", "0.35"),
        ("part;dm2\nNut;0.35", "0.35"),
        ('part,dm2\nNut,"0,35"', "0.35"),
        ("part\tdm2\nNut\t,5", "0.5"),
        ("part;dm2\nNut;1,234", "1.234"),
        ("part,dm2\nNut,1.234", "1.234"),
    ],
)
def test_a_decimal_comma_is_as_good_as_a_point(text, area):
    assert rows(text)[0]["area"] == Decimal(area)


def test_quoted_cells_hold_marks_line_breaks_and_quotation_marks():
    assert rows('part,area\n"Stay, ""left""","Front\nmudguard"\nRim 19",x\n') == [
        {"name": 'Stay, "left"', "area_name": "Front mudguard"},
        {"name": 'Rim 19"', "area_name": "x"},
    ]


def test_empty_rows_are_passed_over_but_counted():
    assert rows("\n;;\npart;pieces;\n;;\nNut;2;\n\n") == [{"name": "Nut", "pieces": 2}]
    assert wrong("\n;;\npart;pieces;\n;;\nNut;two;\n") == [
        "row 5, pieces: “two” is not a whole number. Give digits, such as 2."
    ]


def test_a_line_break_in_a_cell_does_not_shift_the_rows_that_are_named():
    assert wrong('part,pieces\n"a\nb",1\nNut,x\n') == [
        "row 3, pieces: “x” is not a whole number. Give digits, such as 2."
    ]


def test_materials_and_conditions_are_read_as_shown_and_as_kept():
    found = rows("part;material;condition\na;Stainless Steel;Sound\nb;cast_iron;worn\nc;cast iron;\n")
    assert [row["material"] for row in found] == [Material.STAINLESS, Material.CAST_IRON, Material.CAST_IRON]


def test_a_finish_is_told_from_another_that_differs_by_case_alone():
    lower = Finish(pk=9, name="black enamel")
    both = Known([BLACK, lower], [], Routes({(pk, "steel", "apply"): [FinishStep()] for pk in (1, 9)}))
    found = read(b"part,finish\na,black enamel\nb,Black enamel\n", both)
    assert [row["finish"] for row in found.rows] == [lower, BLACK]


# what is refused, cell by cell


@pytest.mark.parametrize(
    ("heading", "cell", "sentence"),
    [
        ("area", "x" * 61, f"“{'x' * 40}…” is too long: 61 characters. At most 60 are kept."),
        ("area", "a\x01b", "There is a character in it that cannot be kept. Type the cell anew."),
        ("pieces", "two", "“two” is not a whole number. Give digits, such as 2."),
        ("pieces", "1.5", "“1.5” is not a whole number. Give digits, such as 2."),
        ("pieces", "1.000", "“1.000” is not a whole number. Give digits, such as 2."),
        ("pieces", "²", "“²” is not a whole number. Give digits, such as 2."),
        ("pieces", "-1", "“-1” is negative. Give 0 or more."),
        ("pieces", "−1", "“−1” is negative. Give 0 or more."),
        ("pieces", "100001", "“100001” is too much. Give at most 100000."),
        ("pieces", "9" * 5000, f"“{'9' * 40}…” is too much. Give at most 100000."),
        ("material", "stell", "“stell” is not a material. Did you mean “steel”?"),
        (
            "material",
            "zzz",
            "“zzz” is not a material. Choose one of these: steel, stainless steel, cast iron, aluminium, "
            "magnesium, brass or copper, rubber, other.",
        ),
        (
            "size class",
            "smal bracket",
            "“smal bracket” is not a size class of this shop. Did you mean “Small bracket”?",
        ),
        (
            "size class",
            "huge",
            "“huge” is not a size class of this shop. Choose one of these: Small bracket.",
        ),
        ("dm2", "big", "“big” is not a number. Give digits only, such as 12.5."),
        ("dm2", "12 dm2", "“12 dm2” is not a number. Give digits only, such as 12.5."),
        ("dm2", "1.2.3", "“1.2.3” is not a number. Give digits only, such as 12.5."),
        ("dm2", "1e3", "“1e3” is not a number. Give digits only, such as 12.5."),
        ("dm2", "nan", "“nan” is not a number. Give digits only, such as 12.5."),
        ("dm2", ".", "“.” is not a number. Give digits only, such as 12.5."),
        ("dm2", "٣", "“٣” is not a number. Give digits only, such as 12.5."),
        ("dm2", "-3", "“-3” is negative. Give 0 or more."),
        ("dm2", "1.234", "“1.234” can be read in two ways. Write 1,234 or 1234."),
        ("dm2", "1000000", "“1000000” is too much. Give less than 1000000."),
        ("dm2", "0,12345", "“0,12345” has too many decimals. Round it: 0.123."),
        ("kg", "heavy", "“heavy” is not a number. Give digits only, such as 12.5."),
        ("openings", "x", "“x” is not a whole number. Give digits, such as 2."),
        ("spokes", "x", "“x” is not a whole number. Give digits, such as 2."),
        ("condition", "wron", "“wron” is not a condition. Did you mean “worn”?"),
        ("strength", "8.8", "“8.8” is not a whole number. Give digits, such as 2."),
        ("strength", "80000", "“80000” is too much. Give at most 10000."),
        ("thickness", "6,55", "“6,55” has too many decimals. Round it: 6.6."),
        ("thickness", "100000", "“100000” is too much. Give less than 100000."),
        ("old finish", "Blak enamel", "“Blak enamel” is not a finish of this shop. Did you mean “Black enamel”?"),
        (
            "finish",
            "zzz",
            "“zzz” is not a finish of this shop. Choose one of these: =Plum, two-tone, Black enamel, Green enamel.",
        ),
        ("depth", "10", "“10” is too much. Give at most 9."),
        ("depth", "1", "The first part cannot belong to another. Give 0."),
    ],
)
def test_a_wrong_cell_is_named_with_its_row_and_heading(heading, cell, sentence):
    assert wrong(f"part;{heading}\nNut;{cell}\n") == [f"row 2, {heading}: {sentence}"]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (";2", "row 2, part: The part has no name. Give it one, or empty the row."),
        (f"{'x' * 101};2", f"row 2, part: “{'x' * 40}…” is too long: 101 characters. At most 100 are kept."),
    ],
)
def test_a_part_needs_a_name_that_fits(row, sentence):
    assert wrong(f"part;pieces\n{row}\n") == [sentence]


def test_with_commas_between_cells_a_comma_between_thousands_is_asked_about():
    assert wrong('part,dm2\nNut,"1,234"\n') == ["row 2, dm2: “1,234” can be read in two ways. Write 1.234 or 1234."]


def test_a_shop_without_finishes_and_sizes_says_so():
    found = read(b"part,size class,finish\nNut,small,black\n", Known([], [], Routes()))
    assert [str(one) for one in found.wrong] == [
        "row 2, size class: “small” is not a size class of this shop. "
        "There are no size classes yet; leave the cell empty and give dm2 and kg.",
        "row 2, finish: “black” is not a finish of this shop. There are no finishes yet; leave the cell empty.",
    ]


def test_a_finish_without_a_route_on_this_material_is_wrong():
    text = "part;material;old finish;finish\nYoke;steel;Green enamel;\nBox;aluminium;;Black enamel\nCap;steel;;Green enamel\n"
    off = "Choose another finish or material."
    assert wrong(text) == [
        f"row 2, old finish: Yoke: there is no route to take “Green enamel” off steel. {off}",
        f"row 3, finish: Box: there is no route to put “Black enamel” on aluminium. {off}",
        f"row 4, finish: Cap: there is no route to take “Green enamel” off steel. {off}",
    ]


def test_a_part_lies_at_most_one_deeper_than_the_one_above():
    assert [row.get("depth") for row in rows("part;depth\na;0\nb;1\nc;2\nd;\ne;1\n")] == [0, 1, 2, None, 1]
    assert wrong("part;depth\na;0\nb;2\nc;3\nd;x\ne;5\n") == [
        "row 3, depth: 2 is too deep here. Give at most 1: one deeper than the part above.",
        "row 5, depth: “x” is not a whole number. Give digits, such as 2.",
    ]


def test_everything_wrong_in_a_row_is_told_at_once_and_nothing_is_kept():
    assert wrong("part;pieces;dm2\nGood;1;1\n;x;y\n") == [
        "row 3, pieces: “x” is not a whole number. Give digits, such as 2.",
        "row 3, dm2: “y” is not a number. Give digits only, such as 12.5.",
        "row 3, part: The part has no name. Give it one, or empty the row.",
    ]


# what is refused as a whole


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The file is empty. It needs a line of headings, then a line for each part."),
        (b"\n ; ;\n", "The file is empty. It needs a line of headings, then a line for each part."),
        (b"part,pieces\n,\n", "There are headings, but no parts below them. Give each part a line."),
        (
            b"name,pieces\n",
            "row 1: The heading “name” is not known. The headings are: part, area, pieces, material, "
            "size class, dm2, kg, openings, spokes, condition, strength, thickness, old finish, finish, depth.",
        ),
        (b"part,peices\n", "row 1: The heading “peices” is not known. Did you mean “pieces”?"),
        (b"part,Part\n", "row 1: The heading “Part” is there twice."),
        (b"pieces,dm2\n1,2\n", "row 1: There is no heading “part”. The first line must hold the headings."),
        (
            b"part,pieces\nNut,1,2\n",
            "row 2: “2” stands below no heading. Give the column a heading. If a decimal comma "
            "split a number, put the number in quotation marks.",
        ),
        (
            b'part\n"Nut\n',
            "row 2: The quotation marks do not pair up. Put a quotation mark at both ends of the cell, "
            "and double those inside it.",
        ),
        (
            b'part\nBolt\n"19" rim"\n',
            "row 3: The quotation marks do not pair up. Put a quotation mark at both ends of "
            "the cell, and double those inside it.",
        ),
        (
            b"PK\x03\x04rest",
            "This spreadsheet is damaged or cut short. Open it, save it anew as XLSX or CSV, then choose it again.",
        ),
        (b"PKrest", "This packed file is damaged or no spreadsheet. Choose an XLSX or CSV file."),
        (
            b"\xd0\xcf\x11\xe0rest",
            "This is an old spreadsheet, or one with a password. Save it as XLSX or CSV, without a password, and choose"
            " that file.",
        ),
        (b"%PDF-1.7", "This is a PDF. Choose a CSV or XLSX file."),
        ("part".encode("utf-16"), "This text is in UTF-16. Save the sheet as CSV in UTF-8 and choose that file."),
        (b"part\nZ\x81\n", "The file cannot be read as text. Save the sheet as CSV in UTF-8 and choose that file."),
        (
            b"part\n" + b"x" * 200_000,
            "row 2: A cell is far too long. Perhaps a quotation mark opens it that nothing closes.",
        ),
        (
            b"part\n" + b"x" * MOST_BYTES,
            "The file is larger than 2 MB. A list is far smaller; is it the right file?",
        ),
    ],
)
def test_a_file_that_cannot_be_read_says_why(content, sentence):
    assert wrong(content) == [sentence]


def test_the_limit_of_rows_is_exact():
    assert len(rows("part\n" + "Nut\n" * MOST_ROWS)) == MOST_ROWS
    assert wrong("part\n" + "Nut\n" * (MOST_ROWS + 1)) == ["row 2002: There are more than 2,000 lines. Split the list."]


def test_a_file_that_is_wrong_throughout_is_not_told_row_by_row_for_ever():
    told = wrong("part,pieces\n" + "Nut,x\n" * 1000)
    assert len(told) == MOST_WRONG
    assert len(wrong(",".join(f"h{n}" for n in range(5000)))) == MOST_WRONG


# what is written


@pytest.mark.parametrize("decimal_comma", [False, True])
def test_the_sample_can_be_read_as_it_is(decimal_comma):
    found = read(sample_csv(known(), comma=decimal_comma), known())
    assert found.wrong == []
    assert [row["name"] for row in found.rows] == ["Fork yoke, lower", "Yoke nut", "Wheel rim, front"]
    assert found.rows[1]["area"] == Decimal("0.35")
    assert found.rows[0]["finish"] == BLACK
    assert found.rows[0]["size_class"] == SMALL


def test_the_sample_of_an_empty_shop_can_be_read_too():
    nothing = Known([], [], Routes())
    assert read(sample_csv(nothing, comma=False), nothing).wrong == []


@pytest.mark.parametrize("mark", list(FORMULA_MARKS))
def test_no_cell_of_a_file_of_ours_is_taken_for_a_formula(mark):
    odd = Finish(pk=1, name=f"{mark}1+1")
    shop = Known([odd], [], Routes({(1, "steel", "apply"): [FinishStep()]}))
    content = sample_csv(shop, comma=False)
    table = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    assert len(table) == 4
    assert [cell for line in table for cell in line if cell[:1] in tuple(FORMULA_MARKS)] == []
    assert f"'{mark}1+1" in table[1]


def test_what_we_guard_is_read_back_as_it_was():
    for name in ("=SUM(A1)", "+1", "-rod", "@home", "＝1"):
        assert cells.tidy(guarded(name)) == name


# anything at all

CELL = st.one_of(
    st.sampled_from(
        ["", "1", "1,5", "1.234", "-2", "two", "steel", "Black enamel", "small bracket", "\x00", '"', "'=x"]
    ),
    st.text(max_size=12),
)
TABLE = st.lists(st.lists(CELL, min_size=1, max_size=6), max_size=8)
HEADINGS = st.lists(st.sampled_from([column.heading for column in COLUMNS] + ["", "x"]), min_size=1, max_size=6)


def whole_or_nothing(content: bytes) -> None:
    found = read(content, known())
    assert bool(found.rows) != bool(found.wrong)
    assert all(one.text and str(one) for one in found.wrong)
    assert all(0 < len(row["name"]) <= 100 for row in found.rows)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_at_all_make_it_fall_over(content):
    whole_or_nothing(content)
    whole_or_nothing(b"part,pieces,dm2\n" + content)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="part,;\t\n\r\"'=1.é2 \x00", max_size=80))
def test_no_text_at_all_makes_it_fall_over(text):
    whole_or_nothing(text.encode())


@settings(max_examples=300, deadline=None)
@given(HEADINGS, TABLE, st.sampled_from(",;\t"))
def test_each_row_of_a_well_formed_table_is_one_part_or_the_file_is_refused(headings, table, mark):
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=mark).writerows([["part", *headings], *table])
    content = text.getvalue().encode()
    whole_or_nothing(content)
    found = read(content, known())
    if found.rows:
        assert len(found.rows) == sum(any(cells.tidy(cell) for cell in line) for line in table)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.integers(0, 100_000), min_size=1, max_size=5), st.decimals(0, 999_999, places=3))
def test_numbers_come_back_exactly(pieces, area):
    lines = "".join(f"Nut;{count};{str(area).replace('.', ',')}\n" for count in pieces)
    assert rows(f"part;pieces;dm2\n{lines}") == [{"name": "Nut", "pieces": n, "area": area} for n in pieces]


def test_the_limits_are_what_the_sentences_say():
    assert (MOST_BYTES, MOST_ROWS) == (2 * 1024 * 1024, 2_000)
    assert importing.headings()[0] == "part"
