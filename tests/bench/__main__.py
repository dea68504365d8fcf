"""Run every bench: ``python -m tests.bench``, or some: ``python -m tests.bench roll_up``.

A bench is a module of this package with ``lines() -> Iterator[str]``. Each line is a time or a ratio measured in this
run; nothing fails by being slow.
"""

import importlib
import pkgutil
import sys
from collections.abc import Iterator
from types import ModuleType

from tests import bench


def benches(names: list[str]) -> Iterator[ModuleType]:
    found = sorted(item.name for item in pkgutil.iter_modules(bench.__path__) if item.name != "__main__")
    unknown = set(names) - set(found)
    if unknown:
        raise SystemExit(f"There is no bench {', '.join(sorted(unknown))}. There are: {', '.join(found)}.")
    for name in names or found:
        module = importlib.import_module(f"tests.bench.{name}")
        if hasattr(module, "lines"):
            yield module


def main(names: list[str]) -> None:
    for module in benches(names):
        for line in module.lines():
            print(f"{module.__name__.rpartition('.')[2]}: {line}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
