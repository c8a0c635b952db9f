"""Which columns a layout wants, and where they stand in a header."""

from dataclasses import dataclass

from imuproc.core.errors import LogError
from imuproc.readers.layout import Layout
from imuproc.readers.wording import did_you_mean, listed, quoted


@dataclass(frozen=True)
class Wanted:
    """One column that the layout asks for.

    Parameters
    ----------
    names : tuple of str
        Names that it may have, the preferred one first; its number as text where the layout
        numbers columns.
    unit : str
        The layout's unit for it.
    signal : str
        ``time``, ``accel`` or ``gyro``.
    """

    names: tuple[str, ...]
    unit: str
    signal: str


def wanted_columns(layout: Layout, select: str | None) -> tuple[Wanted, ...]:
    """Columns to find: time where the layout has it, then accelerometer, then gyroscope.

    Parameters
    ----------
    layout : Layout
    select : str or None
        Prefix of the sensor's columns; the time column may stand without it, shared by all.

    Raises
    ------
    LogError
        The layout names no columns.
    """
    prefix = select or ""
    wanted: list[Wanted] = []
    if layout.time is not None:
        plain = clean_name(str(layout.time.column))
        names = (prefix + plain, plain) if prefix else (plain,)
        wanted.append(Wanted(names, layout.time.unit, "time"))
    for signal, group in (("accel", layout.accel), ("gyro", layout.gyro)):
        if group is None:
            raise LogError(
                "the layout names no columns; this format needs accel and gyro, and time or rate_hz"
            )
        wanted += [
            Wanted((prefix + clean_name(str(column)),), group.unit, signal)
            for column in group.columns
        ]
    return tuple(wanted)


def clean_name(text: str) -> str:
    """A column's name without blanks and quotes of either kind around it."""
    return text.strip().strip("'\"").strip()


def positions(wanted: tuple[Wanted, ...], header: list[str]) -> tuple[int, ...] | None:
    """Place of each wanted column in a header, from 0; None where one is not there."""
    found = [_position(column, header) for column in wanted]
    return tuple(p for p in found if p is not None) if None not in found else None


def _position(column: Wanted, header: list[str]) -> int | None:
    return next((header.index(name) for name in column.names if name in header), None)


def missing_text(wanted: tuple[Wanted, ...], header: list[str]) -> str:
    """What a header lacks and what it has instead, in words."""
    lacking = [column for column in wanted if _position(column, header) is None]
    present = {column.signal for column in wanted} - {column.signal for column in lacking}
    hints = []
    for column in lacking:
        hint = did_you_mean(column.names[0], header)
        hints.append(quoted(column.names[0]) + hint.replace(" - did", " (did").replace("?", "?)"))
    text = f"missing columns: {', '.join(hints)}; found columns: {listed(header)}"
    for signal, word in (("accel", "accelerometer"), ("gyro", "gyroscope")):
        all_lacking = sum(column.signal == signal for column in lacking) == 3
        if all_lacking and present:
            text += f"; no {word} column was found, and both sensors are needed"
    return text
