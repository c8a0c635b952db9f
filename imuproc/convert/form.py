"""What a form to convert to must be able to do, and what is known of a log once it is written."""

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from imuproc.core.recording import Run, SensorLog
from imuproc.core.sites import Site
from imuproc.readers.session import Session

_SHORTEST_STEP_S = 1e-9
"""Stamps nearer to each other tell no rate; chosen: no sensor has 1 GHz."""


@dataclass(frozen=True)
class Target:
    """Where a log goes.

    Parameters
    ----------
    run : Run
    athlete : str
        Code of who ran.
    site : Site
    file : str
        Path under the folder, with ``/`` between folders.
    """

    run: Run
    athlete: str
    site: Site
    file: str


@dataclass(frozen=True)
class Facts:
    """What is known of a log beside its samples.

    Parameters
    ----------
    n : int
        Samples.
    first_s, last_s : float
        First and last stamp that is a number.
    rate_hz : float
        Its usual rate: one over the median step of its first piece.
    accel_range_mps2, gyro_range_radps : float or None
    zero_at : datetime or None
        Instant at which the stamps count 0.
    cut_short : str
        What tells that the log ended too early; empty where nothing does.
    """

    n: int
    first_s: float
    last_s: float
    rate_hz: float
    accel_range_mps2: float | None
    gyro_range_radps: float | None
    zero_at: datetime.datetime | None
    cut_short: str = ""


class Watched:
    """Passes the pieces of a log on and notes what the form will want to say of it."""

    def __init__(self, pieces: Iterable[SensorLog]) -> None:
        self._pieces = pieces
        self._first: SensorLog | None = None
        self._rate_hz = float("nan")
        self._n, self._ends = 0, (float("nan"), float("nan"))
        self._cut_short = ""

    def __iter__(self) -> Iterator[SensorLog]:
        for piece in self._pieces:
            stamps = piece.time_s[np.isfinite(piece.time_s)]
            if self._first is None:
                self._first = piece
            if np.isnan(self._rate_hz):
                steps = np.diff(stamps)
                steps = steps[steps > _SHORTEST_STEP_S]
                self._rate_hz = float(1.0 / np.median(steps)) if steps.size else float("nan")
            if stamps.size:
                first = self._ends[0] if np.isfinite(self._ends[0]) else float(stamps[0])
                self._ends = (first, float(stamps[-1]))
            self._n += len(piece.time_s)
            self._cut_short = piece.cut_short
            yield piece

    def get_facts(self) -> Facts:
        """What was seen; after the last piece, of which every log has one."""
        if self._first is None:
            raise ValueError("no piece of the log was taken yet")
        return Facts(
            n=self._n,
            first_s=self._ends[0],
            last_s=self._ends[1],
            rate_hz=float(f"{self._rate_hz:.6g}"),
            accel_range_mps2=self._first.accel_range_mps2,
            gyro_range_radps=self._first.gyro_range_radps,
            zero_at=self._first.zero_at,
            cut_short=self._cut_short,
        )


class Form(Protocol):
    """A module that writes one open format."""

    def list_targets(self, session: Session, runs: Iterable[str]) -> list[Target]:
        """Where each log goes, in the order of the session file."""

    def list_files_beside(self, target: Target) -> tuple[str, ...]:
        """Further files that :meth:`write_log` makes for a log."""

    def write_log(self, folder: Path, target: Target, pieces: Iterable[SensorLog]) -> Facts:
        """Write one log, piece after piece; whole or not at all."""

    def build_layouts(
        self, written: list[tuple[Target, Facts]]
    ) -> tuple[dict[str, Any], list[str]]:
        """Layout tables for the session file, and the one that each log needs."""

    def finish_folder(
        self, folder: Path, session: Session, written: list[tuple[Target, Facts]]
    ) -> list[str]:
        """Write what the folder as a whole needs; gives the files."""
