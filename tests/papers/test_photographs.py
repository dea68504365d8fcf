import hashlib
import io
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from PIL import Image

from shop.journal.models import Entry
from shop.papers import photographs, photographs_decode, selectors, services
from shop.papers.models import Photograph, PhotographCount
from shop.papers.photographs import describe_photograph, keep_photograph
from tests.papers.conftest import NOW
from tests.papers.pictures import files, keep, opened, plain, saved

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photograph_is_kept_as_a_jpeg_with_a_thumbnail_under_their_hashes(kind: str, documents: Path) -> None:
    photograph = keep(plain(kind, (1200, 800)), caption="Tank, left", taken_on=date(2026, 2, 28))
    whole, small = selectors.photograph_content(photograph), selectors.thumbnail_content(photograph)
    assert (opened(whole).format, opened(whole).size) == ("JPEG", (1200, 800))
    assert (opened(small).format, opened(small).size) == ("JPEG", (480, 320))
    assert files(documents) == sorted(
        documents / name[:2] / name for name in (hashlib.sha256(whole).hexdigest(), hashlib.sha256(small).hexdigest())
    )
    assert (photograph.width, photograph.height, photograph.bytes) == (1200, 800, len(whole))
    assert (photograph.caption, photograph.taken_on) == ("Tank, left", date(2026, 2, 28))
    assert (photograph.added_at, photograph.added_by, photograph.kind) == (NOW, "ada", "jpeg")


def test_the_longest_side_is_brought_to_3000_pixels_and_a_small_picture_is_not_blown_up() -> None:
    assert (keep(plain(size=(3000, 6000))).width, keep(plain(size=(3000, 6000))).height) == (1500, 3000)
    photograph = keep(plain(size=(5, 4)))
    assert (photograph.width, photograph.height) == (5, 4)
    assert opened(selectors.thumbnail_content(photograph)).size == (5, 4)


MODES: dict[str, tuple[Image.Image, str, tuple[int, int, int]]] = {
    "grey": (Image.new("L", (9, 9), 90), "PNG", (90, 90, 90)),
    "black and white": (Image.new("1", (9, 9), 1), "PNG", (255, 255, 255)),
    "sixteen bits": (Image.new("I;16", (9, 9), 0x5A5A), "PNG", (0x5A, 0x5A, 0x5A)),
    "palette": (Image.new("RGB", (9, 9), (200, 30, 40)).quantize(4), "PNG", (200, 30, 40)),
    "clear": (Image.new("RGBA", (9, 9), (200, 30, 40, 0)), "PNG", (255, 255, 255)),
    "half clear": (Image.new("RGBA", (9, 9), (200, 0, 0, 128)), "PNG", (227, 127, 127)),
    "clear grey": (Image.new("LA", (9, 9), (0, 0)), "PNG", (255, 255, 255)),
    "clear WebP": (Image.new("RGBA", (9, 9), (200, 30, 40, 0)), "WEBP", (255, 255, 255)),
    # Common practice, no source: without a profile, white less the ink, (1 - c)(1 - k).
    "printing inks": (Image.new("CMYK", (9, 9), (0, 255, 255, 51)), "JPEG", (204, 0, 0)),
}


@pytest.mark.parametrize("name", MODES)
def test_every_way_to_write_pixels_becomes_the_colour_it_meant_on_white(name: str) -> None:
    picture, kind, meant = MODES[name]
    kept = opened(selectors.photograph_content(keep(saved(picture, kind))))
    assert kept.mode == "RGB"
    assert all(abs(found - wanted) <= 4 for found, wanted in zip(kept.getpixel((4, 4)), meant, strict=True))


def test_a_telephone_s_jpeg_with_further_pictures_behind_it_is_kept_by_its_first() -> None:
    first, second = Image.new("RGB", (40, 30), "#800000"), Image.new("RGB", (40, 30), "#000080")
    kept = opened(selectors.photograph_content(keep(saved(first, "MPO", save_all=True, append_images=[second]))))
    assert kept.size == (40, 30)
    assert kept.getpixel((9, 9))[0] > 100 > kept.getpixel((9, 9))[2]


