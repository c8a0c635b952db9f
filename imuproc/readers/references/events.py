"""References as delimited text with a row for each contact: by frame number, or by time."""

from dataclasses import replace

import numpy as np

from imuproc.core.reference import Reference
from imuproc.core.units import PER_SECOND
from imuproc.readers.references.contacts import RawContacts, build_reference, order_contacts
from imuproc.readers.references.layout import EventsLayout
from imuproc.readers.references.request import ReferenceRequest
from imuproc.readers.references.table import read_sides, read_table


def read(request: ReferenceRequest) -> Reference:
    """Read contacts from delimited text.

    Parameters
    ----------
    request : ReferenceRequest
        With an ``EventsLayout``.

    Returns
    -------
    Reference
        Frame 0 is at 0 s where events are numbered by frames.

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    OSError
        The file cannot be read.
    """
    layout = request.require_layout(EventsLayout)
    columns = layout.columns
    wanted = [columns.touchdown, columns.toe_off, columns.side, *layout.angles.values()]
    table = read_table(request.path, [name for name in wanted if name is not None])
    where = [f"line {line}" for line in table.lines]
    touchdown = table.parse_numbers(columns.touchdown)
    missing = np.full(len(touchdown), np.nan)
    raw = RawContacts(
        side=read_sides(table, layout, columns.side),
        touchdown=touchdown,
        toe_off=missing if columns.toe_off is None else table.parse_numbers(columns.toe_off),
        where=where,
        per_second=(
            float(layout.frame_rate_hz or np.nan)
            if layout.unit == "frame"
            else PER_SECOND[layout.unit]
        ),
        angles={name: table.parse_numbers(column) for name, column in layout.angles.items()},
    )
    contacts = order_contacts(raw)
    resolution_s = 1.0 / layout.frame_rate_hz if layout.frame_rate_hz else np.nan
    made = build_reference(request, contacts, layout.kind, resolution_s, layout.threshold_n)
    return replace(made, angle_resolution_s=resolution_s if layout.angles else np.nan)
