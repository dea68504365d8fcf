"""Lots of the small workshop: levers that go to the plater. Invented."""

from datetime import timedelta
from typing import Any

from shop.restorations.models import Part, Restoration
from shop.routes.models import Step
from shop.vendor_jobs.lots import plan_lot
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.receiving import Arrival, Received, receive
from shop.vendor_jobs.sending import Told, send_out
from tests.at_the_bench import agreed, bench_frame
from tests.workshop import NOW, TODAY, WHO, Workshop

SENT, DUE = TODAY, TODAY + timedelta(days=10)
LATER: dict[str, Any] = {"who": "ada", "now": NOW + timedelta(days=10)}


def lever(of: Restoration, shop: Workshop, **fields: Any) -> Part:
    """Steel levers for the plater, agreed to, of a strength that needs no bake."""
    given = {"name": "Lever", "finish": shop.zinc, "pieces": 4, "weight": 1, "strength": 400} | fields
    part = bench_frame(of, shop, **given)
    agreed(part)
    return part


def plating(part: Part) -> Step:
    """The step that goes to the plater."""
    return part.steps.select_related("part__restoration", "service__vendor").get(
        service__isnull=False, removed_at__isnull=True
    )


def planned(*parts: Part, **more: Any) -> Job:
    return plan_lot(steps=[plating(part) for part in parts], **more, **WHO)


def sent(*parts: Part, **more: Any) -> Job:
    """A lot that left and is due in ten days."""
    return send_out(job=planned(*parts), on=SENT, told=Told(DUE, said_by="Iris"), **more, **WHO)


def came(job: Job, *, on: Any = DUE, **counts: Any) -> Received:
    """The first line of a lot came back as ``counts`` say."""
    line = job.lines.order_by("pk")[0]
    return receive(job=job, arrivals=[Arrival(line, **counts)], on=on, looked_by="Bea", **LATER)
