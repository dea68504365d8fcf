"""What the customer reads: words as they were typed, prices and never a cost."""

import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

import pikepdf
import pytest
import tinyhtml5
from django.test import Client
from django.utils import translation
from hypothesis import given, settings
from hypothesis import strategies as st

from quotes.pricing import offer as offers_of
from quotes.pricing import paper
from quotes.pricing.models import Draft
from quotes.pricing.offer import (
    Offer,
    OfferArea,
    OfferCredit,
    OfferDamage,
    OfferFound,
    OfferLine,
    OfferStage,
    OfferTax,
    finish_text,
)
from quotes.pricing.paper import offer_of
from quotes.pricing.selectors import priced
from shop.methods.models import Finish
from shop.people.services import add_person
from shop.restorations.models import Part
from shop.routes.parts import choose_finish
from shop.text import minutes, money
from tests.pricing import offers
from tests.pricing.paper import pages_of, words_of
from tests.pricing.workshop import BY, Workshop, issue

# --- text comes out as text (RELIABILITY S-19) ---

POLYGLOTS = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'--></style></title></textarea><svg/onload=alert(1)>",
    "</td></tr></table><h1>Free of charge</h1>",
    "{{ offer.total }}{% debug %}{# gone #}",
    "&lt;b&gt; &amp;amp; &#x3c;i&#x3e;",
    "javascript:alert(1) <a href='javascript:alert(1)'>x</a>",
    "<!-- nobody reads this",
    "]]><?php echo 1 ?><% 1 %>",
    "url(asset:offer.css) @import 'x'; } body { display: none",
]
FREE_WORDS = ("number", "shop", "shop_address", "shop_contact", "customer", "customer_address", "machine")
FREE_WORDS += ("frame_number", "engine_number", "title", "note", "record")


def saying(text: str) -> Offer:
    """A short offer that says ``text`` wherever a person can have typed something."""
    line = OfferLine(text, 0, 1, text, "#17181a", text, (text, text), Decimal(12))
    plain = replace(
        offers.realistic(),
        areas=(OfferArea(text, (line, replace(line, swatch=text[:7]))), OfferArea(text, (line,))),
        assumptions=(text,),
        cautions=(text,),
        credits=(OfferCredit(text, Decimal(3)),),
        provisional=(OfferDamage(text, text, Decimal(40)),),
        excluded=(OfferDamage(text, text),),
        found=(OfferFound(text, text, text),),
        varies=text,
        **dict.fromkeys(FREE_WORDS, text),
    )
    summed = offers.with_sums(plain)
    return replace(
        summed,
        taxes=tuple(OfferTax(text, tax.percent, tax.net, tax.tax) for tax in summed.taxes),
        stages=tuple(OfferStage(text, text, stage.amount) for stage in summed.stages),
    )


def shape(html: str) -> list[tuple[str, tuple[str, ...]]]:
    """Every element with the names of its attributes, as a browser's parser finds them."""
    return [(str(e.tag), tuple(sorted(e.attrib))) for e in tinyhtml5.parse(html).iter()]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def text_nodes(html: str) -> str:
    return squeezed("".join(tinyhtml5.parse(html).itertext()))


def test_every_field_a_person_can_fill_is_in_the_corpus() -> None:
    known = {*FREE_WORDS, "areas", "taxes", "stages", "assumptions", "cautions", "credits", "provisional", "excluded"}
    known |= {"found"}
    made_by_us = {"version", "issued_on", "valid_until", "currency", "price", "discount", "net", "total"}
    made_by_us |= {"stage", "varies", "credited_until", "credit_days", "low", "high", "agreed_total"}
    made_by_us |= {"work_begins", "ready_likely", "ready_kept"}
    assert {field.name for field in fields(Offer)} == known | made_by_us


@pytest.mark.parametrize("text", POLYGLOTS)
def test_hostile_text_is_text_on_the_page(text: str) -> None:
    html = paper.html(saying(text))
    assert shape(html) == shape(paper.html(saying("harmless words")))
    assert text_nodes(html).count(squeezed(text)) >= 30


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=60))
def test_so_is_any_other_text(text: str) -> None:
    html = paper.html(saying("x" + text))
    assert shape(html) == shape(paper.html(saying("harmless words")))
    assert text_nodes(html).count(squeezed("x" + text)) >= 20


@pytest.mark.parametrize("text", POLYGLOTS)
def test_hostile_text_is_text_in_the_pdf(text: str, preloaded: None) -> None:
    said = squeezed(words_of(paper.render(saying(text))))
    assert said.count(squeezed(text)) >= 20


@pytest.mark.parametrize("swatch", ["", "#12345", "red", "#gggggg", '"><b>', "url(#a)"])
def test_a_swatch_that_is_no_colour_is_no_chip(swatch: str) -> None:
    offer = saying("words")
    area = OfferArea("Frame", (replace(offer.areas[0].lines[0], swatch=swatch),))
    assert "<svg" not in paper.html(replace(offer, areas=(area,)))


def test_a_chip_says_in_words_which_finish_it_shows() -> None:
    assert "<title>Paint chip: Bright zinc</title>" in paper.html(offers.realistic())


AWKWARD = {"as people really type": offers.awkward, "ninety lines": offers.realistic}


