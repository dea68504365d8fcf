"""Factory finish and its proof: what is believed of a part, what says so, what was signed, and what waits for it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import finishes, saving
from quotes.desk.context import DESK
from quotes.desk.forms_finish import EvidenceForm, ListForm, OverrideForm, SignForm
from quotes.desk.views.editor import draft_for, part_of, restoration_of, who
from quotes.pricing.selectors import priced
from shop.methods.models import EvidenceSource
from shop.papers.photographs_forms import PhotographForm, photograph_from
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.rates.models import Odds
from shop.rates.selectors import odds
from shop.restorations import evidence as services
from shop.restorations.looking import look_again, note_found_nothing
from shop.restorations.models import FinishCandidate, FinishEvidence, Looked, Part
from shop.routes import gate, questions
from shop.routes.finishes import list_finish, sign_finish
from shop.routes.selectors import scope


def odds_today() -> Odds:
    """What the shop believes today."""
    return odds(timezone.localdate())


@require_safe
@role_required(*DESK)
def finish(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, part_of(uid))


def _page(request: HttpRequest, part: Part, *, status: int = 200, **forms: BaseForm) -> HttpResponse:
    """The whole page; ``forms`` stand in for those somebody filled in wrongly."""
    found = finishes.finish_of(part, odds_today())
    context: dict[str, Any] = {
        "part": part,
        "restoration": part.restoration,
        "finish": found,
        "override_form": OverrideForm(steps=found.waiting),
        "overrides": finishes.overrides_of(part),
        "agreements": part.agreements.select_related("finish").order_by("-at", "-pk"),
        "taken_away": part.evidence.filter(removed_at__isnull=False).select_related("says"),
        "list_form": ListForm(),
        "evidence_form": EvidenceForm(part=part),
        "sign_form": SignForm(initial={"finish": part.agreed_finish_id, "deviation": part.deviation}),
    }
    return render(request, "desk/finish.html", context | forms, status=status)


def _done(part: Part, request: HttpRequest, said: str) -> HttpResponseRedirect:
    messages.success(request, said)
    return redirect("desk:finish", uid=part.uid)


@role_required(*DESK)
@posted_from("desk:finish")
def add_to_list(request: HttpRequest, uid: UUID) -> HttpResponse:
    part, form = part_of(uid), ListForm(request.POST)
    if form.is_valid():
        try:
            list_finish(part=part, who=who(request), now=timezone.now(), **form.cleaned_data)
            return _done(part, request, _("“%(finish)s” is on the list.") % form.cleaned_data)
        except ValidationError as error:
            saving.place(form, error, "finish")
    return _page(request, part, status=422, list_form=form)


@role_required(*DESK)
@posted_from("desk:finish", row=(FinishCandidate, "part__uid"))
def take_off_list(request: HttpRequest, pk: int) -> HttpResponse:
    known = FinishCandidate.objects.select_related("part__restoration", "finish")
    row = get_object_or_404(known, pk=pk)
    part = row.part
    try:
        services.unlist_candidate(candidate=row, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect("desk:finish", uid=part.uid)
    return _done(part, request, _("“%(finish)s” is off the list.") % {"finish": row.finish})


@role_required(*DESK)
@posted_from("desk:finish")
def add_evidence(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = part_of(uid)
    form = EvidenceForm(request.POST, part=part)
    if form.is_valid():
        try:
            services.add_evidence(part=part, who=who(request), now=timezone.now(), **form.cleaned_data)
            return _done(part, request, _("The evidence is kept."))
        except ValidationError as error:
            saving.place(form, error, "says")
    return _page(request, part, status=422, evidence_form=form)


def evidence_of(uid: UUID) -> FinishEvidence:
    """A piece of evidence with what its page needs, or 404."""
    known = FinishEvidence.objects.select_related("part__restoration__machine", "says", "source")
    return get_object_or_404(known, uid=uid)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def evidence(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One piece of evidence: corrected, or given a photograph."""
    row = evidence_of(uid)
    if request.method != "POST":
        return _evidence_page(request, row, EvidenceForm(part=row.part, evidence=row))
    form = EvidenceForm(request.POST, part=row.part, evidence=row)
    if form.is_valid():
        try:
            services.change_evidence(evidence=row, changes=form.changes(), who=who(request), now=timezone.now())
            return _done(row.part, request, _("Saved."))
        except ValidationError as error:
            saving.place(form, error, "says")
    return _evidence_page(request, evidence_of(uid), form, status=422)


def _evidence_page(
    request: HttpRequest,
    row: FinishEvidence,
    form: EvidenceForm,
    *,
    photograph: PhotographForm | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "evidence": row,
        "part": row.part,
        "restoration": row.part.restoration,
        "form": form,
        "photographs": row.photographs.all(),
        "photograph_form": photograph or PhotographForm(prefix="photograph"),
        "photograph_action": reverse("desk:evidence_photograph", args=[row.uid]),
    }
    return render(request, "desk/evidence.html", context, status=status)


