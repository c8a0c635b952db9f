"""One run's step table beside a reference: what pairs, what does not and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from imuproc.agreement.alignment.clock import Clock
from imuproc.agreement.alignment.matching import Matching, count_detection, match_times
from imuproc.agreement.alignment.scene import (
    BoolArray,
    Scene,
    align_scene,
    find_event_times_s,
    read_column,
)
from imuproc.agreement.alignment.scene import CompareSettings as CompareSettings
from imuproc.agreement.events import FloatArray
from imuproc.agreement.statistics.resolution import compute_resolution_sd
from imuproc.core.columns import BY_NAME, FIGURES, uncertainty_name
from imuproc.core.errors import RunError
from imuproc.core.reference import Reference

BETWEEN: Final = ("flight_time_s", "step_time_s", "step_frequency_hz")
"""Figures that end with the next contact."""
PAIR_COLUMNS: Final = (
    "session", "athlete", "run", "reference_source", "reference_kind", "step", "reference_row",
    "side", "phase", "speed_mps", "figure", "unit", "table", "reference", "difference",
    "table_u", "reference_u", "resolution_sd", "flags",
)  # fmt: skip
EXCLUSION_COLUMNS: Final = (
    "session", "athlete", "run", "of", "step", "side", "time_s", "figure", "reason",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Comparison:
    """One run beside one reference.

    Parameters
    ----------
    paired : DataFrame
        One row per step and figure that both have, columns ``PAIR_COLUMNS``; differences are table
        minus reference, times of the reference on the table's clock.
    exclusions : DataFrame
        One row per step, contact or figure that was not used, and why; ``step`` is the step of the
        table or the row (from 1) of the reference, ``time_s`` on the table's clock.
    detection : DataFrame
        Found, missed, invented by ``of`` (contacts, touchdowns, toe-offs) and ``part`` (all, first,
        between, last, beyond). ``beyond`` are those of ``between`` and the ends that lie before the
        table's first step or after its last one.
    clock : Clock or None
        None for a reference without clock.
    notes : tuple of str
    """

    paired: pd.DataFrame
    exclusions: pd.DataFrame
    detection: pd.DataFrame
    clock: Clock | None
    notes: tuple[str, ...] = ()


def compare(
    steps: pd.DataFrame,
    reference: Reference,
    clock: Clock | None = None,
    settings: CompareSettings | None = None,
) -> Comparison:
    """Step table of one run beside a reference.

    Parameters
    ----------
    steps : DataFrame
        Rows of one run as in the step table.
    reference : Reference
    clock : Clock, optional
        As given by a sync instant; left out: found from the events.
    settings : CompareSettings, optional

    Returns
    -------
    Comparison

    Raises
    ------
    RunError
        If there are no steps or contacts, or columns are missing.
    ClockError
        If clocks or sequences cannot be aligned without doubt.

    See Also
    --------
    imuproc.agreement.study : every run of a study, from its files.

    Examples
    --------
    >>> import imuproc
    >>> session = imuproc.read_session("data_samples/session.toml")
    >>> from imuproc.core.reference import Reference
    >>> steps = imuproc.process(session.read_run("R07-01")).steps
    >>> down_s, off_s = (steps[name].to_numpy() for name in ("touchdown_s", "toe_off_s"))
    >>> nothing, side = np.full(len(steps), np.nan), steps["side"].to_numpy()
    >>> video = Reference(
    ...     source="video.csv", side=side, touchdown_s=down_s - 0.004, toe_off_s=off_s,
    ...     contact_time_s=nothing, flight_time_s=nothing, kind="video",
    ...     has_clock=True,
    ... )
    >>> paired = compare(steps, video).paired
    >>> contact = paired[paired["figure"] == "contact_time_s"]
    >>> len(contact), round(float(contact["difference"].mean()), 4)
    (20, -0.004)
    """
    use = settings or CompareSettings()
    missing = {"session", "athlete", "run", "step", "side", "touchdown_s", "toe_off_s"} - set(steps)
    if missing:
        raise RunError(f"step table lacks {', '.join(sorted(missing))}")
    if not len(steps) or not len(reference):
        raise RunError(
            f"nothing to compare: {len(steps)} steps, {len(reference)} contacts in "
            f"{reference.source}"
        )
    if steps["run"].nunique() > 1:
        raise RunError(f"steps of one run are needed, found {steps['run'].nunique()} runs")
    steps = steps.sort_values("touchdown_s", ignore_index=True)
    scene = align_scene(steps, reference, clock, use)
    left_out = [*_list_unmatched(scene), *_list_outside(scene)]
    rows, gaps = _pair_figures(scene)
    return Comparison(
        paired=pd.DataFrame(rows, columns=list(PAIR_COLUMNS)),
        exclusions=pd.DataFrame([*left_out, *gaps], columns=list(EXCLUSION_COLUMNS)),
        detection=_count_detection(scene),
        clock=scene.clock,
        notes=(*reference.notes, *(scene.clock.notes if scene.clock else ())),
    )


def _make_exclusion(
    scene: Scene, of: str, row: int, reason: str, figure: str = ""
) -> dict[str, Any]:
    """One row of the table of exclusions."""
    first = scene.steps.iloc[0]
    ours = of == "table"
    seen = (
        find_event_times_s(scene.steps)
        if ours
        else np.where(np.isfinite(scene.down_s), scene.down_s, scene.off_s)
    )
    return {
        **{name: first[name] for name in ("session", "athlete", "run")},
        "of": of,
        "step": int(scene.steps["step"].iloc[row]) if ours else row + 1,
        "side": scene.steps["side"].iloc[row] if ours else str(scene.reference.side[row]),
        "time_s": float(seen[row]),
        "figure": figure,
        "reason": reason,
    }


def _list_unmatched(scene: Scene) -> list[dict[str, Any]]:
    """Steps and contacts without a partner within what both cover."""
    within = (
        f"within {1e3 * scene.use.window_s:.0f} ms" if scene.clock else "by its durations, surely"
    )
    ours = [
        _make_exclusion(scene, "table", int(i), f"invented: no contact of the reference {within}")
        for i in scene.matching.table_only
    ]
    theirs = [
        _make_exclusion(scene, "reference", int(j), f"missed: no step of the table {within}")
        for j in scene.matching.reference_only
    ]
    return [*ours, *theirs]


def _list_outside(scene: Scene) -> list[dict[str, Any]]:
    """Steps and contacts beyond what the other covers."""
    ours = [
        _make_exclusion(scene, "table", int(i), str(scene.table_out[i]))
        for i in np.flatnonzero(~scene.table_in)
    ]
    theirs = [
        _make_exclusion(scene, "reference", int(j), str(scene.reference_out[j]))
        for j in np.flatnonzero(~scene.reference_in)
    ]
    return [*ours, *theirs]


def _compute_reference_figures(scene: Scene) -> dict[str, FloatArray]:
    """Every figure of the reference that the table has too, by its row."""
    r = scene.reference
    if scene.clock is None:
        step = r.contact_time_s + r.flight_time_s
        timing = {
            "contact_time_s": r.contact_time_s,
            "flight_time_s": r.flight_time_s,
            "step_time_s": step,
            "step_frequency_hz": 1.0 / np.where(step > 0.0, step, np.nan),
        }
    else:
        # Durations on the reference's own clock would carry the drift: all is on the table's.
        following = np.append(scene.down_s[1:], np.nan)
        step = following - scene.down_s
        timing = {
            "touchdown_s": scene.down_s,
            "toe_off_s": scene.off_s,
            "contact_time_s": scene.off_s - scene.down_s,
            "flight_time_s": following - scene.off_s,
            "step_time_s": step,
            "step_frequency_hz": 1.0 / np.where(step > 0.0, step, np.nan),
        }
    return {**timing, **{name: np.asarray(v, float) for name, v in r.angles.items()}}


class _Pair(NamedTuple):
    """One figure of a step and of the contact that it is paired with."""

    figure: str
    row: int
    reference_row: int
    table: float
    reference: float
    table_u: float
    resolution_sd: float


def _pair_figures(scene: Scene) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of the paired table, and figures left out with their reasons."""
    figures = _compute_reference_figures(scene)
    partner = dict(zip(scene.matching.table, scene.matching.reference, strict=True))
    step_s = float(np.nanmedian(np.append(read_column(scene.steps, "step_time_s"), 0.25)))
    rows, gaps = [], []
    for name in (f for f in FIGURES if f in figures):
        ours, ours_u = (
            read_column(scene.steps, name),
            read_column(scene.steps, uncertainty_name(name)),
        )
        part_sd = compute_resolution_sd(name, scene.reference.resolution_s, step_s)
        for i, j in partner.items():
            pair = _Pair(
                name,
                row=int(i),
                reference_row=int(j),
                table=float(ours[i]),
                reference=float(figures[name][j]),
                table_u=float(ours_u[i]),
                resolution_sd=part_sd,
            )
            why = _explain_gap(scene, pair, partner.get(i + 1) == j + 1)
            if why:
                gaps.append(_make_exclusion(scene, "table", pair.row, why, name))
            else:
                rows.append(_make_pair_row(scene, pair))
    return rows, gaps


