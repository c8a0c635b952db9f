"""Which columns a layout wants, and where they stand in a header."""

from dataclasses import dataclass

from imuproc.core.errors import LogError
from imuproc.files.wording import quote, quote_all, suggest_word
from imuproc.readers.logs.layout import Layout


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
    plain : str
        Its name without the prefix that ``select`` states.
    """

    names: tuple[str, ...]
    unit: str
    signal: str
    plain: str


def list_wanted_columns(layout: Layout, select: str | None) -> tuple[Wanted, ...]:
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
        wanted.append(Wanted(names, layout.time.unit, "time", plain))
    for signal, group in (("accel", layout.accel), ("gyro", layout.gyro)):
        if group is None:
            raise LogError(
                "the layout names no columns; this format needs accel and gyro, and time or rate_hz"
            )
        plain_names = [clean_name(str(column)) for column in group.columns]
        wanted += [Wanted((prefix + name,), group.unit, signal, name) for name in plain_names]
    return tuple(wanted)


def clean_name(text: str) -> str:
    """A column's name without blanks and quotes of either kind around it."""
    return text.strip().strip("'\"").strip()


def find_positions(wanted: tuple[Wanted, ...], header: list[str]) -> tuple[int, ...] | None:
    """Place of each wanted column in a header, from 0; None where one is not there."""
    found = [_find_position(column, header) for column in wanted]
    return tuple(p for p in found if p is not None) if None not in found else None


def _find_position(column: Wanted, header: list[str]) -> int | None:
    return next((header.index(name) for name in column.names if name in header), None)


def describe_missing(wanted: tuple[Wanted, ...], header: list[str]) -> str:
    """What a header lacks and what it has instead, in words."""
    lacking = [column for column in wanted if _find_position(column, header) is None]
    present = {column.signal for column in wanted} - {column.signal for column in lacking}
    hints = []
    for column in lacking:
        hint = suggest_word(column.names[0], header)
        hints.append(quote(column.names[0]) + hint.replace(" - did", " (did").replace("?", "?)"))
    prefixes = _find_prefixes(wanted, header)
    if prefixes and all(column.signal == "time" or column in lacking for column in wanted):
        more = f" and {len(hints) - 1} more" if len(hints) > 1 else ""
        return (
            f"missing columns: {hints[0]}{more}; state as select what all columns of this sensor "
            f"begin with, here one of {quote_all(prefixes)}"
        )
    text = f"missing columns: {', '.join(hints)}; found columns: {quote_all(header)}"
    for signal, word in (("accel", "accelerometer"), ("gyro", "gyroscope")):
        all_lacking = sum(column.signal == signal for column in lacking) == 3
        if all_lacking and present:
            text += f"; no {word} column was found, and both sensors are needed"
    return text


def _find_prefixes(wanted: tuple[Wanted, ...], header: list[str]) -> list[str]:
    """What the columns of each sensor in a header begin with, where nothing else is amiss."""
    own = [column.plain for column in wanted if column.signal != "time"]
    begins = [name.removesuffix(own[0]) for name in header if name.endswith(own[0])]
    return [begin for begin in begins if begin and all(begin + name in header for name in own)]
