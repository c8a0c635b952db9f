"""How the clock of a reference stands to that of the step table.

Found from the events themselves, or given by an instant that both saw. A shift by a step or a
stride looks much like the truth: an offset is taken only where all others together are far less
likely, and refused otherwise.
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from imuproc.agreement.alignment.offsets import Fits, fit_offsets
from imuproc.agreement.events import EventTrain, FloatArray
from imuproc.core.errors import RunError

ClockSource = Literal["events", "instant", "same clock"]


LEAST_LOG_ODDS: Final = float(np.log(1e6))
"""Natural logarithm of the odds at which an alignment is taken."""


class ClockError(RunError):
    """The clocks of table and reference cannot be brought together without doubt."""


@dataclass(frozen=True)
class ClockSettings:
    """Numbers of :func:`clock_from_events`.

    Parameters
    ----------
    least_log_odds : float
        Natural logarithm of the odds of the best offset against all others together. The default
        is a million to 1, as such odds are only as good as the model behind them.
    same_offset_s : float
        Offsets nearer than this are the same.
    least_matched : int
        Events that must coincide.
    least_share : float
        Share of the shorter row's events that must coincide.
    most_scatter_s : float
        SD of matched events beyond what the reference's resolution explains.
    doubtful_scatter_s : float
        From here on the scatter is remarked on.
    drift_limit : float
        Largest difference of clock rates that is looked for, s per s.
    known_drift_u : float
        A drift that is not known to this is not reported as found.
    """

    least_log_odds: float = LEAST_LOG_ODDS
    same_offset_s: float = 0.03
    least_matched: int = 8
    least_share: float = 0.4
    most_scatter_s: float = 0.010
    doubtful_scatter_s: float = 0.006
    drift_limit: float = 0.002
    known_drift_u: float = 50e-6


@dataclass(frozen=True)
class Clock:
    """Relation of the reference's clock to the table's.

    ``reference = table + offset_s + drift * (table - at_s)``.

    Parameters
    ----------
    source : {"events", "instant", "same clock"}
        Where it is from. With ``events`` a delay that touchdowns and toe-offs share is taken for
        offset: the bias of event times cannot be seen any more, that of contact times can.
    offset_s, offset_u_s : float
        Reference minus table at ``at_s`` and its standard uncertainty.
    drift, drift_u : float
        By how much more the reference's clock runs, s per s, and its standard uncertainty. Where
        the events do not tell it, their best guess is kept with a large uncertainty.
    at_s : float
        Time of the table.
    correlation : float
        Of the errors of offset and drift.
    matched_events : int
        Events that coincide; 0 unless from events.
    scatter_s : float
        SD of a coinciding event; NaN unless from events.
    contact_bias_s : float
        By how much longer the reference's contacts are; NaN unless from events.
    log_odds : float
        Natural logarithm of the odds of this offset against all others; NaN unless from events.
    next_best_s : float
        By how much the likeliest other offset differs; NaN where there is none.
    notes : tuple of str
        Remarks, a sentence each.
    """

    source: ClockSource
    offset_s: float
    offset_u_s: float
    at_s: float
    drift: float = 0.0
    drift_u: float = 0.0
    correlation: float = 0.0
    matched_events: int = 0
    scatter_s: float = np.nan
    contact_bias_s: float = np.nan
    log_odds: float = np.nan
    next_best_s: float = np.nan
    notes: tuple[str, ...] = ()

    def to_table(self, reference_s: ArrayLike) -> FloatArray:
        """Times of the reference on the table's clock, in s."""
        from_middle = np.asarray(reference_s, dtype=np.float64) - self.at_s - self.offset_s
        return np.asarray(self.at_s + from_middle / (1.0 + self.drift))

    def to_reference(self, table_s: ArrayLike) -> FloatArray:
        """Times of the table on the reference's clock, in s."""
        table = np.asarray(table_s, dtype=np.float64)
        return np.asarray(table + self.offset_s + self.drift * (table - self.at_s))

    def u_at(self, table_s: ArrayLike) -> FloatArray:
        """Standard uncertainty of the relation at times of the table, in s."""
        drifted = (np.asarray(table_s, dtype=np.float64) - self.at_s) * self.drift_u
        both = 2.0 * self.correlation * self.offset_u_s * drifted
        return np.asarray(np.sqrt(np.maximum(self.offset_u_s**2 + both + drifted**2, 0.0)))