def _explain_gap(scene: Scene, pair: _Pair, next_too: bool) -> str:
    """Why a figure of a pair cannot be compared; empty if it can."""
    if not np.isfinite(pair.table):
        flags = str(scene.steps["flags"].iloc[pair.row]) if "flags" in scene.steps else ""
        return f"missing in the table{f' ({flags})' if flags and flags != 'nan' else ''}"
    if pair.figure in BETWEEN and not next_too:
        return "the next contact is not paired on both sides"
    return "" if np.isfinite(pair.reference) else "missing in the reference"


def _make_pair_row(scene: Scene, pair: _Pair) -> dict[str, Any]:
    """One row of the paired table."""
    step = scene.steps.iloc[pair.row]
    keys: Mapping[str, Any] = {
        key: step.get(key, "") for key in ("session", "athlete", "run", "step", "side", "phase")
    }
    return {
        **keys,
        "reference_source": scene.reference.source,
        "reference_kind": scene.reference.kind,
        "reference_row": pair.reference_row + 1,
        "speed_mps": float(step.get("speed_mps", np.nan)),
        "figure": pair.figure,
        "unit": BY_NAME[pair.figure].unit,
        "table": pair.table,
        "reference": pair.reference,
        "difference": pair.table - pair.reference,
        "table_u": pair.table_u,
        "reference_u": _compute_reference_u(scene, pair),
        "resolution_sd": pair.resolution_sd,
        "flags": str(step.get("flags", "") or ""),
    }


