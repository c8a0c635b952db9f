"""Which contacts are sprint or running steps: walking, jumps and strays are left out.

Running has short contacts and no double support; a chain of running steps follows on itself. One
contact that was not found leaves a gap in the chain, walking ends it.
"""

import numpy as np
from numpy.typing import NDArray

from imuproc.core.contacts import Contacts
from imuproc.dsp.medians import median
from imuproc.files.settings_model import TRIED, StageSettings, number

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


FEWEST_STEPS = 3
"""Fewer steps that follow each other are no running."""
_ENOUGH_TO_TELL = 6
"""Pairs of contacts that tell whether feet alternate."""


class SelectionSettings(StageSettings):
    """What tells a running step from others."""

    basis = TRIED
    shortest_contact_s: float = number(
        0.05, (0.0, 0.5), "A contact as short as this is not possible in running."
    )
    longest_contact_s: float = number(0.45, (0.1, 5.0), "A contact as long as this is walking.")
    longest_step_s: float = number(
        0.55, (0.1, 5.0), "From one touchdown to the next; walking steps are longer."
    )
    landing_together_s: float = number(
        0.06, (0.0, 0.5), "Touchdowns of both feet within this time are a jump's landing."
    )
    double_support_s: float = number(
        0.05, (0.0, 0.5), "A contact that overlaps longer with both its neighbours is walking."
    )
    longest_duty: float = number(
        0.53,
        (0.1, 1.0),
        "Largest share of its own stride that a foot is on the ground.",
        "about 0.6 in walking, at most 0.45 in running (from memory)",
        unit="",
    )
    stray_contact: float = number(
        1.7,
        (1.0, 10.0),
        "A contact this many times as long as those around it has a wrong event.",
        unit="",
    )
    short_contact: float = number(
        0.5,
        (0.0, 1.0),
        "So has one that is shorter than this share of those around it.",
        unit="",
    )
    missed_steps: float = number(
        2.4,
        (1.0, 10.0),
        "Two touchdowns of the same foot so many steps apart still belong together.",
    )
    most_hops: float = number(
        0.35,
        (0.0, 1.0),
        "Where more than this share of contacts follow one of the same foot, the athlete skips or "
        "hops: feet alternate in running, but for contacts that were not found.",
        unit="",
    )
    end_contact_share: float = number(
        0.6,
        (0.0, 1.0),
        "An end of the chain whose contact is shorter than this share of its neighbours' is no "
        "step.",
    )

    ordered = (("shortest_contact_s", "longest_contact_s"), ("short_contact", "stray_contact"))


def select_running_contacts(contacts: Contacts, settings: SelectionSettings) -> Contacts:
    """The longest chain of running steps.

    Parameters
    ----------
    contacts : Contacts
        Coarse or refined contacts of one run, in order of touchdown.
    settings : SelectionSettings

    Returns
    -------
    Contacts
        Empty where fewer than three running steps follow each other, and where feet hop. A single
        missed contact inside leaves two touchdowns of one foot in a row.
    """
    if _is_hopping(contacts, settings):
        return contacts.take(np.zeros(0, dtype=np.int64))
    contacts = contacts.take(~_find_stray(contacts, settings))
    walked = _find_walked(contacts, settings)
    keep = ~walked & ~_find_impossible(contacts, settings)
    # Walking between two contacts parts them, however close they are.
    parted = np.diff(np.cumsum(walked)[keep]) > 0
    possible = contacts.take(keep)
    chain = _drop_wrong_ends(_find_longest_chain(possible, parted, settings), settings)
    return chain if len(chain) >= FEWEST_STEPS else chain.take(np.zeros(0, dtype=np.int64))


def _is_hopping(contacts: Contacts, settings: SelectionSettings) -> bool:
    """Whether feet do not alternate, with sensors on both legs and enough contacts to tell."""
    same = contacts.side[1:] == contacts.side[:-1]
    enough = len(same) >= _ENOUGH_TO_TELL and not same.all()
    return enough and float(same.mean()) > settings.most_hops


