from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.methods.models import Finish, Operation, Template, TemplateStep
from shop.rates.loading import STARTER, load_starter
from tests.rates.things import MARCH, NOW


def load(folder: Path) -> None:
    load_starter(guessed=False, today=MARCH, who="ada", now=NOW, folder=folder)


def changed(folder: Path, file: str, old: str, new: str) -> Path:
    """The starter's files in ``folder``, with one place changed."""
    for path in STARTER.rglob("*.toml"):
        text = path.read_text(encoding="utf-8")
        if path.name == file:
            assert old in text
            text = text.replace(old, new, 1)
        target = folder / path.relative_to(STARTER)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return folder


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("file", "old", "new", "error"),
    [
        ("materials.toml", 'name = "Oven"', 'name = "Oven"\ncolour = "red"', TypeError),
        ("materials.toml", "capacity = 140", "capacity = -140", ValidationError),
        ("operations.toml", 'place = "Oven"', 'place = "Kiln"', KeyError),
        ("finishes.toml", "fail = 5", "fails = 5", ValueError),
        ("finishes.toml", 'do = "Blast"', 'do = "Sandblast"', KeyError),
        ("250-single.toml", 'name = "Speedometer"', 'name = "Seat"', ValueError),
        ("250-single.toml", 'waits = ["Trial build"]', 'waits = ["Trail build"]', KeyError),
        ("250-single.toml", 'material = "aluminium"', 'material = "aluminum"', ValidationError),
    ],
)
def test_a_slip_in_a_file_is_refused_and_nothing_is_loaded(
    tmp_path: Path, file: str, old: str, new: str, error: type[Exception]
) -> None:
    with pytest.raises(error), transaction.atomic():
        load(changed(tmp_path, file, old, new))
    assert not Operation.objects.exists()


@pytest.mark.django_db
def test_a_template_keeps_what_its_file_says() -> None:
    load(STARTER)
    template = Template.objects.get(name="500 twin")
    frame = template.parts.get(name="Frame")
    assert (frame.area_name, frame.area, frame.openings, frame.condition) == ("Frame", 96, 22, "corroded")
    assert frame.finish == Finish.objects.get(name="Gloss black, powder")
    assert template.parts.get(name="Swinging arm").depth == 1
    steps: Any = TemplateStep.objects.filter(part__template=template, part__name="Silencers")
    buy, fit = steps.order_by("position")
    assert (buy.buy, buy.buy_origin, buy.buy_price_minor, buy.buy_handling) == ("Silencer", "reproduction", 11800, 10)
    assert (str(fit.work), fit.fail_chance, fit.back_to) == ("Fit and check", 15, buy.position)
    assert [part.name for part in fit.waits_for.all()] == ["Exhaust pipes"]


@pytest.mark.django_db
def test_steps_after_the_finish_go_on_counting_where_those_before_it_end(tmp_path: Path) -> None:
    after = 'after = [{ do = "Fit and check" }, { do = "Fit and check", fail = 5, back_to = 1 }]\nname = "Centre stand"'
    load(changed(tmp_path, "500-twin.toml", 'name = "Centre stand"', after))
    steps = TemplateStep.objects.filter(part__name="Centre stand").order_by("position")
    assert [(step.position, step.after_finish, step.back_to) for step in steps] == [
        (1, False, None),
        (2, True, None),
        (3, True, 2),
    ]
