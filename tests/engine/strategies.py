"""Hypothesis strategies over `tests.engine.made`: seeds for the numbers, draws for how much there is."""

from decimal import Decimal

from hypothesis import settings
from hypothesis import strategies as st

from quotes.engine.inputs import ZERO, Policy, Restoration
from tests.engine import made

seeds = st.integers(0, 2**32)
discounts = st.one_of(st.just(ZERO), st.integers(1, 99).map(lambda percent: Decimal(percent) / 100))


#: For what is asked of many relations or costs much: a third of the examples of the profile.
fewer = settings(max_examples=settings().max_examples // 3)


def catalogues() -> st.SearchStrategy[made.Catalogue]:
    return seeds.map(made.catalogue)


def policies(currency: str | None = None) -> st.SearchStrategy[Policy]:
    return seeds.map(lambda seed: made.policy(seed, currency))


@st.composite
def restorations(
    draw: st.DrawFn,
    *,
    fails: bool = True,
    waits: bool = True,
    currency: str | None = None,
    least_parts: int = 1,
    most_parts: int = 7,
) -> Restoration:
    """A restoration that can be priced: parts of all kinds, batches, places, vendors, films, ways back, waits."""
    return made.restoration(
        draw(catalogues()),
        draw(policies(currency)),
        draw(st.lists(seeds, min_size=least_parts, max_size=most_parts)),
        fails=fails,
        waits=waits,
        discount=draw(discounts),
    )
