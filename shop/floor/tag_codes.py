"""Numbers on tags: short, read aloud and typed with cold hands, so that a slip is noticed.

No letter or digit that is taken for another one (0 O D, 1 I L, 2 Z, 5 S, 8 B, U V, Q O), and no vowel, so that no word comes
about. 23 are left, which is prime: with a weighted sum every wrong letter and every two that changed places are noticed. The
principle is that of the ten-digit book number (ISO 2108), with another modulus.
"""

import secrets

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

LETTERS = "23456789CFGHJKMNPRTVWXY"
LENGTH = 6
GROUP = 3


def new_code() -> str:
    """A number that nobody can guess from another one. Whether it is free is for the caller to look at."""
    return with_check("".join(secrets.choice(LETTERS) for _turn in range(LENGTH - 1)))


def with_check(body: str) -> str:
    """``body`` and the letter that makes the weighted sum come out at nothing."""
    left = -_sum(body) * pow(LENGTH, -1, len(LETTERS))
    return body + LETTERS[left % len(LETTERS)]


def _sum(letters: str) -> int:
    return sum(weight * LETTERS.index(letter) for weight, letter in enumerate(letters, start=1))


def is_code(text: str) -> bool:
    return len(text) == LENGTH and set(text) <= set(LETTERS) and _sum(text) % len(LETTERS) == 0


def read_code(typed: str) -> str:
    """The number that somebody typed: small letters, blanks and dashes do not matter. Raises `ValidationError`."""
    found = "".join(letter for letter in typed.upper() if letter.isalnum())
    if not found:
        raise ValidationError(_("Type the number that stands on the tag."), code="required")
    strange = [letter for letter in found if letter not in LETTERS]
    if strange:
        said = _("There is no %(letter)s on any tag. Look at the tag again.")
        raise ValidationError(said % {"letter": strange[0]}, code="letter")
    if len(found) != LENGTH:
        said = _("A tag has %(count)d letters and digits; these are %(given)d.")
        raise ValidationError(said % {"count": LENGTH, "given": len(found)}, code="length")
    if not is_code(found):
        raise ValidationError(_("One letter is not as on the tag. Look at the tag again."), code="check")
    return found


def spaced(code: str) -> str:
    """As it is printed and read aloud."""
    return " ".join(code[at : at + GROUP] for at in range(0, len(code), GROUP))
