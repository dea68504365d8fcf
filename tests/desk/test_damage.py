"""Possible damage on the desk: listed, added, changed box by box, settled. Figures are invented."""

import html
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.formats import date_format

from quotes.desk.agreeing import not_agreed
from quotes.pricing.models import Draft, IssuedQuote
from quotes.pricing.selectors import priced
from quotes.pricing.services import change_draft, issue, record_outcome
from shop.methods.models import DamageStep, PartKind, PossibleDamage
from shop.restorations.damage import add_by_hand, add_usual, change_damage
from shop.restorations.models import Part, PartDamage
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step, remove_step
from tests import workshop as made
from tests.workshop import TODAY, WHO, Workshop

pytestmark = pytest.mark.django_db
D = Decimal
TYPED = {
    "name": "Bent rim",
    "frequency": "sometimes",
    "low_minor": "40",
    "likely_minor": "62,50",
    "high_minor": "90",
    "cost_class": "vendor",
    "treatment": "provisional",
}


@pytest.fixture
def shop(db: None) -> Workshop:
    return made.workshop()


@pytest.fixture
def part(shop: Workshop) -> Part:
    kind = PartKind.objects.create(name="Frame")
    costs = {"low_minor": 5_000, "likely_minor": 9_000, "high_minor": 20_000}
    usual = PossibleDamage.objects.create(kind=kind, name="Cracked lug", frequency="rare", **costs)
    DamageStep.objects.create(damage=usual, position=1, operation=shop.fit, quantity=D(3))
    row = made.frame(made.restoration(), shop, kind=kind)
    made.draft(row.restoration)
    return row


def text_of(answer: Any) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def field_errors(answer: Any, name: str) -> list[str]:
    """What stands at the box ``name``."""
    found = re.search(rf'id="[^"]*{name}_error">(.*?)</ul>', answer.content.decode(), re.S)
    return re.findall(r"<li>(.*?)</li>", found[1]) if found else []


def test_the_part_shows_its_possible_damage_in_words_with_three_amounts_and_who_carries_it(
    front_desk: Client, part: Part
) -> None:
    add_usual(part=part, treatment=PartDamage.Treatment.EXCLUDED, **WHO)
    told = text_of(front_desk.get(f"/parts/{part.uid}/", headers={"hx-request": "true"}))
    assert (
        "Cracked lug , rare: €50.00 to €200.00, mostly €90.00 excluded: not part of this offer, quoted by itself if found"
        in told
    )


def test_the_part_says_how_many_more_are_usual_for_its_kind(front_desk: Client, part: Part) -> None:
    assert "1 more is usual for “Frame”" in text_of(front_desk.get(f"/parts/{part.uid}/"))


def test_the_usual_ones_are_added_in_one_go(front_desk: Client, part: Part) -> None:
    answer = front_desk.post(f"/parts/{part.uid}/damages/usual/", {"treatment": "provisional"}, follow=True)
    assert "1 usual damage is added." in text_of(answer)
    assert PartDamage.objects.get().treatment == "provisional"
    again = front_desk.post(f"/parts/{part.uid}/damages/usual/", {"treatment": "ours"}, follow=True)
    assert "on the list already" in text_of(again)


def test_one_by_hand_is_typed_as_people_write_money(front_desk: Client, part: Part) -> None:
    answer = front_desk.post(f"/parts/{part.uid}/damages/", TYPED, follow=True)
    assert "“Bent rim” is on the list." in text_of(answer)
    row = PartDamage.objects.get()
    assert (row.low_minor, row.likely_minor, row.high_minor) == (4_000, 6_250, 9_000)
    assert (row.cost_class, row.treatment, row.frequency) == ("vendor", "provisional", "sometimes")


WRONG = [
    ("name", "", "Fill this in."),
    ("frequency", "often", "Choose one from the list."),
    ("low_minor", "-1", "Give 0 or more."),
    ("low_minor", "ten", "Give a number in digits, such as 12.5."),
    ("likely_minor", "10", "“Most likely” is less than “at least”. Give the three costs in order."),
    ("high_minor", "50", "“At most” is less than “most likely”. Give the three costs in order."),
    ("high_minor", "90.123", "Give 2 decimal places at most."),
]


@pytest.mark.parametrize(("field", "typed", "said"), WRONG)
def test_a_slip_is_said_at_its_box_what_was_typed_stays_and_nothing_is_saved(
    front_desk: Client, part: Part, field: str, typed: str, said: str
) -> None:
    answer = front_desk.post(f"/parts/{part.uid}/damages/", TYPED | {field: typed})
    assert answer.status_code == 422
    assert field_errors(answer, field) == [said]
    assert 'value="Bent rim"' in answer.content.decode() or field == "name"
    assert not PartDamage.objects.exists()


