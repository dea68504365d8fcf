"""Which finish a part had, as the engine asks it: from what is listed, what says so and speaks of this machine, and the odds.

There is a question where a part has two finishes listed, or one and evidence. There is none for a price where the customer
signed for another finish knowing how it departs, or where another finish than those listed is agreed and the factory
finish is settled. Where no finish is agreed yet, the likeliest is taken as chosen, so that looking up has its worth.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from quotes.engine import evidence, inputs
from quotes.engine.errors import BadInput
from quotes.engine.money import from_minor, places
from shop import currency
from shop.methods.models import EvidenceSource, FinishRoute, Strength
from shop.rates.models import Odds
from shop.restorations.models import FinishAgreement, FinishCandidate, FinishEvidence, Looked, Machine, Part
from shop.restorations.speaking import speaks_of
from shop.routes.laying import Routes, works_of
from shop.routes.selectors import Scope
from shop.routes.splits import origin

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Heard:
    """What is known about the factory finishes of parts, as rows by part: the evidence that stands, whether it speaks of
    this machine or not, and the latest agreement.
    """

    candidates: Mapping[int, list[FinishCandidate]]
    evidence: Mapping[int, list[FinishEvidence]]
    agreements: Mapping[int, FinishAgreement]


def heard(scope: Scope) -> Heard:
    """What is known about every part in scope, in three queries."""
    return _heard(part__restoration=scope.restoration, part__removed_at__isnull=True)


def heard_in(restorations: Collection[int]) -> Heard:
    """What is known about every part in scope of several restorations, in three queries."""
    return _heard(part__restoration__in=restorations, part__removed_at__isnull=True)


def heard_of(part: Part) -> Heard:
    """What is known about one part, in three queries."""
    return _heard(part=origin(part))


def _heard(**parts: Any) -> Heard:
    candidates: dict[int, list[FinishCandidate]] = defaultdict(list)
    for candidate in FinishCandidate.objects.filter(**parts).select_related("finish").order_by("part", "pk"):
        candidates[candidate.part_id].append(candidate)
    said: dict[int, list[FinishEvidence]] = defaultdict(list)
    rows = FinishEvidence.objects.filter(removed_at__isnull=True, **parts).select_related("says", "source")
    for row in rows.order_by("part", "added_at", "pk"):
        said[row.part_id].append(row)
    agreements = FinishAgreement.objects.filter(**parts).select_related("finish").order_by("at", "pk")
    return Heard(candidates, said, {row.part_id: row for row in agreements})


def signed_deviation(part: Part, known: Heard) -> FinishAgreement | None:
    """The agreement by which the customer wants this finish knowing how it departs from the factory's; else None."""
    last = known.agreements.get(origin(part))
    return last if last and last.deviation and last.finish_id == part.agreed_finish_id else None


def strength_of(word: str, odds: Odds) -> Decimal:
    """The likelihood ratio behind a strength in words."""
    return Decimal(getattr(odds, Strength(word).value))


def question_of(part: Part, machine: Machine, known: Heard, odds: Odds) -> inputs.FinishQuestion | None:
    """What is asked about one part, without what its finishes cost; None where there is nothing to ask."""
    listed = known.candidates.get(origin(part), [])
    said = [row for row in known.evidence.get(origin(part), []) if speaks_of(row, machine)]
    if not listed or (len(listed) == 1 and not said):
        return None
    asked = inputs.FinishQuestion(
        chosen=str(part.agreed_finish.uid) if part.agreed_finish else "",
        candidates=tuple(_candidate(row) for row in listed),
        evidence=tuple(_evidence(row, odds) for row in said),
        none=Decimal(odds.none) / HUNDRED,
        noticed=Decimal(odds.noticed) / HUNDRED,
    )
    return asked if part.agreed_finish else replace(asked, chosen=_likeliest(asked))


def _likeliest(asked: inputs.FinishQuestion) -> str:
    """The likeliest of the listed; the first where nothing can be worked out, so that the price says why."""
    keys = {candidate.key for candidate in asked.candidates}
    try:
        chances = evidence.belief(evidence.checked(asked))
    except BadInput:
        return min(keys)
    return evidence.likeliest({key: chance for key, chance in chances.items() if key in keys})


