"""What the customer has not agreed to yet, in words: new steps, steps left out, amounts that changed."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from quotes.engine import canonical, inputs
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote
from quotes.pricing.selectors import Priced

#: What of a part a price goes by, and how it is called.
AMOUNTS = ("pieces", "area", "weight", "openings", "spokes")


@dataclass(frozen=True, slots=True)
class NotAgreed:
    """Sentences, part by part. ``changed`` has to be taken out and added anew to be offered: its steps were agreed."""

    main: IssuedQuote
    new: tuple[str, ...]
    left_out: tuple[str, ...]
    changed: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.new or self.left_out or self.changed)


def not_agreed(found: Priced) -> NotAgreed | None:
    """Where the scope differs from what was agreed; None before a main offer is accepted."""
    differs = variations.difference(found.scope)
    main = differs.agreed.main
    if main is None:
        return None
    frozen = [variations.snapshot(quote) for quote in differs.agreed.quotes]
    gone = {str(uid) for uid in differs.left_out}
    return NotAgreed(
        main=main,
        new=tuple(_new(found, differs)),
        left_out=tuple(dict.fromkeys(_left_out(frozen, gone))),
        changed=tuple(_changed(found, frozen, differs)),
    )


def _new(found: Priced, differs: variations.Difference) -> Iterator[str]:
    for part in found.scope.parts:
        steps = [str(step) for step in found.scope.steps[part.pk] if step.uid in differs.new]
        if steps:
            yield _("%(part)s: %(steps)s") % {"part": part, "steps": ", ".join(dict.fromkeys(steps))}


def _left_out(frozen: list[inputs.Restoration], gone: set[str]) -> Iterator[str]:
    for given in frozen:
        for part in given.parts:
            steps = [step.name for step in part.steps if step.uid in gone]
            if steps:
                yield _("%(part)s: %(steps)s") % {"part": part.name, "steps": ", ".join(dict.fromkeys(steps))}


def _changed(found: Priced, frozen: list[inputs.Restoration], differs: variations.Difference) -> Iterator[str]:
    """Parts whose agreed steps go by other amounts now."""
    if found.given is None:
        return
    agreed = {str(uid) for uid in differs.agreed.steps}
    before = {part.uid: part for given in frozen for part in given.parts}
    for part in found.given.parts:
        old = before.get(part.uid)
        if old is None or not any(step.uid in agreed for step in part.steps):
            continue
        amounts = [
            _("%(what)s %(old)s, now %(new)s")
            % {"what": _(name), "old": _text(getattr(old, name)), "new": _text(getattr(part, name))}
            for name in AMOUNTS
            if getattr(old, name) != getattr(part, name)
        ]
        was = {step.uid: step.quantity for step in old.steps}
        amounts += [
            _("%(what)s %(old)s, now %(new)s")
            % {"what": step.name, "old": _text(was[step.uid]), "new": _text(step.quantity)}
            for step in part.steps
            if step.uid in was and was[step.uid] != step.quantity
        ]
        if amounts:
            yield f"{part.name}: {'; '.join(amounts)}"


def _text(value: object) -> str:
    if value is None:
        return _("none")
    return canonical.text(value) if isinstance(value, Decimal) else str(value)
