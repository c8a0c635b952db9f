"""Second pass over a long log: the parts of it that hold runs, each as an ordinary recording."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.flags import RaisedFlag
from imuproc.core.recording import Interval, Recording, SensorLog, join_logs
from imuproc.core.sites import Site
from imuproc.pipeline.overview import LongSettings, repair_stamps
from imuproc.pipeline.sources import LogSource

FloatArray = NDArray[np.float64]


def read_short(source: LogSource, settings: LongSettings) -> Recording | None:
    """The whole recording when none of its logs is long; None otherwise.

    Parameters
    ----------
    source : LogSource
    settings : LongSettings

    Returns
    -------
    Recording or None
    """
    logs: dict[Site, SensorLog] = {}
    for site in source.sites:
        pieces: list[SensorLog] = []
        for piece in source.pieces(site):
            pieces.append(piece)
            if sum(len(p.time_s) for p in pieces) > settings.longest_whole_samples:
                return None
        logs[site] = join_logs(pieces)
    return replace(source.about, logs=logs)


def cut_windows(
    source: LogSource,
    spans: Sequence[Interval],
    cut_short: Mapping[Site, str],
    least_s: float,
) -> Iterator[Recording]:
    """Go through all logs side by side once more and cut parts out of them.

    Parameters
    ----------
    source : LogSource
    spans : sequence of Interval
        In order of time; they may overlap.
    cut_short : mapping from Site to str
        What tells that a log ends too early: every part of it says so, as a part at its end may
        hold no run.
    least_s : float
        A sensor that ran for less of a span is left out of it.

    Yields
    ------
    Recording
        One for each span; a sensor that was not running then is left out, with a flag.
    """
    cutters = {site: _Cutter(source.pieces(site), least_s) for site in source.sites}
    following_s = [*(span.start_s for span in spans[1:]), np.inf]
    for span, needed_s in zip(spans, following_s, strict=bool(spans)):
        logs: dict[Site, SensorLog] = {}
        flags: list[RaisedFlag] = []
        for site, cutter in cutters.items():
            log = cutter.cut(span, needed_s)
            if log is None:
                missing_s = span.start_s, span.end_s
                flags.append(RaisedFlag("partly_covered", site=site, span_s=missing_s))
            else:
                logs[site] = replace(log, cut_short=cut_short.get(site, ""))
        yield replace(source.about, logs=logs, flags=(*source.about.flags, *flags))


class _Cutter:
    """Reads one log forward and keeps what may still be asked for."""

    def __init__(self, pieces: Iterator[SensorLog], least_s: float) -> None:
        self._pieces = pieces
        self._least_s = least_s
        self._kept: list[tuple[SensorLog, FloatArray]] = []

    def cut(self, span: Interval, needed_s: float) -> SensorLog | None:
        """Samples of a span, in order; None where there are too few.

        Pieces that end before an instant, from which on they are needed again, are let go of.
        """
        while not self._kept or self._kept[-1][1][-1] <= span.end_s:
            piece = next(self._pieces, None)
            if piece is None:
                break
            steady_s = repair_stamps(piece.time_s)
            if len(steady_s) and steady_s[-1] >= span.start_s:
                self._kept.append((piece, steady_s))
        parts = []
        for log, at in self._kept:
            rows = slice(*np.searchsorted(at, [span.start_s, span.end_s]))
            if rows.stop > rows.start:
                parts.append((log.take(rows), at[rows]))
        self._kept = [(log, at) for log, at in self._kept if at[-1] >= needed_s]
        if not parts or parts[-1][1][-1] - parts[0][1][0] < self._least_s:
            return None
        return join_logs([log for log, _ in parts])