def _candidate(row: FinishCandidate) -> inputs.Candidate:
    return inputs.Candidate(key=str(row.finish.uid), name=row.finish.name, prior=row.weight)


def _evidence(row: FinishEvidence, odds: Odds) -> inputs.Evidence:
    return inputs.Evidence(
        uid=str(row.uid),
        name=row.get_kind_display(),
        origin=row.origin,
        says=str(row.says.uid) if row.says else inputs.NONE_OF_THESE,
        strength=strength_of(row.strength, odds),
    )


def questions(scope: Scope, odds: Odds) -> dict[str, inputs.FinishQuestion]:
    """Part uid to what the price asks about it, in three queries. Raises `BadInput` for a listed finish with no route."""
    known, machine = heard(scope), scope.restoration.machine
    found = {}
    for part in scope.parts:
        if part.pk not in known.candidates or signed_deviation(part, known) is not None:
            continue
        agreed = part.agreed_finish_id
        if agreed and part.factory_finish_id and agreed not in {row.finish_id for row in known.candidates[part.pk]}:
            continue
        asked = question_of(part, machine, known, odds)
        if asked is not None:
            rows = known.candidates[part.pk]
            found[str(part.uid)] = replace(asked, candidates=tuple(_costed(part, row, scope.routes) for row in rows))
    return found


def _costed(part: Part, row: FinishCandidate, routes: Routes) -> inputs.Candidate:
    """A listed finish with the works that put it on and take it off. What has no way to be taken off needs none."""
    apply, remove = (
        tuple(inputs.Remedy(inputs.Work(kind), ref) for kind, ref in works_of(methods))
        for methods in (
            routes.steps.get((row.finish_id, part.material, direction), [])
            for direction in (FinishRoute.Direction.APPLY, FinishRoute.Direction.REMOVE)
        )
    )
    if not apply:
        raise BadInput(
            "There is no route to put “{finish}” on {material}, which it may have had. Give the finish a route, take it "
            "off the list, or note that the customer wants another.",
            part=part.name,
            field="finish",
            finish=row.finish.name,
            material=part.get_material_display(),
        )
    return replace(_candidate(row), apply=apply, remove=remove)


def look_ups(scope: Scope, odds: Odds) -> tuple[inputs.LookUp, ...]:
    """The sources that speak of parts with finishes listed, and have not been looked into for them yet, in five queries.

    What was looked into for the upper one has not been looked into for the lower.
    """
    machine = scope.restoration.machine
    in_scope = {"part__restoration": scope.restoration, "part__removed_at__isnull": True}
    listed = set(FinishCandidate.objects.filter(**in_scope).values_list("part", flat=True))
    heard_from = FinishEvidence.objects.filter(source__isnull=False, removed_at__isnull=True, **in_scope)
    done = set(heard_from.values_list("part", "source"))
    done |= set(Looked.objects.filter(**in_scope).values_list("part", "source"))
    parts = [part for part in scope.parts if part.pk in listed]
    found = []
    for source in EvidenceSource.objects.filter(ended=False).prefetch_related("kinds").order_by("name"):
        uids = tuple(str(p.uid) for p in parts if (p.pk, source.pk) not in done and _is_about(source, p))
        if uids and speaks_of(source, machine):
            found.append(_look_up(source, uids, odds))
    return tuple(found)


def _is_about(source: EvidenceSource, part: Part) -> bool:
    kinds = {kind.pk for kind in source.kinds.all()}
    return not kinds or part.kind_id in kinds


def _look_up(source: EvidenceSource, uids: tuple[str, ...], odds: Odds) -> inputs.LookUp:
    return inputs.LookUp(
        key=str(source.uid),
        name=source.name,
        cost=from_minor(source.cost_minor, digits=places(currency.code())),
        strength=strength_of(source.strength, odds),
        parts=uids,
        source=_("odds of %(day)s") % {"day": odds.valid_from.isoformat()},
    )