def clock_from_instant(table_s: float, reference_s: float, u_s: float, drift_u: float) -> Clock:
    """Clock from one instant that both saw (a light, a clap, a trigger).

    Parameters
    ----------
    table_s, reference_s : float
        The instant on either clock.
    u_s : float
        Standard uncertainty of their difference in s; an instant known to within one frame of
        length T has T/√12.
    drift_u : float
        Standard uncertainty of the ratio of rates, s per s; 50e-6 is usual for two crystals
        (common practice, no source).

    Raises
    ------
    ClockError
        If a number is not finite or an uncertainty is negative.
    """
    if not np.isfinite([table_s, reference_s, u_s, drift_u]).all() or u_s < 0.0 or drift_u < 0.0:
        raise ClockError(
            f"sync instant: found {table_s} and {reference_s} s with uncertainty {u_s} s, "
            f"drift {drift_u}; all must be numbers, uncertainties not negative"
        )
    return Clock(
        "instant", offset_s=reference_s - table_s, offset_u_s=u_s, at_s=table_s, drift_u=drift_u
    )


def clock_from_events(
    table: EventTrain,
    reference: EventTrain,
    resolution_s: float,
    settings: ClockSettings | None = None,
) -> Clock:
    """Offset and drift from the events themselves, or a refusal.

    Candidates are all offsets at which events coincide and at least half of the shorter row is
    common to both. Each is fitted (offset, drift, toe-offs apart from touchdowns, scatter; events
    missed and false on either side) and weighed by how much better the table foretells the
    reference's events than the reference's own rhythm does, so that steps which come like clockwork
    count for nothing. Sides count where both know them, and that all could be swapped is weighed
    too. Own method; the fit is expectation maximisation (Dempster, Laird & Rubin 1977, J R Stat Soc
    B 39:1; from memory).

    Parameters
    ----------
    table, reference : EventTrain
        On their own clocks.
    resolution_s : float
        Frame or sampling interval of the reference; NaN if unknown. Half a frame either way, a
        matter of which frame is noted, enters the uncertainty of the offset.
    settings : ClockSettings, optional

    Returns
    -------
    Clock

    Raises
    ------
    ClockError
        If too few events coincide, another offset is about as likely, sides look swapped, or the
        two do not look like the same run.
    """
    use = settings or ClockSettings()
    if min(len(table), len(reference)) < use.least_matched:
        raise ClockError(
            f"clocks cannot be aligned by events: found {len(table)} in the table and "
            f"{len(reference)} in the reference, needed {use.least_matched} in both; "
            "give an instant that both saw"
        )
    fits = fit_offsets(table, reference, resolution_s, use.drift_limit)
    if not len(fits):
        raise ClockError(
            "clocks cannot be aligned by events: none of the table and the reference coincide"
        )
    best = int(np.argmax(fits.log_evidence))
    _check_sides(table, reference, float(fits.log_evidence[best]), resolution_s, use)
    far = np.abs(fits.offset_s - fits.offset_s[best]) > use.same_offset_s
    log_odds = fits.log_evidence[best] - np.logaddexp.reduce(
        fits.log_evidence[far], initial=-np.inf
    )
    rival = int(np.argmax(np.where(far, fits.log_evidence, -np.inf))) if far.any() else best
    next_best = float(fits.offset_s[rival] - fits.offset_s[best]) if far.any() else np.nan
    _check_related(fits, best, min(len(table), len(reference)), resolution_s, use)
    if log_odds < use.least_log_odds:
        raise ClockError(
            f"clocks cannot be aligned by events without doubt: an offset of "
            f"{fits.offset_s[best]:.3f} s and one {next_best:+.3f} s from it fit about as well "
            f"(odds {format_odds(log_odds)}, needed {format_odds(use.least_log_odds)}); the "
            "steps are too regular or too few; give an instant that both saw"
        )
    clock = _make_clock(fits, best, resolution_s, use)
    return replace(clock, log_odds=float(log_odds), next_best_s=next_best)


