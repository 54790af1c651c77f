"""Yes/no answers by small logistic regressions; their weights lie in ``fitted_answers.json`` beside this."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

STORED = Path(__file__).parent / "fitted_answers.json"


@dataclass(frozen=True)
class FittedAnswer:
    """Weights of the terms, intercept, and the probability below which and above which it is given."""

    weights: NDArray[np.float64]
    intercept: float
    no_below: float
    yes_above: float

    def probability(self, terms: NDArray[np.float64]) -> float:
        """Probability of yes."""
        logit = float(terms @ self.weights) + self.intercept
        return 1 / (1 + math.exp(-min(max(logit, -30.0), 30.0)))

    def told(self, probability: float) -> bool | None:
        """Yes, no, or ``None`` where it cannot be told."""
        return True if probability > self.yes_above else False if probability < self.no_below else None


@cache
def fitted_answer(name: str) -> FittedAnswer:
    """The stored answer of this name: ``veins``, ``embryo`` or ``ring``."""
    stored = json.loads(STORED.read_text(encoding="utf-8"))[name]
    return FittedAnswer(
        np.array(stored["weights"]),
        float(stored["intercept"]),
        float(stored["no_below"]),
        float(stored["yes_above"]),
    )


def store_answer(name: str, answer: FittedAnswer) -> None:
    """Put an answer into the file, others left as they are."""
    stored = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {}
    stored[name] = {
        "weights": np.round(answer.weights, 4).tolist(),
        "intercept": round(answer.intercept, 4),
        "no_below": round(answer.no_below, 4),
        "yes_above": round(answer.yes_above, 4),
    }
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    fitted_answer.cache_clear()
