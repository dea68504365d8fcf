"""A bike begun like an earlier one: what is taken, what stays behind, and that it prices the same on the same day.

The oracle of the price is the engine run over the original itself; of the rows, the original's rows.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine import canonical
from quotes.pricing.selectors import priced
from shop.methods.models import DamageStep, PartKind, PossibleDamage
from shop.restorations.damage import add_by_hand, add_usual
from shop.restorations.models import FinishAgreement, Part, PartDamage, Restoration
from shop.restorations.services import add_part, change_part, remove_part
from shop.routes.copying import copy_parts, earlier
from shop.routes.damages import settle
from shop.routes.finishes import sign_finish
from shop.routes.models import Authorisation, Step, Wait
from shop.routes.selectors import scope
from shop.routes.services import add_step, authorise, change_step, remove_step, wait_for
from tests.workshop import TODAY, WHO, Workshop, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
BUY: dict[str, Any] = {"buy": "Bush", "buy_source": "exchange", "buy_price_minor": 1250, "buy_core_minor": 300}
SAID: dict[str, Any] = {
    "buy_status": "seen",
    "buy_said_by": "Mrs Fell",
    "buy_said_on": TODAY,
    "buy_valid_until": date(2026, 9, 1),
    "buy_searching_since": TODAY,
    "buy_core_by": date(2026, 8, 1),
}


def original(shop: Workshop) -> Restoration:
    """A frame and a fork that know of each other, a stand by the hour, something bought, something possible."""
    row = restoration()
    one, other = frame(row, shop), frame(row, shop, name="Fork", finish=shop.green, pieces=2, depth=1)
    straighten = add_step(part=one, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    check = add_step(part=one, origin=Step.Origin.BEFORE, operation=shop.fit, quantity=Decimal("1.5"), **WHO)
    change_step(step=check, changes={"fail_chance": Decimal(8), "back_to": straighten}, **WHO)
    gone = add_step(part=one, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    spray = one.steps.get(origin=Step.Origin.FINISH, operation=shop.spray)
    bought = add_step(part=other, origin=Step.Origin.BEFORE, **BUY, **SAID, **WHO)
    wait_for(step=bought, on=spray, **WHO)
    wait_for(step=bought, on=gone, **WHO)
    remove_step(step=gone, **WHO)
    remove_part(part=add_part(restoration=row, name="Rack", **WHO), **WHO)
    costs = {"low_minor": 1000, "likely_minor": 2000, "high_minor": 3000}
    add_by_hand(part=one, name="Crack", frequency="sometimes", cost_class="labour", treatment="ours", **costs, **WHO)
    return row


def copied(of: Restoration) -> Restoration:
    new = restoration()
    copy_parts(restoration=new, earlier=of, **WHO)
    new.refresh_from_db()
    return new


def as_priced(row: Restoration) -> str:
    """What the engine is given, with uids by their order on the bike: nothing else may differ."""
    found = priced(draft(row))
    assert found.given is not None
    plain = re.sub(
        r'"contingency":"[^"]*"', "", canonical.dump(found.given).decode()
    )  # tried out by the bike's own seed
    parts = scope(row)
    steps = [step for rows in parts.steps.values() for step in rows]
    damages = PartDamage.objects.filter(part__restoration=row).order_by("part__position", "pk")
    for number, thing in enumerate([row, *parts.parts, *steps, *damages]):
        plain = plain.replace(str(thing.uid), f"#{number}")
    return plain


def first_pass(row: Restoration) -> tuple[Decimal, ...]:
    """What does not hang on the seed, which is the bike's own uid."""
    explained = priced(draft(row)).explained
    assert explained is not None
    result = explained.result
    return result.cost, result.minutes, result.allowance, result.damage


def test_the_copy_prices_the_same_on_the_same_day() -> None:
    """Up to uids, and with every purchase guessed on both: how sure a price is moves the contingency."""
    row = original(workshop())
    new = copied(row)
    Step.objects.filter(part__restoration=row).exclude(buy="").update(buy_status="guessed")
    assert as_priced(new) == as_priced(row)
    assert first_pass(new) == first_pass(row)


LEFT_PART = {"id", "uid", "restoration_id", "cap_minor", "removed_at"}


