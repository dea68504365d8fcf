"""The weight that a job's performance gets is the weight of a beta-binomial posterior mean; published ones."""

from decimal import Decimal

from quotes.engine.margin.performance import shrunk

D = Decimal


def test_the_seventy_first_group_of_rat_tumours() -> None:
    """Source: A. Gelman et al., *Bayesian Data Analysis*, table 5.1: 70 groups with mean .1360 and moments α 1.3561, β 8.6151.

    4 of 14 in the next group: posterior mean .2234, which is 4/14 pulled towards α/(α + β) with the weight 14/(14 + α + β).
    With α and β rounded to 1.4 and 8.6 it is .225, as the book prints beside it.
    """
    for alpha, beta, mean, places in (("1.3561", "8.6151", ".2234", ".0001"), ("1.4", "8.6", ".225", ".001")):
        prior, strength = D(alpha) / (D(alpha) + D(beta)), D(alpha) + D(beta)
        found = shrunk(D(4) / 14, done=D(14), half=strength, expected=prior)
        assert found.quantize(D(places)) == D(mean)


def test_the_eight_schools_are_pulled_to_their_mean() -> None:
    """From memory (Rubin 1981): with a spread between schools as large as the first one's error of 15, 28 is halfway to 7.686."""
    found = shrunk(D(28), done=D(15) ** 2, half=D(15) ** 2, expected=D("7.686"))
    assert found == (28 + D("7.686")) / 2
