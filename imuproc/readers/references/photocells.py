"""Contact and flight times of photocells, without a clock: a row for each contact in order."""

import numpy as np

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.core.units import TIME_TO_S
from imuproc.files.wording import quote
from imuproc.readers.references.contacts import check_contact_count, check_durations
from imuproc.readers.references.layout import PhotocellsLayout
from imuproc.readers.references.request import ReferenceRequest
from imuproc.readers.references.table import read_sides, read_table


def read(request: ReferenceRequest) -> Reference:
    """Read contact and flight times from delimited text.

    Parameters
    ----------
    request : ReferenceRequest
        With a ``PhotocellsLayout``.

    Returns
    -------
    Reference
        Without clock: its contacts are known by their order alone.

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    OSError
        The file cannot be read.
    """
    layout = request.require_layout(PhotocellsLayout)
    columns = layout.columns
    wanted = [columns.contact_time, columns.flight_time, columns.side]
    table = read_table(request.path, [name for name in wanted if name is not None])
    contact = table.parse_numbers(columns.contact_time)
    for line, value in zip(table.lines, contact.tolist(), strict=True):
        if value <= 0.0:
            raise LogError(
                f"line {line}, column {quote(columns.contact_time)}: found {value:g}; allowed: a "
                "time above 0"
            )
    nothing = np.full(len(contact), np.nan)
    flight = nothing if columns.flight_time is None else table.parse_numbers(columns.flight_time)
    check_contact_count(len(contact))
    contact_s = contact * TIME_TO_S[layout.unit]
    check_durations(contact_s)
    return Reference(
        source=request.source,
        side=np.array(read_sides(table, layout, columns.side), dtype=np.str_),
        touchdown_s=nothing,
        toe_off_s=nothing,
        contact_time_s=contact_s,
        flight_time_s=flight * TIME_TO_S[layout.unit],
        kind="photocells",
        has_clock=False,
        resolution_s=1.0 / layout.rate_hz if layout.rate_hz else np.nan,
    )
