"""What the database refuses of a definition, as a sentence at the field that has to change."""

from collections.abc import Collection, Mapping
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

#: Constraint to field and sentence.
SENTENCES = {
    "film_has_solids": (
        "solids",
        gettext_noop("What is used by film needs its volume solids: more than 0 and at most 100 %%."),
    ),
    "powder_has_density": ("density", gettext_noop("What is used as powder needs its density: more than 0 g/cm³.")),
    "smallest_mix_not_negative": ("smallest_mix", gettext_noop("Give 0 or more.")),
    "place_capacity_not_negative": ("capacity", gettext_noop("Give 0 or more.")),
    "size_not_negative": ("area", gettext_noop("Area and weight are 0 or more.")),
    "factor_not_negative": ("factor", gettext_noop("Give 0 or more.")),
    "usage_in_range": (
        "transfer",
        gettext_noop(
            "Amount, waste and film are 0 or more; the transfer efficiency is more than 0 and at most 100 %%."
        ),
    ),
    "finish_step_can_succeed": ("fail_chance", gettext_noop("Give a chance from 0 to less than 100 %%.")),
    "finish_step_goes_back": (
        "back_to",
        gettext_noop("A step can send the part back to itself or to an earlier step only. Give a lower number."),
    ),
    "finish_step_has_one_work": ("operation", gettext_noop("Choose own work or vendor work.")),
    "damage_step_has_one_work": ("operation", gettext_noop("Choose own work or vendor work.")),
    "looking_costs_not_negative": (
        "cost_minor",
        gettext_noop("The cost of looking cannot be negative. Give 0 or more."),
    ),
    "source_years_in_order": ("years_to", gettext_noop("The last year is before the first. Swap them.")),
}


def check(row: models.Model, *, exclude: Collection[str] = ()) -> None:
    """`full_clean` with every refusal at a field, in words."""
    try:
        row.full_clean(exclude=set(exclude), validate_unique=not exclude)
    except ValidationError as error:
        raise ValidationError(_placed(error)) from None


def _placed(error: ValidationError) -> dict[str, list[ValidationError]]:
    told = dict(error.error_dict)
    for item in told.pop(NON_FIELD_ERRORS, []):
        field, said = _in_words(item)
        told.setdefault(field, []).append(said)
    return told


def _in_words(error: ValidationError) -> tuple[str, ValidationError]:
    if error.code == "unique_together" and error.params:
        return error.params["unique_check"][-1], ValidationError(_("This is on the list already. Give another name."))
    text = " ".join(error.messages)
    for name, (field, sentence) in SENTENCES.items():
        if name in text:
            return field, ValidationError(_(sentence) % ())
    return NON_FIELD_ERRORS, error


def refuse_out_of_order(costs: Mapping[str, Any], *, typed: Collection[str]) -> None:
    """Least, most likely and most of what a damage costs: out of order they are said at the one that was ``typed``."""
    if any(not isinstance(cost, int) for cost in costs.values()):
        return  # an amount that is none is said by its own field
    (least, low), (middle, likely), (most, high) = costs.items()
    if likely < low:
        said = _("“Most likely” is less than “at least”. Give the three costs in order.")
        raise ValidationError({middle if middle in typed else least: said})
    if high < likely:
        said = _("“At most” is less than “most likely”. Give the three costs in order.")
        raise ValidationError({most if most in typed else middle: said})
