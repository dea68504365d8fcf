"""The process in which a picture is opened, where that may fail without harm.

The picture comes in on standard input. Out go a line of JSON and two JPEGs that hold pixels and nothing else.
It imports nothing of ours by name, so that a fresh process need not load the whole shop: it is run by its path. And
it imports no library, so that whoever starts it need not load one either.
"""

import importlib.util
import os
import sys
from pathlib import Path
from typing import Any

# Exit statuses beside those of any interpreter; the words are reasons of ``PictureRefused``.
DONE, MEMORY = 0, 3
REASONS = {4: "kind", 5: "damaged", 6: "pixels", 7: "moving"}
STATUSES = {reason: status for status, reason in REASONS.items()}


def main(seconds: float, memory: int, largest_pixels: int) -> int:
    pixels = _beside("photographs_pixels")  # before the bound: what the library itself takes is not the picture's
    try:
        content = sys.stdin.buffer.read()
        _beside("pdf_child").bound(seconds=seconds, memory=memory)
        sys.stdout.buffer.write(pixels.work(content, largest_pixels=largest_pixels))
        sys.stdout.buffer.flush()
    except MemoryError:
        return MEMORY
    except pixels.Refused as error:
        return STATUSES[str(error)]
    except Exception:  # whatever a hostile file makes the library raise
        return STATUSES["damaged"]
    return DONE


def _beside(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    os._exit(main(float(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])))
