"""Contact, flight and step times from the contacts."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.estimators.quantities import Quantity

FloatArray = NDArray[np.float64]


def find_next_step(contacts: Contacts, longest_step_s: float) -> NDArray[np.bool_]:
    """Whether the next contact is the other foot's and follows soon enough, shape (m,).

    Parameters
    ----------
    contacts : Contacts
    longest_step_s : float
        A longer time from one touchdown to the next is a missed step, not a step.
    """
    follows = np.zeros(len(contacts), dtype=bool)
    follows[:-1] = (contacts.side[1:] != contacts.side[:-1]) & (
        np.diff(contacts.touchdown_s) < longest_step_s
    )
    return follows


def compute_timing_quantities(contacts: Contacts, longest_step_s: float) -> dict[str, Quantity]:
    """Event times, contact, flight and step time, step frequency.

    An offset that all touchdowns (or toe-offs) share does not count in the time from one touchdown
    to the next.

    Parameters
    ----------
    contacts : Contacts
        With ``touchdown_rate_u_s`` and ``toe_off_rate_u_s`` (what sampling adds) in the evidence
        where they are known.
    longest_step_s : float
        As for :func:`find_next_step`.

    Returns
    -------
    dict from column name to Quantity
        Parts of the uncertainty: ``event`` (``touchdown`` and ``toe_off`` where both count), how
        well the marks tell the event; ``rate``, what the sampling rate adds; ``reference``, what
        all contacts share against the truth; and ``clock``, where clocks are not one (see
        :func:`imuproc.estimators.clocks.widen_times`).
    """
    down, off = contacts.touchdown_s, contacts.toe_off_s
    down_u, down_rate_u = _split_parts(contacts, "touchdown_rate_u_s", contacts.touchdown_u_s)
    off_u, off_rate_u = _split_parts(contacts, "toe_off_rate_u_s", contacts.toe_off_u_s)
    down_common_u, off_common_u = contacts.touchdown_reference_u_s, contacts.toe_off_reference_u_s
    both_u = np.hypot(down_common_u, off_common_u)
    none = np.zeros(len(contacts))
    clock_u = contacts.evidence.get("clock_u_s", none)
    between_u = contacts.evidence.get("clock_next_u_s", none)
    ok = find_next_step(contacts, longest_step_s)
    step = np.where(ok, _shift_next(down) - down, np.nan)
    step_u = np.hypot(down_u, _shift_next(down_u))
    step_rate_u = np.hypot(down_rate_u, _shift_next(down_rate_u))
    flight = np.where(ok, _shift_next(down) - off, np.nan)
    rate_u = np.hypot(down_rate_u, off_rate_u)
    next_rate_u = np.hypot(_shift_next(down_rate_u), off_rate_u)
    of_step = {"touchdown": step_u, "rate": step_rate_u, "clock": between_u}
    of_contact = {"touchdown": down_u, "toe_off": off_u, "rate": rate_u, "reference": both_u}
    of_flight = {"touchdown": _shift_next(down_u), "toe_off": off_u, "rate": next_rate_u}
    of_flight |= {"clock": between_u, "reference": both_u}
    of_down = {"event": down_u, "rate": down_rate_u, "reference": down_common_u, "clock": clock_u}
    of_off = {"event": off_u, "rate": off_rate_u, "reference": off_common_u, "clock": clock_u}
    return {
        "touchdown_s": Quantity(down, of_down),
        "toe_off_s": Quantity(off, of_off),
        "contact_time_s": Quantity(off - down, of_contact),
        "flight_time_s": Quantity(flight, of_flight),
        "step_time_s": Quantity(step, of_step),
        "step_frequency_hz": Quantity(
            1.0 / step, {n: part / step**2 for n, part in of_step.items()}
        ),
    }


def _split_parts(
    contacts: Contacts, rate_name: str, whole_u: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """An event's uncertainty without what sampling adds, and that; they make up the whole."""
    rate_u = np.minimum(contacts.evidence.get(rate_name, np.zeros(len(contacts))), whole_u)
    return np.sqrt(whole_u**2 - rate_u**2), rate_u


def _shift_next(values: FloatArray) -> FloatArray:
    """Value of the next step, NaN for the last, shape (m,)."""
    return np.append(values[1:], np.nan) if len(values) else values
