"""Pictures for tests, good and bad, made here byte by byte or with Pillow. None is anybody's photograph."""

import io
import struct
import uuid
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shop.papers.models import Photograph
from shop.papers.photographs import keep_photograph
from tests.papers.conftest import NOW

CANARY = b"CANARY"
SCRIPT = b"<html><body><script>console.log('CANARY ran')</script>"


def keep(content: bytes, **changes: Any) -> Photograph:
    given: dict[str, Any] = {"caption": "Tank, left side", "taken_on": None, "who": "ada", "now": NOW}
    upload = SimpleUploadedFile("IMG 0007.JPG", content, content_type="image/jpeg")
    return keep_photograph(upload=upload, **given | changes)


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def saved(picture: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(content))
    picture.load()
    return picture


def plain(kind: str = "JPEG", size: tuple[int, int] = (64, 48), colour: str = "#123456", **options: Any) -> bytes:
    return saved(Image.new("RGB", size, colour), kind, **options)


def random_jpeg() -> bytes:
    """No two alike."""
    return saved(Image.frombytes("RGB", (8, 2), uuid.uuid4().bytes * 3))


# -- JPEG ------------------------------------------------------------------------------------------------------------


def segment(marker: int, content: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


def with_segments(jpeg: bytes, *more: bytes) -> bytes:
    return jpeg[:2] + b"".join(more) + jpeg[2:]


def segments(jpeg: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and content of each segment up to the scan. Source: ITU-T T.81, B.1.1.4 (every length counts itself)."""
    at = 2
    while True:
        marker, length = struct.unpack(">xBH", jpeg[at : at + 4])
        yield marker, jpeg[at + 4 : at + 2 + length]
        if marker == 0xDA:
            return
        at += 2 + length


# -- PNG -------------------------------------------------------------------------------------------------------------


def chunk(name: bytes, content: bytes) -> bytes:
    """Source: W3C PNG, third edition, 5.3."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def ihdr(width: int, height: int, *, depth: int = 8, colour: int = 2) -> bytes:
    return chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))


def png(*chunks: bytes) -> bytes:
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks) + chunk(b"IEND", b"")


def with_chunks(image: bytes, *more: bytes) -> bytes:
    """Behind IHDR, which takes 25 bytes."""
    return image[:33] + b"".join(more) + image[33:]


def flat_png(side: int) -> bytes:
    """One bit for each pixel, all alike: a few kilobytes for millions of pixels."""
    packer = zlib.compressobj(9)
    row = bytes(1 + (side + 7) // 8)
    data = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    return png(ihdr(side, side, depth=1, colour=0), chunk(b"IDAT", data))


# -- others ----------------------------------------------------------------------------------------------------------


def many_frames(kind: str, count: int = 3) -> bytes:
    frames = [Image.new("RGB", (32, 32), (40 * number, 0, 0)) for number in range(count)]
    return saved(frames[0], kind, save_all=True, append_images=frames[1:])


def long_gif(frames: int) -> bytes:
    """Source: CompuServe GIF89a, 18-22: screen of 8 x 8, then the same frame again and again."""
    head = b"GIF89a" + struct.pack("<HHBBB", 8, 8, 0x80, 0, 0) + b"\x00\x00\x00\xff\xff\xff"
    frame = b"\x2c" + struct.pack("<HHHHB", 0, 0, 8, 8, 0) + b"\x02\x02\x4c\x01\x00"
    return head + frame * frames + b"\x3b"


def webp_header(width: int, height: int) -> bytes:
    """Source: RFC 9649, 2.7: the extended header, without animation."""
    body = b"VP8X" + struct.pack("<I", 10) + bytes(4) + (width - 1).to_bytes(3, "little")
    body += (height - 1).to_bytes(3, "little")
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def tiff(orientation: int, thumbnail: bytes) -> bytes:
    """Notes of a camera, little-endian: orientation, serial number, place, and a small picture in a second directory.

    Source: CIPA DC-008 (Exif 2.32), 4.5 and 4.6.
    """
    serial, datum = b"CANARY-SERIAL\x00", b"CANARY-PLACE\x00"
    main, camera, place, second = 8, 50, 70, 90
    at_serial, at_datum = 140, 140 + len(serial)
    at_thumbnail = at_datum + len(datum)
    blocks = {
        0: b"II*\x00" + struct.pack("<I", main),
        main: _directory(
            [(0x0112, 3, 1, orientation), (0x8769, 4, 1, camera), (0x8825, 4, 1, place)], following=second
        ),
        camera: _directory([(0xA431, 2, len(serial), at_serial)]),
        place: _directory([(0x0012, 2, len(datum), at_datum)]),
        second: _directory([(0x0103, 3, 1, 6), (0x0201, 4, 1, at_thumbnail), (0x0202, 4, 1, len(thumbnail))]),
        at_serial: serial,
        at_datum: datum,
        at_thumbnail: thumbnail,
    }
    out = b""
    for start, block in blocks.items():
        assert len(out) <= start
        out = out.ljust(start, b"\x00") + block
    return out


def _directory(entries: list[tuple[int, int, int, int]], following: int = 0) -> bytes:
    packed = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return struct.pack("<H", len(entries)) + packed + struct.pack("<I", following)
