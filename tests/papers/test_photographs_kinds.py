"""Whatever comes, only pixels stay (RELIABILITY S-22)."""

import io
import re
import zipfile
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from PIL import Image

from shop.papers import selectors
from shop.papers.models import Photograph
from shop.papers.photographs import SENTENCES
from tests.papers.pictures import (
    CANARY,
    SCRIPT,
    chunk,
    files,
    keep,
    long_gif,
    many_frames,
    opened,
    plain,
    saved,
    segment,
    with_chunks,
    with_segments,
)

pytestmark = pytest.mark.django_db


def archive() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as zipped:
        zipped.writestr("word/document.xml", SCRIPT)
    return out.getvalue()


REFUSED = {
    "SVG": (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "kind"),
    "HTML": (SCRIPT, "kind"),
    "GIF": (long_gif(1), "kind"),
    "GIF that is a script": (b"GIF89a/*" + bytes(20) + b"*/=1;console.log('CANARY ran')", "kind"),
    "PDF": (b"%PDF-1.7\n1 0 obj<</OpenAction<</S/JavaScript/JS(app.alert(1))>>>>endobj", "kind"),
    "PHP": (b"<?php system($_GET['c']); ?>", "kind"),
    "BMP": (plain("BMP"), "kind"),
    "TIFF": (plain("TIFF"), "kind"),
    "archive of a letter": (archive(), "kind"),
    "archive before a picture": (archive() + plain(), "kind"),
    "HTML before a picture": (SCRIPT + plain(), "kind"),
    "program": (b"MZ\x90\x00" + bytes(60), "kind"),
    "NUL": (bytes(64), "kind"),
    # Source: ISO/IEC 23008-12, 10.2.2: brand "heic" in the box "ftyp".
    "HEIC": (b"\x00\x00\x00\x18ftypheic" + bytes(4) + b"mif1heic" + bytes(64), "heic"),
    "AVIF": (plain("AVIF"), "heic"),
    "WebP that moves": (many_frames("WEBP"), "moving"),
    "PNG that moves": (many_frames("PNG"), "moving"),
    "first bytes of a JPEG": (b"\xff\xd8\xff", "damaged"),
    "script behind the mark of a JPEG": (b"\xff\xd8\xff\xe0" + SCRIPT, "damaged"),
    "script behind the mark of a PNG": (b"\x89PNG\r\n\x1a\n" + SCRIPT, "damaged"),
    "script behind the mark of a WebP": (b"RIFF\x00\x00\x00\x00WEBP" + SCRIPT, "damaged"),
    "half a JPEG": (plain(size=(300, 300))[:700], "damaged"),
    "half a PNG": (plain("PNG", (300, 300))[:60], "damaged"),
    "half a WebP": (saved(Image.effect_noise((300, 300), 90), "WEBP")[:900], "damaged"),
}

KEPT = {
    "JPEG that is a page": with_segments(plain(), segment(0xFE, SCRIPT)) + SCRIPT,
    "JPEG with a PDF behind": plain() + b"%PDF-1.7 CANARY",
    "JPEG with an archive behind": plain() + archive() + CANARY,
    "JPEG with PHP in its notes": with_segments(plain(), segment(0xE1, b"Exif\x00\x00<?php CANARY ?>")),
    "PNG that is a page": with_chunks(plain("PNG"), chunk(b"tEXt", b"Comment\x00" + SCRIPT)) + SCRIPT,
    "WebP that is a page": plain("WEBP", exif=b"Exif\x00\x00" + SCRIPT, xmp=SCRIPT) + SCRIPT,
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_still_picture_of_a_known_kind_is_refused_with_what_to_do(name: str, documents: Path) -> None:
    content, reason = REFUSED[name]
    with pytest.raises(ValidationError) as refused:
        keep(content)
    assert refused.value.message_dict == {"file": [str(SENTENCES[reason])]}
    assert files(documents) == []
    assert not Photograph.objects.exists()


def test_every_refusal_says_what_to_do() -> None:
    assert all(re.search("choose|Choose|Wait", str(sentence)) for sentence in SENTENCES.values())


@pytest.mark.parametrize("name", KEPT)
def test_a_picture_that_is_also_something_else_is_kept_as_pixels_alone(name: str, documents: Path) -> None:
    photograph = keep(KEPT[name])
    for content in (selectors.photograph_content(photograph), selectors.thumbnail_content(photograph)):
        assert opened(content).format == "JPEG"
        assert content.endswith(b"\xff\xd9")
        assert not re.search(rb"CANARY|<script|<\?php|%PDF|PK\x03\x04", content)
    assert len(files(documents)) == 2


@pytest.mark.control
@pytest.mark.parametrize("name", KEPT)
def test_stored_as_they_came_they_would_hold_more_than_pixels(name: str) -> None:
    assert CANARY in KEPT[name]
