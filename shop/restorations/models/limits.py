"""Limits that no bike reaches."""

from decimal import Decimal

from django.core.validators import BaseValidator, MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

AT_LEAST = _("Give %(limit_value)s or more.")
AT_MOST = _("Give %(limit_value)s or less.")


def between(least: Decimal | int, most: Decimal | int) -> list[BaseValidator]:
    """Limits that no bike reaches, so that a slip of the finger is asked about and every sum stays in its column."""
    return [MinValueValidator(least, AT_LEAST), MaxValueValidator(most, AT_MOST)]


MANY = between(0, 100_000)
SIZE = between(Decimal(0), Decimal(100_000))
STRENGTH = between(1, 5_000)  # [MPa]
THICKNESS = between(Decimal("0.1"), Decimal(1_000))  # [mm]
