"""Lists of the desk as headings and rows of plain values, for `tables.answer`."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from django.utils.translation import gettext as _

from quotes.desk import importing, today
from shop.papers.workbooks import Value
from shop.restorations.models import Part, Restoration
from shop.routes.splits import merged

#: Columns of a parts list that a part calls by another name.
OTHERWISE = {"finish": "agreed_finish"}
SHOWN = {"material", "condition"}


def restoration_headings() -> list[str]:
    names = [_("title"), _("customer"), _("maker"), _("model"), _("year"), _("frame number"), _("engine number")]
    return [*names, _("begun on"), _("how it stands"), _("newest quote"), _("total with tax"), _("currency")]


def restoration_rows(found: Iterable[Restoration], day: date) -> Iterator[Sequence[Value]]:
    """Rows of `today.found`, each as the list on the page says it, with the numbers as numbers."""
    for row in found:
        line = today.line(row, day)
        machine = row.machine
        quote = next((str(one) for one in row.quotes.all() if line.total is not None), None)
        yield (
            row.title,
            row.customer.name,
            machine.maker,
            machine.model,
            machine.year,
            machine.frame_number,
            machine.engine_number,
            row.begun_on,
            ", ".join(tag.text for tag in line.tags),
            quote,
            line.total,
            line.currency,
        )


def part_headings() -> list[str]:
    """Those of a parts list to be taken in, so that one shop's list is another one's file."""
    return importing.headings()


def part_rows(restoration: Restoration) -> Iterator[Sequence[Value]]:
    """The parts in scope, in the order of the outline."""
    parts = restoration.parts.filter(removed_at__isnull=True).order_by("position")
    for part in merged(parts.select_related("size_class", "old_finish", "agreed_finish")):
        yield [_cell(part, column.field) for column in importing.COLUMNS]


def _cell(part: Part, field: str) -> Value:
    if field in SHOWN:
        return str(getattr(part, f"get_{field}_display")())
    value = getattr(part, OTHERWISE.get(field, field))
    if value is None or isinstance(value, Value):
        return value
    return str(value)
