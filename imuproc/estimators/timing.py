"""Contact, flight and step times from the contacts."""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.estimators.figures import Figure

FloatArray = NDArray[np.float64]

_SAME_RUN_S = 0.8
"""A longer time from one touchdown to the next is a missed step, not a step."""


def next_step(contacts: Contacts) -> NDArray[np.bool_]:
    """Whether the next contact is the other foot's and follows soon enough, shape (m,)."""
    follows = np.zeros(len(contacts), dtype=bool)
    follows[:-1] = (contacts.side[1:] != contacts.side[:-1]) & (
        np.diff(contacts.touchdown_s) < _SAME_RUN_S
    )
    return follows


def timing_figures(contacts: Contacts) -> dict[str, Figure]:
    """Event times, contact, flight and step time, step frequency.

    An offset that all touchdowns (or toe-offs) share does not count in the time from one touchdown
    to the next.

    Parameters
    ----------
    contacts : Contacts
        With ``touchdown_random_u_s`` in the evidence where it is known.

    Returns
    -------
    dict from column name to Figure
    """
    down, off = contacts.touchdown_s, contacts.toe_off_s
    down_u, off_u = contacts.touchdown_u_s, contacts.toe_off_u_s
    random_u = contacts.evidence.get("touchdown_random_u_s", down_u)
    ok = next_step(contacts)
    step = np.where(ok, _following(down) - down, np.nan)
    step_u = np.hypot(random_u, _following(random_u))
    flight = np.where(ok, _following(down) - off, np.nan)
    return {
        "touchdown_s": Figure(down, {"event": down_u}),
        "toe_off_s": Figure(off, {"event": off_u}),
        "contact_time_s": Figure(off - down, {"touchdown": down_u, "toe_off": off_u}),
        "flight_time_s": Figure(flight, {"touchdown": _following(down_u), "toe_off": off_u}),
        "step_time_s": Figure(step, {"touchdown": step_u}),
        "step_frequency_hz": Figure(1.0 / step, {"touchdown": step_u / step**2}),
    }


def _following(values: FloatArray) -> FloatArray:
    """Value of the next step, NaN for the last, shape (m,)."""
    return np.append(values[1:], np.nan) if len(values) else values