def _find_stray(contacts: Contacts, settings: SelectionSettings) -> BoolArray:
    """Contacts that are nothing like the three before and the three after: an event is wrong."""
    length = contacts.toe_off_s - contacts.touchdown_s
    around = np.concatenate(([np.nan] * 3, length, [np.nan] * 3))
    beside = np.stack([around[k : k + len(length)] for k in (0, 1, 2, 4, 5, 6)])
    whole = np.isfinite(beside).all(axis=0)
    usual = np.where(whole, median(beside), length)
    long, short = settings.stray_contact * usual, settings.short_contact * usual
    return np.asarray((length > long) | (length < short))


def _find_walked(contacts: Contacts, settings: SelectionSettings) -> BoolArray:
    """Contacts of walking: long, or for most of the foot's own stride, or in double support."""
    length = contacts.toe_off_s - contacts.touchdown_s
    stride = np.full(len(contacts), np.inf)
    for side in np.unique(contacts.side):
        own = np.flatnonzero(contacts.side == side)
        stride[own[:-1]] = np.diff(contacts.touchdown_s[own])
    walked = (length >= settings.longest_contact_s) | (length > settings.longest_duty * stride)
    other = contacts.side[1:] != contacts.side[:-1]
    overlap = other & (
        contacts.toe_off_s[:-1] - contacts.touchdown_s[1:] > settings.double_support_s
    )
    # A running step next to walking is in double support at one end only.
    walked[1:-1] |= overlap[:-1] & overlap[1:]
    return np.asarray(walked)


def _find_impossible(contacts: Contacts, settings: SelectionSettings) -> BoolArray:
    """Contacts too short to be one, and landings on both feet."""
    wrong = contacts.toe_off_s - contacts.touchdown_s <= settings.shortest_contact_s
    other = contacts.side[1:] != contacts.side[:-1]
    together = other & (np.diff(contacts.touchdown_s) < settings.landing_together_s)
    wrong[:-1] |= together
    wrong[1:] |= together
    return np.asarray(wrong)


def _find_longest_chain(
    contacts: Contacts, parted: BoolArray, settings: SelectionSettings
) -> Contacts:
    """Longest stretch of contacts that follow each other as running steps do."""
    count = len(contacts)
    if count < 2:
        return contacts
    alone = len(set(contacts.side.tolist())) == 1
    longest = settings.longest_step_s * (2.0 if alone else 1.0)
    step = np.diff(contacts.touchdown_s)
    same = contacts.side[1:] == contacts.side[:-1]
    follows = (step <= longest) & (alone | ~same)
    # One contact that was not found: the same foot again, two steps on.
    missed = same & (step < settings.missed_steps * _compute_usual_step_s(step, follows))
    broken = parted | ~(follows | missed)
    starts = np.concatenate(([0], np.flatnonzero(broken) + 1))
    ends = np.concatenate((np.flatnonzero(broken) + 1, [count]))
    best = int(np.argmax(ends - starts))
    return contacts.take(np.arange(starts[best], ends[best]))


def _compute_usual_step_s(step: FloatArray, follows: BoolArray) -> FloatArray:
    """Median duration of the two whole steps before and after each step; NaN if none."""
    whole = np.concatenate(([np.nan] * 2, np.where(follows, step, np.nan), [np.nan] * 2))
    beside = np.stack([whole[k : k + len(step)] for k in (0, 1, 3, 4)])
    return median(beside)


def _drop_wrong_ends(chain: Contacts, settings: SelectionSettings) -> Contacts:
    """The chain without ends whose contact is far too short: their toe-off is wrong."""
    length = chain.toe_off_s - chain.touchdown_s
    first, last = 0, len(chain)
    while last - first > 3 and length[first] < settings.end_contact_share * float(
        median(length[first + 1 : first + 4])
    ):
        first += 1
    while last - first > 3 and length[last - 1] < settings.end_contact_share * float(
        median(length[last - 4 : last - 1])
    ):
        last -= 1
    return chain.take(np.arange(first, last))
