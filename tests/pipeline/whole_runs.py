"""What tests of whole runs look at: figures by kind, flags of a run, figures that are missing."""

from imuproc.core.flag_policy import is_told
from imuproc.core.result import Result

NONE = frozenset[str]()
SHIN = {"shin_angle_touchdown_deg", "shin_angle_toe_off_deg", "ankle_ahead_of_knee_m"}
PITCH = {
    *("foot_pitch_touchdown_deg", "foot_pitch_toe_off_deg"),
    *("foot_pitch_swing_min_deg", "foot_pitch_swing_max_deg"),
}
ANKLE = {
    *("dorsiflexion_touchdown_deg", "dorsiflexion_swing_min_deg", "dorsiflexion_swing_mean_deg"),
}
LENGTH = {"step_length_m", "speed_mps"}
BETWEEN_LEGS = {"flight_time_s", "step_time_s", "step_frequency_hz", *LENGTH}
ANGLES = SHIN | PITCH | ANKLE


def run_flags(result: Result) -> set[str]:
    """Flags of the run itself, but for clipping, which most simulated sprints have, and what only
    informs."""
    names = {f.name for f in result.flags if f.step is None}
    return {n for n in names if is_told(n, "squad")} - {"accel_clipped", "gyro_clipped"}


def missing(result: Result) -> set[str]:
    """Figures that no step has."""
    names = [name for name in result.steps if not name.endswith("_u_repeat")]
    return {name for name in names if result.steps[name].isna().all()}
