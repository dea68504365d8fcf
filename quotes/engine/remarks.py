"""What a person must know before a quote goes out: what blocks it, and what it rests on."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from quotes.engine import plating
from quotes.engine.canonical import text
from quotes.engine.inputs import ZERO, By, Measure, Part, Restoration, Step, Work
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
NO_SIZE = "It is priced by {measure}, and this part has none. Give the part's size or a size class, or a quantity for the step."
SIZES = {Measure.DM2: "dm²", Measure.KG: "kg", Measure.SPOKE: "spokes"}
CAP_TOO_LOW = (
    "Its cap of {cap} is below what it is priced at, {price}: it would be sold below its estimate. Give a higher cap, or a "
    "lower price by a discount."
)
GUESSED = "The price is only guessed. Phone, or say so to the customer."


def remarks(restoration: Restoration) -> tuple[Remark, ...]:
    """Everything to be said about ``restoration``, in the order of its parts."""
    return tuple(_all(restoration))


def of_caps(lines: Iterable[Line]) -> Iterator[Remark]:
    """Lines that promise less than they are priced at."""
    for line in lines:
        if line.cap is not None and line.cap < line.net:
            values = (("cap", text(line.cap)), ("price", text(line.net)))
            yield Remark(True, line.part, "", CAP_TOO_LOW, values)


def _all(restoration: Restoration) -> Iterator[Remark]:
    operations, services = restoration.operations, restoration.services
    plates = {(Work.OPERATION, item.key) for item in operations if item.plates}
    plates |= {(Work.SERVICE, item.key) for item in services if item.plates}
    bakes = {(Work.OPERATION, item.key): item.elapsed / 60 for item in operations if item.bakes}
    bakes |= {(Work.SERVICE, item.key): item.bake_hours for item in services}
    guessed = {(Work.SERVICE, item.key) for item in services if item.status == "guessed"}
    guessed |= {(Work.PURCHASE, item.key) for item in restoration.purchases if item.status == "guessed"}
    by_size = _by_size(restoration)
    for name in _guessed_consumables(restoration):
        yield Remark(False, "", name, GUESSED)
    for part in restoration.parts:
        if not part.pieces:
            continue
        for index, step in enumerate(part.steps):
            measure = by_size.get((step.work, step.ref))
            if measure is not None and step.quantity is None and not _has(part, measure):
                yield Remark(True, part.name, step.name, NO_SIZE, (("measure", SIZES[measure]),))
            if (step.work, step.ref) in plates:
                this_and_next = part.steps[index : index + 2]
                baked = max(bakes.get((item.work, item.ref), ZERO) for item in this_and_next)
                yield from _plating(part, step, baked)
            if (step.work, step.ref) in guessed:
                yield Remark(False, part.name, step.name, GUESSED)


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


def _plating(part: Part, step: Step, baked: Decimal) -> Iterator[Remark]:
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
