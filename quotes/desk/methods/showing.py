"""What the pages of methods show beside the boxes."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.desk import history
from quotes.desk.methods.definitions import DEFINITIONS, Definition
from quotes.desk.told_words import ROUTE_SET
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.journal.models import Entry as Told
from shop.journal.services import subject_of
from shop.methods.defining import stamp_of
from shop.methods.models import (
    EvidenceSource,
    Finish,
    FinishRoute,
    FinishStep,
    Frequency,
    Material,
    Operation,
    PossibleDamage,
    Service,
    Strength,
    Vendor,
)
from shop.methods.selectors import standard_times
from shop.papers.pictures import figure, route_line
from shop.papers.pictures.ways_back import WayBack
from shop.rates.selectors import odds
from shop.restorations.models import PartDamage

#: The journal's words for what is changed on these pages. Dated rates of the same things have their own history.
CHANGES = ("method added", "method changed", "factors set", "usages set", "damage steps set")
MOST_TOLD = 20


@dataclass(frozen=True, slots=True)
class Entry:
    """A definition in the list, with what says most about it."""

    thing: Any
    note: str


def lists(today: date) -> list[tuple[Definition, list[Entry]]]:
    """Every definition by kind, in a fixed number of queries."""
    times = standard_times(today)
    return [
        (definition, [Entry(thing, _note(thing, times)) for thing in definition.rows()]) for definition in DEFINITIONS
    ]


def _note(thing: Any, times: dict[int, Any]) -> str:
    if isinstance(thing, Operation):
        place = f"{thing.place}, " if thing.place else ""
        return f"{place}{thing.grade} · {_time(thing, times.get(thing.pk))}"
    if isinstance(thing, Service):
        return _("%(vendor)s, by the %(measure)s") % {"vendor": thing.vendor, "measure": thing.get_measure_display()}
    if isinstance(thing, Finish):
        return ", ".join(word for word in (thing.process, thing.colour, thing.gloss) if word)
    if isinstance(thing, PossibleDamage):
        told = {"kind": thing.kind, "often": thing.get_frequency_display()}
        costs = {"low": _money(thing.low_minor), "high": _money(thing.high_minor)}
        return _("%(kind)s, %(often)s, %(low)s to %(high)s") % (told | costs)
    if isinstance(thing, EvidenceSource):
        told = {"strength": thing.get_strength_display(), "cost": _money(thing.cost_minor)}
        return _("%(strength)s, looking costs %(cost)s") % told
    return ""


def _money(minor: int) -> str:
    return text.money(from_minor(minor, digits=places(currency.code())), currency.code())


def meant(definition: Definition, today: date) -> str:
    """What the words of a definition stand for, as the rate book says today; empty where it has none."""
    words: dict[type[Any], tuple[Any, Any]] = {
        PossibleDamage: (Frequency, _("%(word)s: found on %(figure)s of 100 bikes")),
        EvidenceSource: (Strength, _("%(word)s: makes a finish %(figure)s times likelier")),
    }
    if definition.model not in words:
        return ""
    known, held = words[definition.model], odds(today)
    told = [known[1] % {"word": word.label, "figure": text.quantity(getattr(held, word.value))} for word in known[0]]
    return "; ".join(told)


def _time(operation: Operation, time: Any) -> str:
    if time is None:
        return _("no standard time yet")
    run = _("%(minutes)s min per %(measure)s") % {
        "minutes": text.quantity(time.run),
        "measure": operation.get_measure_display(),
    }
    return _("%(setup)s min set-up, %(run)s") % {"setup": text.quantity(time.setup), "run": run} if time.setup else run


@dataclass(frozen=True, slots=True)
class Beside:
    """What belongs to a definition: its standard time, its services, its routes."""

    time: str = ""
    services: Any = ()
    routes: tuple["Alike", ...] = ()
    missing: tuple[tuple[str, str, str], ...] = ()
    listed: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Alike:
    """Routes of a finish with the same steps, on one material or several."""

    direction: str
    routes: tuple[FinishRoute, ...]
    picture: SafeString


def beside(thing: Any, today: date) -> Beside:
    if isinstance(thing, Operation):
        return Beside(time=_time(thing, standard_times(today, only=[str(thing.uid)]).get(thing.pk)))
    if isinstance(thing, Vendor):
        return Beside(services=thing.services.order_by("name"))
    if isinstance(thing, PossibleDamage):
        return Beside(listed=_listed(thing))
    return _of_finish(thing) if isinstance(thing, Finish) else Beside()


def _listed(damage: PossibleDamage) -> tuple[tuple[str, int], ...]:
    """On how many parts it is listed and not settled, by who pays if it is found."""
    rows = PartDamage.objects.filter(
        damage=damage, settled="", removed_at__isnull=True, part__removed_at__isnull=True
    ).values_list("treatment")
    found = dict(rows.order_by("treatment").annotate(parts=Count("pk")))
    return tuple((str(one.label), found[one.value]) for one in PartDamage.Treatment if one.value in found)


def happened(thing: Any) -> list[history.Happened]:
    """The newest changes of a definition, in words."""
    subject = subject_of(thing)
    of_it = Told.objects.filter(subject_type=subject.type, subject_uid=subject.uid)
    asked = Q(what__in=CHANGES) | Q(what__startswith=ROUTE_SET)
    return history.happened(of_it.filter(asked).order_by("-pk")[:MOST_TOLD])


def _of_finish(finish: Finish) -> Beside:
    routes = list(
        finish.routes.prefetch_related("steps__operation", "steps__service__vendor").order_by("direction", "material")
    )
    alike: dict[tuple[str, str], list[FinishRoute]] = {}
    for route in routes:
        steps = [[getattr(step, name) for name in STEP_FACTS] for step in _steps(route)]
        alike.setdefault((route.direction, stamp_of(steps)), []).append(route)
    there = {(route.material, route.direction) for route in routes}
    missing = tuple(
        (material.value, direction.value, f"{direction.label}: {material.label}")
        for direction in FinishRoute.Direction
        for material in Material
        if (material.value, direction.value) not in there
    )
    shown = tuple(
        Alike(found[0].get_direction_display(), tuple(found), route_picture(found[0])) for found in alike.values()
    )
    return Beside(routes=shown, missing=missing)


STEP_FACTS = ("position", "operation", "service", "fail_chance", "back_to", "remove_first")


def _steps(route: FinishRoute) -> list[FinishStep]:
    return sorted(route.steps.all(), key=lambda step: step.position)


def route_picture(route: FinishRoute) -> SafeString:
    """The route as a line along the bench."""
    steps = _steps(route)
    at = {step.position: place for place, step in enumerate(steps)}
    shown = route_line.RouteLine(
        part=f"{route.finish}, {route.get_material_display()}",
        stops=tuple(_stop(step) for step in steps),
        ways_back=tuple(
            WayBack(start=place, to=at.get(step.back_to or step.position, place), chance=step.fail_chance / 100)
            for place, step in enumerate(steps)
            if step.fail_chance
        ),
    )
    return figure.on_page(
        lambda _ident, width: route_line.draw(shown, width=width),
        ident=f"route-{route.pk}",
        words=route_line.route_in_words(shown),
    )


def _stop(step: FinishStep) -> route_line.Stop:
    if step.service:
        days = Decimal(step.service.lead_days) if step.service.lead_days else None
        return route_line.Stop(
            name=step.service.name, kind=route_line.VENDOR, outside=step.service.vendor.name, days=days
        )
    assert step.operation is not None
    elapsed = step.operation.elapsed
    return route_line.Stop(name=step.operation.name, then_waits=text.minutes(Decimal(elapsed)) if elapsed else "")