@pytest.fixture
def row(part: Part) -> PartDamage:
    return add_usual(part=part, **WHO)[0]


def test_its_page_says_what_the_steps_of_the_library_cost_at_the_rates_of_the_draft(
    front_desk: Client, row: PartDamage
) -> None:
    told = text_of(front_desk.get(f"/damages/{row.uid}/"))
    # 3 × 15 minutes at 30 an hour and 12 of overhead an hour.
    assert "Fit, 3 piece" in told
    assert "At the rates of this draft they cost €31.50." in told


def test_a_box_is_changed_alone_and_answered_with_the_new_price(front_desk: Client, row: PartDamage) -> None:
    sent = {"likely_minor": "120", "seen-likely_minor": "90", "name": "Cracked lug", "seen-name": "Cracked lug"}
    answer = front_desk.post(f"/damages/{row.uid}/", sent, headers={"hx-request": "true"})
    row.refresh_from_db()
    assert (row.likely_minor, row.name) == (12_000, "Cracked lug")
    shown = answer.content.decode()
    assert f'id="box-{row.uid}-likely_minor"' in shown
    assert 'value="120"' in shown
    assert 'id="total"' in shown


def test_costs_out_of_order_are_said_at_the_box_that_was_typed(front_desk: Client, row: PartDamage) -> None:
    sent = {"low_minor": "100", "seen-low_minor": "50"}
    answer = front_desk.post(f"/damages/{row.uid}/", sent)
    assert (answer.status_code, field_errors(answer, "low_minor")) == (
        422,
        ["“Most likely” is less than “at least”. Give the three costs in order."],
    )
    row.refresh_from_db()
    assert row.low_minor == 5_000


def test_what_somebody_else_changed_meanwhile_is_asked_about(front_desk: Client, row: PartDamage) -> None:
    change_damage(damage=row, changes={"likely_minor": 10_000}, **WHO)
    sent = {"likely_minor": "120", "seen-likely_minor": "90"}
    answer = front_desk.post(f"/damages/{row.uid}/", sent, headers={"hx-request": "true"})
    assert "Somebody else changed this to “100” meanwhile." in text_of(answer)
    row.refresh_from_db()
    assert row.likely_minor == 10_000


def test_found_needs_a_word_at_its_box(front_desk: Client, row: PartDamage) -> None:
    answer = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": " "})
    assert (answer.status_code, field_errors(answer, "note")) == (422, ["Say in a word what was seen."])
    row.refresh_from_db()
    assert row.settled == ""


def test_found_before_anything_is_agreed_its_steps_come_onto_the_route(front_desk: Client, row: PartDamage) -> None:
    answer = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": "left lug"}, follow=True)
    assert "the customer has not agreed to them yet" in text_of(answer)
    assert "left lug" in text_of(answer)
    assert Step.objects.filter(part=row.part, operation__name="Fit", origin="before").count() == 1
    assert not Authorisation.objects.exists()


def test_what_an_accepted_quote_carries_is_authorised_when_it_is_found(front_desk: Client, row: PartDamage) -> None:
    accept(Draft.objects.get())
    assert "Agreed in Q00001 as ours" in text_of(front_desk.get(f"/damages/{row.uid}/"))
    answer = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": "left lug"}, follow=True)
    assert "on the route and authorised" in text_of(answer)
    assert Authorisation.objects.filter(kind="origin").count() == 1


def accept(draft: Draft) -> None:
    draft.restoration.refresh_from_db()
    quote = issue(
        draft=draft,
        seen_scope=draft.restoration.scope_version,
        seen_draft=draft.version,
        today=TODAY,
        guesses_are_told=True,
        **WHO,
    )
    record_outcome(quote=quote, kind="accepted", said_by="Jo Fenwick", how="signed", today=TODAY, **WHO)


def test_not_found_is_one_press_and_stays(front_desk: Client, row: PartDamage) -> None:
    answer = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "not_found"}, follow=True)
    assert "was not found" in text_of(answer)
    again = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": "after all"}, follow=True)
    assert "“Cracked lug” is settled already: not found." in text_of(again)
    row.refresh_from_db()
    assert (row.settled, row.note) == ("not_found", "")


def test_taken_away_it_can_be_brought_back(front_desk: Client, row: PartDamage) -> None:
    front_desk.post(f"/damages/{row.uid}/take-away/")
    assert "Bring back : Cracked lug" in text_of(front_desk.get(f"/parts/{row.part.uid}/damages/"))
    front_desk.post(f"/damages/{row.uid}/bring-back/")
    row.refresh_from_db()
    assert row.removed_at is None


