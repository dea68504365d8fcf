"""Before a bike leaves, as the floor sees it: runs with their ticks, and snags. No money and no customer stands here."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from shop.floor import leaving as services
from shop.floor.forms_leaving import BareForm, BeginForm, FinishForm, SettleForm, SnagForm, TickForm
from shop.floor.models import HandedOver, Run, Snag
from shop.floor.views.acting import UNPROCESSABLE, acted, acting, page_about
from shop.methods.models import RunCheck
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.posting import posted_from
from shop.restorations.models import Restoration
from shop.routes.models import Step, Task


def _bike(uid: UUID) -> Restoration:
    return get_object_or_404(Restoration.objects.select_related("machine"), uid=uid)


def _run(uid: UUID) -> Run:
    return get_object_or_404(Run.objects.select_related("restoration__machine", "person"), uid=uid)


def _snag(uid: UUID) -> Snag:
    known = Snag.objects.select_related(
        "restoration__machine", "person", "run", "step__part", "step__operation", "step__service"
    )
    return get_object_or_404(known, uid=uid)


def _to(name: str, uid: UUID, person: User | None, at: str = "") -> HttpResponseRedirect:
    query = {"person": str(person.uid)} if person else {}
    return HttpResponseRedirect(reverse(f"floor:{name}", args=[uid], query=query) + (f"#{at}" if at else ""))


@on_the_floor
@require_safe
def leaving_bikes(request: HttpRequest) -> HttpResponse:
    """The bikes at work, one of which is to leave next."""
    gone = HandedOver.objects.values("restoration")
    at_work = Task.objects.filter(kind=Task.Kind.BIKE, restoration__isnull=False).values("restoration")
    bikes = (
        Restoration.objects.filter(pk__in=at_work)
        .exclude(pk__in=gone)
        .select_related("machine")
        .order_by("title", "pk")
    )
    return render(request, "floor/leaving_bikes.html", page_about(request, acting(request), bikes=bikes))


@on_the_floor
@require_safe
def leaving(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, _bike(uid), SnagForm())


def _page(request: HttpRequest, bike: Restoration, form: SnagForm, status: int = 200) -> HttpResponse:
    settled = Snag.objects.filter(restoration=bike, settled_at__isnull=False).order_by("-settled_at")
    context = {
        "bike": bike,
        "stages": services.stages(bike),
        "snags": services.open_snags(bike),
        "settled": settled,
        "gone": HandedOver.objects.filter(restoration=bike).exists(),
        "form": form,
    }
    return render(request, "floor/leaving.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:leaving")
def begin_run(request: HttpRequest, uid: UUID) -> HttpResponse:
    bike, form, begun = _bike(uid), BeginForm(request.POST), []

    def do(person: User) -> str:
        stage = form.cleaned_data["stage"]
        begun.append(services.begin_run(restoration=bike, stage=stage, person=person, now=timezone.now()))
        return ""

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    if done is None:
        _say_errors(request, form)
        return _to("leaving", uid, acting(request))
    return _to("run", begun[0].uid, done)


def _say_errors(request: HttpRequest, form: Any) -> None:
    for errors in form.errors.values():
        for said in errors:
            messages.error(request, said)


@on_the_floor
@require_safe
def run(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _run_page(request, _run(uid), FinishForm())


def _run_page(request: HttpRequest, row: Run, form: FinishForm, status: int = 200) -> HttpResponse:
    asked = services.checks_of(row)
    context = {
        "run": row,
        "asked": asked,
        "left": [one for one in asked if one.tick is None],
        "goes": row.stage in services.WITH_DISTANCE,
        "snags": row.snags.filter(settled_at__isnull=True),
        "form": form,
    }
    return render(request, "floor/run.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:run")
def tick(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One tap: as it should be, or a snag."""
    row, form = _run(uid), TickForm(request.POST)

    def do(person: User) -> str:
        said = form.cleaned_data
        check = get_object_or_404(RunCheck, uid=said["check"])
        services.tick(
            run=row, check=check, as_it_should=said["right"], note=said["note"], person=person, now=timezone.now()
        )
        return "" if said["right"] else _("It is a snag now: %(check)s") % {"check": check.words}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    if done is None:
        _say_errors(request, form)
    left = services.missing(row)
    at = f"check-{left[0].uid}" if left and done is not None else "finish"
    return _to("run", uid, done or acting(request), at)


@on_the_floor
@posted_from("floor:run")
def finish_run(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = _run(uid), FinishForm(request.POST)

    def do(person: User) -> str:
        services.finish_run(run=row, person=person, now=timezone.now(), **form.cleaned_data)
        return _("Finished: %(stage)s.") % {"stage": row.get_stage_display()}

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _run_page(request, row, form, UNPROCESSABLE) if done is None else _to("leaving", row.restoration.uid, done)


@on_the_floor
@posted_from("floor:leaving_bikes", takes=())
def drop_run(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = _run(uid), FinishForm(request.POST)
    bike = row.restoration

    def do(person: User) -> str:
        services.drop_run(run=row, person=person, now=timezone.now())
        return _("Taken back: nothing was noted on it.")

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _run_page(request, row, form, UNPROCESSABLE) if done is None else _to("leaving", bike.uid, done)


@on_the_floor
@posted_from("floor:leaving")
def add_snag(request: HttpRequest, uid: UUID) -> HttpResponse:
    bike, form = _bike(uid), SnagForm(request.POST)

    def do(person: User) -> str:
        services.add_snag(restoration=bike, person=person, now=timezone.now(), **form.cleaned_data)
        return _("Noted.")

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _page(request, bike, form, UNPROCESSABLE) if done is None else _to("leaving", uid, done, "snags")


@on_the_floor
@require_safe
def snag(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _snag_page(request, _snag(uid), SettleForm())


def _snag_page(request: HttpRequest, row: Snag, form: SettleForm, status: int = 200) -> HttpResponse:
    words = (request.GET.get("words") or "").strip()[:60]
    steps = services.steps_of(row.restoration, words) if words else []
    context = {"snag": row, "form": form, "words": words, "steps": steps}
    return render(request, "floor/snag.html", page_about(request, acting(request), **context), status=status)


@on_the_floor
@posted_from("floor:snag")
def trace_snag(request: HttpRequest, uid: UUID) -> HttpResponse:
    """From which step it comes."""
    row, form = _snag(uid), BareForm(request.POST)

    def do(person: User) -> str:
        known = Step.objects.select_related("part", "operation", "service")
        given = request.POST.get("step") or ""
        step = known.filter(uid=_uuid(given)).first() if given else None
        services.say_step(snag=row, step=step, person=person, now=timezone.now())
        return ""

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    if done is None:
        _say_errors(request, form)
    return _to("snag", uid, done or acting(request))


def _uuid(given: str) -> UUID:
    try:
        return UUID(given)
    except ValueError:
        return UUID(int=0)


@on_the_floor
@posted_from("floor:snag")
def settle_snag(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = _snag(uid), SettleForm(request.POST)

    def do(person: User) -> str:
        services.settle_snag(snag=row, how=form.cleaned_data["how"], person=person, now=timezone.now())
        return _("Settled.")

    done = acted(request, form, do)
    if isinstance(done, HttpResponse):
        return done
    return _snag_page(request, row, form, UNPROCESSABLE) if done is None else _to("leaving", row.restoration.uid, done)
