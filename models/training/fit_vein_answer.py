"""Fit the yes/no answer on veins to what the eye saw on the real photos.

``python -m models.training.fit_vein_answer`` prints how it does on evenings left out and the lines to
put into ``vision/veins.py``, whose weights are fitted on all photos on which the eye was sure.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from typing import Literal

import numpy as np

from models.evaluation.contents import (
    VEIN_STRENGTH,
    answer_data,
    answer_table,
    answer_text,
    fit_answer,
    left_out_probabilities,
    vein_terms,
)
from models.shared_data import real_photos

BY: tuple[Literal["evening", "egg"], ...] = ("evening", "egg")


def main() -> None:
    """Measure, fit, print."""
    with ProcessPoolExecutor(2) as pool:
        data = answer_data(real_photos(), "vessels_visible", vein_terms, pool=pool)
    for by in BY:
        print(f"left out by {by}:")
        probability = left_out_probabilities(data, strength=VEIN_STRENGTH, by=by)
        print(answer_text(answer_table(data, probability)))
    weights, intercept = fit_answer(data.terms, data.eye, strength=VEIN_STRENGTH)
    print("COEFFICIENTS =", tuple(np.round(weights, 4).tolist()))
    print("INTERCEPT =", round(intercept, 4))


if __name__ == "__main__":
    main()
