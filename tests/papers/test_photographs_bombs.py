"""Small files that would fill the memory are refused before they do (RELIABILITY S-23)."""

import io
import os
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadhandler import TemporaryFileUploadHandler

from shop.papers import photographs_decode, uploads
from shop.papers.photographs_headers import LARGEST_PIXELS, PictureRefused, read_header
from tests.house import ROOT
from tests.papers.pictures import (
    chunk,
    flat_png,
    ihdr,
    long_gif,
    many_frames,
    plain,
    png,
    segment,
    webp_header,
    with_chunks,
    with_segments,
)

# Source: RELIABILITY S-23.
MOST_GROWTH = 150 * 2**20


def frame(width: int, height: int) -> bytes:
    """A frame header of a JPEG. Source: ITU-T T.81, B.2.2."""
    return segment(0xC0, struct.pack(">BHHB", 8, height, width, 3) + b"\x01\x11\x00\x02\x11\x01\x03\x11\x01")


BOMBS: dict[str, tuple[Callable[[], bytes], str]] = {
    "9000 x 9000 in ten kilobytes": (lambda: flat_png(9000), "pixels"),
    "20000 x 20000": (lambda: flat_png(20000), "pixels"),
    "a PNG of 20000 x 20000 without data": (lambda: png(ihdr(20000, 20000), chunk(b"IDAT", b"")), "pixels"),
    "a PNG of as many as its header can say": (lambda: png(ihdr(2**31 - 1, 2**31 - 1)), "pixels"),
    "a PNG with a second, larger header": (lambda: with_chunks(plain("PNG"), ihdr(20000, 20000)), "pixels"),
    "a JPEG of 65500 x 65500": (lambda: with_segments(plain(), frame(65500, 65500)), "pixels"),
    "a JPEG with a second, larger frame": (
        lambda: plain().replace(b"\xff\xda", frame(65500, 65500) + b"\xff\xda", 1),
        "pixels",
    ),
    "a WebP of 16000 x 16000": (lambda: webp_header(16000, 16000) + bytes(64), "pixels"),
    "a PNG with many frames": (lambda: many_frames("PNG", 20), "moving"),
    "a WebP with many frames": (lambda: many_frames("WEBP", 20), "moving"),
    "a GIF with ten thousand frames": (lambda: long_gif(10_000), "kind"),
    "a PNG whose words unfold to 200 MB": (
        lambda: with_chunks(plain("PNG"), chunk(b"zTXt", b"Comment\x00\x00" + zlib.compress(bytes(200 * 10**6), 9))),
        "damaged",
    ),
}


# In a fresh process: a copy of the test runner, and what that starts, would count the runner's own memory. The kernel's
# VmHWM begins anew with each program; ru_maxrss does not.
MEASURED = """
import io, re, resource, sys
from shop.papers.photographs_decode import PictureRefused, remake
def naive(content):
    from PIL import Image
    Image.open(io.BytesIO(content)).convert("RGB").save(io.BytesIO(), "JPEG")
def peak():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", open("/proc/self/status").read())[1])
content, told, before = sys.stdin.buffer.read(), "done", peak()
try:
    globals()[sys.argv[1]](content)
except PictureRefused as refusal:
    told = refusal.reason
print(peak() - before + resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, told)
"""


def growth(function: str, content: bytes) -> tuple[int, str]:
    """How much more memory ``function`` takes, with the largest process it starts [bytes]; and why it refused."""
    command = [sys.executable, "-c", MEASURED, function]
    ran = subprocess.run(command, input=content, capture_output=True, check=True, cwd=ROOT)
    grown, told = ran.stdout.split()
    return int(grown) * 1024, told.decode()


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_and_memory_grows_by_less_than_150_megabytes(name: str) -> None:
    make, reason = BOMBS[name]
    content = make()
    assert len(content) < 300_000
    grown, told = growth("remake", content)
    print(f"{name}: {len(content)} bytes, memory grew by {grown / 2**20:.0f} MiB")
    assert told == reason
    assert grown <= MOST_GROWTH


