"""Why work is done again, and what is looked at, from a readable file into an empty shop: see ``fixtures/checks.toml``."""

from collections import Counter
from pathlib import Path

from shop.methods.loading import Told, by_name, kept, read
from shop.methods.models import Cause, Check, Operation, PartKind

CAUSE_WORDS = {"name", "check_words"}
CHECK_WORDS = {"operation", "kind", "words", "unit", "for", "against"}


def load_checks(folder: Path) -> None:
    """The causes and checks of ``checks.toml``. Kinds of parts and operations must be there."""
    told = read(folder / "checks.toml")
    for item in told["cause"]:
        _known(item, CAUSE_WORDS)
    kept(Cause(**item) for item in told["cause"])
    operations, kinds, causes = by_name(Operation), by_name(PartKind), by_name(Cause)
    places: Counter[str] = Counter()
    rows = []
    for item in told["check"]:
        _known(item, CHECK_WORDS)
        places[item["operation"]] += 1
        check = Check(
            operation=operations[item["operation"]],
            position=places[item["operation"]],
            kind=item.get("kind", Check.Kind.TICK),
            words=item["words"],
            unit=item.get("unit", ""),
            kind_of_part=kinds[item["for"]] if "for" in item else None,
            against=causes[item["against"]] if "against" in item else None,
        )
        check.validate_constraints()
        rows.append(check)
    kept(rows)


def _known(told: Told, words: set[str]) -> None:
    if unknown := told.keys() - words:
        raise ValueError(f"A cause or check does not know {', '.join(sorted(unknown))}: {told}")
