"""The final account, against the worked table in the module."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.settlement import Account, Agreed, Kind, Taxed, counts, settle

D = Decimal
FIFTH = D("0.2")
FRAME = Agreed("frame", "Q1", "fixed", D("800.00"), "standard")
ENGINE = Agreed("engine", "Q1", "capped", D("500.00"), "standard", D("575.00"))
ELECTRICS = Agreed("electrics", "Q1", "hourly", D("200.00"), "standard", D("230.00"))
#: A provisional damage that was found: the customer agreed to it as a variation.
CRACK = Agreed("crack", "Q2", "hourly", D("90.00"), "standard", varies=True)
FEE = Agreed("fee", "Q1", "credit", D("-100.00"), "standard")
LINES = [FRAME, ENGINE, ELECTRICS, FEE]
#: 800 + 500 + 200 − 100 = 1400, a fifth of tax 280.
TAXES = {("Q1", "standard"): Taxed(FIFTH, D("1400.00"), D("280.00"))}


def account(lines: list[Agreed] = LINES, taxes: dict[tuple[str, str], Taxed] = TAXES, **given: object) -> Account:
    usual: dict[str, object] = {"actuals": {}, "received": D("1000.00"), "digits": 2}
    return settle(lines, taxes, **(usual | given))  # type: ignore[arg-type]


def test_the_worked_table_holds() -> None:
    """Hand-worked, see the module: 800 + 575 + 260 + 75 − 100 = 1610; tax 322; 1932 − 1000 = 932."""
    actuals = {"frame": D("900.00"), "engine": D("640.00"), "electrics": D("260.00"), "crack": D("75.00")}
    taxes = TAXES | {("Q2", "standard"): Taxed(FIFTH, D("90.00"), D("18.00"))}
    found = account([*LINES, CRACK], taxes, actuals=actuals)
    assert found.sums == {
        Kind.FIXED: D("800.00"),
        Kind.CAPPED: D("575.00"),
        Kind.HOURLY: D("260.00"),
        Kind.VARIATION: D("75.00"),
        Kind.CREDIT: D("-100.00"),
    }
    assert (found.net, found.tax, found.total, found.balance) == (D("1610.00"), D("322.00"), D("1932.00"), D("932.00"))


def test_what_nobody_said_the_actual_of_stands_as_quoted() -> None:
    found = account()
    assert (found.net, found.tax, found.balance) == (D("1400.00"), D("280.00"), D("680.00"))


def test_an_actual_below_the_estimate_is_the_customers_gain() -> None:
    assert account(actuals={"engine": D("450.00")}).sums[Kind.CAPPED] == D("450.00")


def test_storage_is_a_line_of_its_own_with_its_tax() -> None:
    """Hand-worked: 8 days at 4.00 are 32.00, with a fifth of tax 38.40 more to come."""
    found = account(storage=D("32.00"), storage_tax=FIFTH)
    assert (found.storage, found.balance) == (D("32.00"), D("680.00") + D("38.40"))


def test_a_variation_is_a_sum_of_its_own_also_where_it_takes_out() -> None:
    lines = [
        *LINES,
        Agreed("carrier", "Q2", "fixed", D("60.00"), "standard", varies=True),
        Agreed("left", "Q2", "credit", D("-150.00"), "standard", varies=True),
    ]
    taxes = TAXES | {("Q2", "standard"): Taxed(FIFTH, D("-90.00"), D("-18.00"))}
    found = account(lines, taxes)
    assert found.sums[Kind.VARIATION] == D("-90.00")
    assert found.sums[Kind.CREDIT] == D("-100.00")
    assert found.total == D("1680.00") - D("108.00")


def test_tax_that_was_rounded_line_by_line_stays_as_it_was_quoted() -> None:
    """A quote taxed by line can differ by a cent from the document's; what did not move keeps what was agreed."""
    taxes = {("Q1", "standard"): Taxed(FIFTH, D("1400.00"), D("280.01"))}
    assert account(taxes=taxes).tax == D("280.01")
    assert account(taxes=taxes, actuals={"electrics": D("201.00")}).tax == D("280.20")


def test_rates_are_taxed_apart() -> None:
    """Hand-worked: 100.00 at a fifth, 50.00 come to 54.00 at a tenth: 20.00 + 5.40."""
    lines = [Agreed("a", "Q1", "fixed", D("100.00"), "standard"), Agreed("b", "Q1", "hourly", D("50.00"), "low")]
    taxes = {("Q1", "standard"): Taxed(FIFTH, D(100), D(20)), ("Q1", "low"): Taxed(D("0.1"), D(50), D(5))}
    assert account(lines, taxes, actuals={"b": D("54.00")}).tax == D("25.40")


def test_too_much_received_goes_back() -> None:
    assert account(received=D("1700.00")).balance == D("-20.00")


def test_an_actual_below_zero_is_refused() -> None:
    with pytest.raises(BadInput) as refused:
        account(actuals={"engine": D(-1)})
    assert refused.value.field == "actual"


MONEY = st.decimals(min_value=0, max_value=20_000, places=2)


@given(quoted=MONEY, cap=MONEY, actual=MONEY, basis=st.sampled_from(["fixed", "capped", "hourly"]))
def test_a_cap_is_kept_and_a_fixed_price_too(quoted: Decimal, cap: Decimal, actual: Decimal, basis: str) -> None:
    line = Agreed("x", "Q1", basis, quoted, "standard", cap)
    expected = {"fixed": quoted, "capped": min(actual, cap), "hourly": actual}
    assert counts(line, actual) == expected[basis]
    assert counts(line, None) == quoted
