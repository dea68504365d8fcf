"""Hand-over: what the owner signs for, and what has to be in order before.

What is signed is canonical text, known by its hash, like the intake sheet. That money was late and who let the bike go all the
same is kept beside it: the owner does not sign for that.
"""

import json
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import canonical
from quotes.engine.money import from_minor, places
from shop import currency
from shop.floor.leaving import not_ready
from shop.floor.models import HandedOver
from shop.journal.services import record, subject_of
from shop.restorations.intake import mark
from shop.restorations.models import FinishAgreement, Intake, Restoration
from shop.restorations.services import hold_scope
from shop.routes import funding
from shop.routes.models import Done, Step
from shop.text import money


@dataclass(frozen=True, slots=True)
class Said:
    """What the desk types for the sheet: one thing a line where it is a list."""

    received_by: str
    on: date
    reading: int | None = None
    keys: str = ""
    papers: str = ""
    replaced: str = ""
    after_care: str = ""


def default_after_care() -> str:
    """For the shop to change. No distance or torque comes with it: those are the data sheet's and the shop's."""
    return "\n".join(
        (
            _(
                "Bring it back for the first retorque after the distance we agree: head, exhaust, spokes, axles, steering head."
            ),
            _("Run it in as the data sheet has it: changing speeds, light load, no full throttle, let it cool down."),
            _("Look at oil, tyre pressures and brakes before every ride; new linings need bedding in."),
            _("Stop and call us at a noise, smell or leak that was not there before."),
            _("Plates, insurance and inspection are the owner's, as local law has them."),
        )
    )


def last_after_care() -> str:
    """What was said at the hand-over before, else `default_after_care`."""
    last = HandedOver.objects.order_by("-at").values_list("words", flat=True).first()
    return str(json.loads(last).get("after_care", "")) if last else default_after_care()


def replaced_of(restoration: Restoration) -> str:
    """What was bought in and fitted, a line each, as far as its steps are done."""
    done = Done.objects.filter(undone_at__isnull=True).values("step")
    rows = Step.objects.filter(
        pk__in=done,
        part__restoration=restoration,
        part__removed_at__isnull=True,
        removed_at__isnull=True,
    ).exclude(buy="")
    rows = rows.select_related("part").order_by("part__position", "part", "position")
    return "\n".join(dict.fromkeys(f"{row.part.name}: {row.buy} ({row.get_buy_source_display()})" for row in rows))


def came_with(restoration: Restoration) -> tuple[str, str]:
    """Keys and papers that came with it, so that they go back."""
    row = Intake.objects.filter(restoration=restoration).values_list("keys", "papers").first()
    return row or ("", "")


def deviations(restoration: Restoration) -> list[str]:
    """What the owner signed that the factory did not do: the newest agreement of each part in scope."""
    rows = FinishAgreement.objects.filter(part__restoration=restoration, part__removed_at__isnull=True)
    newest = {row.part_id: row for row in rows.select_related("part", "finish").order_by("at", "pk")}
    told = sorted(newest.values(), key=lambda row: (row.part.position, row.part_id))
    said = _("%(part)s: %(finish)s. %(deviation)s (%(who)s, %(day)s)")
    return [
        said
        % {
            "part": row.part.name,
            "finish": row.finish,
            "deviation": row.deviation,
            "who": row.who,
            "day": row.said_on.isoformat(),
        }
        for row in told
        if row.deviation
    ]


def lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def facts(restoration: Restoration, said: Said) -> dict[str, Any]:
    """What is signed for, as plain values."""
    machine = restoration.machine
    typed = asdict(said) | {"on": said.on.isoformat(), "received_by": said.received_by.strip()}
    return {
        "customer": restoration.customer.name,
        "machine": str(machine),
        "frame_number": machine.frame_number,
        "engine_number": machine.engine_number,
        "deviations": deviations(restoration),
        **typed,
        "replaced": lines(said.replaced),
        "after_care": "\n".join(lines(said.after_care)),
    }


def words(restoration: Restoration, said: Said) -> str:
    """The same text for the same facts, for ever."""
    return canonical.dump(facts(restoration, said)).decode()


@dataclass(frozen=True, slots=True)
class Held:
    """What keeps a bike here: ``reasons`` that nobody can let pass, and money that is late [minor units with tax]."""

    reasons: list[str]
    late: int

    @property
    def late_shown(self) -> str:
        code = currency.code()
        return money(from_minor(self.late, digits=places(code)), code)


def held(restoration: Restoration, *, now: datetime) -> Held:
    """What has to be in order before the bike leaves."""
    return Held(not_ready(restoration), funding.funds_of(restoration, now=now).late)


@transaction.atomic
def hand_over(
    *,
    restoration: Restoration,
    said: Said,
    seen: str,
    let_go_by: str = "",
    let_go_why: str = "",
    who: str,
    now: datetime,
) -> HandedOver:
    """Keep that the owner has the bike, and signed for it as it is written now. ``seen`` is the `mark` of the words read.

    Refused while a run is missing, a snag is open, or money is late; the last somebody lets pass by name and with a reason.
    """
    hold_scope(restoration.pk)
    if HandedOver.objects.filter(restoration=restoration).exists():
        raise ValidationError(_("This bike is handed over already."), code="handed over")
    _refuse_days(restoration, said.on, timezone.localdate(now))
    found = held(restoration, now=now)
    if found.reasons:
        raise ValidationError([ValidationError(reason, code="not ready") for reason in found.reasons])
    by, why = (let_go_by.strip(), let_go_why.strip()) if found.late else ("", "")
    _refuse_unpaid(found, by, why)
    text = words(restoration, said)
    row = HandedOver(
        restoration=restoration,
        received_by=said.received_by.strip(),
        on=said.on,
        reading=said.reading,
        words=text,
        words_sha256=mark(text),
        late_minor=found.late,
        let_go_by=by,
        let_go_why=why,
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"restoration"})
    if seen != row.words_sha256:
        told = _("Something was changed after you looked. Look at the sheet again, then have it signed.")
        raise ValidationError(told, code="changed")
    row.save(force_insert=True)
    record(who=who, at=now, what="handed over", subject=subject_of(restoration), after=_told(row))
    return row


def _refuse_days(restoration: Restoration, on: date, today: date) -> None:
    if on > today:
        raise ValidationError({"on": _("This day is still to come. Give the day it was handed over.")})
    came_on = Intake.objects.filter(restoration=restoration).values_list("came_on", flat=True).first()
    if came_on and on < came_on:
        raise ValidationError({"on": _("That is before the bike came in. Give the day it was handed over.")})


def _refuse_unpaid(found: Held, by: str, why: str) -> None:
    if not found.late:
        return
    missing = {}
    if not by:
        said = _("%(late)s is late. Say who lets the bike go all the same, or wait until it is paid.")
        missing["let_go_by"] = said % {"late": found.late_shown}
    if not why:
        missing["let_go_why"] = _("Say why it may go unpaid.")
    if missing:
        raise ValidationError(missing, code="late")


def _told(row: HandedOver) -> dict[str, object]:
    told: dict[str, object] = {"received by": row.received_by, "on": row.on, "sha256": row.words_sha256}
    told |= {"distance on the clock": row.reading} if row.reading is not None else {}
    if row.late_minor:
        told |= {"late minor": row.late_minor, "who decided": row.let_go_by, "reason": row.let_go_why}
    return told
