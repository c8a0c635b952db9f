"""Reasons out of errors and flags of the stages that a check uses."""

from imuproc.checks.findings import Reason, Severity
from imuproc.core.errors import ImuprocError
from imuproc.core.flags import FLAGS, RaisedFlag
from imuproc.core.recording import SensorLog


def from_error(error: ImuprocError, log: SensorLog) -> Reason:
    """What a stage refused, as a reason: with it nothing can be processed."""
    return refused(error, log.source, log.site)


def refused(error: ImuprocError, source: str, site: str) -> Reason:
    """The same for a log that could not even be read; the sensor's name stands beside it."""
    text = str(error).removeprefix(f"{source} ({site}): ").removeprefix(f"{source} ({site}) ")
    return Reason("unfit", sentence(text))


def from_flag(flag: RaisedFlag, severity: Severity) -> Reason:
    """A flag of a stage, in the flag's own words."""
    known = FLAGS[flag.name]
    text = (
        known.sentence.removesuffix(".") + f" ({flag.detail})." if flag.detail else known.sentence
    )
    return Reason(severity, text, known.advice, flag.name)


def sentence(text: str) -> str:
    """Text that begins with a capital and ends with a stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
