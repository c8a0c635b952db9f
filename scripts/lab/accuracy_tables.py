"""Tables of the accuracy script: bias, SD, RMSE and coverage of every figure, and the bars."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, nan
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.agreement.judging import SAME_INSTANT, Judged
from imuproc.agreement.statistics.shares import estimate_share

FOUND: Final = "steps_found"
INVENTED: Final = "steps_invented"
PITCH_CURVE: Final = "foot_pitch_swing_curve_deg"
WAY: Final = "way_of_effort_percent"
DISTANCE: Final = "distance_of_effort_m"


@dataclass(frozen=True)
class Bar:
    """Most that is allowed of a figure; None where nothing is asked.

    ``bias`` is of either sign; ``u`` and ``u_repeat`` are medians of the stated uncertainties.
    ``missing`` is a share of the true steps.
    """

    bias: float | None = None
    sd: float | None = None
    rmse: float | None = None
    u: float | None = None
    u_repeat: float | None = None
    missing: float | None = None

    def describe(self) -> str:
        """The bar in words."""
        parts = [
            f"{name} <= {value:g}"
            for name, value in (
                ("|bias|", self.bias),
                ("sd", self.sd),
                ("rmse", self.rmse),
                ("u", self.u),
                ("u_repeat", self.u_repeat),
            )
            if value is not None
        ]
        if self.missing is not None:
            parts.append(f"at most {100.0 * self.missing:g} %")
        return ", ".join(parts)

    def is_met(self, row: Mapping[str, float]) -> bool:
        """Whether a table's row is within the bar; what is not a number is not."""
        asked = [
            (abs(row["bias"]), self.bias),
            (row["sd"], self.sd),
            (row["rmse"], self.rmse),
            (row["median_u"], self.u),
            (row["median_u_repeat"], self.u_repeat),
        ]
        return all(limit is None or value <= limit for value, limit in asked)


_ALL: Final = {FOUND: Bar(missing=0.0), INVENTED: Bar(missing=0.0)}
_TD, _TO = "_touchdown_deg", "_toe_off_deg"


def _bar_same_instant(shin_deg: float, pitch_deg: float) -> dict[str, Bar]:
    """Angles read at the same instant as the truth."""
    return {
        f"{angle}{event}{SAME_INSTANT}": Bar(rmse=limit)
        for angle, limit in (("shin_angle", shin_deg), ("foot_pitch", pitch_deg))
        for event in (_TD, _TO)
    }


def _bar_hips(
    tilt: float, thigh: float, knee: float, ahead_m: float, height_m: float, drop: float
) -> dict[str, Bar]:
    """Pelvis, thigh, knee and trunk in deg RMSE, places in m RMSE."""
    return {
        f"pelvis_tilt{_TD}": Bar(rmse=tilt),
        "pelvis_drop_stance_deg": Bar(rmse=drop),
        f"thigh_angle{_TD}": Bar(rmse=thigh),
        "thigh_angle_swing_max_deg": Bar(rmse=thigh),
        f"trunk_lean{_TD}": Bar(rmse=1.5),
        f"knee_angle{_TD}": Bar(rmse=knee),
        "ankle_ahead_of_hip_touchdown_m": Bar(rmse=ahead_m),
        "hip_height_touchdown_m": Bar(rmse=height_m),
    }


def _bar_as_given(touchdown: float, toe_off: float, least: float, mean: float) -> dict[str, Bar]:
    """Foot pitch at both events and dorsiflexion in swing, in deg RMSE."""
    return {
        f"foot_pitch{_TD}": Bar(rmse=touchdown),
        f"foot_pitch{_TO}": Bar(rmse=toe_off),
        "dorsiflexion_swing_min_deg": Bar(rmse=least),
        "dorsiflexion_swing_mean_deg": Bar(rmse=mean),
    }