PAGES = ["/parts/{part}/damages/", "/damages/{row}/"]


@pytest.mark.parametrize("page", PAGES)
def test_mechanics_and_strangers_do_not_see_what_damage_costs(
    mechanic: Client, stranger: Client, row: PartDamage, page: str
) -> None:
    address = page.format(part=row.part.uid, row=row.uid)
    assert (mechanic.get(address).status_code, stranger.get(address).status_code) == (403, 302)


# --- what the customer has not agreed to yet ---


def home(client: Client, part: Part) -> str:
    return text_of(client.get(f"/restorations/{part.restoration.uid}/"))


def test_what_differs_from_what_was_agreed_stands_on_the_restorations_page(
    front_desk: Client, part: Part, shop: Workshop
) -> None:
    assert "Not agreed yet" not in home(front_desk, part)
    accept(Draft.objects.get())
    assert "Not agreed yet" not in home(front_desk, part)
    front_desk.post(f"/parts/{part.uid}/steps/", {"origin": "after", "operation": shop.fit.pk})
    spray = part.steps.get(operation=shop.spray)
    answer = front_desk.post(f"/steps/{spray.uid}/take-off/", headers={"hx-request": "true"})
    assert 'id="not-agreed" hx-swap-oob="true"' in answer.content.decode()
    told = home(front_desk, part)
    assert "Not agreed yet: this differs from Q00001 New Frame: Fit Left out Frame: Spray" in told


@pytest.fixture
def out(front_desk: Client, part: Part, shop: Workshop) -> IssuedQuote:
    """A variation that waits: the frame is fitted, and not sprayed."""
    accept(Draft.objects.get())
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    remove_step(step=part.steps.get(operation=shop.spray), **WHO)
    return vary(Draft.objects.get())


def vary(draft: Draft) -> IssuedQuote:
    draft = change_draft(draft=draft, changes={"stage": "variation"}, **WHO)
    draft.restoration.refresh_from_db()
    seen = {"seen_scope": draft.restoration.scope_version, "seen_draft": draft.version}
    return issue(draft=draft, today=timezone.localdate(), who="ada", now=timezone.now(), guesses_are_told=True, **seen)


def test_what_is_out_with_the_customer_is_said_in_place_of_offer_it(
    front_desk: Client, part: Part, out: IssuedQuote
) -> None:
    told = home(front_desk, part)
    day = date_format(timezone.localdate(), "DATE_FORMAT")
    assert f"Offered in {out} , waiting since {day} Frame: Fit Frame: Spray (left out)" in told
    assert "Nothing of it may begin before the customer has agreed." in told
    assert "Offer it" not in told
    assert "takes the place of" not in told


def test_what_came_after_the_variation_went_out_is_not_offered_yet(
    front_desk: Client, part: Part, out: IssuedQuote, shop: Workshop
) -> None:
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.strip, **WHO)
    told = home(front_desk, part)
    assert "Frame: Fit Frame: Spray (left out) New, and not offered yet Frame: Strip a coat" in told
    assert f"takes the place of {out}: issue it with “variation”" in told


def test_a_variation_that_offers_what_is_not_wanted_any_more_says_so(
    front_desk: Client, part: Part, out: IssuedQuote, shop: Workshop
) -> None:
    remove_step(step=part.steps.get(operation=shop.fit), **WHO)
    assert "It offers more than is on the routes now." in home(front_desk, part)


def test_a_variation_that_lapsed_waits_for_nobody(front_desk: Client, part: Part, out: IssuedQuote) -> None:
    found = priced(Draft.objects.get())
    lapsed = not_agreed(found, today=out.valid_until + timedelta(days=1))
    assert lapsed is not None
    assert lapsed.out is not None
    assert (lapsed.out.is_lapsed, lapsed.new, lapsed.left_out) == (True, (), ())
    still = not_agreed(found, today=out.valid_until)
    assert still is not None
    assert still.out is not None
    assert not still.out.is_lapsed


def test_amounts_that_changed_after_they_were_agreed_are_named(front_desk: Client, part: Part) -> None:
    accept(Draft.objects.get())
    sent = {"pieces": "2", "seen-pieces": "1"}
    front_desk.post(f"/parts/{part.uid}/", sent, headers={"hx-request": "true"})
    told = home(front_desk, part)
    assert "Changed since it was agreed Frame: pieces 1, now 2" in told


# --- words ---


