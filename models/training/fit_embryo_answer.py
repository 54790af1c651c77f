"""Fit the yes/no answer on the embryo to what the eye saw on the real photos.

``python -m models.training.fit_embryo_answer`` prints how it does on evenings left out and the lines to
put into ``vision/embryo.py``, whose weights are fitted on all photos on which the eye was sure.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor

import numpy as np

from models.evaluation.contents import (
    answer_data,
    answer_table,
    embryo_terms,
    fit_answer,
    left_out_probabilities,
)
from models.shared_data import real_photos


def main() -> None:
    """Measure, fit, print."""
    with ProcessPoolExecutor(2) as pool:
        data = answer_data(real_photos(), "embryo_visible", embryo_terms, pool=pool)
    for row in answer_table(data, left_out_probabilities(data)):
        print(
            f"{row.group:6} {row.photos:4} photos, {row.eye_yes:4} yes: {row.agree / row.photos:6.1%} agree; "
            f"told {row.told:4}, of these {row.told_agree / max(row.told, 1):6.1%} agree"
        )
    weights, intercept = fit_answer(data.terms, data.eye)
    print("COEFFICIENTS =", tuple(np.round(weights, 4).tolist()))
    print("INTERCEPT =", round(intercept, 4))


if __name__ == "__main__":
    main()