BARS: Final[Mapping[str, Mapping[str, Bar]]] = {
    "simulated": {
        **_ALL,
        "contact_time_s": Bar(bias=0.002, rmse=0.0035, u=0.008, u_repeat=0.004),
        "touchdown_s": Bar(bias=0.002),
        "toe_off_s": Bar(bias=0.002),
        f"shin_angle{_TD}": Bar(rmse=0.8),
        **_bar_same_instant(0.5, 0.8),
        **_bar_as_given(1.0, 2.0, 0.8, 0.5),
        "step_frequency_hz": Bar(rmse=0.06),
        "step_length_m": Bar(rmse=0.03),
    },
    "sweep": {
        **_ALL,
        "contact_time_s": Bar(bias=0.006, rmse=0.012, u=0.015, u_repeat=0.008),
        f"shin_angle{_TD}": Bar(rmse=3.0),
        **_bar_same_instant(0.8, 1.2),
        **_bar_as_given(2.0, 4.0, 1.0, 0.8),
    },
    "hips": {**_ALL, **_bar_hips(1.5, 1.0, 1.5, 0.015, 0.015, 1.5)},
    "hips-real": {**_ALL, **_bar_hips(2.0, 1.5, 2.0, 0.02, 0.02, 2.0)},
    # Force plate at 20 N above local zero, no shock added.
    "treadmill": {
        **_ALL,
        "contact_time_s": Bar(bias=0.002, rmse=0.0045, u=0.008, u_repeat=0.004),
        "touchdown_s": Bar(bias=0.004),
        "toe_off_s": Bar(bias=0.004),
        f"shin_angle{_TD}": Bar(rmse=1.0),
        **_bar_same_instant(0.6, 1.2),
        **_bar_as_given(1.5, 2.0, 1.2, 0.8),
        "step_frequency_hz": Bar(rmse=0.08),
        "step_length_m": Bar(rmse=0.04),
    },
    "overground": {
        **_ALL,
        "contact_time_s": Bar(bias=0.004, rmse=0.006, u=0.008, u_repeat=0.004),
        "touchdown_s": Bar(bias=0.008),
        "toe_off_s": Bar(bias=0.008),
        **_bar_same_instant(0.8, 1.5),
        **_bar_as_given(2.0, 2.5, 1.5, 1.0),
    },
}
"""What is asked, by kind of case, with mid-grade sensors; of single steps, not of means. In parts
of a group the same bars are for comparison only: they are asked of the whole."""

COVERAGE_PERCENT: Final = (90.0, 100.0)
"""Share of errors within two standard uncertainties against the truth that is asked of every
figure: a set-up's own error counts for much of it and is one and the same in a set."""

REPEAT_COVERAGE_PERCENT: Final = (90.0, 99.0)
"""The same within two of the uncertainties within a set-up, the set's mean error removed."""


def summarise_runs(judged: Sequence[Judged]) -> pd.DataFrame:
    """Bias, SD, RMSE and coverage of every figure over all runs.

    Parameters
    ----------
    judged : sequence of Judged

    Returns
    -------
    DataFrame
        One row per figure that the truth knows. SD is about the mean error (divided by n). An error
        without an uncertainty is not covered.
    """
    tables = [t for one in judged for t in (one.errors, one.at_true_events) if len(t)]
    return build_error_table(pd.concat(tables, ignore_index=True) if tables else None)


def build_error_table(errors: pd.DataFrame | None) -> pd.DataFrame:
    """Bias, SD, RMSE and coverage of every figure, from rows of errors."""
    rows = []
    for figure, group in errors.groupby("figure", sort=False) if errors is not None else ():
        known = group[np.isfinite(group["error"].astype(float))]
        missing = int(np.isfinite(group["true"].astype(float)).sum()) - len(known)
        if len(known) + missing:
            error = known["error"].to_numpy(dtype=np.float64)
            within = np.abs(error) <= 2.0 * known["u"].to_numpy(dtype=np.float64)
            row = {"figure": str(figure), **_compute_moments(error, missing)}
            if known["u"].isna().all():
                rows.append({**row, "independent": _count_contacts(known)})
                continue
            row["median_u"] = float(known["u"].median()) if len(known) else nan
            row["median_u_repeat"] = float(known["u_repeat"].median()) if len(known) else nan
            around = np.abs(error - error.mean())
            repeats = around <= 2.0 * known["u_repeat"].to_numpy(dtype=np.float64)
            row["within_2u_repeat_percent"] = 100.0 * float(repeats.mean()) if len(known) else nan
            rows.append({**row, "independent": _count_contacts(known), **_compute_coverage(within)})
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _count_contacts(errors: pd.DataFrame) -> int:
    """How many different contacts the errors are of: sensors drawn anew make no new contact."""
    trial = errors["trial"] if "trial" in errors else errors["case"]
    return len(set(zip(trial, errors["step"], strict=True)))


