"""The cost sheet as a spreadsheet: computed anew by a program that is not ours, it comes to the same to the minor unit."""

import io
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.contrib.auth.models import Group
from django.test import Client

from quotes.engine import inputs, rollup
from quotes.engine.formulas import PRESENT
from quotes.engine.results import Explained
from quotes.pricing.models import Draft, Stage
from quotes.pricing.stages import offered
from quotes.pricing.workbook import cells as workbook_cells
from quotes.pricing.workbook import formulas as workbook_formulas
from quotes.pricing.workbook.book import TOP, workbook
from shop.people.models import User
from tests.engine import build, made
from tests.office import misled, named, office, recomputed
from tests.pricing import staged
from tests.pricing.workshop import Workshop, answer, issue

D = Decimal
SEEDS = range(1, 25)
#: Both ways to sell labour, several currencies, both roundings, tax by line and by document: see `tests.engine.made`.
FIGURES = ("price", "discount", "credits", "net", "tax", "total")
PRICE, NET, DISCOUNT = "Price", "Net", "Discount"


def exactly(value: object) -> Decimal:
    """What a spreadsheet shows of a number: fifteen digits."""
    assert isinstance(value, int | float), value
    return D(f"{value:.15g}")


def expected(explained: Explained) -> dict[str, Decimal]:
    result = explained.result
    return {
        "price": result.price + result.credited,
        "discount": result.discount,
        "credits": -result.credited,
        "net": result.net,
        "tax": result.tax,
        "total": result.total,
    }


def totals(book: openpyxl.Workbook) -> dict[str, Decimal]:
    return {name: exactly(named(book, f"out_{name}").value) for name in FIGURES}


def columns(book: openpyxl.Workbook, *names: str) -> list[tuple[Any, ...]]:
    """Columns of the lines, by their headings."""
    sheet = book[PRICE]
    heads = {cell.value: cell.column for cell in sheet[TOP]}
    found = []
    for row in range(TOP + 1, sheet.max_row + 1):
        if sheet.cell(row, 1).value is None:
            return found
        found.append(tuple(sheet.cell(row, heads[name]).value for name in names))
    return found


def amounts(book: openpyxl.Workbook) -> list[tuple[Decimal, ...]]:
    return [tuple(exactly(cell or 0) for cell in line) for line in columns(book, PRICE, DISCOUNT, NET)]


def lines(explained: Explained) -> list[tuple[Decimal, ...]]:
    return [(line.price, line.discount, line.net) for line in explained.result.lines]


def cell_of(book: openpyxl.Workbook, of: str, name: str) -> openpyxl.cell.Cell:
    """The input called ``name`` of the thing ``of``."""
    sheet = book[workbook_cells.INPUTS]
    found = [row[2] for row in sheet.iter_rows(min_row=2) if (row[0].value, row[1].value) == (of, name)]
    assert len(found) == 1, (of, name, len(found))
    return found[0]


def close(book: openpyxl.Workbook, explained: Explained) -> bool:
    """Costs are not rounded; a float holds fifteen digits of them."""
    return abs(exactly(named(book, "out_cost").value) - explained.result.cost) < D("1e-7")


# computed anew


@office
def test_made_restorations_come_to_the_same_when_a_spreadsheet_computes_them(tmp_path: Path) -> None:
    """Every value was saved wrong, so that what is compared was computed there."""
    given = {f"{seed}.xlsx": made.by_seed(seed) for seed in SEEDS}
    files = {name: misled(workbook(one, title=name)) for name, one in given.items()}
    books = recomputed(tmp_path, files)
    for name, one in given.items():
        explained = rollup.price(one)
        assert totals(books[name]) == expected(explained), name
        assert amounts(books[name]) == lines(explained), name
        assert close(books[name], explained), name


@office
def test_half_a_cent_goes_where_the_country_says(tmp_path: Path) -> None:
    """1.125 is 1.13 half up and 1.12 half down."""
    half = build.purchase("bearing", unit_price=D("1.125"), origin="used")
    part = build.part("A", build.step("a", "bearing", inputs.Work.PURCHASE))
    given = {
        f"{rule}.xlsx": build.restoration(part, purchases=(half,), policy=build.policy(rounding=rule))
        for rule in ("half_up", "half_down")
    }
    books = recomputed(tmp_path, {name: misled(workbook(one, title="t")) for name, one in given.items()})
    assert [totals(books[name])["price"] for name in given] == [D("1.13"), D("1.12")]
    assert [rollup.price(one).result.price for one in given.values()] == [D("1.13"), D("1.12")]


