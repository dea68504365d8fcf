"""What the customer reads at each stage, on the page, on paper and in the form that records the answer."""

import html
import re
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from quotes.pricing import paper
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.offer import Offer, OfferArea, OfferCredit, OfferDamage, OfferFound
from quotes.pricing.paper import offer_of
from quotes.pricing.sheet import sheet
from quotes.pricing.verify import recomputed, verify
from shop.people.services import add_person
from shop.restorations.models import PartDamage
from shop.restorations.services import change_part
from shop.routes.models import Authorisation, Step
from shop.routes.services import add_step, remove_step
from tests.pricing import offers
from tests.pricing.paper import words_of
from tests.pricing.staged import bike, cracked, issued, note_odds
from tests.pricing.workshop import BY, Workshop, answer

D = Decimal


def read(offer: Offer) -> str:
    """The page in words."""
    text = re.sub(r"<title>.*?</title>", "", paper.html(offer), flags=re.S)
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", text).split()))


# --- without a database ---


def short(**changes: Any) -> Offer:
    offer = offers.realistic()
    area = OfferArea("Frame", offer.areas[0].lines[:3])
    return offers.with_sums(replace(offer, areas=(area,), **changes))


def test_a_ballpark_says_plainly_that_it_is_no_offer_and_has_nothing_to_sign(preloaded: None) -> None:
    offer = short(stage="ballpark", low=D(9100), high=D(13400))
    for said in (read(offer), words_of(paper.render(offer))):
        said = " ".join(said.split())
        assert "This is a ballpark, not an offer." in said
        assert "no work is authorised by it" in said
        assert "£9,100.00" in said
        assert "£13,400.00" in said
        assert "Ballpark Q00042" in said
        for word in ("Signature", "I accept", "To be paid", "Deposit", "Total"):
            assert word not in said
    # No line has a price of its own, and no sum pretends to be one.
    prices = {f"£{line.price:,.2f}" for area in offer.areas for line in area.lines} | {f"£{offer.total:,.2f}"}
    assert not [price for price in prices if price in read(offer)]


def test_an_inspection_says_what_the_fee_buys_and_until_when_it_is_credited() -> None:
    said = read(short(stage="inspect", credit_days=60))
    assert "Strip and inspect for a fixed fee." in said
    assert "credited in full against our main offer when you accept that within 60 days of accepting this" in said
    assert "I accept strip and inspect as in quote Q00042" in said
    assert "credited" not in read(short(stage="inspect", credit_days=0))


def test_a_main_offer_shows_the_fee_it_credits_between_discount_and_net() -> None:
    offer = short(credits=(OfferCredit("Fee for strip and inspect, Q00007", D(480)),), credited_until="2026-04-11")
    said = read(offer)
    assert "is credited below, if you accept this by 11 Apr 2026" in said
    order = ["Price £", "Discount −", "Fee for strip and inspect, Q00007 −£480.00", "Net price £"]
    assert [said.index(words) for words in order] == sorted(said.index(words) for words in order)
    assert f"Price £{offer.net + offer.discount + 480:,.2f}" in said


def test_a_variation_names_the_quote_it_changes_and_says_when_it_gives_money_back() -> None:
    more = read(short(stage="variation", varies="Q00031"))
    assert "Variation Q00042" in more
    assert "This changes what was agreed in quote Q00031." in more
    assert "of quote Q00031, which changes its total by £" in more
    assert "below zero" not in more
    less = short(stage="variation", varies="Q00031", credits=(OfferCredit("Frame: Blast, left out", D(100_000)),))
    assert less.total < 0
    said = read(less)
    assert "It comes out below zero: the sum is credited to you" in said
    assert f"Credited to you £{-less.total:,.2f}" in said


def test_each_line_says_what_its_price_promises() -> None:
    offer = short()
    first, second, third = offer.areas[0].lines
    assert "Every price is fixed." in read(offer)
    lines = (first, replace(second, basis="capped", cap=D(1200)), replace(third, basis="hourly", cap=D("62.50")))
    said = read(replace(offer, areas=(OfferArea("Frame", lines),)))
    assert "Every price is fixed." not in said
    for line, words in zip(
        lines, ("fixed price", "estimate, at most £1,200.00", "by the hour, we ask at £62.50"), strict=True
    ):
        assert f"£{line.price:,.2f} {words}" in said


