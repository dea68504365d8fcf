"""The rate book's pages: what holds is read by the desk and noted by the manager, and looking changes nothing."""

import re
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.desk import example
from quotes.desk.rates import kinds, looking
from quotes.desk.rates.kinds import Kind
from quotes.pricing.models import Draft
from quotes.pricing.services import price_anew
from quotes.pricing.stages import offered
from shop.journal.models import Entry
from shop.methods.models import Operation
from shop.people.models import Grade
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PricePolicy, ServicePrice, TaxRate
from tests import workshop
from tests.desk.conftest import signed_in
from tests.rates import things

ROLES = ("desk", "mechanic", "manager")


@pytest.fixture
def shop(db: None) -> workshop.Workshop:
    return workshop.workshop()


@pytest.fixture
def bike(shop: workshop.Workshop) -> Draft:
    of = workshop.restoration()
    workshop.frame(of, shop)
    return workshop.draft(of)


def address(kind: Kind, subject: Any) -> str:
    return reverse("desk:rate", args=[kind.slug, kind.key(subject)])


def begun(client: Client, where: str) -> dict[str, str]:
    """What the boxes of a page begin with, as a browser sends it."""
    form = client.get(where).context["form"]
    return {box.html_name: "" if box.value() is None else str(box.value()) for box in form}


def look(client: Client, where: str, **typed: str) -> Any:
    return client.post(where, begun(client, where) | typed | {"do": "look"})


def note(client: Client, where: str, **typed: str) -> Any:
    """Look, then note, as a person does."""
    looked = look(client, where, **typed)
    assert looked.status_code == 200, looked.context["form"].errors
    return client.post(where, begun(client, where) | typed | {"do": "note", "looked": looked.context["looked"]})


def first(kind: Kind) -> Any:
    return next(iter(kind.subjects()))


def errors(answer: Any) -> dict[str, list[str]]:
    return {name: [str(text) for text in said] for name, said in answer.context["form"].errors.items()}


# -- who may -------------------------------------------------------------------------------------------------------------


def test_the_desk_reads_and_only_the_manager_notes(
    shop: workshop.Workshop, front_desk: Client, mechanic: Client
) -> None:
    for kind in (made() for made in kinds.ALL):
        where = address(kind, first(kind))
        assert front_desk.get(where).status_code == 200
        assert b'name="do"' not in front_desk.get(where).content
        assert front_desk.post(where, {"do": "look"}).status_code == 403
        assert mechanic.get(where).status_code == mechanic.post(where).status_code == 403
    assert front_desk.get(reverse("desk:rates")).status_code == 200
    assert mechanic.get(reverse("desk:rates")).status_code == 403
    assert front_desk.get(reverse("desk:rates_export", args=["csv"])).status_code == 200
    for name in ("rates_import",):
        assert front_desk.get(reverse(f"desk:{name}")).status_code == 403


def test_one_draft_worked_out_is_for_the_manager(shop: workshop.Workshop, bike: Draft, front_desk: Client) -> None:
    where = reverse("desk:rate_effect", args=["labour", shop.grade.uid, bike.restoration.uid])
    assert front_desk.post(where).status_code == 403


@pytest.mark.parametrize("where", ["/rates/nothing/x/", "/rates/labour/x/", "/rates/pricing/x/", "/rates/taxes/x/"])
def test_what_has_no_rate_is_not_found(manager: Client, where: str) -> None:
    assert manager.get(where).status_code == 404


# -- noting through the page ---------------------------------------------------------------------------------------------


def test_a_labour_rate_is_noted_from_a_day_on(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Labour(), shop.grade)
    assert begun(manager, where)["charge_rate"] == "60"
    assert note(manager, where, charge_rate="66,50").status_code == 302
    row = GradeRate.objects.latest("pk")
    assert (row.valid_from, row.charge_rate_minor, row.cost_rate_minor) == (timezone.localdate(), 6650, 3000)
    assert row.noted_by == "eve"
    assert Entry.objects.latest("pk").what == "labour rate noted"
    page = manager.get(where).content.decode()
    assert "€66.50" in page
    assert "holds today" in page


