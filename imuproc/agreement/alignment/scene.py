"""Table and reference on one clock, and which contacts belong together."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.agreement.alignment.clock import Clock, clock_from_events
from imuproc.agreement.alignment.matching import ContactTimes, Matching, match_contacts
from imuproc.agreement.alignment.sequence import align_sequences, make_durations
from imuproc.agreement.events import EventTrain, FloatArray, make_event_train
from imuproc.core.reference import Reference
from imuproc.core.sites import SIDES, Side

BoolArray = NDArray[np.bool_]
WordArray = NDArray[np.object_]


@dataclass(frozen=True)
class CompareSettings:
    """Numbers of :func:`compare`.

    Parameters
    ----------
    window_s : float
        Contacts farther apart are not the same.
    covers_s : tuple of float, optional
        What the table's recording covers, on its clock: contacts of the reference beyond are left
        out, those within count as missed. Left out: every contact of the reference counts.
    sides : tuple of Side
        Sides that the reference looks at (with a clock only).
    """

    window_s: float = 0.05
    covers_s: tuple[float, float] | None = None
    sides: tuple[Side, ...] = SIDES


@dataclass(frozen=True, eq=False)
class Scene:
    """Both sides on one clock, and what belongs together.

    Parameters
    ----------
    steps : DataFrame
        In order of touchdown.
    reference : Reference
    clock : Clock or None
        None for a reference without clock.
    use : CompareSettings
    down_s, off_s : ndarray, shape (m,)
        Events of the reference on the table's clock.
    table_out, reference_out : ndarray of str
        Why the other cannot have it; empty where it can.
    matching : Matching
    """

    steps: pd.DataFrame
    reference: Reference
    clock: Clock | None
    use: CompareSettings
    down_s: FloatArray  # of the reference, on the table's clock
    off_s: FloatArray
    table_out: WordArray
    reference_out: WordArray
    matching: Matching

    @property
    def table_in(self) -> BoolArray:
        """Steps that the reference can have."""
        return np.asarray(self.table_out == "")

    @property
    def reference_in(self) -> BoolArray:
        """Contacts that the table can have."""
        return np.asarray(self.reference_out == "")


def list_table_events(
    steps: pd.DataFrame, covers_s: tuple[float, float] | None = None
) -> EventTrain:
    """Events of a step table, as the clock needs them."""
    start, end = covers_s or (np.nan, np.nan)
    side, down, off = (steps[name].to_numpy() for name in ("side", "touchdown_s", "toe_off_s"))
    return make_event_train(side, down.astype(float), off.astype(float), start, end)


def list_reference_events(reference: Reference) -> EventTrain:
    """Events of a reference on its own clock."""
    return make_event_train(
        reference.side,
        reference.touchdown_s,
        reference.toe_off_s,
        reference.start_s,
        reference.end_s,
    )


def align_scene(
    steps: pd.DataFrame, reference: Reference, clock: Clock | None, use: CompareSettings
) -> Scene:
    """Clock, coverage and matching."""
    if not reference.has_clock:
        return _align_by_durations(steps, reference, use)
    if clock is None:
        looked_at = steps[steps["side"].isin(use.sides)]
        clock = clock_from_events(
            list_table_events(looked_at, use.covers_s),
            list_reference_events(reference),
            reference.resolution_s,
        )
    down, off = clock.to_table(reference.touchdown_s), clock.to_table(reference.toe_off_s)
    table_out = _explain_unseen_steps(steps, reference, clock, use)
    reference_out = _explain_unseen_contacts(reference, np.where(np.isfinite(down), down, off), use)
    table_in, reference_in = table_out == "", reference_out == ""
    seen = steps[table_in]
    side = np.asarray(reference.side, dtype=object)[reference_in]
    inside = match_contacts(
        ContactTimes(
            seen["side"].to_numpy(),
            read_column(seen, "touchdown_s"),
            read_column(seen, "toe_off_s"),
        ),
        ContactTimes(side, down[reference_in], off[reference_in]),
        use.window_s,
    )
    at, there = np.flatnonzero(table_in), np.flatnonzero(reference_in)
    matching = Matching(
        at[inside.table],
        there[inside.reference],
        at[inside.table_only],
        there[inside.reference_only],
    )
    return Scene(steps, reference, clock, use, down, off, table_out, reference_out, matching)


def _explain_unseen_steps(
    steps: pd.DataFrame, reference: Reference, clock: Clock, use: CompareSettings
) -> WordArray:
    """Why the reference cannot have a step; empty where it can."""
    down, off = clock.to_table(reference.touchdown_s), clock.to_table(reference.toe_off_s)
    seen = np.where(np.isfinite(down), down, off)
    start, end = clock.to_table([reference.start_s, reference.end_s])
    start = start if np.isfinite(start) else np.nanmin(seen) - use.window_s
    end = end if np.isfinite(end) else np.nanmax(np.fmax(seen, off)) + use.window_s
    ours, ours_off = find_event_times_s(steps), read_column(steps, "toe_off_s")
    why = np.full(len(steps), "", dtype=object)
    for time in clock.to_table(reference.left_out_s):
        within = (ours - use.window_s <= time) & (np.fmax(ours_off, ours) + use.window_s >= time)
        why[within] = "the reference has this contact and leaves it out, see its notes"
    why[~((ours >= start) & (ours <= end))] = "outside what the reference covers"
    looked_at = steps["side"].isin(use.sides).to_numpy(dtype=np.bool_)
    why[~looked_at] = f"the reference looks at the {' and '.join(use.sides)} side only"
    return why


def _explain_unseen_contacts(
    reference: Reference, seen_s: FloatArray, use: CompareSettings
) -> WordArray:
    """Why the table cannot have a contact; empty where it can."""
    low, high = use.covers_s or (-np.inf, np.inf)
    side = np.asarray(reference.side, dtype=object)
    why = np.full(len(reference), "", dtype=object)
    why[~((seen_s >= low) & (seen_s <= high))] = "outside what the recording covers"
    why[~np.isin(side.astype(str), ["", *use.sides])] = "of a side that is not to be compared"
    return why


def _align_by_durations(steps: pd.DataFrame, reference: Reference, use: CompareSettings) -> Scene:
    """Matching of a reference without clock.

    What is covered is known only from the first pair to the last; in between, contacts without a
    partner are invented or missed, those whose partner is not sure are neither.
    """
    ours = make_durations(
        steps["side"].to_numpy(),
        read_column(steps, "contact_time_s"),
        read_column(steps, "flight_time_s"),
    )
    theirs = make_durations(reference.side, reference.contact_time_s, reference.flight_time_s)
    found = align_sequences(ours, theirs)
    outs, alone = [], []
    for count, rows, doubtful in (
        (len(steps), found.table, found.doubtful_table),
        (len(reference), found.reference, found.doubtful_reference),
    ):
        why = np.full(count, "beyond the paired contacts", dtype=object)
        known = np.concatenate((rows, doubtful))
        why[known.min() : known.max() + 1] = ""
        why[doubtful] = "which contact of the other this is cannot be told for sure"
        outs.append(why)
        alone.append(np.setdiff1d(np.flatnonzero(why == ""), rows))
    gone = np.full(len(reference), np.nan)
    matching = Matching(found.table, found.reference, alone[0], alone[1])
    return Scene(steps, reference, None, use, gone, gone, outs[0], outs[1], matching)


def read_column(steps: pd.DataFrame, name: str) -> FloatArray:
    """A column as numbers; NaN where the table has none."""
    if name not in steps:
        return np.full(len(steps), np.nan)
    return np.asarray(steps[name].to_numpy(dtype=np.float64, na_value=np.nan))


def find_event_times_s(steps: pd.DataFrame) -> FloatArray:
    """Touchdown, or toe-off without one."""
    down = read_column(steps, "touchdown_s")
    return np.where(np.isfinite(down), down, read_column(steps, "toe_off_s"))