def test_the_words_on_prices_follow_the_basis_of_the_lines() -> None:
    offer = short()
    dearer = "turns out dearer for us"
    assert f"Every price is fixed. It stays the same if the work or a bought-in part {dearer}." in read(offer)
    assert "The prices of parts are before tax" in read(offer)
    assert "before tax" not in read(replace(offer, taxes=()))
    first, second, third = offer.areas[0].lines
    capped, hourly = replace(second, basis="capped", cap=D(1200)), replace(third, basis="hourly", cap=D(60))
    never_more, by_the_hour = "never at more than the sum named beside it", "charged by the hours it takes"

    def of(*lines: Any) -> str:
        return read(replace(offer, areas=(OfferArea("Frame", lines),)))

    assert dearer in of(first, capped)
    assert never_more in of(first, capped)
    assert by_the_hour not in of(first, capped)
    assert "Every price is fixed" not in of(capped, hourly)
    assert dearer not in of(capped, hourly)
    assert by_the_hour in of(capped, hourly)
    beside = "What strip-down may still reveal is not in these prices"
    assert beside not in read(offer)
    assert beside in read(short(provisional=(OfferDamage("Frame", "Cracked lug", D(40)),)))
    assert "fixed" not in read(short(stage="ballpark", low=D(9100), high=D(13400)))


def test_a_price_from_which_nothing_comes_off_stands_once() -> None:
    plain = offers.with_sums(short(), discount=D(0))
    altogether = read(plain).split("Altogether")[1].split("To be paid")[0]
    assert altogether.count(f"£{plain.net:,.2f}") == 2  # the net price, and what the tax is on
    assert " Price £" not in altogether
    assert " Price £" in read(short()).split("Altogether")[1]


def test_the_record_is_no_part_of_what_is_signed() -> None:
    html = paper.html(short())
    signing = html.split('class="offer-signing"')[1].split("</section>")[0]
    assert "Signature" in signing
    assert short().record not in signing
    assert short().record in html


def test_a_variation_says_what_was_found_what_is_left_out_and_what_is_agreed_in_all() -> None:
    offer = short(
        stage="variation",
        varies="Q00031",
        found=(OfferFound("Crankcase", "Cracked", "hairline at the drain boss"),),
        credits=(OfferCredit("Stand: Blast, left out", D(20)),),
        agreed_total=D("8250.50"),
    )
    said = read(offer)
    assert "What was found Crankcase: Cracked (hairline at the drain boss)" in said
    assert "What is left out" in said
    assert "Stand: Blast, left out" in said.split("What is left out")[1].split("What we do")[0]
    assert "With this, agreed in all: £8,250.50 , tax included." in said
    for words in ("What was found", "What is left out", "agreed in all"):
        assert words not in read(short(credits=(OfferCredit("Fee", D(1)),)))


def test_what_is_beside_the_price_is_listed_with_its_price_and_what_is_outside_without() -> None:
    offer = short(
        provisional=(OfferDamage("Frame", "Cracked lug", D("383.33")),),
        excluded=(OfferDamage("Crankcase", "Cracked"),),
    )
    said = read(offer)
    assert "what is not found costs you nothing" in said
    assert "Frame: Cracked lug £383.33" in said
    assert "Not part of this offer" in said
    assert said.rstrip().count("Crankcase: Cracked") == 1
    plain = read(short())
    assert "If strip-down reveals it" not in plain
    assert "Not part of this offer" not in plain


# --- from draft to page ---


@pytest.fixture
def draft(shop: Workshop) -> Draft:
    note_odds()
    return bike(shop)


@pytest.fixture
def desk(client: Client, db: None) -> Client:
    client.force_login(add_person(username="eve", name="Eve", password="spoke nipple 36", roles=["desk"]))
    return client


def words(answer: Any) -> str:
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def today() -> dict[str, Any]:
    now = timezone.now()
    return {"now": now, "today": timezone.localdate(now)}


@pytest.mark.django_db
def test_accepting_a_ballpark_is_refused_at_its_field_and_nothing_is_kept(desk: Client, draft: Draft) -> None:
    quote = issued(draft, Stage.BALLPARK, **today())
    page = f"/quotes/{quote.uid}/"
    assert "nobody can accept it" in words(desk.get(page))
    sent = {"kind": "accepted", "who": "Jo", "how": "phone", "said_on": timezone.localdate().isoformat(), "reason": ""}
    answered = desk.post(page, sent)
    assert answered.status_code == 422
    assert re.search(r'kind_error">\s*<li>A ballpark is no offer', answered.content.decode())
    assert not Outcome.objects.exists()
    assert not Authorisation.objects.exists()


@pytest.mark.django_db
def test_the_issue_page_says_what_goes_out_at_the_stage(desk: Client, draft: Draft, shop: Workshop) -> None:
    page = f"/restorations/{draft.restoration.uid}/issue/"
    said = {}
    for stage in Stage:
        if stage == Stage.VARIATION:
            answer(issued(draft, Stage.MAIN))
            add_step(
                part=draft.restoration.parts.get(name="Bracket 0"), origin=Step.Origin.AFTER, operation=shop.fit, **BY
            )
        else:
            at_stage(draft, stage)
        said[stage] = words(desk.get(page))
    assert "The customer reads a range, from €" in said[Stage.BALLPARK]
    assert "1 part goes into this quote." in said[Stage.INSPECT]
    assert "€576.00" in said[Stage.INSPECT]
    assert "4 parts go into this quote." in said[Stage.MAIN]
    assert "Only what differs from Q00001, which stays as agreed." in said[Stage.VARIATION]
    assert "1 part goes into this quote." in said[Stage.VARIATION]


