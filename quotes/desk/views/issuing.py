"""Issuing a quote, and the cost sheet of a draft."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import showing
from quotes.desk.context import DESK
from quotes.desk.forms import IssueForm
from quotes.desk.forms_prices import brought_to
from quotes.desk.forms_stage import STAGES, StageForm
from quotes.desk.prices import tag
from quotes.desk.views.editor import draft_for, restoration_of, who
from quotes.pricing import rise, services
from quotes.pricing.confirming import Unsure, Why, unsure
from quotes.pricing.models import Draft, IssuedQuote, Stage
from quotes.pricing.selectors import Priced, priced
from quotes.pricing.services import KEEP_THE_FLOOR
from quotes.pricing.sheet import sheet
from quotes.pricing.stages import Offered, offered
from shop.people.models import Shop
from shop.people.roles import ROLE_MANAGER, has_role, role_required
from shop.rates.selectors import odds
from shop.restorations.models import Part
from shop.restorations.services import ChangedMeanwhileError
from shop.routes.gate import Cause, gate_for_scope


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def issue(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What will go out, what it rests on, and the button that sends it out."""
    draft = draft_for(request, restoration_of(uid))
    if request.method == "POST":
        # Whoever looked at another draft is told that first: what would be taken back is shown with the next look.
        same = request.POST.get("seen_draft") == str(draft.version)
        form = IssueForm(request.POST, asks=same and bool(_out(draft)))
        if form.is_valid():
            try:
                quote = _issue(request, form, draft)
                return redirect("pricing:quote", uid=quote.uid)
            except ValidationError as error:
                form.add_error(_box_of(error), error)
        if form.errors.keys() & {"seen_scope", "seen_draft"}:
            form.add_error(None, _("This page is out of date. Look at the price again, then issue it."))
        return _page(request, offered(draft_for(request, restoration_of(uid))), form, status=422)
    offer = offered(draft)
    seen = {"seen_scope": offer.found.scope.restoration.scope_version, "seen_draft": offer.found.draft.version}
    return _page(request, offer, IssueForm(initial=seen, asks=bool(_out(draft))))


def _out(draft: Draft) -> list[IssuedQuote]:
    """Offers that a customer could still accept, and could not once this goes out."""
    today = timezone.localdate()
    return [quote for quote in services.would_replace(draft) if quote.valid_until >= today]


def _box_of(error: ValidationError) -> str | None:
    return "guesses_are_told" if getattr(error, "code", None) == "guessed" else None


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def issue_stage(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Choose what goes out, on the page that sends it out."""
    if request.method == "POST":
        draft = draft_for(request, restoration_of(uid))
        form = StageForm(request.POST)
        if not form.is_valid():
            messages.error(request, _("Choose one of the four stages."))
        elif form.cleaned_data["stage"] != draft.stage:
            _change_stage(request, draft, form.cleaned_data)
    return redirect("desk:issue", uid=uid)


def _change_stage(request: HttpRequest, draft: Draft, given: dict[str, str]) -> None:
    seen = {"stage": given["seen_stage"]} if given["seen_stage"] else None
    changes = {"stage": given["stage"]}
    try:
        services.change_draft(draft=draft, who=who(request), now=timezone.now(), changes=changes, seen=seen)
    except ChangedMeanwhileError as conflict:
        said = _("Somebody else chose “%(stage)s” meanwhile. Look again, then choose.")
        messages.error(request, said % {"stage": Stage(str(conflict.now)).label})


def _issue(request: HttpRequest, form: IssueForm, draft: Draft) -> IssuedQuote:
    now = timezone.now()
    said = {name: value for name, value in form.cleaned_data.items() if name != "replaced_is_told"}
    return services.issue(
        draft=draft,
        today=timezone.localdate(now),
        who=who(request),
        now=now,
        may_go_below_floor=has_role(request.user, ROLE_MANAGER),
        **said,
    )


def _page(request: HttpRequest, offer: Offered, form: IssueForm, status: int = 200) -> HttpResponse:
    """Shows what the stage of the draft offers; the restoration's page shows all that is in scope."""
    found = offer.found
    sums = showing.sums(found)
    if "guesses_are_told" in form.errors:
        brought_to(form, "guesses_are_told")
    context = sums | {
        "issuing": True,
        "whole_bike": False,
        "stages": STAGES,
        "form": form,
        "offer": offer,
        "stage": Stage(found.draft.stage),
        "below_floor": sums.get("below_floor") and found.draft.stage in KEEP_THE_FLOOR,
        "manager": has_role(request.user, ROLE_MANAGER),
        "lines": len(found.given.parts) if found.given else 0,
        "credits": found.given.credits if found.given else (),
        "nameless": not Shop.objects.exists(),
        "unreachable": Shop.objects.filter(address="", phone="").exists(),
        "unproven": _unproven(found),
        "outdated": _outdated(found),
        "out": _out(found.draft),
        "rise": rise.of_offer(offer),
    }
    return render(request, "desk/issue.html", context, status=status)


def _outdated(found: Priced) -> list[tuple[Unsure, list[str]]]:
    """Prices in this quote that hold no more, or less long than it would, with that in words."""
    listed = unsure(found, today=timezone.localdate())
    ends = [(item, [why for why in item.why if why in {Why.OUT, Why.ENDS}]) for item in listed]
    return [(item, [tag(why)[0] for why in found_why]) for item, found_why in ends if found_why]


def _unproven(found: Priced) -> list[Part]:
    """Parts on which work would have to wait for finish evidence once this is agreed; of a variation only what is in it."""
    held = gate_for_scope(found.scope, odds(found.draft.priced_on))
    waiting = {uid for uid, why in held.items() if any(item.cause != Cause.NUMBERS for item in why)}
    if found.given is not None and found.draft.stage == Stage.VARIATION:
        waiting &= {step.uid for part in found.given.parts for step in part.steps}
    return [part for part in found.scope.parts if waiting & {str(step.uid) for step in found.scope.steps[part.pk]}]


@require_safe
@role_required(*DESK)
def costs(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The cost sheet of a draft: every figure opens to where it came from."""
    found = priced(draft_for(request, restoration_of(uid)))
    if found.explained is None or found.given is None:
        return redirect("desk:restoration", uid=uid)
    context = showing.sums(found) | {"sheet": sheet(found.explained, found.given)}
    return render(request, "desk/costs.html", context)


urlpatterns = [
    path("restorations/<uuid:uid>/issue/", issue, name="issue"),
    path("restorations/<uuid:uid>/issue/stage/", issue_stage, name="issue_stage"),
    path("restorations/<uuid:uid>/costs/", costs, name="costs"),
]
