"""Least squares of a chain: each state is tied to the next one, and all to a few shared unknowns.

The information matrix is banded but for its last rows and columns. A banded Cholesky factor and the
Schur complement of the chain (Golub & Van Loan, *Matrix Computations*, ch. 4; from memory) solve it
exactly, at a cost that grows with the length of the chain instead of with its cube.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, cholesky_banded, solve_triangular
from scipy.linalg.lapack import dtbtrs

FloatArray = NDArray[np.float64]

_AT_A_TIME = 1 << 21


@dataclass(frozen=True, eq=False)
class Links:
    """Rows that tie each state to the next one, each divided by its standard deviation.

    Parameters
    ----------
    states : ndarray, shape (m, r, 2 * d)
        Answer to the two states of each link, of d values each.
    shared : ndarray, shape (m, r, s)
        Answer to the shared unknowns.
    """

    states: FloatArray
    shared: FloatArray

    def apply_rows(self, chain: FloatArray, shared: FloatArray) -> FloatArray:
        """What the rows give, (m, r, k), for states (m + 1, d, k) and shared unknowns (s, k)."""
        both = np.concatenate((chain[:-1], chain[1:]), axis=1)
        return np.asarray(self.states @ both + self.shared @ shared)

    def gather_right_side(self, value: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Right-hand side, (m + 1, d) and (s,), for the rows' values (m, r)."""
        width = self.states.shape[2] // 2
        both = np.einsum("mrw,mr->mw", self.states, value)
        chain = np.zeros((len(both) + 1, width))
        chain[:-1] += both[:, :width]
        chain[1:] += both[:, width:]
        return chain, np.einsum("mrs,mr->s", self.shared, value)


@dataclass(frozen=True, eq=False)
class Information:
    """Information about a chain of states and a few shared unknowns.

    Parameters
    ----------
    band : ndarray, shape (2 * d, n * d)
        About the states: diagonal ``i`` below the main one in row ``i``.
    cross : ndarray, shape (n, d, s)
    shared : ndarray, shape (s, s)
    """

    band: FloatArray
    cross: FloatArray
    shared: FloatArray

    @classmethod
    def from_links(cls, links: Links) -> "Information":
        """What the rows of all links tell."""
        count, _, both = links.states.shape
        width = both // 2
        within = links.states.transpose(0, 2, 1) @ links.states
        band = np.zeros((both, width * (count + 1)))
        for below in range(both):
            for column in range(both - below):
                every = slice(column, column + width * count, width)
                band[below, every] += within[:, column + below, column]
        across = links.states.transpose(0, 2, 1) @ links.shared
        cross = np.zeros((count + 1, width, across.shape[2]))
        cross[:-1] += across[:, :width]
        cross[1:] += across[:, width:]
        flat = links.shared.reshape(-1, across.shape[2])
        return cls(band, cross, flat.T @ flat)

    def add(self, diagonal: FloatArray, cross: FloatArray, shared: FloatArray) -> "Information":
        """With more about each state by itself (n, d), across (n, d, s), and the shared (s, s)."""
        band = self.band.copy()
        band[0] += diagonal.ravel()
        return Information(band, self.cross + cross, self.shared + shared)

    def factor(self) -> "Factor":
        """Factored, for solving."""
        lower = cholesky_banded(self.band, lower=True)
        reached = _solve_triangular(lower, self.cross.reshape(-1, self.cross.shape[2]), "N")
        complement = self.shared - reached.T @ reached
        return Factor(lower, reached, complement, self.cross.shape[1])


@dataclass(frozen=True, eq=False)
class Factor:
    """Factored information.

    Parameters
    ----------
    lower : ndarray, shape (2 * d, n * d)
        Banded Cholesky factor of the chain.
    reached : ndarray, shape (n * d, s)
        Its inverse times the chain's columns of the shared unknowns.
    complement : ndarray, shape (s, s)
        What is known of the shared unknowns when the states are not.
    width : int
        d.
    """

    lower: FloatArray
    reached: FloatArray
    complement: FloatArray
    width: int

    def solve(self, chain: FloatArray, shared: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Unknowns (n, d, k) and (s, k) for right-hand sides of the same shapes."""
        half = _solve_triangular(self.lower, chain.reshape(-1, chain.shape[2]), "N")
        own = cho_solve(self._complement_factor, shared - self.reached.T @ half)
        states = _solve_triangular(self.lower, half - self.reached @ own, "T")
        return states.reshape(chain.shape), np.asarray(own)

    def compute_variance(self, chain: FloatArray, shared: FloatArray) -> FloatArray:
        """Of combinations with weights (n, d, k) and (s, k): half of the work of solving, (k,)."""
        half = _solve_triangular(self.lower, chain.reshape(-1, chain.shape[2]), "N")
        rest = shared - self.reached.T @ half
        factor, lower = self._complement_factor
        own = solve_triangular(factor, rest, lower=lower)
        return np.asarray(np.sum(half * half, axis=0) + np.sum(own * own, axis=0))

    def compute_covariance(self) -> FloatArray:
        """Of the shared unknowns, shape (s, s)."""
        return np.asarray(cho_solve(self._complement_factor, np.eye(len(self.complement))))

    def count_at_a_time(self) -> int:
        """How many right-hand sides are best solved at once, for the memory's sake."""
        return int(max(1, _AT_A_TIME // self.lower.shape[1]))

    @cached_property
    def _complement_factor(self) -> tuple[FloatArray, bool]:
        factor, lower = cho_factor(self.complement, lower=True)
        return factor, bool(lower)


def _solve_triangular(lower: FloatArray, right: FloatArray, trans: str) -> FloatArray:
    """Solve with a banded triangular factor, or its transpose."""
    solved, fault = dtbtrs(lower, right, uplo="L", trans=trans)
    if fault:
        raise np.linalg.LinAlgError(f"banded factor is singular at {fault}")
    return np.asarray(solved)
