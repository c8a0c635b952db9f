"""Allan deviation: published values, another implementation, and made noise of known size."""

import allantools
import numpy as np
import pytest
from scipy.signal import fftconvolve

from imuproc.dsp.allan import FLAT, AllanCurve, AllanReading, compute_allan_curve, read_allan

RATE_HZ = 100.0


def nist_test_data() -> np.ndarray:
    """The 1000-point frequency data set of NIST SP 1065 (Riley 2008), section 12.4."""
    numbers = [1234567890]
    while len(numbers) < 1000:
        numbers.append(16807 * numbers[-1] % 2147483647)
    return np.array(numbers) / 2147483647


def white(n: int, noise: float, rng: np.random.Generator) -> np.ndarray:
    """White noise with N = ``noise``: two-sided density N^2."""
    return noise * np.sqrt(RATE_HZ) * rng.normal(size=n)


def flicker(n: int, instability: float, rng: np.random.Generator) -> np.ndarray:
    """Noise of density B^2 / (2 pi f), two-sided: half an integration (Kasdin 1995, Proc IEEE)."""
    k = np.arange(1, n)
    response = np.concatenate(([1.0], np.cumprod((k - 0.5) / k)))
    return fftconvolve(instability * rng.normal(size=n), response)[:n]


def walk(n: int, rate_walk: float, rng: np.random.Generator) -> np.ndarray:
    """Random walk whose SD after t seconds is K sqrt(t)."""
    return np.cumsum(rng.normal(size=n)) * rate_walk / np.sqrt(RATE_HZ)


def read(x: np.ndarray) -> AllanReading:
    return read_allan(compute_allan_curve(x, RATE_HZ))


def at(curve: AllanCurve, tau_s: float) -> float:
    return float(curve.deviation[np.argmin(np.abs(curve.tau_s - tau_s))])


def test_published_values_of_the_nist_data_set() -> None:
    # Overlapping Allan deviation in NIST SP 1065, table of the 1000-point test suite: from memory
    # (high), and what allantools 2024.6 gives.
    curve = compute_allan_curve(nist_test_data(), 1.0)
    found = [at(curve, tau_s) for tau_s in (1.0, 10.0, 100.0)]
    assert found == pytest.approx([2.922319e-01, 9.159953e-02, 3.241343e-02], rel=2e-7)


def test_the_same_as_a_general_package_for_clocks() -> None:
    x = np.cumsum(np.random.default_rng(1).normal(size=5000)) + 40.0
    curve = compute_allan_curve(x, 250.0)
    tau_s, deviation, _, _ = allantools.oadev(x, rate=250.0, data_type="freq", taus=curve.tau_s)
    assert curve.tau_s == pytest.approx(tau_s)
    assert curve.deviation == pytest.approx(deviation, rel=1e-6)


@pytest.mark.parametrize(("make", "alpha"), [(white, 0), (walk, -2)])
def test_degrees_of_freedom_as_in_the_general_package(make, alpha: int) -> None:
    curve = compute_allan_curve(make(20000, 1.0, np.random.default_rng(2)), RATE_HZ)
    sizes = np.rint(curve.tau_s * RATE_HZ)
    sure = slice(1, 15)  # where the slope tells the kind of noise without doubt
    theirs = [allantools.ci.edf_simple(20001, m, alpha) for m in sizes[sure]]
    assert curve.freedom[sure] == pytest.approx(theirs)


def test_scatter_is_what_the_degrees_of_freedom_say() -> None:
    curves = [
        compute_allan_curve(white(3000, 1.0, np.random.default_rng([3, k])), RATE_HZ)
        for k in range(200)
    ]
    for tau_s in (0.1, 1.0, 3.98):
        found = np.array([at(curve, tau_s) for curve in curves])
        place = int(np.argmin(np.abs(curves[0].tau_s - tau_s)))
        stated = 1.0 / np.sqrt(2.0 * np.median([curve.freedom[place] for curve in curves]))
        assert np.std(found) / np.mean(found) == pytest.approx(stated, rel=0.25)


