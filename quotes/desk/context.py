"""The way around the house, for the head of every page."""

from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _

from shop.floor.showing import strip
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC, ROLES, has_role, roles_of

DESK = (ROLE_DESK, ROLE_MANAGER)


def nav(request: HttpRequest) -> dict[str, object]:
    """Links of the head: (address, label, whether the page is below it); and where things are found, for whom may look."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    links = [(reverse("desk:home"), _("Today"))]
    if has_role(user, ROLE_MECHANIC, ROLE_MANAGER):
        links.append((reverse("floor:home"), _("Floor")))
    if has_role(user, *DESK):
        links.append((reverse("desk:restorations"), _("Restorations")))
        links.append((reverse("desk:vendor_work"), _("Vendor work")))
    if has_role(user, ROLE_MANAGER):
        links.append((reverse("desk:review"), _("Review")))
        links.append((reverse("desk:money_jobs"), _("Money")))
    if has_role(user, *DESK):
        links.append((reverse("desk:rates"), _("Rate book")))
    if has_role(user, ROLE_MANAGER):
        links.append((reverse("desk:workshop"), _("This workshop")))
    if has_role(user, *DESK):
        links.append((reverse("outbox:background_jobs"), _("Background jobs")))
    here = request.path
    if here.startswith(
        (reverse("desk:methods"), reverse("learning:suggestions"))
    ):  # they are reached from the rate book
        here = reverse("desk:rates")
    find = reverse("desk:search") if has_role(user, *DESK) else ""
    return {
        # Who sits at the desk and stands at the bench as well may be the only one here.
        "clock": strip(user) if roles_of(user) >= set(ROLES) else None,
        "find": find,
        "nav": [(url, label, here == url or (url != "/" and here.startswith(url))) for url, label in links],
    }
