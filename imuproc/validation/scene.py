"""Table and reference on one clock, and which contacts belong together."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from imuproc.core.reference import Reference
from imuproc.validation.clock import Clock, clock_from_events
from imuproc.validation.events import EventTrain, FloatArray, event_train
from imuproc.validation.matching import Matching, match_contacts
from imuproc.validation.sequence import align_sequences, durations

BoolArray = NDArray[np.bool_]


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
    """

    window_s: float = 0.05
    covers_s: tuple[float, float] | None = None


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
    table_in, reference_in : ndarray of bool
        Whether the other covers it.
    matching : Matching
    """

    steps: pd.DataFrame
    reference: Reference
    clock: Clock | None
    use: CompareSettings
    down_s: FloatArray  # of the reference, on the table's clock
    off_s: FloatArray
    table_in: BoolArray  # within what the reference covers
    reference_in: BoolArray
    matching: Matching


def table_events(steps: pd.DataFrame, covers_s: tuple[float, float] | None = None) -> EventTrain:
    """Events of a step table, as the clock needs them."""
    start, end = covers_s or (np.nan, np.nan)
    side, down, off = (steps[name].to_numpy() for name in ("side", "touchdown_s", "toe_off_s"))
    return event_train(side, down.astype(float), off.astype(float), start, end)


def reference_events(reference: Reference) -> EventTrain:
    """Events of a reference on its own clock."""
    return event_train(
        reference.side,
        reference.touchdown_s,
        reference.toe_off_s,
        reference.start_s,
        reference.end_s,
    )


def aligned(
    steps: pd.DataFrame, reference: Reference, clock: Clock | None, use: CompareSettings
) -> Scene:
    """Clock, coverage and matching."""
    n, m = len(steps), len(reference)
    if not reference.has_clock:
        gone = np.full(m, np.nan)
        matching = _by_durations(steps, reference)
        # Without a clock, what is covered is known only from the first pair to the last.
        table_in, reference_in = np.zeros(n, dtype=bool), np.zeros(m, dtype=bool)
        table_in[matching.table.min() : matching.table.max() + 1] = True
        reference_in[matching.reference.min() : matching.reference.max() + 1] = True
        return Scene(steps, reference, None, use, gone, gone, table_in, reference_in, matching)
    if clock is None:
        clock = clock_from_events(
            table_events(steps, use.covers_s), reference_events(reference), reference.resolution_s
        )
    down, off = clock.to_table(reference.touchdown_s), clock.to_table(reference.toe_off_s)
    seen = np.where(np.isfinite(down), down, off)
    start, end = clock.to_table([reference.start_s, reference.end_s])
    start = start if np.isfinite(start) else np.nanmin(seen) - use.window_s
    end = end if np.isfinite(end) else np.nanmax(np.fmax(seen, off)) + use.window_s
    ours = when_of(steps)
    table_in = (ours >= start) & (ours <= end)
    low, high = use.covers_s or (-np.inf, np.inf)
    reference_in = (seen >= low) & (seen <= high)
    sides = (steps["side"].to_numpy(), np.asarray(reference.side, dtype=object))
    inside = match_contacts(
        (
            sides[0][table_in],
            *(column_of(steps, c)[table_in] for c in ("touchdown_s", "toe_off_s")),
        ),
        (sides[1][reference_in], down[reference_in], off[reference_in]),
        use.window_s,
    )
    at, there = np.flatnonzero(table_in), np.flatnonzero(reference_in)
    matching = Matching(
        at[inside.table],
        there[inside.reference],
        at[inside.table_only],
        there[inside.reference_only],
    )
    return Scene(steps, reference, clock, use, down, off, table_in, reference_in, matching)


def _by_durations(steps: pd.DataFrame, reference: Reference) -> Matching:
    """Matching of a reference without clock; within the pairs, what has none is found or missed."""
    ours = durations(
        steps["side"].to_numpy(),
        column_of(steps, "contact_time_s"),
        column_of(steps, "flight_time_s"),
    )
    theirs = durations(reference.side, reference.contact_time_s, reference.flight_time_s)
    found = align_sequences(ours, theirs)
    rows = np.arange(found.table.min(), found.table.max() + 1)
    columns = np.arange(found.reference.min(), found.reference.max() + 1)
    return Matching(
        found.table,
        found.reference,
        np.setdiff1d(rows, found.table),
        np.setdiff1d(columns, found.reference),
    )


def column_of(steps: pd.DataFrame, name: str) -> FloatArray:
    """A column as numbers; NaN where the table has none."""
    if name not in steps:
        return np.full(len(steps), np.nan)
    return np.asarray(steps[name].to_numpy(dtype=np.float64, na_value=np.nan))


def when_of(steps: pd.DataFrame) -> FloatArray:
    """Touchdown, or toe-off without one."""
    down = column_of(steps, "touchdown_s")
    return np.where(np.isfinite(down), down, column_of(steps, "toe_off_s"))
