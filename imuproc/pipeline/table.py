"""From figures to the step table: what can be trusted, in columns, with flags."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.columns import (
    ANGLES,
    BY_NAME,
    EVENTS,
    FIGURES,
    LENGTHS,
    repeat_name,
    step_table_columns,
    uncertainty_name,
)
from imuproc.core.contacts import Contacts
from imuproc.core.flag_policy import list_withheld_figures
from imuproc.core.flags import RaisedFlag
from imuproc.core.history import HistoryEntry
from imuproc.core.motion import Motion
from imuproc.core.recording import ConditionedRecording, Recording, Run
from imuproc.core.result import Distance, Result
from imuproc.core.sites import SIDES, Side, foot_of, shank_of
from imuproc.core.uncertainty import PARTS_OF
from imuproc.estimators.clocks import flag_clocks, widen_times
from imuproc.estimators.columns import LegCurves, compute_all_quantities
from imuproc.estimators.distance import (
    DistanceSettings,
    find_end_of_effort,
    find_fastest_part,
    flag_belt,
    flag_distance,
    measure_distance_between,
)
from imuproc.estimators.gaps import find_gaps, widen_near_gaps
from imuproc.estimators.gaps import flag_gaps as gap_flags
from imuproc.estimators.phase import Phases, StepSpeeds, find_phases
from imuproc.estimators.quantities import Quantity, make_missing, withhold
from imuproc.estimators.sides import drop_swapped, flag_sides
from imuproc.estimators.stride import StepLengths
from imuproc.estimators.timing import find_next_step
from imuproc.pipeline.settings import Settings, WithheldSettings

FloatArray = NDArray[np.float64]

# Quantities that are another one in other words: withheld with it.
_SAME_AS: dict[str, str] = {
    "ankle_ahead_of_knee_m": "shin_angle_touchdown_deg",
    "step_frequency_hz": "step_time_s",
    "speed_mps": "step_length_m",
}


def make_result(
    conditioned: ConditionedRecording, contacts: Contacts, motion: Motion, settings: Settings
) -> Result:
    """Step table, curves and flags of one run.

    Parameters
    ----------
    conditioned : ConditionedRecording
    contacts : Contacts
    motion : Motion
    settings : Settings

    Returns
    -------
    Result
    """
    recording = conditioned.recording
    allowed = settings.estimators
    gaps = find_gaps(conditioned, contacts, allowed.gaps, settings.motion.unseen_accel_sd_mps2)
    contacts = widen_times(widen_near_gaps(contacts, gaps), conditioned)
    about = (recording.athlete, allowed, gaps, recording.clocks)
    read = compute_all_quantities(motion, contacts, *about)
    sides = flag_sides(motion, contacts, conditioned.find_measured(), allowed.sides)
    in_place = drop_swapped(read.by_name, contacts, sides, allowed.sides.vague_s)
    figures, step_flags = _withhold_untrusted(in_place, settings.withheld)
    flags = [*conditioned.flags, *motion.flags]
    gone = frozenset().union(*(list_withheld_figures(flag) for flag in flags))
    figures = withhold(figures, gone)
    lengths = None if gone >= LENGTHS else read.lengths
    legs = {} if gone >= ANGLES else read.legs
    flags += [*_flag_sites(conditioned), *sides]
    flags += flag_clocks(contacts, allowed.clock_unsure_s)
    flags += _flag_outside(contacts)
    step_flags += _flag_steps(contacts, settings)
    step_flags += gap_flags(contacts, gaps)
    steps = _make_table(recording, contacts, figures, step_flags, settings)
    effort, found = _check_distance(recording.run, contacts, lengths, steps, settings)
    entry = HistoryEntry("pipeline.table", f"{len(steps)} steps in the table.")
    return Result(
        session=recording.session,
        athlete=recording.athlete.id,
        run=recording.run.id,
        steps=steps,
        uncertainty={name: _tabulate_parts(name, figures[name]) for name in FIGURES},
        curves=_tabulate_curves(motion, legs, settings.withheld.largest_u_deg),
        contacts=contacts,
        motion=motion,
        conditioned=conditioned,
        flags=(*flags, *found, *step_flags),
        history=(*motion.history, entry),
        distances={} if effort is None else {recording.run.id: effort},
    )


def _check_distance(
    run: Run,
    contacts: Contacts,
    lengths: StepLengths | None,
    steps: pd.DataFrame,
    settings: Settings,
) -> tuple[Distance | None, list[RaisedFlag]]:
    """Distance of the effort, and flags where it or the belt's speed is not the stated one."""
    trusted_m = steps["step_length_m"].to_numpy()
    phase = steps["phase"].to_numpy()
    allowed: DistanceSettings = settings.estimators.distance
    fast = find_fastest_part(steps["speed_mps"].to_numpy(), allowed.fast_share)
    effort, whole, even = (
        measure_distance_between(lengths, trusted_m, first, last)
        for first, last in ((0, find_end_of_effort(phase)), (0, len(steps) - 1), fast)
    )
    return effort, [
        *flag_distance(run, effort, whole, allowed),
        *flag_belt(run, contacts, fast, even, allowed),
    ]


def _tabulate_parts(name: str, figure: Quantity) -> pd.DataFrame:
    """Parts of a figure's uncertainty, one row per step; NaN where the figure is missing."""
    names = PARTS_OF[name]
    values = np.full((len(figure.value), len(names)), np.nan)
    for column, part in enumerate(names):
        values[:, column] = figure.parts.get(part, np.nan)
    values[np.isnan(figure.value)] = np.nan
    return pd.DataFrame(values, columns=_make_labels(names), copy=False)


@cache
def _make_labels(names: tuple[str, ...]) -> pd.Index:
    """Column labels; to make them takes longer than to make a small table."""
    return pd.Index(names)


