"""What strip-down may reveal, from a readable file into an empty shop. What it may say is shown by ``fixtures/damage.toml``."""

from decimal import Decimal
from pathlib import Path
from typing import Any

from quotes.engine.money import places, to_minor
from shop import currency
from shop.methods.loading import Told, by_name, kept, read
from shop.methods.models import COSTS, DamageStep, Measure, Operation, PartKind, PossibleDamage, Service

DAMAGE_WORDS = {"kind", "name", "frequency", "costs", "of", "step", "caution"}
STEP_WORDS = {"do", "send", "quantity"}


def load_damages(folder: Path) -> None:
    """The damages of ``damage.toml`` with their steps. Kinds, operations and services must be there."""
    told = read(folder / "damage.toml")["damage"]
    kinds = by_name(PartKind)
    made = kept(_damage(item, kinds) for item in told)
    works: dict[str, dict[str, Any]] = {"do": by_name(Operation), "send": by_name(Service)}
    kept(
        _step(damage, position, step, works)
        for damage, item in zip(made, told, strict=True)
        for position, step in enumerate(item.get("step", []), start=1)
    )


def _damage(told: Told, kinds: dict[str, PartKind]) -> PossibleDamage:
    _known(told, DAMAGE_WORDS)
    digits = places(currency.code())
    costs = [to_minor(Decimal(cost), digits=digits) for cost in told["costs"]]
    damage = PossibleDamage(
        kind=kinds[told["kind"]],
        name=told["name"],
        frequency=told["frequency"],
        cost_class=told.get("of", "labour"),
        caution=told.get("caution", ""),
        **dict(zip(COSTS, costs, strict=True)),
    )
    damage.validate_constraints()
    return damage


def _step(damage: PossibleDamage, position: int, told: Told, works: dict[str, dict[str, Any]]) -> DamageStep:
    _known(told, STEP_WORDS)
    step = DamageStep(
        damage=damage,
        position=position,
        operation=works["do"][told["do"]] if "do" in told else None,
        service=works["send"][told["send"]] if "send" in told else None,
        quantity=told.get("quantity"),
    )
    step.validate_constraints()
    if step.work.measure == Measure.HOUR and step.quantity is None:
        raise ValueError(f"{damage.kind}, {damage}: say how many hours “{step.work}” takes.")
    return step


def _known(told: Told, words: set[str]) -> None:
    if unknown := told.keys() - words:
        raise ValueError(f"A damage does not know {', '.join(sorted(unknown))}: {told}")