def test_a_price_is_noted_with_who_said_so(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Consumables(), shop.paint)
    until = timezone.localdate() + timedelta(days=30)
    told = {"pack_price": "44", "status": "phoned", "said_by": "Mrs Fell", "valid_until": until.isoformat()}
    assert note(manager, where, **told).status_code == 302
    row = ConsumablePrice.objects.latest("pk")
    assert (row.status, row.said_by, row.valid_until) == ("phoned", "Mrs Fell", until)
    assert "Mrs Fell" in manager.get(reverse("desk:rates")).content.decode()
    assert begun(manager, where)["said_by"] == ""  # who said the next one is asked anew


def test_a_table_of_breaks_takes_another_row_and_lets_one_go(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.VendorWork(), shop.plate)
    assert [begun(manager, where)[f"rate-{n}"] for n in range(4)] == ["8", "6", "", ""]
    note(manager, where, **{"quantity-2": "50", "rate-2": "5.1234"})
    price = ServicePrice.objects.latest("pk")
    assert list(price.breaks.values_list("quantity", "rate_e4")) == [(0, 80000), (10, 60000), (50, 51234)]
    note(manager, where, **{"quantity-1": "", "rate-1": ""})
    price = ServicePrice.objects.latest("pk")
    assert list(price.breaks.values_list("quantity", "rate_e4")) == [(0, 80000), (50, 51234)]


def test_payment_stages_keep_their_event_and_days(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Policy(), "")
    stages = {"percent-1": "50", "percent-2": "20", "name-2": "Rest", "due-2": "a week after", "event-2": "ready"}
    note(manager, where, storage="4.50", quiet_days="7", **stages, **{"days-2": "7"})
    policy = PricePolicy.objects.latest("pk")
    assert (policy.storage_minor, policy.quiet_days) == (450, 7)
    found = list(policy.stages.values_list("name", "percent", "event", "days"))
    assert found == [("Deposit", 30, "accepted", 0), ("Balance", 50, "accepted", 0), ("Rest", 20, "ready", 7)]


def test_chances_and_taxes_and_times_are_noted_too(shop: workshop.Workshop, manager: Client) -> None:
    note(manager, address(kinds.Chances(), ""), kept="90", inspect_fee="500", credit_days="30")
    odds = Odds.objects.latest("pk")
    assert (odds.kept, odds.inspect_fee_minor, odds.credit_days) == (90, 50000, 30)
    note(manager, address(kinds.Taxes(), "standard"), percent="21.5")
    tax = TaxRate.objects.latest("pk")
    assert (tax.code, tax.name, tax.percent) == ("standard", "VAT", Decimal("21.5"))
    note(manager, address(kinds.Times(), shop.blast), run="0.45", allowance="12")
    time = shop.blast.times.latest("pk")
    assert (time.setup, time.run, time.allowance) == (12, Decimal("0.45"), 12)


