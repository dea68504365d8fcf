"""What a vendor is told to begin with, proposed from what the steps are: what stays bare, what is masked, what it weighs.

Common practice: coating and blasting spoil seats, threads and clamping faces, and a number that cannot be read is worth
nothing. Whoever plans the lot reads it over; it says nothing of what only the part itself shows.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.restorations.models import Part
from shop.routes.models import Step


def masking(steps: Sequence[Step]) -> str:
    """One sentence in each line; empty where nothing is put on the parts or taken off them."""
    coats = any(step.origin == Step.Origin.FINISH for step in steps)
    bites = any(step.service is not None and step.service.destroys_evidence for step in steps)
    if not (coats or bites):
        return ""
    return "\n".join(
        [
            _("Bearing seats, threads and clamping faces stay bare."),
            _("Numbers and stamps are masked: they must read afterwards as they read now."),
            *_openings(step.part for step in steps),
        ]
    )


def _openings(parts: Iterable[Part]) -> Iterable[str]:
    for part in {part.pk: part for part in parts}.values():
        if part.openings:
            said = ngettext(
                "%(part)s: %(count)d opening of each piece is plugged.",
                "%(part)s: %(count)d openings of each piece are plugged.",
                part.openings,
            )
            yield said % {"part": part, "count": part.openings}


def finish(step: Step) -> str:
    """The finish that was agreed, where the step is of its route."""
    row = step.part.agreed_finish if step.origin == Step.Origin.FINISH else None
    if row is None:
        return ""
    said = [row.name, row.colour if row.colour.lower() != row.name.lower() else "", row.gloss, step.part.deviation]
    return ", ".join(filter(None, said))


def weight(part: Part) -> Decimal | None:
    """All pieces together [kg], as far as somebody knows; the size class stands in for it."""
    each = part.weight if part.weight is not None else part.size_class.weight if part.size_class else None
    return None if each is None else each * part.pieces
