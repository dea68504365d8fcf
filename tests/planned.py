"""A small workshop that plans: a place, a plater far away with days of its own, and things to buy. Invented."""

from datetime import date
from decimal import Decimal
from typing import Any

from quotes.pricing.models import Draft
from quotes.pricing.planning import Worked, plan_draft
from quotes.pricing.selectors import draft_of, priced
from shop.methods.models import Place
from shop.people.models import Shop
from shop.restorations.models import Part, Restoration
from shop.routes.models import Authorisation, Plan, Step
from shop.routes.services import add_step, authorise, wait_for
from tests.workshop import NOW, TODAY, WHO, Workshop, draft, frame

LEAD = 10


def planning_workshop(made: Workshop, **of_shop: Any) -> Workshop:
    """``made`` with a blast cabinet as a place, the plater's lead time, and ``of_shop`` said about the shop."""
    made.blast.place = Place.objects.create(name="Cabinet")
    made.blast.save()
    made.plate.lead_days = LEAD
    made.plate.save()
    Shop.objects.update(**of_shop)
    return made


def lever(of: Restoration, shop: Workshop, **fields: Any) -> Part:
    """A small part for the plater."""
    return frame(of, shop, **({"name": "Lever", "finish": shop.zinc, "weight": Decimal(1), "strength": 400} | fields))


def bought(part: Part, lead: int = 15) -> Step:
    """Something to buy that comes after ``lead`` working days."""
    given = {"buy": "Seal", "buy_source": "reproduction", "buy_price_minor": 900, "buy_lead_days": lead}
    return add_step(part=part, origin=Step.Origin.BEFORE, **given, **WHO)


def fitted(part: Part, shop: Workshop, *after: Step) -> Step:
    """A fitting of ``part`` that waits for the steps ``after``."""
    step = add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    for other in after:
        wait_for(step=step, on=other, **WHO)
    return step


def fresh_draft(of: Restoration) -> Draft:
    """The draft of a restoration as its rows are now."""
    of.refresh_from_db()
    found = draft_of(of) or draft(of)
    found.restoration = of
    return found


def work_out_anew(of: Restoration, *, today: date = TODAY) -> Worked | None:
    return plan_draft(found=priced(fresh_draft(of)), today=today, now=NOW)


def kept(of: Restoration, *, today: date = TODAY) -> Plan:
    """Its plan, worked out and kept now."""
    assert work_out_anew(of, today=today) is not None
    return Plan.objects.get(restoration=of)


def agree_to(*steps: Step) -> None:
    authorise(step_uids=[step.uid for step in steps], kind=Authorisation.Kind.QUOTE, reference="Q00001", now=NOW)
