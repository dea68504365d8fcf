"""The list of prices to confirm: what to phone for, and a better price noted right there."""

import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.engine.inputs import Break
from quotes.pricing.models import Draft
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.rates.models import ConsumablePrice, ServicePrice
from shop.rates.services import note_consumable_price, note_service_price
from shop.routes.models import Source, Step
from shop.routes.services import add_step, change_step
from tests.desk.test_editor import person
from tests.workshop import SINCE, WHO, frame, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return workshop()


@pytest.fixture
def bike(shop):
    """Enamel and plating are guessed, a seal told by phone; priced with the rates of today."""
    made = restoration()
    frame(made, shop)
    frame(made, shop, name="Stays", finish=shop.zinc, strength=300)
    pack = {"pack_size": Decimal(1), "pack_price": Decimal(40), "status": "guessed"}
    note_consumable_price(consumable=shop.paint, valid_from=SINCE, **pack, **WHO)
    breaks = [Break(Decimal(0), Decimal(8)), Break(Decimal(10), Decimal(6))]
    terms = {"service": shop.plate, "valid_from": SINCE, "handling_grade": shop.grade, "minimum": Decimal(50)}
    note_service_price(breaks=breaks, status="guessed", **terms, **WHO)
    buy(made)
    Draft.objects.create(restoration=made, priced_on=timezone.localdate())
    return made


@pytest.fixture
def desk(client):
    client.force_login(person(ROLE_DESK))
    return client


@pytest.fixture
def manager(client):
    client.force_login(person(ROLE_MANAGER))
    return client


def buy(bike: Any, name: str = "Seal", **more: Any) -> Step:
    given = {"buy_source": Source.REPRODUCTION, "buy_price_minor": 5000, "buy_status": "phoned"} | more
    return add_step(part=bike.parts.first(), origin=Step.Origin.BEFORE, buy=name, **given, **WHO)


def page(client: Any, bike: Any) -> Any:
    return client.get(reverse("desk:prices", args=[bike.uid]))


def boxes(form: Any, **typed: str) -> dict[str, str]:
    """A row's form as the page sends it, with what is typed into it."""
    shown = {name: form[name].value() for name in form.fields}
    seen = {f"seen-{name}": "" if value is None else str(value) for name, value in shown.items()}
    return seen | {name: "" if value is None else str(value) for name, value in shown.items()} | typed


def row(client: Any, bike: Any, name: str) -> Any:
    return next(item for item in page(client, bike).context["rows"] if name in item.price.name)


def note(client: Any, bike: Any, name: str, **typed: str) -> Any:
    item = row(client, bike, name)
    address = reverse(f"desk:note_{item.price.kind.value}", args=[bike.uid, item.price.key])
    return client.post(address, boxes(item.form, **typed))


# -- the list ----------------------------------------------------------------------------------------------------------


def test_it_says_how_many_and_how_much_rests_on_guesses_largest_first(desk, bike):
    """Plating 14 kg × 6 / 80 % = 105.00, enamel 4.80 / 0.9 / 75 % = 7.11; the seal was told by phone."""
    found = page(desk, bike)
    html = found.content.decode()
    assert "2 prices still to confirm" in html
    assert "2 guessed" in html
    assert "1 more was told by phone." in html
    assert "€112.11 of the price rests on guesses." in html
    names = [item.price.name for item in found.context["rows"]]
    assert names == ["Brook Platers: Zinc plate", "Enamel", "Seal"]
    assert [item.said.split(",")[0] for item in found.context["rows"]] == [
        "noted by ada",
        "noted by ada",
        "nobody named",
    ]


def test_the_desk_is_told_whom_to_ask_and_the_manager_may_note(client, bike):
    client.force_login(person(ROLE_DESK))
    assert "noted by the manager" in page(client, bike).content.decode()
    assert [item.price.kind.value for item in page(client, bike).context["rows"] if item.form] == ["purchase"]
    client.force_login(person(ROLE_MANAGER))
    assert "noted by the manager" not in page(client, bike).content.decode()
    assert all(item.form for item in page(client, bike).context["rows"])


def test_a_search_and_money_back_for_the_old_part_stand_in_the_row(desk, bike):
    since = timezone.localdate() - timedelta(days=70)
    buy(bike, "Horn", buy_source=Source.NEW_OLD_STOCK, buy_searching_since=since)
    buy(bike, "Dynamo", buy_source=Source.EXCHANGE, buy_core_minor=2500)
    html = page(desk, bike).content.decode()
    assert "searched for: 10 weeks so far." in html
    assert "€25.00 per piece back for the old part, not taken off the price" in html


