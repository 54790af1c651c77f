"""Fit the shipped judgement heads and write them with their card.

    python -m models.training.fit_judgement

Needs the real photos and the package ``onnx``. The operating points are chosen on answers for
left-out evenings and eggs (see ``models.evaluation.judgement``); ``trayglow evaluate`` prints what
they mean.
"""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from models.evaluation.judgement import (
    DEVELOPING,
    LeftOutAnswers,
    day_interval_half_width,
    dead_against_living,
    fit_temperature,
    left_out_answers,
)
from models.evaluation.left_out_readings import read_all_left_out
from models.examples import Examples, day_weights, joined, real_examples, status_weights
from models.heads import STATUSES, fit_day_head, fit_status_head, save_heads, softmax
from models.model_files import write_manifest
from models.shared_data import real_photos
from models.training.simulated_examples import kept_examples

SHIPPED = Path(__file__).resolve().parents[1] / "shipped" / "judgement.onnx"
PASS_MARGIN = 0.05  # above the highest chance of developing given to any left-out dead egg
LOWEST_PASS, HIGHEST_PASS = 0.7, 0.97
CONFIRM_FROM = 0.75


def pass_from(real: Examples, answers: LeftOutAnswers, temperature: float) -> float:
    """The chance of developing from which nobody needs to look: above every left-out dead photo."""
    chance = softmax(answers.logits, temperature=temperature)[:, DEVELOPING]
    return float(np.clip(chance[real.dead].max() + PASS_MARGIN, LOWEST_PASS, HIGHEST_PASS))


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=SHIPPED)
    options = parser.parse_args()
    readings = read_all_left_out(real_photos())
    real = real_examples([r.photo for r in readings], [r.embedding for r in readings])
    drawn = kept_examples()
    answers = left_out_answers(real, drawn)
    temperature = fit_temperature(real, answers)
    known = joined(real, drawn)
    weights, dates = status_weights(known), day_weights(known)
    status = fit_status_head(
        known.embeddings[weights > 0],
        [s for s, w in zip(known.statuses, weights, strict=True) if w > 0 and s],
        weights[weights > 0],
    )
    day = fit_day_head(known.embeddings[dates > 0], known.days[dates > 0], dates[dates > 0])
    roc = dead_against_living(real, answers)
    card = {
        "fitted": datetime.now(UTC).date().isoformat(),
        "pass_from": round(pass_from(real, answers, temperature), 4),
        "confirm_from": CONFIRM_FROM,
        "day_half_width": round(day_interval_half_width(real, answers), 2),
        "temperature": round(temperature, 4),
        "real_photos": {s: sum(t == s for t in real.statuses) for s in STATUSES},
        "dead_eggs": roc.dead_eggs,
        "simulated_eggs": len(drawn),
        "dead_against_living_auc": [round(v, 4) for v in (roc.auc, roc.low, roc.high)],
        "data": "egg-condition-classifications, version 2023-10-18, CC BY 4.0, and simulated eggs",
    }
    save_heads(options.out, status, day, temperature=temperature, card=card)
    if options.out.resolve() == SHIPPED:
        write_manifest()
    print(card)


if __name__ == "__main__":
    main()
