"""Made years of a workshop: who asked, what was quoted, who said yes, and what the floor did, with a truth that is known.

Quotes are priced, issued and answered by the services that every quote goes through, on their days; the floor's rows are laid in
in bulk (`quotes.learning.history.bikes`). The same seed makes the same years in the same shop.
"""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from quotes.engine.learning import making
from quotes.learning.history import bikes, hands, rates
from quotes.learning.history.bikes import WHO, World
from quotes.learning.history.truth import truth
from quotes.learning.work import Standards
from quotes.pricing.models import IssuedQuote, Outcome
from quotes.pricing.money import receipts
from quotes.pricing.services import issue, open_draft, record_outcome
from shop.floor.selectors import pauses
from shop.methods.models import Cause, Condition, Template
from shop.people.models import User
from shop.people.roles import ROLE_MECHANIC
from shop.people.services import add_person
from shop.restorations.damage import add_usual
from shop.restorations.models import Customer, PartDamage, Restoration
from shop.restorations.services import add_customer, add_machine, begin
from shop.routes.parts import lay_out_template
from shop.routes.tasks import form_tasks

MORNING = time(9)
FIRST_NAMES = ("Alma", "Benno", "Carla", "Doran", "Edda", "Falk", "Greta", "Hanno", "Ida", "Jarle", "Kaja", "Levin")
LAST_NAMES = ("Astley", "Brandt", "Corlis", "Dunmore", "Ekberg", "Fenwright", "Gallowe", "Hollis", "Isard", "Jernen")
MAKERS = {
    "250 single": ("Corvane (invented)", ("250 Thistle", "250 Teasel")),
    "350 two-stroke": ("Ilmarin (invented)", ("350 Sorrel", "350 Yarrow")),
    "500 twin": ("Corvane (invented)", ("500 Bramble", "500 Hawthorn")),
}
OTHER = ("Ilmarin (invented)", ("Unnamed",))
YEARS = (1949, 1972)
#: How many of a bike's parts are in scope, at least and at most [fraction], and their conditions.
SCOPE = (0.45, 1.0)
CONDITIONS = (Condition.SOUND, Condition.WORN, Condition.CORRODED, Condition.SEIZED)
SHABBY = ((0.35, 0.5, 0.12, 0.03), (0.15, 0.5, 0.28, 0.07), (0.05, 0.35, 0.45, 0.15))
WHY_NOT = "Too dear for us just now"


@dataclass(frozen=True, slots=True)
class MadeHistory:
    """What was made."""

    asked: int
    accepted: int
    finished: int
    first: date


def make(*, years: int, seed: int, today: date, say: Callable[[str], None] = lambda _words: None) -> MadeHistory:
    """Make so many years up to ``today``, into a shop that has methods. Not inside a transaction: quotes are issued in it."""
    first = today - timedelta(days=round(365.25 * years))
    at = _morning(first)
    with transaction.atomic():
        rates.reach_back(to=first - timedelta(days=1), who=WHO, now=at)
        known = truth()
        people = {one.key: _person(one) for one in known.mechanics}
    draw = making.generator(seed)
    world = World(
        truth=known,
        draw=draw,
        hands=hands.Hands(pauses()),
        people=people,
        standards=Standards(today),
        causes={row.name: row for row in Cause.objects.filter(ended=False)},
        until=_morning(today),
        job_number=bikes.first_number(),
    )
    count = round(known.customers.asked_per_year * years)
    days = sorted(int(draw.integers(0, (today - first).days)) for _each in range(count))
    accepted = finished = 0
    for number, day in enumerate(days, start=1):
        taken, done = _asked(world, first + timedelta(days=day), number)
        accepted, finished = accepted + taken, finished + done
        if not number % 10:
            say(f"{number} of {count} asked, {accepted} accepted, {finished} finished")
    return MadeHistory(count, accepted, finished, first)


def _person(mechanic: making.Mechanic) -> User:
    there = User.objects.filter(username=mechanic.key).first()
    return there or add_person(
        username=mechanic.key, name=mechanic.name, password=secrets.token_urlsafe(18), roles=[ROLE_MECHANIC]
    )


