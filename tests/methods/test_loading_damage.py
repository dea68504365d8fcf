"""Possible damage from its readable file: what it says is kept, and a slip is refused whole."""

from decimal import Decimal
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.methods.models import Operation, PartKind, PossibleDamage
from shop.rates.loading import STARTER
from tests.methods.test_loading import changed, load

pytestmark = pytest.mark.django_db


def test_a_damage_keeps_what_its_file_says() -> None:
    load(STARTER)
    found = PossibleDamage.objects.get(kind__name="Frame", name="Cracked lug or tube")
    assert (found.frequency, found.cost_class) == ("rare", "labour")
    assert (found.low_minor, found.likely_minor, found.high_minor) == (12_000, 23_000, 60_000)
    assert "qualified welder" in found.caution
    steps = [(str(step.work), step.quantity) for step in found.steps.all()]
    assert steps == [("Weld, braze and dress", Decimal(4)), ("Crack-test", Decimal(1)), ("Trial build", Decimal(1))]


def test_the_kinds_a_bike_is_judged_by_have_their_usual_damages() -> None:
    load(STARTER)
    judged = PartKind.objects.filter(damages__isnull=False).distinct()
    assert judged.count() >= 12
    assert PossibleDamage.objects.filter(steps__isnull=True).count() == 0
    # Whoever opens steering, brakes, frame or tank reads what the danger is (DESIGN, safety).
    for kind in ("Fork yoke", "Brake plate", "Frame", "Petrol tank"):
        assert PossibleDamage.objects.filter(kind__name=kind).exclude(caution="").exists()


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        ('kind = "Swinging arm"', 'kind = "Swing arm"', KeyError),
        ("costs = [180, 400, 720]", "costs = [180, 720, 400]", ValidationError),
        ("costs = [180, 400, 720]", "costs = [-1, 400, 720]", ValidationError),
        ("costs = [180, 400, 720]", "costs = [400, 720]", ValueError),
        ('frequency = "rare"', 'frequency = "seldom"', ValidationError),
        ('of = "vendor"', 'of = "paint"', ValidationError),
        ('of = "vendor"', 'off = "vendor"', ValueError),
        ('do = "Crack-test"', 'do = "Crack test"', KeyError),
        ('do = "Weld, braze and dress", quantity = 4', 'do = "Weld, braze and dress"', ValueError),
    ],
)
def test_a_slip_in_the_file_is_refused_and_nothing_is_loaded(
    tmp_path: Path, old: str, new: str, error: type[Exception]
) -> None:
    with pytest.raises(error), transaction.atomic():
        load(changed(tmp_path, "damage.toml", old, new))
    assert not Operation.objects.exists()
