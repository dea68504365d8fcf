"""What waits for numbers that do not match: every step, until a person clears them by name. No override frees one step."""

from django.utils.translation import gettext as _

from shop.restorations.models import Restoration
from shop.restorations.numbers import stop_sentence


def why_nothing_begins(restoration: Restoration) -> str:
    """Why no step of ``restoration`` may begin, in a sentence that says what to do; empty where the numbers stop nothing."""
    stop = stop_sentence(restoration)
    return _("No step may begin while the numbers do not match. %(stop)s") % {"stop": stop} if stop else ""
