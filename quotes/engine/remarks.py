"""What a person must know before a quote goes out: what blocks it, and what it rests on."""

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal

from quotes.engine import plating
from quotes.engine.canonical import text
from quotes.engine.inputs import ZERO, By, Measure, Part, Purchase, Restoration, Step, Work
from quotes.engine.results import Line, Remark

STRENGTH_UNKNOWN = (
    "Electroplating can make strong steel break without warning, and its strength is not known. Look for the head "
    "marking; ask whether it is a spring, spoke, axle, brake or steering part. Then enter the strength."
)
REFUSED = "It must not be electroplated at {strength} MPa ({rule}). Choose a finish without plating, or ask a qualified plater."
BAKE = (
    "At {strength} MPa it must be baked for at least {hours} h, begun within {within} h of plating ({rule}). Add a bake "
    "as the next step, or a service that includes it."
)
NO_SIZE = (
    "Its work is priced by {measure}, and this part has none, so it counts for nothing. A size class is enough: choose one on "
    "the part's page. Measured, or as a quantity of the step, it is surer."
)
NO_SPOKES = "Its work is priced by {measure}, and this part has none, so it counts for nothing. Give their number on the part's page."
#: Parts that a guess is told of by name.
NAMED = 3
SIZES = {Measure.DM2: "dm²", Measure.KG: "kg", Measure.SPOKE: "spokes"}
CAP_TOO_LOW = (
    "Its cap of {cap} is below what it is priced at, {price}: it would be sold below its estimate. Give a higher cap, or a "
    "lower price by a discount."
)
GUESSED = "The price is only guessed. Phone, or say so to the customer."


def remarks(restoration: Restoration) -> tuple[Remark, ...]:
    """Everything to be said about ``restoration``, in the order of its parts."""
    return tuple(remark for _uid, remark in by_part(restoration))


def by_part(restoration: Restoration) -> Iterator[tuple[str, Remark]]:
    """The same, each with the part it is about; a price that is only guessed is about none, and is told of once."""
    for remark in _guesses(restoration):
        yield "", remark
    for uid, remark in _of_parts(restoration):
        yield uid, remark


def of_caps(lines: Iterable[Line]) -> Iterator[Remark]:
    """Lines that promise less than they are priced at."""
    for _uid, remark in of_caps_by_part(lines):
        yield remark


def of_caps_by_part(lines: Iterable[Line]) -> Iterator[tuple[str, Remark]]:
    for line in lines:
        if line.cap is not None and line.cap < line.net:
            values = (("cap", text(line.cap)), ("price", text(line.net)))
            yield line.uid, Remark(True, line.part, "", CAP_TOO_LOW, values)


def _of_parts(restoration: Restoration) -> Iterator[tuple[str, Remark]]:
    operations, services = restoration.operations, restoration.services
    plates = {(Work.OPERATION, item.key) for item in operations if item.plates}
    plates |= {(Work.SERVICE, item.key) for item in services if item.plates}
    bakes = {(Work.OPERATION, item.key): item.elapsed / 60 for item in operations if item.bakes}
    bakes |= {(Work.SERVICE, item.key): item.bake_hours for item in services}
    by_size = _by_size(restoration)
    for part in restoration.parts:
        if not part.pieces:
            continue
        for remark in _sizes(part, by_size):
            yield part.uid, remark
        for index, step in enumerate(part.steps):
            if (step.work, step.ref) in plates:
                this_and_next = part.steps[index : index + 2]
                baked = max(bakes.get((item.work, item.ref), ZERO) for item in this_and_next)
                for remark in of_plating(part, step, baked):
                    yield part.uid, remark


def _sizes(part: Part, by_size: Mapping[tuple[Work, str], Measure]) -> Iterator[Remark]:
    """What the part lacks, told once for all its steps."""
    missing: dict[str, list[str]] = {NO_SIZE: [], NO_SPOKES: []}
    for step in part.steps:
        measure = by_size.get((step.work, step.ref))
        if measure is not None and step.quantity is None and not _has(part, measure):
            missing[NO_SPOKES if measure is Measure.SPOKE else NO_SIZE].append(SIZES[measure])
    for text_of, measures in missing.items():
        if measures:
            yield Remark(True, part.name, "", text_of, (("measure", ", ".join(sorted(set(measures)))),))


def _guesses(restoration: Restoration) -> Iterator[Remark]:
    """Prices that nobody has heard or seen, each once however many parts it is used on."""
    for name in _guessed_consumables(restoration):
        yield Remark(False, "", name, GUESSED)
    guessed = {(Work.SERVICE, item.key) for item in restoration.services if item.status == "guessed"}
    guessed |= {(Work.PURCHASE, item.key) for item in restoration.purchases if _is_guess(item)}
    used: dict[tuple[Work, str], list[tuple[str, str]]] = {}
    for part in restoration.parts:
        for step in part.steps if part.pieces else ():
            if (step.work, step.ref) in guessed:
                used.setdefault((step.work, step.ref), []).append((part.name, step.name))
    for places in used.values():
        parts = sorted({part for part, _step in places})
        named = ", ".join(parts) if len(parts) <= NAMED else ""
        yield Remark(False, named, min(step for _part, step in places), GUESSED)


def _is_guess(item: Purchase) -> bool:
    """No price at all is none that was told, unless somebody saw in writing that it costs nothing."""
    return item.status == "guessed" or (item.status != "seen" and not item.unit_price)


def _by_size(restoration: Restoration) -> dict[tuple[Work, str], Measure]:
    """Work whose price goes by a size a part may lack: by its own measure, or by a film on its area."""
    coats = {item.key for item in restoration.consumables if item.by is not By.MEASURE}
    result = {(Work.SERVICE, item.key): item.measure for item in restoration.services}
    for item in restoration.operations:
        coated = any(usage.consumable in coats for usage in item.usages)
        result[(Work.OPERATION, item.key)] = Measure.DM2 if coated else item.measure
    return {key: measure for key, measure in result.items() if measure in SIZES}


def _has(part: Part, measure: Measure) -> bool:
    return bool({Measure.DM2: part.area, Measure.KG: part.weight, Measure.SPOKE: part.spokes}[measure])


def _guessed_consumables(restoration: Restoration) -> list[str]:
    """Names of the consumables in use whose price is only guessed."""
    refs = {step.ref for part in restoration.parts if part.pieces for step in part.steps}
    used = {usage.consumable for item in restoration.operations if item.key in refs for usage in item.usages}
    return sorted(item.name for item in restoration.consumables if item.key in used and item.status == "guessed")


def of_plating(part: Part, step: Step, baked: Decimal) -> Iterator[Remark]:
    """What speaks against plating a part in a step that is followed by a bake of ``baked`` hours."""
    verdict = plating.verdict(material=part.material, strength=part.strength, thickness=part.thickness)
    if not verdict.allowed and part.strength is None:
        yield Remark(True, part.name, step.name, STRENGTH_UNKNOWN)
        return
    values = (("strength", text(part.strength or ZERO)), ("rule", verdict.rule))
    if not verdict.allowed:
        yield Remark(True, part.name, step.name, REFUSED, values)
    elif verdict.bake_hours > baked:
        needed = (("hours", text(verdict.bake_hours)), ("within", text(verdict.start_within)))
        yield Remark(True, part.name, step.name, BAKE, values + needed)