def at_stage(draft: Draft, stage: Stage) -> None:
    Draft.objects.filter(pk=draft.pk).update(stage=stage)


@pytest.mark.django_db
def test_a_stage_that_cannot_go_out_says_why_and_its_button_is_dead(desk: Client, draft: Draft) -> None:
    at_stage(draft, Stage.VARIATION)
    shown = desk.get(f"/restorations/{draft.restoration.uid}/issue/")
    assert "No main offer is accepted yet, so there is nothing to vary." in words(shown)
    assert "disabled" in shown.content.decode()


@pytest.mark.django_db
def test_lists_name_the_stage_and_a_quote_leads_to_what_it_varies_and_credits(
    desk: Client, draft: Draft, shop: Workshop
) -> None:
    inspection = issued(draft, Stage.INSPECT)
    answer(inspection)
    main = issued(draft, Stage.MAIN)
    answer(main)
    add_step(part=draft.restoration.parts.get(name="Bracket 0"), origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    variation = issued(draft, Stage.VARIATION)
    home = words(desk.get(f"/restorations/{draft.restoration.uid}/"))
    for word in ("strip and inspect,", "main offer,", "variation,"):
        assert word in home
    assert "credited when the main offer is accepted by 11 Apr 2026" in words(desk.get(f"/quotes/{inspection.uid}/"))
    assert f"It credits the fee of {inspection} ." in words(desk.get(f"/quotes/{main.uid}/"))
    assert f"It varies {main} ." in words(desk.get(f"/quotes/{variation.uid}/"))


# --- line bases ---


@pytest.mark.django_db
def test_bases_and_caps_go_from_the_part_to_the_paper(draft: Draft) -> None:
    parts = {part.name: part for part in draft.restoration.parts.all()}
    change_part(part=parts["Bracket 0"], changes={"basis": "capped"}, **BY)
    change_part(part=parts["Spindle 1"], changes={"basis": "hourly", "cap_minor": 30_000}, **BY)
    quote = issued(draft, Stage.MAIN)
    lines = {line.part: line for area in offer_of(quote).areas for line in area.lines}
    # Where nothing was agreed the rate book adds 15 %: DESIGN, rates ("cap").
    estimate = lines["Bracket 0"]
    assert (estimate.basis, estimate.cap) == ("capped", (estimate.price * D("1.15")).quantize(D("0.01")))
    assert (lines["Spindle 1"].basis, lines["Spindle 1"].cap) == ("hourly", D(300))
    assert (lines["Bearing seat 2"].basis, lines["Bearing seat 2"].cap) == ("fixed", None)
    assert list(verify(quote)) == []


# --- the cost sheet ---


@pytest.mark.django_db
def test_the_cost_sheet_adds_up_with_damage_contingency_and_credits(draft: Draft, shop: Workshop) -> None:
    cracked(shop, draft.restoration.parts.get(name="Bracket 0"), PartDamage.Treatment.OURS)
    answer(issued(draft, Stage.INSPECT))
    answer(issued(draft, Stage.MAIN))
    remove_step(step=draft.restoration.parts.get(name="Bearing seat 2").steps.get(operation__name="Fit"), **BY)
    add_step(part=draft.restoration.parts.get(name="Bracket 0"), origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    issued(draft, Stage.VARIATION)
    for quote in IssuedQuote.objects.all():
        again = recomputed(quote)
        assert again.explained is not None
        assert again.given is not None
        shown = sheet(again.explained, again.given)
        assert sum(part.price for part in shown.parts) == shown.price
        assert shown.price - shown.discount - shown.credited == shown.net == D(quote.net_minor) / 100
        assert shown.left == shown.net + shown.credited - shown.cost
        for part in shown.parts:
            assert sum(part.costs) == part.cost == sum(step.cost for step in part.steps)
    main = recomputed(IssuedQuote.objects.get(stage="main"))
    assert main.explained is not None
    assert main.given is not None
    shown = sheet(main.explained, main.given)
    assert (shown.unseen > 0, shown.contingency > 0, shown.credited) == (True, True, D(480))
    bracket = next(part for part in shown.parts if part.name == "Bracket 0")
    assert bracket.steps[-1].name == "Possible damage"
    assert bracket.steps[-1].cost == D("2.35")  # 3 % of (40 + 4 × 70 + 150) / 6


@pytest.mark.django_db
def test_the_cost_sheet_of_every_stage_opens(desk: Client, draft: Draft) -> None:
    for stage in (Stage.BALLPARK, Stage.INSPECT, Stage.MAIN):
        quote = issued(draft, stage)
        assert "every figure is as it was issued" in words(desk.get(f"/quotes/{quote.uid}/costs/"))
