"""Methods from readable files into an empty shop. What the files may say is shown by those in ``fixtures``."""

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from django.db import models

from quotes.engine.money import places, to_minor
from shop import currency
from shop.methods.models import (
    ConditionFactor,
    Consumable,
    EvidenceSource,
    Finish,
    FinishRoute,
    FinishStep,
    Operation,
    PartKind,
    Place,
    Service,
    SizeClass,
    Template,
    TemplatePart,
    TemplateStep,
    Usage,
    Vendor,
)
from shop.methods.services import note_standard_time
from shop.people.models import Grade

Told = dict[str, Any]
Row = TypeVar("Row", bound=models.Model)


#: Names under which the files hold amounts of money, in euro.
AMOUNTS = {
    "charge_rate",
    "cost",
    "cost_rate",
    "costs",
    "inspect_fee",
    "lot_charge",
    "minimum",
    "overhead_rate",
    "price",
    "trip",
}


def read(path: Path) -> Told:
    """A TOML file with exact decimals.

    In a currency without minor units its amounts are a hundred times as many: as guesses, nearer than the bare numbers,
    and none is lost to rounding.
    """
    told: Told = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    return told if places(currency.code()) else {name: _enlarged(value, name) for name, value in told.items()}


def _enlarged(value: Any, name: str) -> Any:
    if isinstance(value, dict):
        return {inner: _enlarged(item, inner) for inner, item in value.items()}
    if name == "breaks":
        return [[quantity, rate * 100] for quantity, rate in value]
    if isinstance(value, list):
        return [_enlarged(item, name) for item in value]
    is_amount = name in AMOUNTS and isinstance(value, int | Decimal)
    return value * 100 if is_amount else value


def by_name(model: type[Row]) -> dict[str, Row]:
    return {row.name: row for row in model._default_manager.all()}  # type: ignore[attr-defined]  # all named


def kept(rows: Iterable[Row]) -> list[Row]:
    """Check the fields of new ``rows`` one by one, then add them all at once."""
    checked = list(rows)
    for row in checked:
        row.clean_fields(exclude=[field.name for field in row._meta.concrete_fields if field.is_relation])
    return list(type(checked[0])._default_manager.bulk_create(checked)) if checked else []


def noted(told: Sequence[Told], *, today: date, newest: bool) -> list[tuple[date, Told]]:
    """What was noted, with its day. ``newest``: only what holds, as noted today, for a shop that has no past."""
    if newest:
        return [(today, min(told, key=lambda item: item["days_ago"]))]
    return [(today - timedelta(days=item["days_ago"]), item) for item in told]


def load_methods(folder: Path, *, by_trade: bool, today: date, who: str, now: datetime) -> None:
    """Places, sizes, consumables, operations, services, finishes, templates. The labour grades must be there.

    ``by_trade`` calls vendors by what they do, and has each time noted today: an empty shop has its own vendors, and no past.
    """
    materials = read(folder / "materials.toml")
    kept(Place(**told) for told in materials["place"])
    kept(SizeClass(**told) for told in materials["size_class"])
    _kinds(read(folder / "kinds.toml"))
    kept(Consumable(**_without(told, "prices", "pack_size")) for told in materials["consumable"])
    _operations(read(folder / "operations.toml")["operation"], newest=by_trade, today=today, who=who, now=now)
    _vendors(read(folder / "vendors.toml")["vendor"], by_trade=by_trade)
    works = _Works()
    _finishes(read(folder / "finishes.toml")["finish"], works)
    for path in sorted((folder / "templates").glob("*.toml")):
        _template(read(path), works)


def _without(told: Mapping[str, Any], *names: str) -> Told:
    return {name: value for name, value in told.items() if name not in names}


def _kinds(told: Told) -> None:
    """Kinds of parts, and where one can look up how they left the works."""
    kept(PartKind(**kind) for kind in told["kind"])
    kinds = by_name(PartKind)
    for item in told["source"]:
        fields = _without(item, "kinds", "cost")
        (source,) = kept([EvidenceSource(cost_minor=_minor(item["cost"]), **fields)])
        source.kinds.set(kinds[name] for name in item.get("kinds", []))


def _minor(price: Decimal | int) -> int:
    return to_minor(Decimal(price), digits=places(currency.code()))


# -- operations and services ---------------------------------------------------------------------------------------


def _operations(told: Sequence[Told], *, newest: bool, today: date, who: str, now: datetime) -> None:
    grades, at = by_name(Grade), by_name(Place)
    made = kept(
        Operation(
            **_without(item, "times", "condition", "uses", "grade", "place"),
            grade=grades[item["grade"]],
            place=at[item["place"]] if "place" in item else None,
        )
        for item in told
    )
    consumables = by_name(Consumable)
    pairs = list(zip(made, told, strict=True))
    kept(
        ConditionFactor(operation=operation, condition=condition, factor=factor)
        for operation, item in pairs
        for condition, factor in item.get("condition", {}).items()
    )
    kept(
        Usage(operation=operation, **usage | {"consumable": consumables[usage["consumable"]]})
        for operation, item in pairs
        for usage in item.get("uses", [])
    )
    for operation, item in pairs:
        for day, time in noted(item["times"], today=today, newest=newest):
            minutes = {name: Decimal(value) for name, value in _without(time, "days_ago").items()}
            note_standard_time(
                operation=operation,
                valid_from=day,
                **{"setup": Decimal(0)} | minutes,
                who=who,
                now=now,
            )


