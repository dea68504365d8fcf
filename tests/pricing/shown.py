"""Reading the figures of an offer back from what people see: a page, or the text of a PDF.

It knows how numbers are written, and nothing of what was to be shown. Decimal signs: value from memory.
"""

import re
from dataclasses import dataclass, field
from decimal import Decimal
from html.parser import HTMLParser

DECIMAL_SIGN = {"en-gb": ".", "de": ",", "fr": ",", "sv": ","}
VOID = {"br", "col", "meta", "link", "input", "img"}


@dataclass
class Shown:
    """Every amount of an offer, as its reader sees it."""

    head: Decimal = Decimal(-1)
    lines: list[Decimal] = field(default_factory=list)
    areas: list[Decimal] = field(default_factory=list)
    price: Decimal = Decimal(-1)
    discount: Decimal = Decimal(0)
    net: Decimal = Decimal(-1)
    taxed: list[Decimal] = field(default_factory=list)
    taxes: list[Decimal] = field(default_factory=list)
    total: Decimal = Decimal(-1)
    stages: list[Decimal] = field(default_factory=list)

    def faults(self) -> list[str]:
        """What does not add up."""
        checks = {
            "the lines do not add up to the price": sum(self.lines) == self.price,
            "the areas do not add up to the price": not self.areas or sum(self.areas) == self.price,
            "price less discount is not the net price": self.price - self.discount == self.net,
            "what is taxed is not the net price": sum(self.taxed) == self.net,
            "net price and taxes do not add up to the total": self.net + sum(self.taxes) == self.total,
            "the stages do not add up to the total": not self.stages or sum(self.stages) == self.total,
            "the head says another total": self.head == self.total,
        }
        return [told for told, holds in checks.items() if not holds]


def amount(text: str, language: str) -> Decimal:
    """``−£1,234.50`` and ``1 234,50 kr`` as a number."""
    sign = DECIMAL_SIGN[language]
    digits = re.sub(rf"[^\d{re.escape(sign)}−-]", "", text).replace("−", "-").replace(sign, ".").strip(".")
    return Decimal(digits)


class _Cells(HTMLParser):
    """The text of each element that matters, with the classes it stands in."""

    def __init__(self) -> None:
        super().__init__()
        self.inside: list[tuple[str, str]] = []
        self.found: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.inside.append((tag, dict(attrs).get("class") or ""))
            if tag in {"td", "th", "dd"}:
                self.found.append((" ".join(name for _tag, name in self.inside), ""))

    def handle_endtag(self, tag: str) -> None:
        while tag not in VOID and self.inside.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if any(tag in {"td", "th", "dd"} for tag, _name in self.inside):
            where, text = self.found[-1]
            self.found[-1] = (where, text + data)


def on_page(html: str, language: str = "en-gb") -> Shown:
    """The figures on a page, by the tables they stand in."""
    reader, shown = _Cells(), Shown()
    reader.feed(html)
    label = ""
    for where, text in reader.found:
        names = set(where.split())
        if "num" not in names and "sum" not in names:
            label = text
        elif "offer-lines" in names and "price" in names and text.strip(" \n") and any(map(str.isdigit, text)):
            shown.lines.append(amount(text, language))
        elif "sum" in names:
            shown.head = amount(text, language)
        elif "offer-sum" in names:
            _note(shown, names, label, amount(text, language), language)
    return shown


def _note(shown: Shown, names: set[str], label: str, value: Decimal, language: str) -> None:
    if "tax" in names:
        shown.taxes.append(value)
        shown.taxed.append(amount(label.split("% on ")[-1], language))
    for name, where in (("area", shown.areas), ("stage", shown.stages)):
        if name in names:
            where.append(value)
    # One row says both where nothing comes off.
    for name, attribute in (("whole", "price"), ("net", "net"), ("total-sum", "total")):
        if name in names:
            setattr(shown, attribute, value)
    if "discount" in names:
        shown.discount = -value


MONEY = r"((?:−|-)?(?:[A-Z]{3}\s?|[A-Z]{0,2}[£€¥])\d[\d,]*(?:\.\d+)?)"
HEADINGS = ("What we do, part by part", "What it comes to", "By area", "Altogether", "To be paid")
ENDS = ("What this price assumes", "Cautions", "To accept")


def on_paper(words: str) -> Shown:
    """The figures in an English PDF's text, by the headings they stand under."""
    shown, parts = Shown(), _under_headings(words)
    shown.head = _after("Total", parts[""])
    shown.lines, shown.areas, shown.stages = (
        [_english(found) for found in re.findall(MONEY + "$", parts.get(heading, ""), re.MULTILINE)]
        for heading in ("What we do, part by part", "By area", "To be paid")
    )
    sums = parts["Altogether"]
    shown.price, shown.net, shown.total = (_after(label, sums) for label in ("Price", "Net price", "Total"))
    if "\nPrice" not in sums:  # one row says both where nothing comes off
        shown.price = shown.net
    shown.discount = -_after("Discount", sums) if "Discount" in sums else Decimal(0)
    for taxed, tax in re.findall(rf"% on\s+{MONEY}\s+{MONEY}", sums):
        shown.taxed.append(_english(taxed))
        shown.taxes.append(_english(tax))
    return shown


def _under_headings(words: str) -> dict[str, str]:
    parts, heading = {"": ""}, ""
    for line in words.splitlines():
        line = line.strip()
        heading = line if line in HEADINGS else "rest" if line in ENDS else heading
        parts[heading] = parts.get(heading, "") + line + "\n"
    return parts


def _after(label: str, text: str) -> Decimal:
    found = re.search(rf"^{label}\s+{MONEY}", text, re.MULTILINE)
    return _english(found.group(1)) if found else Decimal(-1)


def _english(text: str) -> Decimal:
    return amount(text, "en-gb")
