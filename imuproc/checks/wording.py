"""Reasons out of errors and flags of the stages that a check uses."""

import traceback
from pathlib import Path

from imuproc.checks.findings import Reason
from imuproc.core.errors import ImuprocError
from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import Severity, policy_of
from imuproc.core.flag_words import describe_flag
from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import SensorLog


def from_error(error: ImuprocError, log: SensorLog) -> Reason:
    """What a stage refused, as a reason: with it nothing can be processed."""
    return from_unreadable(error, log.source, log.site)


def from_unreadable(error: ImuprocError, source: str, site: str) -> Reason:
    """Why a log could not even be read, as a reason; the sensor's name stands beside it."""
    text = str(error).removeprefix(f"{source} ({site}): ").removeprefix(f"{source} ({site}) ")
    return Reason("unfit", to_sentence(text))


def from_own_fault(error: Exception) -> Reason:
    """What this package did not foresee, as a reason: it must not cost the other checks."""
    where = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(where.filename).name}, line {where.lineno}"
    text = f"the check stopped with an unexpected {type(error).__name__}: {error} ({place})"
    return Reason(
        "unfit",
        to_sentence(" ".join(text.split())),
        "The fault is one of imuproc: please report it with this line.",
    )


def from_flag(flag: RaisedFlag, severity: Severity | None = None, where: str = "") -> Reason:
    """A flag of a stage, in the flag's own words.

    Parameters
    ----------
    flag : RaisedFlag
    severity : {"note", "limit", "unfit"}, optional
        That of a log when left out.
    where : str
        Part of the log that was looked at.
    """
    known = FLAGS[flag.name]
    told = ": ".join(filter(None, [where, describe_flag(flag)]))
    text = known.sentence.removesuffix(".") + f" ({told})." if told else known.sentence
    return Reason(severity or policy_of(flag.name).check, text, known.advice, flag)


def to_sentence(text: str) -> str:
    """Text that begins with a capital and ends with a stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
