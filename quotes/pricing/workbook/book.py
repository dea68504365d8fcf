"""The cost sheet as a spreadsheet that computes: inputs in cells of their own, and every sum a formula on them.

For the shop's eyes only. Change an input there and every line, the discount, the tax and the total follow, rounded as the
service rounds. What a formula cannot say stands as a value and says so: the contingency comes from a simulation, how
likely a finish was from evidence. The same inputs give the same figures as the service to the minor unit.
"""

from collections.abc import Mapping
from decimal import Decimal, localcontext

from django.utils.translation import gettext as _

from quotes.engine import inputs, rollup
from quotes.engine.inputs import Basis, PriceBy, TaxBy
from quotes.engine.money import CONTEXT, places
from quotes.engine.results import CREDIT, Explained, Line, Visit
from quotes.engine.totals import CLASSES
from quotes.pricing.workbook.cells import FIGURE_FORMAT, Cells, address, letter
from quotes.pricing.workbook.formulas import rounded, shared_out
from quotes.pricing.workbook.steps import MINUTES, SOLD, Steps
from shop.papers.workbooks import Book, Sheet, places_format

NONE = Decimal(0)
TOP = 3  # rows above the first line
MINUTES_FORMAT = "#,##0.0"


def workbook(given: inputs.Restoration, *, title: str, variants: Mapping[str, str] | None = None) -> bytes:
    """An XLSX file of what ``given`` costs and sells at, by the formula ``variants`` (the present ones when none)."""
    with localcontext(CONTEXT):
        costing = rollup.costing(given, variants)
        return _Writer(costing, rollup.explained(costing), title).content()


