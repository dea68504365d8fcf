"""The engine's formulas as a spreadsheet writes them: one text for each named variant, on the cells of its inputs.

Floats stand in for decimals there. Before anything is rounded up or to the minor unit it is rounded to more places than
money has, so that the last digits of a float decide nothing.
"""

from collections.abc import Callable, Sequence
from decimal import Decimal

from quotes.engine.figures import Figure
from quotes.engine.money import HALF_DOWN

Cells = Sequence[str]
#: Figure and the cells of its inputs to the formula, without its equals sign.
Writer = Callable[[Figure, Cells], str]

EXTRA_PLACES = 7
UP_PLACES = 9
NO_OFFER = "1E+99"


def rounded(text: str, *, digits: int, rule: str) -> str:
    """``text`` to the minor unit as `quotes.engine.money.rounded` does it, symmetric in sign; of cells or of columns.

    >>> rounded("A1", digits=2, rule="half_up")
    'ROUND(ROUND(A1,9),2)'
    """
    near = f"ROUND({text},{digits + EXTRA_PLACES})"
    if rule != HALF_DOWN:
        return f"ROUND({near},{digits})"
    # The whole number not below, which is not the one away from 0 where something is less than half a unit.
    return f"SIGN({near})*-INT(-ROUND(ABS({text})*1E{digits}-0.5,{EXTRA_PLACES}))/1E{digits}"


def up(text: str) -> str:
    """``text`` to the whole number above."""
    return f"ROUNDUP(ROUND({text},{UP_PLACES}),0)"


def added(cells: Cells) -> str:
    """The sum of any number of cells; a spreadsheet's own function takes no more than 255.

    >>> added([]), added(["A1"]), added(["A1", "B2"])
    ('0', 'A1', 'SUM(A1,B2)')
    """
    if len(cells) <= 1:
        return cells[0] if cells else "0"
    if len(cells) <= 250:
        return f"SUM({','.join(cells)})"
    return added([added(cells[at : at + 250]) for at in range(0, len(cells), 250)])


def shared_out(*, whole: str, weight: str, weights: str, rank: str, ranks: str, digits: int) -> str:
    """A share of a rounded sum by largest remainder, ties by rank, as `quotes.engine.money.shared_out` does it.

    Everything is counted in minor units, whole numbers that a float holds exactly.
    """
    minor, own, all_of_it = (f"ROUND({text}*1E{digits},0)" for text in (whole, weight, weights))
    total = f"SUMPRODUCT({all_of_it})"
    left, others = f"MOD({minor}*{own},{total})", f"MOD({minor}*{all_of_it},{total})"
    floors = f"SUMPRODUCT(({minor}*{all_of_it}-{others})/{total})"
    before = f"SUMPRODUCT(({others}>{left})+({others}={left})*({ranks}<{rank}))"
    floor = f"({minor}*{own}-{left})/{total}"
    return f"IF({total}=0,0,({floor}+IF({before}<{minor}-{floors},1,0))/1E{digits})"


def _labour(_figure: Figure, cells: Cells) -> str:
    share, run, quantity, condition, allowance, factor, pace = cells
    return f"IF({quantity}=0,0,({share}+{run}*{quantity}*{condition})*(1+{allowance})*{factor}*{pace})"


def _share(_figure: Figure, cells: Cells) -> str:
    setups, setup, mixed, whole, own = cells
    return f"IF({whole}=0,0,{setups}*{setup}*(1-{mixed})*{own}/{whole})"


def _setups(_figure: Figure, cells: Cells) -> str:
    load, *capacity = cells
    if not capacity:
        return f"IF({load}=0,0,1)"
    return f"IF({load}=0,0,IF({capacity[0]}=0,1,{up(f'{load}/{capacity[0]}')}))"


def _overhead(figure: Figure, cells: Cells) -> str:
    base, rate = cells
    return f"{base}/60*{rate}" if figure.inputs[0].unit == "min" else f"{base}*{rate}"


def _vendor(figure: Figure, cells: Cells) -> str:
    quantity, lot, least, *rates = cells
    starts = [Decimal(given.name.rpartition(" ")[2]) for given in figure.inputs[3:]]
    offers = []
    for at, (start, rate) in enumerate(zip(starts, rates, strict=True)):
        here = f"{quantity}*{rate}"
        if at + 1 < len(starts):
            here = f"IF({starts[at + 1]}>{quantity},{here},{NO_OFFER})"
        offers.append(f"IF({start}>{quantity},{start}*{rate},{here})" if start else here)
    return f"IF({quantity}=0,0,MAX({lot}+MIN({','.join(offers)}),{least}))"


def _mix(_figure: Figure, cells: Cells) -> str:
    used, smallest, *size = cells
    amount = f"MAX({used},{smallest})"
    return f"IF({used}=0,0,{up(f'{amount}/{size[0]}') + f'*{size[0]}' if size else amount})"


def _rework(figure: Figure, cells: Cells) -> str:
    """Expected failures of one way, or the whole allowance: visits with what each costs, failures with theirs."""
    if figure.name == "expected failures":
        return f"{cells[0]}*(1+{cells[1]})"
    return "+".join(f"{often}*{cost}" for often, cost in zip(cells[::2], cells[1::2], strict=True))


WRITERS: dict[str, Writer] = {
    "sum_1": lambda _figure, cells: added(cells),
    "labour_1": _labour,
    "share_1": _share,
    "setups_1": _setups,
    "cost_1": lambda _figure, cells: f"{cells[0]}/60*{cells[1]}",
    "overhead_1": _overhead,
    "handling_1": lambda _figure, cells: f"{cells[0]}+{cells[1]}+{cells[0]}*{cells[2]}",
    "vendor_1": _vendor,
    "portion_1": lambda _figure, cells: f"IF({cells[2]}=0,0,{cells[0]}*{cells[1]}/{cells[2]})",
    "purchase_1": lambda _figure, cells: f"{cells[0]}*{cells[1]}",
    "usage_1": lambda _figure, cells: f"{cells[0]}*{cells[1]}*(1+{cells[2]})",
    "film_1": lambda _figure, cells: f"{cells[0]}/100*{cells[1]}/(10*{cells[2]})/{cells[3]}",
    "powder_1": lambda _figure, cells: f"{cells[0]}/100*{cells[1]}*{cells[2]}/1000/{cells[3]}",
    "mix_1": _mix,
    "material_1": lambda _figure, cells: f"{cells[0]}/{cells[1]}*{cells[2]}",
    "rework_1": _rework,
    "damage_1": lambda _figure, cells: f"{cells[0]}*({cells[1]}+4*{cells[2]}+{cells[3]})/6",
}