@pytest.mark.control
def test_who_does_not_compute_anew_is_found_out() -> None:
    given = made.by_seed(2)
    book = openpyxl.load_workbook(io.BytesIO(misled(workbook(given, title="t"))), data_only=True)
    assert totals(book) != expected(rollup.price(given))
    assert set(totals(book).values()) == {D("123456.78")}


@pytest.mark.parametrize("seed", SEEDS)
def test_the_values_it_is_saved_with_are_those_of_the_service(seed: int) -> None:
    """For whoever only looks: a telephone computes nothing."""
    given = made.by_seed(seed)
    book = openpyxl.load_workbook(io.BytesIO(workbook(given, title="t")), data_only=True)
    assert totals(book) == expected(rollup.price(given))
    assert amounts(book) == lines(rollup.price(given))


# inputs that are changed there

Change = tuple[Callable[[openpyxl.Workbook], None], Callable[[inputs.Restoration], inputs.Restoration]]


def setting(find: Callable[[openpyxl.Workbook], openpyxl.cell.Cell], value: str) -> Callable[[openpyxl.Workbook], None]:
    def change(book: openpyxl.Workbook) -> None:
        cell = find(book)
        assert exactly(cell.value) != D(value)
        cell.value = float(value)

    return change


def all_of(items: tuple[Any, ...], **changes: Any) -> tuple[Any, ...]:
    return (replace(items[0], **changes), *items[1:])


def bench() -> inputs.Restoration:
    """Two frames that share a set-up and a mix, a redo with stripping and scrap, a lot of two, purchases, both unknowns."""
    paint = build.consumable("paint", by=inputs.By.FILM, solids=D(50), pack_price=D(30), smallest_mix=D("0.1"))
    spray = build.operation(
        "spray", setup=D(20), run=D(3), measure=inputs.Measure.DM2,
        usages=(inputs.Usage("paint", film=D(60), transfer=D("0.4")),), capacity=D(100), capacity_by=inputs.Measure.DM2,
    )  # fmt: skip
    strip = build.operation("strip", run=D(2), measure=inputs.Measure.DM2)
    zinc = build.service("zinc", ((0, 4), (10, 3)), lot_charge=D(5), minimum=D(30), trip=D(20), handling=D(15))
    zinc = replace(zinc, handling_grade="mechanic")
    bearing = build.purchase("bearing", unit_price=D("12.35"), origin="reproduction")
    red, black = (
        inputs.Candidate(name, name, D("0.5"), (inputs.Remedy(inputs.Work.OPERATION, "spray"),), (again(),))
        for name in ("red", "black")
    )
    question = inputs.FinishQuestion("red", (red, black), none=D("0.04"), noticed=D("0.9"))
    crack = inputs.Damage("d", "Crack", D("0.3"), D(40), D(70), D(150), inputs.Treatment.OURS)
    way = build.back(D("0.2"), "a1", again(), replacement=D(45))
    return build.restoration(
        build.part("A", build.step("a1", "spray", ways_back=(way,)), build.step("a2", "spray"), area=D(60), pieces=1),
        build.part("B", build.step("b1", "spray", factor=D("1.3")), area=D(35), pieces=2, damages=(crack,)),
        build.part("C", build.step("c1", "zinc", inputs.Work.SERVICE), weight=D("3.5"), pieces=2, question=question, area=D(8)),
        build.part("E", build.step("e1", "zinc", inputs.Work.SERVICE), weight=D(2), pieces=1),
        build.part("G", build.step("g1", "bearing", inputs.Work.PURCHASE), pieces=4),
        operations=(spray, strip), consumables=(paint,), services=(zinc,), purchases=(bearing,), discount=D("0.07"),
        policy=build.policy(
            overhead_rate=D(11), handling_rate=D("0.08"), floor=D("0.1"), labour_margin=D("0.4"), overhead_margin=D("0.1"),
            material_margin=D("0.25"), vendor_margin=D("0.2"), bought_in_margin=D("0.15"), mixed_share=D("0.1"),
        ),
    )  # fmt: skip


