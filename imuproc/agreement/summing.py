"""Tables of agreement of a study: every figure, per step and per run, whole and in parts."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from imuproc.agreement.alignment.matching import count_detection
from imuproc.agreement.compare import Comparison
from imuproc.agreement.statistics.change import (
    smallest_detectable_change,
    smallest_worthwhile_change,
    typical_error,
)
from imuproc.agreement.statistics.concordance import compute_concordance, proportional_bias
from imuproc.agreement.statistics.icc import Model, intraclass_correlation
from imuproc.agreement.statistics.limits import Limits, limits_of_agreement, root_mean_square
from imuproc.agreement.statistics.nested import nested_limits
from imuproc.agreement.statistics.resolution import explain_by_resolution
from imuproc.agreement.statistics.shares import estimate_share

CLOCKED: Final = ("touchdown_s", "toe_off_s")
_BIAS_PARTS: Final = (
    "bias", "bias_low", "bias_high", "lower", "lower_low", "lower_high", "upper", "upper_low",
    "upper_high", "rmse", "ccc", "ccc_low", "ccc_high", "slope", "slope_low", "slope_high",
    "slope_p", "icc", "icc_low", "icc_high",
)  # fmt: skip
"""Figures that a shift of the clock changes or makes meaningless."""
_SPREAD_PARTS: Final = (
    "ccc", "ccc_low", "ccc_high", "slope", "slope_low", "slope_high", "slope_p", "icc", "icc_low",
    "icc_high", "smallest_worthwhile_change",
)  # fmt: skip
"""What rests on how far true values are spread: of event times that is the clock's reading."""
_CLOCK_SPREAD: Final = (
    "Event times are spread as the clock runs, whatever the methods: correlations and slopes would "
    "say nothing."
)
_FROM_EVENTS: Final = (
    "Clocks were aligned by these very events: their bias cannot be seen, and the SD is that "
    "within runs. Contact time shows the bias of toe-off against touchdown."
)


@dataclass(frozen=True)
class AgreementSettings:
    """What :func:`summarise_study` gives.

    Parameters
    ----------
    model : str
        Of the intraclass correlation.
    speed_edges_mps : tuple of float
        Edges of the classes of speed; judgement.
    level : float
        Of all intervals but those of shares, which are of 95 %.
    """

    model: Model = "2,1"
    speed_edges_mps: tuple[float, ...] = (4.0, 6.0, 8.0)
    level: float = 0.95


@dataclass(frozen=True, eq=False)
class Agreement:
    """Agreement of a study; all tables are ready to be written.

    Parameters
    ----------
    agreement : DataFrame
        One row per figure, ``per`` (step or run) and group (``by``: all, phase, side,
        reference, speed).
    paired, exclusions : DataFrame
        Of all comparisons, as in :class:`imuproc.agreement.compare.Comparison`.
    detection : DataFrame
        Of each run.
    detection_total : DataFrame
        Over all runs.
    clocks : DataFrame
        One row per run.
    notes : tuple of str
    """

    agreement: pd.DataFrame
    paired: pd.DataFrame
    exclusions: pd.DataFrame
    detection: pd.DataFrame
    detection_total: pd.DataFrame
    clocks: pd.DataFrame
    notes: tuple[str, ...]


def summarise_study(
    comparisons: Sequence[Comparison], settings: AgreementSettings | None = None
) -> Agreement:
    """Agreement over all runs and athletes of a study.

    With more than one athlete, limits are those of steps nested in athletes whose true value varies
    (Bland & Altman 2007); with one, or one value for each, those of independent pairs (1986), and
    the row's ``method`` says so. Differences are table minus reference. Steps of the phase
    ``slowing`` are in the parts by phase and in ``all`` of single steps, and left out of run means,
    as in the run table. The typical error is the row's own SD over √2.

    Raises
    ------
    ValueError
        If there is no comparison.
    """
    if not comparisons:
        raise ValueError("a study needs at least one comparison")
    use = settings or AgreementSettings()
    paired = pd.concat([c.paired for c in comparisons], ignore_index=True)
    shifted = {
        (str(c.detection["session"].iloc[0]), str(c.detection["run"].iloc[0]))
        for c in comparisons
        if c.clock is not None and c.clock.source == "events"
    }
    rows = [_make_row(part, keys, shifted, use) for keys, part in _iterate_groups(paired, use)]
    detection = pd.concat([c.detection for c in comparisons], ignore_index=True)
    return Agreement(
        agreement=pd.DataFrame(rows),
        paired=paired,
        exclusions=pd.concat([c.exclusions for c in comparisons], ignore_index=True),
        detection=detection,
        detection_total=_sum_detection(detection),
        clocks=pd.DataFrame([_make_clock_row(c) for c in comparisons]),
        notes=tuple(dict.fromkeys(note for c in comparisons for note in c.notes)),
    )


