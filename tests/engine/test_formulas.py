from collections.abc import Iterator
from decimal import Decimal

import pytest

from quotes.engine import canonical
from quotes.engine.errors import BadInput
from quotes.engine.formulas import PRESENT, REGISTRY, complete, resolve, variant
from quotes.engine.inputs import By, Usage
from quotes.engine.rollup import price
from tests.engine.build import consumable, operation, part, restoration, step

D = Decimal


@pytest.fixture
def film_2() -> Iterator[None]:
    """A later method that counts twice the paint."""
    registry, present = dict(REGISTRY), dict(PRESENT)

    @variant("film_2", "twice film_1")
    def twice(*, area: Decimal, film: Decimal, solids: Decimal, transfer: Decimal) -> Decimal:
        return 2 * registry["film_1"].compute(area=area, film=film, solids=solids, transfer=transfer)

    yield
    for live, kept in ((REGISTRY, registry), (PRESENT, present)):
        live.clear()
        live.update(kept)  # type: ignore[arg-type]


PAINTED = restoration(
    part("tank", step("coat"), area=D(520)),
    consumables=(consumable(by=By.FILM, solids=D(65)),),
    operations=(operation(run=D(0), usages=(Usage("paint", film=D(125)),)),),
)


def test_a_quote_that_names_film_1_stays_as_it_was_when_film_2_comes(request: pytest.FixtureRequest) -> None:
    named = dict(PRESENT)
    before = canonical.dump(price(PAINTED).result)
    request.getfixturevalue("film_2")
    assert canonical.dump(price(PAINTED, named).result) == before


def test_a_quote_of_today_uses_film_2_and_says_so(request: pytest.FixtureRequest) -> None:
    before = price(PAINTED).result
    request.getfixturevalue("film_2")
    after = price(PAINTED)
    assert after.result.cost == 2 * before.cost == 20
    assert "film_2" in {figure.formula for _, figure in after.figures["coat"].walk()}


def test_an_unknown_variant_is_refused_by_name() -> None:
    with pytest.raises(BadInput) as caught:
        price(PAINTED, dict(PRESENT) | {"film": "film_99"})
    assert caught.value.field == "formula"
    assert caught.value.sentence() == (
        "This quote was computed with film_99, which this version does not know. Update the service."
    )


def test_the_tenth_variant_is_newer_than_the_ninth(film_2: None) -> None:
    for number in (9, 10):
        variant(f"film_{number}", "for the test")(lambda: None)
    assert PRESENT["film"] == "film_10"


def test_an_older_variant_read_later_does_not_become_the_present_one(film_2: None) -> None:
    variant("film_1", "read again")(lambda: None)
    assert PRESENT["film"] == "film_2"


def test_every_present_variant_is_registered_under_its_topic_and_reads_as_words() -> None:
    for topic, name in PRESENT.items():
        assert name.rsplit("_", 1)[0] == topic
        assert REGISTRY[name].text
    assert set(resolve(PRESENT)) == set(PRESENT)


def test_every_figure_names_a_variant_that_is_there() -> None:
    explained = price(PAINTED)
    names = {figure.formula for top in explained.figures.values() for _, figure in top.walk() if figure.formula}
    assert names <= set(PRESENT.values())


def test_a_quote_older_than_a_topic_is_computed_with_the_first_variant_of_it() -> None:
    older = {topic: name for topic, name in PRESENT.items() if topic != "mix"}
    assert complete(older) == complete(PRESENT)
    assert complete({"film": "film_2"})["film"] == "film_2"
