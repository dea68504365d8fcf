from decimal import Decimal

import pytest

from shop.papers.pictures import chances


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        # How people in a shop say it: common practice, no source.
        ("0.13", "about 1 in 8"),
        ("0.125", "1 in 8"),
        ("0.8", "4 in 5"),
        ("0.79", "about 4 in 5"),
        ("0.48", "about half"),
        ("0.5", "half"),
        ("0.667", "about 2 in 3"),
        ("0.34", "about 1 in 3"),
        ("0.9", "9 in 10"),
        ("0.016", "about 1 in 50"),
        ("0.002", "hardly ever"),
        ("0", "hardly ever"),
        ("0.9999", "nearly always"),
        ("1", "nearly always"),
    ],
)
def test_a_chance_is_said_as_a_shop_says_it(chance: str, said: str) -> None:
    assert chances.in_words(Decimal(chance)) == said
    assert chances.in_words(float(chance)) == said


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        # Invented; between the ends a belief is said like every other chance.
        ("0.79", "about 4 in 5"),
        ("0.948", "about 19 in 20"),
        ("0.9999", "as good as certain"),
        ("0", "next to nothing"),
    ],
)
def test_what_is_believed_is_said_alike_but_for_its_ends(chance: str, said: str) -> None:
    assert chances.belief_in_words(Decimal(chance)) == said


def test_odds_leave_the_about_away() -> None:
    assert chances.odds(Decimal("0.08")) == "1 in 12"
    assert chances.odds(Decimal("0.48")) == "half"


def test_what_is_said_is_never_far_from_the_chance() -> None:
    for permille in range(4, 997):
        chance = permille / 1000
        said = chances.odds(chance)
        some, whole = (1, 2) if said == "half" else (int(part) for part in said.split(" in "))
        share = some / whole
        assert 0.65 < (share / (1 - share)) / (chance / (1 - chance)) < 1.55, (chance, said)


def test_more_likely_is_never_said_as_less() -> None:
    shares = []
    for permille in range(4, 997):
        said = chances.odds(permille / 1000)
        some, whole = (1, 2) if said == "half" else (int(part) for part in said.split(" in "))
        shares.append(some / whole)
    assert shares == sorted(shares)


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.13, "about 1 in 8 such bikes would lose money"),
        (0.48, "about half of such bikes would lose money"),
        (0.0, "such bikes would hardly ever lose money"),
        (1.0, "such bikes would nearly always lose money"),
    ],
)
def test_losing_is_a_sentence_for_every_chance(chance: float, said: str) -> None:
    assert chances.such_bikes_lose(chance) == said


@pytest.mark.parametrize("wrong", [-0.1, 1.1, float("nan")])
def test_what_is_no_chance_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="not a chance"):
        chances.odds(wrong)