def _asked(world: World, day: date, number: int) -> tuple[bool, bool]:
    """Somebody asks; whether they took the offer, and whether the bike is finished by now."""
    of_bike = making.factor(world.draw, world.truth.bike)
    asked = _morning(day)
    restoration = _begun(world, asked, number)
    quote = _quoted(restoration, asked)
    answered = _morning(min(day + timedelta(days=int(world.draw.integers(2, 15))), timezone.localdate(world.until)))
    takes = making.accepts(world.draw, world.truth.customers, price=1.0, expected=1.0, of_bike=of_bike)
    record_outcome(
        quote=quote,
        kind=Outcome.Kind.ACCEPTED if takes else Outcome.Kind.DECLINED,
        said_by=restoration.customer.name,
        how=Outcome.How.EMAIL,
        reason="" if takes else WHY_NOT,
        today=timezone.localdate(answered),
        who=WHO,
        now=answered,
    )
    if not takes:
        return False, False
    _paid(restoration, quote.total_minor // 4, answered)
    form_tasks(restoration=restoration, now=answered)
    finished = bikes.work(restoration, world, of_bike=of_bike, begins=answered + timedelta(days=1))
    if finished is not None:
        _paid(restoration, quote.total_minor - quote.total_minor // 4, finished)
    return True, finished is not None


@transaction.atomic
def _begun(world: World, at: datetime, number: int) -> Restoration:
    """A bike as it comes in: a template, less what is left as it is, in its own condition."""
    draw = world.draw
    templates = list(Template.objects.order_by("name"))
    template = templates[int(draw.integers(len(templates)))]
    maker, models = MAKERS.get(template.name, OTHER)
    machine = add_machine(
        maker=maker,
        model=models[int(draw.integers(len(models)))],
        year=int(draw.integers(*YEARS)),
        frame_number=f"MH{number:05}",
        who=WHO,
        now=at,
    )
    restoration = begin(
        customer=_customer(world, at), machine=machine, begun_on=timezone.localdate(at), who=WHO, now=at
    )
    parts = lay_out_template(restoration=restoration, template=template, who=WHO, now=at)
    share = draw.uniform(*SCOPE)
    shabby = SHABBY[int(draw.integers(len(SHABBY)))]
    for part in parts:
        part.condition = CONDITIONS[int(draw.choice(len(CONDITIONS), p=shabby))]
        if draw.random() > share:
            part.removed_at = at
    type(parts[0]).objects.bulk_update(parts, ["condition", "removed_at"])
    for part in parts:
        if part.removed_at is None and part.kind_id and draw.random() < 0.5:
            add_usual(part=part, treatment=PartDamage.Treatment.EXCLUDED, who=WHO, now=at)
    restoration.refresh_from_db()
    return restoration


def _customer(world: World, at: datetime) -> Customer:
    first = FIRST_NAMES[int(world.draw.integers(len(FIRST_NAMES)))]
    name = f"{first} {LAST_NAMES[int(world.draw.integers(len(LAST_NAMES)))]}"
    there = Customer.objects.filter(name=name).first()
    return there or add_customer(name=name, address="Harrowgale (invented)", who=WHO, now=at)


def _quoted(restoration: Restoration, at: datetime) -> IssuedQuote:
    day = timezone.localdate(at)
    draft = open_draft(restoration=restoration, today=day, who=WHO, now=at)
    return issue(
        draft=draft,
        seen_scope=restoration.scope_version,
        seen_draft=draft.version,
        today=day,
        who=WHO,
        now=at,
        may_go_below_floor=True,
        below_floor_reason=WHO,
        guesses_are_told=True,
    )


def _paid(restoration: Restoration, amount: int, at: datetime) -> None:
    if amount:
        receipts.note(restoration=restoration, amount_minor=amount, received_on=timezone.localdate(at), who=WHO, now=at)


def _morning(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, MORNING))
