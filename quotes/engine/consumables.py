"""Consumables: by measure, by wet film, by powder; mixes and packs."""

from decimal import ROUND_CEILING, Decimal

from quotes.engine.formulas import variant

DM2_PER_M2 = Decimal(100)


@variant("usage_1", "amount per measure × quantity × (1 + waste)")
def by_measure(*, amount: Decimal, quantity: Decimal, waste: Decimal) -> Decimal:
    """Usage [unit] from ``amount`` [unit/measure], ``quantity`` [measure] and ``waste`` [fraction added].

    >>> by_measure(amount=Decimal("0.02"), quantity=Decimal(50), waste=Decimal("0.10"))
    Decimal('1.1000')
    """
    return amount * quantity * (1 + waste)


@variant("film_1", "area [m²] × film [µm] / (10 × volume solids [%]) / transfer efficiency")
def wet_film(*, area: Decimal, film: Decimal, solids: Decimal, transfer: Decimal) -> Decimal:
    """Litres of paint for ``area`` [dm²] at a dry ``film`` [µm, sum of all coats].

    ``solids`` [% by volume], ``transfer`` efficiency [fraction]. Source: theoretical spreading rate
    10 × volume solids % / film [m²/l], see tests/truth.

    >>> wet_film(area=Decimal(520), film=Decimal(125), solids=Decimal(65), transfer=Decimal(1))
    Decimal('1.0')
    """
    return area / DM2_PER_M2 * film / (10 * solids) / transfer


@variant("powder_1", "area [m²] × film [µm] × density [g/cm³] / 1000 / transfer efficiency")
def powder(*, area: Decimal, film: Decimal, density: Decimal, transfer: Decimal) -> Decimal:
    """Kilograms of powder for ``area`` [dm²] at ``film`` [µm]; ``density`` [g/cm³], ``transfer`` [fraction].

    >>> powder(area=Decimal(100), film=Decimal(80), density=Decimal("1.5"), transfer=Decimal("0.5"))
    Decimal('0.24')
    """
    return area / DM2_PER_M2 * film * density / 1000 / transfer


@variant("mix_1", "the larger of what is used and the smallest mix; whole packs when the pot life is short")
def mixed(*, used: Decimal, smallest: Decimal, pack_size: Decimal, whole_packs: bool) -> Decimal:
    """What has to be mixed [unit] so that ``used`` [unit] can be used: once per batch and once per redo.

    >>> mixed(used=Decimal("0.06"), smallest=Decimal("0.1"), pack_size=Decimal(1), whole_packs=False)
    Decimal('0.1')
    >>> mixed(used=Decimal("1.2"), smallest=Decimal(0), pack_size=Decimal(1), whole_packs=True)
    Decimal('2')
    """
    if not used:
        return used
    amount = max(used, smallest)
    if whole_packs:
        return (amount / pack_size).to_integral_value(ROUND_CEILING) * pack_size
    return amount