class _Writer:
    def __init__(self, costing: rollup.Costing, explained: Explained, title: str) -> None:
        self.given, self.result, self.explained = costing.restoration, explained.result, explained
        self.policy = self.given.policy
        self.digits, self.rule = places(self.policy.currency), self.policy.rounding
        self.book = Book()
        self.price, self.steps = self.book.add(_("Price")), self.book.add(_("Steps"))
        self.cells = Cells(self.book)
        self.source = Steps(self.cells, costing.book, self.given, explained)
        self.charge_out = self.policy.price_by is PriceBy.CHARGE_OUT
        self._terms()
        ranges = self._write_steps()
        self._write_price(title, ranges)
        for sheet in (self.price, self.steps, self.cells.inputs, self.cells.workings):
            sheet.set_widths()
            sheet.sheet.set_landscape()
            sheet.sheet.fit_to_pages(1, 0)

    def content(self) -> bytes:
        return self.book.content()

    def _terms(self) -> None:
        """What the policy and this quote say beside the margins."""
        cells, policy, source = self.cells, self.policy, self.policy.source
        of, quote = _("price policy"), _("this quote")
        self.discount = cells.input("discount", self.given.discount, "", of=quote, called="discount_share")
        self.floor = cells.input("least margin", policy.floor, "", of=of, source=source, called="least_margin")
        least = cells.input("margin on contingency", policy.contingency_margin, "", of=of, source=source)
        self.contingency_margin = f"MIN({','.join([least, *self.source.margins.values()])})"
        share = "kept of expected cost"
        self.comebacks = cells.input(share, policy.comebacks, "", of=of, source=source, called="kept_for_comebacks")
        self.taxes = {
            tax.code: cells.input(tax.name, tax.rate, "", of=_("tax"), source=tax.source, called=f"tax_rate_{number}")
            for number, tax in enumerate(sorted(self.given.taxes, key=lambda tax: tax.code), start=1)
        }
        if self.given.fee is not None:
            self.fee = cells.input("fee", self.given.fee, policy.currency, of=quote, source=source, called="fee")

    # -- steps -------------------------------------------------------------------------------------------------------

    def _write_steps(self) -> dict[str, tuple[int, int]]:
        """Every step a row; by part, the first row and the one after the last."""
        classes = [*CLASSES, *([SOLD] if self.charge_out else [])]
        names = [MINUTES, *classes]
        words = {MINUTES: _("minutes"), SOLD: _("at charge-out rates"), **_class_words()}
        again = [_("%(what)s again") % {"what": words[name]} for name in names]
        heads = [_("Part"), _("Step"), *(words[name] for name in names), _("redo visits"), *again, _("Cost")]
        self.steps.head(heads, over_numbers=range(2, len(heads)))
        self.columns = {name: (2 + at, 3 + len(names) + at) for at, name in enumerate(names)}
        row, ranges = 1, {}
        for part in self.given.parts:
            first = row
            for step in self.source.rows(part):
                self.steps.put(row, 0, part.name)
                self.steps.put(row, 1, step.name)
                for name in names:
                    column, other = self.columns[name]
                    look = MINUTES_FORMAT if name == MINUTES else ""
                    self._formula(self.steps, row, column, step.first[name], _amount(step.first_visit, name), look)
                    if step.again[name]:
                        self._formula(self.steps, row, other, step.again[name], _amount(step.again_visit, name), look)
                if step.redone:
                    self._formula(self.steps, row, 2 + len(names), step.redone, step.redone_value, FIGURE_FORMAT)
                cost = [f"{letter(place)}{row + 1}" for name in CLASSES for place in self.columns[name]]
                whole = step.first_visit.cost + step.again_visit.cost
                self._formula(self.steps, row, 3 + 2 * len(names), "+".join(cost), whole)
                row += 1
            ranges[part.uid] = (first, row)
        self.steps.sheet.freeze_panes(1, 2)
        return ranges

    def _of_part(self, rows: tuple[int, int], name: str) -> str:
        """All that a part takes of something, the first time and again."""
        first, after = rows
        if first == after:
            return "0"
        spans = [
            f"{address(_('Steps'), first, c)}:{address(_('Steps'), after - 1, c).partition('!')[2]}"
            for c in self.columns[name]
        ]
        return f"SUM({','.join(spans)})"

    def _with_kept(self, rows: tuple[int, int], name: str) -> str:
        """All that a part takes of something, and as much more as is kept for comebacks."""
        return f"{self._of_part(rows, name)}*(1+{self.comebacks})"

    # -- lines -------------------------------------------------------------------------------------------------------

    def _write_price(self, title: str, ranges: Mapping[str, tuple[int, int]]) -> None:
        self.price.sheet.write_string(0, 0, title, self.book.style(bold=True, font_size=14, quote_prefix=True))
        said = _(
            "In %(currency)s. Change a value on “Inputs” and everything here follows, except the contingency and what evidence says."
        )
        self.price.sheet.write_string(1, 0, said % {"currency": self.policy.currency}, self.book.style(italic=True))
        words = _class_words()
        columns = [
            "part",
            "pieces",
            "minutes",
            *CLASSES,
            "comebacks",
            "cost",
            "contingency",
            "full",
            "price",
            "discount",
            "net",
            "tax",
            "order",
        ]
        heads = {
            "part": _("Part"), "pieces": _("Pieces"), "minutes": _("Minutes"), **words,
            "comebacks": _("Kept for comebacks"), "cost": _("Cost"),
            "contingency": _("Contingency"), "full": _("Worked out"), "price": _("Price"), "discount": _("Discount"),
            "net": _("Net"), "tax": _("Tax code"), "order": _("Order for odd cents"),
        }  # fmt: skip
        self.place = {name: at for at, name in enumerate(columns)}
        beside = {self.place[name] for name in columns if name not in {"part", "tax"}}
        self.price.head([heads[name] for name in columns], row=TOP - 1, over_numbers=beside)
        lines = [line for line in self.result.lines if line.basis != CREDIT]
        self.first, self.last = TOP, TOP + len(lines) - 1
        order = {uid: number for number, uid in enumerate(sorted(line.uid for line in lines), start=1)}
        self.discount_cell = address(_("Price"), self.last + len(self.given.credits) + 3, self.place["price"])
        for row, (line, part) in enumerate(zip(lines, self.given.parts, strict=True), start=TOP):
            self._line(row, line, part, ranges[part.uid], order[line.uid])
        for row, (credit, line) in enumerate(
            zip(self.given.credits, [one for one in self.result.lines if one.basis == CREDIT], strict=True),
            start=self.last + 1,
        ):
            self._credit(row, credit, line)
        self._totals(self.last + len(self.given.credits) + 2)

    def _at(self, name: str, row: int) -> str:
        return f"{letter(self.place[name])}{row + 1}"

    def _span(self, name: str, *, all_lines: bool = False) -> str:
        column, last = letter(self.place[name]), self.last + (len(self.given.credits) if all_lines else 0)
        return f"${column}${self.first + 1}:${column}${max(last, self.first) + 1}"

    def _line(self, row: int, line: Line, part: inputs.Part, rows: tuple[int, int], order: int) -> None:
        put, money = self._money, self._formula
        self.price.put(row, self.place["part"], line.part)
        self.price.put(row, self.place["pieces"], part.pieces)
        money(self.price, row, self.place["minutes"], self._of_part(rows, MINUTES), line.minutes, MINUTES_FORMAT)
        for name in CLASSES:
            money(self.price, row, self.place[name], self._with_kept(rows, name), getattr(line, name))
        before = "+".join(self._of_part(rows, name) for name in CLASSES)
        money(self.price, row, self.place["comebacks"], f"({before})*{self.comebacks}", line.comebacks)
        spread = [self._at(name, row) for name in CLASSES]
        money(self.price, row, self.place["cost"], "+".join(spread), line.cost)
        held = "0"
        if part.contingency and part.basis is Basis.FIXED:
            held = self.cells.input(
                "share of the contingency", part.contingency, self.policy.currency, of=part.name,
                source=_("simulated; does not follow other inputs"),
            )  # fmt: skip
        money(self.price, row, self.place["contingency"], held, line.contingency)
        full = self.explained.figures[line.uid]
        if self.given.fee is not None:
            full = full.inputs[1]
        put(row, "full", rounded(self._sold(row, rows), digits=self.digits, rule=self.rule), full.value)
        put(row, "price", self._fee_share(row) if self.given.fee is not None else self._at("full", row), line.price)
        share = shared_out(
            whole=self.discount_cell, weight=self._at("price", row), weights=self._span("price"),
            rank=self._at("order", row), ranks=self._span("order"), digits=self.digits,
        )  # fmt: skip
        put(row, "discount", share, line.discount)
        put(row, "net", f"ROUND({self._at('price', row)}-{self._at('discount', row)},{self.digits})", line.net)
        self.price.put(row, self.place["tax"], line.tax, indent=1)
        self.price.put(row, self.place["order"], order)

    def _sold(self, row: int, rows: tuple[int, int]) -> str:
        """The unrounded price of a line: every cost class at its margin, labour and overhead by the hour where that is so."""
        terms = []
        for name in CLASSES:
            if self.charge_out and name == "overhead":
                continue
            if self.charge_out and name == "labour":
                terms.append(self._with_kept(rows, SOLD))
            else:
                terms.append(f"{self._at(name, row)}/(1-{self.source.margins[name]})")
        terms.append(f"{self._at('contingency', row)}/(1-{self.contingency_margin})")
        return "+".join(terms)

    def _fee_share(self, row: int) -> str:
        return shared_out(
            whole=rounded(self.fee, digits=self.digits, rule="half_up"), weight=self._at("full", row),
            weights=self._span("full"), rank=self._at("order", row), ranks=self._span("order"), digits=self.digits,
        )  # fmt: skip

    def _credit(self, row: int, credit: inputs.Credit, line: Line) -> None:
        amount = self.cells.input("credit", credit.amount, self.policy.currency, of=credit.name)
        self.price.put(row, self.place["part"], credit.name)
        self._money(row, "price", f"-{rounded(amount, digits=self.digits, rule=self.rule)}", line.price)
        self._money(row, "net", self._at("price", row), line.net)
        self.price.put(row, self.place["tax"], line.tax, indent=1)

    # -- totals ------------------------------------------------------------------------------------------------------

    def _totals(self, row: int) -> None:
        """Price, discount, credits, net, tax by code, total; expected cost, what is left, floor; payment stages."""
        result, digits, rule = self.result, self.digits, self.rule
        priced = f"SUM({self._span('price')})"
        sold = self._total(row, _("Price of the lines"), priced, result.price + result.credited, "out_price")
        off = self._total(
            row + 1,
            _("Discount"),
            rounded(f"{sold}*{self.discount}", digits=digits, rule=rule),
            result.discount,
            "out_discount",
        )
        assert address(_("Price"), row + 1, self.place["price"]) == self.discount_cell
        paid = self._total(
            row + 2, _("Credits"), f"SUM({self._span('price', all_lines=True)})-{sold}", -result.credited, "out_credits"
        )
        net = self._total(row + 3, _("Net"), f"{sold}-{off}+{paid}", result.net, "out_net")
        row += 4
        taxes = []
        for tax in result.taxes:
            nets = f'({self._span("tax", all_lines=True)}="{tax.code}")*{self._span("net", all_lines=True)}'
            rate = self.taxes[tax.code]
            if self.policy.tax_by is TaxBy.LINE:
                text = f"SUMPRODUCT({rounded(f'{nets}*{rate}', digits=digits, rule=rule)})"
            else:
                text = rounded(f"SUMPRODUCT({nets})*{rate}", digits=digits, rule=rule)
            taxes.append(self._total(row, f"{tax.name} ({tax.code})", text, tax.tax))
            row += 1
        tax_sum = self._total(row, _("Tax"), f"SUM({','.join(taxes)})" if taxes else "0", result.tax, "out_tax")
        whole = self._total(row + 1, _("Total"), f"{net}+{tax_sum}", result.total, "out_total")
        cost = self._total(
            row + 3, _("Expected cost"), f"SUM({self._span('cost')})", result.cost, "out_cost", exact=True
        )
        worth = result.net + result.credited
        self._total(row + 4, _("Left over"), f"{net}-{paid}-{cost}", worth - result.cost, "out_left", exact=True)
        self._total(
            row + 5,
            _("Least net for the floor"),
            f"{cost}/(1-{self.floor})",
            result.floor_price,
            "out_floor",
            exact=True,
        )
        self._stages(row + 7, whole)

    def _stages(self, row: int, whole: str) -> None:
        so_far, before = "", "0"
        for number, (stage, due) in enumerate(
            zip(self.policy.stages, self.result.instalments, strict=False), start=row
        ):
            percent = self.cells.input(
                stage.name, stage.percent, "%", of=_("payment stages"), source=self.policy.source
            )
            so_far = f"{so_far}+{percent}" if so_far else percent
            reached = rounded(f"{whole}*({so_far})/100", digits=self.digits, rule=self.rule)
            self._total(number, f"{stage.name}, {stage.due}", f"{reached}-{before}", due.amount)
            before = f"({reached})"

    def _total(self, row: int, name: str, text: str, value: Decimal, called: str = "", *, exact: bool = False) -> str:
        self.price.put(row, 0, name, bold=True)
        look = self.book.style(num_format=places_format(self.digits), bold=True)
        self.price.widen(self.place["price"], len(f"{value:,.{self.digits}f}") + 1)
        formula = text if exact else f"ROUND({text},{self.digits})"  # sums of rounded amounts, but in floats
        self.price.sheet.write_formula(row, self.place["price"], f"={formula}", look, value)
        found = address(_("Price"), row, self.place["price"])
        if called:
            self.book.file.define_name(called, f"={found}")
        return found

    # -- cells -------------------------------------------------------------------------------------------------------

    def _money(self, row: int, name: str, text: str, value: Decimal) -> None:
        look = self.book.style(num_format=places_format(self.digits))
        self.price.sheet.write_formula(row, self.place[name], f"={text}", look, value)
        self.price.widen(self.place[name], 10)

    def _formula(self, sheet: Sheet, row: int, column: int, text: str, value: Decimal, look: str = "") -> None:
        """Costs are not rounded; they are only shown in minor units."""
        style = self.book.style(num_format=look or places_format(self.digits))
        sheet.sheet.write_formula(row, column, f"={text or '0'}", style, value)
        sheet.widen(column, 10)


def _amount(visit: Visit, name: str) -> Decimal:
    amount: Decimal = getattr(visit, name)
    return amount


def _class_words() -> dict[str, str]:
    return {
        "labour": _("Labour"),
        "overhead": _("Overhead"),
        "material": _("Consumables"),
        "vendor": _("Vendor work"),
        "bought_in": _("Bought-in parts"),
    }
