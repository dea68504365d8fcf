"""What a line promises, and what goes with it."""

from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shop.restorations.models import Basis, Part


def refuse_cap_of_fixed(part: Part, changed: Collection[str]) -> None:
    """A fixed price is its own limit: a cap beside it is refused, at the one of the two that was changed."""
    if part.basis != Basis.FIXED or part.cap_minor is None:
        return
    if "cap_minor" in changed:
        said = _("A fixed price has no cap. Leave it empty, or promise an estimate with a cap or work by the hour.")
        raise ValidationError({"cap_minor": said})
    if "basis" in changed:
        raise ValidationError({"basis": _("A fixed price has no cap. Empty the cap first.")})
