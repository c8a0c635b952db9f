"""Rate, jitter, gaps and stamps of one log."""

from dataclasses import replace
from math import nan

import numpy as np
from numpy.typing import NDArray

from imuproc.checks.findings import Reason, Sampling
from imuproc.checks.scan import Scan
from imuproc.checks.settings import CheckSettings
from imuproc.checks.wording import from_error, from_flag
from imuproc.conditioning.samples.stamps import Stamps, repair_stamps
from imuproc.core.errors import RunError
from imuproc.core.flags import RaisedFlag, Value
from imuproc.core.sites import Site
from imuproc.core.words import format_count

FloatArray = NDArray[np.float64]


def check_sampling(
    scan: Scan, stated_rate_hz: float | None, settings: CheckSettings
) -> tuple[Sampling, list[Reason]]:
    """How a log was sampled, and what is wrong with it.

    Parameters
    ----------
    scan : Scan
    stated_rate_hz : float or None
        Rate from the layout where the log has no time column.
    settings : CheckSettings

    Returns
    -------
    sampling : Sampling
    reasons : list of Reason
    """
    counted = Sampling(
        samples=scan.samples,
        stated_rate_hz=stated_rate_hz or nan,
        missing=scan.missing,
        duplicates=scan.copies,
    )
    n = len(scan.time_s)
    # Exact copies are gone; that the rest differs keeps every sample of a shared stamp.
    all_different = np.broadcast_to(np.arange(n, dtype=np.float64)[:, None], (n, 3))
    log = replace(scan.log, time_s=scan.time_s, accel_mps2=all_different, gyro_radps=all_different)
    try:
        stamps = repair_stamps(log, settings.method.timebase.stamps)
    except RunError as error:
        return counted, [from_error(error, scan.log)]
    sampling = _measure_sampling(counted, stamps, scan, settings)
    reasons = [
        from_flag(flag)
        for flag in stamps.flags
        if flag.name != "duplicate_stamps" or stated_rate_hz is None
    ]
    lost = sampling.missing - scan.missing
    return sampling, [*reasons, *_explain_missing(sampling, lost, scan.log.site, settings)]


def _measure_sampling(
    counted: Sampling, stamps: Stamps, scan: Scan, settings: CheckSettings
) -> Sampling:
    steps = np.diff(stamps.time_s)
    gaps = np.flatnonzero(steps > stamps.gap_s)
    lost = int(np.maximum(np.rint(steps[gaps] / stamps.period_s) - 1, 1).sum())
    # Stamps that scatter make steps that look like gaps: the time says how many may be missing.
    span = float(stamps.time_s[-1] - stamps.time_s[0])
    lost = min(lost, max(0, round(span / stamps.period_s) + 1 - len(stamps.time_s)))
    longest = int(gaps[np.argmax(steps[gaps])]) if len(gaps) else -1
    near = steps[steps <= settings.method.timebase.stamps.gap_periods * stamps.period_s]
    shared = int(np.count_nonzero(np.diff(scan.time_s) == 0.0))
    return replace(
        counted,
        start_s=float(stamps.time_s[0]),
        end_s=float(stamps.time_s[-1]),
        rate_hz=1.0 / stamps.period_s,
        jitter_share=float(np.std(near)) / stamps.period_s,
        gaps=len(gaps),
        missing=counted.missing + lost,
        longest_gap_s=float(steps[longest]) if len(gaps) else nan,
        longest_gap_at_s=float(stamps.time_s[longest]) if len(gaps) else nan,
        duplicates=counted.duplicates + shared,
    )


def _explain_missing(
    sampling: Sampling, lost: int, site: Site, settings: CheckSettings
) -> list[Reason]:
    """What is said of samples that are not there; so many of them have no row in the log."""
    if sampling.missing == 0:
        return []
    share = sampling.missing / (sampling.samples + lost)
    text = f"Missing: {format_count(sampling.missing, 'sample')} ({100.0 * share:.2g} %)"
    values: dict[str, Value] = {"samples": sampling.missing, "share_pct": 100.0 * share}
    long_gap = sampling.longest_gap_s > settings.longest_gap_s
    if sampling.gaps:
        text += (
            f", in {format_count(sampling.gaps, 'place')}; the longest gap is "
            f"{sampling.longest_gap_s:.3g} s at {sampling.longest_gap_at_s:.1f} s"
        )
        values |= {"stretches": sampling.gaps, "longest_s": sampling.longest_gap_s}
        values["longest_at_s"] = sampling.longest_gap_at_s
    advice = "Check the logger's storage or radio link."
    if share > settings.missing_share_unfit:
        return [Reason("unfit", f"{text}.", advice, RaisedFlag("gap", values, site))]
    if share > settings.missing_share or long_gap:
        return [Reason("limit", f"{text}.", advice, RaisedFlag("gap", values, site))]
    text += ", few enough to be bridged."
    return [Reason("note", text, "", RaisedFlag("samples_dropped", values, site))]
