"""A quote as PDF: in the bounded child, and by the bare library in this process."""

import io
import os
from collections.abc import Iterator

import django

from tests.bench.measure import WALL, side_by_side

PAGES, ROUNDS = 3, 9
TARGET = 1.2


def lines() -> Iterator[str]:
    """The child is a copy of this process, in which the library is loaded, as in the background process."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    from quotes.pricing import paper
    from shop.papers import pdf
    from tests.pricing import offers

    pdf.preload()
    assert pdf.fork_is_safe(), "the child would be a fresh process: other threads are running here"
    for offer in (offers.three_pages(), offers.realistic()):
        yield _measured(paper.html(offer), paper.assets(), sum(len(area.lines) for area in offer.areas))


def _measured(html: str, assets: dict[str, bytes], count: int) -> str:
    from pypdf import PdfReader
    from weasyprint import HTML

    from shop.papers import pdf, pdf_child

    def bare() -> bytes:
        document = HTML(string=html, base_url="asset:", url_fetcher=pdf_child.fetcher(assets))
        return bytes(document.write_pdf(pdf_variant="pdf/ua-1"))

    def bounded() -> bytes:
        return pdf.render(html, assets=assets)

    pages, again = (len(PdfReader(io.BytesIO(made)).pages) for made in (bare(), bounded()))
    assert pages == again >= PAGES
    alone, child = side_by_side(bare, bounded, rounds=ROUNDS, clock=WALL)
    return (
        f"{pages} pages with {count} lines: {child * 1e3:.0f} ms in the bounded child, {alone * 1e3:.0f} ms by the bare "
        f"library, {child / alone:.2f} times that (target {TARGET})"
    )