def _vendors(told: Sequence[Told], *, by_trade: bool) -> None:
    for item in told:
        facts = {"name": item["trade"]} if by_trade else _without(item, "trade", "service")
        (vendor,) = kept([Vendor(**facts)])
        kept(Service(vendor=vendor, **_without(service, "price")) for service in item["service"])


# -- finishes and templates ----------------------------------------------------------------------------------------


class _Works:
    """Operations and services by name, loaded once."""

    def __init__(self) -> None:
        self.operations, self.services = by_name(Operation), by_name(Service)

    def method(self, told: Told, first: int, index: int) -> Told:
        """The fields that every step of a method has; ``first`` is the position of the first of its list."""
        return {
            "operation": self.operations[told["do"]] if "do" in told else None,
            "service": self.services[told["send"]] if "send" in told else None,
            "position": first + index,
            "fail_chance": told.get("fail", 0),
            "back_to": first + told["back_to"] - 1 if "back_to" in told else None,
            "remove_first": told.get("strip", False),
        }


STEP_WORDS = {"do", "send", "buy", "source", "price", "handling", "quantity", "fail", "back_to", "strip", "waits"}


def _checked(steps: Sequence[Told]) -> Sequence[Told]:
    for step in steps:
        if unknown := step.keys() - STEP_WORDS:
            raise ValueError(f"A step does not know {', '.join(sorted(unknown))}: {step}")
    return steps


def _finishes(told: Sequence[Told], works: _Works) -> None:
    made = kept(Finish(**_without(item, "route")) for item in told)
    lists = [
        (FinishRoute(finish=finish, material=material, direction=direction), route[direction])
        for finish, item in zip(made, told, strict=True)
        for route in item["route"]
        for material in route["materials"]
        for direction in ("apply", "remove")
        if direction in route
    ]
    kept(route for route, _steps in lists)
    kept(
        FinishStep(route=route, **works.method(step, 1, index))
        for route, steps in lists
        for index, step in enumerate(_checked(steps))
    )


def _template(told: Told, works: _Works) -> None:
    (template,) = kept([Template(name=told["name"], note=told.get("note", ""))])
    sizes, finishes, kinds = by_name(SizeClass), by_name(Finish), by_name(PartKind)
    items = [(area["name"], item) for area in told["area"] for item in area["part"]]
    parts = kept(
        TemplatePart(
            template=template,
            position=position,
            area_name=area,
            **_part_fields(item, sizes=sizes, finishes=finishes, kinds=kinds),
        )
        for position, (area, item) in enumerate(items, start=1)
    )
    of_name = {part.name: part for part in parts}
    if len(of_name) < len(parts):
        raise ValueError(f"{template}: two parts have the same name, so a wait could mean either.")
    steps: list[tuple[TemplateStep, Told]] = []
    for part, (_area, item) in zip(parts, items, strict=True):
        before, after = _checked(item.get("before", [])), _checked(item.get("after", []))
        steps += [(_step(part, step, works.method(step, 1, i)), step) for i, step in enumerate(before)]
        first = len(before) + 1
        steps += [
            (_step(part, step, works.method(step, first, i) | {"after_finish": True}), step)
            for i, step in enumerate(after)
        ]
    kept(step for step, _told in steps)
    waiting = TemplateStep.waits_for.through
    waiting._default_manager.bulk_create(
        waiting(templatestep_id=step.pk, templatepart_id=of_name[name].pk)
        for step, item in steps
        for name in item.get("waits", [])
    )


def _part_fields(
    told: Told, *, sizes: Mapping[str, SizeClass], finishes: Mapping[str, Finish], kinds: Mapping[str, PartKind]
) -> Told:
    fields = _without(told, "before", "after", "size_class", "finish", "old_finish", "kind")
    if "size_class" in told:
        fields["size_class"] = sizes[told["size_class"]]
    if "kind" in told:
        fields["kind"] = kinds[told["kind"]]
    for name in ("finish", "old_finish"):
        if name in told:
            fields[name] = finishes[told[name]]
    return fields


def _step(part: TemplatePart, told: Told, method: Told) -> TemplateStep:
    return TemplateStep(
        part=part,
        quantity=told.get("quantity"),
        buy=told.get("buy", ""),
        buy_origin=told.get("source", ""),
        buy_price_minor=_minor(told.get("price", 0)),
        buy_handling=told.get("handling", 0),
        **method,
    )
