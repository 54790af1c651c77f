"""How unlike everything the model learnt from a picture is.

The examples, real and drawn, fill only a few directions of the embedding (:mod:`models.basis`); what a
picture has outside them is what no example had. It is given as a multiple of what examples have there on
average. From a stated multiple on, exceeded by a stated share of real eggs of evenings left out, an egg
goes to a person: the answer for such a picture means nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.basis import Basis

FloatArray = NDArray[np.float64]
FALSE_ALARMS = 0.02  # share of real eggs, of evenings left out, that are called unlike the others


@dataclass(frozen=True)
class KnownLooks:
    """The directions the examples fill, and how much they have outside them on average."""

    basis: Basis
    rest: float

    def novelty(self, embeddings: NDArray[np.floating]) -> FloatArray:
        """Part outside the known directions over the examples' average, (N,); 1 is usual."""
        return _outside(self.basis, embeddings) / self.rest


def known_looks(basis: Basis, embeddings: NDArray[np.floating], weights: FloatArray) -> KnownLooks:
    """What examples (N, D) with weights (N,) have outside the directions of ``basis``."""
    rest = float(np.average(_outside(basis, embeddings), weights=weights))
    return KnownLooks(basis, max(rest, 1e-6))


def _outside(basis: Basis, embeddings: NDArray[np.floating]) -> FloatArray:
    standard = (np.asarray(embeddings, dtype=np.float64) - basis.mean) / basis.scale
    inside = standard @ basis.directions
    return np.asarray((standard**2).sum(axis=1) - (inside**2).sum(axis=1), dtype=np.float64)
