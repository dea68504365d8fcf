"""Crossed random effects, against the likelihood written out with scipy, against statsmodels, and in closed form.

The closed form is that of a balanced one-way table (S. R. Searle, G. Casella and C. E. McCulloch, *Variance Components*,
ch. 3; from memory): σ²ₑ = MSE, σ²ᵤ = (MSA − MSE) / n, and the effect of a group is its mean less that of all, times
n σ²ᵤ / (n σ²ᵤ + σ²ₑ).
"""

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from quotes.engine.learning.mixed import Array, Design, Sums, Variances, fitted, reml, solved, sums


def crossed(seed: int, *, rows: int = 240, shared: bool = False) -> tuple[Array, Design, list[Array]]:
    """A made table with operations, people and bikes; with ``shared`` rows hold two operations each, by shares."""
    draw = np.random.default_rng(seed)
    operations, people, bikes = 6, 4, 12
    first = draw.integers(operations, size=rows)
    second = (first + draw.integers(1, operations, size=rows)) % operations
    share = draw.uniform(0.55, 0.9, size=rows) if shared else np.ones(rows)
    person, bike = draw.integers(people, size=rows), draw.integers(bikes, size=rows)
    z_operation = np.zeros((rows, operations))
    z_operation[np.arange(rows), first] = share
    z_operation[np.arange(rows), second] += 1 - share
    z_person, z_bike = np.eye(people)[person], np.eye(bikes)[bike]
    effects = draw.normal(0, 0.3, operations), draw.normal(0, 0.15, people), draw.normal(0, 0.2, bikes)
    y = 0.1 + z_operation @ effects[0] + z_person @ effects[1] + z_bike @ effects[2] + draw.normal(0, 0.25, rows)
    small = np.hstack([z_operation, z_person])
    at, columns = np.nonzero(small)
    design = Design(at, columns, small[at, columns], (operations, people), bike, bikes)
    return y, design, [z_operation, z_person, z_bike]


def covariance(blocks: list[Array], values: list[float]) -> Array:
    whole = values[-1] * np.eye(len(blocks[0]))
    for block, value in zip(blocks, values, strict=False):
        whole += value * block @ block.T
    return whole


def written_out(y: Array, blocks: list[Array], values: list[float]) -> float:
    """−2 log of the restricted likelihood, less its constant, from the covariance of all rows."""
    whole, ones = covariance(blocks, values), np.ones(len(y))
    inverse = np.linalg.inv(whole)
    weight = ones @ inverse @ ones
    mean = ones @ inverse @ y / weight
    return float(np.linalg.slogdet(whole)[1] + math.log(weight) + (y - mean) @ inverse @ (y - mean))


@pytest.mark.parametrize("shared", [False, True])
def test_the_deviance_is_that_of_the_likelihood_written_out(shared: bool) -> None:
    y, design, blocks = crossed(5, shared=shared)
    known = sums(y, design)
    for values in ([0.1, 0.02, 0.04, 0.06], [0.01, 0.3, 0.002, 0.5]):
        ours = solved(known, Variances((values[0], values[1]), values[2], values[3])).deviance
        assert ours == pytest.approx(written_out(y, blocks, values), rel=1e-9)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("shared", [False, True])