_COLUMNS: Final = (
    *("figure", "n", "independent", "missing", "bias", "sd", "rmse", "worst"),
    *("median_u", "median_u_repeat", "within_2u_percent"),
    *("within_low_percent", "within_high_percent", "within_2u_repeat_percent"),
)


def _compute_moments(error: NDArray[np.float64], missing: int) -> dict[str, float | int]:
    if not len(error):
        return {"n": 0, "missing": missing, "bias": nan, "sd": nan, "rmse": nan, "worst": nan}
    return {
        "n": len(error),
        "missing": missing,
        "bias": float(error.mean()),
        "sd": float(error.std()),
        "rmse": float(np.sqrt(np.mean(error**2))),
        "worst": float(np.abs(error).max()),
    }


def _compute_coverage(within: NDArray[np.bool_]) -> dict[str, float]:
    share = estimate_share(int(within.sum()), len(within))
    return {
        "within_2u_percent": 100.0 * share.value,
        "within_low_percent": 100.0 * share.low,
        "within_high_percent": 100.0 * share.high,
    }


def list_whole_run_rows(judged: Sequence[Judged]) -> pd.DataFrame:
    """Rows of what belongs to runs rather than steps.

    Parameters
    ----------
    judged : sequence of Judged

    Returns
    -------
    DataFrame
        Columns as :func:`summarise_runs`: steps found (``missing`` are those not found) and
        invented (``n``), the foot pitch curve in swing (one RMS error per run), the way of the
        effort in percent of the true one (one error per run); last the distance
        that the package tells, with its own end of the effort and its uncertainty.
    """
    steps, found = sum(one.real_steps for one in judged), sum(one.found for one in judged)
    curve = np.array([one.pitch_swing_rms_deg for one in judged])
    way = np.array([one.way_m for one in judged]).reshape(-1, 2)
    percent = 100.0 * (way[:, 0] / way[:, 1] - 1.0)
    lost = int((np.isfinite(way[:, 1]) & ~np.isfinite(way[:, 0])).sum())
    rms = _compute_moments(curve[np.isfinite(curve)], int((~np.isfinite(curve)).sum()))
    rows: list[dict[str, object]] = [
        {"figure": FOUND, "n": found, "missing": steps - found},
        {"figure": INVENTED, "n": sum(one.invented for one in judged), "missing": 0},
        # A mean and a scatter of RMS errors would say nothing about bias.
        {"figure": PITCH_CURVE, **rms, "bias": nan, "sd": nan},
    ]
    if np.isfinite(way[:, 1]).any():
        rows.append({"figure": WAY, **_compute_moments(percent[np.isfinite(percent)], lost)})
    told = np.array([one.distance_m for one in judged]).reshape(-1, 3)
    told = told[np.isfinite(told).all(axis=1)]
    if len(told):
        error, u = told[:, 0] - told[:, 2], told[:, 1]
        row = {"figure": DISTANCE, **_compute_moments(error, 0), "median_u": float(np.median(u))}
        rows.append({**row, **_compute_coverage(np.abs(error) <= 2.0 * u)})
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def add_bars(table: pd.DataFrame, bars: Mapping[str, Bar], steps: int) -> pd.DataFrame:
    """A table with what is asked of each figure and whether that is met.

    Parameters
    ----------
    table : DataFrame
        As :func:`summarise_runs` gives, with or without the rows of whole runs.
    bars : mapping from figure to Bar
        Empty where nothing is asked but coverage.
    steps : int
        How many true steps there are.

    Returns
    -------
    DataFrame
        ``bar``, ``met``, ``u_met`` and ``repeat_met`` (yes, no or nothing) are added.
    """
    out = table.copy()
    bar, met, u_met, repeat_met = [], [], [], []
    for _, row in table.iterrows():
        own = bars.get(str(row["figure"]))
        bar.append(own.describe() if own else "")
        met.append(_format_yes_no(_is_met(own, row, steps)) if own else "")
        share = float(row["within_2u_percent"])
        low, high = COVERAGE_PERCENT
        u_met.append(_format_yes_no(low <= share <= high) if isfinite(share) else "")
        repeats = float(row.get("within_2u_repeat_percent", nan))
        low, high = REPEAT_COVERAGE_PERCENT
        repeat_met.append(_format_yes_no(low <= repeats <= high) if isfinite(repeats) else "")
    out["bar"], out["met"], out["u_met"], out["repeat_met"] = bar, met, u_met, repeat_met
    return out


