"""Fitted to the bike once before it is coated: parts of such a kind wait with their finish until somebody tried them.

After coating it is too late to find out that a bracket is bent: drilling, filing and welding take the finish off again.
"""

from collections.abc import Collection
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.services import hold_scope, refuse_out_of_scope
from shop.routes.graph import Graph, graph
from shop.routes.models import Override, Step
from shop.routes.splits import origin_step


def why_not_fitted(found: Graph, step: Step) -> str:
    """Why ``step`` waits for its part to be fitted, in a sentence; empty where it does not. Nobody's override is looked at."""
    kind = step.part.kind
    if kind is None or not kind.fitted_first or step.origin != Step.Origin.FINISH or step.buy:
        return ""
    fits = [one for one in found.routes[step.part_id] if one.operation is not None and one.operation.fits_first]
    told = {"part": step.part, "step": step}
    if not fits:
        said = _(
            "%(part)s is fitted to the bike once before it is coated, but no step of its route does so. Add one before the "
            "finish, or let somebody decide by name."
        )
        return said % told
    if any(one.pk in found.dones for one in fits):
        return ""
    said = _("%(part)s is fitted to the bike once before it is coated: “%(fit)s” comes before “%(step)s”.")
    return said % (told | {"fit": fits[0]})


def let_go(restorations: Collection[int], kind: Override.Kind = Override.Kind.TRIAL) -> set[int]:
    """The steps that somebody let begin by name although something of this ``kind`` holds them back; one query."""
    rows = Override.objects.filter(kind=kind, step__part__restoration__in=restorations)
    return set(rows.values_list("step", flat=True))


def is_let_go(step: Step, known: Collection[int]) -> bool:
    """What was decided for a part before some pieces went their own way is decided for all of them."""
    return step.pk in known or origin_step(step) in known


@transaction.atomic
def override(*, step: Step, who_decided: str, reason: str, who: str, now: datetime) -> Override:
    """Let ``step`` begin without its part having been fitted: ``who_decided`` puts a name to it.

    Refused where nothing holds it back, and at ``who`` and ``reason`` where these say nothing.
    """
    restoration = step.part.restoration_id
    hold_scope(restoration)
    refuse_out_of_scope(step.part)
    found = graph({restoration})
    if step.pk not in found.steps:
        raise ValidationError(_("This step is off the route. Bring it back first."), code="off the route")
    held = found.steps[step.pk]
    row = Override(
        kind=Override.Kind.TRIAL, step=held, who=who_decided.strip(), reason=reason.strip(), at=now, recorded_by=who
    )
    row.full_clean(exclude={"step"})
    why = "" if is_let_go(held, let_go({restoration})) else why_not_fitted(found, held)
    if not why:
        said = _("Nothing holds “%(step)s” back: it can begin as it is.") % {"step": held}
        raise ValidationError(said, code="not held back")
    row.save()
    after = {"who decided": row.who, "reason": row.reason, "held back by": why}
    record(who=who, at=now, what="trial fit overridden", subject=subject_of(held), after=after)
    return row