def _iterate_groups(
    paired: pd.DataFrame, use: AgreementSettings
) -> Iterator[tuple[dict[str, str], pd.DataFrame]]:
    """Every part of the data that gets a row."""
    for figure, of_figure in paired.groupby("figure", sort=False):
        effort = of_figure[of_figure["phase"] != "slowing"]
        for per, rows in (("step", of_figure), ("run", _compute_run_means(effort))):
            keys = {"figure": str(figure), "unit": str(of_figure["unit"].iloc[0]), "per": per}
            yield {**keys, "by": "all", "group": "all"}, rows
            if per == "run":
                continue
            for by, labels in (
                ("phase", rows["phase"].astype(str)),
                ("side", rows["side"].astype(str)),
                ("reference", rows["reference_kind"].astype(str)),
                ("speed", _classify_speed(rows["speed_mps"], use.speed_edges_mps)),
            ):
                for group, part in rows.groupby(labels, sort=True):
                    yield {**keys, "by": by, "group": str(group)}, part


def _classify_speed(speed: pd.Series, edges: tuple[float, ...]) -> pd.Series:
    """Name of the class of each speed."""
    names = [f"below {edges[0]:g} m/s"]
    names += [f"{a:g} to {b:g} m/s" for a, b in pairwise(edges)]
    names += [f"{edges[-1]:g} m/s and above"]
    place = np.searchsorted(edges, speed.to_numpy(dtype=np.float64), side="right")
    known = np.isfinite(speed.to_numpy(dtype=np.float64))
    return pd.Series(
        [names[p] if k else "unknown" for p, k in zip(place, known, strict=True)], speed.index
    )


