"""What the demo workshop leaves out and some page shows: a hold, a photograph, a question, files that wait, links for customers."""

import io
from datetime import timedelta
from typing import Any

LISTS = {"parts": "part,area,pieces\nRear stand,Frame,1\n", "rates": "kind,name\n"}


def furnish() -> dict[str, str]:
    """Added by the services that the pages use. Gives back the secrets of two links, by what they lead to."""
    from django.utils import timezone

    from shop.routes import tasks

    now = timezone.now()
    today = timezone.localdate(now)
    said: dict[str, Any] = {"who": "manager", "now": now}
    accepted = _accepted(said)
    tasks.mend(now=now)
    _photographed(said)
    _sent_back(now)
    _clocked(now)
    _nearly_done(accepted.restoration, now)
    _hung(accepted.restoration, now)
    _delayed(accepted.restoration, today, said)
    _tablet(said)
    _came_back(today, said)
    for kind, text in LISTS.items():
        _uploaded(kind, text, accepted.restoration, said)
    _reminded(now)
    _learned(today, now)
    _reviewed(now)
    return _customer(accepted, said)


def _reviewed(now: Any) -> None:
    """Costs as the background process posts them, a bill that is for no one bike, and last week closed."""
    from django.utils import timezone

    from quotes.margin import closing, overhead, weeks

    today = timezone.localdate(now)
    overhead.note(words="Rent", net_minor=120_000, on=today, who="manager", now=now)
    closing.close_week(week=weeks.week_of(today) - weeks.WEEK, who="manager", now=now)


def _reminded(now: Any) -> None:
    """What the service would have found by itself in its first minute."""
    from shop.vendor_jobs.reminding.raising import raise_reminders

    raise_reminders(now=now)


def _learned(today: Any, now: Any) -> None:
    """A study of what happened, with a few suggestions as more years would make them."""
    from decimal import Decimal

    from quotes.learning.models import Study, Suggestion
    from quotes.learning.studying import keep_found
    from quotes.learning.suggesting import Found, suggestion
    from shop.methods.models import Operation, Service
    from shop.routes.models import Task

    points = [str(Decimal(number) / 20) for number in range(14, 40)]
    minutes = {f"{name} minutes": value for name, value in (("assumed", 900), ("suggested", 1080), ("actual", 1150))}
    found = Found(tasks=26, bikes=5, outliers=[{"task": str(Task.objects.first().pk), "times": "9.5", "work": "Blast"}])
    for kind, thing, figures in (
        (Suggestion.Kind.OPERATION, Operation.objects.order_by("pk")[0], ("1", "1.28", "1.2", "1.08", "1.33")),
        (Suggestion.Kind.SERVICE, Service.objects.order_by("pk")[0], ("12", "16", "16", "14", "21")),
    ):
        assumed, happened, suggested, low, high = map(Decimal, figures)
        found.suggestions.append(
            suggestion(
                kind,
                str(thing.uid),
                str(thing),
                assumed=assumed,
                happened=happened,
                suggested=suggested,
                interval=(low, high),
                sample=26,
                wanting=4,
                details={"points": points, "bikes": 5, "spread": "0.31"} | minutes
                if kind == Suggestion.Kind.OPERATION
                else {"out": 1},
            )
        )
    keep_found(Study.objects.create(asked_by="manager", asked_at=now), found, now=now)


def _accepted(said: dict[str, Any]) -> Any:
    """An accepted quote; and bikes that have no quote yet get one, where nothing has to be settled first."""
    from django.utils import timezone

    from quotes.pricing.models import Draft, IssuedQuote, Outcome
    from quotes.pricing.selectors import priced
    from quotes.pricing.services import issue, record_outcome

    today = timezone.localdate(said["now"])
    for draft in Draft.objects.filter(restoration__quotes__isnull=True).select_related("restoration"):
        explained = priced(draft).explained
        if explained is None or any(remark.blocking for remark in explained.remarks):
            continue
        draft.restoration.refresh_from_db()
        issue(
            draft=draft,
            seen_scope=draft.restoration.scope_version,
            seen_draft=draft.version,
            today=today,
            may_go_below_floor=True,
            below_floor_reason="To show it",
            guesses_are_told=True,
            **said,
        )
    won = IssuedQuote.objects.filter(outcome__kind=Outcome.Kind.ACCEPTED).order_by("number")
    if not won.exists():
        yes = {"kind": Outcome.Kind.ACCEPTED, "said_by": "The customer", "how": Outcome.How.PHONE, "said_on": today}
        record_outcome(quote=IssuedQuote.objects.filter(outcome__isnull=True)[0], today=today, **yes, **said)
    return won[0]


