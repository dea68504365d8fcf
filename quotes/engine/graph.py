"""Which step waits for which: the order of work, and cycles named part by part."""

from collections.abc import Collection, Mapping, Sequence

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Part


def waits(parts: Sequence[Part]) -> dict[str, tuple[str, ...]]:
    """Step uid to the uids it waits for: the step before it on its part, and those of other parts it names.

    Raises `BadInput` for a wait on a step that is not there, and for a step given twice.
    """
    known: dict[str, tuple[str, ...]] = {}
    for part in parts:
        before: tuple[str, ...] = ()
        for step in part.steps:
            if step.uid in known:
                raise BadInput("This step is there twice.", part=part.name, step=step.name)
            known[step.uid] = before + step.waits_for if step.waits_for else before
            before = (step.uid,)
    for part in parts:
        for step in part.steps:
            if any(uid not in known for uid in step.waits_for):
                raise BadInput(
                    "It waits for a step that is not part of this restoration. Remove the wait.",
                    part=part.name,
                    step=step.name,
                    field="waits for",
                )
    return known


def left_over(before: Mapping[str, Collection[str]]) -> list[str]:
    """What can never start: the nodes of cycles, and those that only follow from them. Empty when all is well."""
    waiting = {node: len(preds) for node, preds in before.items()}
    after: dict[str, list[str]] = {}
    for node, preds in before.items():
        for pred in preds:
            after.setdefault(pred, []).append(node)
    free = [node for node, count in waiting.items() if not count]
    done = 0
    while free:
        node = free.pop()
        done += 1
        for follower in after.get(node, ()):
            waiting[follower] -= 1
            if not waiting[follower]:
                free.append(follower)
    return [] if done == len(before) else [node for node, count in waiting.items() if count]


def check_order(parts: Sequence[Part], before: Mapping[str, Sequence[str]]) -> None:
    """Raise `BadInput` that names every part of a cycle of waits; say nothing when there is none."""
    stuck = set(left_over(before))
    if not stuck:
        return
    names = {step.uid: (part.name, step.name) for part in parts for step in part.steps}
    node = min(stuck)
    seen: list[str] = []
    while node not in seen:
        seen.append(node)
        node = min(pred for pred in before[node] if pred in stuck)
    ring = [*seen[seen.index(node) :], node]
    told = ", which waits for ".join(f"{part} ({step})" for part, step in (names[uid] for uid in ring))
    raise BadInput(
        "These steps wait for each other in a circle: {ring}. Remove one of these waits.", field="waits for", ring=told
    )
