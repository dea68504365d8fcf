"""Chances as people of a shop say them, the one way on pages, papers and pictures: one in so many, or so many in so many."""

import math
from decimal import Decimal

from django.utils.translation import gettext as _

Chance = float | Decimal

# The odds people use by themselves; nobody says "13 in 47". Common practice, no source.
ONE_IN = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 100, 200)
ALL_BUT_ONE_IN = (3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100, 200)
SPOKEN = (
    *((1, count) for count in ONE_IN),
    *((count - 1, count) for count in ALL_BUT_ONE_IN),
    (2, 5),
    (3, 5),
)
SELDOM = 1 / 300
SAME = 1e-9


def in_words(chance: Chance) -> str:
    """ "about 1 in 8"; without "about" where the chance is exactly what is said; "hardly ever" below 1 in 300.

    Raises ``ValueError`` for what is no chance.
    """
    said = odds(chance)
    if is_extreme(chance) or abs(_share(_spoken(float(chance))) - float(chance)) < SAME:
        return said
    return _("about %(odds)s") % {"odds": said}


def belief_in_words(chance: Chance) -> str:
    """The same of something that is believed, which is so or is not: "as good as certain", "next to nothing" at the ends."""
    value = _checked(chance)
    if is_extreme(value):
        return _("next to nothing") if value < SELDOM else _("as good as certain")
    return in_words(value)


def odds(chance: Chance) -> str:
    """ "1 in 8", for where there is little room. Between two of them the nearer in odds is taken."""
    value = _checked(chance)
    if is_extreme(value):
        return _("hardly ever") if value < SELDOM else _("nearly always")
    some, all_of_them = _spoken(value)
    if (some, all_of_them) == (1, 2):
        return _("half")
    return _("%(some)s in %(all)s") % {"some": some, "all": all_of_them}


def such_bikes_lose(chance: Chance) -> str:
    if is_extreme(chance):
        return _("such bikes would %(hardly_ever)s lose money") % {"hardly_ever": odds(chance)}
    if _spoken(float(chance)) == (1, 2):
        return _("%(about_half)s of such bikes would lose money") % {"about_half": in_words(chance)}
    return _("%(about_1_in_8)s such bikes would lose money") % {"about_1_in_8": in_words(chance)}


def is_extreme(chance: Chance) -> bool:
    """So near never or always that odds would only sound exact."""
    value = _checked(chance)
    return value < SELDOM or value > 1 - SELDOM


def capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _checked(chance: Chance) -> float:
    value = float(chance)
    if not 0 <= value <= 1:
        raise ValueError(f"{chance} is not a chance; give a figure from 0 to 1.")
    return value


def _spoken(chance: float) -> tuple[int, int]:
    return min(SPOKEN, key=lambda pair: abs(_log_odds(_share(pair)) - _log_odds(chance)))


def _share(pair: tuple[int, int]) -> float:
    return pair[0] / pair[1]


def _log_odds(chance: float) -> float:
    return math.log(chance / (1 - chance))