def test_a_step_says_its_chance_as_the_drawing_says_it(front_desk: Client, part: Part, shop: Workshop) -> None:
    part.steps.filter(operation=shop.spray).update(fail_chance=9)
    told = text_of(front_desk.get(f"/parts/{part.uid}/"))
    assert "fails about 1 in 12" in told  # 1 in 11, the nearer of what people say; common practice, no source
    assert "1 in 12" in re.sub(r"fails about 1 in 12", "", told)  # the drawing


# --- line bases ---


def change(client: Client, part: Part, **sent: str) -> Any:
    """Type into boxes of the part; what is seen is what is stored."""
    part.refresh_from_db()
    shown = {"basis": part.basis, "cap_minor": "" if part.cap_minor is None else f"{part.cap_minor / 100:g}"}
    seen = {f"seen-{name}": shown[name] for name in sent}
    return client.post(f"/parts/{part.uid}/", sent | seen)


def test_a_line_can_promise_an_estimate_with_a_cap_or_hours_with_a_limit(front_desk: Client, part: Part) -> None:
    assert change(front_desk, part, basis="capped").status_code == 302
    assert change(front_desk, part, cap_minor="812,50").status_code == 302
    part.refresh_from_db()
    assert (part.basis, part.cap_minor) == ("capped", 81_250)
    assert change(front_desk, part, basis="hourly", cap_minor="900").status_code == 302
    assert change(front_desk, part, cap_minor="").status_code == 302
    part.refresh_from_db()
    assert (part.basis, part.cap_minor) == ("hourly", None)


def test_a_fixed_price_has_no_cap_and_the_sentence_stands_at_what_was_typed(front_desk: Client, part: Part) -> None:
    answer = change(front_desk, part, cap_minor="900")
    assert (answer.status_code, field_errors(answer, "cap_minor")) == (
        422,
        ["A fixed price has no cap. Leave it empty, or promise an estimate with a cap or work by the hour."],
    )
    change(front_desk, part, basis="capped", cap_minor="900")
    answer = change(front_desk, part, basis="fixed")
    assert field_errors(answer, "basis") == ["A fixed price has no cap. Empty the cap first."]
    part.refresh_from_db()
    assert (part.basis, part.cap_minor) == ("capped", 90_000)
    assert change(front_desk, part, basis="fixed", cap_minor="").status_code == 302


@pytest.mark.parametrize(
    ("typed", "said"), [("-1", "Give 0 or more."), ("much", "Give a number in digits, such as 12.5.")]
)
def test_a_cap_that_is_no_amount_is_said_at_its_box(front_desk: Client, part: Part, typed: str, said: str) -> None:
    part.basis = "capped"
    part.save()
    assert field_errors(change(front_desk, part, cap_minor=typed), "cap_minor") == [said]


def test_a_damage_by_hand_has_no_steps_and_the_page_says_so(front_desk: Client, part: Part) -> None:
    amounts = {"low_minor": 1, "likely_minor": 2, "high_minor": 3}
    row = add_by_hand(part=part, name="Bent", frequency="rare", **amounts, **WHO)
    assert "No steps are known for it." in text_of(front_desk.get(f"/damages/{row.uid}/"))


def test_what_is_on_the_route_already_is_said_before_it_is_found_and_not_laid_twice(
    shop: Workshop, front_desk: Client, row: PartDamage
) -> None:
    assert "already on the route" not in text_of(front_desk.get(f"/damages/{row.uid}/"))
    add_step(part=row.part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    told = text_of(front_desk.get(f"/damages/{row.uid}/"))
    assert "Fit, 3 piece already on the route" in told
    assert "1 of these steps is on the route already." in told
    answer = front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": "left lug"}, follow=True)
    assert "Its steps were on the route already; nothing is laid twice." in text_of(answer)
    assert row.part.steps.filter(operation=shop.fit).count() == 1


def test_a_tick_lays_it_all_the_same(shop: Workshop, front_desk: Client, row: PartDamage) -> None:
    add_step(part=row.part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    front_desk.post(f"/damages/{row.uid}/settle/", {"settled": "found", "note": "left lug", "again": "on"})
    assert row.part.steps.filter(operation=shop.fit).count() == 2


def test_an_address_left_in_the_bar_leads_back_to_the_page(front_desk: Client, row: PartDamage) -> None:
    assert front_desk.get(f"/damages/{row.uid}/settle/").headers["Location"] == f"/damages/{row.uid}/"
    usual = front_desk.get(f"/parts/{row.part.uid}/damages/usual/")
    assert usual.headers["Location"] == f"/parts/{row.part.uid}/damages/"