def test_with_all_in_writing_the_way_to_issue_is_shown(desk, bike):
    Step.objects.exclude(buy="").update(buy_status="seen")
    Draft.objects.update(priced_on=timezone.localdate())
    for price in ConsumablePrice.objects.all():
        note_consumable_price(
            consumable=price.consumable, valid_from=SINCE, pack_size=Decimal(1), pack_price=Decimal(40), **WHO
        )
    bike.parts.filter(name="Stays").update(removed_at=timezone.now())
    html = page(desk, bike).content.decode()
    assert "Every price is seen in writing" in html
    assert reverse("desk:issue", args=[bike.uid]) in html


# -- noting ------------------------------------------------------------------------------------------------------------


def test_a_better_price_of_a_purchase_is_noted_with_who_said_so_today(desk, bike):
    answer = note(desk, bike, "Seal", buy_price="47,50", buy_status="seen", buy_said_by="Offer 12")
    assert answer.headers["Location"] == reverse("desk:prices", args=[bike.uid])
    step = Step.objects.exclude(buy="").get()
    assert (step.buy_price_minor, step.buy_status, step.buy_said_by) == (4750, "seen", "Offer 12")
    assert step.buy_said_on == timezone.localdate()
    assert "2 prices still to confirm" in page(desk, bike).content.decode()


def test_a_colleagues_price_is_asked_about_at_its_box_and_nothing_is_lost(desk, bike):
    item = row(desk, bike, "Seal")
    typed = boxes(item.form, buy_price="47.50", buy_said_by="Offer 12")
    change_step(step=Step.objects.exclude(buy="").get(), changes={"buy_price_minor": 5500}, **WHO)
    answer = desk.post(reverse("desk:note_purchase", args=[bike.uid, item.price.key]), typed)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Somebody else changed this to “€55.00” meanwhile. Which should stand?" in html
    assert 'value="47.50"' in html
    assert 'value="Offer 12"' in html
    assert re.search(rf'id="price-{item.price.key}".*?<details open>', html, re.DOTALL)
    assert Step.objects.exclude(buy="").get().buy_price_minor == 5500


@pytest.mark.parametrize(
    ("box", "text", "sentence"),
    [
        ("buy_price", "much", "Give a number in digits"),
        ("buy_price", "-1", "Give 0 or more."),
        ("buy_said_on", "2999-01-01", "This day is still to come."),
        ("buy_valid_until", "soon", "Enter the day as year-month-day"),
    ],
)
def test_what_is_wrong_is_said_at_its_box(desk, bike, box, text, sentence):
    answer = note(desk, bike, "Seal", **{box: text})
    assert answer.status_code == 422
    form = next(item.form for item in answer.context["rows"] if item.price.name == "Seal")
    assert sentence in form.errors[box][0]
    assert f'value="{text}"' in answer.content.decode()


def test_the_manager_notes_a_pack_and_a_vendors_rates_from_today_on(manager, bike):
    until = (timezone.localdate() + timedelta(days=90)).isoformat()
    said = {"status": "phoned", "said_by": "Mira", "valid_until": until}
    assert note(manager, bike, "Enamel", pack_price="44", **said).status_code == 302
    pack = ConsumablePrice.objects.order_by("-pk")[0]
    assert (pack.pack_price_minor, pack.status, pack.said_by) == (4400, "phoned", "Mira")
    assert pack.valid_from == timezone.localdate()
    assert note(manager, bike, "Zinc", rate_1="6,25", minimum="60", **said).status_code == 302
    price = ServicePrice.objects.order_by("-pk")[0]
    assert (price.minimum_minor, price.said_by) == (6000, "Mira")
    assert [item.rate_e4 for item in price.breaks.order_by("quantity")] == [80000, 62500]


def test_a_rate_noted_meanwhile_is_not_noted_over(manager, bike):
    item = row(manager, bike, "Enamel")
    typed = boxes(item.form, pack_price="44", status="seen")
    assert note(manager, bike, "Enamel", pack_price="50").status_code == 302
    answer = manager.post(reverse("desk:note_consumable", args=[bike.uid, item.price.key]), typed)
    assert answer.status_code == 422
    assert "Another price was noted meanwhile." in answer.content.decode()
    assert ConsumablePrice.objects.order_by("-pk")[0].pack_price_minor == 5000