def again() -> inputs.Remedy:
    return inputs.Remedy(inputs.Work.OPERATION, "strip")


def policy(**changes: Any) -> Callable[[inputs.Restoration], inputs.Restoration]:
    return lambda given: replace(given, policy=replace(given.policy, **changes))


def catalogue(field: str, **changes: Any) -> Callable[[inputs.Restoration], inputs.Restoration]:
    return lambda given: replace(given, **{field: all_of(getattr(given, field), **changes)})


def by_name(name: str) -> Callable[[openpyxl.Workbook], openpyxl.cell.Cell]:
    return lambda book: named(book, name)


def by_place(of: str, name: str) -> Callable[[openpyxl.Workbook], openpyxl.cell.Cell]:
    return lambda book: cell_of(book, of, name)


def failing(given: inputs.Restoration) -> inputs.Restoration:
    part = given.parts[0]
    step = part.steps[0]
    step = replace(step, ways_back=all_of(step.ways_back, chance=D("0.35")))
    return replace(given, parts=(replace(part, steps=(step, *part.steps[1:])), *given.parts[1:]))


CHANGES: dict[str, Change] = {
    "hour rate": (setting(by_name("cost_rate_1_mechanic"), "71.5"), catalogue("grades", cost_rate=D("71.5"))),
    "pace": (setting(by_name("pace_1_mechanic"), "1.2"), catalogue("grades", pace=D("1.2"))),
    "overhead": (setting(by_name("overhead_rate"), "13.7"), policy(overhead_rate=D("13.7"))),
    "handling": (setting(by_name("handling_rate"), "0.11"), policy(handling_rate=D("0.11"))),
    "margin": (setting(by_name("margin_on_labour"), "0.33"), policy(labour_margin=D("0.33"))),
    "comebacks": (setting(by_name("kept_for_comebacks"), "0.025"), policy(comebacks=D("0.025"))),
    "discount": (setting(by_name("discount_share"), "0.125"), lambda given: replace(given, discount=D("0.125"))),
    "tax": (setting(by_name("tax_rate_1"), "0.17"), catalogue("taxes", rate=D("0.17"))),
    "run time": (setting(by_place("spray", "run time"), "4.25"), catalogue("operations", run=D("4.25"))),
    "set-up": (setting(by_place("spray", "set-up time"), "33"), catalogue("operations", setup=D(33))),
    "film": (
        setting(by_place("paint: spray", "film"), "95"),
        catalogue("operations", usages=(inputs.Usage("paint", film=D(95), transfer=D("0.4")),)),
    ),
    "pack": (setting(by_place("paint", "price of a pack"), "41.9"), catalogue("consumables", pack_price=D("41.9"))),
    "minimum": (setting(by_place("zinc", "minimum"), "55"), catalogue("services", minimum=D(55))),
    "price": (setting(by_place("bearing", "unit price"), "13.99"), catalogue("purchases", unit_price=D("13.99"))),
    "chance": (setting(by_place("A: a1", "chance of failing"), "0.35"), failing),
}


@office
def test_a_changed_input_moves_everything_as_the_service_moves_it(tmp_path: Path) -> None:
    given = bench()
    content = workbook(given, title="t")
    files: dict[str, bytes] = {}
    for name, (change, _same) in CHANGES.items():
        book = openpyxl.load_workbook(io.BytesIO(content))
        change(book)
        out = io.BytesIO()
        book.save(out)
        files[f"{name}.xlsx"] = out.getvalue()
    books = recomputed(tmp_path, files)
    before = rollup.price(given)
    for name, (_change, same) in CHANGES.items():
        after = rollup.price(same(given))
        assert after.result.total != before.result.total, name
        assert totals(books[f"{name}.xlsx"]) == expected(after), name
        assert amounts(books[f"{name}.xlsx"]) == lines(after), name
        assert close(books[f"{name}.xlsx"], after), name


# stages, as drafts and as issued


