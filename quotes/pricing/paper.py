"""The PDF of an issued quote: made from its frozen offer alone, in the background, once."""

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import translation

from quotes.engine import canonical
from quotes.pricing.models import IssuedQuote, QuotePaper
from quotes.pricing.offer import Offer
from shop.outbox.handlers import Delivery
from shop.outbox.selectors import asked_for, dead
from shop.outbox.services import publish
from shop.papers import pdf
from shop.papers.services import store

PDF_HANDLER = "quote as PDF"
TEMPLATE = "pricing/offer.html"
STYLES = Path(__file__).resolve().parent.parent.parent / "static" / "css" / "offer.css"


def pdf_key(quote: IssuedQuote) -> str:
    """One PDF for one issued quote, whoever asks and how often."""
    return f"quote/{quote.uid}/pdf"


def offer_of(quote: IssuedQuote) -> Offer:
    """The frozen offer of a quote."""
    return canonical.load(Offer, quote.offer.encode())


def html(offer: Offer) -> str:
    """The page that becomes the PDF, in the shop's language; pure text out of a frozen offer. It needs `assets`."""
    with translation.override(settings.LANGUAGE_CODE):
        return render_to_string(TEMPLATE, {"offer": offer, "language": settings.LANGUAGE_CODE})


def assets() -> dict[str, bytes]:
    """What the page may load: its stylesheet and the fonts."""
    styles = pdf.FONT_FACES + STYLES.read_text(encoding="utf-8")
    return {STYLES.name: styles.encode()} | pdf.fonts()


def render(offer: Offer) -> bytes:
    """The PDF of an offer, made in the bounded child."""
    return pdf.render(html(offer), assets=assets())


def prepare(delivery: Delivery) -> bytes:
    """Render, outside any transaction."""
    quote = IssuedQuote.objects.get(pk=delivery.payload["quote"])
    return render(offer_of(quote))


def keep(delivery: Delivery) -> None:
    """Store what was rendered; a PDF that is there already stays."""
    quote = IssuedQuote.objects.get(pk=delivery.payload["quote"])
    if QuotePaper.objects.filter(quote=quote).exists():
        return
    content = delivery.prepared
    assert isinstance(content, bytes)
    document = store(
        name=f"{quote}-v{quote.version}.pdf", media_type="application/pdf", content=content, now=delivery.now
    )
    QuotePaper.objects.create(quote=quote, document=document)


def stuck(quote: IssuedQuote) -> bool:
    """Whether making the PDF was given up and waits for a person."""
    return dead().filter(key=pdf_key(quote), handler=PDF_HANDLER).exists()


def mend(*, now: datetime) -> None:
    """Ask again for the PDF of every issued quote that has none."""
    without = {pdf_key(quote): quote for quote in IssuedQuote.objects.filter(paper__isnull=True).only("pk", "uid")}
    asked = asked_for(PDF_HANDLER, list(without))
    missing = [quote for key, quote in without.items() if key not in asked]
    if missing:
        with transaction.atomic():
            for quote in missing:
                ask(quote, now=now)


def ask(quote: IssuedQuote, *, now: datetime) -> None:
    """Ask for the PDF of a quote, inside the caller's transaction; asking twice is asking once."""
    publish(key=pdf_key(quote), handler=PDF_HANDLER, payload={"quote": quote.pk}, due_at=now, now=now)
