"""What is looked at before a bike leaves, from a readable file into an empty shop: see ``fixtures/runs.toml``."""

from collections import Counter
from pathlib import Path

from shop.methods.loading import kept, read
from shop.methods.models import RunCheck


def load_run_checks(folder: Path) -> None:
    """The checks of ``runs.toml``, in their order within each stage."""
    places: Counter[str] = Counter()
    rows = []
    for told in read(folder / "runs.toml")["check"]:
        places[told["stage"]] += 1
        rows.append(RunCheck(position=places[told["stage"]], **told))
    kept(rows)
