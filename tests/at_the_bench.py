"""Parts of the small workshop that can be worked on: everything agreed, and nothing about their finish left to prove."""

from typing import Any

from shop.restorations.models import Part, Restoration
from shop.routes.finishes import sign_finish
from shop.routes.models import Step
from tests.planned import agree_to
from tests.workshop import TODAY, WHO, Workshop, frame


def bench_frame(of: Restoration, shop: Workshop, **fields: Any) -> Part:
    """A frame as `frame` makes it, whose finish the customer signed for knowing how it departs: no proof is waited for."""
    part = frame(of, shop, **fields)
    given: dict[str, Any] = {"deviation": "Glossier", "who_agreed": "Jo", "how": "signed", "said_on": TODAY}
    sign_finish(part=part, finish=part.agreed_finish, **given, **WHO)
    return part


def steps_of(part: Part) -> list[Step]:
    """Its route, in order."""
    live = part.steps.filter(removed_at__isnull=True).select_related("part", "operation", "service")
    return list(live.order_by("position"))


def agreed(part: Part) -> list[Step]:
    """Its route, every step of it authorised."""
    found = steps_of(part)
    agree_to(*found)
    return found
