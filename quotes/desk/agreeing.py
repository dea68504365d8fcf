"""What the customer has not agreed to yet, in words: new steps, steps left out, amounts that changed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import canonical, inputs
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote, Stage
from quotes.pricing.selectors import HEAVY, Priced

#: What of a part a price goes by, and how it is called.
AMOUNTS = ("pieces", "area", "weight", "openings", "spokes")


@dataclass(frozen=True, slots=True)
class Out:
    """The variation that nobody has answered yet: since when it waits, what of the difference it offers, part by part.

    ``is_outdated`` where it offers what is not wanted any more.
    """

    quote: IssuedQuote
    since: date
    is_lapsed: bool
    new: tuple[str, ...]
    left_out: tuple[str, ...]
    is_outdated: bool


@dataclass(frozen=True, slots=True)
class NotAgreed:
    """Sentences, part by part: what is ``new`` or ``left_out`` and not offered yet, and what waits in a quote that is ``out``.

    ``changed`` has to be taken out and added anew to be offered: its steps were agreed.
    """

    main: IssuedQuote
    new: tuple[str, ...]
    left_out: tuple[str, ...]
    changed: tuple[str, ...]
    out: Out | None = None

    def __bool__(self) -> bool:
        return bool(self.new or self.left_out or self.changed or self.out)


def not_agreed(found: Priced, *, today: date) -> NotAgreed | None:
    """Where the scope differs from what was agreed; None before a main offer is accepted."""
    differs = variations.difference(found.scope)
    main = differs.agreed.main
    if main is None:
        return None
    frozen = [variations.snapshot(quote) for quote in differs.agreed.quotes]
    quote = _unanswered(found) if differs else None
    offered = {step.step_uid for step in quote.steps.all()} if quote else set()
    credited = _credited(differs, quote) if quote else set()
    new, gone = differs.new - offered, differs.left_out - credited
    return NotAgreed(
        main=main,
        new=tuple(_new(found, new)),
        left_out=_left_out(frozen, gone),
        changed=tuple(_changed(found, frozen, differs)),
        out=Out(
            quote=quote,
            since=timezone.localdate(quote.issued_at),
            is_lapsed=quote.valid_until < today,
            new=tuple(_new(found, differs.new & offered)),
            left_out=_left_out(frozen, differs.left_out & credited),
            is_outdated=not offered <= differs.new,
        )
        if quote
        else None,
    )


def _unanswered(found: Priced) -> IssuedQuote | None:
    """The variation that is out, with its steps and lines: there is one or none, since a new one takes its place."""
    rows = found.scope.restoration.quotes.filter(stage=Stage.VARIATION, outcome__isnull=True).order_by("-number")
    return rows.defer(*HEAVY).prefetch_related("steps", "lines").first()


def _credited(differs: variations.Difference, quote: IssuedQuote) -> set[UUID]:
    """What of that which is left out ``quote`` credits."""
    named = {line.part_uid for line in quote.lines.all()}
    agreed = differs.agreed.steps
    return {uid for uid in differs.left_out if variations.credit_uid(agreed[uid], uid) in named}


def _new(found: Priced, new: frozenset[UUID]) -> Iterator[str]:
    for part in found.scope.parts:
        steps = [str(step) for step in found.scope.steps[part.pk] if step.uid in new]
        if steps:
            yield _("%(part)s: %(steps)s") % {"part": part, "steps": ", ".join(dict.fromkeys(steps))}


def _left_out(frozen: list[inputs.Restoration], gone: frozenset[UUID]) -> tuple[str, ...]:
    uids, said = {str(uid) for uid in gone}, []
    for given in frozen:
        for part in given.parts:
            steps = [step.name for step in part.steps if step.uid in uids]
            if steps:
                said.append(_("%(part)s: %(steps)s") % {"part": part.name, "steps": ", ".join(dict.fromkeys(steps))})
    return tuple(dict.fromkeys(said))


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
