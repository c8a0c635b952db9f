"""Whatever a recording has gone through: a table that keeps its promises, or a reason."""

from contextlib import suppress
from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import imuproc
from imuproc.core.columns import BY_NAME, FIGURES, uncertainty_name
from imuproc.core.errors import RunError
from imuproc.core.flag_list import FLAGS
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.result import Result
from imuproc.core.sites import SITES
from tests.simulated import USUAL, change_logs, cut_log, keep_sites, make_run


def harmed(log: SensorLog, seed: int, every: int, span_s: tuple[float, float]) -> SensorLog:
    """A log cut, thinned out, and with holes of all lengths."""
    rng = np.random.default_rng([seed, SITES.index(log.site)])
    log = cut_log(log, *span_s)
    log = replace(
        log,
        time_s=log.time_s[::every],
        accel_mps2=log.accel_mps2[::every].copy(),
        gyro_radps=log.gyro_radps[::every].copy(),
    )
    for _ in range(rng.integers(0, 3)):
        middle_s, width_s = rng.uniform(*span_s), 10.0 ** rng.uniform(-2.5, 0.5)
        log.accel_mps2[np.abs(log.time_s - middle_s) < 0.5 * width_s] = np.nan
    return log


def assert_kept(result: Result) -> None:
    steps = result.steps
    assert (steps["toe_off_s"] > steps["touchdown_s"]).all()
    assert steps["touchdown_s"].is_monotonic_increasing
    for name in FIGURES:
        known, u = steps[name].dropna(), steps[uncertainty_name(name)]
        assert known.between(BY_NAME[name].low, BY_NAME[name].high).all(), name
        assert (steps[name].isna() == u.isna()).all(), name
        assert (u.dropna() > 0.0).all(), name
    assert {flag.name for flag in result.flags} <= FLAGS.keys()


@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    sites=st.lists(st.sampled_from(SITES[:4]), min_size=1, max_size=4, unique=True),
    every=st.sampled_from([1, 2, 4]),
    cut=st.tuples(st.floats(0.0, 0.45), st.floats(0.75, 1.0)),
    seed=st.integers(0, 10_000),
)
def test_a_table_that_keeps_its_promises_or_a_reason(sites, every, cut, seed) -> None:
    recording: Recording = make_run(USUAL)[0]
    first, last = recording.logs["left_shank"].time_s[[0, -1]]
    span_s = (first + cut[0] * (last - first), first + cut[1] * (last - first))
    bad = change_logs(keep_sites(recording, *sites), lambda log: harmed(log, seed, every, span_s))
    with suppress(RunError):  # any other error is a fault of ours
        assert_kept(imuproc.process(bad))
