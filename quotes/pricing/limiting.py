"""A restoration with only some of its steps: what one stage of a quote offers. Pure, on the engine's inputs."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from quotes.engine import inputs

NO_DAMAGE: tuple[inputs.Damage, ...] = ()


def only(given: inputs.Restoration, steps: Collection[str]) -> inputs.Restoration:
    """``given`` with nothing but ``steps`` (by uid) and the parts that have one of them.

    Waits on other steps fall away. A way back that led to one of them leads to the next step that is left. What is not
    used any more is no longer in the list of purchases.
    """
    kept = set(steps)
    parts = tuple(part for part in (_part(part, kept) for part in given.parts) if part.steps)
    return replace(given, parts=parts, purchases=_used(given, parts))


def without(given: inputs.Restoration, steps: Collection[str]) -> inputs.Restoration:
    """``given`` without ``steps``; a part that loses its last one is gone with all that hung on it."""
    gone = set(steps)
    kept = {step.uid for part in given.parts for step in part.steps} - gone
    parts = tuple(
        _part(part, kept) for part in given.parts if not part.steps or any(step.uid in kept for step in part.steps)
    )
    return replace(given, parts=parts, purchases=_used(given, parts))


def _part(part: inputs.Part, kept: Collection[str]) -> inputs.Part:
    steps = [step for step in part.steps if step.uid in kept]
    return replace(part, steps=tuple(_step(step, part, kept) for step in steps))


def _step(step: inputs.Step, part: inputs.Part, kept: Collection[str]) -> inputs.Step:
    ways = tuple(replace(way, to=_next_left(way.to, part, kept)) for way in step.ways_back)
    return replace(step, ways_back=ways, waits_for=tuple(uid for uid in step.waits_for if uid in kept))


def _next_left(uid: str, part: inputs.Part, kept: Collection[str]) -> str:
    """The step ``uid``, or the first after it that is left: at the latest the one that fails."""
    order = [step.uid for step in part.steps]
    if uid not in order:
        return uid
    return next((other for other in order[order.index(uid) :] if other in kept), uid)


def _used(given: inputs.Restoration, parts: Iterable[inputs.Part]) -> tuple[inputs.Purchase, ...]:
    refs = {item.ref for part in parts for item in _works(part) if item.work is inputs.Work.PURCHASE}
    return tuple(item for item in given.purchases if item.key in refs)


def _works(part: inputs.Part) -> Iterator[inputs.Step | inputs.Remedy]:
    """All that may have to be done on a part: its steps, what a failure needs first, and what another finish would."""
    for step in part.steps:
        yield step
        for way in step.ways_back:
            yield from way.remedies
    for candidate in part.question.candidates if part.question else ():
        yield from (*candidate.apply, *candidate.remove)


def seen(part: inputs.Part) -> inputs.Part:
    """``part`` with nothing unseen about it, at a fixed price."""
    return replace(part, damages=NO_DAMAGE, question=None, contingency=inputs.ZERO, basis=inputs.Basis.FIXED, cap=None)