def _compute_reference_u(scene: Scene, pair: _Pair) -> float:
    """Standard uncertainty of the reference, as far as its resolution and the clock tell it."""
    if pair.figure in ("touchdown_s", "toe_off_s") and scene.clock is not None:
        of_clock_s = scene.clock.u_at(pair.table)
        return float(np.hypot(np.nan_to_num(pair.resolution_sd), of_clock_s))
    return pair.resolution_sd


def _count_detection(scene: Scene) -> pd.DataFrame:
    """Counts of contacts, touchdowns and toe-offs; first and last ones apart."""
    matched = scene.matching
    rows = list(_count_parts(scene, "contacts", matched))
    if scene.clock is not None:
        for of, name, theirs in (
            ("touchdowns", "touchdown_s", scene.down_s),
            ("toe-offs", "toe_off_s", scene.off_s),
        ):
            ours = np.where(scene.table_in, read_column(scene.steps, name), np.nan)
            other = np.where(scene.reference_in, theirs, np.nan)
            found = match_times(ours, other, scene.use.window_s)
            alone = np.isfinite(ours[found.table_only]), np.isfinite(other[found.reference_only])
            kept = Matching(
                found.table,
                found.reference,
                found.table_only[alone[0]],
                found.reference_only[alone[1]],
            )
            rows.extend(_count_parts(scene, of, kept))
    first = scene.steps.iloc[0]
    table = pd.DataFrame(rows)
    for place, key in enumerate(("session", "athlete", "run")):
        table.insert(place, key, first[key])
    return table


def _count_parts(scene: Scene, of: str, m: Matching) -> Sequence[dict[str, Any]]:
    """Counts of all, of the first and last contact of the reference, and of those between."""
    known = np.union1d(m.reference, m.reference_only)
    all_of_them = count_detection(len(m.table), len(m.reference_only), len(m.table_only))
    rows = [{"of": of, "part": "all", **all_of_them.to_row()}]
    if not len(known):
        return rows
    ends = {"first": known[:1], "between": known[1:-1], "last": known[-1:]}
    if scene.clock is not None:
        ends["beyond"] = known[_find_beyond(scene)[known]]
    for part, which in ends.items():
        found = int(np.isin(m.reference, which).sum())
        # An invented step belongs to no contact of the reference: it is counted in all alone.
        counts = count_detection(found, len(which) - found, 0).to_row()
        for name in ("invented", "precision", "f1"):
            counts = {**counts, **{k: np.nan for k in counts if k.startswith(name)}}
        rows.append({"of": of, "part": part, **counts})
    return rows


def _find_beyond(scene: Scene) -> BoolArray:
    """Contacts of the reference before the table's first step or after its last one."""
    window_s, seen = scene.use.window_s, find_event_times_s(scene.steps)
    theirs = np.where(np.isfinite(scene.down_s), scene.down_s, scene.off_s)
    return np.asarray((theirs < np.nanmin(seen) - window_s) | (theirs > np.nanmax(seen) + window_s))