@pytest.mark.parametrize(
    ("kind", "typed", "box", "sentence"),
    [
        (kinds.Labour, {"cost_rate": "-1"}, "cost_rate", "An amount of money cannot be negative. Give 0 or more."),
        (kinds.Labour, {"charge_rate": "60.005"}, "charge_rate", "decimal places"),
        (kinds.Labour, {"pace": "0"}, "pace", "0.001"),
        (kinds.Labour, {"valid_from": "soon"}, "valid_from", "valid date"),
        (kinds.Labour, {"cost_rate": ""}, "cost_rate", "Fill this in."),
        (kinds.Consumables, {"pack_price": "-1"}, "pack_price", "cannot be negative"),
        (kinds.Consumables, {"pack_size": "0"}, "pack_size", "0.001"),
        (kinds.Consumables, {"valid_until": "2001-01-01"}, "valid_until", "over before it begins"),
        (kinds.VendorWork, {"minimum": "85.001"}, "minimum", "decimal places"),
        (kinds.VendorWork, {"trip_share": "-1"}, "trip_share", "greater than or equal to 0"),
        (kinds.VendorWork, {"quantity-1": "0"}, "quantity-0", "out of order"),
        (kinds.VendorWork, {"rate-1": "6.12345"}, "quantity-0", "more than four decimal places"),
        (kinds.VendorWork, {"quantity-0": "1"}, "quantity-0", "The first price break must begin at 0."),
        (kinds.VendorWork, {"rate-1": ""}, "rate-1", "Fill this in."),
        (kinds.VendorWork, {"rate-1": "six"}, "rate-1", "Give a number in digits"),
        (kinds.Taxes, {"percent": "-1"}, "percent", "greater than or equal to 0"),
        (kinds.Policy, {"percent-0": "20"}, "percent-0", "add up to 90 %. Make them add up to 100 %."),
        (kinds.Policy, {"labour_margin": "100"}, "labour_margin", "less than or equal to 99.999"),
        (kinds.Policy, {"storage": "4.505"}, "storage", "decimal places"),
        (kinds.Policy, {"quiet_days": "0"}, "quiet_days", "greater than or equal to 1"),
        (kinds.Chances, {"common": "1"}, "sometimes", "Give them in order"),
        (kinds.Chances, {"none": "2"}, "none", "No list is complete"),
        (kinds.Chances, {"noticed": "101"}, "noticed", "Give a chance from 0 to 100 %."),
        (kinds.Times, {"run": "-1"}, "run", "greater than or equal to 0"),
        (kinds.Times, {"setup": "1.2345"}, "setup", "3 decimal places"),
    ],
)
def test_what_cannot_be_is_refused_at_its_box_and_stays_typed(
    shop: workshop.Workshop, manager: Client, kind: type[Kind], typed: dict[str, str], box: str, sentence: str
) -> None:
    where = address(kind(), first(kind()))
    before = (kind.model.objects.count(), Entry.objects.count())
    answer = look(manager, where, **typed)
    assert answer.status_code == 422
    assert list(errors(answer)) == [box]
    assert sentence in errors(answer)[box][0]
    form = answer.context["form"]
    assert {name: form[name].value() for name in typed} == typed
    assert (kind.model.objects.count(), Entry.objects.count()) == before
    noted = manager.post(where, begun(manager, where) | typed | {"do": "note", "looked": "x"})
    assert noted.status_code == 422
    assert (kind.model.objects.count(), Entry.objects.count()) == before


def test_more_rows_say_nothing_about_what_is_not_finished(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.VendorWork(), shop.plate)
    answer = manager.post(where, begun(manager, where) | {"rate-1": "", "minimum": "oops", "do": "rows"})
    form = answer.context["form"]
    assert answer.status_code == 200
    assert not form.errors
    assert (form.count, form["minimum"].value(), form["quantity-1"].value()) == (7, "oops", "10")


# -- look before it is made ----------------------------------------------------------------------------------------------


def test_noting_asks_to_look_first_and_again_when_something_changed(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Labour(), shop.grade)
    looked = look(manager, where, charge_rate="70").context["looked"]
    typed = begun(manager, where)
    other = manager.post(where, typed | {"charge_rate": "71", "do": "note", "looked": looked})
    assert other.status_code == 200
    assert "has changed since you looked" in other.content.decode()
    things_noted = GradeRate.objects.count()
    note(signed_in("ann", "manager"), where, charge_rate="80")  # a colleague is first
    meanwhile = manager.post(where, typed | {"charge_rate": "70", "do": "note", "looked": looked})
    assert "has changed since you looked" in meanwhile.content.decode()
    assert GradeRate.objects.count() == things_noted + 1


