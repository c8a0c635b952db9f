"""Is one log what it claims to be? The questions of processing, asked of its thinned signals."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.checks.findings import Reason
from imuproc.checks.scan import Scan
from imuproc.checks.settings import CheckSettings
from imuproc.checks.wording import from_error, from_flag
from imuproc.conditioning.sanity import check_logs, check_signals
from imuproc.conditioning.timebase import SiteSignals, TimeBased
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Recording, SensorLog
from imuproc.core.sites import Site
from imuproc.dsp.filters import find_finite_rows

FloatArray = NDArray[np.float64]


def make_thinned_log(scan: Scan) -> SensorLog:
    """The longest track of a log, which is thinned, as a log."""
    track = scan.longest
    return replace(
        scan.log,
        time_s=track.time_s,
        accel_mps2=track.accel_mps2,
        gyro_radps=track.gyro_radps,
    )


def make_thinned_recording(about: Recording, scans: Mapping[Site, Scan]) -> Recording:
    """A recording of thinned logs.

    Parameters
    ----------
    about : Recording
        Who ran and what; its logs do not matter.
    scans : mapping from Site to Scan

    Returns
    -------
    Recording
    """
    return replace(about, logs={site: make_thinned_log(scan) for site, scan in scans.items()})


def list_signal_reasons(
    scan: Scan, rate_hz: float, about: Recording, settings: CheckSettings
) -> list[Reason]:
    """What processing would refuse or flag in a log by itself.

    Parameters
    ----------
    scan : Scan
    rate_hz : float
        Rate of the log.
    about : Recording
        For gravity; its logs do not matter.
    settings : CheckSettings

    Returns
    -------
    list of Reason
    """
    own = make_thinned_recording(about, {scan.log.site: scan})
    artefacts = [from_flag(flag) for flag in scan.artefacts]
    resting = _explain_constant_axes(scan, settings)
    artefacts += resting
    sanity = settings.method.sanity
    limit_radps = settings.method.runs.fastest_limb_radps
    try:
        if not resting:  # how many samples a thinned log has says nothing: its duration does
            check_logs(own, sanity.model_copy(update={"min_samples": 1}))
        based = check_signals(_make_time_based(own, scan, rate_hz), sanity, limit_radps)
    except RunError as error:
        return [from_error(error, scan.log), *artefacts]
    return [*artefacts, *(from_flag(flag) for flag in based.flags)]


def _make_time_based(own: Recording, scan: Scan, rate_hz: float) -> TimeBased:
    track = scan.longest
    none = np.zeros(len(track.time_s), dtype=bool)
    signals = SiteSignals(
        site=scan.log.site,
        accel_mps2=track.accel_mps2,
        gyro_radps=track.gyro_radps,
        measured=find_finite_rows(track.accel_mps2) & find_finite_rows(track.gyro_radps),
        accel_clipped=none,
        gyro_clipped=none,
        rate_hz=rate_hz,
    )
    return TimeBased(own, track.time_s, track.rate_hz, {scan.log.site: signals})


def _explain_constant_axes(scan: Scan, settings: CheckSettings) -> list[Reason]:
    """Axes with one value throughout while nothing moved: coarse digits, or dead; who knows?"""
    track = scan.longest
    reasons = []
    kinds = (
        ("accelerometer", track.accel_mps2, settings.method.sanity.artefacts.moves_mps2),
        ("gyroscope", track.gyro_radps, settings.method.sanity.artefacts.moves_radps),
    )
    if any(_measure_spread(values).max() > moves for _, values, moves in kinds):
        return []
    for name, values, _ in kinds:
        axes = [
            axis
            for axis, spread in zip("xyz", _measure_spread(values), strict=True)
            if spread == 0.0
        ]
        if axes and np.nan_to_num(values).any():
            which = f"axis {axes[0]}" if len(axes) == 1 else f"axes {' and '.join(axes)}"
            reasons.append(
                Reason(
                    "limit",
                    f"The {name}'s {which} kept one value while nothing moved.",
                    "Turn the sensor about by hand while it logs, and check again: an axis that "
                    "still does not change is dead.",
                    RaisedFlag("stuck_channel", {"sensor": name, "axes": ";".join(axes)}),
                )
            )
    return reasons


def _measure_spread(values: FloatArray) -> FloatArray:
    """Largest less least value of each axis, 0 where there is none."""
    known = values[find_finite_rows(values)]
    return np.ptp(known, axis=0) if len(known) else np.zeros(values.shape[1])