def _photographed(said: dict[str, Any]) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile
    from PIL import Image

    from shop.papers.photographs import keep_photograph
    from shop.restorations.evidence import add_photograph
    from shop.restorations.models import FinishEvidence

    file = io.BytesIO()
    Image.new("RGB", (320, 240), (120, 30, 40)).save(file, "JPEG")
    upload = SimpleUploadedFile("tank.jpg", file.getvalue(), "image/jpeg")
    evidence = FinishEvidence.objects.order_by("pk")[0]
    photograph = keep_photograph(upload=upload, caption="Under the left badge", taken_on=None, **said)
    add_photograph(evidence=evidence, photograph=photograph, **said)


def _clocked(now: Any) -> None:
    """A mechanic on a task, and a tap that waits."""
    import uuid

    from shop.floor.taps import take
    from shop.people.models import User
    from shop.routes.models import Task

    mechanic = User.objects.get(username="mechanic")
    closed = Task.objects.create(name="Old frame", kind=Task.Kind.INDIRECT, made_at=now, closed_at=now)
    open_one = Task.objects.create(name="Look for a tool", kind=Task.Kind.INDIRECT, made_at=now)
    for task in (closed, open_one):
        given: dict[str, Any] = {"uid": uuid.uuid4(), "tablet": None, "device_at": None, "body": task.name}
        take(kind="on", person=mechanic, task=task, now=now, **given)


def _sent_back(now: Any) -> None:
    """A labour step that was checked, failed and goes round again with a remedy, and damage reported beside it."""
    import uuid
    from decimal import Decimal

    from shop.floor.checks import answer_check, checks_of, known_step
    from shop.floor.damage import report_damage
    from shop.floor.doing import again
    from shop.methods.models import Cause, Check, Operation
    from shop.people.models import User
    from shop.restorations.models import FinishEvidence, Restoration
    from shop.routes.models import Step, Task
    from shop.routes.progress import states

    by: dict[str, Any] = {"person": User.objects.get(username="mechanic"), "now": now}
    bikes = Restoration.objects.filter(tasks__kind=Task.Kind.BIKE).distinct()
    ready = [pk for pk, one in states(bikes, now=now).items() if one.is_ready and one.step.operation_id]
    step = known_step(Step.objects.filter(pk__in=ready).order_by("pk")[0].pk)
    Check.objects.create(operation=step.operation, position=99, words="Looked over in daylight")
    for asked in checks_of(step):
        given = {"value": Decimal(1)} if asked.is_measured else {"as_it_should": asked.check.position != 99}
        answer_check(step=step, check=asked.check, visit=step.visit, **given, **by)
    photograph = FinishEvidence.objects.filter(photographs__isnull=False).order_by("pk")[0].photographs.get()
    told: dict[str, Any] = {"part": step.part, "possible": None, "hours": Decimal("1.5"), "photograph": photograph}
    report_damage(uid=uuid.uuid4(), **told, words="Thread pulled at the drain boss", **by)
    again(
        uid=uuid.uuid4(),
        step=step,
        visit=step.visit,
        back_to=step,
        came_from=None,
        cause=Cause.objects.order_by("pk")[0],
        pieces=1,
        scrapped=1,
        remedies=[Operation.objects.order_by("pk")[0]],
        photograph=photograph,
        **by,
    )


def _nearly_done(restoration: Any, now: Any) -> None:
    """A first start with something that is not as it should be, and a small job that walked in."""
    from shop.floor import leaving
    from shop.floor.walk_ins import note_walk_in
    from shop.people.models import User

    by: dict[str, Any] = {"person": User.objects.get(username="mechanic"), "now": now}
    run = leaving.begin_run(restoration=restoration, stage="first_start", **by)
    leaving.tick(run=run, check=leaving.checks_of(run)[0].check, as_it_should=False, note="weeps at the banjo", **by)
    job: dict[str, Any] = {"customer": "Mrs Dale", "phone": "0123", "minutes": 60, "agreed_on": now.date()}
    note_walk_in(what="True a front wheel", agreed_minor=8_500, who="manager", now=now, **job)