def _is_met(bar: Bar, row: "pd.Series[object]", steps: int) -> bool:
    if bar.missing is None:
        names = ("bias", "sd", "rmse", "median_u", "median_u_repeat")
        return bar.is_met({name: float(str(row.get(name, nan))) for name in names})
    wrong = int(str(row["missing" if row["figure"] == FOUND else "n"]))
    return steps > 0 and wrong <= bar.missing * steps


def _format_yes_no(value: bool) -> str:
    return "yes" if value else "no"


def build_group_line(name: str, table: pd.DataFrame, runs: int, failed: int) -> dict[str, object]:
    """One group in one line.

    Parameters
    ----------
    name : str
    table : DataFrame
        Of the whole group, rows of whole runs included.
    runs, failed : int
        How many there were, and how many gave no result.
    """
    by = table.set_index("figure")

    def get_value(figure: str, column: str, factor: float = 1.0) -> float:
        return factor * float(by[column].get(figure, nan))

    judged = table[np.isfinite(table["within_2u_percent"].astype(float))]
    judged = judged[judged["figure"] != DISTANCE]  # one per run: too few to stand beside steps
    line: dict[str, object] = {
        "group": name,
        "runs": runs,
        "failed": failed,
        "steps": int(get_value(FOUND, "n") + get_value(FOUND, "missing")),
        "found": int(get_value(FOUND, "n")),
        "invented": int(get_value(INVENTED, "n")),
        "withheld_percent": _compute_withheld_percent(table),
        "td_bias_ms": get_value("touchdown_s", "bias", 1e3),
        "td_sd_ms": get_value("touchdown_s", "sd", 1e3),
        "to_bias_ms": get_value("toe_off_s", "bias", 1e3),
        "to_sd_ms": get_value("toe_off_s", "sd", 1e3),
        "contact_rmse_ms": get_value("contact_time_s", "rmse", 1e3),
        "shin_bias_deg": get_value("shin_angle_touchdown_deg", "bias"),
        "shin_rmse_deg": get_value("shin_angle_touchdown_deg", "rmse"),
        "pitch_rmse_deg": get_value(PITCH_CURVE, "rmse"),
        "dorsi_min_rmse_deg": get_value("dorsiflexion_swing_min_deg", "rmse"),
        "freq_rmse_hz": get_value("step_frequency_hz", "rmse"),
        "length_rmse_cm": get_value("step_length_m", "rmse", 100.0),
        "way_rmse_percent": get_value(WAY, "rmse"),
        "distance_bias_m": get_value(DISTANCE, "bias"),
        "distance_u_m": get_value(DISTANCE, "median_u"),
        "distance_within_2u_percent": get_value(DISTANCE, "within_2u_percent"),
    }
    for which, find in (("least", np.argmin), ("most", np.argmax)):
        text = "-"
        if len(judged):
            row = judged.iloc[int(find(judged["within_2u_percent"].to_numpy(dtype=float)))]
            text = f"{float(row['within_2u_percent']):.1f} {row['figure']}"
        line[f"{which}_within_2u"] = text
    return line


def _compute_withheld_percent(table: pd.DataFrame) -> float:
    """Share of all values of found steps that are missing although the truth knows them."""
    own = table[~table["figure"].isin([FOUND, INVENTED, PITCH_CURVE, WAY, DISTANCE])]
    own = own[~own["figure"].str.endswith(SAME_INSTANT)]
    asked = float((own["n"] + own["missing"]).sum())
    return 100.0 * float(own["missing"].sum()) / asked if asked else nan
