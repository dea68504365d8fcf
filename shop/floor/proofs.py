"""How sure it is that the agreed finish of a part is the one it left the works with, in words."""

from collections.abc import Iterable
from datetime import date

from shop.rates.selectors import odds
from shop.restorations.models import Part
from shop.routes.gate import belief_of
from shop.routes.questions import heard_in


def proofs(parts: Iterable[Part], *, on: date) -> dict[int, str]:
    """By part, where a finish is agreed; parts come with their restoration and its machine."""
    wanted = {part.pk: part for part in parts if part.agreed_finish_id}
    if not wanted:
        return {}
    heard, believed = heard_in({part.restoration_id for part in wanted.values()}), odds(on)
    return {pk: belief_of(part, part.restoration.machine, heard, believed).sentence() for pk, part in wanted.items()}
