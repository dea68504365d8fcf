"""What changed from one version of a restoration to another, one change after the other.

Applied in turn to the first version, the changes lead to the second, so what each of them does to a figure adds up to
the whole difference: it is the difference it makes at its turn. Rates that only one version knows change nothing by
themselves; they come with what uses them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from typing import Any

from quotes.engine.inputs import ZERO, Part, Restoration, Step


class ChangeKind(StrEnum):
    """What sort of thing changed."""

    TERMS = "terms"
    POLICY = "policy"
    RATE = "rate"
    DAYS = "days"
    PART_IN = "part_in"
    PART_OUT = "part_out"
    PART = "part"
    STEP_IN = "step_in"
    STEP_OUT = "step_out"
    STEP = "step"
    ORDER = "order"
    DAMAGE = "damage"
    FINISH = "finish"


@dataclass(frozen=True, slots=True)
class Change:
    """One change: ``key`` is the uid of what changed, ``name`` and ``part`` how it is called; ``fields`` what of it."""

    kind: ChangeKind
    key: str
    name: str
    part: str = ""
    fields: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Turned:
    """A change and the restoration after it."""

    change: Change
    after: Restoration


#: What changes no figure by itself, or is worked out from the rest.
_TERMS = ("discount", "fee", "credits", "taxes")
_CATALOGUE = ("grades", "consumables", "operations", "services", "purchases")
_OF_PART = (
    "name",
    "pieces",
    "area",
    "weight",
    "openings",
    "spokes",
    "material",
    "strength",
    "thickness",
    "tax",
    "basis",
    "cap",
)

_Apply = Callable[[Restoration], Restoration]


def changes(before: Restoration, after: Restoration) -> list[Change]:
    """What changed, in no particular order of time: rates, terms, then part by part."""
    return [change for change, _ in _found(before, after)]


def walk(
    before: Restoration, after: Restoration, turns: Mapping[str, int] | None = None
) -> tuple[Restoration, list[Turned]]:
    """The first version made comparable, and every change with the restoration after it; the last is the second version.

    ``turns`` gives the place of a key in the order the changes were made; what it does not name comes first. The first
    version knows the second's rates where it has none of its own, which changes none of its figures.
    """
    order = turns or {}
    found = sorted(_found(before, after), key=lambda item: order.get(item[0].key, -1))
    now = _knowing(before, after)
    start, turned = _trimmed(now), []
    for change, apply in found:
        now = apply(now)
        turned.append(Turned(change, _trimmed(now)))
    if turned:
        turned[-1] = replace(turned[-1], after=after)
    return start, turned


def _knowing(before: Restoration, after: Restoration) -> Restoration:
    """``before`` with what is only in the other's catalogue, and with its names and days of pricing."""
    joined: dict[str, Any] = {name: _joined(getattr(before, name), getattr(after, name)) for name in _CATALOGUE}
    return replace(before, title=after.title, priced_on=after.priced_on, **joined)


def _joined(one: Sequence[Any], other: Sequence[Any]) -> tuple[Any, ...]:
    known = {item.key for item in one}
    return tuple(sorted([*one, *(item for item in other if item.key not in known)], key=lambda item: str(item.key)))


def _found(before: Restoration, after: Restoration) -> Iterator[tuple[Change, _Apply]]:
    for name in _CATALOGUE:
        yield from _rates(name, getattr(before, name), getattr(after, name))
    if before.policy != after.policy:
        changed = _differing(before.policy, after.policy)
        yield Change(ChangeKind.POLICY, "policy", "", fields=changed), lambda r: replace(r, policy=after.policy)
    if before.schedule != after.schedule:
        yield Change(ChangeKind.DAYS, "schedule", ""), lambda r: replace(r, schedule=after.schedule)
    for name in _TERMS:
        if getattr(before, name) != getattr(after, name):
            yield Change(ChangeKind.TERMS, name, name), _set(name, getattr(after, name))
    yield from _parts(before, after)


def _set(name: str, value: Any) -> _Apply:
    return lambda r: replace(r, **{name: value})


def _differing(one: Any, other: Any) -> tuple[str, ...]:
    return tuple(item.name for item in fields(one) if getattr(one, item.name) != getattr(other, item.name))


def _rates(name: str, before: Sequence[Any], after: Sequence[Any]) -> Iterator[tuple[Change, _Apply]]:
    known = {item.key: item for item in before}
    for item in after:
        old = known.get(item.key)
        if old is None:
            continue
        changed = tuple(field for field in _differing(old, item) if field not in {"source", "name"})
        if changed:
            yield Change(ChangeKind.RATE, item.key, item.name, fields=changed), _swapped(name, item)


def _swapped(name: str, new: Any) -> _Apply:
    def apply(r: Restoration) -> Restoration:
        swapped: dict[str, Any] = {name: tuple(new if item.key == new.key else item for item in getattr(r, name))}
        return replace(r, **swapped)

    return apply


