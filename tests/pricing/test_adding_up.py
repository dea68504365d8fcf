"""The figures a customer sees add up, read back from the page and from the PDF (RELIABILITY M-01; EN 16931 BR-CO-10, -13, -15)."""

import os
from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

import pytest

from quotes.pricing import paper
from quotes.pricing.offer import Offer, OfferArea
from tests.pricing import offers
from tests.pricing.paper import words_of
from tests.pricing.shown import on_page, on_paper

LONG = os.environ.get("BAREFRAME_LONG") == "1"
ON_PAGE = [10_000 if LONG else 500, pytest.param(10_000, marks=pytest.mark.long)]
ON_PAPER = [500 if LONG else 10, pytest.param(500, marks=pytest.mark.long)]


def same(offer: Offer, lines: list[Decimal], total: Decimal) -> bool:
    return lines == [line.price for area in offer.areas for line in area.lines] and total == offer.total


@pytest.mark.parametrize("count", ON_PAGE)
def test_on_any_offer_s_page_the_shown_figures_add_up(settings: Any, count: int) -> None:
    for place, language in enumerate(offers.LANGUAGES):
        settings.LANGUAGE_CODE = language
        for seed in range(place, count, len(offers.LANGUAGES)):
            offer = offers.at_random(Random(seed))
            shown = on_page(paper.html(offer), language)
            assert shown.faults() == [], seed
            assert same(offer, shown.lines, shown.total), seed


@pytest.mark.parametrize("count", ON_PAPER)
def test_on_any_offer_s_pdf_the_shown_figures_add_up(preloaded: None, count: int) -> None:
    for seed in range(count):
        offer = offers.at_random(Random(seed))
        shown = on_paper(words_of(paper.render(offer)))
        assert shown.faults() == [], seed
        assert same(offer, shown.lines, shown.total), seed


def test_a_long_amount_is_not_broken_over_two_lines(preloaded: None) -> None:
    line = replace(offers.realistic().areas[0].lines[0], price=Decimal("58888888.888"))
    offer = replace(offers.realistic(), currency="KWD", areas=(OfferArea("Frame", (line,)),))
    shown = on_paper(words_of(paper.render(offers.with_sums(offer))))
    assert (shown.faults(), shown.lines) == ([], [line.price])


BROKEN = {
    "the lines do not add up to the price": lambda o: replace(o, areas=o.areas[1:]),
    "price less discount is not the net price": lambda o: replace(o, discount=o.discount + 1),
    "what is taxed is not the net price": lambda o: replace(o, taxes=(replace(o.taxes[0], net=o.net + 1),)),
    "net price and taxes do not add up to the total": lambda o: replace(o, total=o.total + 1),
    "the stages do not add up to the total": lambda o: replace(o, stages=o.stages[1:]),
}


@pytest.mark.control
@pytest.mark.parametrize("told", BROKEN)
def test_a_page_that_does_not_add_up_is_seen(told: str) -> None:
    assert told in on_page(paper.html(BROKEN[told](offers.realistic()))).faults()


@pytest.mark.control
def test_a_pdf_that_does_not_add_up_is_seen(preloaded: None) -> None:
    broken = offers.realistic()
    for change in BROKEN.values():
        broken = change(broken)
    assert set(on_paper(words_of(paper.render(broken))).faults()) >= set(BROKEN)
