"""What rests and stances tell of velocity, as information about each anchor and what all share."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Seen:
    """What is seen of velocity, each value in its own standard deviations.

    A value depends on the unknowns that all share (errors, point) and on its own anchor's velocity
    alone: only these blocks of the information are worked out.

    Parameters
    ----------
    shared : ndarray, shape (k, 3, s)
        Shared unknowns count in their prior standard deviations.
    own : ndarray, shape (k,)
        Answer to the velocity of the instant's own anchor.
    value : ndarray, shape (k, 3)
    anchor : ndarray of int, shape (k,)
        Anchor of each instant; each anchor has one instant or more.
    """

    shared: FloatArray
    own: FloatArray
    value: FloatArray
    anchor: NDArray[np.int64]

    def gather_information(
        self, weight: FloatArray
    ) -> tuple[tuple[FloatArray, FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
        """What is seen of the chain, across and of the shared, and right-hand sides.

        ``weight`` is that of each anchor, shape (a,).
        """
        anchors, shared = len(weight), self.shared.shape[2]
        weighted = weight[self.anchor]
        flat = self.shared.reshape(-1, shared)
        diagonal, cross = np.zeros((anchors, 6)), np.zeros((anchors, 6, shared))
        right = np.zeros((anchors, 6))
        order = np.argsort(self.anchor, kind="stable")
        starts = np.searchsorted(self.anchor[order], np.arange(anchors))

        def sum_by_anchor(values: FloatArray) -> FloatArray:
            return np.asarray(np.add.reduceat(values[order], starts))

        own = weighted * self.own
        diagonal[:, 3:] = sum_by_anchor(own * self.own)[:, None]
        cross[:, 3:] = sum_by_anchor(own[:, None, None] * self.shared)
        right[:, 3:] = sum_by_anchor(own[:, None] * self.value)
        squares = flat.T @ (flat * np.repeat(weighted, 3)[:, None])
        return (diagonal, cross, squares), (
            right,
            flat.T @ (self.value * weighted[:, None]).ravel(),
        )

    def compute_misfit(self, velocity_mps: FloatArray, shared: FloatArray) -> FloatArray:
        """RMS residual of each anchor, shape (a,), for its velocity (a, 3) and the shared (s,)."""
        residual = self.value - self.shared @ shared
        residual = residual - self.own[:, None] * velocity_mps[self.anchor]
        squares = np.bincount(self.anchor, np.sum(residual**2, axis=1), len(velocity_mps))
        return np.asarray(np.sqrt(squares / 3.0))
