"""The check of sensors as JSON, for scripts."""

import json
from collections.abc import Sequence
from math import degrees, isfinite
from typing import Any

from imuproc.checks.findings import (
    CheckReport,
    Clock,
    Range,
    Reason,
    Sampling,
    SensorCheck,
    Stillness,
    find_worst_verdict,
)
from imuproc.core.units import STANDARD_GRAVITY_MPS2
from imuproc.dsp.allan import AllanReading
from imuproc.files.text import clean_text
from imuproc.report.machine import flag_data

_PER_HOUR = degrees(1.0) * 3600.0


def check_json(session: str, reports: Sequence[CheckReport]) -> str:
    """One JSON object: every figure, verdict and reason.

    Parameters
    ----------
    session : str
        Session id; empty for logs that no session file names.
    reports : sequence of CheckReport

    Returns
    -------
    str
        ``schema`` is the version of this form. Units stand in the keys; what is not known is null.
    """
    content = {
        "schema": 1,
        "session": session or None,
        "verdict": find_worst_verdict([report.verdict for report in reports]),
        "runs": [_describe_report(report) for report in reports],
    }
    return json.dumps(_without_nan(content), indent=2, allow_nan=False)


def _without_nan(value: Any) -> Any:
    """Data for JSON: null stands for every number that is not finite."""
    if isinstance(value, dict):
        return {key: _without_nan(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_without_nan(inner) for inner in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def _describe_report(report: CheckReport) -> dict[str, Any]:
    return {
        "run": clean_text(report.run),
        "athlete": report.athlete or None,
        "verdict": report.verdict,
        "running": [{"start_s": run.start_s, "end_s": run.end_s} for run in report.runs],
        "reasons": [_describe_reason(reason) for reason in report.reasons],
        "sensors": [_describe_sensor(sensor, bool(report.athlete)) for sensor in report.sensors],
    }


def _describe_reason(reason: Reason) -> dict[str, Any]:
    return {
        "severity": reason.severity,
        "text": clean_text(reason.text),
        "advice": clean_text(reason.advice) or None,
        "flag": reason.flag_name or None,
        **flag_data(reason.flag),
    }


def _describe_sensor(sensor: SensorCheck, placed: bool) -> dict[str, Any]:
    return {
        "site": sensor.site if placed else None,
        "source": clean_text(sensor.source),
        "verdict": sensor.verdict,
        "reasons": [_describe_reason(reason) for reason in sensor.reasons],
        **_describe_sampling(sensor.sampling),
        **_describe_range("accel", "g", STANDARD_GRAVITY_MPS2, sensor.accel),
        **_describe_range("gyro", "degps", 1.0 / degrees(1.0), sensor.gyro),
        **_describe_still(sensor.still),
        "standing_differs_deg": degrees(sensor.standing_differs_rad),
        "clock": _describe_clock(sensor.clock),
    }


def _describe_sampling(sampling: Sampling) -> dict[str, Any]:
    return {
        "samples": sampling.samples,
        "start_s": sampling.start_s,
        "end_s": sampling.end_s,
        "duration_s": sampling.duration_s,
        "rate_hz": sampling.rate_hz,
        "stated_rate_hz": sampling.stated_rate_hz,
        "jitter_percent": 100.0 * sampling.jitter_share,
        "gaps": sampling.gaps,
        "missing_samples": sampling.missing,
        "longest_gap_s": sampling.longest_gap_s,
        "longest_gap_at_s": sampling.longest_gap_at_s,
        "duplicate_stamps": sampling.duplicates,
    }


def _describe_range(name: str, unit: str, per_unit: float, used: Range) -> dict[str, Any]:
    return {
        f"{name}_range_{unit}": used.full_scale / per_unit,
        f"{name}_largest_{unit}": used.largest / per_unit,
        f"{name}_head_room_percent": 100.0 * used.head_room_share,
        f"{name}_samples_at_end": used.at_end,
        f"{name}_first_at_end_s": used.first_at_end_s,
    }


def _describe_still(still: Stillness) -> dict[str, Any]:
    micro_g = 1e-6 * STANDARD_GRAVITY_MPS2
    return {
        "still_kind": still.kind,
        "still_s": still.still_s,
        "still_stretches": [{"start_s": s.start_s, "end_s": s.end_s} for s in still.intervals],
        "gravity_mps2": still.gravity_mps2,
        "up_in_sensor_axes": list(still.up),
        "gyro_noise_degps_rthz": degrees(still.gyro_noise_radps_rthz),
        "accel_noise_ug_rthz": still.accel_noise_mps2_rthz / micro_g,
        "gyro_bias_degps": [degrees(bias) for bias in still.gyro_bias_radps],
        "gyro_bias_change_degps": degrees(still.gyro_bias_change_radps),
        "gyro_allan": _describe_allan(
            still.gyro_allan, ("degps", degrees(1.0)), ("degph", _PER_HOUR)
        ),
        "accel_allan": _describe_allan(
            still.accel_allan, ("ug", 1.0 / micro_g), ("ug", 1.0 / micro_g)
        ),
    }


def _describe_allan(
    reading: AllanReading, unit: tuple[str, float], slow_unit: tuple[str, float]
) -> dict[str, Any]:
    name, factor = unit
    slow, slow_factor = slow_unit
    return {
        f"white_noise_{name}_rthz": factor * reading.white_noise,
        f"bias_instability_{slow}": slow_factor * reading.bias_instability,
        f"bias_instability_at_most_{slow}": slow_factor * reading.bias_instability_at_most,
        f"rate_walk_{name}_rts": factor * reading.rate_walk,
        "longest_tau_s": reading.longest_tau_s,
    }


def _describe_clock(clock: Clock) -> dict[str, Any] | None:
    if clock.against is None:
        return None
    return {
        "against": clock.against,
        "offset_s": clock.offset_s,
        "offset_u_s": clock.offset_u_s,
        "drift_ppm": clock.drift_ppm,
        "drift_u_ppm": clock.drift_u_ppm,
        "basis": clock.basis,
    }
