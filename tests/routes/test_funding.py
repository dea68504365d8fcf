"""What may go out before the money is in. The rule is tried with figures a person can check."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry
from shop.restorations.models import Restoration
from shop.routes import funding
from shop.routes.funding import Funds, Outside, missing, override, queue, refuse_unfunded, write_funding
from shop.routes.models import Override, Plan, PlannedStep, Step
from shop.routes.services import add_step, remove_step
from tests.planned import agree_to, bought, lever
from tests.workshop import NOW, TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> Restoration:
    """A lever to be plated, a seal and a horn to be bought, a tank badge the customer brings: all agreed, none planned."""
    made = restoration()
    plated = lever(made, shop)
    part = frame(made, shop)
    badge = {"buy": "Badge", "buy_source": "customers_own", "buy_price_minor": 0}
    steps = [plated.steps.get(service=shop.plate), bought(part), add_step(part=part, origin="after", **badge, **WHO)]
    steps.append(add_step(part=part, origin="after", buy="Horn", buy_source="used", buy_price_minor=4_000, **WHO))
    agree_to(*steps, *part.steps.filter(operation__isnull=False))
    monkeypatch.setattr(funding, "_price", lambda _of: prices(made))
    monkeypatch.setattr(funding, "_write", None)
    return made


def step(of: Restoration, name: str) -> Step:
    steps = Step.objects.select_related("part__restoration", "service", "operation").filter(part__restoration=of)
    return next(one for one in steps if str(one) == name)


PRICES = {"Zinc plate": 20_000, "Seal": 10_000, "Horn": 5_000}


def prices(of: Restoration) -> dict[UUID, int]:
    """As the quote has them: plating 200.00, the seal 100.00, the horn 50.00, tax included."""
    return {one.uid: PRICES[str(one)] for one in Step.objects.filter(part__restoration=of) if str(one) in PRICES}


def fund(of: Restoration, received: int, late: int = 0, at: datetime = NOW) -> None:
    write_funding(restoration=of, funds=Funds(received, late), now=at)


def plan(of: Restoration, **leave_by: date) -> None:
    """Days on which something must leave, by step name with underscores."""
    row = Plan.objects.create(
        restoration=of, scope_version=of.scope_version, rests_on="0" * 64, made_at=NOW, starts_on=TODAY,
        ready_certain=TODAY, ready_likely=TODAY, ready_kept=TODAY, content="{}",
    )  # fmt: skip
    for name, day in leave_by.items():
        at = datetime(day.year, day.month, day.day, 8, tzinfo=UTC)
        times = dict.fromkeys(("earliest_start", "earliest_finish", "latest_start", "latest_finish"), at)
        is_order = name == "Horn"  # bought over the counter: no day to order by
        PlannedStep.objects.create(
            plan=row, step=step(of, name.replace("_", " ")), leave_by=None if is_order else day, **times
        )


def seen(items: list[Outside]) -> list[tuple[str, int, int]]:
    return [(str(item.step), item.total, item.missing) for item in items]


# --- the rule ---


@pytest.mark.parametrize(
    ("received", "late", "total", "expected"),
    [
        # Worked by hand; the rows of the module's table [minor units].
        (50_000, 0, 30_000 + 20_000, 0),
        (50_000, 0, 30_000 + 38_000, 18_000),
        (50_000, 12_000, 30_000 + 10_000, 12_000),
        (50_000, 12_000, 30_000 + 38_000, 18_000),
        (50_000, 0, 50_001, 1),
        (0, 0, 0, 0),
        (-500, 0, 0, 500),
    ],
)
def test_what_is_missing_is_the_larger_of_what_is_late_and_what_is_short(
    received: int, late: int, total: int, expected: int
) -> None:
    assert missing(Funds(received, late), total) == expected


def test_what_leaves_first_has_the_first_claim(bike: Restoration) -> None:
    """By hand: 250.00 in. The seal leaves first (100), then the horn (150), then the plating (350): 100.00 short."""
    plan(bike, Zinc_plate=date(2026, 5, 1), Seal=date(2026, 4, 1), Horn=date(2026, 4, 10))
    found = queue(bike, Funds(25_000), prices(bike))
    assert seen(found) == [("Seal", 10_000, 0), ("Horn", 15_000, 0), ("Zinc plate", 35_000, 10_000)]
    assert [item.may_go for item in found] == [True, True, False]
    assert [item.leave_by for item in found] == [date(2026, 4, 1), date(2026, 4, 10), date(2026, 5, 1)]


def test_what_is_out_comes_first_and_waits_for_nothing(bike: Restoration) -> None:
    out = {step(bike, "Zinc plate").uid}
    plan(bike, Zinc_plate=date(2026, 5, 1), Seal=date(2026, 4, 1), Horn=date(2026, 4, 10))
    found = queue(bike, Funds(25_000), prices(bike), out=out)
    assert seen(found) == [("Zinc plate", 20_000, 0), ("Seal", 30_000, 5_000), ("Horn", 35_000, 10_000)]
    assert found[0].out


def test_without_a_plan_the_order_is_that_of_the_parts(bike: Restoration) -> None:
    assert [str(item.step) for item in queue(bike, Funds(), prices(bike))] == ["Zinc plate", "Seal", "Horn"]


def test_labour_what_the_customer_brings_and_what_nobody_agreed_to_do_not_wait(
    bike: Restoration, shop: Workshop
) -> None:
    lever(bike, shop, name="Another")  # nobody agreed to it
    remove_step(step=step(bike, "Horn"), **WHO)
    names = [str(item.step) for item in queue(bike, Funds(), prices(bike))]
    assert names == ["Zinc plate", "Seal"]


def test_a_step_that_no_quote_prices_adds_nothing_and_waits_while_something_is_late(bike: Restoration) -> None:
    priced = {uid: minor for uid, minor in prices(bike).items() if uid != step(bike, "Horn").uid}
    plan(bike, Horn=date(2026, 4, 1))
    assert queue(bike, Funds(0), priced)[0].missing == 0
    assert queue(bike, Funds(0, 300), priced)[0].missing == 300


def test_the_queue_takes_the_same_queries_for_few_and_many(bike: Restoration, shop: Workshop) -> None:
    with CaptureQueriesContext(connection) as few:
        queue(bike, Funds(), {})
    agree_to(*(bought(frame(bike, shop, name=f"Frame {number}")) for number in range(8)))
    with CaptureQueriesContext(connection) as many:
        assert len(queue(bike, Funds(), {})) == 11
    assert len(few) == len(many) == 3


# --- sending out ---


def refused(of: Restoration, *names: str, out: tuple[str, ...] = (), now: datetime = NOW) -> list[str]:
    steps = [step(of, name) for name in names]
    try:
        refuse_unfunded(steps=steps, out={step(of, name).uid for name in out}, now=now)
    except ValidationError as error:
        return [said for one in error.error_list for said in one.messages if one.code == "not funded"]
    return []


def test_with_the_money_in_it_goes(bike: Restoration) -> None:
    fund(bike, 20_000)
    assert refused(bike, "Zinc plate") == []


def test_without_it_the_refusal_says_what_is_missing(bike: Restoration) -> None:
    fund(bike, 2_000)
    assert refused(bike, "Zinc plate") == ["“Zinc plate” of Lever waits: €180.00 more must come in first."]


def test_what_is_out_already_counts_and_a_lot_counts_together(bike: Restoration) -> None:
    fund(bike, 30_000)
    assert refused(bike, "Zinc plate") == refused(bike, "Seal") == refused(bike, "Seal", "Zinc plate") == []
    assert "€50.00 more" in refused(bike, "Horn", out=("Seal", "Zinc plate"))[0]
    assert len(refused(bike, "Seal", "Zinc plate", out=("Horn",))) == 2


def test_while_something_is_late_nothing_goes(bike: Restoration) -> None:
    fund(bike, 100_000, 12_000)
    assert refused(bike, "Horn") == ["“Horn” of Frame waits: €120.00 more must come in first; €120.00 is late."]


def test_labour_and_the_customers_own_go_always(bike: Restoration) -> None:
    fund(bike, 0, 99_000)
    assert refused(bike, "Blast", "Badge") == []


def test_where_nothing_was_ever_received_nothing_goes(bike: Restoration) -> None:
    assert "€200.00 more must come in first" in refused(bike, "Zinc plate")[0]


def test_what_was_written_yesterday_is_asked_for_anew(bike: Restoration, monkeypatch: pytest.MonkeyPatch) -> None:
    fund(bike, 50_000)
    monkeypatch.setattr(funding, "_write", lambda of, now: fund(of, 50_000, 7_000, now))
    assert refused(bike, "Horn") == []
    assert "€70.00 is late" in refused(bike, "Horn", now=NOW + timedelta(days=1))[0]


# --- letting go by name ---


def let_go(of: Restoration, *names: str, **changes: object) -> list[Override]:
    given = {"who_decided": "Eve Marsh", "reason": "known for years"} | changes
    return override(restoration=of, steps={step(of, name).uid for name in names}, **given, **WHO)  # type: ignore[arg-type]


def test_somebody_lets_it_go_by_name_and_it_goes(bike: Restoration) -> None:
    fund(bike, 2_000)
    (row,) = let_go(bike, "Zinc plate")
    assert (row.kind, row.who, row.reason, row.recorded_by) == ("funding", "Eve Marsh", "known for years", "ada")
    assert refused(bike, "Zinc plate") == []
    told = Entry.objects.get(what="funding overridden")
    assert "€180.00 more must come in first" in told.after
    item = queue(bike, Funds(2_000), prices(bike))[0]
    assert (item.override, item.may_go) == (row, True)


def test_what_was_let_go_still_counts_for_the_others(bike: Restoration) -> None:
    fund(bike, 10_000)
    let_go(bike, "Zinc plate")
    assert "€200.00 more" in refused(bike, "Seal", out=("Zinc plate",))[0]
    assert "€200.00 more" in refused(bike, "Seal", "Zinc plate")[0]


def test_evidence_that_was_overridden_pays_for_nothing(bike: Restoration) -> None:
    Override.objects.create(step=step(bike, "Zinc plate"), who="Eve", reason="seen", at=NOW, recorded_by="ada")
    assert refused(bike, "Zinc plate") != []
    assert queue(bike, Funds(), prices(bike))[0].override is None


@pytest.mark.parametrize(
    ("changes", "field"), [({"who_decided": " "}, "who"), ({"reason": ""}, "reason"), ({"reason": "x" * 201}, "reason")]
)
def test_nobody_lets_go_without_a_name_and_a_reason(bike: Restoration, changes: dict[str, str], field: str) -> None:
    with pytest.raises(ValidationError) as wrong:
        let_go(bike, "Zinc plate", **changes)
    assert list(wrong.value.error_dict) == [field]
    assert not Override.objects.exists()


def test_what_nothing_holds_back_needs_nobody(bike: Restoration) -> None:
    fund(bike, 35_000)
    with pytest.raises(ValidationError, match="Nothing holds “Zinc plate” back") as wrong:
        let_go(bike, "Zinc plate")
    assert list(wrong.value.error_dict) == ["steps"]


def test_all_are_let_go_or_none(bike: Restoration) -> None:
    fund(bike, 20_000)
    with pytest.raises(ValidationError, match="Nothing holds"):
        let_go(bike, "Zinc plate", "Seal")
    assert not Override.objects.exists()
    assert len(let_go(bike, "Seal", "Horn")) == 2


def test_only_what_leaves_the_house_can_be_let_go(bike: Restoration) -> None:
    for names in (("Badge",), ("Blast",), ()):
        with pytest.raises(ValidationError) as wrong:
            let_go(bike, *names)
        assert list(wrong.value.error_dict) == ["steps"]


def test_an_override_is_kept_as_it_was_decided(bike: Restoration) -> None:
    (row,) = let_go(bike, "Zinc plate")
    with pytest.raises(DatabaseError, match="kept as it was decided"), transaction.atomic():
        Override.objects.filter(pk=row.pk).update(reason="other")


def test_late_is_never_below_nothing(bike: Restoration) -> None:
    with pytest.raises(IntegrityError, match="funding_late_not_negative"), transaction.atomic():
        fund(bike, 0, -1)
