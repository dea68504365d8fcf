"""When steel must not be plated, and when it must be baked afterwards.

Electroplating and its acid baths put hydrogen into steel; strong or hard steel can then break under load without
warning. The rules below are taken from published standards for zinc; where they differ the stricter one governs, and
the verdict names it. They say what to ask and what to refuse. They are never an approval: the plater and a qualified
person decide, and baking does not guarantee freedom from embrittlement.

Sources: ASTM B633 (no plating above 1700 MPa); ASTM B850-98(2009), relief bake at 190-220 °C with minimum hours by
tensile strength; the older ISO guideline for zinc, 190-210 °C with hours by strength and thickness, not plated above
1500 MPa; ISO 4042:2018, bake required above 390 HV. The start of the bake within 4 h is a value from memory.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from quotes.engine.formulas import variant

B633_LIMIT = Decimal(1700)
ISO_LIMIT = Decimal(1500)
B850_FROM = Decimal(1000)
HARD_FROM = Decimal(390)
LATEST_START = Decimal(4)

#: (strength from, up to [MPa], ((thickness up to [mm], hours), ...)); none is any thickness.
ISO_GUIDELINE: tuple[tuple[Decimal, Decimal, tuple[tuple[Decimal | None, Decimal], ...]], ...] = (
    (Decimal(1000), Decimal(1150), ((Decimal(12), Decimal(2)), (Decimal(25), Decimal(4)), (None, Decimal(8)))),
    (Decimal(1150), Decimal(1400), ((Decimal(12), Decimal(4)), (Decimal(25), Decimal(12)), (None, Decimal(24)))),
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """``allowed`` or not, the bake it needs [h, 0 for none] started within ``start_within`` [h], and the governing rule."""

    allowed: bool
    bake_hours: Decimal
    start_within: Decimal
    rule: str


def b850_hours(strength: Decimal) -> Decimal:
    """Minimum hours of relief bake by tensile ``strength`` [MPa]: 8 h from 1001 MPa on, 2 h more for each 100 MPa.

    >>> [b850_hours(Decimal(s)) for s in (1000, 1001, 1100, 1101, 1650)]
    [Decimal('0'), Decimal('8'), Decimal('8'), Decimal('10'), Decimal('20')]
    """
    if strength <= B850_FROM:
        return Decimal(0)
    band = ((strength - B850_FROM) / 100).to_integral_value(ROUND_CEILING)
    return 8 + 2 * (band - 1)


def iso_hours(strength: Decimal, thickness: Decimal | None) -> Decimal:
    """Minimum hours of bake of the older ISO guideline; a ``thickness`` [mm] that is not known counts as the thickest.

    Its rows share their limits; a strength on a limit stands in both, and the longer bake holds.

    >>> iso_hours(Decimal(1150), Decimal(20)), iso_hours(Decimal(1000), None), iso_hours(Decimal(999), None)
    (Decimal('12'), Decimal('8'), Decimal('0'))
    """
    hours = Decimal(0)
    for low, high, rows in ISO_GUIDELINE:
        if low <= strength <= high:
            row = next(h for limit, h in rows if limit is None or (thickness is not None and thickness <= limit))
            hours = max(hours, row)
    return hours


@variant("plating_1", "the stricter of the published rules for this strength")
def verdict(
    *,
    material: str,
    strength: Decimal | None,
    thickness: Decimal | None = None,
    hardness: Decimal | None = None,
) -> Verdict:
    """May a part of ``material`` be electroplated, and what bake does it need?

    ``strength`` [MPa], ``thickness`` of the largest section [mm] and ``hardness`` [HV] are None when unknown. An
    unknown strength of steel is not allowed: ask first. A material that is not known, or is another one, may be steel.

    >>> verdict(material="steel", strength=Decimal(1250), thickness=Decimal(8)).bake_hours
    Decimal('12')
    >>> verdict(material="steel", strength=Decimal(1750)).allowed
    False
    >>> verdict(material="brass", strength=None).allowed
    True
    """
    nothing = Decimal(0)
    if material not in {"steel", "other", ""}:
        return Verdict(True, nothing, nothing, "not steel")
    if strength is None:
        return Verdict(False, nothing, nothing, "strength unknown")
    if strength > B633_LIMIT:
        return Verdict(False, nothing, nothing, "ASTM B633: not plated above 1700 MPa")
    if strength > ISO_LIMIT:
        return Verdict(False, nothing, nothing, "older ISO zinc guideline: not plated above 1500 MPa")
    offers = [
        (b850_hours(strength), "ASTM B850-98(2009), 190-220 °C"),
        (iso_hours(strength, thickness), "older ISO zinc guideline, 190-210 °C"),
        (Decimal(8) if hardness is not None and hardness > HARD_FROM else nothing, "ISO 4042:2018, above 390 HV"),
    ]
    hours, rule = max(offers, key=lambda offer: offer[0])
    if not hours:
        return Verdict(True, nothing, nothing, "no bake asked for below 1000 MPa")
    return Verdict(True, hours, LATEST_START, rule)
