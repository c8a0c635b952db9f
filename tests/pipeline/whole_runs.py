"""What tests of whole runs look at: figures by kind, flags of a run, figures that are missing."""

from imuproc.core.flag_policy import is_told, list_withheld_figures, policy_of
from imuproc.core.flag_words import find_template
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
    require_kept_policy(result)
    names = {f.name for f in result.flags if f.step is None}
    return {n for n in names if is_told(n, "squad")} - {"accel_clipped", "gyro_clipped"}


def require_kept_policy(result: Result) -> None:
    """Every flag has plain values and words of its own, and what it withholds is missing."""
    for flag in result.flags:
        assert all(isinstance(value, float | int | str) for value in flag.values.values()), flag
        assert bool(find_template(flag)) == bool(flag.values or flag.span_s), flag
        steps = result.steps
        if flag.run:
            steps = steps[steps["run"] == flag.run]
        if flag.step is not None:
            steps = steps[steps["step"] == flag.step]
        assert steps[sorted(list_withheld_figures(flag))].isna().all(axis=None), flag
        own = steps[steps["side"] == flag.site.split("_")[0]]
        assert own[sorted(policy_of(flag.name).of_leg)].isna().all(axis=None), flag


def missing(result: Result) -> set[str]:
    """Figures that no step has."""
    names = [name for name in result.steps if not name.endswith("_u_repeat")]
    return {name for name in names if result.steps[name].isna().all()}
