"""Which samples of a log a flag is about: a run is told of its own only."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Marks:
    """Intervals of a log.

    Parameters
    ----------
    start_s, end_s : ndarray, shape (k,)
        First and last sample of each interval in s, in order of time.
    samples : ndarray of int, shape (k,)
        Samples of each.
    in_running_only : bool
        Whether it matters in the run itself only, not between it and its standing.
    counted : bool
        Whether it matters how many they are and where, and not only whether there are any.
    from_s, to_s : float
        What is told about: intervals may reach beyond.
    """

    start_s: FloatArray
    end_s: FloatArray
    samples: NDArray[np.int64]
    in_running_only: bool = False
    counted: bool = True
    from_s: float = -np.inf
    to_s: float = np.inf

    def cut_to(self, from_s: float, to_s: float) -> "Marks":
        """Keep the intervals that lie in a part of the log or reach into it, whole."""
        own = (self.end_s >= from_s) & (self.start_s <= to_s)
        return replace(
            self,
            start_s=self.start_s[own],
            end_s=self.end_s[own],
            samples=self.samples[own],
            from_s=from_s,
            to_s=to_s,
        )

    def join(self, later: "Marks") -> "Marks":
        """Join the intervals of two parts of a log; what goes on from one to the next is one."""
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

    def list_values(self) -> dict[str, float | int]:
        """How many, and the longest interval; nothing where that does not matter or none is there.

        Returns
        -------
        dict from str to number
            ``samples``, ``stretches``, ``first_s``, ``longest_s`` and ``longest_at_s``, where the
            longest one begins.
        """
        if not (self.counted and len(self.samples)):
            return {}
        lasts_s = self.end_s - self.start_s
        longest = int(np.argmax(lasts_s))
        return {
            "samples": int(self.samples.sum()),
            "stretches": len(self.samples),
            "first_s": float(self.start_s[0]),
            "longest_s": float(lasts_s[longest]),
            "longest_at_s": float(self.start_s[longest]),
        }

    def find_span_s(self) -> tuple[float, float] | None:
        """First and last sample in s, infinite at an end beyond which they may go on; or None."""
        if not (self.counted and len(self.samples)):
            return None
        first_s, last_s = float(self.start_s[0]), float(self.end_s[-1])
        return (
            first_s if first_s > self.from_s else -np.inf,
            last_s if last_s < self.to_s else np.inf,
        )