def test_parts_and_steps_are_taken_field_by_field() -> None:
    row = original(workshop())
    new = copied(row)

    def told(of: Restoration) -> list[Any]:
        parts = of.parts.filter(removed_at__isnull=True).order_by("position")
        return [{name: value for name, value in part.items() if name not in LEFT_PART} for part in parts.values()]

    assert told(new) == told(row)
    assert [step.position for rows in scope(new).steps.values() for step in rows] == [
        step.position for rows in scope(row).steps.values() for step in rows
    ]
    back = Step.objects.get(part__restoration=new, fail_chance=8)
    assert back.back_to is not None
    assert back.back_to.part.restoration_id == new.pk
    waits = Wait.objects.filter(step__part__restoration=new).values_list("step__buy", "on__operation__name")
    assert set(waits) == {("Bush", "Spray"), ("Bush", str(back))}
    assert not Wait.objects.filter(step__part__restoration=new).exclude(on__part__restoration=new).exists()


def test_a_purchase_is_a_guess_again_and_nobody_said_it() -> None:
    new = copied(original(workshop()))
    bought = Step.objects.get(part__restoration=new, buy="Bush")
    assert {name: getattr(bought, name) for name in BUY} == BUY
    assert {name: getattr(bought, name) for name in SAID} == {
        "buy_status": "guessed",
        "buy_said_by": "",
        "buy_said_on": None,
        "buy_valid_until": None,
        "buy_searching_since": None,
        "buy_core_by": None,
    }


def test_what_was_agreed_stays_behind() -> None:
    shop = workshop()
    row = original(shop)
    part = row.parts.get(name="Frame")
    change_part(part=part, changes={"basis": "capped", "cap_minor": 900_000}, **WHO)
    sign_finish(part=part, finish=shop.black, who_agreed="Jo", how="signed", said_on=TODAY, **WHO)
    uids = Step.objects.filter(part=part).values_list("uid", flat=True)
    authorise(step_uids=uids, kind=Authorisation.Kind.QUOTE, reference="Q1", now=WHO["now"])
    new = copied(row)
    taken = new.parts.get(name="Frame")
    assert (taken.basis, taken.cap_minor, taken.agreed_finish) == ("capped", None, shop.black)
    assert not FinishAgreement.objects.filter(part__restoration=new).exists()
    mine = Step.objects.filter(part__restoration=new).values("uid")
    assert not Authorisation.objects.filter(step_uid__in=mine).exists()


def test_steps_of_a_damage_found_stay_behind_and_the_damage_is_possible_again() -> None:
    shop = workshop()
    row = restoration()
    kind = PartKind.objects.create(name="frame")
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3}
    usual = PossibleDamage.objects.create(kind=kind, name="Bent", frequency="rare", **costs)
    DamageStep.objects.create(damage=usual, position=1, operation=shop.fit)
    part = frame(row, shop, kind=kind)
    (possible,) = add_usual(part=part, **WHO)
    before = part.steps.count()
    (laid,) = settle(damage=possible, settled=PartDamage.Settled.FOUND, note="bent", **WHO)
    other = frame(row, shop, name="Fork")
    waiting = other.steps.order_by("position").first()
    assert waiting is not None
    wait_for(step=waiting, on=laid, **WHO)
    new = copied(row)
    assert new.parts.get(name="Frame").steps.count() == before
    assert new.parts.get(name="Fork").steps.count() == other.steps.count()
    (open_again,) = PartDamage.objects.filter(part__restoration=new)
    assert (open_again.name, open_again.settled, open_again.note) == ("Bent", "", "")
    assert not Wait.objects.filter(step__part__restoration=new).exists()


def test_a_bike_that_has_parts_takes_no_others() -> None:
    shop = workshop()
    row, new = original(shop), restoration("Second")
    frame(new, shop)
    with pytest.raises(ValidationError):
        copy_parts(restoration=new, earlier=row, **WHO)


def test_queries_do_not_grow_with_the_parts() -> None:
    shop = workshop()
    row = original(shop)

    def queries() -> int:
        new = restoration()
        with CaptureQueriesContext(connection) as seen:
            copy_parts(restoration=new, earlier=row, **WHO)
        return len(seen)

    few = queries()
    for count in range(30):
        frame(row, shop, name=f"Bracket {count}")
    assert queries() <= few + 3  # SQLite takes only so many values at once, so that rows go in by a few dozen


@pytest.mark.parametrize(
    ("words", "found"),
    [("heron", True), ("H1234", True), ("heron 1957", True), ("fenwick", True), ("heron nothing", False), ("", True)],
)
def test_an_earlier_bike_is_found_by_what_people_call_it(words: str, found: bool) -> None:
    row = original(workshop())
    restoration("Heron without parts")
    assert list(earlier(words)) == ([row] if found else [])
    if found:
        assert earlier(words)[0].parts_in_scope == Part.objects.filter(restoration=row, removed_at=None).count()
