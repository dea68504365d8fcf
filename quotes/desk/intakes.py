"""What the intake page shows: numbers, photographs by what they show, what was signed and what changed since."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.forms import BaseForm
from django.utils.translation import gettext as _

from quotes.desk.forms_intake import CAME_WITH, NUMBERS, STATE, ShowsForm
from quotes.desk.templatetags.desk_boxes import boxed
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.people.models import Shop
from shop.restorations import intake as services
from shop.restorations.models import Intake, IntakePhotograph, IntakeSignature, NumbersCleared
from shop.restorations.numbers import Numbers, numbers_of

#: So much of a hash is printed on a sheet: enough to tell whether paper and page are the same words.
MARK = 10


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature, and what differs from it by now: label, as signed, as it is."""

    row: IntakeSignature
    mark: str
    changed: tuple[tuple[str, str, str], ...]


def decisions(row: Intake) -> list[NumbersCleared]:
    """Who cleared numbers of this machine, oldest first."""
    return list(row.cleared.all()) if row.pk and not row._state.adding else []


def numbers(row: Intake) -> Numbers:
    return numbers_of(row, decisions(row))


def page(row: Intake) -> dict[str, Any]:
    """What the page, its answers and the printed sheet share. An intake that is not opened yet has no rows of its own."""
    there = not row._state.adding
    photographs = list(row.photographs.select_related("photograph")) if there else []
    words = services.words(row)
    mark = services.mark(words)
    signature = services.last_signature(row) if there else None
    shows = {photograph.shows for photograph in photographs}
    return {
        "restoration": row.restoration,
        "intake": row,
        "opened": there,
        "owner": row.restoration.uid,
        "numbers": numbers(row),
        "photographs": [(picture, ShowsForm(initial={"shows": picture.shows})) for picture in photographs],
        "photographs_missing": [needed for needed in services.NEEDED if needed not in shows],
        "photographs_counted": _counted(photographs),
        "missing_parts": services.missing_parts(row),
        "agreed_value": _money(row.agreed_value_minor),
        "mark": mark,
        "short_mark": mark[:MARK],
        "signed": _signed(row, signature) if signature else None,
        "signatures": list(row.signatures.order_by("-at", "-pk")) if there else [],
        "shop": Shop.objects.first(),
    }


def groups(form: BaseForm) -> dict[str, list[tuple[Any, str]]]:
    """The boxes of the form by the card they stand in."""
    boxes = {box.name: (box, seen) for box, seen in boxed(form)}
    named = {"numbers": NUMBERS, "came_with": CAME_WITH, "state": STATE}
    return {card: [boxes[name] for name in names] for card, names in named.items()}


def _counted(photographs: list[IntakePhotograph]) -> list[tuple[str, int]]:
    found = Counter(photograph.shows for photograph in photographs)
    return [(str(label), found[shows]) for shows, label in IntakePhotograph.Shows.choices if shows in found]


def _signed(row: Intake, signature: IntakeSignature) -> Signed:
    changed = tuple(
        (item.label, _in_words(item.field, item.signed), _in_words(item.field, item.now))
        for item in services.changed_since(row, signature)
    )
    return Signed(signature, signature.words_sha256[:MARK], changed)


def _in_words(field: str, value: Any) -> str:
    if field == "photographs":
        return services.photographs_in_words(value or [])
    if field == "agreed_value_minor":
        return _money(value) or _("nothing")
    if isinstance(value, list):
        return ", ".join(value) or _("nothing")
    return _("nothing") if value in (None, "") else str(value)


def _money(minor: int | None) -> str:
    if minor is None:
        return ""
    return text.money(from_minor(minor, digits=places(currency.code())), currency.code())
