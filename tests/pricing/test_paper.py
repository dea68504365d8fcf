"""The PDF of an issued quote: made in the background, once, from the frozen offer alone."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from quotes.pricing import paper
from quotes.pricing.models import Draft, QuotePaper
from quotes.pricing.paper import offer_of
from shop import guards
from shop.outbox.models import Row
from shop.outbox.services import Outcome
from shop.papers import pdf, pdf_child, selectors
from shop.papers.models import Document
from tests.faults.processes import race
from tests.pricing.paper import make_papers, words_of
from tests.pricing.workshop import NOW, Workshop, add_parts, issue, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db


def test_the_outbox_makes_the_pdf_of_an_issued_quote(draft: Draft, preloaded: None) -> None:
    quote = issue(draft)
    assert make_papers() == [Outcome.DONE]
    document = quote.paper.document
    assert (document.name, document.media_type) == ("Q00001-v1.pdf", "application/pdf")
    assert "Q00001" in words_of(selectors.content(document))
    assert make_papers() == []


def test_asked_for_50_times_it_is_made_once(draft: Draft, preloaded: None) -> None:
    quote = issue(draft)
    for _time in range(50):
        with transaction.atomic():
            paper.ask(quote, now=NOW)
    assert Row.objects.count() == 1
    make_papers()
    with transaction.atomic():
        paper.ask(quote, now=NOW)
    assert make_papers() == []
    assert (QuotePaper.objects.count(), Document.objects.count()) == (1, 1)


@pytest.mark.django_db(transaction=True)
def test_asked_for_by_many_at_once_it_is_one_row(draft: Draft) -> None:
    quote = issue(draft)

    def ask(_number: int) -> None:
        with transaction.atomic():
            paper.ask(quote, now=NOW)

    race(ask, 8)
    assert Row.objects.count() == 1


def test_a_pdf_made_twice_is_kept_as_it_was_first(draft: Draft) -> None:
    quote = issue(draft)
    delivery = paper.Delivery(key=paper.pdf_key(quote), payload={"quote": quote.pk}, now=NOW, attempt=1)
    for content in (b"%PDF first", b"%PDF second"):
        paper.keep(paper.Delivery(**vars(delivery) | {"prepared": content}))
    assert selectors.content(QuotePaper.objects.get().document) == b"%PDF first"


def test_the_mender_asks_for_what_is_missing_and_for_nothing_else(draft: Draft, shop: Workshop) -> None:
    made, missing = issue(draft), issue(_another(shop))
    paper.keep(paper.Delivery(key="k", payload={"quote": made.pk}, now=NOW, attempt=1, prepared=b"%PDF"))
    with guards.lifted():
        Row.objects.all().delete()
    paper.mend(now=NOW)
    paper.mend(now=NOW)
    assert [json.loads(row.payload) for row in Row.objects.all()] == [{"quote": missing.pk}]


def _another(shop: Workshop) -> Draft:
    one = restoration("Another")
    add_parts(one, shop, 2)
    return draft_of(one)


def test_it_is_rendered_in_the_bounded_child_and_nowhere_else(
    draft: Draft, monkeypatch: pytest.MonkeyPatch, preloaded: None
) -> None:
    issue(draft)
    bounded = pdf_child.work
    parent = os.getpid()

    def work(*args: Any, **bounds: Any) -> int:
        assert os.getpid() != parent
        assert bounds == {"seconds": pdf.SECONDS, "memory": pdf.MEMORY}
        return bounded(*args, **bounds)

    monkeypatch.setattr(pdf_child, "work", work)
    monkeypatch.setattr(pdf, "fork_is_safe", lambda: True)
    assert make_papers() == [Outcome.DONE]


def test_a_renderer_that_fails_leaves_no_paper_and_the_row_for_later(
    draft: Draft, monkeypatch: pytest.MonkeyPatch, documents: Path
) -> None:
    quote = issue(draft)

    def fail(*_args: Any, **_more: Any) -> bytes:
        raise pdf.RenderFailed("time", "It took too long.")

    monkeypatch.setattr(pdf, "render", fail)
    assert make_papers() == [Outcome.AGAIN]
    assert not QuotePaper.objects.exists()
    assert not documents.exists()
    assert not paper.stuck(quote)
    Row.objects.update(state="dead")
    assert paper.stuck(quote)


def test_only_the_frozen_offer_goes_onto_it(draft: Draft) -> None:
    quote = issue(draft)
    before = paper.html(offer_of(quote))
    draft.restoration.customer.name = "Somebody else"
    draft.restoration.customer.save()
    draft.restoration.parts.update(name="Renamed")
    assert paper.html(offer_of(quote)) == before
    assert "Renamed" not in before


def test_everything_it_loads_is_handed_over() -> None:
    assets = paper.assets()
    assert set(assets) == {"offer.css", *pdf.FONT_FILES}
    assert b"asset:inter-latin.woff2" in assets["offer.css"]