def test_what_is_wrong_with_a_rate_is_said_at_its_box(manager, bike):
    answer = note(manager, bike, "Zinc", rate_0="8.00001", valid_until="2026-01-02")
    form = next(item.form for item in answer.context["rows"] if "Zinc" in item.price.name)
    assert "decimal places" in form.errors["rate_0"][0]
    answer = note(manager, bike, "Zinc", valid_until="2026-01-02")
    form = next(item.form for item in answer.context["rows"] if "Zinc" in item.price.name)
    assert "over before it begins" in form.errors["valid_until"][0]


def test_a_draft_priced_before_is_told_to_be_priced_with_the_rates_of_today(manager, bike):
    Draft.objects.update(priced_on=SINCE)
    assert note(manager, bike, "Enamel", pack_price="44").status_code == 302
    html = page(manager, bike).content.decode()
    assert "The rate book has newer prices than this draft" in html
    assert "a newer price is noted" in html
    assert row(manager, bike, "Enamel").form is None
    manager.post(reverse("desk:price_anew", args=[bike.uid]))
    assert "newer price" not in page(manager, bike).content.decode()


# -- several that stand ------------------------------------------------------------------------------------------------


def stand(client: Any, bike: Any, values: list[str], **typed: Any) -> Any:
    listed = [item.value for item in page(client, bike).context["rows"] if item.form]
    day = timezone.localdate().isoformat()
    said = {"stand-status": "phoned", "stand-said_by": "Mira", "stand-said_on": day, "stand-listed": listed}
    return client.post(reverse("desk:prices_as_they_are", args=[bike.uid]), said | {"stand-price": values} | typed)


def test_several_prices_are_confirmed_as_they_stand(desk, bike):
    other = buy(bike, "Bush", buy_status="guessed")
    values = [row(desk, bike, name).value for name in ("Seal", "Bush")]
    assert stand(desk, bike, values, **{"stand-status": "seen"}).status_code == 302
    other.refresh_from_db()
    assert (other.buy_status, other.buy_said_by, other.buy_price_minor) == ("seen", "Mira", 5000)
    assert "2 prices still to confirm" in page(desk, bike).content.decode()


def test_all_that_are_listed_can_be_confirmed_by_one_tick_and_by_the_manager_in_the_rate_book_too(manager, bike):
    assert stand(manager, bike, [], **{"stand-all": "on", "stand-status": "seen"}).status_code == 302
    assert "Every price is seen in writing" in page(manager, bike).content.decode()
    assert ServicePrice.objects.order_by("-pk")[0].breaks.count() == 2


def test_a_price_that_changed_meanwhile_is_not_confirmed_nor_any_other(desk, bike):
    buy(bike, "Bush", buy_status="guessed")
    values = [row(desk, bike, name).value for name in ("Seal", "Bush")]
    change_step(step=Step.objects.get(buy="Bush"), changes={"buy_price_minor": 1}, **WHO)
    answer = stand(desk, bike, values)
    assert answer.status_code == 422
    assert "One of them was changed meanwhile." in answer.content.decode()
    assert not Step.objects.filter(buy_said_by="Mira").exists()


def test_confirming_nothing_or_by_nobody_says_so(desk, bike):
    assert "Tick the prices that stand" in stand(desk, bike, []).content.decode()
    answer = stand(desk, bike, [row(desk, bike, "Seal").value], **{"stand-said_by": ""})
    assert answer.context["stand_form"].errors["said_by"] == ["Fill this in."]


def test_the_desk_cannot_confirm_what_is_the_managers(client, bike):
    client.force_login(person(ROLE_MANAGER))
    value = row(client, bike, "Enamel").value
    client.force_login(person(ROLE_DESK))
    assert stand(client, bike, [value]).status_code == 422
    assert not ConsumablePrice.objects.filter(said_by="Mira").exists()


def test_a_price_told_by_phone_goes_to_its_own_group_counts_no_more_and_is_marked_once(desk, bike):
    buy(bike, "Bush", buy_status="guessed", buy_price_minor=90_000)
    before = page(desk, bike)
    assert "3 prices still to confirm" in before.content.decode()
    assert before.context["rows"][0].price.name == "Bush"
    assert stand(desk, bike, [row(desk, bike, "Bush").value]).status_code == 302
    after = page(desk, bike)
    html = after.content.decode()
    assert "2 prices still to confirm" in html
    assert "1 price is confirmed, told by phone: Bush." in html
    assert html.index("Guessed, or out of date") < html.index("Told by phone</h2>") < html.index("confirmed just now")
    assert [(item.price.name, item.just) for item in after.context["rows"]][2:] == [("Bush", True), ("Seal", False)]
    assert "confirmed just now" not in page(desk, bike).content.decode()


