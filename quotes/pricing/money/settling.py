"""What must be settled before a quote goes out, part by part."""

from dataclasses import dataclass

from quotes.engine.remarks import by_part, of_caps_by_part
from quotes.engine.results import Remark
from quotes.pricing.selectors import Priced


@dataclass(frozen=True, slots=True)
class Concern:
    """A part with all that is to be settled about it, the same thing once."""

    uid: str
    part: str
    remarks: tuple[Remark, ...]


def concerns(found: Priced) -> tuple[Concern, ...]:
    """In the order of the parts. Nothing without a price."""
    if found.given is None or found.explained is None:
        return ()
    told: dict[str, dict[tuple[str, tuple[tuple[str, str], ...]], Remark]] = {}
    for uid, remark in (*by_part(found.given), *of_caps_by_part(found.explained.result.lines)):
        if remark.blocking:
            told.setdefault(uid, {}).setdefault((remark.text, remark.values), remark)
    return tuple(Concern(uid, next(iter(same.values())).part, tuple(same.values())) for uid, same in told.items())
