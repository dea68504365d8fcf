from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from quotes.engine import formulas
from quotes.engine.consumables import wet_film
from quotes.pricing.models import Draft
from shop.papers import pdf
from tests.pricing import workshop as made
from tests.pricing.workshop import Workshop


@pytest.fixture(autouse=True)
def documents(settings: Any, tmp_path: Path) -> Path:
    Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)  # the static file server warns without it
    settings.MEDIA_ROOT = tmp_path / "documents"
    return tmp_path / "documents"


@pytest.fixture
def shop(request: pytest.FixtureRequest) -> Workshop:
    request.getfixturevalue("transactional_db" if _commits(request) else "db")
    return made.workshop()


def _commits(request: pytest.FixtureRequest) -> bool:
    mark = request.node.get_closest_marker("django_db")
    return bool(mark and mark.kwargs.get("transaction"))


@pytest.fixture
def draft(shop: Workshop) -> Draft:
    """A draft of three parts that can be issued."""
    restoration = made.restoration()
    made.add_parts(restoration, shop)
    return made.draft(restoration)


@pytest.fixture
def correct_film() -> Iterator[Callable[[], None]]:
    """Bring a corrected formula, as a later version of the service would: twice the paint."""
    yield lambda: formulas.variant("film_2", "twice as much as film_1")(lambda **size: 2 * wet_film(**size)) and None
    formulas.REGISTRY.pop("film_2", None)
    formulas.PRESENT["film"] = "film_1"


@pytest.fixture(scope="session")
def preloaded() -> None:
    """The renderer's library is loaded, as it is in the background process: a PDF's child is then a quick copy."""
    pdf.preload()
