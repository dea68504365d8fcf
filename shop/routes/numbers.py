"""What waits for numbers that do not match: every step, until a person clears them by name. No override frees one step."""

from collections.abc import Collection

from django.utils.translation import gettext as _

from shop.restorations.models import Restoration
from shop.restorations.numbers import stop_sentence, stop_sentences


def why_nothing_begins(restoration: Restoration) -> str:
    """Why no step of ``restoration`` may begin, in a sentence that says what to do; empty where the numbers stop nothing."""
    stop = stop_sentence(restoration)
    return _why(stop) if stop else ""


def why_nothing_begins_in(restorations: Collection[int]) -> dict[int, str]:
    """The same for several restorations, in two queries: those that are stopped, and why."""
    return {pk: _why(stop) for pk, stop in stop_sentences(restorations).items()}


def _why(stop: str) -> str:
    return _("No step may begin while the numbers do not match. %(stop)s") % {"stop": stop}
