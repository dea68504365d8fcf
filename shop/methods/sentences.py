"""What the database refuses of a definition, as a sentence at the field that has to change."""

from collections.abc import Collection

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
    text = " ".join(error.messages)
    for name, (field, sentence) in SENTENCES.items():
        if name in text:
            return field, ValidationError(_(sentence) % ())
    return NON_FIELD_ERRORS, error
