"""Taking back an authorisation, when the customer agreed to leave a step out."""

from collections.abc import Iterable
from uuid import UUID

from shop.routes.models import Authorisation
from shop.routes.splits import with_copies


def no_longer_authorise(*, step_uids: Iterable[UUID]) -> int:
    """Take back what an accepted quote authorised, inside the running transaction; the number of steps.

    What is authorised otherwise, by a damage or standing, stays: no quote gave it, so none takes it.
    """
    wanted = with_copies(step_uids)
    return Authorisation.objects.filter(step_uid__in=wanted, kind=Authorisation.Kind.QUOTE).delete()[0]