def _withhold_untrusted(
    figures: Mapping[str, Quantity], settings: WithheldSettings
) -> tuple[dict[str, Quantity], list[RaisedFlag]]:
    """Quantities without what is implausible or too uncertain, and a flag for each such step."""
    out: dict[str, Quantity] = {}
    flags: list[RaisedFlag] = []
    for name, figure in figures.items():
        column = BY_NAME[name]
        value, spread = figure.value, figure.repeat_uncertainty
        known = np.isfinite(value)
        implausible = known & ((value < column.low) | (value > column.high))
        vague = known & ~implausible & ~(spread < settings.get_largest_u(column.unit))
        if name in EVENTS:
            vague[:] = False
        reason = "velocity_unsure" if column.unit in ("m", "m/s") else "drift_large"
        if column.unit in ("s", "Hz"):
            reason = "event_unsure"
        flags += [
            RaisedFlag("implausible", {"figure": name, "value": float(value[k])}, step=int(k) + 1)
            for k in np.flatnonzero(implausible)
        ]
        flags += [
            RaisedFlag(reason, {"figure": name, "value": float(value[k])}, step=int(k) + 1)
            for k in np.flatnonzero(vague)
        ]
        out[name] = replace(figure, value=np.where(implausible | vague, np.nan, value))
    for name, other in _SAME_AS.items():
        gone = np.isnan(out[other].value)
        out[name] = replace(out[name], value=np.where(gone, np.nan, out[name].value))
    return out, flags


def _flag_sites(conditioned: ConditionedRecording) -> list[RaisedFlag]:
    """Flags for sensors that are not there; one whose clock is not known here is not missing."""
    flags = []
    there = {*conditioned.segments, *conditioned.recording.clocks.untied}
    for side in SIDES:
        foot, shank = foot_of(side) in there, shank_of(side) in there
        if shank and not foot:
            flags.append(RaisedFlag("missing_foot", site=foot_of(side)))
        if foot and not shank:
            flags.append(RaisedFlag("missing_shank", site=shank_of(side)))
        if not foot and not shank:
            flags.append(RaisedFlag("missing_leg", {"side": side}))
    return flags


def _flag_outside(contacts: Contacts) -> list[RaisedFlag]:
    """One flag on a run with contacts unlike any in data with force plates."""
    outside = int(np.sum(contacts.evidence.get("outside_evidence", np.zeros(0)) > 0.0))
    if not outside:
        return []
    return [RaisedFlag("outside_evidence", {"outside": outside, "steps": len(contacts)})]


def _flag_steps(contacts: Contacts, settings: Settings) -> list[RaisedFlag]:
    both = len(set(contacts.side.tolist())) == 2
    follows = find_next_step(contacts, settings.estimators.stride.longest_step_s)
    missed = ~follows[:-1] & both  # of one leg alone every second step is missing
    both_u_s = np.hypot(contacts.touchdown_u_s, contacts.toe_off_u_s)
    unsure = both_u_s > settings.withheld.unsure_event_s
    return [
        *(RaisedFlag("step_missed", step=int(k) + 1) for k in np.flatnonzero(missed)),
        *(RaisedFlag("event_unsure", step=int(k) + 1) for k in np.flatnonzero(unsure)),
    ]


def _make_table(
    recording: Recording,
    contacts: Contacts,
    figures: Mapping[str, Quantity],
    flags: list[RaisedFlag],
    settings: Settings,
) -> pd.DataFrame:
    count = len(contacts)
    phases = _find_phases(recording.run, contacts, figures["speed_mps"], settings)
    columns: dict[str, object] = {
        "session": recording.session,
        "athlete": recording.athlete.id,
        "run": recording.run.id,
        "step": np.arange(1, count + 1),
        "side": contacts.side,
        "phase": phases.phase,
        "phase_alternative": phases.alternative,
    }
    for name in FIGURES:
        figure = figures.get(name, make_missing(count))
        columns[name] = figure.value
        columns[uncertainty_name(name)] = figure.uncertainty
        columns[repeat_name(name)] = figure.repeat_uncertainty
    columns["flags"] = [
        ";".join(dict.fromkeys(f.name for f in flags if f.step == step))
        for step in range(1, count + 1)
    ]
    in_order = {name: columns[name] for name in step_table_columns()}
    return pd.DataFrame(in_order, index=np.arange(count))


def _find_phases(run: Run, contacts: Contacts, speed: Quantity, settings: Settings) -> Phases:
    """Phases from the run's speeds; of one leg alone only every second step is there."""
    step = 1.0 if len(set(contacts.side.tolist())) == 2 else 2.0
    steps = StepSpeeds(
        number=1.0 + step * np.arange(len(contacts), dtype=np.float64),
        left=contacts.side == "left",
        speed_mps=speed.value,
        u_mps=speed.uncertainty,
    )
    start = "rolling" if run.surface == "treadmill" else run.start
    return find_phases(steps, start, settings.estimators.phase)


def _tabulate_curves(
    motion: Motion, legs: Mapping[Side, LegCurves], largest_u_deg: float
) -> pd.DataFrame:
    """Angle curves of both legs in deg; NaN where missing samples leave them unknown."""
    columns: dict[str, FloatArray] = {"time_s": motion.time_s}
    for side, leg in legs.items():
        named = (
            ("shin_angle", leg.shin),
            ("foot_pitch", leg.pitch),
            ("dorsiflexion", leg.dorsiflexion),
        )
        for name, curve in named:
            if curve is not None:
                lost = np.degrees(curve.parts_rad["gap"]) > largest_u_deg
                degrees = np.degrees(curve.angle_rad)
                columns[f"{name}_{side}_deg"] = np.where(lost, np.nan, degrees)
    return pd.DataFrame(columns)
