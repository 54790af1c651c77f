"""Everything that is reported on judging, measured into one mapping of plain numbers.

The same mapping goes into the heads' card; :mod:`models.judgement_text` turns it into words, for
``trayglow evaluate --judgement`` and for the card, so that the two cannot differ.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import asdict, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.evaluation.judged_photos import JudgedPhoto
from models.evaluation.judgement import (
    DeadAgainstLiving,
    by_dead_egg,
    confusion_table,
    day_error_interval,
    day_error_table,
    dead_against_living,
    death_score,
)
from models.evaluation.nested import Answers, nested_answers, status_answers
from models.evaluation.nested_day import evenings_alike
from models.evaluation.whole_judge import CONFIRM_FROM, judged
from models.examples import STAND_IN_DAYS, Examples, real_examples
from models.heads import STATUSES
from models.proposal import Judgement

FloatArray = NDArray[np.float64]
# So often a measurement is repeated beside the 1280 values of the embedding, or it would hardly weigh.
MEASUREMENT_WEIGHT = 20
RULES = {
    "too early": "too early", "unlike": "unlike the eggs", "air cell": "an air cell of",
    "hidden inside": "a dark shell hides", "stopped": "stopped about", "younger": "on day",
    "veins against it": "veins were found", "dark shell early": "through a dark shell",
    "unsure": "unsure between", "photo": "the picture is",
}  # fmt: skip
DARK_SHELL_DAY = 6.0  # first useful day through a brown or dark shell (incubation.species)
NO_VEINS = "no veins were found"


def examples_of(photos: Sequence[JudgedPhoto]) -> Examples:
    """The real examples, in the photos' order."""
    return real_examples([p.photo for p in photos], [p.embedding for p in photos])


def measure(
    photos: Sequence[JudgedPhoto], drawn: Examples, *, pool: Executor | None = None
) -> dict[str, Any]:
    """All figures on real photos left out."""
    real = examples_of(photos)
    shown = [p.shown for p in photos]
    answers = nested_answers(real, drawn, shown=shown, pool=pool)
    series = nested_answers(real, drawn, shown=shown, series=True, pool=pool)
    score = death_score(answers.logits)
    hard = np.where(np.isfinite(series.logits[:, 0]), death_score(series.logits), score)
    decisions = decide(photos, answers)
    table = day_error_table(real, answers.days)
    held = (np.abs(answers.days - real.days) <= answers.day_half_width).astype(float)
    return {
        "photos": len(photos),
        "evenings": len(np.unique(real.groups)),
        "dead_against_living": asdict(dead_against_living(real, score)),
        "dead_against_living_day_4": asdict(dead_against_living(real, score, first_day=4.0)),
        "dead_against_living_series_out": asdict(dead_against_living(real, hard)),
        "by_dead_egg": by_dead_egg(real, score),
        "judged_from": judged_from(photos, real, drawn, pool=pool),
        "background": background(photos, real, pool=pool),
        "days": [asdict(row) for row in table],
        "day_interval": day_error_interval(table),
        "day_coverage": evenings_alike(real, held),
        "day_half_width": _span(answers.day_half_width),
        "confusion": [asdict(row) for row in confusion_table(real, answers.logits)],
        "pass_from": _span(answers.pass_from),
        "no_veins_odds": _span(answers.no_veins_odds),
        "decisions": decision_counts(photos, real, decisions),
        "dead_passed": dead_passed(real, decisions),
        "false_stopped": false_stopped(real, decisions),
        "novelty_false_alarms": int((answers.novelty > answers.unlike_from)[_is(real, "developing")].sum()),
    }


def decide(photos: Sequence[JudgedPhoto], answers: Answers) -> list[Judgement]:
    """The whole judge's answer for each photo, with the points chosen without it."""
    chance = answers.chance
    return [
        judged(
            photo.shown,
            chance[i],
            float(answers.days[i]),
            novelty=float(answers.novelty[i]),
            card={
                "pass_from": answers.pass_from[i],
                "confirm_from": CONFIRM_FROM,
                "day_half_width": answers.day_half_width[i],
                "unlike_from": answers.unlike_from[i],
                "no_veins_odds": answers.no_veins_odds[i],
            },
        )
        for i, photo in enumerate(photos)
    ]


