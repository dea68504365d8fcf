"""Changes between two versions, in words."""

from collections.abc import Callable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.engine.comparing import Change, ChangeKind

#: Fields of the engine's inputs as people call them.
FIELDS = {
    "pieces": gettext_lazy("pieces"),
    "area": gettext_lazy("area"),
    "weight": gettext_lazy("weight"),
    "openings": gettext_lazy("openings"),
    "spokes": gettext_lazy("spokes"),
    "material": gettext_lazy("material"),
    "strength": gettext_lazy("strength"),
    "thickness": gettext_lazy("thickest section"),
    "tax": gettext_lazy("tax"),
    "basis": gettext_lazy("what we promise"),
    "cap": gettext_lazy("cap"),
    "name": gettext_lazy("name"),
    "factor": gettext_lazy("condition"),
    "quantity": gettext_lazy("quantity"),
    "ways_back": gettext_lazy("chances of failing"),
    "waits_for": gettext_lazy("waits"),
    "process": gettext_lazy("finish"),
    "cost_rate": gettext_lazy("cost rate"),
    "charge_rate": gettext_lazy("charge-out rate"),
    "pace": gettext_lazy("pace"),
    "pack_price": gettext_lazy("price of a pack"),
    "unit_price": gettext_lazy("price per piece"),
    "setup": gettext_lazy("set-up time"),
    "run": gettext_lazy("run time"),
    "breaks": gettext_lazy("rates"),
    "minimum": gettext_lazy("minimum"),
    "lot_charge": gettext_lazy("lot charge"),
    "trip": gettext_lazy("trip"),
    "handling": gettext_lazy("handling time"),
    "lead_days": gettext_lazy("lead time"),
    "status": gettext_lazy("how sure the price is"),
}

TERMS = {
    "discount": gettext_lazy("discount"),
    "fee": gettext_lazy("fee"),
    "credits": gettext_lazy("what was paid before"),
    "taxes": gettext_lazy("tax rates"),
}

WORDS: dict[ChangeKind, Callable[[Change], str]] = {
    ChangeKind.TERMS: lambda change: _("Terms: %(what)s") % {"what": TERMS[change.name]},
    ChangeKind.POLICY: lambda _change: _("The shop's price policy"),
    ChangeKind.DAYS: lambda _change: _("Days: start, holds, hours or other work"),
    ChangeKind.RATE: lambda change: _("Rate book, %(name)s: %(fields)s") % _named(change),
    ChangeKind.PART_IN: lambda change: _("%(name)s came in") % {"name": change.name},
    ChangeKind.PART_OUT: lambda change: _("%(name)s went out") % {"name": change.name},
    ChangeKind.PART: lambda change: _("%(name)s: %(fields)s") % _named(change),
    ChangeKind.STEP_IN: lambda change: _("%(part)s: “%(step)s” added") % _step(change),
    ChangeKind.STEP_OUT: lambda change: _("%(part)s: “%(step)s” taken off") % _step(change),
    ChangeKind.STEP: lambda change: _("%(part)s, “%(step)s”: %(fields)s") % (_step(change) | _named(change)),
    ChangeKind.ORDER: lambda change: _("%(name)s: order of the steps") % {"name": change.name},
    ChangeKind.DAMAGE: lambda change: _("%(name)s: possible damage") % {"name": change.name},
    ChangeKind.FINISH: lambda change: _("%(name)s: finish evidence") % {"name": change.name},
}


def told_change(change: Change) -> str:
    """One change in words."""
    return WORDS[change.kind](change)


def _named(change: Change) -> dict[str, str]:
    fields = [str(FIELDS[name]) for name in change.fields if name in FIELDS]
    return {"name": change.name, "fields": ", ".join(fields) or _("details")}


def _step(change: Change) -> dict[str, str]:
    return {"part": change.part, "step": change.name}
