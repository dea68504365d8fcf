"""What the pages about factory finishes show: what is believed and why, what waits for it, and what to look up first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from quotes.engine import evidence, look_ups
from quotes.engine.inputs import NONE_OF_THESE
from quotes.engine.money import places, rounded
from quotes.pricing.selectors import Priced
from shop.methods.models import EvidenceSource
from shop.papers.pictures.chances import belief_in_words
from shop.rates.models import Odds
from shop.restorations.models import FinishAgreement, FinishCandidate, FinishEvidence, Part
from shop.restorations.speaking import why_silent
from shop.routes import questions
from shop.routes.gate import Belief, Cause, Refusal, belief_of, gate_for_part
from shop.routes.models import Override, Step


@dataclass(frozen=True, slots=True)
class Answer:
    """A finish a part may have had, with its chance in words; ``row`` is None for "none of these"."""

    name: str
    chance: str
    row: FinishCandidate | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of evidence, and why it does not speak of this machine, if so."""

    row: FinishEvidence
    silent: str


@dataclass(frozen=True, slots=True)
class Held:
    """A step that waits for the evidence and why, and the steps of which the same is true."""

    step: Step
    sentence: str
    also: Sequence[Step]


@dataclass(frozen=True, slots=True)
class Finish:
    """All about the factory finish of one part."""

    belief: str
    answers: Sequence[Answer]
    pieces: Sequence[Piece]
    agreement: FinishAgreement | None
    held: Sequence[Held]

    @property
    def waiting(self) -> list[Step]:
        """Every step that waits, in the order of the route."""
        return sorted((step for held in self.held for step in (held.step, *held.also)), key=lambda step: step.position)


def finish_of(part: Part, odds: Odds) -> Finish:
    """What is known and believed about ``part``, in a fixed number of queries."""
    known = questions.heard_of(part)
    machine = part.restoration.machine
    belief = belief_of(part, machine, known, odds)
    rows = known.evidence.get(part.pk, [])
    prefetch_related_objects(rows, "photographs")
    steps = list(part.steps.filter(removed_at__isnull=True).select_related("operation", "service").order_by("position"))
    held = gate_for_part(part, steps, known, odds)
    return Finish(
        belief=belief.sentence(),
        answers=_answers(known.candidates.get(part.pk, []), belief),
        pieces=[Piece(row, why_silent(row, machine)) for row in rows],
        agreement=known.agreements.get(part.pk),
        held=_together(steps, held),
    )


def _answers(listed: Sequence[FinishCandidate], belief: Belief) -> list[Answer]:
    """The likeliest first; without a question, as listed."""
    if belief.question is None or belief.error is not None:
        return [Answer(row.finish.name, "", row) for row in listed]
    chances = evidence.belief(belief.question)
    rows = {str(row.finish.uid): row for row in listed}
    ranked = sorted(chances, key=lambda key: (key == NONE_OF_THESE, -chances[key], key))
    return [Answer(belief.name_of(key), belief_in_words(chances[key]), rows.get(key)) for key in ranked]


def _together(steps: Sequence[Step], held: Mapping[str, Sequence[Refusal]]) -> list[Held]:
    """The steps that wait, those with one cause together."""
    by_cause: dict[Cause, list[Step]] = {}
    for step in steps:
        for refusal in held.get(str(step.uid), ()):
            by_cause.setdefault(refusal.cause, []).append(step)
    return [Held(first, held[str(first.uid)][0].sentence, also) for first, *also in by_cause.values()]


def overrides_of(part: Part) -> list[Override]:
    """Who let steps of ``part`` begin all the same."""
    rows = Override.objects.filter(step__part=part, step__removed_at__isnull=True)
    return list(rows.select_related("step__operation", "step__service"))


@dataclass(frozen=True, slots=True)
class LookUpRow:
    """A source with what looking into it is expected to save."""

    key: str
    name: str
    note: str
    sentence: str
    saving: Decimal
    cost: Decimal
    net: Decimal
    parts: Sequence[Part]


def look_up_rows(found: Priced, odds: Odds) -> list[LookUpRow]:
    """The sources left to look into, the one that saves most first; none without a price."""
    if found.given is None or found.explained is None:
        return []
    asked = {part.uid: part.question for part in found.given.parts if part.question is not None}
    sources = questions.look_ups(found.scope, odds)
    ranked = look_ups.worth(sources, asked, found.explained.losses)
    parts = {str(part.uid): part for part in found.scope.parts}
    notes = {str(uid): note for uid, note in EvidenceSource.objects.values_list("uid", "note")}
    digits = places(found.given.policy.currency)
    return [_row(worth, parts, notes.get(worth.key, ""), digits) for worth in ranked if worth.shares]


def _row(worth: look_ups.Worth, parts: Mapping[str, Part], note: str, digits: int) -> LookUpRow:
    money = {name: rounded(getattr(worth, name), digits=digits) for name in ("saving", "cost")}
    net = money["saving"] - money["cost"]
    useful = [share for share in worth.shares if share.changes] or worth.shares
    return LookUpRow(
        key=worth.key,
        name=worth.name,
        note=note,
        sentence=_sentence(worth, net),
        net=net,
        parts=[parts[share.part] for share in sorted(useful, key=lambda share: (-share.saving, share.part))],
        **money,
    )


def _sentence(worth: look_ups.Worth, net: Decimal) -> str:
    if not worth.changes:
        return _("Whatever it says, the same finish would go on: not worth looking for the price's sake.")
    if net > 0:
        return _("Worth looking: it is expected to save more than it costs.")
    return _("It could change the choice, but costs more than it is expected to save.")


def without_evidence(found: Priced) -> list[tuple[Part, bool]]:
    """Parts with an agreed finish of which nothing can be said yet, and whether what they may have had is listed.

    Not those on which the customer signed for another finish than the factory's.
    """
    known = questions.heard(found.scope)
    return [
        (part, part.pk in known.candidates)
        for part in found.scope.parts
        if part.agreed_finish_id
        and not (part.pk in known.candidates and known.evidence.get(part.pk))
        and not questions.signed_deviation(part, known)
    ]


def brief(part: Part, odds: Odds) -> dict[str, Any]:
    """The context of the section on a part's panel."""
    return {"finish": finish_of(part, odds)}
