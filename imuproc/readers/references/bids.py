"""References from a BIDS ``_events.tsv``: onset and duration in s, and a word for what happened.

Columns as in the Brain Imaging Data Structure's task events: ``onset`` and ``duration`` are there
always, ``trial_type`` or another column holds the word.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from imuproc.core.errors import LogError
from imuproc.core.reference import Reference
from imuproc.core.sites import SIDES, Side
from imuproc.files.wording import quote, quote_all
from imuproc.readers.references.contacts import (
    RawContacts,
    build_reference,
    order_contacts,
    pair_events,
)
from imuproc.readers.references.layout import BidsEventsLayout
from imuproc.readers.references.request import ReferenceRequest
from imuproc.readers.references.table import TextTable, read_table

FloatArray = NDArray[np.float64]


def read(request: ReferenceRequest) -> Reference:
    """Read contacts from an events file.

    Parameters
    ----------
    request : ReferenceRequest
        With a ``BidsEventsLayout``.

    Returns
    -------
    Reference
        Times in s as the file's onsets count them; rows whose word the layout does not name are
        passed over and counted in the notes.

    Raises
    ------
    LogError
        The text names line and column, what was found and what is allowed.
    OSError
        The file cannot be read.
    """
    layout = request.require_layout(BidsEventsLayout)
    table = read_table(request.path, ["onset", "duration", layout.column])
    words = table.get_texts(layout.column)
    known = {**layout.contacts, **layout.touchdowns, **layout.toe_offs}
    for word in known:
        if word not in words:
            raise LogError(
                f"column {quote(layout.column)}: found no row {quote(word)}, which the layout "
                f"names; found: {quote_all(sorted(set(words))[:12])}"
            )
    raw, notes = (
        (_read_lasting_events(table, words, layout), ())
        if layout.contacts
        else _read_single_events(table, words, layout)
    )
    other = sum(word not in known for word in words)
    if other:
        notes = (*notes, f"Rows of other kinds that were passed over: {other}.")
    resolution_s = 1.0 / layout.rate_hz if layout.rate_hz else np.nan
    threshold_n = layout.threshold_n
    return build_reference(
        request, order_contacts(raw), layout.kind, resolution_s, threshold_n, notes
    )


def _read_onsets(table: TextTable) -> FloatArray:
    onset = table.parse_numbers("onset")
    for line, value in zip(table.lines, onset.tolist(), strict=True):
        if np.isnan(value):
            raise LogError(f"line {line}, column 'onset': found nothing; allowed: a time in s")
    return onset


def _read_lasting_events(
    table: TextTable, words: list[str], layout: BidsEventsLayout
) -> RawContacts:
    """Contacts from rows that last as long as the contact."""
    rows = [k for k, word in enumerate(words) if word in layout.contacts]
    onset, duration = _read_onsets(table)[rows], table.parse_numbers("duration")[rows]
    return RawContacts(
        side=[layout.contacts[words[k]] for k in rows],
        touchdown=onset,
        toe_off=onset + duration,
        where=[f"line {table.lines[k]}" for k in rows],
        per_second=1.0,
    )


def _read_single_events(
    table: TextTable, words: list[str], layout: BidsEventsLayout
) -> tuple[RawContacts, tuple[str, ...]]:
    """Contacts from rows for single events."""
    onset = _read_onsets(table)

    def select_times(meaning: Mapping[str, Side]) -> dict[str, FloatArray]:
        of = np.array([meaning.get(word, "") for word in words])
        return {side: onset[of == side] for side in SIDES}

    return pair_events(select_times(layout.touchdowns), select_times(layout.toe_offs))