@pytest.mark.control
def test_opened_plainly_the_first_bomb_takes_more() -> None:
    grown, _told = growth("naive", flat_png(9000))
    assert grown > MOST_GROWTH


def test_sizes_are_refused_by_the_first_bytes_alone() -> None:
    """Before any process is started: up to the limit and no pixel above it."""
    assert read_header(png(ihdr(8000, 5000))).width * 5000 == LARGEST_PIXELS
    for refused in (png(ihdr(8000, 5001)), webp_header(8000, 5001), b"\xff\xd8" + frame(8000, 5001)):
        with pytest.raises(PictureRefused, match="pixels"):
            read_header(refused)


@pytest.mark.parametrize(("kind", "options"), [("JPEG", {}), ("PNG", {}), ("WEBP", {}), ("WEBP", {"lossless": True})])
def test_the_first_bytes_are_read_as_the_library_reads_them(kind: str, options: dict[str, Any]) -> None:
    for size in ((1, 1), (33, 7), (300, 501)):
        header = read_header(plain(kind, size, **options))
        assert (header.kind, header.width, header.height) == (kind, *size)


def test_a_picture_of_just_40_megapixels_is_still_taken() -> None:
    made = photographs_decode.remake(flat_png(6324))
    assert (made.width, made.height) == (3000, 3000)


def test_the_child_refuses_by_itself_what_the_first_look_let_through(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photographs_decode, "read_header", lambda content: None)
    for content, reason in (
        (flat_png(7000), "pixels"),
        (flat_png(9000), "pixels"),
        (many_frames("WEBP"), "moving"),
        (plain("GIF"), "damaged"),
    ):
        with pytest.raises(PictureRefused, match=reason):
            photographs_decode.remake(content)


# -- large bodies ----------------------------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.urls("tests.papers.photograph_page")
@pytest.mark.parametrize("size", [25 * 10**6 + 1, 60 * 10**6])
def test_a_body_above_25_megabytes_is_refused_at_the_field_and_does_not_fill_the_disk(
    size: int, admin_client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = []
    receive = TemporaryFileUploadHandler.receive_data_chunk

    def watched(handler: TemporaryFileUploadHandler, data: bytes, start: int) -> None:
        written.append(len(data))
        receive(handler, data, start)

    monkeypatch.setattr(TemporaryFileUploadHandler, "receive_data_chunk", watched)
    content = io.BytesIO(plain() + bytes(size))
    content.name = "large.jpg"
    answer = admin_client.post("/proof/", {"photograph-file": content, "photograph-caption": "Tank"})
    assert answer.status_code == 200
    assert "This picture has more than 25 MB. Save it smaller" in answer.content.decode()
    assert 0 < sum(written) <= uploads.LARGEST_TOGETHER


def test_files_of_one_form_share_the_bound_and_no_part_passes_for_a_whole() -> None:
    handler = uploads.Bounded()
    found = []
    for _file in range(3):
        handler.new_file("file", "a.jpg", "image/jpeg", None)
        for number in range(200):  # 13 MB
            handler.receive_data_chunk(bytes(2**16), number * 2**16)
        found.append(handler.file_complete(200 * 2**16))
    assert [file.size for file in found] == [200 * 2**16] * 3
    assert [len(file.read()) for file in found] == [200 * 2**16, 0, 0]
    for file in found:
        file.close()


@pytest.mark.django_db
@pytest.mark.urls("tests.papers.photograph_page")
def test_a_body_of_a_thousand_files_is_refused(admin_client: Any) -> None:
    part = b'--x\r\nContent-Disposition: form-data; name="f"; filename="a.jpg"\r\n\r\n' + os.urandom(8) + b"\r\n"
    answer = admin_client.post("/proof/", part * 1000 + b"--x--\r\n", content_type="multipart/form-data; boundary=x")
    assert answer.status_code == 400