def test_white_noise_falls_by_half_a_decade_and_reads_n_at_one_second() -> None:
    # Slope -1/2, N at 1 s: IEEE Std 952-1997, Annex C (as quoted in open literature).
    x = white(60_000, 0.01, np.random.default_rng(4))
    curve = compute_allan_curve(x, RATE_HZ)
    sure = curve.freedom > 50.0
    slope = np.polyfit(np.log(curve.tau_s[sure]), np.log(curve.deviation[sure]), 1)[0]
    assert slope == pytest.approx(-0.5, abs=0.05)
    assert read_allan(curve).white_noise == pytest.approx(0.01, rel=0.02)


def test_n_is_read_from_a_log_shorter_than_a_second_of_averaging() -> None:
    reading = read(white(400, 0.01, np.random.default_rng(5)))
    assert reading.longest_tau_s < 1.0
    assert reading.white_noise == pytest.approx(0.01, rel=0.15)


def test_bias_instability_is_the_flat_part_over_its_factor() -> None:
    assert pytest.approx(0.664, abs=5e-4) == FLAT  # IEEE Std 952-1997, Annex C
    found = []
    for seed in range(10):
        rng = np.random.default_rng([6, seed])
        x = white(150_000, 0.002, rng) + flicker(150_000, 0.004, rng) + walk(150_000, 5e-5, rng)
        found.append(read(x).bias_instability)
    assert np.count_nonzero(np.isfinite(found)) >= 8
    assert np.nanmedian(found) == pytest.approx(0.004, rel=0.15)
    assert np.nanmax(np.abs(np.array(found) / 0.004 - 1.0)) < 0.35


def test_rate_random_walk_is_read_at_three_seconds() -> None:
    # Slope +1/2, K at 3 s: IEEE Std 952-1997, Annex C.
    found = [
        read(white(60_000, 0.002, rng) + walk(60_000, 0.01, rng)).rate_walk
        for rng in map(np.random.default_rng, range(5))
    ]
    assert np.nanmedian(found) == pytest.approx(0.01, rel=0.1)
    assert np.isfinite(found).all()


@pytest.mark.parametrize("seconds", [2, 60, 300])
def test_white_noise_alone_gives_no_bias_instability_and_no_walk(seconds: int) -> None:
    readings = [
        read(white(int(seconds * RATE_HZ), 0.01, np.random.default_rng([7, k]))) for k in range(25)
    ]
    invented = [np.isfinite([r.bias_instability, r.rate_walk]).any() for r in readings]
    assert np.count_nonzero(invented) <= 1


def test_the_upper_limit_holds_when_the_log_is_too_short() -> None:
    short = []
    for seed in range(40):
        rng = np.random.default_rng([8, seed])
        short.append(read(white(6000, 0.01, rng) + flicker(6000, 0.004, rng)))
    below = [r.bias_instability_at_most < 0.004 for r in short]
    assert np.count_nonzero(below) <= 2
    assert np.count_nonzero([np.isfinite(r.bias_instability) for r in short]) <= 2


def test_a_signal_that_never_changes_reads_nothing() -> None:
    assert np.isnan(read(np.full(1000, 3.0)).white_noise)


def test_a_large_offset_costs_no_digits() -> None:
    x = white(20_000, 0.01, np.random.default_rng(9))
    curve, moved = compute_allan_curve(x, RATE_HZ), compute_allan_curve(x + 1e4, RATE_HZ)
    assert moved.deviation == pytest.approx(curve.deviation, rel=1e-5)


@pytest.mark.parametrize(
    ("x", "rate_hz", "words"),
    [
        (np.zeros(20), 100.0, "50 finite samples"),
        (np.full(100, np.nan), 100.0, "50 finite samples"),
        (np.zeros((100, 3)), 100.0, "shape \\(100, 3\\)"),
        (np.zeros(100), 0.0, "above 0"),
    ],
)
def test_what_cannot_be_worked_on_is_refused(x: np.ndarray, rate_hz: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        compute_allan_curve(x, rate_hz)