def test_the_variances_are_those_that_scipy_finds(seed: int, shared: bool) -> None:
    y, design, blocks = crossed(seed, shared=shared)
    ours = reml(sums(y, design)).variances

    def deviance(logs: Array) -> float:
        return written_out(y, blocks, np.exp(logs).tolist())

    options = {"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000, "maxfev": 4000}
    theirs = minimize(deviance, np.log([0.05, 0.05, 0.05, 0.05]), method="Nelder-Mead", options=options)
    found = np.log([*ours.blocks, ours.bike, ours.error])
    assert found.tolist() == pytest.approx(theirs.x.tolist(), abs=2e-3)


def test_the_effects_and_their_variance_are_those_of_the_joint_normal_distribution() -> None:
    """The mean and variance of what is normal given what was seen, with the mean of all estimated: written out."""
    y, design, blocks = crossed(8, shared=True)
    values = [0.09, 0.02, 0.04, 0.06]
    fit = solved(sums(y, design), Variances((values[0], values[1]), values[2], values[3]))
    inverse, ones = np.linalg.inv(covariance(blocks, values)), np.ones(len(y))
    weight = ones @ inverse @ ones
    mean = ones @ inverse @ y / weight
    predicted = values[0] * blocks[0].T @ inverse @ (y - mean)
    assert fit.effects[0] == pytest.approx(mean)
    assert fit.effects[1:7].tolist() == pytest.approx(predicted.tolist())
    rest = inverse - np.outer(inverse @ ones, ones @ inverse) / weight
    left = values[0] * np.eye(6) - values[0] ** 2 * blocks[0].T @ rest @ blocks[0]
    assert np.diag(fit.covariance)[1:7].tolist() == pytest.approx(np.diag(left).tolist())
    assert fit.covariance[0, 0] == pytest.approx(1 / weight)
    assert fitted(y, design, fit).tolist() == pytest.approx(
        (mean + covariance(blocks, [*values[:3], 0.0]) @ inverse @ (y - mean)).tolist()
    )


def test_statsmodels_finds_the_same() -> None:
    """One group that is everything, and a variance component for each factor: crossed effects, as its own examples have it."""
    pandas = pytest.importorskip("pandas", reason="comes with requirements-dev.txt")
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model", reason="comes with requirements-dev.txt")
    y, design, blocks = crossed(4)
    frame = pandas.DataFrame({"y": y, "all": 1} | {n: b.argmax(axis=1) for n, b in zip("opb", blocks, strict=True)})
    parts = {name: f"0 + C({name})" for name in "opb"}
    model = mixed.MixedLM.from_formula("y ~ 1", groups="all", vc_formula=parts, re_formula="0", data=frame)
    theirs = model.fit(reml=True)
    ours = reml(sums(y, design))
    by_name = dict(zip(model.exog_vc.names, theirs.vcomp, strict=True))
    found = [*ours.variances.blocks, ours.variances.bike]
    assert found == pytest.approx([by_name[name] for name in "opb"], rel=2e-3)
    assert ours.variances.error == pytest.approx(theirs.scale, rel=2e-3)
    assert ours.effects[0] == pytest.approx(theirs.fe_params.iloc[0], abs=1e-4)
    predicted = {name: value for name, value in theirs.random_effects[1].items() if name.startswith("o[")}
    assert sorted(ours.effects[1:7].tolist()) == pytest.approx(sorted(predicted.values()), abs=1e-3)


def balanced(seed: int) -> tuple[Array, Design, Array]:
    """One factor, eight bikes of six rows; no small effects that matter."""
    draw = np.random.default_rng(seed)
    table = draw.normal(0, 0.4, (8, 1)) + draw.normal(0, 0.3, (8, 6))
    bike = np.repeat(np.arange(8), 6)
    none = np.empty(0, dtype=np.int64)
    return table.ravel(), Design(none, none, np.empty(0), (), bike, 8), table


def test_a_balanced_table_has_a_closed_form() -> None:
    y, design, table = balanced(11)
    means = table.mean(axis=1)
    within = float(((table - means[:, None]) ** 2).sum() / (8 * 5))
    between = float(6 * ((means - table.mean()) ** 2).sum() / 7)
    own = (between - within) / 6
    fit = reml(sums(y, design))
    assert fit.variances.error == pytest.approx(within, rel=1e-4)
    assert fit.variances.bike == pytest.approx(own, rel=1e-4)
    shrunk = (means - table.mean()) * 6 * own / (6 * own + within)
    assert fit.bikes.tolist() == pytest.approx(shrunk.tolist(), abs=1e-5)


def test_what_does_not_differ_gets_no_variance() -> None:
    draw = np.random.default_rng(3)
    y, design, _blocks = crossed(3)
    fit = reml(sums(draw.normal(0, 0.2, len(y)), design))
    assert max(*fit.variances.blocks, fit.variances.bike) < 0.02 * fit.variances.error


def test_one_row_is_too_few() -> None:
    y, design, _table = balanced(1)
    known = sums(y, design)
    alone = Sums(known.square, known.between, known.diagonal, known.small, known.large, known.total, 1, known.blocks)
    with pytest.raises(ValueError, match="two rows"):
        reml(alone)
