"""Units that a log states itself: understood, or held against the layout's."""

from collections.abc import Sequence

from imuproc.core.errors import LogError
from imuproc.core.units import known_unit
from imuproc.files.wording import quote, quote_all


def parse_unit(stated: str | None, allowed: Sequence[str], where: str) -> str:
    """Unit that a log's text stands for.

    Parameters
    ----------
    stated : str or None
        As the log states it.
    allowed : sequence of str
        Units that the quantity may have.
    where : str
        For the error.

    Raises
    ------
    LogError
        It is none of them, or nothing is stated.
    """
    unit = None if stated is None else known_unit(stated)
    if unit not in allowed:
        shown = "no unit" if stated is None else f"the unit {quote(stated)}"
        raise LogError(f"{where}: found {shown}; allowed: {quote_all(allowed)}")
    return str(unit)


def check_stated_unit(stated: str | None, wanted: str, where: str) -> None:
    """Refuse a unit that is known and not the layout's; words that are no unit say nothing.

    Raises
    ------
    LogError
        The two contradict each other.
    """
    unit = None if stated is None else known_unit(stated)
    if unit is not None and unit != wanted:
        raise LogError(
            f"{where}: the log states the unit {quote(str(stated))}, the layout {quote(wanted)}; "
            "allowed: the same in both"
        )
