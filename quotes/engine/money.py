"""Currencies, the one rounding function, sharing a rounded sum, instalments.

Minor units follow ISO 4217 (SIX Table A.1, 2024-06-25): two places unless listed below.
"""

from collections.abc import Hashable, Sequence
from decimal import ROUND_HALF_DOWN, ROUND_HALF_UP, Context, Decimal, localcontext
from math import lcm

from quotes.engine.errors import BadInput

_ZERO = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
_THREE = "BHD IQD JOD KWD LYD OMR TND"
_FOUR = "CLF UYW"
_TWO = (
    "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF "
    "CHE CHF CHW CNY COP COU CRC CUC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD "
    "HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP "
    "MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR "
    "SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES "
    "WST XCD YER ZAR ZMW ZWL"
)

#: ISO 4217 code to the number of decimal places of its minor unit.
MINOR_UNITS: dict[str, int] = {
    **dict.fromkeys(_TWO.split(), 2),
    **dict.fromkeys(_ZERO.split(), 0),
    **dict.fromkeys(_THREE.split(), 3),
    **dict.fromkeys(_FOUR.split(), 4),
}

HALF_UP = "half_up"
HALF_DOWN = "half_down"
_RULES = {HALF_UP: ROUND_HALF_UP, HALF_DOWN: ROUND_HALF_DOWN}

#: All engine arithmetic runs in this context, whatever the caller's is.
CONTEXT = Context(prec=28, rounding=ROUND_HALF_UP)


def places(currency: str) -> int:
    """Decimal places of the minor unit of ``currency``.

    Raises `BadInput` for a code that ISO 4217 does not give minor units.

    >>> places("EUR"), places("JPY"), places("KWD")
    (2, 0, 3)
    """
    try:
        return MINOR_UNITS[currency]
    except KeyError:
        raise BadInput(
            "{code} is not a currency with minor units in ISO 4217. Give a code such as EUR.",
            field="currency",
            code=repr(currency),
        ) from None


def rounded(amount: Decimal, *, digits: int, rule: str = HALF_UP) -> Decimal:
    """``amount`` [money] rounded to ``digits`` decimal places; the only rounding of money there is.

    ``rule`` is half-up, or half-down where the country says; both are symmetric in sign.

    >>> rounded(Decimal("1.005"), digits=2), rounded(Decimal("-1.005"), digits=2)
    (Decimal('1.01'), Decimal('-1.01'))
    >>> rounded(Decimal("1.005"), digits=2, rule=HALF_DOWN)
    Decimal('1.00')
    """
    result = amount.quantize(Decimal((0, (1,), -digits)), rounding=_RULES[rule], context=CONTEXT)
    return result if result else result.copy_abs()


def to_minor(amount: Decimal, *, digits: int) -> int:
    """A rounded ``amount`` as a count of minor units; refuses one with more digits than the currency has."""
    scaled = amount.scaleb(digits, context=CONTEXT)
    whole = int(scaled)
    if whole != scaled:
        raise BadInput("{amount} has more decimal places than the currency.", field="amount", amount=amount)
    return whole


def from_minor(count: int, *, digits: int) -> Decimal:
    """A count of minor units as an amount.

    >>> from_minor(1234, digits=2)
    Decimal('12.34')
    """
    return Decimal(count).scaleb(-digits, context=CONTEXT)


def shared_out(total: Decimal, weights: Sequence[Decimal], keys: Sequence[Hashable], *, digits: int) -> list[Decimal]:
    """``total`` [money, rounded] shared by ``weights`` so that the shares add up to it exactly.

    Largest remainder; ties go to the smaller key, so the order given does not matter. Weights of zero get
    nothing unless all are zero, when the shares are equal. ``total`` may be negative.

    >>> shared_out(Decimal("1.00"), [Decimal(1)] * 3, ["a", "b", "c"], digits=2)
    [Decimal('0.34'), Decimal('0.33'), Decimal('0.33')]
    """
    if not weights:
        return []
    if any(weight < 0 for weight in weights):
        raise BadInput("A share cannot have a negative weight.", field="weights")
    used = _whole_numbers(weights) if any(weights) else [1] * len(weights)
    whole = sum(used)
    sign = -1 if total < 0 else 1
    minor = abs(to_minor(total, digits=digits))
    floors = [minor * weight // whole for weight in used]
    order = sorted((i for i in range(len(used)) if used[i]), key=lambda i: (-(minor * used[i] % whole), str(keys[i])))
    for i in order[: minor - sum(floors)]:
        floors[i] += 1
    return [from_minor(sign * share, digits=digits) for share in floors]


def _whole_numbers(weights: Sequence[Decimal]) -> list[int]:
    """``weights`` in the same proportion, exactly."""
    ratios = [weight.as_integer_ratio() for weight in weights]
    common = lcm(*(denominator for _, denominator in ratios))
    return [numerator * (common // denominator) for numerator, denominator in ratios]


def instalments(total: Decimal, percents: Sequence[Decimal], *, digits: int, rule: str = HALF_UP) -> list[Decimal]:
    """``total`` [money] in instalments of ``percents`` [%] by cumulative rounding, so the last one closes it.

    Raises `BadInput` when the percents do not add up to 100 or one is negative.

    >>> instalments(Decimal("100.00"), [Decimal("33.33"), Decimal("33.33"), Decimal("33.34")], digits=2)
    [Decimal('33.33'), Decimal('33.33'), Decimal('33.34')]
    """
    if any(percent < 0 for percent in percents):
        raise BadInput("A payment stage cannot be negative.", field="payment stages")
    if sum(percents, Decimal(0)) != 100:
        raise BadInput(
            "The payment stages add up to {sum} %. Make them add up to 100 %.",
            field="payment stages",
            sum=sum(percents, Decimal(0)),
        )
    paid, so_far, result = Decimal(0), Decimal(0), []
    with localcontext(CONTEXT):
        for percent in percents:
            so_far += percent
            due = rounded(total * so_far / 100, digits=digits, rule=rule)
            result.append(due - paid)
            paid = due
    return result