def test_the_same_picture_added_twice_is_two_photographs_over_the_same_files(documents: Path) -> None:
    first, second = keep(plain()), keep(plain(), who="tom")
    assert first.uid != second.uid
    assert first.sha256 == second.sha256
    assert len(files(documents)) == 2


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"caption": "  "}, "caption", "Say what it shows."),
        ({"caption": "x" * 201}, "caption", "Ensure this value has at most 200 characters (it has 201)."),
        (
            {"taken_on": date(2026, 3, 3)},
            "taken_on",
            "This day is still to come. Enter the day it was taken, or leave it empty.",
        ),
        ({"who": ""}, "added_by", "This field cannot be blank."),
    ],
)
def test_what_is_wrong_is_said_at_its_field_before_anything_is_decoded(
    change: dict[str, Any], field: str, sentence: str, monkeypatch: pytest.MonkeyPatch, documents: Path
) -> None:
    monkeypatch.setattr(photographs, "remake", lambda content: pytest.fail("decoded"))
    with pytest.raises(ValidationError) as refused:
        keep(plain(), **change)
    assert refused.value.message_dict == {field: [sentence]}
    assert files(documents) == []


def test_the_journal_says_who_added_and_who_described_a_photograph() -> None:
    photograph = keep(plain())
    later = NOW + timedelta(hours=1)
    describe_photograph(photograph=photograph, caption="Tank, right side", taken_on=None, who="tom", now=later)
    told = [(entry.who, entry.what, entry.subject_label) for entry in Entry.objects.all()]
    assert told == [
        ("ada", "photograph added", "Tank, left side"),
        ("tom", "photograph described", "Tank, right side"),
    ]
    assert photograph.sha256 in Entry.objects.earliest("id").after


def test_a_caption_can_be_corrected_but_not_taken_away() -> None:
    photograph = keep(plain())
    said = {"photograph": photograph, "who": "tom", "now": NOW}
    described = describe_photograph(caption=" Tank, right ", taken_on=date(2026, 1, 5), **said)
    assert (described.caption, described.taken_on) == ("Tank, right", date(2026, 1, 5))
    with pytest.raises(ValidationError, match="Say what it shows"):
        describe_photograph(caption="", taken_on=None, **said)
    photograph.refresh_from_db()
    assert photograph.caption == "Tank, right"


@pytest.mark.parametrize("column", ["sha256", "thumbnail_sha256", "added_by"])
def test_the_database_refuses_to_change_what_a_photograph_is(column: str) -> None:
    keep(plain())
    with pytest.raises(IntegrityError, match="only its caption and its day"), transaction.atomic():
        Photograph.objects.update(**{column: "0" * 64})


def test_the_database_refuses_to_delete_a_photograph() -> None:
    photograph = keep(plain())
    with pytest.raises(IntegrityError, match="cannot be deleted"), transaction.atomic():
        photograph.delete()


def test_a_full_disk_leaves_neither_row_nor_count(monkeypatch: pytest.MonkeyPatch, documents: Path) -> None:
    def full(content: bytes) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(services, "keep_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        keep(plain())
    assert not Photograph.objects.exists()
    assert not PhotographCount.objects.exists()


def test_an_upload_that_lies_about_its_size_is_read_no_further_than_the_limit() -> None:
    asked = []

    class Watched(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            asked.append(size)
            return super().read(size)

    upload = SimpleUploadedFile("a.jpg", b"")
    upload.file, upload.size = Watched(plain() + bytes(photographs.LARGEST_BYTES)), 10
    with pytest.raises(ValidationError) as refused:
        keep_photograph(upload=upload, caption="Tank", taken_on=None, who="ada", now=NOW)
    assert refused.value.message_dict == {"file": [str(photographs.SENTENCES["bytes"])]}
    assert asked == [photographs.LARGEST_BYTES + 1]


def test_a_picture_that_takes_too_long_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photographs_decode.remake, "__kwdefaults__", {"seconds": 0.001, "memory": 2**29})
    with pytest.raises(ValidationError) as refused:
        keep(plain())
    assert refused.value.message_dict == {"file": [str(photographs.SENTENCES["heavy"])]}


def test_a_picture_that_takes_too_much_memory_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photographs_decode.remake, "__kwdefaults__", {"seconds": 10.0, "memory": 2**24})
    with pytest.raises(ValidationError) as refused:
        keep(plain("PNG", (3000, 3000)))
    assert refused.value.message_dict == {"file": [str(photographs.SENTENCES["heavy"])]}


def test_when_all_places_are_taken_one_is_asked_to_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photographs_decode, "PATIENCE", 0.01)
    for _place in range(photographs_decode.AT_ONCE):
        photographs_decode._places.acquire()
    try:
        with pytest.raises(ValidationError, match="Wait a moment"):
            keep(plain())
    finally:
        for _place in range(photographs_decode.AT_ONCE):
            photographs_decode._places.release()
    assert keep(plain()).pk
