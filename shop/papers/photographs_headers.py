"""What a picture says of itself in its first bytes, read before anything decodes it.

Sources: ITU-T T.81 annex B (JPEG), W3C PNG third edition 5.2 and 11.2.1, RFC 9649 section 2 (WebP),
ISO/IEC 14496-12 4.3 with ISO/IEC 23008-12 10.2 (the brands of HEIC and AVIF).
"""

from dataclasses import dataclass

JPEG, PNG, WEBP = "JPEG", "PNG", "WEBP"
LARGEST_PIXELS = 40_000_000

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis"}
ANIMATED = 0x02

# JPEG markers
FRAMES = set(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
ALONE = {0x01, *range(0xD0, 0xD8)}
SCAN, END = 0xDA, 0xD9


class PictureRefused(ValueError):
    """``reason``: ``kind``, ``heic``, ``damaged``, ``pixels``, ``moving``, ``bytes``, ``heavy`` or ``busy``."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class Header:
    kind: str
    width: int  # [px]
    height: int  # [px]


def read_header(content: bytes) -> Header:
    """Kind by content, never by name; raises ``PictureRefused`` for what is no still picture of a bearable size."""
    header = Header(*_read(content))
    if header.width < 1 or header.height < 1:
        raise PictureRefused("damaged")
    if header.width * header.height > LARGEST_PIXELS:
        raise PictureRefused("pixels")
    return header


def _read(content: bytes) -> tuple[str, int, int]:
    try:
        if content.startswith(b"\xff\xd8\xff"):
            return JPEG, *_jpeg(content)
        if content.startswith(PNG_SIGNATURE):
            return PNG, *_png(content)
        if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
            return WEBP, *_webp(content)
    except IndexError as error:
        raise PictureRefused("damaged") from error
    raise PictureRefused("heic" if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS else "kind")


def _jpeg(content: bytes) -> tuple[int, int]:
    at = 2
    while True:
        if content[at] != 0xFF:
            raise PictureRefused("damaged")
        while content[at] == 0xFF:
            at += 1
        marker = content[at]
        at += 1
        if marker in FRAMES:
            return _big(content, at + 5, 2), _big(content, at + 3, 2)
        if marker in {SCAN, END}:
            raise PictureRefused("damaged")
        if marker not in ALONE:
            at += max(2, _big(content, at, 2))


def _png(content: bytes) -> tuple[int, int]:
    if content[12:16] != b"IHDR":
        raise PictureRefused("damaged")
    return _big(content, 16, 4), _big(content, 20, 4)


def _webp(content: bytes) -> tuple[int, int]:
    chunk = content[12:16]
    if chunk == b"VP8X":
        if content[20] & ANIMATED:
            raise PictureRefused("moving")
        return _little(content, 24, 3) + 1, _little(content, 27, 3) + 1
    if chunk == b"VP8L" and content[20] == 0x2F:
        bits = _little(content, 21, 4)
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 " and content[23:26] == b"\x9d\x01\x2a":
        return _little(content, 26, 2) & 0x3FFF, _little(content, 28, 2) & 0x3FFF
    raise PictureRefused("damaged")


def _big(content: bytes, at: int, count: int) -> int:
    content[at + count - 1]  # a slice past the end would be short without a word
    return int.from_bytes(content[at : at + count], "big")


def _little(content: bytes, at: int, count: int) -> int:
    content[at + count - 1]
    return int.from_bytes(content[at : at + count], "little")
