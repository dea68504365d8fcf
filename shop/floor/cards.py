"""Paper for the bench: the route card of a part, the card of a task, and tags to cut out. No money, nothing of the customer.

Cards are made when somebody asks for them, from how things stand then; what counts is what the pages say, to which the square
code leads.
"""

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import segno
from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.safestring import SafeString

from shop import text
from shop.floor import custody
from shop.floor.checks import Asked, checks_for
from shop.floor.models import Tag
from shop.floor.proofs import proofs
from shop.papers import pdf
from shop.papers.pictures import PAPER, route_line
from shop.restorations.models import Part, Restoration
from shop.routes.graph import Graph, graph
from shop.routes.models import Done, Remedy, Step, Task
from shop.routes.my_tasks import TaskCard, task_card
from shop.routes.standard import standard_minutes

STYLES = Path(__file__).resolve().parent.parent.parent / "static" / "css" / "cards.css"
#: Two across and five down on a sheet of A4.
ACROSS, ON_A_SHEET = 2, 10
#: A sheet too many is a roll of paper on the floor; what is more is printed in a second go.
MOST_TAGS = 200


@dataclass(frozen=True, slots=True)
class Row:
    """A step as it is ticked: where it is done, how long it takes by the standard [min], what is looked at."""

    number: int
    step: Step
    where: str
    minutes: str
    checks: Sequence[Asked]
    done: Done | None = None

    @property
    def part(self) -> Part:
        return self.step.part


@dataclass(frozen=True, slots=True)
class PartCard:
    """What stands on the route card of a part."""

    part: Part
    picture: SafeString
    rows: Sequence[Row]
    cautions: Sequence[str]
    proof: str
    tags: Sequence[Tag]
    printed: datetime


@dataclass(frozen=True, slots=True)
class TaskSheet:
    """What stands on the card of a task: its steps part by part, and what comes first where it is done again."""

    task: Task
    card: TaskCard
    rows: Sequence[Row]
    remedies: Sequence[Remedy]
    cautions: Sequence[str]
    instructions: Sequence[str]
    tags: Mapping[int, Sequence[custody.Where]]
    proofs: Mapping[int, str]
    minutes: str
    printed: datetime


# -- what stands on them -----------------------------------------------------------------------------------------------


def part_card(part: Part, *, now: datetime) -> PartCard:
    """In a constant number of queries."""
    found = graph([part.restoration_id])
    steps = found.routes.get(part.pk, [])
    part = found.parts.get(part.pk, part)
    return PartCard(
        part=part,
        picture=route_line.draw(_line(found, part, steps), width=PAPER),
        rows=_rows(steps, found.dones, now),
        cautions=_cautions(steps),
        proof=proofs([part], on=timezone.localdate(now)).get(part.pk, ""),
        tags=[one.tag for one in custody.of_parts([part.pk]).get(part.pk, ())],
        printed=now,
    )


def task_sheet(task: Task, *, now: datetime) -> TaskSheet:
    """In a constant number of queries."""
    card = task_card(task, now=now)
    lines = [*card.lines, *card.done]
    known = graph({line.step.part.restoration_id for line in lines})
    steps = [known.steps[pk] for line in lines if (pk := line.step.pk) in known.steps]
    parts = list({step.part_id: step.part for step in steps}.values())
    works = [*(remedy.work for remedy in card.remedies), *(step.work for step in steps if not step.buy)]
    total = card.standard.setup + card.standard.run
    return TaskSheet(
        task=task,
        card=card,
        rows=_rows(steps, known.dones, now),
        remedies=card.remedies,
        cautions=list(dict.fromkeys(work.caution for work in works if work.caution)),
        instructions=list(dict.fromkeys(said for work in works if (said := getattr(work, "instructions", "")))),
        tags=custody.of_parts([part.pk for part in parts]),
        proofs=proofs(parts, on=timezone.localdate(now)),
        minutes=_minutes(total),
        printed=now,
    )


