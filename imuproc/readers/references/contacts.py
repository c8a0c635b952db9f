"""Contacts of a reference: put in order, or refused where they cannot be what they claim."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference, ReferenceKind
from imuproc.core.sites import SIDES
from imuproc.readers.references.request import ReferenceRequest

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

MIN_CONTACT_COUNT: Final = 3
"""With fewer there is nothing to compare; chosen: two steps are between three contacts."""
_CONTACT_RANGE_S: Final = (0.02, 2.0)
"""Contacts of running and walking last between these; wide, to catch wrong units only."""


@dataclass(frozen=True, eq=False)
class RawContacts:
    """Contacts as a file tells them, in the file's own unit.

    Parameters
    ----------
    side : sequence of str, length m
        ``left``, ``right`` or empty.
    touchdown, toe_off : ndarray, shape (m,)
        NaN where an event was not seen.
    where : sequence of str, length m
        Where each stands in the file, such as ``line 7``.
    per_second : float
        Units in a second.
    angles : mapping from str to ndarray, shape (m,)
        In deg.
    """

    side: Sequence[str]
    touchdown: FloatArray
    toe_off: FloatArray
    where: Sequence[str]
    per_second: float
    angles: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class OrderedContacts:
    """Contacts in order of time, in s."""

    side: NDArray[np.str_]
    touchdown_s: FloatArray
    toe_off_s: FloatArray
    angles: Mapping[str, FloatArray]


def order_contacts(raw: RawContacts) -> OrderedContacts:
    """Contacts in order of time.

    Parameters
    ----------
    raw : RawContacts
        Within a side in order of time.

    Returns
    -------
    OrderedContacts

    Raises
    ------
    LogError
        Fewer than three contacts, events out of order, a contact twice, or times that cannot be
        those of contacts.
    """
    for k, where in enumerate(raw.where):
        _check_contact(float(raw.touchdown[k]), float(raw.toe_off[k]), where)
    first_seen = np.where(np.isfinite(raw.touchdown), raw.touchdown, raw.toe_off)
    for side in ("", *SIDES):
        own = [k for k, found in enumerate(raw.side) if found == side]
        for earlier, later in pairwise(own):
            _check_pair(raw, first_seen, earlier, later)
    check_contact_count(len(first_seen))
    check_durations((raw.toe_off - raw.touchdown) / raw.per_second)
    order = np.argsort(first_seen, kind="stable")
    return OrderedContacts(
        side=np.array(list(raw.side), dtype=np.str_)[order],
        touchdown_s=raw.touchdown[order] / raw.per_second,
        toe_off_s=raw.toe_off[order] / raw.per_second,
        angles={name: values[order] for name, values in raw.angles.items()},
    )


def check_contact_count(count: int) -> None:
    """Refuse fewer than three contacts."""
    if count < MIN_CONTACT_COUNT:
        raise LogError(
            f"found {count} contact{'' if count == 1 else 's'}; allowed: {MIN_CONTACT_COUNT} or "
            "more"
        )


def _check_contact(touchdown: float, toe_off: float, where: str) -> None:
    if np.isnan(touchdown) and np.isnan(toe_off):
        raise LogError(f"{where}: found neither touchdown nor toe-off; allowed: at least one")
    if toe_off <= touchdown:
        raise LogError(
            f"{where}: found toe-off at {toe_off:g} and touchdown at {touchdown:g}; allowed: "
            "toe-off after touchdown"
        )


def _check_pair(raw: RawContacts, seen: FloatArray, earlier: int, later: int) -> None:
    where, side = raw.where[later], raw.side[later]
    of_side = f" {side}" if side else ""
    if seen[later] == seen[earlier]:
        raise LogError(
            f"{where}: found the{of_side} contact at {seen[later]:g} again, as in "
            f"{raw.where[earlier]}; allowed: each contact once"
        )
    if seen[later] < seen[earlier]:
        raise LogError(
            f"{where}: found a{of_side} contact at {seen[later]:g} below one at "
            f"{seen[earlier]:g}; allowed: contacts of a side in order of time"
        )
    if raw.toe_off[earlier] >= raw.touchdown[later]:
        raise LogError(
            f"{where}: found a{of_side} touchdown at {raw.touchdown[later]:g}, before the toe-off "
            f"at {raw.toe_off[earlier]:g} in {raw.where[earlier]}; allowed: a foot leaves the "
            "ground before it comes down again (check the side labels)"
        )


def check_durations(contact_s: FloatArray) -> None:
    """Refuse contact times in s that can only come from a wrong unit."""
    known = contact_s[np.isfinite(contact_s)]
    if len(known) and not _CONTACT_RANGE_S[0] <= np.median(known) <= _CONTACT_RANGE_S[1]:
        raise LogError(
            f"found contacts that last {np.median(known):.4g} s in the middle; allowed: "
            f"{_CONTACT_RANGE_S[0]:g} to {_CONTACT_RANGE_S[1]:g} s (check the layout's "
            "unit or frame rate)"
        )


def pair_events(
    touchdowns: Mapping[str, FloatArray], toe_offs: Mapping[str, FloatArray]
) -> tuple[RawContacts, tuple[str, ...]]:
    """Contacts from single events: each touchdown with the toe-off before the side's next one.

    Parameters
    ----------
    touchdowns, toe_offs : mapping from str to ndarray
        Times in s by side.

    Returns
    -------
    RawContacts
        A toe-off that follows no touchdown of its own is left out; a touchdown without toe-off
        stays, with NaN.
    notes : tuple of str
        What was left out.

    Raises
    ------
    LogError
        An event of a side twice.
    """
    side: list[str] = []
    rows: list[tuple[float, float]] = []
    spare = 0
    for name in SIDES:
        on, off = np.sort(touchdowns.get(name, [])), np.sort(toe_offs.get(name, []))
        for events, word in ((on, "touchdown"), (off, "toe-off")):
            twice = np.flatnonzero(np.diff(events) == 0.0)
            if len(twice):
                raise LogError(
                    f"found the {name} {word} at {events[twice[0]]:g} s twice; allowed: once"
                )
        slot = np.searchsorted(on, off, side="left") - 1  # touchdown that each toe-off follows
        used: dict[int, float] = {}
        for place, time in zip(slot.tolist(), off.tolist(), strict=True):
            if place < 0 or place in used:
                spare += 1
            else:
                used[place] = time
        own = [(float(time), used.get(k, np.nan)) for k, time in enumerate(on)]
        side += [name] * len(own)
        rows += own
    events = np.array(rows, dtype=np.float64).reshape(-1, 2)
    text = f"Toe-offs without a touchdown of their own that were left out: {spare}."
    notes = (text,) if spare else ()
    where = [f"{name} contact at {time:g} s" for name, (time, _) in zip(side, rows, strict=True)]
    return RawContacts(side, events[:, 0], events[:, 1], where, 1.0), notes


def build_reference(
    request: ReferenceRequest,
    contacts: OrderedContacts,
    kind: ReferenceKind,
    resolution_s: float,
    threshold_n: float | None,
    notes: tuple[str, ...] = (),
) -> Reference:
    """A reference whose events have times: durations follow from them.

    Parameters
    ----------
    request : ReferenceRequest
    contacts : OrderedContacts
    kind : ReferenceKind
    resolution_s : float
        Interval between frames or samples in s; NaN where it is not known.
    threshold_n : float or None
        Vertical force in N that counts as contact.
    notes : tuple of str
    """
    nothing = np.full(len(contacts.touchdown_s), np.nan)
    return Reference(
        source=request.source,
        side=contacts.side,
        touchdown_s=contacts.touchdown_s,
        toe_off_s=contacts.toe_off_s,
        contact_time_s=nothing,
        flight_time_s=nothing,
        kind=kind,
        has_clock=True,
        resolution_s=resolution_s,
        threshold_n=threshold_n,
        angles=contacts.angles,
        start_s=request.covers_s[0],
        end_s=request.covers_s[1],
        notes=notes,
    )
