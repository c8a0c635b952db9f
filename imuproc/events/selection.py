"""Which coarse contacts are sprint or running steps: walking, jumps and strays are left out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class SelectionSettings:
    """What tells a running step from others.

    Parameters
    ----------
    shortest_contact_s, longest_contact_s : float
        Coarse contact times that are possible in running.
    longest_step_s : float
        From one touchdown to the next; walking steps are longer.
    landing_together_s : float
        Touchdowns of both feet within this time are a jump's landing.
    swing_share : float
        Least forward-swing rate as a share of the run's median; walking swings are slower.
    double_support_s : float
        Largest overlap with the next contact (coarse toe-off is some 0.03 s late).
    """

    shortest_contact_s: float = 0.05
    longest_contact_s: float = 0.45
    longest_step_s: float = 0.55
    landing_together_s: float = 0.06
    swing_share: float = 0.3
    double_support_s: float = 0.08


def running_contacts(contacts: Contacts, settings: SelectionSettings | None = None) -> Contacts:
    """The longest chain of running steps.

    Parameters
    ----------
    contacts : Contacts
        Coarse contacts of one run.
    settings : SelectionSettings, optional

    Returns
    -------
    Contacts
        Empty where fewer than three running steps follow each other.
    """
    settings = settings or SelectionSettings()
    possible = contacts.take(_possible(contacts, settings))
    chain = _longest_chain(possible, settings)
    return chain if len(chain) >= 3 else chain.take(np.zeros(0, dtype=np.int64))


def _possible(contacts: Contacts, settings: SelectionSettings) -> BoolArray:
    """Contacts that can be running steps, each judged by itself and its neighbours."""
    length = contacts.toe_off_s - contacts.touchdown_s
    keep = (length > settings.shortest_contact_s) & (length < settings.longest_contact_s)
    if keep.sum() < 2:
        return keep
    swing = contacts.evidence["swing_rate_radps"]
    keep &= swing > settings.swing_share * np.median(swing[keep])
    other = contacts.side[1:] != contacts.side[:-1]
    together = other & (np.diff(contacts.touchdown_s) < settings.landing_together_s)
    keep[:-1] &= ~together
    keep[1:] &= ~together
    return keep


def _longest_chain(contacts: Contacts, settings: SelectionSettings) -> Contacts:
    """Longest stretch of contacts that follow each other as running steps do."""
    count = len(contacts)
    if count < 2:
        return contacts
    alone = len(set(contacts.side.tolist())) == 1
    longest = settings.longest_step_s * (2.0 if alone else 1.0)
    gap = np.diff(contacts.touchdown_s)
    overlap = contacts.toe_off_s[:-1] - contacts.touchdown_s[1:]
    broken = (gap > longest) | (overlap > settings.double_support_s)
    starts = np.concatenate(([0], np.flatnonzero(broken) + 1))
    ends = np.concatenate((np.flatnonzero(broken) + 1, [count]))
    best = int(np.argmax(ends - starts))
    return contacts.take(np.arange(starts[best], ends[best]))