@office
@pytest.mark.django_db
def test_every_stage_comes_to_what_it_offers(shop: Workshop, tmp_path: Path) -> None:
    staged.note_odds()
    draft = staged.bike(shop)
    offers = {
        "ballpark": offered(staged.at(draft, Stage.BALLPARK)),
        "inspect": offered(staged.at(draft, Stage.INSPECT)),
    }
    answer(staged.issued(draft, Stage.INSPECT))
    offers["main"] = offered(staged.at(draft, Stage.MAIN))
    given = {name: offer.found.given for name, offer in offers.items()}
    assert all(given.values())
    assert given["inspect"].fee
    assert given["main"].credits
    files = {f"{name}.xlsx": misled(workbook(one, title=name)) for name, one in given.items() if one}
    books = recomputed(tmp_path, files)
    for name, offer in offers.items():
        assert offer.found.explained
        assert totals(books[f"{name}.xlsx"]) == expected(offer.found.explained), name
        assert amounts(books[f"{name}.xlsx"]) == lines(offer.found.explained), name


@pytest.fixture
def signed_in(db: None) -> Callable[..., Client]:
    def sign_in(*roles: str) -> Client:
        client = Client()
        if roles:
            person = User.objects.create(username="eve")
            person.groups.set(Group.objects.filter(name__in=roles))
            client.force_login(person)
        return client

    return sign_in


@pytest.mark.django_db
def test_an_issued_quote_hands_out_what_was_frozen(draft: Draft, signed_in: Callable[..., Client]) -> None:
    quote = issue(draft)
    answered = signed_in("desk").get(f"/quotes/{quote.uid}/costs.xlsx")
    assert answered["Content-Disposition"].startswith('attachment; filename="costs-')
    book = openpyxl.load_workbook(io.BytesIO(answered.content), data_only=True)
    assert totals(book)["total"] * 100 == quote.total_minor


@pytest.mark.django_db
@pytest.mark.parametrize(("roles", "status"), [(("desk",), 200), (("manager",), 200), (("mechanic",), 403), ((), 302)])
def test_costs_are_for_the_desk_and_the_manager(
    roles: tuple[str, ...], status: int, draft: Draft, signed_in: Callable[..., Client]
) -> None:
    quote, client = issue(draft), signed_in(*roles)
    for address in (f"/quotes/{quote.uid}/costs.xlsx", f"/restorations/{draft.restoration.uid}/costs.xlsx"):
        assert client.get(address).status_code == status


# what is in it


def test_names_stay_text_and_every_sum_is_a_formula() -> None:
    given = bench()
    given = replace(given, parts=all_of(given.parts, name="=1+1"), title="@x")
    book = openpyxl.load_workbook(io.BytesIO(workbook(given, title="=cmd")))
    texts = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value in {"=1+1", "=cmd"}]
    assert len(texts) > 3
    assert {cell.data_type for cell in texts} == {"s"}
    assert {named(book, f"out_{name}").data_type for name in (*FIGURES, "cost", "floor", "left")} == {"f"}
    assert all(str(cell).startswith("=") for line in columns(book, PRICE, DISCOUNT, NET) for cell in line)
    assert {cell.data_type for cell in book[workbook_cells.INPUTS]["C"][1:]} == {"n"}


def test_an_input_stands_in_one_cell_however_many_steps_go_by_it() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(bench(), title="t")))
    for name in ("cost rate", "overhead rate", "pace", "handling rate", "margin on labour"):
        found = [row for row in book[workbook_cells.INPUTS].iter_rows(min_row=2) if row[1].value == name]
        assert len(found) == 1, name


def test_a_formula_it_cannot_say_stands_as_a_value_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(workbook_formulas.WRITERS, "film_1")
    given = bench()
    book = openpyxl.load_workbook(io.BytesIO(workbook(given, title="t")))
    kept = [row for row in book[workbook_cells.WORKINGS].iter_rows(min_row=2) if "does not follow" in str(row[4].value)]
    assert kept
    assert {row[2].data_type for row in kept} == {"n"}


def test_every_formula_of_a_cost_can_be_said() -> None:
    """A new variant needs its text here, else its figures stand still in the spreadsheet."""
    shown = {
        "belief",
        "cap",
        "comebacks",
        "contingency",
        "contingency_margin",
        "discount",
        "fee",
        "floor",
        "instalments",
        "line",
    }
    shown |= {"net", "plating", "price", "tax", "wrong_finish"}
    assert {name for topic, name in PRESENT.items() if topic not in shown} == set(workbook_formulas.WRITERS)
