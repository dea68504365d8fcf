"""Causes and checks from their readable file: what it says is kept, and a slip is refused whole."""

from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.methods.models import Cause, Check, Operation
from shop.rates.loading import STARTER
from tests.methods.test_loading import changed, load

pytestmark = pytest.mark.django_db


def test_a_check_keeps_what_its_file_says() -> None:
    load(STARTER)
    rows = list(Operation.objects.get(name="Press in bearing or bush").checks.values_list("position", "against__name"))
    assert rows == [(1, "Wrong bearing, or on the wrong side"), (2, "Seal forgotten"), (3, "Pressed in crooked")]
    frame = Check.objects.get(kind_of_part__name="Frame")
    assert (frame.operation.name, frame.kind) == ("Crack-test", "tick")


def test_no_limit_comes_with_the_program_and_every_cause_knows_its_check() -> None:
    """A torque is the data sheet's to say, never ours."""
    load(STARTER)
    assert not Check.objects.exclude(low=None, high=None).exists()
    assert not Check.objects.filter(kind="measure").exists()
    assert Check.objects.filter(words__contains="data sheet").exists()
    assert not Cause.objects.filter(check_words="").exists()
    assert not Cause.objects.filter(ended=True).exists()


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        ('for = "Frame"', 'for = "Fraem"', KeyError),
        ('against = "Seal forgotten"', 'against = "Seal lost"', KeyError),
        ('operation = "Blast"', 'operation = "Sandblast"', KeyError),
        ('kind = "finish"', 'kind = "measure"', ValidationError),
        ('kind = "finish"', 'kind = "colour"', ValidationError),
        ('unit = "kg"', 'units = "kg"', ValueError),
        ('check_words = "Seal', 'check = "Seal', ValueError),
    ],
)
def test_a_slip_is_refused_and_nothing_is_loaded(tmp_path: Path, old: str, new: str, error: type[Exception]) -> None:
    with pytest.raises(error), transaction.atomic():
        load(changed(tmp_path, "checks.toml", old, new))
    assert not Check.objects.exists()
