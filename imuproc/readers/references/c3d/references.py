"""References from C3D files: events from force plates or as stored, angles from markers."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.core.sites import SIDES, Side
from imuproc.dsp.force import force_contacts
from imuproc.files.wording import quote, quote_all
from imuproc.readers.references.c3d.markers import (
    Legs,
    measure_angles,
    measure_standing_offsets,
    read_legs,
)
from imuproc.readers.references.c3d.trial import C3dFile, Plates, open_c3d
from imuproc.readers.references.contacts import (
    OrderedContacts,
    RawContacts,
    build_reference,
    order_contacts,
    pair_events,
)
from imuproc.readers.references.layout import SIDE_WORDS, C3dLayout
from imuproc.readers.references.request import ReferenceRequest

FloatArray = NDArray[np.float64]


def read(request: ReferenceRequest) -> Reference:
    """Read contacts and angles from a C3D file.

    Parameters
    ----------
    request : ReferenceRequest
        With a ``C3dLayout``.

    Returns
    -------
    Reference
        Times on the file's clock, which counts from frame 1 of the capture. Its resolution is the
        sampling interval of the plates, or that of the frames where events are stored ones.

    Raises
    ------
    LogError
        The file lacks what the layout asks for, or cannot be read.
    OSError
        The file cannot be read.
    """
    layout = request.require_layout(C3dLayout)
    file = open_c3d(request.path)
    legs = read_legs(file, layout)
    by_force = layout.events == "force"
    events = (
        _find_force_events(file, layout, legs) if by_force else _read_stored_events(file, layout)
    )
    contacts, notes = events.contacts, list(events.notes)
    angles: dict[str, FloatArray] = {}
    if legs is not None:
        offsets = _measure_standing(request, layout, legs)
        if offsets is None:
            notes.append(
                "Angles are those of the lines between markers: there is no standing trial."
            )
        times = {"touchdown": contacts.touchdown_s, "toe_off": contacts.toe_off_s}
        angles = measure_angles(legs, contacts.side, times, offsets)
    made = build_reference(
        request,
        replace(contacts, angles=angles),
        "force plate" if by_force else "events",
        events.resolution_s,
        layout.threshold_n if by_force else None,
        tuple(notes),
    )
    return replace(
        made,
        angle_resolution_s=1.0 / file.frame_rate_hz if angles else np.nan,
        left_out_s=events.left_out_s,
    )


def _measure_standing(
    request: ReferenceRequest, layout: C3dLayout, legs: Legs
) -> dict[tuple[Side, str], float] | None:
    if request.standing is None:
        return None
    try:
        return measure_standing_offsets(open_c3d(request.standing), layout, legs)
    except LogError as error:
        raise LogError(f"standing trial {request.standing_source}: {error}") from error


@dataclass(frozen=True, eq=False)
class _Events:
    """Contacts, what to say of them, the interval behind their times, and those not given."""

    contacts: OrderedContacts
    notes: tuple[str, ...]
    resolution_s: float
    left_out_s: tuple[float, ...] = ()


def _read_stored_events(file: C3dFile, layout: C3dLayout) -> _Events:
    stored = file.read_stored_events()
    contexts = stored.contexts
    wanted = (layout.touchdown_label, layout.toe_off_label)
    sides = [SIDE_WORDS.get(context.casefold(), "") for context in contexts]
    found: list[dict[str, FloatArray]] = []
    for word in wanted:
        of = np.array([label.casefold() == word.casefold() for label in stored.labels])
        if not of.any():
            raise LogError(
                f"found no stored event {quote(word)}; found: "
                f"{quote_all(sorted(set(stored.labels)))}"
            )
        bad = next((c for c, s, o in zip(contexts, sides, of, strict=True) if o and not s), None)
        if bad is not None:
            raise LogError(
                f"found a stored event {quote(word)} with context {quote(bad)}; allowed: 'Left' "
                "or 'Right'"
            )
        found.append({side: stored.time_s[of & (np.array(sides) == side)] for side in SIDES})
    raw, notes = pair_events(found[0], found[1])
    interval_s = 1.0 / file.frame_rate_hz if file.frame_rate_hz else np.nan
    return _Events(order_contacts(raw), notes, interval_s)


def _find_force_events(file: C3dFile, layout: C3dLayout, legs: Legs | None) -> _Events:
    plates = _select_plates(file.read_plates(), layout)
    vertical = plates.force_n[:, :, "xyz".index(layout.up[1])].sum(axis=0)
    # A foot can only press: the largest force tells which sign the file gives to it.
    vertical = vertical * np.sign(vertical[np.argmax(np.abs(vertical))])
    found = force_contacts(plates.time_s, vertical, layout.threshold_n)
    has_on, has_off = np.isfinite(found.touchdown_s), np.isfinite(found.toe_off_s)
    known = has_on | has_off
    one = np.where(has_on, found.touchdown_s, found.toe_off_s)
    middle = np.where(has_on & has_off, 0.5 * (found.touchdown_s + found.toe_off_s), one)
    side, notes = _assign_sides(middle, layout, legs)
    for count, what in (
        (found.cut, "that the record begins or ends in"),
        (found.weak, "with less force than a running step"),
        (int(np.sum(~known)), "without enough flight around them to tell the plate's zero"),
    ):
        if count:
            notes.append(f"Contacts {what} were left out: {count}.")
    over = _find_over_edge(middle, side, plates, legs)
    if len(over) and known[over].any():
        when = ", ".join(f"{middle[k]:.3f} s" for k in over if known[k])
        notes.append(f"Contacts that reach over the edge of a plate were left out: at {when}.")
    keep = known & ~np.isin(np.arange(len(known)), over)
    raw = RawContacts(
        side=[side[k] for k in np.flatnonzero(keep)],
        touchdown=found.touchdown_s[keep],
        toe_off=found.toe_off_s[keep],
        where=[f"contact {k + 1}" for k in np.flatnonzero(keep)],
        per_second=1.0,
    )
    interval_s = float(plates.time_s[1] - plates.time_s[0])
    left_out_s = tuple(float(middle[k]) for k in over if known[k])
    return _Events(order_contacts(raw), tuple(notes), interval_s, left_out_s)


def _select_plates(plates: Plates, layout: C3dLayout) -> Plates:
    if layout.plates is None:
        return plates
    count = len(plates.force_n)
    for number in layout.plates:
        if not 1 <= number <= count:
            raise LogError(f"found no force plate {number}; allowed: 1 to {count}")
    places = [number - 1 for number in layout.plates]
    return Plates(plates.time_s, plates.force_n[places], plates.corners_m[places])


def _assign_sides(
    middle_s: FloatArray, layout: C3dLayout, legs: Legs | None
) -> tuple[list[str], list[str]]:
    """Side of each contact: as stated for the first, or that of the lower foot in mid-contact."""
    if layout.first_side is not None:
        other = SIDES[1 - SIDES.index(layout.first_side)]
        turn = (layout.first_side, other)
        text = f"Sides alternate from the {layout.first_side} foot, as stated."
        return [turn[k % 2] for k in range(len(middle_s))], [text]
    if legs is None:
        text = "Sides are unknown: neither markers nor the first side are stated."
        return [""] * len(middle_s), [text]
    return [legs.find_lower_side(float(time)) for time in middle_s], []


def _find_over_edge(
    middle_s: FloatArray, side: list[str], plates: Plates, legs: Legs | None
) -> list[int]:
    """Contacts whose heel or toe marker is beside all plates in mid-contact."""
    if legs is None:
        return []
    over = []
    for k, (time, name) in enumerate(zip(middle_s.tolist(), side, strict=True)):
        for one in (s for s in SIDES if s == name):
            places = [legs.locate_marker(one, marker, time) for marker in ("heel", "toe")]
            seen = [p for p in places if p is not None and np.isfinite(p).all()]
            if any(not _is_on_any_plate(p, plates.corners_m, legs.up) for p in seen):
                over.append(k)
    return over


def _is_on_any_plate(place: FloatArray, corners_m: FloatArray, up: FloatArray) -> bool:
    """Whether a point is above one of the plates."""
    along = corners_m - place
    following = np.roll(along, -1, axis=1)
    turn = np.cross(along, following) @ up  # the same sign all around where the point is inside
    return bool(((turn >= 0.0).all(axis=1) | (turn <= 0.0).all(axis=1)).any())
