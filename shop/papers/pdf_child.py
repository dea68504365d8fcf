"""The part of rendering that runs in a child process, where it may fail without harm.

It imports nothing of ours, so that a fresh process need not load the whole shop: it is run by its path.
"""

import json
import os
import resource
import signal
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

# Exit statuses: what a process without any memory left can still say.
DONE, MEMORY, REFUSED, BROKEN = 0, 3, 4, 5
JOB, RESULT, DETAIL = "job.json", "result.pdf", "detail.txt"
LARGEST_FILE = 64 * 2**20
PR_SET_PDEATHSIG = 1


def work(folder: Path, html: str, assets: Mapping[str, bytes], *, seconds: float, memory: int) -> int:
    """Leave the PDF, or a word on why there is none, in ``folder``; return the exit status."""
    tempfile.tempdir = str(folder)
    try:
        from weasyprint import HTML  # before the bound: what the library itself takes is not the document's

        bound(seconds=seconds, memory=memory)
        (folder / RESULT).write_bytes(_render(HTML, html, assets))
    except MemoryError:
        return MEMORY
    except Refused as error:
        return _fail(folder, REFUSED, str(error))
    except Exception as error:
        return _fail(folder, BROKEN, f"{type(error).__name__}: {error}")
    return DONE


def _fail(folder: Path, status: int, detail: str) -> int:
    (folder / DETAIL).write_text(detail[:500], encoding="utf-8", errors="replace")
    return status


class Refused(BaseException):
    """Not an ``Exception``, as the library swallows those while it fetches."""


def _render(html_class: Callable[..., Any], html: str, assets: Mapping[str, bytes]) -> bytes:
    document = html_class(string=html, base_url="asset:", url_fetcher=fetcher(assets)).render()
    if not document.metadata.title or not document.metadata.lang:
        raise Refused("The document needs a title and a language.")
    return bytes(document.write_pdf(pdf_variant="pdf/ua-1"))


def fetcher(assets: Mapping[str, bytes]) -> Any:
    """Hands out the bytes it was given, and nothing else: no network, no file, no data address."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class Assets(URLFetcher):  # type: ignore[misc]  # the library has no types
        def fetch(self, url: str, headers: object = None) -> Any:  # noqa: ARG002  (the library's signature)
            scheme, _, name = url.partition(":")
            if scheme != "asset":
                raise ValueError("Only assets that were handed over are used.")
            if name not in assets:
                raise Refused(f"The document asks for the asset {name!r}, which was not handed over.")
            return URLFetcherResponse(url, assets[name], {"Content-Type": _media_type(name)})

    return Assets(allowed_protocols=())


def _media_type(name: str) -> str:
    types = {"css": "text/css", "svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}
    return types.get(name.rpartition(".")[2], "application/octet-stream")


def bound(*, seconds: float, memory: int) -> None:
    """``memory`` is what the document may take on top of what the process has already [bytes]."""
    present = _address_space()
    if present:
        _limit(resource.RLIMIT_AS, present + memory)
    _limit(resource.RLIMIT_FSIZE, LARGEST_FILE)
    _limit(resource.RLIMIT_CORE, 0)
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, seconds)  # ends this process even when nobody watches it any more
    die_with_parent()


def _limit(which: int, value: int) -> None:
    resource.setrlimit(which, (value, value))


def _address_space() -> int:
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
    except OSError:
        return 0
    return pages * resource.getpagesize()


def die_with_parent() -> None:
    if sys.platform != "linux":
        return
    import ctypes

    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)


def main(folder: Path) -> int:
    job = json.loads((folder / JOB).read_bytes())
    assets = {name: (folder / file).read_bytes() for name, file in job["assets"].items()}
    return work(folder, job["html"], assets, seconds=job["seconds"], memory=job["memory"])


if __name__ == "__main__":
    os._exit(main(Path(sys.argv[1])))
