"""What a camera wrote about place, owner and itself does not stay (RELIABILITY S-24)."""

import io
import struct

import numpy as np
import pytest
from PIL import Image

from shop.papers import selectors
from tests.papers.pictures import (
    CANARY,
    chunk,
    keep,
    opened,
    plain,
    saved,
    segment,
    segments,
    tiff,
    with_chunks,
    with_segments,
)

pytestmark = pytest.mark.django_db

XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>CANARY-XMP</x:xmpmeta>"
THUMBNAIL = with_segments(plain(size=(16, 12)), segment(0xFE, b"CANARY-THUMBNAIL"))
NOTES = tiff(1, THUMBNAIL)
# Source: IPTC-IIM 4.2, dataset 2:80 (by-line), within resource 0x0404 of an APP13 segment.
IPTC = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x10\x1c\x02\x50\x00\x0bCANARY-IPTC"

# Which side of the picture its first row and its first column are. Source: CIPA DC-008 (Exif 2.32), tag Orientation.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
UPRIGHT = np.array([[[250, 20, 20], [20, 250, 20], [20, 20, 250]], [[20, 20, 20], [250, 250, 20], [250, 250, 250]]])


def noted(kind: str) -> bytes:
    """A picture of this kind with everything its format can tell beside pixels."""
    if kind == "JPEG":
        told = [segment(0xE1, b"Exif\x00\x00" + NOTES), segment(0xE1, b"http://ns.adobe.com/xap/1.0/\x00" + XMP)]
        told += [segment(0xED, IPTC), segment(0xFE, b"CANARY-COMMENT"), segment(0xE2, b"ICC_PROFILE\x00\x01\x01CANARY")]
        return with_segments(plain(), *told, segment(0xEC, b"CANARY-OTHER")) + b"CANARY-BEHIND"
    if kind == "PNG":
        told = [chunk(b"eXIf", NOTES), chunk(b"tEXt", b"Author\x00CANARY"), chunk(b"prVt", b"CANARY-OTHER")]
        told += [chunk(b"iTXt", b"XML:com.adobe.xmp\x00\x00\x00\x00\x00" + XMP)]
        return with_chunks(plain("PNG"), *told) + b"CANARY-BEHIND"
    return plain("WEBP", exif=b"Exif\x00\x00" + NOTES, xmp=XMP, icc_profile=b"CANARY-ICC" + bytes(128)) + CANARY


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_not_a_byte_stays_of_what_the_file_told_beside_its_pixels(kind: str) -> None:
    photograph = keep(noted(kind))
    for content in (selectors.photograph_content(photograph), selectors.thumbnail_content(photograph)):
        assert CANARY not in content
        told = list(segments(content))
        # Source: ITU-T T.81, table B.1: tables, frame and scan; of the application segments only JFIF's own (T.871, 10.1).
        assert {marker for marker, _content in told} == {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}
        assert [len(part) for marker, part in told if marker == 0xE0] == [14]
        assert not opened(content).getexif()
        assert content.endswith(b"\xff\xd9")


@pytest.mark.control
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_saving_anew_with_the_notes_would_keep_them(kind: str) -> None:
    given = noted(kind)
    assert given.count(CANARY) >= 4
    picture = opened(given)
    assert CANARY in saved(picture, "JPEG", exif=picture.info["exif"])


@pytest.mark.control
def test_saving_anew_plainly_would_keep_a_comment() -> None:
    assert CANARY in saved(opened(noted("JPEG")), "JPEG")


def turned(orientation: int) -> Image.Image:
    """``UPRIGHT``, 20 times as large, as a camera held that way writes it."""
    first_row, first_column = SIDES[orientation]
    pixels = UPRIGHT.repeat(20, axis=0).repeat(20, axis=1)
    if "bottom" in (first_row, first_column):
        pixels = pixels[::-1]
    if "right" in (first_row, first_column):
        pixels = pixels[:, ::-1]
    if first_row in {"left", "right"}:
        pixels = pixels.transpose(1, 0, 2)
    return Image.fromarray(np.ascontiguousarray(pixels, dtype=np.uint8))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", SIDES)
def test_a_picture_stands_upright_without_a_note_that_says_how(orientation: int, kind: str) -> None:
    exif = b"Exif\x00\x00" + tiff(orientation, b"")
    photograph = keep(saved(turned(orientation), kind, exif=exif))
    assert (photograph.width, photograph.height) == (60, 40)
    for content in (selectors.photograph_content(photograph), selectors.thumbnail_content(photograph)):
        pixels = np.asarray(opened(content), dtype=int)[10::20, 10::20]
        assert np.abs(pixels - UPRIGHT).max() < 60


def test_notes_that_are_nonsense_do_not_cost_the_picture() -> None:
    for notes in (b"II*\x00\xff\xff\xff\xff", b"", b"MM", b"nonsense", tiff(999, b""), NOTES[:60]):
        assert keep(with_segments(plain(), segment(0xE1, b"Exif\x00\x00" + notes))).width == 64
        assert keep(with_chunks(plain("PNG"), chunk(b"eXIf", notes))).width == 64
        assert keep(plain("WEBP", exif=b"Exif\x00\x00" + notes)).width == 64


def profile(*colours: tuple[float, float, float]) -> bytes:
    """A profile of three colours, each in XYZ under D50, and gamma 2.2. Source: ICC.1:2001-04, 6.1, 6.3 and 6.5."""
    white = (0.9642, 1.0, 0.8249)
    parts = [(b"wtpt", _xyz(white))]
    parts += [(name, _xyz(colour)) for name, colour in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colours, strict=True)]
    parts += [(name, b"curv" + struct.pack(">4xIHxx", 1, int(2.2 * 256))) for name in (b"rTRC", b"gTRC", b"bTRC")]
    parts += [(b"desc", b"desc" + struct.pack(">4xI", 2) + b"x\x00" + bytes(78)), (b"cprt", b"text" + bytes(8))]
    table, data, start = struct.pack(">I", len(parts)), b"", 132 + 12 * len(parts)
    for name, part in parts:
        table += name + struct.pack(">II", start + len(data), len(part))
        data += part.ljust(-(-len(part) // 4) * 4, b"\x00")
    head = struct.pack(">I4xI", start + len(data), 0x02400000) + b"mntrRGB XYZ " + bytes(12) + b"acsp" + bytes(28)
    head += struct.pack(">III", *(round(part * 65536) for part in white))
    return head.ljust(128, b"\x00") + table + data


def _xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ " + bytes(4) + struct.pack(">iii", *(round(value * 65536) for value in values))


def test_colours_of_a_profile_stay_as_they_looked_when_the_profile_goes() -> None:
    # Source: IEC 61966-2-1, the primaries of sRGB, adapted to D50 (value from memory). Red and green change places here.
    red, green, blue = (0.4360, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141)
    picture = Image.new("RGB", (16, 16), (200, 60, 40))
    kept = opened(selectors.photograph_content(keep(saved(picture, "PNG", icc_profile=profile(green, red, blue)))))
    found = kept.getpixel((8, 8))
    assert all(abs(one - other) <= 6 for one, other in zip(found, (60, 200, 40), strict=True)), found
    assert "icc_profile" not in kept.info


def test_a_profile_that_is_nonsense_does_not_cost_the_picture() -> None:
    picture = Image.new("RGB", (16, 16), (200, 60, 40))
    kept = Image.open(io.BytesIO(selectors.photograph_content(keep(saved(picture, "PNG", icc_profile=b"nonsense")))))
    assert abs(kept.getpixel((8, 8))[0] - 200) <= 3
