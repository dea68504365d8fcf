"""`verify_quotes`: green when all is as issued; red, and naming the quote, when anything is not."""

import json
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F

from quotes.engine import canonical
from quotes.pricing import paper
from quotes.pricing.models import Draft, IssuedLine, IssuedQuote, IssuedStep, QuotePaper
from quotes.pricing.verify import recomputed, verify
from shop import guards
from shop.papers.selectors import path_of
from tests.pricing.workshop import NOW, Workshop, add_parts, issue, restoration
from tests.pricing.workshop import draft as draft_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def quotes(draft: Draft, shop: Workshop) -> tuple[IssuedQuote, IssuedQuote]:
    """Two quotes; it is the second that will be tampered with."""
    one = restoration("Another")
    add_parts(one, shop, 4)
    return issue(draft), issue(draft_of(one))


def ran() -> tuple[bool, str]:
    out, err = StringIO(), StringIO()
    try:
        call_command("verify_quotes", stdout=out, stderr=err)
    except CommandError as error:
        return False, err.getvalue() + str(error)
    return True, out.getvalue()


def test_untouched_quotes_are_found_as_they_were_issued(quotes: object) -> None:
    assert ran() == (True, "2 issued quotes recomputed: every figure is as it was issued.\n")


def test_without_quotes_there_is_nothing_to_find(db: None) -> None:
    assert ran()[0]


Tampering = Callable[[IssuedQuote], object]


def snapshot(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(snapshot=quote.snapshot.replace('"31.37"', '"31.38"'))


def snapshot_with_its_hash(quote: IssuedQuote) -> None:
    changed = quote.snapshot.replace('"31.37"', '"31.38"')
    rows = IssuedQuote.objects.filter(pk=quote.pk)
    rows.update(snapshot=changed, snapshot_sha256=canonical.sha256(changed.encode()))


def result(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(result=quote.result.replace('"total":"', '"total":"1'))


def offer(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(offer=quote.offer.replace("Margaret", "Margarete"))


def offer_s_line_with_its_hash(quote: IssuedQuote) -> None:
    told = json.loads(quote.offer)
    told["areas"][0]["lines"][0]["price"] = "1"
    changed = canonical.dump(told).decode()
    rows = IssuedQuote.objects.filter(pk=quote.pk)
    rows.update(offer=changed, offer_sha256=canonical.sha256(changed.encode()))


def offer_ruined(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(offer="{}")


def totals(quote: IssuedQuote) -> None:
    rows = IssuedQuote.objects.filter(pk=quote.pk)
    rows.update(net_minor=F("net_minor") - 1, price_minor=F("price_minor") - 1, total_minor=F("total_minor") - 1)


def variants(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(variants=quote.variants.replace("film_1", "film_9"))


def validity(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(valid_until="2030-01-01")


def record(quote: IssuedQuote) -> None:
    IssuedQuote.objects.filter(pk=quote.pk).update(journal_position=1)


def a_line(quote: IssuedQuote) -> None:
    rows = IssuedLine.objects.filter(quote=quote, position=2)
    rows.update(price_minor=F("price_minor") + 1, net_minor=F("net_minor") + 1)


def a_line_gone(quote: IssuedQuote) -> None:
    IssuedLine.objects.filter(quote=quote, position=2).delete()


def a_step_of_another_quote(quote: IssuedQuote) -> None:
    step = IssuedStep.objects.exclude(quote=quote).first()
    assert step is not None
    IssuedStep.objects.create(quote=quote, step_uid=step.step_uid, part_uid=step.part_uid)


def a_step_gone(quote: IssuedQuote) -> None:
    step = quote.steps.first()
    assert step is not None
    step.delete()


def pdf_changed(quote: IssuedQuote) -> None:
    _file(quote).write_bytes(b"%PDF forged")


def pdf_gone(quote: IssuedQuote) -> None:
    _file(quote).unlink()


def _file(quote: IssuedQuote) -> Path:
    paper.keep(paper.Delivery(key="k", payload={"quote": quote.pk}, now=NOW, attempt=1, prepared=b"%PDF made"))
    return path_of(QuotePaper.objects.get(quote=quote).document.sha256)


TOLD: dict[Tampering, str] = {
    snapshot: "the snapshot is not the one that was issued",
    snapshot_with_its_hash: "recomputed from its inputs it comes to other figures",
    result: "the result is not the one that was issued",
    offer: "the offer is not the one that was issued",
    offer_s_line_with_its_hash: "the lines the customer reads are not what its inputs give",
    offer_ruined: "what the customer reads cannot be read any more",
    totals: "its total is not what its inputs give",
    variants: "it cannot be recomputed: This quote was computed with film_9, which this version does not know",
    validity: "its number, version, validity or record is not what the customer reads",
    record: "its number, version, validity or record is not what the customer reads",
    a_line: "its lines are not what its inputs give",
    a_line_gone: "its lines are not what its inputs give",
    a_step_of_another_quote: "the steps it authorises are not those that were priced",
    a_step_gone: "the steps it authorises are not those that were priced",
    pdf_changed: "its PDF is not the one that was made",
    pdf_gone: "its PDF is not the one that was made",
}


@pytest.mark.parametrize("tamper", TOLD, ids=lambda tamper: tamper.__name__)
def test_tampering_is_found_and_the_quote_named(quotes: tuple[IssuedQuote, IssuedQuote], tamper: Tampering) -> None:
    with guards.lifted():
        tamper(quotes[1])
    fine, told = ran()
    assert not fine
    assert f"Q00002: {TOLD[tamper]}" in told.replace("\n", " ")
    assert "Q00001" not in told
    assert "in 2 issued quotes" in told


def test_a_corrected_formula_leaves_what_was_issued_before_equal(
    draft: Draft, correct_film: Callable[[], None]
) -> None:
    old = issue(draft)
    correct_film()
    assert list(verify(IssuedQuote.objects.get(pk=old.pk))) == []
    again = recomputed(old)
    assert again.explained is not None
    assert again.present is not None
    assert again.present.total > again.explained.result.total
    new = issue(draft)
    assert json.loads(new.variants)["film"] == "film_2"
    assert recomputed(new).present is None
    assert ran()[0]