def judged_from(
    photos: Sequence[JudgedPhoto], real: Examples, drawn: Examples, *, pool: Executor | None = None
) -> dict[str, dict[str, Any]]:
    """Dead against living from the measurements alone, the embedding alone, and both (real photos only)."""
    measured = np.array([p.measured for p in photos], np.float32)
    repeated = np.repeat(measured, MEASUREMENT_WEIGHT, axis=1)
    kinds = {
        "measurements": (replace(real, embeddings=measured), None),
        "embedding": (real, None),
        "both": (replace(real, embeddings=np.hstack([real.embeddings, repeated])), None),
    }
    results = {}
    for name, (examples, beside) in kinds.items():
        logits = status_answers(examples, beside, pool=pool)
        results[name] = _auc_and_right(real, logits)
    return results


def background(
    photos: Sequence[JudgedPhoto], real: Examples, *, pool: Executor | None = None
) -> dict[str, Any]:
    """Dead against living from the surroundings alone, the egg painted out."""
    around = replace(real, embeddings=np.stack([p.background for p in photos]))
    logits = status_answers(around, None, pool=pool)
    return _auc_and_right(real, logits)


def decision_counts(
    photos: Sequence[JudgedPhoto], real: Examples, decisions: Sequence[Judgement]
) -> dict[str, dict[str, Any]]:
    """Decisions by what the photo shows, and which rule sent how many to review."""
    day_one = np.array([p.photo.day in STAND_IN_DAYS and not p.photo.dead for p in photos])
    kinds = {
        "dead": real.dead,
        "stand-ins for clear, shown as day 8": day_one,
        "living from day 4": _is(real, "developing"),
        "living from day 6": _is(real, "developing") & ~(real.days < DARK_SHELL_DAY),
    }
    results = {}
    for name, rows in kinds.items():
        some = [d.proposal for d, row in zip(decisions, rows, strict=True) if row]
        reviews = Counter(_rule(p.reasons[0]) for p in some if p.decision == "review")
        results[name] = {
            "photos": len(some),
            **{word: sum(p.decision == word for p in some) for word in ("pass", "confirm", "review")},
            "why": dict(sorted(reviews.items(), key=lambda pair: -pair[1])),
        }
    return results


def dead_passed(real: Examples, decisions: Sequence[Judgement]) -> dict[str, list[int]]:
    """For each dead egg: photos passed, photos in all."""
    passed = np.array([d.proposal.decision == "pass" for d in decisions])
    return {
        str(egg): [int((passed & real.dead & (real.eggs == egg)).sum()), int((real.eggs == egg).sum())]
        for egg in np.unique(real.eggs[real.dead])
    }


def false_stopped(real: Examples, decisions: Sequence[Judgement]) -> dict[str, int]:
    """Living photos from day 4 that were said to have stopped, or to look too young."""
    living = [d.proposal for d, row in zip(decisions, _is(real, "developing"), strict=True) if row]
    return {
        "stopped": sum(_rule(p.reasons[0]) == "stopped" for p in living),
        "younger": sum(_rule(p.reasons[0]) == "younger" for p in living),
        "photos": len(living),
    }


def _rule(reason: str) -> str:
    if NO_VEINS in reason:
        return "veins against it"
    return next((name for name, words in RULES.items() if words in reason), "other")


def _span(values: FloatArray) -> list[float]:
    return [float(np.nanmin(values)), float(np.nanmax(values))]


def _is(real: Examples, status: str) -> NDArray[np.bool_]:
    return np.array([s == status for s in real.statuses])


def _auc_and_right(real: Examples, logits: FloatArray) -> dict[str, Any]:
    area: DeadAgainstLiving = dead_against_living(real, death_score(logits))
    proposed = logits.argmax(axis=1)
    right = {s: int((proposed[_is(real, s)] == i).sum()) for i, s in enumerate(STATUSES)}
    return {**asdict(area), "right": right}


def rounded(figures: Mapping[str, Any]) -> dict[str, Any]:
    """The same with numbers to four places, as they are stored."""
    return {name: _rounded(value) for name, value in figures.items()}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4) if np.isfinite(value) else None
    if isinstance(value, Mapping):
        return rounded(value)
    return [_rounded(v) for v in value] if isinstance(value, list | tuple) else value
