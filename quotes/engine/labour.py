"""Labour: standard time, expected time."""

from decimal import Decimal

from quotes.engine.formulas import variant


def standard_time(basic: Decimal, allowance: Decimal) -> Decimal:
    """Standard time [min] from basic time [min] and ``allowance`` [fraction of basic time].

    Source: the allowance on the job's own time of ILO, *Introduction to Work Study*: basic × (1 + allowance).

    >>> standard_time(Decimal(24), Decimal("0.20"))
    Decimal('28.80')
    """
    return basic * (1 + allowance)


def standard_time_of_workday(basic: Decimal, allowance: Decimal) -> Decimal:
    """Standard time [min] when ``allowance`` is a fraction of the working day: basic / (1 − allowance).

    The other convention in use; an allowance must say which one it is meant for.

    >>> standard_time_of_workday(Decimal("18.275"), Decimal("0.10")).quantize(Decimal("0.001"))
    Decimal('20.306')
    """
    return basic / (1 - allowance)


@variant(
    "labour_1",
    "(share of the set-up + run × quantity × condition) × (1 + allowance) × shop factor × pace",
)
def expected_minutes(
    *,
    setup: Decimal,
    run: Decimal,
    quantity: Decimal,
    condition: Decimal,
    allowance: Decimal,
    shop_factor: Decimal,
    pace: Decimal,
) -> Decimal:
    """Expected attended minutes of one step: standard time × shop factor × pace of the grade.

    ``setup`` [min] is the step's share of its batch's set-ups, ``run`` [min/measure], ``quantity`` [measure],
    ``condition`` the factor of the part's condition (on the run only). Nothing is rounded.

    >>> expected_minutes(setup=Decimal(30), run=Decimal(5), quantity=Decimal(8), condition=Decimal("1.5"),
    ...     allowance=Decimal("0.15"), shop_factor=Decimal(1), pace=Decimal(1))
    Decimal('103.500')
    """
    return standard_time(setup + run * quantity * condition, allowance) * shop_factor * pace