@role_required(*DESK)
@posted_from("desk:evidence")
def add_photograph(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = evidence_of(uid)
    form = PhotographForm(request.POST, request.FILES, prefix="photograph")
    photograph = photograph_from(request, form)
    if photograph is None:
        return _evidence_page(request, row, EvidenceForm(part=row.part, evidence=row), photograph=form, status=422)
    try:
        services.add_photograph(evidence=row, photograph=photograph, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:evidence", uid=uid)


@role_required(*DESK)
@posted_from("desk:finish", row=(FinishEvidence, "part__uid"))
def take_away(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = evidence_of(uid)
    try:
        services.remove_evidence(evidence=row, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect("desk:finish", uid=row.part.uid)
    return _done(row.part, request, _("The evidence is taken away. You can bring it back below."))


@role_required(*DESK)
@posted_from("desk:finish", row=(FinishEvidence, "part__uid"))
def bring_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = evidence_of(uid)
    try:
        services.bring_back_evidence(evidence=row, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect("desk:finish", uid=row.part.uid)
    return _done(row.part, request, _("The evidence is back."))


@role_required(*DESK)
@posted_from("desk:finish")
def sign(request: HttpRequest, uid: UUID) -> HttpResponse:
    part, form = part_of(uid), SignForm(request.POST)
    if form.is_valid():
        try:
            sign_finish(part=part, who=who(request), now=timezone.now(), **form.cleaned_data)
            return _done(part, request, _("“%(finish)s” is agreed, and the route follows.") % form.cleaned_data)
        except ValidationError as error:
            saving.place(form, error, "finish")
    return _page(request, part_of(uid), status=422, sign_form=form)


@role_required(*DESK)
@posted_from("desk:finish")
def override(request: HttpRequest, uid: UUID) -> HttpResponse:
    part, believed = part_of(uid), odds_today()
    form = OverrideForm(request.POST, steps=finishes.finish_of(part, believed).waiting)
    if form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("who_decided", "reason")}
        try:
            gate.override(steps=form.chosen(), odds=believed, who=who(request), now=timezone.now(), **said)
            return _done(part, request, _("Noted. What waited may begin."))
        except ValidationError as error:
            saving.place(form, error, "step")
    return _page(request, part, status=422, override_form=form)


@require_safe
@role_required(*DESK)
def look_ups(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What to look up first, over all parts."""
    draft = draft_for(request, restoration_of(uid))
    found = priced(draft)
    context = {
        "restoration": found.scope.restoration,
        "rows": finishes.look_up_rows(found, odds(draft.priced_on)),
        "waiting": finishes.without_evidence(found),
        "looked": Looked.objects.filter(part__restoration=found.scope.restoration).select_related("part", "source"),
        "error": found.error.sentence(_(found.error.template)) if found.error else "",
    }
    return render(request, "desk/look_ups.html", context)


@role_required(*DESK)
@posted_from("desk:look_ups")
def found_nothing(request: HttpRequest, uid: UUID, source: UUID) -> HttpResponseRedirect:
    """Looked, and found nothing about any of the parts it was to be asked about."""
    draft = draft_for(request, restoration_of(uid))
    row, known = get_object_or_404(EvidenceSource, uid=source), scope(draft.restoration)
    asked = next(
        (item.parts for item in questions.look_ups(known, odds(draft.priced_on)) if item.key == str(source)), ()
    )
    parts = [part for part in known.parts if str(part.uid) in asked]
    if note_found_nothing(parts=parts, source=row, who=who(request), now=timezone.now()):
        messages.success(request, _("Noted: nothing found in “%(source)s”.") % {"source": row})
    return redirect("desk:look_ups", uid=uid)


@role_required(*DESK)
@posted_from("desk:look_ups", row=(Looked, "part__restoration__uid"))
def again(request: HttpRequest, pk: int) -> HttpResponseRedirect:
    row = get_object_or_404(Looked.objects.select_related("part__restoration", "source"), pk=pk)
    look_again(looked=row, who=who(request), now=timezone.now())
    return redirect("desk:look_ups", uid=row.part.restoration.uid)


urlpatterns = [
    path("parts/<uuid:uid>/finish/", finish, name="finish"),
    path("parts/<uuid:uid>/finish/list/", add_to_list, name="list_finish"),
    path("parts/<uuid:uid>/finish/evidence/", add_evidence, name="add_evidence"),
    path("parts/<uuid:uid>/finish/sign/", sign, name="sign_finish"),
    path("listed/<int:pk>/take-off/", take_off_list, name="unlist_finish"),
    path("evidence/<uuid:uid>/", evidence, name="evidence"),
    path("evidence/<uuid:uid>/photograph/", add_photograph, name="evidence_photograph"),
    path("evidence/<uuid:uid>/take-away/", take_away, name="take_away_evidence"),
    path("evidence/<uuid:uid>/bring-back/", bring_back, name="bring_back_evidence"),
    path("parts/<uuid:uid>/finish/override/", override, name="override"),
    path("restorations/<uuid:uid>/look-ups/", look_ups, name="look_ups"),
    path("restorations/<uuid:uid>/look-ups/<uuid:source>/", found_nothing, name="found_nothing"),
    path("looked/<int:pk>/again/", again, name="look_again"),
]
