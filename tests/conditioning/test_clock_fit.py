"""Offset and drift from lags: recovered, and with the uncertainty that they have."""

import numpy as np
import pytest

from imuproc.conditioning.clocks.fit import SeenLag, fit_clock


def seen_at(times_s, offset_s, drift_ppm, u_s, rng):
    return [
        SeenLag(t, offset_s + 1e-6 * drift_ppm * t + float(u_s * rng.standard_normal()), u_s)
        for t in times_s
    ]


def test_events_at_both_ends_give_offset_and_drift() -> None:
    seen = seen_at([10.0, 20.0, 7000.0, 7010.0], 33.3, 120.0, 1e-6, np.random.default_rng(1))
    fit = fit_clock(seen, 0.0, 70.0)
    assert fit.drift_ppm == pytest.approx(120.0, abs=0.01)
    for t in (0.0, 3500.0, 7200.0):
        told = fit.offset_s + 1e-6 * fit.drift_ppm * (t - fit.centre_s)
        assert told == pytest.approx(33.3 + 120e-6 * t, abs=1e-5)


def test_one_end_leaves_the_drift_as_unsure_as_clocks_are() -> None:
    fit = fit_clock([SeenLag(10.0, 0.5, 0.001)], 0.002, 70.0)
    assert (fit.offset_s, fit.drift_ppm, fit.drift_u_ppm) == (0.5, 0.0, pytest.approx(70.0))
    assert fit.offset_u_s == pytest.approx(np.hypot(0.001, 0.002))


def test_errors_are_of_the_stated_size() -> None:
    """400 clocks of 70 ppm each, two events 60 s apart: standardised errors spread by 1."""
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(400):
        drift = float(70.0 * rng.standard_normal())
        fit = fit_clock(seen_at([0.0, 60.0], 5.0, drift, 0.002, rng), 0.0, 70.0)
        for t in (30.0, 200.0):
            told = fit.offset_s + 1e-6 * fit.drift_ppm * (t - fit.centre_s)
            u = np.hypot(fit.offset_u_s, 1e-6 * fit.drift_u_ppm * (t - fit.centre_s))
            errors.append((told - 5.0 - 1e-6 * drift * t) / u)
    assert 0.85 < np.std(errors) < 1.1


def test_lags_that_disagree_are_worth_less() -> None:
    agreeing = fit_clock([SeenLag(t, 1.0, 0.001) for t in (0.0, 5.0, 10.0)], 0.0, 70.0)
    apart = [SeenLag(t, lag, 0.001) for t, lag in ((0.0, 1.0), (5.0, 1.02), (10.0, 1.0))]
    assert fit_clock(apart, 0.0, 70.0).offset_u_s > 5.0 * agreeing.offset_u_s


def test_a_fit_can_be_turned_round() -> None:
    fit = fit_clock([SeenLag(0.0, 100.0, 1e-4), SeenLag(1000.0, 100.1, 1e-4)], 0.0, 200.0)
    back = fit.invert()
    for t in (0.0, 500.0):
        other = t + fit.offset_s + 1e-6 * fit.drift_ppm * (t - fit.centre_s)
        again = other + back.offset_s + 1e-6 * back.drift_ppm * (other - back.centre_s)
        assert again == pytest.approx(t, abs=1e-7)