def _parts(before: Restoration, after: Restoration) -> Iterator[tuple[Change, _Apply]]:
    old, new = ({part.uid: part for part in r.parts} for r in (before, after))
    order = _merged([part.uid for part in before.parts], [part.uid for part in after.parts])
    for uid in order:
        if uid not in new:
            yield Change(ChangeKind.PART_OUT, uid, old[uid].name), _without(uid)
        elif uid not in old:
            yield Change(ChangeKind.PART_IN, uid, new[uid].name), _with(new[uid], order)
        else:
            yield from _part(old[uid], new[uid])


def _without(uid: str) -> _Apply:
    return lambda r: replace(r, parts=tuple(part for part in r.parts if part.uid != uid))


def _with(part: Part, order: Sequence[str]) -> _Apply:
    at = {uid: place for place, uid in enumerate(order)}
    return lambda r: replace(r, parts=tuple(sorted((*r.parts, part), key=lambda item: at[item.uid])))


def _part(old: Part, new: Part) -> Iterator[tuple[Change, _Apply]]:
    changed = tuple(name for name in _OF_PART if getattr(old, name) != getattr(new, name))
    if changed:
        values = {name: getattr(new, name) for name in (*changed, "source")}
        yield Change(ChangeKind.PART, new.uid, new.name, fields=changed), _on(new.uid, _replaced(values))
    if old.damages != new.damages:
        yield (
            Change(ChangeKind.DAMAGE, f"damage {new.uid}", new.name),
            _on(new.uid, _replaced({"damages": new.damages})),
        )
    if old.question != new.question:
        yield (
            Change(ChangeKind.FINISH, f"finish {new.uid}", new.name),
            _on(new.uid, _replaced({"question": new.question})),
        )
    yield from _steps(old, new)


def _replaced(values: Mapping[str, Any]) -> Callable[[Part], Part]:
    return lambda part: replace(part, **values)


def _on(uid: str, change: Callable[[Part], Part]) -> _Apply:
    return lambda r: replace(r, parts=tuple(change(part) if part.uid == uid else part for part in r.parts))


def _steps(old: Part, new: Part) -> Iterator[tuple[Change, _Apply]]:
    before, after = ({step.uid: step for step in part.steps} for part in (old, new))
    order = _merged([step.uid for step in old.steps], [step.uid for step in new.steps])
    stayed = [uid for uid in before if uid in after]
    if stayed != [uid for uid in after if uid in before]:
        yield Change(ChangeKind.ORDER, f"order {new.uid}", new.name), _on(new.uid, _ordered(order, lambda steps: steps))
    for uid in order:
        if uid not in after:
            yield (
                Change(ChangeKind.STEP_OUT, uid, before[uid].name, new.name),
                _on(new.uid, _ordered(order, _less(uid))),
            )
        elif uid not in before:
            yield (
                Change(ChangeKind.STEP_IN, uid, after[uid].name, new.name),
                _on(new.uid, _ordered(order, _plus(after[uid]))),
            )
        elif before[uid] != after[uid]:
            changed = _differing(before[uid], after[uid])
            apply = _on(new.uid, _ordered(order, _instead(after[uid])))
            yield Change(ChangeKind.STEP, uid, after[uid].name, new.name, changed), apply


_Steps = tuple[Step, ...]


def _ordered(order: Sequence[str], change: Callable[[_Steps], _Steps]) -> Callable[[Part], Part]:
    at = {uid: place for place, uid in enumerate(order)}
    return lambda part: replace(part, steps=tuple(sorted(change(part.steps), key=lambda step: at[step.uid])))


def _less(uid: str) -> Callable[[_Steps], _Steps]:
    return lambda steps: tuple(step for step in steps if step.uid != uid)


def _plus(new: Step) -> Callable[[_Steps], _Steps]:
    return lambda steps: (*steps, new)


def _instead(new: Step) -> Callable[[_Steps], _Steps]:
    return lambda steps: tuple(new if step.uid == new.uid else step for step in steps)


def _merged(before: Sequence[str], after: Sequence[str]) -> list[str]:
    """Both in one row: in the order of the second, and what only the first has right after what it followed there."""
    row, known = list(after), set(after)
    for place, uid in enumerate(before):
        if uid not in known:
            earlier = next((other for other in reversed(before[:place]) if other in known), None)
            row.insert(row.index(earlier) + 1 if earlier else 0, uid)
            known.add(uid)
    return row


def _trimmed(r: Restoration) -> Restoration:
    """Without waits and ways back to steps that are not there at this turn, and without shares of a contingency."""
    known = {step.uid for part in r.parts for step in part.steps}
    return replace(r, parts=tuple(_trimmed_part(part, known) for part in r.parts))


def _trimmed_part(part: Part, known: set[str]) -> Part:
    at = {step.uid: place for place, step in enumerate(part.steps)}
    steps = tuple(_trimmed_step(step, place, at, known) for place, step in enumerate(part.steps))
    return replace(part, steps=steps, contingency=ZERO)


def _trimmed_step(step: Step, place: int, at: Mapping[str, int], known: set[str]) -> Step:
    waits = tuple(uid for uid in step.waits_for if uid in known)
    ways = tuple(way if at.get(way.to, place + 1) <= place else replace(way, to=step.uid) for way in step.ways_back)
    return step if (waits, ways) == (step.waits_for, step.ways_back) else replace(step, waits_for=waits, ways_back=ways)
