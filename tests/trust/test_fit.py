"""The fit of a known function: its error, and the coverage of its band."""

import numpy as np
import pytest

from fem.quantities.column import BAND
from fem.trust.fit import cross_validated_fit, thinned
from fem.trust.kernel import Symmetry

IDENTITY = (Symmetry((0, 1), (1, 1)),)


def toy(seed, curves, steps=4):
    """Return inputs, values and curves of a function that is zero where the drive is zero.

    The curves are at random positions in (-2, 2), each with equal steps of the drive. The function
    has a kink, as when a thread becomes taut.
    """
    rng = np.random.default_rng(seed)
    position = np.repeat(rng.uniform(-2, 2, curves), steps)
    drive = np.tile(np.arange(1, steps + 1) / steps, curves)
    values = 3 * drive * (np.sin(2 * position) + 2 * np.maximum(drive - 0.3 - 0.3 * position, 0))
    return np.c_[position, drive, drive], values, np.repeat(np.arange(curves), steps)


@pytest.fixture(scope="module")
def trials():
    """Return, for some seeds, errors and bands at new points, and at held-out points."""
    found = []
    for seed in range(8):
        inputs, values, curves = toy(seed, 24)
        fit, held_out = cross_validated_fit(inputs, values, curves, IDENTITY, (0, 1))
        new, truth, _ = toy(1000 + seed, 60)
        mean, std = fit.predict(new)
        found.append((mean - truth, BAND * std, truth, held_out, values))
    return found


def test_a_known_function_is_recovered(trials):
    errors = np.concatenate([error for error, *_ in trials])
    truth = np.concatenate([trial[2] for trial in trials])
    assert np.sqrt(np.mean(errors**2)) < 0.1 * np.sqrt(np.mean(truth**2))


def test_the_band_covers_90_to_99_percent_of_new_points(trials):
    """The coverage differs between draws of 24 curves; their mean is near 95 %."""
    coverage = [np.mean(abs(error) <= band) for error, band, *_ in trials]
    assert 0.9 <= np.mean(coverage) <= 0.99
    assert min(coverage) > 0.8


def test_the_band_covers_95_percent_of_the_held_out_points(trials):
    """The mean over all draws is that of new points."""
    coverage = [np.mean(abs(known[0] - v) <= BAND * known[1]) for *_, known, v in trials]
    assert np.mean(coverage) == pytest.approx(0.95, abs=0.03)
    assert len(set(coverage)) > 1


def test_no_band_is_scaled_by_the_errors_of_its_own_fold():
    """One of twelve curves differs from all others: all its points are outside their bands.

    Bands scaled by all errors would contain all but 2.4 of the 48 points, so some of these four.
    """
    inputs, values, curves = toy(0, 12)
    outlier = curves == 3
    shifted = values + 40 * outlier * inputs[:, 1]
    fit, held_out = cross_validated_fit(inputs, shifted, curves, IDENTITY, (0, 1))
    outside = abs(held_out[0] - shifted) > BAND * held_out[1]
    assert outside[outlier].all()
    assert not outside[~outlier].any()  # their scale includes the outlier
    assert fit.widening > 2


def test_held_out_points_are_predicted_without_their_curve():
    """The outlier is not predicted by the other curves, although the full fit follows it."""
    inputs, values, curves = toy(0, 12)
    outlier = curves == 3
    shifted = values + 40 * outlier * inputs[:, 1]
    fit, held_out = cross_validated_fit(inputs, shifted, curves, IDENTITY, (0, 1))
    assert abs(held_out[0] - shifted)[outlier].max() > 20
    assert abs(fit.predict(inputs)[0] - shifted)[outlier].max() < 10


def test_the_prediction_is_zero_where_the_drive_is_zero():
    inputs, values, curves = toy(0, 12)
    fit, _ = cross_validated_fit(inputs, values, curves, IDENTITY, (0, 1))
    mean, std = fit.predict(np.array([[0.3, 0.0, 0.0]]))
    assert mean == pytest.approx(0, abs=1e-12)
    assert std < 0.05


def test_thinned_points_keep_the_ends_of_the_curves():
    curves = np.repeat(np.arange(5), 10)
    kept = thinned(curves, 20)
    assert kept.sum() == 20
    assert kept.reshape(5, 10)[:, -1].all()
    assert thinned(curves, 50).all()
    few = thinned(curves, 3)
    assert 1 <= few.sum() <= 3 and few.reshape(5, 10)[0, -1]


@pytest.mark.slow
@pytest.mark.parametrize("count", [12, 24, 40])
def test_the_band_over_many_draws(count):
    coverage = []
    for seed in range(24):
        fit, _ = cross_validated_fit(*toy(seed, count), IDENTITY, (0, 1))
        new, truth, _ = toy(1000 + seed, 60)
        mean, std = fit.predict(new)
        coverage.append(np.mean(abs(mean - truth) <= BAND * std))
    assert 0.9 <= np.mean(coverage) <= 0.99
