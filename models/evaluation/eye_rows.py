"""The scores of single evaluations as rows of the table of targets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.evaluation.air_cell_lines import ALWAYS_GUESS, LineScore
from models.evaluation.retinal_vessels import SATO_AUC, SATO_DICE, RetinalScore
from models.evaluation.target_row import TargetRow
from models.evaluation.wilson import share_text

if TYPE_CHECKING:
    from models.evaluation.contents import AnswerRow
    from models.evaluation.drawn_eggs import DrawnEgg

_RESAMPLINGS = 1000


def mean_text(values: NDArray[np.float64], unit: str = "", *, digits: int = 2, sign: bool = False) -> str:
    """A mean with the 95 % interval of resampling the values (one an egg)."""
    if len(values) == 0:
        return "none to count"
    rng = np.random.default_rng(0)
    means = values[rng.integers(0, len(values), (_RESAMPLINGS, len(values)))].mean(axis=1)
    low, high = np.percentile(means, (2.5, 97.5))
    plus = "+" if sign else ""
    unit = f" {unit}" if unit else ""
    return f"{values.mean():{plus}.{digits}f}{unit} ({low:{plus}.{digits}f} to {high:{plus}.{digits}f})"


def real_line_rows(score: LineScore) -> list[TargetRow]:
    """Air-cell lines on real photos, evening left out, against those marked by eye."""
    return [
        TargetRow(
            "real lines: mean absolute difference",
            "<= 0.015 of the length",
            f"{score.line_difference:.4f} (bias {score.line_bias:+.4f}; "
            f"always {ALWAYS_GUESS}: {score.guess_difference:.4f})",
            f"{score.found} lines, evening left out",
            score.line_difference <= 0.015,
        ),
        TargetRow(
            "real lines: found where the eye sees one",
            ">= 85%",
            share_text(score.found, score.marked),
            f"{score.marked} photos, evening left out",
            score.found >= 0.85 * score.marked,
        ),
        TargetRow(
            "real lines: claimed where the eye sees none",
            "<= 5%",
            share_text(score.claimed, score.without),
            f"{score.without} photos, evening left out",
            score.claimed <= 0.05 * score.without,
        ),
    ]


def drawn_line_rows(eggs: Sequence[DrawnEgg]) -> list[TargetRow]:
    """Air-cell lines on drawn eggs against the drawn truth."""
    visible = [e for e in eggs if e.line_visible]
    errors = np.array([e.depth_error_mm for e in visible if e.depth_error_mm is not None], dtype=float)
    found = sum(e.line_found for e in visible)
    without = [e for e in eggs if not e.line_visible]
    claimed = sum(e.line_found for e in without)
    near = int((np.abs(errors) <= 1.5).sum())
    counted = f"{len(errors)} drawn eggs"
    return [
        TargetRow(
            "drawn lines: found where a person could see one",
            ">= 95%",
            share_text(found, len(visible)),
            f"{len(visible)} drawn eggs",
            found >= 0.95 * len(visible),
        ),
        TargetRow(
            "drawn lines: claimed where a person sees none",
            "<= 2%",
            share_text(claimed, len(without)),
            f"{len(without)} drawn eggs",
            claimed <= 0.02 * len(without),
        ),
        TargetRow(
            "drawn lines: mean absolute error",
            "<= 0.6 mm",
            mean_text(np.abs(errors), "mm"),
            counted,
            bool(len(errors)) and float(np.abs(errors).mean()) <= 0.6,
        ),
        TargetRow(
            "drawn lines: bias",
            "within 0.2 mm",
            mean_text(errors, "mm", sign=True),
            counted,
            bool(len(errors)) and abs(float(errors.mean())) <= 0.2,
        ),
        TargetRow(
            "drawn lines: within 1.5 mm",
            ">= 95%",
            share_text(near, len(errors)),
            counted,
            bool(len(errors)) and near >= 0.95 * len(errors),
        ),
    ]


def answer_row(name: str, whole: AnswerRow, *, asked: float | None) -> TargetRow:
    """A yes/no answer against the eye's, evening left out; nothing is asked of it where ``asked`` is None."""
    return TargetRow(
        f"{name}, yes or no: agrees with the eye",
        "-" if asked is None else f">= {asked:.0%}",
        f"{share_text(whole.agree, whole.photos)}; answers {whole.told}, right {whole.told_agree}",
        f"{whole.photos} photos, evening left out",
        None if asked is None else whole.agree >= asked * whole.photos,
    )


def retinal_rows(scores: Sequence[RetinalScore]) -> list[TargetRow]:
    """Retinal vessels; the last score is the mean over images."""
    images, mean = scores[:-1], scores[-1]
    counted = f"{len(images)} images"
    aucs, dices = np.array([s.auc for s in images]), np.array([s.dice for s in images])
    return [
        TargetRow(
            "retinal vessels: ROC-AUC",
            ">= 0.945",
            f"{mean_text(aucs, digits=4)}; plain ridge filter {SATO_AUC}",
            counted,
            mean.auc >= 0.945,
        ),
        TargetRow(
            "retinal vessels: Dice at 0.5",
            ">= 0.66",
            f"{mean_text(dices, digits=3)}; plain ridge filter {SATO_DICE}",
            counted,
            mean.dice >= 0.66,
        ),
    ]
