"""The day of incubation that an egg looks like: kernel ridge regression in the leading directions.

How an egg looks does not change evenly with the days, so a straight line in the embedding answers late
days far too young where it saw few of them. A Gaussian kernel bends with the examples and falls back to
their mean far from all of them (Saunders, Gammerman & Vovk 1998; as scikit-learn's ``KernelRidge``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from models.basis import Basis, fit_basis

FloatArray = NDArray[np.float64]
DAY_PENALTY = 0.1
DAY_WIDTH = 1.4  # of the kernel, in mean distances of an example from their middle


@dataclass(frozen=True)
class DayHead:
    """``day = middle + sum of coefficients * exp(-sharpness * distance ** 2)`` over the examples.

    ``examples`` (M, K) are coordinates in ``basis``; ``coefficients`` (M,).
    """

    basis: Basis
    examples: FloatArray
    sharpness: float
    coefficients: FloatArray
    middle: float

    def __call__(self, embeddings: NDArray[np.floating]) -> FloatArray:
        """Days, (N,), of embeddings (N, D)."""
        near = np.exp(-self.sharpness * squared_distances(self.basis(embeddings), self.examples))
        return np.asarray(self.middle + near @ self.coefficients, dtype=np.float64)


def squared_distances(first: FloatArray, second: FloatArray) -> FloatArray:
    """Squared distances (N, M) between rows of (N, K) and (M, K)."""
    squares = (first**2).sum(axis=1)[:, None] + (second**2).sum(axis=1)[None, :]
    return np.asarray(np.maximum(squares - 2 * first @ second.T, 0.0), dtype=np.float64)


def sharpness_for(coordinates: FloatArray, width: float) -> float:
    """The kernel's sharpness for a width in mean distances of coordinates (N, K) from their middle."""
    return 1 / (width**2 * float((coordinates**2).sum(axis=1).mean()))


def fit_day_head(
    embeddings: NDArray[np.floating],
    days: FloatArray,
    weights: FloatArray,
    *,
    penalty: float = DAY_PENALTY,
    width: float = DAY_WIDTH,
    basis: Basis | None = None,
) -> DayHead:
    """Fit days (N,) of embeddings (N, D) with weights (N,); all of them must carry some weight."""
    basis = basis or fit_basis(embeddings, weights)
    coordinates = basis(embeddings)
    sharpness = sharpness_for(coordinates, width)
    near = np.exp(-sharpness * squared_distances(coordinates, coordinates))
    middle = float(np.average(days, weights=weights))
    coefficients = kernel_ridge(near, days - middle, weights, penalty=penalty)
    return DayHead(basis, coordinates, sharpness, coefficients, middle)


def kernel_ridge(
    kernel: FloatArray, values: FloatArray, weights: FloatArray, *, penalty: float
) -> FloatArray:
    """Coefficients (N,) for a kernel (N, N), values and weights (N,); the mean weight counts as 1."""
    root = np.sqrt(weights * len(weights) / weights.sum())
    system = kernel * root[:, None] * root[None, :]
    system[np.diag_indices_from(system)] += penalty
    return np.asarray(root * cho_solve(cho_factor(system), root * values), dtype=np.float64)
