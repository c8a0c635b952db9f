"""Which samples of a log a flag is about: a run is told of its own only."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from imuproc.core.words import plural

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Marks:
    """Stretches of a log, and how they are told.

    Parameters
    ----------
    start_s, end_s : ndarray, shape (k,)
        First and last sample of each stretch in s, in order of time.
    samples : ndarray of int, shape (k,)
        Samples of each.
    words : str
        Template of the detail, with any names of :meth:`detail` in it.
    in_running_only : bool
        Whether it matters in the run itself only, not between it and its standing.
    from_s, to_s : float
        What is told about: stretches may reach beyond.
    """

    start_s: FloatArray
    end_s: FloatArray
    samples: NDArray[np.int64]
    words: str
    in_running_only: bool = False
    from_s: float = -np.inf
    to_s: float = np.inf

    def within(self, from_s: float, to_s: float) -> "Marks":
        """Those that lie in a part of the log or reach into it, whole."""
        own = (self.end_s >= from_s) & (self.start_s <= to_s)
        return replace(
            self,
            start_s=self.start_s[own],
            end_s=self.end_s[own],
            samples=self.samples[own],
            from_s=from_s,
            to_s=to_s,
        )

    def joined(self, later: "Marks") -> "Marks":
        """Those of two parts of a log, one after the other; what goes on is one stretch."""
        goes_on = self.end_s[-1] >= self.to_s and later.start_s[0] <= later.from_s
        ends = len(self.end_s) - int(goes_on)
        samples = np.concatenate((self.samples, later.samples[int(goes_on) :]))
        samples[len(self.samples) - 1] += later.samples[0] if goes_on else 0
        return replace(
            self,
            start_s=np.concatenate((self.start_s, later.start_s[int(goes_on) :])),
            end_s=np.concatenate((self.end_s[:ends], later.end_s)),
            samples=samples,
            to_s=later.to_s,
        )

    def detail(self) -> str:
        """How many, where and how much, in words; there is at least one stretch."""
        lasts_s = self.end_s - self.start_s
        longest = int(np.argmax(lasts_s))
        count = len(self.start_s)
        return self.words.format(
            samples=plural(int(self.samples.sum()), "sample"),
            gaps=plural(count, "gap"),
            places=plural(count, "place"),
            stretches=plural(count, "stretch"),
            first=f"{self.start_s[0]:.10g} s",
            longest=f"{lasts_s[longest]:.3g} s from {self.start_s[longest]:.10g} s on",
            span=self._span() + (f", in {plural(count, 'stretch')}" if count > 1 else ""),
        )

    def _span(self) -> str:
        first_s, last_s = self.start_s[0], self.end_s[-1]
        if last_s >= self.to_s:
            return "throughout" if first_s <= self.from_s else f"from {first_s:.10g} s on"
        up_to = f"to {last_s:.10g} s"
        return f"up {up_to}" if first_s <= self.from_s else f"from {first_s:.10g} {up_to}"