def test_looking_writes_nothing(shop: workshop.Workshop, bike: Draft, manager: Client) -> None:
    where = address(kinds.VendorWork(), shop.plate)
    typed = begun(manager, where)
    with CaptureQueriesContext(
        connection,
    ) as told:
        manager.post(where, typed | {"minimum": "99", "do": "look"})
    said = [query["sql"].split(" ", 1)[0].upper() for query in told]
    assert not {"INSERT", "UPDATE", "DELETE"} & set(said)
    page = manager.get(reverse("desk:rates")).content.decode().split('id="kind-vendor-work"')[1]
    assert "€99" not in page
    assert "€50" in page, "the minimum that stands"


def test_an_open_draft_shows_what_it_comes_to_now_and_priced_anew(
    shop: workshop.Workshop, bike: Draft, manager: Client
) -> None:
    answer = look(manager, address(kinds.Labour(), shop.grade), cost_rate="36")
    ((draft, found),) = answer.context["effects"]
    assert draft == bike
    assert found.stands == found.stands_with  # the draft is priced on an earlier day: it keeps it
    assert not found.moves
    assert found.more > 0
    page = answer.content.decode()
    assert "Priced anew" in page
    assert "changes at once" not in page
    assert "they stay as they are until somebody prices them anew" in page
    assert found.stands.total == offered(bike).found.explained.result.total  # type: ignore[union-attr]


def test_a_change_that_reaches_back_says_that_it_moves_the_draft_at_once(
    shop: workshop.Workshop, bike: Draft, manager: Client
) -> None:
    where = address(kinds.Labour(), shop.grade)
    answer = look(manager, where, cost_rate="36", valid_from=bike.priced_on.isoformat())
    ((_draft, found),) = answer.context["effects"]
    assert found.moves
    assert "changes at once" in answer.content.decode()
    assert "they follow as soon as it is noted" in answer.content.decode()
    assert "stay as they are" not in answer.content.decode()
    note(manager, where, cost_rate="36", valid_from=bike.priced_on.isoformat())
    assert offered(bike).found.explained.result.total == found.stands_with.total  # type: ignore[union-attr]


def test_what_it_reaches_is_counted_by_the_day_of_each_draft(shop: workshop.Workshop, bike: Draft) -> None:
    day, one = bike.priced_on, timedelta(days=1)
    assert looking.reach(day, later=None) == looking.Reach(1, 0)
    assert looking.reach(day + one, later=None) == looking.Reach(0, 1)
    assert looking.reach(day - one, later=day) == looking.Reach(0, 1)  # another revision holds on the draft's day
    assert looking.reach(day - one, later=day + one) == looking.Reach(1, 0)


@pytest.mark.parametrize(
    ("back", "said"), [(True, "so they have it at once"), (False, "keep what they say until somebody prices them anew")]
)
def test_once_noted_it_says_what_that_did(
    shop: workshop.Workshop, bike: Draft, manager: Client, *, back: bool, said: str
) -> None:
    where = address(kinds.Labour(), shop.grade)
    note(manager, where, cost_rate="36", **({"valid_from": bike.priced_on.isoformat()} if back else {}))
    assert said in manager.get(where).content.decode()


# -- what does nothing now ----------------------------------------------------------------------------------------------


def hint(client: Client, kind: Kind, subject: Any, box: str) -> str:
    return str(client.get(address(kind, subject)).context["form"][box].help_text)


def sell_by(client: Client, price_by: str) -> None:
    note(client, address(kinds.Policy(), ""), price_by=price_by)