def _rows(steps: Sequence[Step], dones: Mapping[int, Done], now: datetime) -> list[Row]:
    asked, times = checks_for(steps), standard_minutes(steps, on=timezone.localdate(now))
    return [
        Row(
            number,
            step,
            _where(step),
            _minutes(times[step.pk].minutes) if step.pk in times else "",
            asked[step.pk],
            dones.get(step.pk),
        )
        for number, step in enumerate(steps, start=1)
    ]


def _minutes(count: Decimal) -> str:
    whole = int(count.to_integral_value())
    return text.minutes(whole) if whole else ""


def _where(step: Step) -> str:
    if step.service is not None:
        return str(step.service.vendor)
    if step.operation is not None:
        return str(step.operation.place or "")
    return str(step.get_buy_source_display())


def _cautions(steps: Iterable[Step]) -> list[str]:
    return list(dict.fromkeys(step.work.caution for step in steps if not step.buy and step.work.caution))


def _line(found: Graph, part: Part, steps: Sequence[Step]) -> route_line.RouteLine:
    return route_line.RouteLine(part=part.name, stops=tuple(_stop(found, step) for step in steps))


def _stop(found: Graph, step: Step) -> route_line.Stop:
    others = [found.steps[pk].part for pk in found.before.get(step.pk, ()) if found.steps[pk].part_id != step.part_id]
    waits = tuple(dict.fromkeys(part.name for part in others))
    if step.service is not None:
        days = Decimal(step.service.lead_days) if step.service.lead_days else None
        vendor = step.service.vendor.name
        return route_line.Stop(name=str(step), kind=route_line.VENDOR, outside=vendor, days=days, waits_on=waits)
    if step.buy:
        days = Decimal(step.buy_lead_days) if step.buy_lead_days else None
        source = step.get_buy_source_display()
        return route_line.Stop(name=str(step), kind=route_line.PURCHASE, outside=source, days=days, waits_on=waits)
    elapsed = step.operation.elapsed if step.operation else 0
    return route_line.Stop(name=str(step), then_waits=text.minutes(elapsed) if elapsed else "", waits_on=waits)


# -- paper -------------------------------------------------------------------------------------------------------------


def part_pdf(card: PartCard, *, address: str) -> bytes:
    """``address`` is where the code leads."""
    return _paper("floor/paper_part.html", {"card": card}, {"code": address})


def task_pdf(sheet: TaskSheet, *, address: str) -> bytes:
    return _paper("floor/paper_task.html", {"sheet": sheet}, {"code": address})


def tags_pdf(bike: Restoration, tags: Sequence[Tag], *, addresses: Mapping[str, str]) -> bytes:
    """Tags to cut out, ten on a sheet; ``addresses`` says for each number where its code leads. Raises `pdf.RenderFailed`."""
    sheets = [_cut(sheet, ACROSS) for sheet in _cut(tags[:MOST_TAGS], ON_A_SHEET)]
    codes = {f"code-{tag.code}": addresses[tag.code] for tag in tags[:MOST_TAGS]}
    return _paper("floor/paper_tags.html", {"bike": bike, "sheets": sheets}, codes)


def _cut(tags: Sequence[Tag], many: int) -> list[Sequence[Tag]]:
    """Into pieces of so many, the last one perhaps shorter."""
    return [tags[at : at + many] for at in range(0, len(tags), many)]


def html(template: str, context: Mapping[str, object]) -> str:
    with translation.override(settings.LANGUAGE_CODE):
        return render_to_string(template, {**context, "language": settings.LANGUAGE_CODE})


def _paper(template: str, context: Mapping[str, object], codes: Mapping[str, str]) -> bytes:
    styles = pdf.FONT_FACES + STYLES.read_text(encoding="utf-8")
    pictures = {f"{name}.svg": square_code(address) for name, address in codes.items()}
    return pdf.render(html(template, context), assets={STYLES.name: styles.encode(), **pictures, **pdf.fonts()})


def square_code(address: str) -> bytes:
    """A QR code that survives a thumb of grease: a quarter of it may be gone (level Q)."""
    out = io.BytesIO()
    segno.make(address, error="q", micro=False).save(out, kind="svg", scale=4, border=4, dark="#000", light="#fff")
    return out.getvalue()
