"""The plan file: sensors and runs to simulate, and changes that a study is to show."""

from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import Field, field_validator, model_validator

from imuproc.core.columns import FIGURES
from imuproc.core.recording import Start
from imuproc.core.sites import SITES, Site
from imuproc.files.toml_reading import Table, load_toml, make_field_above_0, refuse, validate_file
from imuproc.files.wording import quote, quote_all, suggest_word

SCHEMA = 1


def _make_field_from_0(what: str) -> Any:
    return Field(default=None, ge=0, allow_inf_nan=False, description=f"{what}, 0 or more")


class SensorsEntry(Table):
    """The ``[sensors]`` table: a grade, and what differs from it, in the units of data sheets."""

    grade: str = Field(description="the name of a grade: ideal, mid, mid16g or low")
    rate_hz: float = Field(ge=50, le=2000, description="a sampling rate in Hz, 50 to 2000")
    sites: tuple[Site, ...] = Field(
        default=SITES[:4], strict=False, min_length=1, description='a list such as ["left_shank"]'
    )
    gyro_range_dps: float | None = make_field_above_0("full scale in deg/s")
    accel_range_g: float | None = make_field_above_0("full scale in g")
    foot_accel_range_g: float | None = make_field_above_0("full scale in g of sensors on feet")
    gyro_noise_dps_rthz: float | None = _make_field_from_0("noise density in deg/s per root Hz")
    accel_noise_ug_rthz: float | None = _make_field_from_0("noise density in micro-g per root Hz")
    gyro_bias_sd_dps: float | None = _make_field_from_0("SD of the bias in deg/s")
    accel_bias_sd_mg: float | None = _make_field_from_0("SD of the bias in milli-g")
    gyro_scale_sd: float | None = _make_field_from_0("SD of the scale error as a fraction")
    accel_scale_sd: float | None = _make_field_from_0("SD of the scale error as a fraction")
    gyro_g_sensitivity_sd_dps_g: float | None = _make_field_from_0("SD in deg/s per g")
    misalignment_sd_deg: float | None = _make_field_from_0("SD in deg")
    bits: int | None = Field(default=None, ge=8, le=32, description="a number of bits, 8 to 32")
    bandwidth_hz: float | None = make_field_above_0("-3 dB frequency in Hz")

    def get_stated(self) -> dict[str, float | int]:
        """What differs from the grade, by the name of the sensor model's field."""
        own = self.model_dump(exclude={"grade", "rate_hz", "sites"})
        return {name: value for name, value in own.items() if value is not None}


class RunsEntry(Table):
    """The ``[runs]`` table: who runs, how often, and how."""

    athletes: int = Field(ge=1, le=99, description="a number of athletes, 1 to 99")
    runs: int = Field(ge=1, le=99, description="a number of runs of each athlete, 1 to 99")
    starts: tuple[Start, ...] = Field(
        default=("blocks",), strict=False, min_length=1, description='a list such as ["blocks"]'
    )
    distance_m: float = Field(ge=10, le=120, description="metres, 10 to 120")
    seed: int = Field(default=1, ge=0, description="a whole number, 0 or more")

    @model_validator(mode="after")
    def _check_run_count(self) -> "RunsEntry":
        if self.athletes * self.runs < 2:
            raise refuse("one run", "two or more: errors from run to run show in no less")
        return self


class ChangeEntry(Table):
    """One ``[[change]]`` table: what is to be shown, and how much athletes vary by themselves."""

    figure: str = Field(description="a figure of the step table, such as contact_time_s")
    change: float = Field(
        allow_inf_nan=False, description="the difference of means to show, in the figure's unit"
    )
    step_sd: float = Field(
        ge=0,
        allow_inf_nan=False,
        description="SD from step to step of one athlete in the figure's unit, measurement error "
        "apart, 0 or more",
    )
    run_sd: float = Field(
        ge=0,
        allow_inf_nan=False,
        description="SD of run means from run to run of one athlete, measurement error apart, "
        "0 or more",
    )

    @field_validator("figure")
    @classmethod
    def _check_figure(cls, value: str) -> str:
        if value not in FIGURES:
            raise refuse(
                f"the text {quote(value)}", quote_all(FIGURES) + suggest_word(value, FIGURES)
            )
        return value

    @field_validator("change")
    @classmethod
    def _check_change(cls, value: float) -> float:
        if value == 0.0:
            raise refuse("the number 0", "a change")
        return value


class ErrorsEntry(Table):
    """The ``[errors]`` table: how often a study may be wrong."""

    alpha: float = Field(default=0.05, gt=0, lt=0.5, description="a share, above 0, below 0.5")
    power: float = Field(default=0.8, ge=0.5, lt=1, description="a share, 0.5 to below 1")


class PlanFile(Table):
    """The whole file; its ``schema`` number has been checked and taken away before."""

    sensors: SensorsEntry = Field(description="a table [sensors] with grade and rate_hz")
    runs: RunsEntry = Field(description="a table [runs] with athletes, runs and distance_m")
    change: list[ChangeEntry] = Field(
        default_factory=list, description="tables [[change]], with double brackets"
    )
    errors: ErrorsEntry = Field(
        default_factory=ErrorsEntry, description="a table such as { alpha = 0.05, power = 0.8 }"
    )


def read_plan(path: str | PathLike[str]) -> PlanFile:
    """Read and check a plan file.

    Parameters
    ----------
    path : str or path
        A TOML file, UTF-8.

    Returns
    -------
    PlanFile

    Raises
    ------
    SessionError
        The file cannot be read or says something that is not allowed; a line for each problem.
    """
    path = Path(path)
    return validate_file(path, load_toml(path), SCHEMA, PlanFile)
