"""Vendors beside each other: kept days, lead times, faults, losses, prices; in words that say how little a few jobs tell."""

from dataclasses import dataclass
from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from quotes.desk.context import DESK
from quotes.engine.chance.lead_times import Share
from shop import text
from shop.methods.models import Service, Vendor
from shop.papers.pictures import lead_line
from shop.papers.pictures.chances import odds
from shop.people.roles import role_required
from shop.vendor_jobs.comparing import Compared, compared

#: Fewer than so many jobs say so little that the page says so.
FEW = 10


@dataclass(frozen=True, slots=True)
class Shown:
    """A service as the page shows it."""

    uid: str
    vendor: Vendor
    service: Service
    jobs: str
    picture: SafeString
    facts: list[tuple[str, str]]


@require_safe
@role_required(*DESK)
def vendors_compared(request: HttpRequest) -> HttpResponse:
    rows = [_shown(one) for one in compared(today=timezone.localdate())]
    return render(request, "desk/vendors_compared.html", {"rows": rows})


def _shown(one: Compared) -> Shown:
    jobs = ngettext("%(count)s job", "%(count)s jobs", one.jobs) % {"count": one.jobs}
    if one.jobs < FEW:
        jobs = _("from %(jobs)s, so rough") % {"jobs": jobs}
    times = lead_line.LeadTimes(one.likely, one.mostly, one.book)
    uid = str(one.service.uid)
    return Shown(
        uid, one.service.vendor, one.service, jobs, lead_line.draw(times, ident=f"lead-{uid}"), _facts(one, times)
    )


def _facts(one: Compared, times: lead_line.LeadTimes) -> list[tuple[str, str]]:
    out = ngettext("%(count)s is out", "%(count)s are out", one.out) % {"count": one.out}
    late = _("%(out)s, %(late)s late") % {"out": out, "late": one.late} if one.late else out
    facts = [
        (_("Now"), late),
        (_("Back by the day first told"), _share(one.on_time, _("nobody told a day that is over by now"))),
        (_("How long it takes"), lead_line.in_words(times)),
        (_("Something was not as agreed"), _share(one.faulty, _("nothing is back yet"))),
        (_("Pieces lost"), _("%(lost)s of %(pieces)s") % {"lost": one.lost, "pieces": one.pieces}),
    ]
    return [*facts, (_("Charged against agreed"), _over(one.over))]


def _share(found: Share, nothing: str) -> str:
    """ "7 of 9: between 1 in 2 and 9 in 10 in the long run"."""
    if not found.count:
        return nothing
    told = {"hits": found.hits, "count": found.count, "low": odds(found.low), "high": odds(found.high)}
    return _("%(hits)s of %(count)s; in the long run between %(low)s and %(high)s") % told


def _over(over: Decimal | None) -> str:
    if over is None:
        return _("nothing to compare yet")
    if not over:
        return _("as agreed")
    shown = text.percent(abs(over).quantize(Decimal("0.001")))
    return (_("%(part)s more") if over > 0 else _("%(part)s less")) % {"part": shown}


urlpatterns = [path("vendors/compared/", vendors_compared, name="vendors_compared")]
