"""The dispatch note of a lot: what goes, how it is to be done and what was agreed. Ours, and a copy for the vendor.

The vendor's copy says nothing of what we reckon with ourselves: of our figures only the agreed price and what the pieces cost
to have again stand on it, and nothing of the customer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation

from quotes.desk import vendor_job
from shop.floor import cards, custody, tag_codes
from shop.papers import pdf
from shop.papers.selectors import thumbnail_content
from shop.people.models import Shop
from shop.vendor_jobs.models import Job, Line, Promise
from shop.vendor_jobs.prices import by_the_book

STYLES = Path(__file__).resolve().parent.parent.parent / "static" / "css" / "dispatch.css"
#: Photographs on one note: more is a picture book, and too much for the renderer.
MOST_PHOTOGRAPHS = 24


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the note; ``picture`` names the photograph of it laid out, empty where there is none."""

    number: int
    line: Line
    tags: str
    picture: str


@dataclass(frozen=True, slots=True)
class Note:
    """What stands on it. ``book`` is the price by the rate book, on our own copy alone [minor units]."""

    job: Job
    shop: Shop | None
    rows: Sequence[Row]
    masking: Sequence[str]
    finish: Sequence[str]
    words: Sequence[str]
    promise: Promise | None
    for_vendor: bool
    book: int | None
    printed: datetime

    @property
    def pieces(self) -> int:
        """All pieces together."""
        return sum(row.line.pieces for row in self.rows)

    @property
    def weight(self) -> Decimal | None:
        """All of it together [kg]; None where somebody has not weighed or reckoned a line."""
        found = [row.line.weight for row in self.rows]
        return sum((one for one in found if one is not None), Decimal(0)) if found and None not in found else None

    @property
    def value(self) -> int:
        """What the pieces cost to have again, as far as somebody said [minor units]."""
        return sum(row.line.replacement_minor or 0 for row in self.rows)


def note(job: Job, *, for_vendor: bool, now: datetime) -> Note:
    """As the lot stands now; what has left is told as it left, whatever came of it since. A constant number of queries."""
    lines = [line for line in vendor_job.lines_of(job) if line.outcome != Line.Outcome.NOT_SENT]
    tags = {} if job.sent_on else custody.of_parts([line.step.part_id for line in lines])
    rows = [
        Row(
            number,
            line,
            line.tags or ", ".join(tag_codes.spaced(one.tag.code) for one in tags.get(line.step.part_id, ())),
            f"laid-{number}.jpg" if line.photograph and number <= MOST_PHOTOGRAPHS else "",
        )
        for number, line in enumerate(lines, start=1)
    ]
    return Note(
        job=job,
        shop=Shop.objects.first(),
        rows=rows,
        masking=job.masking.splitlines(),
        finish=job.finish_words.splitlines(),
        words=job.note.splitlines(),
        promise=job.promises.last(),
        for_vendor=for_vendor,
        book=None if for_vendor or not lines else _book(job, lines, timezone.localdate(now)),
        printed=now,
    )


def _book(job: Job, lines: Sequence[Line], on: date) -> int | None:
    return by_the_book(job.service, [line.step for line in lines], on=on)


def html(found: Note) -> str:
    """The note as a page for the renderer."""
    with translation.override(settings.LANGUAGE_CODE):
        return render_to_string("desk/paper_dispatch.html", {"note": found, "language": settings.LANGUAGE_CODE})


def note_pdf(found: Note, *, address: str) -> bytes:
    """``address`` is where the code leads. Raises `pdf.RenderFailed`."""
    styles = pdf.FONT_FACES + STYLES.read_text(encoding="utf-8")
    assets: Mapping[str, bytes] = {
        STYLES.name: styles.encode(),
        "code.svg": cards.square_code(address),
        **{
            row.picture: thumbnail_content(row.line.photograph)
            for row in found.rows
            if row.picture and row.line.photograph
        },
        **pdf.fonts(),
    }
    return pdf.render(html(found), assets=assets)
