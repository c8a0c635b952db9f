"""Range and head-room of one sensor."""

from dataclasses import dataclass
from math import isfinite, radians
from typing import Final

from imuproc.checks.findings import Range, Reason
from imuproc.checks.scan import Scan
from imuproc.checks.settings import CheckSettings
from imuproc.core.flag_policy import Severity
from imuproc.core.flags import RaisedFlag
from imuproc.core.sites import Site, is_foot, is_lower_leg
from imuproc.core.units import STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class _Kind:
    """How to speak of one kind of sensor."""

    name: str
    flag: str
    unit: str
    per_unit: float
    clipped: str

    def format_value(self, value: float) -> str:
        return f"{value / self.per_unit:.4g} {self.unit}"


_ACCEL: Final = _Kind(
    "accelerometer",
    "accel_clipped",
    "g",
    STANDARD_GRAVITY_MPS2,
    "Set a larger range if the sensor has one; lengths and speed of the steps concerned are less "
    "certain, or withheld.",
)
_GYRO: Final = _Kind(
    "gyroscope",
    "gyro_clipped",
    "deg/s",
    radians(1.0),
    "Set a larger range if the sensor has one; angles of the steps concerned are less certain.",
)


def list_range_reasons(scan: Scan, run_samples: float, settings: CheckSettings) -> list[Reason]:
    """What is wrong with the ranges of a sensor, or how they were used.

    Parameters
    ----------
    scan : Scan
    run_samples : float
        Samples in runs: head-room is not judged where nobody ran.
    settings : CheckSettings

    Returns
    -------
    list of Reason
    """
    foot = is_foot(scan.log.site)
    needed = settings.foot_accel_range_mps2 if foot else settings.shank_accel_range_mps2
    near_end = settings.method.timebase.range.near_end_share
    reasons = []
    for kind, used, least in (
        (_ACCEL, scan.accel, needed),
        (_GYRO, scan.gyro, settings.gyro_range_radps),
    ):
        if used.at_end:
            few = kind is _ACCEL and used.at_end <= settings.clipped_share * run_samples
            below = not used.largest >= near_end * used.full_scale
            if below:
                few = few or used.at_end < settings.few_flat_tops
            reasons.append(_explain_clipping(kind, used, few, below, scan.log.site))
            continue
        if run_samples and used.head_room_share < settings.head_room_share:
            reasons.append(_explain_little_room(kind, used))
        if is_lower_leg(scan.log.site) and used.full_scale < 0.999 * least:
            reasons.append(_explain_small_range(kind, used, least, scan.log.site))
    return reasons


def _explain_clipping(kind: _Kind, used: Range, few: bool, below: bool, site: Site) -> Reason:
    largest, full_scale = kind.format_value(used.largest), kind.format_value(used.full_scale)
    where = f"{used.first_at_end_s:.2f} s"
    where = (
        f"1 sample, at {where}"
        if used.at_end == 1
        else (f"{used.at_end} samples, the first at {where}")
    )
    if below and isfinite(used.full_scale):
        text = (
            f"The {kind.name} has flat tops at {largest}, well below the range of {full_scale} "
            "that the layout states,"
        )
    elif isfinite(used.full_scale):
        text = f"The {kind.name} was at the end of its range of {full_scale}"
    else:
        text = (
            f"The {kind.name} has flat tops at {largest}, which looks like the end of a range that "
            "the layout does not state"
        )
    severity: Severity = "note" if few else "limit"
    values = {"samples": used.at_end, "first_s": used.first_at_end_s}
    flag = RaisedFlag(kind.flag, values, site)
    return Reason(severity, f"{text} in {where}.", kind.clipped, flag)


def _explain_little_room(kind: _Kind, used: Range) -> Reason:
    largest, full_scale = kind.format_value(used.largest), kind.format_value(used.full_scale)
    text = (
        f"The {kind.name} reached {largest} of {full_scale}: "
        f"only {100.0 * used.head_room_share:.0f} % of the range is left."
    )
    return Reason("note", text, "A faster run will clip; use a larger range.")


def _explain_small_range(kind: _Kind, used: Range, least: float, site: Site) -> Reason:
    text = (
        f"The {kind.name}'s range of {kind.format_value(used.full_scale)} is small for sprinting "
        f"on a {'foot' if is_foot(site) else 'shank'}."
    )
    advice = f"Set it to {kind.format_value(least)} or more if the sensor can."
    return Reason("limit", text, advice, RaisedFlag(kind.flag, site=site))
