"""Photographs of parts in work: what a tablet may see. None that was taken at intake, where papers and people may be in it."""

from collections.abc import Collection

from django.db.models import Exists, OuterRef, Q, QuerySet

from shop.floor.models import DamageReport, Rework
from shop.papers.models import Photograph
from shop.restorations.models import FinishEvidence, Part, PartDamage, Restoration
from shop.routes.models import TaskStep


def in_work() -> QuerySet[Restoration]:
    """Bikes with a task that is open."""
    return Restoration.objects.filter(
        Exists(TaskStep.objects.filter(step__part__restoration=OuterRef("pk"), task__closed_at__isnull=True))
    )


def may_be_seen(photograph: Photograph) -> bool:
    """Whether it shows a part of a bike in work. One query."""
    bikes = in_work().values("pk")
    shows = (
        Exists(FinishEvidence.objects.filter(photographs=OuterRef("pk"), part__restoration__in=bikes, removed_at=None))
        | Exists(PartDamage.objects.filter(photographs=OuterRef("pk"), part__restoration__in=bikes, removed_at=None))
        | Exists(DamageReport.objects.filter(photograph=OuterRef("pk"), part__restoration__in=bikes))
        | Exists(Rework.objects.filter(photograph=OuterRef("pk"), step__part__restoration__in=bikes))
    )
    return Photograph.objects.filter(shows, pk=photograph.pk).exists()


def of_parts(parts: Collection[Part]) -> dict[int, list[Photograph]]:
    """Part to its photographs, the oldest first, in five queries for any number of parts.

    A part split off has also those of the part it came from.
    """
    own = {part.pk: part.split_from_id or part.pk for part in parts}
    wanted = set(own) | set(own.values())
    found: dict[int, set[int]] = {pk: set() for pk in wanted}
    for model, way, photograph in (
        (FinishEvidence, "part", "photographs"),
        (PartDamage, "part", "photographs"),
        (DamageReport, "part", "photograph"),
        (Rework, "step__part", "photograph"),
    ):
        live = Q(removed_at=None) if photograph == "photographs" else Q()
        pairs = model._default_manager.filter(live, **{f"{way}__in": wanted, f"{photograph}__isnull": False})
        for part, pk in pairs.order_by().values_list(way, photograph):
            found[part].add(pk)
    known = Photograph.objects.in_bulk({pk for held in found.values() for pk in held})
    return {
        part: sorted(
            (known[pk] for pk in (found[part] | found[origin]) & known.keys()), key=lambda one: (one.added_at, one.pk)
        )
        for part, origin in own.items()
    }