def _came_back(today: Any, said: dict[str, Any]) -> None:
    """A bike that was handed over after all its runs, and came back."""
    from shop.floor import comebacks, handing_over, leaving
    from shop.methods.models import Operation, Stage
    from shop.people.models import User
    from shop.restorations.intake import mark
    from shop.restorations.models import Customer
    from shop.restorations.services import add_machine, begin
    from shop.routes.models import Step
    from shop.routes.parts import add_routed_part
    from shop.routes.services import add_step

    machine = add_machine(maker="Wrenfold", model="Courier", year=1956, frame_number="WC 4417", **said)
    bike = begin(customer=Customer.objects.order_by("pk")[0], machine=machine, begun_on=today, **said)
    part = add_routed_part(restoration=bike, finish=None, name="Rear wheel", **said)
    step = add_step(part=part, origin=Step.Origin.BEFORE, operation=Operation.objects.order_by("pk")[0], **said)
    by: dict[str, Any] = {"person": User.objects.get(username="mechanic"), "now": said["now"]}
    for stage in Stage:
        run = leaving.begin_run(restoration=bike, stage=stage, **by)
        for asked in leaving.checks_of(run):
            leaving.tick(run=run, check=asked.check, as_it_should=True, **by)
        leaving.finish_run(run=run, distance=12 if stage in leaving.WITH_DISTANCE else None, **by)
    sheet = handing_over.Said(received_by="Mr Fell", on=today, reading=18_240)
    handing_over.hand_over(restoration=bike, said=sheet, seen=mark(handing_over.words(bike, sheet)), **said)
    comebacks.note_comeback(restoration=bike, step=step, words="Spokes sing", pays="we", came_on=today, **said)


def _hung(restoration: Any, now: Any) -> None:
    """Tags on every part, one of which is on a shelf."""
    from shop.floor import custody
    from shop.people.models import User

    mechanic = User.objects.get(username="mechanic")
    by: dict[str, Any] = {"who": mechanic.username, "now": now}
    tag = custody.make_tags(restoration=restoration, **by)[0]
    custody.move(tag=tag, shelf=custody.add_shelf(name="By the door", **by), person=mechanic, now=now)
    _mixed(mechanic, now)


def _mixed(mechanic: Any, now: Any) -> None:
    """A mix for a task, and a count of the material."""
    import uuid
    from decimal import Decimal

    from django.utils import timezone

    from shop.floor.material import note_count, note_mix
    from shop.methods.models import Consumable
    from shop.routes.models import Task

    item = Consumable.objects.order_by("pk")[0]
    given: dict[str, Any] = {"consumable": item, "now": now}
    task = Task.objects.filter(kind=Task.Kind.BIKE).order_by("pk")[0]
    note_mix(uid=uuid.uuid4(), task=task, amount=Decimal("0.3"), person=mechanic, **given)
    note_count(day=timezone.localdate(now), counted=Decimal(2), who="manager", **given)


def _delayed(restoration: Any, today: Any, said: dict[str, Any]) -> None:
    from shop.methods.models import Vendor
    from shop.methods.vendor_times import close_vendor
    from shop.people.times import close_for
    from shop.routes.planning import hold

    days = {"first": today, "last": today + timedelta(days=3)}
    hold(restoration=restoration, reason="The saddle is not back", kind="part", **days, **said)
    close_for(reason="Stocktaking", **days, **said)
    close_vendor(vendor=Vendor.objects.order_by("pk")[0], reason="Holidays", **days, **said)


def _tablet(said: dict[str, Any]) -> None:
    """One let in, one expected, a break; a mechanic with a PIN."""
    from datetime import time

    from shop.people import pins, tablets, times
    from shop.people.models import User

    tablets.enrol(code=tablets.begin_enrolment(name="Bench by the door", **said), now=said["now"])
    tablets.begin_enrolment(name="Spray room", **said)
    times.add_break(name="Lunch", begins=time(12), ends=time(12, 30), paid=False, **said)
    pins.give_pin(person=User.objects.get(username="mechanic"), **said)


def _uploaded(kind: str, text: str, restoration: Any, said: dict[str, Any]) -> None:
    from quotes.desk.models import Upload

    of = restoration.uid if kind == Upload.Kind.PARTS else None
    Upload.objects.create(
        kind=kind, subject_uid=of, name=f"{kind}.csv", content=text.encode(), at=said["now"], who="manager"
    )


def _customer(quote: Any, said: dict[str, Any]) -> dict[str, str]:
    from quotes.pricing.customers import links, messages, sharing
    from quotes.pricing.models import IssuedQuote, Link

    open_one = IssuedQuote.objects.filter(outcome__isnull=True).order_by("number").first() or quote
    photograph, of = _of_a_bike()
    messages.ask(restoration=of, text="May the stays be chromed?", name="The customer", **said)
    sharing.share(restoration=of, note="The tank is back from the painter.", photograph=photograph, **said)
    return {
        "quote": links.make(purpose=Link.Purpose.QUOTE, restoration=open_one.restoration, quote=open_one, **said)[1],
        "progress": links.make(purpose=Link.Purpose.PROGRESS, restoration=of, **said)[1],
    }


def _of_a_bike() -> tuple[Any, Any]:
    """The photograph that was kept, and the bike whose finish it speaks of."""
    from shop.restorations.models import FinishEvidence

    evidence = FinishEvidence.objects.filter(photographs__isnull=False).order_by("pk")[0]
    return evidence.photographs.get(), evidence.part.restoration