def test_a_charge_out_rate_says_when_it_does_nothing_and_where_that_is_chosen(
    shop: workshop.Workshop, bike: Draft, manager: Client, front_desk: Client
) -> None:
    sell_by(manager, "margin")
    told = hint(manager, kinds.Labour(), shop.grade, "charge_rate")
    assert "Not used now: labour is sold by cost and margin." in told
    assert reverse("desk:rate", args=["pricing", "shop"]) in told
    assert (
        "charge-out rates of the labour grades are not used" in front_desk.get(reverse("desk:rates")).content.decode()
    )
    assert "Not used" not in hint(manager, kinds.Policy(), "", "labour_margin")
    answer = look(manager, address(kinds.Labour(), shop.grade), charge_rate="99")
    assert answer.context["why_nothing"].endswith("not used while labour is sold by cost and margin.")
    ((_draft, found),) = answer.context["effects"]
    assert found.more == 0
    assert (
        look(manager, address(kinds.Labour(), shop.grade), charge_rate="99", cost_rate="36").context["why_nothing"]
        == ""
    )


def test_the_margin_on_labour_says_when_it_does_nothing(shop: workshop.Workshop, bike: Draft, manager: Client) -> None:
    sell_by(manager, "charge_out")
    for box in ("labour_margin", "overhead_margin"):
        assert "Not used now: labour is sold by charge-out rates." in hint(manager, kinds.Policy(), "", box)
    assert "Not used" not in hint(manager, kinds.Labour(), shop.grade, "charge_rate")
    policy = address(kinds.Policy(), "")
    answer = look(manager, policy, labour_margin="55", overhead_margin="56")
    assert "labour is sold by charge-out rates" in answer.context["why_nothing"]
    assert [found.more for _draft, found in answer.context["effects"]] == [0]
    answer = look(manager, address(kinds.Labour(), shop.grade), charge_rate="99")
    assert answer.context["why_nothing"] == ""
    assert [found.more > 0 for _draft, found in answer.context["effects"]] == [True]


def test_overhead_goes_by_one_of_two_figures(shop: workshop.Workshop, bike: Draft, manager: Client) -> None:
    where = address(kinds.Policy(), "")
    for by, idle in (("hours", "overhead_percent"), ("labour", "overhead_rate")):
        note(manager, where, overhead_by=by)
        assert "Not used now: overhead goes by" in hint(manager, kinds.Policy(), "", idle)
        assert [found.more for _draft, found in look(manager, where, **{idle: "77"}).context["effects"]] == [0]


def test_nothing_typed_changes_nothing_and_that_is_said(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Labour(), shop.grade)
    assert "You changed no figure" in look(manager, where).context["why_nothing"]
    later = timezone.localdate() + timedelta(days=9)
    note(manager, where, cost_rate="41", valid_from=later.isoformat())
    # On that day something else would hold, so the same figures as today's do change it.
    assert look(manager, where, valid_from=later.isoformat()).context["why_nothing"] == ""


def test_the_fee_is_found_where_one_prices_and_where_it_is_asked_for(
    shop: workshop.Workshop, bike: Draft, manager: Client, front_desk: Client
) -> None:
    note(manager, address(kinds.Chances(), ""), inspect_fee="640", credit_days="45")
    where = reverse("desk:rate", args=["chances", "shop"]) + "#id_inspect_fee"
    pricing = manager.get(reverse("desk:rates")).content.decode().split('id="kind-pricing"')[1].split("</section>")[0]
    assert where in pricing
    assert "€640.00" in pricing
    assert "45" in pricing
    Draft.objects.filter(pk=bike.pk).update(stage="inspect")
    issue = reverse("desk:issue", args=[bike.restoration.uid])
    assert where in manager.get(issue).content.decode()
    assert where not in front_desk.get(issue).content.decode()


def test_what_is_wrong_in_a_folded_box_is_unfolded(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Times(), shop.blast)
    assert not any(group.is_open for group in manager.get(where).context["form"].grouped)
    page = look(manager, where, shop_factor="0").content.decode()
    assert '<details class="seldom" open>' in page


def test_every_box_with_a_word_of_its_own_says_what_it_means(shop: workshop.Workshop, manager: Client) -> None:
    for kind, boxes in (
        (kinds.Times, ("shop_factor", "spread", "allowance")),
        (kinds.Labour, ("pace",)),
        (kinds.Policy, ("labour_margin", "floor", "comebacks_percent", "handling_percent", "mixed_percent")),
    ):
        assert all(hint(manager, kind(), first(kind()), box) for box in boxes)