def format_odds(log_odds: float) -> str:
    """Odds of that natural logarithm, as people say them."""
    return f"{np.exp(min(float(log_odds), 30.0)):.3g} to 1"


def _check_sides(
    table: EventTrain,
    reference: EventTrain,
    log_evidence: float,
    resolution_s: float,
    use: ClockSettings,
) -> None:
    """Refuse where the events coincide much better with left and right exchanged."""
    if not table.side.any() or not reference.side.any():
        return
    swapped = fit_offsets(
        table, replace(reference, side=-reference.side), resolution_s, use.drift_limit
    )
    gain = swapped.log_evidence.max() - log_evidence
    if gain > use.least_log_odds:
        at = int(np.argmax(swapped.log_evidence))
        raise ClockError(
            f"left and right look exchanged in the reference or the table: "
            f"{swapped.matched[at]:.0f} events coincide at an offset of "
            f"{swapped.offset_s[at]:.3f} s, with the other side's label; correct the sides"
        )


def _check_related(
    fits: Fits, best: int, events: int, resolution_s: float, use: ClockSettings
) -> None:
    """Refuse where even the best offset does not make the two look like one run."""
    least = max(use.least_matched, use.least_share * events)
    most = float(np.hypot(use.most_scatter_s, np.nan_to_num(resolution_s) / np.sqrt(12.0)))
    if fits.matched[best] < least or fits.scatter_s[best] > most:
        raise ClockError(
            f"table and reference do not look like the same run: at the best offset "
            f"{fits.matched[best]:.0f} of {events} events coincide with a scatter of "
            f"{1e3 * fits.scatter_s[best]:.1f} ms (needed {least:.0f}, at most {1e3 * most:.1f} ms)"
        )


def _make_clock(fits: Fits, best: int, resolution_s: float, use: ClockSettings) -> Clock:
    """The chosen fit as a clock."""
    covariance = fits.covariance[best]
    offset_u, drift_u = float(np.sqrt(covariance[0, 0])), float(np.sqrt(covariance[1, 1]))
    frame = np.nan_to_num(resolution_s) / np.sqrt(12.0)
    whole_u = float(np.hypot(offset_u, frame))
    notes = []
    if drift_u > use.known_drift_u:
        notes.append(
            f"The events do not tell a drift of the clocks (±{1e6 * drift_u:.0f} ppm is left open)."
        )
    if fits.scatter_s[best] > use.doubtful_scatter_s:
        notes.append(
            f"Coinciding events scatter by {1e3 * fits.scatter_s[best]:.1f} ms: make sure that "
            "table and reference are of the same run."
        )
    if fits.same_side[best] < 0.9:
        notes.append(
            f"{100 * (1 - fits.same_side[best]):.0f} % of coinciding events bear different sides."
        )
    return Clock(
        "events",
        offset_s=float(fits.offset_s[best]),
        offset_u_s=whole_u,
        at_s=fits.at_s,
        drift=float(fits.drift[best]),
        drift_u=drift_u,
        correlation=float(covariance[0, 1]) / (whole_u * drift_u),
        matched_events=round(float(fits.matched[best])),
        scatter_s=float(fits.scatter_s[best]),
        contact_bias_s=float(fits.apart_s[best]),
        notes=tuple(notes),
    )