@pytest.mark.parametrize("kind", AWKWARD)
def test_an_awkward_offer_becomes_a_pdf_with_its_number_and_the_count_on_every_page(
    kind: str, preloaded: None, tmp_path: Path
) -> None:
    sheets = pages_of(paper.render(AWKWARD[kind]()), tmp_path)
    assert len(sheets) > 3
    for number, words in enumerate(sheets, start=1):
        assert f"Page {number} of {len(sheets)}" in words
        assert "Quote Q00042" in words


def test_the_pdf_is_tagged_titled_and_every_table_row_has_its_header(preloaded: None) -> None:
    """Source: ISO 14289-1 clauses 5 and 7 (PDF/UA identification, title, language, structure, table headers)."""
    with pikepdf.open(io.BytesIO(paper.render(offers.realistic()))) as made:
        assert made.Root.MarkInfo.Marked
        assert made.Root.Lang == "en-gb"
        assert made.docinfo["/Title"] == "Quote Q00042: Thorncastle Sovereign 500, as it left the works in 1937"
        assert made.open_metadata()["pdfuaid:part"] == "1"
        tags = Counter(str(thing.S) for thing in made.objects if is_element(thing))
        pictures = [thing for thing in made.objects if is_element(thing) and thing.S == "/Figure"]
        assert tags["/H1"] == 1
        assert tags["/TH"] >= 90 + 8 + 13
        assert pictures
        assert all(str(picture.Alt).startswith("Paint chip: ") for picture in pictures)


def is_element(thing: object) -> bool:
    return isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/StructElem"


# --- prices, never costs ---


@pytest.mark.django_db
def test_no_cost_margin_time_or_vendor_is_ever_on_what_the_customer_reads(
    draft: Draft, client: Client, preloaded: None
) -> None:
    found = priced(draft)
    quote = issue(draft)
    client.force_login(add_person(username="eve", name="Eve", password="spoke nipple 36", roles=["desk"]))
    page = client.get(f"/quotes/{quote.uid}/").content.decode()
    readings = [words_of(paper.render(offer_of(quote))), paper.html(offer_of(quote)), page, quote.offer]
    secrets = set(canaries(found))
    assert len(secrets) > 60
    for reading in readings:
        assert [secret for secret in secrets if secret in reading] == []


@pytest.mark.control
@pytest.mark.django_db
def test_a_secret_that_slips_out_is_seen(draft: Draft) -> None:
    found = priced(draft)
    line = found.explained.result.lines[0]
    told = f"It costs us {money(round(line.cost, 2), 'EUR')}, says Quillhaven Electroplaters."
    assert len([secret for secret in canaries(found) if secret in told]) >= 2


def canaries(found: Any) -> Iterator[str]:
    """Everything behind the price, in every way it could be written."""
    result, given = found.explained.result, found.given
    prices = {line.price for line in result.lines} | {result.price, result.net, result.total, Decimal(0)}
    inner = [result.cost, result.allowance, result.floor_price]
    for line in result.lines:
        inner += [line.cost, line.labour, line.overhead, line.material, line.vendor, line.bought_in, line.allowance]
        yield from (minutes(line.minutes),) if line.minutes else ()
    inner += [grade.cost_rate for grade in given.grades] + [grade.charge_rate for grade in given.grades]
    inner += [
        figure.value for step in found.explained.steps for _depth, figure in step.figure.walk() if figure.unit == "EUR"
    ]
    for value in inner:
        if value not in prices:
            yield money(round(value, 2), "EUR")
            if value != round(value, 1):
                yield str(value)
    yield from (grade.name for grade in given.grades)
    yield from (service.vendor for service in given.services)


# --- words ---


def test_a_finish_is_told_once_in_words() -> None:
    black = Finish(name="Black stove enamel", colour="black", gloss="full gloss", lining="gold, 3 mm")
    assert finish_text(black) == "Black stove enamel (full gloss, gold, 3 mm)"
    assert finish_text(None) == ""


@pytest.mark.django_db
def test_a_deviation_is_named_even_when_nobody_wrote_it_down(draft: Draft, shop: Workshop) -> None:
    part = draft.restoration.parts.get(name="Bracket 0")
    choose_finish(part=part, finish=shop.nickel, **BY)
    line = offer_of(issue(draft)).areas[0].lines[0]
    assert (line.finish, line.deviation) == ("Dull nickel", "the factory finish was Black stove enamel")


def test_a_deviation_is_told_as_it_was_noted_and_an_unknown_factory_finish_is_none() -> None:
    black, nickel = Finish(pk=1, name="Black"), Finish(pk=2, name="Nickel")
    noted = Part(factory_finish=black, agreed_finish=nickel, deviation="as the customer likes it")
    assert offers_of.deviation(noted) == "as the customer likes it"
    assert offers_of.deviation(Part(agreed_finish=nickel)) == ""
    assert offers_of.deviation(Part(factory_finish=black, agreed_finish=black)) == ""


@pytest.mark.django_db
def test_the_customer_reads_the_shop_s_language_whoever_issues(draft: Draft) -> None:
    with translation.override("de"):
        offer = offer_of(issue(draft))
        told = paper.html(offer)
    assert "This quote is not an approval" in " ".join(offer.cautions)
    assert 'lang="en-gb"' in told
    assert money(offer.total, "EUR") in told


def test_the_same_offer_is_the_same_page() -> None:
    offer = offers.at_random(Random(3))
    assert paper.html(offer) == paper.html(replace(offer))
