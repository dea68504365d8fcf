"""The background's part in a quote's PDF, played by hand; and what a PDF says."""

import io
import subprocess
from pathlib import Path

from pypdf import PdfReader

from shop.outbox import services as outbox
from tests.pricing.workshop import NOW

WORKER = "w1"


def make_papers() -> list[outbox.Outcome]:
    """Deliver what is due."""
    due = outbox.due_rows(now=NOW.replace(year=2100))
    return [outbox.deliver(row, now=NOW.replace(year=2100), worker=WORKER) for row in due]


def words_of(pdf: bytes) -> str:
    """The text layer by one reader."""
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def pages_of(pdf: bytes, folder: Path) -> list[str]:
    """The text layer by another reader, page by page. It also reads fonts that lack a glyph, which the first does not."""
    file = folder / "quote.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-raw", str(file), "-"], capture_output=True, check=True)
    return done.stdout.decode().removesuffix("\f").split("\f")
