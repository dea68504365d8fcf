"""From a picture somebody sent to pixels we made ourselves, in a child process with bounded time and memory."""

import json
import logging
import threading
from dataclasses import dataclass

from shop.papers import bounded
from shop.papers import photographs_child as child
from shop.papers.photographs_headers import LARGEST_PIXELS, PictureRefused, read_header

SECONDS = 10.0
# On top of the loaded library [bytes]. Measured for 40 megapixels: see the decision record.
MEMORY = 768 * 2**20
# Two at once in each web process, or four uploads would take four times the memory.
AT_ONCE, PATIENCE = 2, 15.0
_places = threading.BoundedSemaphore(AT_ONCE)

log = logging.getLogger("bareframe.papers")


@dataclass(frozen=True)
class Remade:
    """Two JPEGs of ours, the second at most 480 px long."""

    photograph: bytes
    thumbnail: bytes
    width: int  # of the photograph [px]
    height: int

    @property
    def bytes(self) -> int:
        return len(self.photograph) + len(self.thumbnail)


def remake(content: bytes, *, seconds: float = SECONDS, memory: int = MEMORY) -> Remade:
    """``content`` as an upright JPEG of its pixels alone. Raises ``PictureRefused``."""
    read_header(content)
    if not _places.acquire(timeout=PATIENCE):
        raise PictureRefused("busy")
    try:
        return _in_child(content, seconds, memory)
    finally:
        _places.release()


def _in_child(content: bytes, seconds: float, memory: int) -> Remade:
    try:
        status, out = bounded.run(child.__file__, content, seconds, memory, LARGEST_PIXELS, seconds=seconds)
    except bounded.TimeIsUp as error:
        raise PictureRefused("heavy") from error
    if status != child.DONE:
        raise PictureRefused(_reason(status))
    told, _, pixels = out.partition(b"\n")
    sizes = json.loads(told)
    whole, small = pixels[: sizes["photograph"]], pixels[sizes["photograph"] :]
    return Remade(photograph=whole, thumbnail=small, width=sizes["width"], height=sizes["height"])


def _reason(status: int) -> str:
    if status in child.REASONS:
        return child.REASONS[status]
    log.warning("A picture was given up: its process ended with status %s.", status)
    return "heavy"
