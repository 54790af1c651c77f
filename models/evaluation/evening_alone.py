"""The kinder question: each evening left out by itself, its neighbours kept, with the shipped settings.

Photos of the same eggs a day earlier and later are then learnt from. It is how the first version was
measured, and stands beside the harder figures for comparison only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from models.evaluation.judgement import dead_against_living, death_score
from models.evaluation.nested import StatusChoice, fitted_status, status_basis
from models.evaluation.nested_day import DaySettings, evenings_alike, fit_day
from models.examples import Examples
from models.heads import STATUSES


def evening_alone(real: Examples, drawn: Examples, settings: Mapping[str, float]) -> dict[str, Any]:
    """Dead against living, and the apparent day's mean absolute error, evenings alike."""
    logits = np.full((len(real), len(STATUSES)), np.nan)
    days = np.full(len(real), np.nan)
    day_settings = DaySettings(settings["day_penalty"], settings["day_width"], settings["day_drawn_share"])
    for evening in np.unique(real.groups):
        here = real.groups == evening
        if (here & np.isfinite(real.days)).any():
            living = ~here & ~real.dead
            days[here] = fit_day(real[living], drawn, day_settings)(real.embeddings[here])
        for egg in [None, *np.unique(real.eggs[here & real.dead])]:
            asked = here & (~real.dead if egg is None else real.dead & (real.eggs == egg))
            if not asked.any():
                continue
            known = real[~here & (real.eggs != (egg or ""))]
            basis = status_basis(known, drawn)
            choice = StatusChoice(settings["strength"], settings["drawn_share"], 1.0, 1.0, basis)
            matrix, offset = fitted_status(known, drawn, choice)
            logits[asked] = basis(real.embeddings[asked]) @ matrix + offset
    area = dead_against_living(real, death_score(logits))
    return {**asdict(area), "day_error": evenings_alike(real, np.abs(days - real.days))}