def test_all_by_phone_leaves_what_another_person_told_as_it_is(desk, bike):
    Step.objects.filter(buy="Seal").update(buy_said_by="Noor")
    buy(bike, "Bush", buy_status="guessed")
    assert stand(desk, bike, [], **{"stand-all": "on"}).status_code == 302
    assert dict(Step.objects.exclude(buy="").values_list("buy", "buy_said_by")) == {"Seal": "Noor", "Bush": "Mira"}
    assert stand(desk, bike, [], **{"stand-all": "on"}).status_code == 422
    assert stand(desk, bike, [], **{"stand-all": "on", "stand-status": "seen"}).status_code == 302
    assert not Step.objects.exclude(buy="").exclude(buy_said_by="Mira").exists()


def test_the_issue_page_the_sum_and_the_list_count_the_same_guesses(manager, bike, shop):
    frame(bike, shop, name="Rack", finish=shop.zinc, strength=300)
    for name in ("issue", "restoration"):
        html = manager.get(reverse(f"desk:{name}", args=[bike.uid])).content.decode()
        assert html.count("2 prices are only guessed") == 1
    assert page(manager, bike).context["counts"].guessed == 2


def test_what_was_seen_is_kept_out_of_sight_and_the_forms_are_within_reach(manager, bike):
    html = page(manager, bike).content.decode()
    assert re.search(r'<input type="hidden" name="seen" value="\d+"', html)
    assert not re.search(r'<input type="text" name="seen"', html)
    assert '<summary class="button">Note a better price' in html
    assert html.index('href="#as-they-are"') < html.index('id="as-they-are"')


def test_a_wrong_answer_opens_at_the_box_that_is_wrong(desk, bike):
    def at(answer: Any) -> list[str]:
        tags = re.findall(r"<(?:input|select)[^>]*\bautofocus[^>]*>", answer.content.decode())
        return [re.search(r'name="([^"]+)"', tag)[1] for tag in tags]

    assert at(page(desk, bike)) == []
    assert at(stand(desk, bike, [])) == ["stand-all"]
    assert at(stand(desk, bike, [row(desk, bike, "Seal").value], **{"stand-said_by": ""})) == ["stand-said_by"]
    assert at(note(desk, bike, "Seal", buy_valid_until="soon")) == ["buy_valid_until"]


def test_days_are_written_as_everywhere(desk, bike):
    Step.objects.filter(buy="Seal").update(buy_said_on=SINCE, buy_said_by="Noor")
    assert row(desk, bike, "Seal").said == "Noor, 1 Jan 2026"


# -- who and how much --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("role", "status"), [(ROLE_DESK, 200), (ROLE_MANAGER, 200), (ROLE_MECHANIC, 403)])
def test_only_desk_and_manager_see_it(client, bike, role, status):
    client.force_login(person(role))
    assert page(client, bike).status_code == status


@pytest.mark.parametrize("kind", ["service", "consumable"])
def test_the_rate_book_is_noted_by_the_manager_only(client, bike, kind):
    client.force_login(person(ROLE_MANAGER))
    key = next(item.price.key for item in page(client, bike).context["rows"] if item.price.kind == kind)
    client.force_login(person(ROLE_DESK))
    assert client.post(reverse(f"desk:note_{kind}", args=[bike.uid, key])).status_code == 403


def test_a_stranger_is_sent_to_the_door(client, bike):
    assert "/sign-in/" in page(client, bike).headers["Location"]


def test_a_step_of_another_bike_is_not_noted_here(desk, bike, shop):
    other = restoration("Another")
    frame(other, shop)
    step = buy(other)
    assert desk.post(reverse("desk:note_purchase", args=[bike.uid, step.uid]), {}).status_code == 404


def test_the_page_asks_as_much_for_few_prices_as_for_many_and_stays_small(manager, bike):
    def ask() -> Any:
        with CaptureQueriesContext(connection) as caught:
            found = page(manager, bike)
        return len(caught), len(found.content)

    few, _size = ask()
    part = bike.parts.first()
    Step.objects.bulk_create(
        Step(part=part, position=90_000 + n, origin="after", buy=f"Seal {n}", buy_source="used", buy_price_minor=n)
        for n in range(120)
    )
    many, size = ask()
    assert many == few
    assert size < 150_000
    assert "Page 1 of 5" in page(manager, bike).content.decode()