def test_a_draft_that_cannot_be_priced_says_why(shop: workshop.Workshop, bike: Draft, manager: Client) -> None:
    Draft.objects.filter(pk=bike.pk).update(stage="inspect")
    answer = look(manager, address(kinds.Labour(), shop.grade), cost_rate="36")
    assert "There is no fee for strip and inspect in the rate book." in answer.content.decode()


def test_many_drafts_are_listed_at_once_and_worked_out_one_by_one(
    shop: workshop.Workshop, bike: Draft, manager: Client
) -> None:
    for number in range(6):
        of = workshop.restoration(f"Bike {number}")
        workshop.frame(of, shop)
        workshop.draft(of)
    where = address(kinds.Labour(), shop.grade)
    answer = look(manager, where, cost_rate="36")
    worked = [found is not None for _draft, found in answer.context["effects"]]
    assert worked == [True] * 4 + [False] * 3
    page = answer.content.decode()
    assert page.count('hx-trigger="load"') == 3
    draft = answer.context["effects"][-1][0]
    row = manager.post(
        reverse("desk:rate_effect", args=["labour", shop.grade.uid, draft.restoration.uid]),
        begun(manager, where) | {"cost_rate": "36"},
    )
    assert row.context["found"].more > 0
    assert "hx-trigger" not in row.content.decode()
    plain = manager.post(where, begun(manager, where) | {"cost_rate": "36", "do": "look-10"})  # without scripting
    assert all(found for _draft, found in plain.context["effects"])


def test_what_is_accepted_is_no_open_draft(shop: workshop.Workshop, bike: Draft) -> None:
    from tests.desk import rows

    assert list(looking.open_drafts()) == [bike]
    accepted = rows.quote(bike.restoration, until=rows.day(30), outcome="accepted")
    assert list(looking.open_drafts()) == []
    type(bike.restoration).objects.filter(pk=bike.restoration.pk).update(scope_version=accepted.scope_version + 1)
    assert list(looking.open_drafts()) == [bike]  # something is different since, so a variation may come


# -- looking is right: the demo workshop ---------------------------------------------------------------------------------

CHANGES: list[tuple[type[Kind], str, dict[str, str]]] = [
    (kinds.Labour, "Mechanic", {"cost_rate": "31.37", "pace": "1.1"}),
    (kinds.Consumables, "Colour, two-pack", {"pack_price": "161.3", "status": "guessed"}),
    (kinds.VendorWork, "Zinc plating, clear", {"rate-0": "11.2345", "lot_charge": "44"}),
    (kinds.Taxes, "Standard rate", {"percent": "23"}),
    (kinds.Policy, "How we price", {"labour_margin": "31", "overhead_rate": "29.99", "mixed_percent": "0"}),
    (
        kinds.Chances,
        "Fee for strip and inspect, chances and spreads",
        {"kept": "95", "guessed": "40", "sometimes": "30", "common": "60"},
    ),
    (kinds.Times, "Blast", {"setup": "21", "run": "1.9"}),
]


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: Any) -> Iterator[Client]:
    with django_db_blocker.unblock(), transaction.atomic():
        now = timezone.now()
        example.load(today=timezone.localdate(now), now=now)
        yield signed_in("eve", "manager")
        transaction.set_rollback(True)


@pytest.mark.parametrize(("kind", "name", "typed"), CHANGES, ids=lambda value: getattr(value, "slug", None))
def test_what_it_would_do_is_what_it_does(
    demo: Client, django_db_blocker: Any, kind: Any, name: str, typed: Any
) -> None:
    with django_db_blocker.unblock(), transaction.atomic():
        subject = next(subject for subject in kind().subjects() if kind().name(subject) == name)
        where = address(kind(), subject)
        told = look(demo, where, **typed)
        effects = {draft.pk: found for draft, found in told.context["effects"]}
        assert len(effects) >= 4
        assert any(found.more for found in effects.values())
        assert note(demo, where, **typed).status_code == 302
        for draft in looking.open_drafts():
            price_anew(draft=draft, today=timezone.localdate(), who="eve", now=timezone.now())
            explained = offered(draft).found.explained
            assert explained is not None
            assert explained.result.total == effects[draft.pk].anew_with.total
        transaction.set_rollback(True)


