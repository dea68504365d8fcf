"""Chances in the words a shop uses."""

from decimal import ROUND_HALF_UP, Decimal

from django.utils.translation import gettext as _

TENTH = Decimal("0.1")
#: "1 in so many" for what is rarer than a tenth, and "all but 1 in so many" for what is surer than nine.
MANY = (10, 12, 15, 20, 30, 50, 100, 200)


def chance_in_words(chance: Decimal) -> str:
    """``chance`` [fraction] roughly: as tenths in the middle, as one in so many at the ends.

    >>> [chance_in_words(Decimal(text)) for text in ("0.5", "0.28", "0.948", "0.048", "0.9999", "0")]
    ['about half', 'about 3 in 10', 'about 19 in 20', 'about 1 in 20', 'as good as certain', 'next to nothing']
    """
    rest = min(chance, 1 - chance)
    if rest * 2 * MANY[-1] < 1:
        return _("as good as certain") if 2 * chance > 1 else _("next to nothing")
    if rest < TENTH:
        many = min(MANY, key=lambda number: abs(1 / rest - number))
        return _("about %(some)s in %(all)s") % {"some": many - 1 if 2 * chance > 1 else 1, "all": many}
    tenths = int((chance * 10).quantize(Decimal(1), ROUND_HALF_UP))
    return _("about half") if tenths == 5 else _("about %(some)s in %(all)s") % {"some": tenths, "all": 10}
