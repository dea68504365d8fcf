"""How steps stand: done, ready, waiting and for what; finishing them, and taking that back."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry
from shop.methods.models import PartKind
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.restorations.services import change_part
from shop.routes import funding, trial
from shop.routes.again import again
from shop.routes.finishing import finish_step, undo_done
from shop.routes.models import Done, Step
from shop.routes.planning import hold
from shop.routes.progress import Cause, Standing, states, states_of
from shop.routes.services import add_step, remove_step, wait_for
from shop.routes.splitting import put_together, split_part
from tests.at_the_bench import agreed, bench_frame, steps_of
from tests.planned import agree_to
from tests.routes.aways import back, out
from tests.workshop import NOW, TODAY, WHO, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike() -> Restoration:
    return restoration()


def stand(bike: Restoration, *steps: Step) -> list[str]:
    found = states([bike], now=NOW)
    return [found[step.pk].standing.value for step in steps]


def why(bike: Restoration, step: Step) -> list[Cause]:
    return [one.cause for one in states_of(bike, now=NOW)[step.pk].why]


@contextmanager
def refused(code: str) -> Iterator[None]:
    with pytest.raises(ValidationError) as caught:
        yield
    found = caught.value
    codes = {one.code for one in (found.error_list if hasattr(found, "error_list") else [found])}
    assert codes == {code}


def test_the_first_step_is_ready_and_the_next_waits_for_it_by_name(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    assert stand(bike, blast, spray) == ["ready", "waiting"]
    (reason,) = states([bike], now=NOW)[spray.pk].why
    assert (reason.step, reason.sentence) == (blast, "“Blast” comes first.")


def test_done_makes_the_next_one_ready_once(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    assert finish_step(step=blast, **WHO) == [spray]
    assert finish_step(step=blast, **WHO) == []
    assert Done.objects.count() == 1
    assert Entry.objects.filter(what="step done").count() == 1
    assert stand(bike, blast, spray) == ["done", "ready"]


def test_what_nobody_agreed_to_cannot_be_done(shop: Workshop, bike: Restoration) -> None:
    blast, _spray = steps_of(bench_frame(bike, shop))
    assert why(bike, blast) == [Cause.AGREED]
    with refused("not authorised"):
        finish_step(step=blast, **WHO)


def test_out_of_turn_or_off_the_route_nothing_is_done(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    with refused("not ready"):
        finish_step(step=spray, **WHO)
    remove_step(step=blast, **WHO)
    with refused("off the route"):
        finish_step(step=blast, **WHO)
    assert finish_step(step=spray, **WHO) == []
    assert not Done.objects.filter(step=blast).exists()


def test_a_wait_on_another_part_holds_until_that_step_is_done(shop: Workshop, bike: Restoration) -> None:
    one, other = agreed(bench_frame(bike, shop)), agreed(bench_frame(bike, shop, name="Tank"))
    wait_for(step=one[0], on=other[0], **WHO)
    found = states([bike], now=NOW)[one[0].pk]
    assert found.sentences == ("“Blast” of Tank comes first.",)
    assert finish_step(step=other[0], **WHO) == [one[0], other[1]]


def test_a_removed_step_that_something_waits_for_is_stood_in_by_the_one_before_it(
    shop: Workshop, bike: Restoration
) -> None:
    one, other = agreed(bench_frame(bike, shop)), agreed(bench_frame(bike, shop, name="Tank"))
    wait_for(step=one[0], on=other[1], **WHO)
    remove_step(step=other[1], **WHO)
    assert [reason.step for reason in states([bike], now=NOW)[one[0].pk].why] == [other[0]]
    remove_step(step=other[0], **WHO)
    assert stand(bike, one[0]) == ["ready"]


def test_a_step_put_on_the_route_before_a_done_one_holds_what_comes_after(shop: Workshop, bike: Restoration) -> None:
    """Looking only one step back would let the spraying begin: the step right before it is done."""
    part = bench_frame(bike, shop)
    blast, spray = agreed(part)
    finish_step(step=blast, **WHO)
    early = add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    assert [reason.step for reason in states([bike], now=NOW)[spray.pk].why] == [early]


def test_vendor_work_and_what_is_bought_are_waited_for_in_their_own_words(shop: Workshop, bike: Restoration) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    fit = add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    seal = add_step(part=part, origin=Step.Origin.BEFORE, buy="Seal", buy_source="used", buy_price_minor=100, **WHO)
    agree_to(*steps_of(part))
    plate = part.steps.get(service=shop.plate)
    found = states([bike], now=NOW)
    assert found[plate.pk].sentences == ("Seal has to be here first (Lever).",)
    finish_step(step=seal, **WHO)
    assert states([bike], now=NOW)[fit.pk].sentences == ("Lever has to be back from Brook Platers first (Zinc plate).",)
    assert finish_step(step=plate, **WHO) == [fit]


def test_what_was_bought_may_be_here_before_its_turn(shop: Workshop, bike: Restoration) -> None:
    part = bench_frame(bike, shop)
    seal = add_step(part=part, origin=Step.Origin.AFTER, buy="Seal", buy_source="used", **WHO)
    blast, spray, _seal = agreed(part)
    assert finish_step(step=seal, **WHO) == []
    assert stand(bike, blast, spray, seal) == ["ready", "waiting", "done"]
    finish_step(step=blast, **WHO)
    undo_done(step=blast, **WHO)


def test_a_part_without_pieces_is_no_work_and_holds_nothing(shop: Workshop, bike: Restoration) -> None:
    one, other = agreed(bench_frame(bike, shop)), agreed(bench_frame(bike, shop, name="Tank"))
    wait_for(step=one[0], on=other[1], **WHO)
    change_part(part=other[0].part, changes={"pieces": 0}, **WHO)
    assert stand(bike, one[0], *other) == ["ready", "done", "done"]


def test_a_held_day_holds_everything_back(shop: Workshop, bike: Restoration) -> None:
    blast, _spray = agreed(bench_frame(bike, shop))
    hold(restoration=bike, first=TODAY, last=TODAY, reason="No saddle", kind="part", **WHO)
    assert why(bike, blast) == [Cause.HELD]
    tomorrow = NOW + timedelta(days=1)
    assert states([bike], now=tomorrow)[blast.pk].is_ready


def test_late_money_holds_what_leaves_and_nothing_else(shop: Workshop, bike: Restoration) -> None:
    plate, *_ = agreed(bench_frame(bike, shop, name="Lever", finish=shop.zinc))
    blast, *_ = agreed(bench_frame(bike, shop))
    funding.write_funding(restoration=bike, funds=funding.Funds(100, 50), now=NOW)
    assert [stand(bike, plate), stand(bike, blast)] == [["waiting"], ["ready"]]
    assert why(bike, plate) == [Cause.MONEY]
    with refused("not ready"):
        finish_step(step=plate, **WHO)
    funding.override(restoration=bike, steps=[plate.uid], who_decided="Ada", reason="Known to us", **WHO)
    assert stand(bike, plate) == ["ready"]


def test_what_is_not_covered_waits_for_the_money(
    shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    plate, *_ = agreed(bench_frame(bike, shop, name="Lever", finish=shop.zinc))
    monkeypatch.setattr(funding, "_price", lambda _row: {plate.uid: 300})
    funding.write_funding(restoration=bike, funds=funding.Funds(299, 0), now=NOW)
    assert why(bike, plate) == [Cause.MONEY]
    funding.write_funding(restoration=bike, funds=funding.Funds(300, 0), now=NOW)
    assert why(bike, plate) == []


# -- the latest wait ------------------------------------------------------------------------------------------------------


def test_what_must_not_lie_about_says_by_when_it_must_begin_and_when_that_is_exceeded(
    shop: Workshop, bike: Restoration
) -> None:
    shop.blast.latest_wait = 240
    shop.blast.save()
    blast, spray = agreed(bench_frame(bike, shop))
    assert states([bike], now=NOW)[spray.pk].begin_by is None
    finish_step(step=blast, **WHO)
    limit = NOW + timedelta(minutes=240)
    in_time, late = states([bike], now=limit)[spray.pk], states([bike], now=limit + timedelta(seconds=1))[spray.pk]
    assert (in_time.begin_by, in_time.exceeded, in_time.standing) == (limit, False, Standing.READY)
    assert (late.exceeded, late.standing) == (True, Standing.READY)
    assert in_time.begin_sentence.startswith("It must begin by")
    assert late.begin_sentence.startswith("It should have begun by")


# -- the trial fit ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def bracket(shop: Workshop, bike: Restoration) -> Part:
    kind = PartKind.objects.create(name="Bracket", fitted_first=True)
    shop.fit.fits_first = True
    shop.fit.save()
    return bench_frame(bike, shop, name="Bracket", kind=kind)


def test_a_part_that_is_fitted_first_is_not_coated_before(shop: Workshop, bike: Restoration, bracket: Part) -> None:
    fit = add_step(part=bracket, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    _fit, blast, _spray = agreed(bracket)
    assert why(bike, blast) == [Cause.BEFORE, Cause.TRIAL]
    assert finish_step(step=fit, **WHO) == [blast]


def test_a_fit_that_stands_after_the_finish_is_asked_for_all_the_same(
    shop: Workshop, bike: Restoration, bracket: Part
) -> None:
    add_step(part=bracket, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    blast, *_ = agreed(bracket)
    assert states([bike], now=NOW)[blast.pk].sentences == (
        "Bracket is fitted to the bike once before it is coated: “Fit” comes before “Blast”.",
    )


def test_without_such_a_step_it_says_so_and_somebody_can_let_it_go_by_name(
    shop: Workshop, bike: Restoration, bracket: Part
) -> None:
    blast, spray = agreed(bracket)
    assert "no step of its route does so" in states([bike], now=NOW)[blast.pk].sentences[0]
    with pytest.raises(ValidationError):
        trial.override(step=blast, who_decided="", reason="Made to measure", **WHO)
    trial.override(step=blast, who_decided="Ada", reason="Made to measure", **WHO)
    assert [why(bike, blast), why(bike, spray)] == [[], [Cause.BEFORE, Cause.TRIAL]]
    with refused("not held back"):
        trial.override(step=blast, who_decided="Ada", reason="Made to measure", **WHO)


# -- taking it back ----------------------------------------------------------------------------------------------------------


def test_done_is_taken_back_and_can_be_done_again(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    finish_step(step=blast, **WHO)
    undo_done(step=blast, **WHO)
    undo_done(step=blast, **WHO)
    assert stand(bike, blast, spray) == ["ready", "waiting"]
    assert Done.objects.get().undone_by == "ada"
    assert Entry.objects.filter(what="step not done").count() == 1
    assert finish_step(step=blast, **WHO) == [spray]


def test_it_is_not_taken_back_once_something_after_it_is_done(shop: Workshop, bike: Restoration) -> None:
    one, other = agreed(bench_frame(bike, shop)), agreed(bench_frame(bike, shop, name="Tank"))
    wait_for(step=one[0], on=other[0], **WHO)
    finish_step(step=other[0], **WHO)
    finish_step(step=one[0], **WHO)
    with refused("later is done"):
        undo_done(step=other[0], **WHO)
    undo_done(step=one[0], **WHO)
    undo_done(step=other[0], **WHO)


def test_it_is_taken_back_on_the_same_day_by_who_said_it_or_the_desk(
    shop: Workshop, bike: Restoration, django_user_model: type[User]
) -> None:
    from django.contrib.auth.models import Group

    for name, role in (("mo", "mechanic"), ("di", "desk")):
        user = django_user_model.objects.create(username=name)
        user.groups.add(Group.objects.get_or_create(name=role)[0])
    blast, _spray = agreed(bench_frame(bike, shop))
    finish_step(step=blast, **WHO)
    with refused("somebody else"):
        undo_done(step=blast, who="mo", now=NOW)
    with refused("another day"):
        undo_done(step=blast, who="ada", now=NOW + timedelta(days=1))
    undo_done(step=blast, who="di", now=NOW)
    assert Done.objects.get().undone_by == "di"


# -- how much is read ---------------------------------------------------------------------------------------------------------


def test_states_of_one_bike_and_of_many_take_as_many_queries(shop: Workshop, bike: Restoration) -> None:
    def furnished(row: Restoration) -> None:
        one, other = bench_frame(row, shop), bench_frame(row, shop, name="Tank")
        bench_frame(row, shop, name="Lever", finish=shop.zinc)
        wait_for(step=steps_of(one)[0], on=steps_of(other)[0], **WHO)
        finish_step(step=agreed(other)[0], **WHO)

    def queries(rows: list[Restoration]) -> int:
        with CaptureQueriesContext(connection) as asked:
            found: Any = states(rows, now=NOW)
            assert found
        return len(asked)

    furnished(bike)
    alone = queries([bike])
    rows = [bike, *(restoration(f"Heron {number}") for number in range(4))]
    for row in rows[1:]:
        furnished(row)
    assert queries(rows) == alone
    assert alone < 25


# -- what is out or on order ----------------------------------------------------------------------------------------------------


def test_what_is_out_says_where_since_when_and_until_when_and_what_follows_waits_for_that_day(
    shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    plate, fit = agreed(part)
    row = out(plate, date(2026, 3, 12))
    found = states_of(bike, now=NOW)
    assert stand(bike, plate, fit) == ["out", "waiting"]
    assert not found[plate.pk].may_be_done
    assert found[plate.pk].sentences == ("It has been at Brook Platers since 2 Mar 2026. It is due on 12 Mar 2026.",)
    assert found[fit.pk].sentences == (
        "Lever has to be back from Brook Platers first (Zinc plate); it is due on 12 Mar 2026.",
    )
    late = states_of(bike, now=NOW + timedelta(days=11))[plate.pk]
    assert late.sentences == ("It has been at Brook Platers since 2 Mar 2026. It was due on 12 Mar 2026.",)
    row.due_on = None
    row.save()
    found = states_of(bike, now=NOW)
    assert found[plate.pk].sentences == ("It has been at Brook Platers since 2 Mar 2026. Nobody told us a day yet.",)
    assert found[fit.pk].sentences == ("Lever has to be back from Brook Platers first (Zinc plate).",)
    row.lost = True
    row.save()
    found = states_of(bike, now=NOW)
    assert found[plate.pk].sentences == ("It was lost at Brook Platers, where it has been since 2 Mar 2026.",)
    assert found[fit.pk].sentences == (
        "Lever was lost at Brook Platers (Zinc plate): it has to be found or replaced first.",
    )


def test_what_is_on_order_is_not_here(shop: Workshop, bike: Restoration) -> None:
    part = bench_frame(bike, shop)
    seal = add_step(part=part, origin=Step.Origin.BEFORE, buy="Seal", buy_source="used", **WHO)
    agree_to(*steps_of(part))
    blast = part.steps.get(operation=shop.blast)
    row = out(seal, date(2026, 3, 12), where="Old Stock Ltd")
    found = states_of(bike, now=NOW)
    assert found[seal.pk].sentences == ("It was ordered from Old Stock Ltd on 2 Mar 2026. It is due on 12 Mar 2026.",)
    assert "Seal has to be here first (Frame); it is due on 12 Mar 2026." in found[blast.pk].sentences
    with refused("not ready"):
        finish_step(step=seal, **WHO)
    back(row)
    finish_step(step=seal, **WHO)
    assert stand(bike, seal) == ["done"]


def test_what_is_away_is_done_once_it_is_said_to_be_here_again(shop: Workshop, bike: Restoration) -> None:
    """Whoever takes it in ends its absence first; before that it is refused, with where it is."""
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    plate, fit = agreed(part)
    row = out(plate)
    with pytest.raises(ValidationError, match="It has been at Brook Platers"):
        finish_step(step=plate, **WHO)
    back(row)
    assert stand(bike, plate, fit) == ["ready", "waiting"]
    assert finish_step(step=plate, **WHO) == [fit]


def test_what_has_been_out_is_taken_in_though_the_bike_is_held_and_money_is_late(
    shop: Workshop, bike: Restoration
) -> None:
    """It is here: what would hold it from going holds nothing now. On another visit it is held from going all the same."""
    plate, *_ = agreed(bench_frame(bike, shop, name="Lever", finish=shop.zinc))
    row = out(plate)
    funding.write_funding(restoration=bike, funds=funding.Funds(100, 50), now=NOW)
    hold(restoration=bike, first=TODAY, reason="Deciding", kind="deciding", **WHO)
    back(row)
    assert why(bike, plate) == [Cause.HELD, Cause.MONEY]
    finish_step(step=plate, **WHO)
    assert stand(bike, plate) == ["done"]
    again(step=plate, back_to=plate, remedies=[], **WHO)
    plate.refresh_from_db()
    with refused("not ready"):
        finish_step(step=plate, **WHO)


def test_what_is_out_or_on_order_has_the_first_claim_on_the_money(
    shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, *_ = agreed(bench_frame(bike, shop, name="Lever", finish=shop.zinc))
    other, *_ = agreed(bench_frame(bike, shop, name="Pedal", finish=shop.zinc))
    monkeypatch.setattr(funding, "_price", lambda _row: {one.uid: 300, other.uid: 300})
    funding.write_funding(restoration=bike, funds=funding.Funds(500, 0), now=NOW)
    assert (why(bike, one), why(bike, other), funding.gone(bike)) == ([], [], set())
    row = out(one)
    assert (why(bike, other), funding.gone(bike)) == ([Cause.MONEY], {one.uid})
    back(row)
    finish_step(step=one, **WHO)
    assert (why(bike, other), funding.gone(bike)) == ([Cause.MONEY], {one.uid})
    funds, found = funding.Funds(500, 0), funding.gone(bike)
    first, second = funding.queue(bike, funds, {one.uid: 300, other.uid: 300}, out=found)
    assert (first.step, first.out, first.missing, first.leave_by) == (one, True, 0, None)
    assert (second.step, second.missing) == (other, 100)


def test_pieces_that_are_out_are_not_put_together(shop: Workshop, bike: Restoration) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc, pieces=2)
    agreed(part)
    new = split_part(part=part, pieces=1, **WHO)
    row = out(new.steps.get(service=shop.plate))
    with refused("out"):
        put_together(part=new, **WHO)
    back(row)
    put_together(part=new, **WHO)
    part.refresh_from_db()
    assert part.pieces == 2
