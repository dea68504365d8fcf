"""What the customer sees and says: their page as it is, what was shared on it, their questions, and the link to it."""

from typing import Any
from uuid import UUID

from django.contrib import messages as told
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms_customer import AnswerForm, NewPhotographForm, ShareForm, TellForm
from quotes.desk.views.editor import restoration_of, who
from quotes.pricing.customers import links, messages, once, quiet, sending, sharing
from quotes.pricing.customers import progress as progresses
from quotes.pricing.models import Link, Message, Shared
from shop.papers.photographs_forms import photograph_from
from shop.people.models import Shop
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration

UNPROCESSABLE = 422


@require_safe
@role_required(*DESK)
def customer(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, restoration_of(uid))


def _page(
    request: HttpRequest,
    row: Restoration,
    *,
    share: ShareForm | None = None,
    photograph: NewPhotographForm | None = None,
    answer: tuple[Message, AnswerForm] | None = None,
    new_link: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    """The whole page; forms given stand in for those somebody filled in wrongly."""
    now = timezone.now()
    day = timezone.localdate(now)
    seen = progresses.progress(row, now=now)
    word, limit = quiet.last_word(row), quiet.limit(day)
    silent = word.days(day) if word else None
    context: dict[str, Any] = {
        "restoration": row,
        "shop": Shop.objects.first(),
        "progress": seen,
        "questions": [(one, _answer_form(one.question, row, answer)) for one in seen.asked],
        "shared": sharing.of(row),
        "share_form": share or ShareForm(restoration=row),
        "photograph_form": photograph or NewPhotographForm(),
        "links": _open_links(row).filter(expires_at__gt=now).order_by("-made_at", "-pk"),
        **(new_link or {}),
        "word": word,
        "silent": silent,
        "limit": limit,
        "too_long": silent is not None and silent >= limit,
    }
    return render(request, "desk/customer.html", context, status=status)


def _open_links(row: Restoration) -> QuerySet[Link]:
    return row.links.filter(purpose=Link.Purpose.PROGRESS, revoked_at__isnull=True)


def _answer_form(question: Message, row: Restoration, wrong: tuple[Message, AnswerForm] | None) -> AnswerForm:
    return wrong[1] if wrong and wrong[0] == question else AnswerForm(question=question, restoration=row)


def _tell_at(request: HttpRequest, form: TellForm) -> str:
    """What a link in an e-mail begins with, where one is asked for."""
    return request.build_absolute_uri("/") if form.cleaned_data.get("tell") else ""


def _back(row: Restoration, place: str) -> HttpResponseRedirect:
    return redirect(f"{reverse('desk:customer', args=[row.uid])}#{place}")


@role_required(*DESK)
@posted_from("desk:customer")
def share(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A note, a photograph on record or a new one. The new one is taken in last: nothing is kept that is not shared."""
    row = restoration_of(uid)
    form, new = ShareForm(request.POST, restoration=row), NewPhotographForm(request.POST, request.FILES)
    if form.is_valid() and (new.is_valid() or not new.came) and _shared(request, row, form, new):
        told.success(request, _("Shared. The customer sees it on their page."))
        return _back(row, "shared")
    return _page(request, row, share=form, photograph=new, status=UNPROCESSABLE)


def _shared(request: HttpRequest, row: Restoration, form: ShareForm, new: NewPhotographForm) -> bool:
    said = form.cleaned_data
    if once.kept_before(Shared, said["uid"], row):
        return True
    photograph = said["photograph"]
    if new.came:
        if photograph is not None:
            form.add_error("photograph", _("Share one photograph at a time: choose one on record, or add a new one."))
            return False
        photograph = photograph_from(request, new)
        if photograph is None:
            return False
    try:
        sharing.share(
            restoration=row,
            note=said["note"],
            photograph=photograph,
            uid=said["uid"],
            tell_at=_tell_at(request, form),
            who=who(request),
            now=timezone.now(),
        )
    except ValidationError as error:
        saving.place(form, error, "note")
        return False
    return True


@role_required(*DESK)
@posted_from("desk:customer", row=(Shared, "restoration__uid"))
def take_back(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    row = get_object_or_404(Shared.objects.select_related("restoration", "photograph"), uid=uid)
    sharing.take_back(shared=row, who=who(request), now=timezone.now())
    told.success(request, _("Taken back. The customer does not see it any more."))
    return _back(row.restoration, "shared")


@role_required(*DESK)
@posted_from("desk:customer", row=(Message, "restoration__uid"))
def answer(request: HttpRequest, uid: UUID) -> HttpResponse:
    questions = Message.objects.filter(from_customer=True)
    question = get_object_or_404(questions.select_related("restoration__customer", "quote"), uid=uid)
    form = AnswerForm(request.POST, question=question, restoration=question.restoration)
    if form.is_valid():
        said = {"text": form.cleaned_data["text"], "uid": form.cleaned_data["uid"], "tell_at": _tell_at(request, form)}
        try:
            messages.answer(question=question, who=who(request), now=timezone.now(), **said)
        except ValidationError as error:
            saving.place(form, error, "text")
        else:
            told.success(request, _("Answered. The customer reads it on their page."))
            return _back(question.restoration, f"asked-{question.uid}")
    row = restoration_of(question.restoration.uid)
    return _page(request, row, answer=(question, form), status=UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:customer")
def make_link(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Shown this once, in the answer itself: nowhere else is the secret kept."""
    row = restoration_of(uid)
    _link, secret = links.make(purpose=Link.Purpose.PROGRESS, restoration=row, who=who(request), now=timezone.now())
    response = _page(request, row, new_link=sending.shown_once(request, secret))
    response["Cache-Control"] = "private, no-store"
    return response


@role_required(*DESK)
@posted_from("desk:customer", row=(Link, "restoration__uid"))
def revoke_link(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    rows = Link.objects.filter(purpose=Link.Purpose.PROGRESS).select_related("restoration", "quote")
    link = get_object_or_404(rows, uid=uid)
    links.revoke(link=link, who=who(request), now=timezone.now())
    told.success(request, _("The link is closed, also for whoever has the page open."))
    return _back(link.restoration, "links")


@role_required(*DESK)
@posted_from("desk:customer")
def revoke_links(request: HttpRequest, uid: UUID) -> HttpResponseRedirect:
    """All of them: one went astray, and nobody knows which."""
    row = restoration_of(uid)
    for link in _open_links(row).select_related("restoration", "quote"):
        links.revoke(link=link, who=who(request), now=timezone.now())
    told.success(request, _("All links are closed, also for whoever has the page open."))
    return _back(row, "links")


urlpatterns = [
    path("restorations/<uuid:uid>/customer/", customer, name="customer"),
    path("restorations/<uuid:uid>/customer/share/", share, name="share"),
    path("restorations/<uuid:uid>/customer/link/", make_link, name="make_progress_link"),
    path("restorations/<uuid:uid>/customer/links/close/", revoke_links, name="close_progress_links"),
    path("shared/<uuid:uid>/take-back/", take_back, name="take_back_shared"),
    path("questions/<uuid:uid>/answer/", answer, name="answer_question"),
    path("progress-links/<uuid:uid>/close/", revoke_link, name="close_progress_link"),
]
