from quotes.engine.formulas import REGISTRY
from tests.engine import corpus


def test_three_hundred_quotes_are_priced_as_they_were_sealed() -> None:
    """Figures that moved: a quote that is out would no longer recompute. Snapshots that moved: the quotes are others."""
    sealed = corpus.SEALS.read_text(encoding="ascii").splitlines()
    now = list(corpus.seals())
    assert len(sealed) == corpus.QUOTES
    assert [line.rsplit(" ", 1)[0] for line in now] == [line.rsplit(" ", 1)[0] for line in sealed]
    assert now == sealed


def test_the_first_variant_of_every_topic_is_still_there() -> None:
    assert set(corpus.VARIANTS.values()) <= set(REGISTRY)
    assert {name.rsplit("_", 1)[0] for name in REGISTRY} == set(corpus.VARIANTS)
