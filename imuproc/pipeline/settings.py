"""Settings of the whole method, stage by stage, with a TOML form for people who change them."""

from pathlib import Path

from imuproc.conditioning.axes.calibration import CalibrationSettings
from imuproc.conditioning.clocks.tying import ClockSettings
from imuproc.conditioning.sanity import SanitySettings
from imuproc.conditioning.timebase import TimeBaseSettings
from imuproc.estimators.columns import EstimatorSettings
from imuproc.events.alternation import AlternationSettings
from imuproc.events.coarse import CoarseSettings
from imuproc.events.fusion import FusionSettings
from imuproc.events.refined import RefineSettings
from imuproc.events.runs import RunSettings
from imuproc.events.selection import SelectionSettings
from imuproc.events.unaided import UnaidedSettings
from imuproc.files.settings_model import StageSettings, number, table
from imuproc.files.toml_reading import load_toml, validate_tables
from imuproc.motion.settings import MotionSettings
from imuproc.pipeline.overview import LongSettings


class WithheldSettings(StageSettings):
    """Above these standard uncertainties a figure says too little to be shown.

    They are those between the steps of a set-up: what all of them share does not spoil their
    comparison.
    """

    largest_u_deg: float = number(6.0, (0.01, 180.0), "Of angles.")
    largest_u_m: float = number(0.25, (0.001, 10.0), "Of lengths.")
    largest_u_mps: float = number(1.2, (0.001, 20.0), "Of speeds.")
    largest_u_s: float = number(0.03, (0.0001, 1.0), "Of times between events.")
    largest_u_hz: float = number(0.8, (0.001, 10.0), "Of step frequency.")
    unsure_event_s: float = number(
        0.012,
        (0.0, 1.0),
        "A step whose touchdown and toe-off together are known less well is flagged.",
    )

    def get_largest_u(self, unit: str) -> float:
        """The largest of a column's unit."""
        by_unit = {
            "deg": self.largest_u_deg,
            "m": self.largest_u_m,
            "m/s": self.largest_u_mps,
            "s": self.largest_u_s,
            "Hz": self.largest_u_hz,
        }
        return by_unit[unit]


class Settings(StageSettings):
    """Every number that the method uses.

    Given as keywords, or as nested mappings to ``model_validate``; frozen, and checked: a value of
    the wrong kind, out of its range or in contradiction with another raises
    ``pydantic.ValidationError``.

    Examples
    --------
    >>> import imuproc
    >>> settings = imuproc.Settings(runs={"least_swing_radps": 8.0})
    >>> settings.runs.least_swing_radps
    8.0
    """

    sanity: SanitySettings = table(SanitySettings)
    timebase: TimeBaseSettings = table(TimeBaseSettings)
    clocks: ClockSettings = table(ClockSettings)
    alternation: AlternationSettings = table(AlternationSettings)
    runs: RunSettings = table(RunSettings)
    calibration: CalibrationSettings = table(CalibrationSettings)
    coarse: CoarseSettings = table(CoarseSettings)
    selection: SelectionSettings = table(SelectionSettings)
    unaided: UnaidedSettings = table(UnaidedSettings)
    refine: RefineSettings = table(RefineSettings)
    fusion: FusionSettings = table(FusionSettings)
    motion: MotionSettings = table(MotionSettings)
    estimators: EstimatorSettings = table(EstimatorSettings)
    withheld: WithheldSettings = table(WithheldSettings)
    long: LongSettings = table(LongSettings)

    ordered = (("calibration.standing.search_s", "long.surroundings_s"),)


def make_usual_settings() -> Settings:
    """The defaults, without the checks that only given values need: to set them up takes time."""
    return Settings.model_construct()


def read_settings(path: Path | None) -> Settings:
    """Settings from a TOML file that names only what differs from the defaults.

    Parameters
    ----------
    path : Path or None
        The defaults when there is none.

    Returns
    -------
    Settings

    Raises
    ------
    SessionError
        A line for each problem: file, key, what was found, what is allowed and in which unit.
    """
    return validate_tables(path, load_toml(path), Settings) if path else make_usual_settings()