def test_looking_again_at_what_holds_changes_nothing(demo: Client, django_db_blocker: Any) -> None:
    with django_db_blocker.unblock():
        for kind in (made() for made in kinds.ALL):
            found = look(demo, address(kind, first(kind))).context["effects"]
            assert {effect.more for _draft, effect in found} == {0}


# -- the list ------------------------------------------------------------------------------------------------------------


def test_the_book_says_what_holds_how_sure_and_what_comes(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Labour(), shop.grade)
    later = timezone.localdate() + timedelta(days=40)
    note(manager, where, charge_rate="82", valid_from=later.isoformat())
    page = manager.get(reverse("desk:rates")).content.decode()
    labour = page.split("kind-labour")[2].split("</section>")[0]
    assert "€60.00" in labour
    assert "€82.00" in labour
    assert f"since {workshop.SINCE:%-d %b %Y}" in labour
    assert "seen in writing" in page.split("kind-consumables")[2]
    Grade.objects.create(name="Helper")
    assert "no price yet" in manager.get(reverse("desk:rates")).content.decode()


def test_a_price_that_is_no_longer_promised_says_so(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Consumables(), shop.paint)
    yesterday = timezone.localdate() - timedelta(days=1)
    note(manager, where, valid_from="2026-01-02", valid_until=yesterday.isoformat(), pack_price="41")
    assert "no longer promised: ask again" in manager.get(reverse("desk:rates")).content.decode()


def test_the_history_marks_what_holds_and_draws_what_it_cost(shop: workshop.Workshop, manager: Client) -> None:
    where = address(kinds.Labour(), shop.grade)
    assert "<svg" not in manager.get(where).content.decode().split('id="history"')[1]
    note(manager, where, charge_rate="65")
    note(manager, where, charge_rate="66")
    answer = manager.get(where)
    history = answer.context["history"]
    assert [noted.holds for noted in history] == [True, False, False]
    assert [noted.replaced for noted in history] == [False, True, False]
    words = re.findall(r"<desc>([^<]+)</desc>", answer.content.decode())
    assert any("€66.00" in told and "€65.00" not in told for told in words)  # what held that day, not what was replaced


@pytest.mark.parametrize("name", ["rates", "methods"])
def test_a_list_asks_as_much_for_many_as_for_one(shop: workshop.Workshop, manager: Client, name: str) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as told:
            assert manager.get(reverse(f"desk:{name}")).status_code == 200
        return len(told)

    asked()
    few = asked()
    for number in range(4):
        grade = things.grade(f"Grade {number}")
        rate: dict[str, Any] = {"cost_rate": Decimal(20), "charge_rate": Decimal(60), "valid_from": workshop.SINCE}
        from shop.rates import services

        services.note_grade_rate(grade=grade, **rate, **workshop.WHO)
        things.operation(f"Operation {number}", grade=grade, place=things.place(f"Place {number}"))
        service = things.service(f"Service {number}", f"Vendor {number}")
        services.note_service_price(
            service=service,
            valid_from=workshop.SINCE,
            breaks=[kinds.forms.Break(Decimal(0), Decimal(3))],
            handling_grade=grade,
            **workshop.WHO,
        )
        consumable = things.consumable(f"Stuff {number}")
        services.note_consumable_price(
            consumable=consumable,
            valid_from=workshop.SINCE,
            pack_size=Decimal(1),
            pack_price=Decimal(2),
            **workshop.WHO,
        )
    assert asked() == few
    assert Operation.objects.count() == 8