def _compute_run_means(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per run: means over its paired steps."""
    keys = ["session", "athlete", "run"]
    means = rows.groupby(keys, sort=False)[["table", "reference", "difference"]].mean()
    # A mean's uncertainty needs the correlation of its steps, which is not known here.
    return means.reset_index().assign(table_u=np.nan, reference_u=np.nan, resolution_sd=np.nan)


def _make_row(
    part: pd.DataFrame, keys: dict[str, str], shifted: set[tuple[str, str]], use: AgreementSettings
) -> dict[str, Any]:
    """All statistics of one part."""
    ours, theirs = part["table"].to_numpy(float), part["reference"].to_numpy(float)
    difference, athlete = part["difference"].to_numpy(float), part["athlete"].to_numpy()
    several = len(set(athlete)) > 1
    found = _compute_limits(difference, athlete, use.level)
    slope = proportional_bias(ours, theirs, athlete if several else None, use.level)
    icc = intraclass_correlation(np.column_stack((ours, theirs)), use.model, use.level)
    ccc = compute_concordance(ours, theirs, use.level)
    row: dict[str, Any] = {**keys, "runs": len(_list_runs(part)), "athletes": len(set(athlete))}
    row |= {k: v for k, v in asdict(found).items() if k not in ("units", "note")}
    row |= {"rmse": root_mean_square(difference)}
    row |= {"slope": slope.slope, "slope_low": slope.low, "slope_high": slope.high}
    row |= {"slope_p": slope.p, "icc": icc.value, "icc_low": icc.low, "icc_high": icc.high}
    row |= {"icc_model": f"({use.model}) {icc.meaning}"}
    row |= {"ccc": ccc.value, "ccc_low": ccc.low, "ccc_high": ccc.high}
    row |= _compute_changes(part, found.sd)
    row |= _explain_resolution(part, found.sd)
    row |= _compute_coverage(part)
    notes = dict.fromkeys(n for n in (found.note, slope.note, icc.note, ccc.note) if n)
    if keys["figure"] in CLOCKED:
        row |= dict.fromkeys(_SPREAD_PARTS, np.nan)
        notes = {found.note: None, _CLOCK_SPREAD: None} if found.note else {_CLOCK_SPREAD: None}
    if keys["figure"] in CLOCKED and shifted & _list_runs(part):
        row |= dict.fromkeys(_BIAS_PARTS, np.nan)
        row |= _compute_within_runs(part)
        notes = {_FROM_EVENTS: None}
    row["note"] = " ".join(notes)
    return row


def _compute_limits(difference: Any, athlete: Any, level: float) -> Limits:
    """Nested limits where they can be given, else those of independent pairs."""
    nested = nested_limits(difference, athlete, level)
    if np.isfinite(nested.sd):
        return nested
    return limits_of_agreement(difference, level)


def _list_runs(part: pd.DataFrame) -> set[tuple[str, str]]:
    """Session and run of each row: two sessions may have runs of one name."""
    return set(zip(part["session"].astype(str), part["run"].astype(str), strict=True))


def _compute_within_runs(part: pd.DataFrame) -> dict[str, float]:
    """SD of differences within runs: what clocks aligned by the events leave to be seen."""
    mean = part.groupby(["session", "run"])["difference"].transform("mean")
    freedom = len(part) - len(_list_runs(part))
    squares = float(np.sum((part["difference"] - mean) ** 2))
    sd = float(np.sqrt(squares / freedom)) if freedom >= 2 else np.nan
    return {"sd": sd, **_compute_detectable_change(sd), **_explain_resolution(part, sd)}


def _compute_detectable_change(sd: float) -> dict[str, float]:
    """Typical error and the change that it lets see, from the SD that the row gives."""
    error = sd / np.sqrt(2.0)
    return {
        "typical_error": error,
        "smallest_detectable_change": smallest_detectable_change(error),
    }


def _compute_changes(part: pd.DataFrame, sd: float) -> dict[str, float]:
    """Typical error of a step (or run mean) and what changes can be seen and matter."""
    of_athletes = part.groupby("athlete")[["table", "difference"]].mean()
    # The error in an athlete's mean is what the means' own differences tell: a step's is larger.
    error = typical_error(of_athletes["difference"])
    worthwhile = smallest_worthwhile_change(of_athletes["table"], error)
    return {**_compute_detectable_change(sd), "smallest_worthwhile_change": worthwhile}


def _explain_resolution(part: pd.DataFrame, sd: float) -> dict[str, float]:
    """What the reference's resolution explains."""
    resolution = float(np.sqrt(np.mean(part["resolution_sd"].to_numpy(float) ** 2)))
    explained = explain_by_resolution(sd, resolution)
    return {
        "resolution_sd": explained.resolution_sd,
        "resolution_share": explained.share,
        "sd_beyond_resolution": explained.remaining_sd,
    }


def _compute_coverage(part: pd.DataFrame) -> dict[str, float]:
    """Share of differences within two of the stated standard uncertainties of both."""
    whole_u = np.hypot(part["table_u"], np.nan_to_num(part["reference_u"].to_numpy(float)))
    known = np.isfinite(whole_u.to_numpy(float))
    size = np.abs(part["difference"].to_numpy(float))
    share = estimate_share(int((size <= 2.0 * whole_u)[known].sum()), int(known.sum()))
    return {"within_2u": share.value, "within_2u_low": share.low, "within_2u_high": share.high}


def _make_clock_row(comparison: Comparison) -> dict[str, Any]:
    """What is known of a run's clock."""
    first = comparison.detection.iloc[0]
    row: dict[str, Any] = {name: first[name] for name in ("session", "athlete", "run")}
    if comparison.clock is None:
        return {**row, "source": "none: contacts paired by their durations"}
    clock = asdict(comparison.clock)
    return {**row, **clock, "notes": " ".join(clock["notes"])}


def _sum_detection(detection: pd.DataFrame) -> pd.DataFrame:
    """Counts and shares over all runs."""
    rows = []
    for (of, part), some in detection.groupby(["of", "part"], sort=False):
        found, missed = int(some["found"].sum()), int(some["missed"].sum())
        if part == "all":
            row = dict(count_detection(found, missed, int(some["invented"].sum())).to_row())
        else:
            row = dict(count_detection(found, missed, 0).to_row())
            for name in row:
                if name.startswith(("invented", "precision", "f1")):
                    row[name] = np.nan
        rows.append({"of": of, "part": part, "runs": len(_list_runs(some)), **row})
    return pd.DataFrame(rows)
