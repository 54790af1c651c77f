"""Fit the yes/no answer on the veins or the embryo to what the eye saw on the real photos.

    python -m models.training.fit_contents_answer veins
    python -m models.training.fit_contents_answer embryo

prints how it does on evenings and on eggs left out, and stores the weights fitted on all photos on which
the eye was sure (:mod:`vision.fitted_answer`).
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from typing import Literal

from models.evaluation.contents import (
    ANSWERS,
    SURE_NO,
    answer_data,
    answer_table,
    answer_text,
    fit_answer,
    left_out_probabilities,
)
from models.shared_data import real_photos
from vision.fitted_answer import FittedAnswer, store_answer

BY: tuple[Literal["evening", "egg"], ...] = ("evening", "egg")


def main() -> None:
    """Measure, fit, print, store."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=sorted(ANSWERS))
    arguments = parser.parse_args()
    answer = ANSWERS[arguments.what]
    with ProcessPoolExecutor(2) as pool:
        data = answer_data(real_photos(), answer.column, answer.terms, pool=pool)
    for by in BY:
        print(f"left out by {by}:")
        probability = left_out_probabilities(data, strength=answer.strength, by=by)
        print(answer_text(answer_table(data, probability, yes_above=answer.yes_above)))
    weights, intercept = fit_answer(data.terms, data.eye, strength=answer.strength, drawn=data.drawn)
    store_answer(arguments.what, FittedAnswer(weights, intercept, SURE_NO, answer.yes_above))


if __name__ == "__main__":
    main()
