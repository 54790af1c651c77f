"""What the model thinks of one egg: plain frozen records, a proposal and never a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Status = Literal["clear", "early death", "developing"]
Decision = Literal["pass", "confirm", "review"]


@dataclass(frozen=True)
class ApparentDay:
    """The day of incubation an egg looks like, with an interval, all in days."""

    day: float
    low: float
    high: float


@dataclass(frozen=True)
class Proposal:
    """The proposed status, the probabilities behind it, what is to be done and why.

    ``probability`` has one entry for each status, summing to 1. ``decision`` is ``pass`` (nobody
    needs to look), ``confirm`` (a person says yes before the egg is pulled) or ``review`` (a
    person looks closely); ``reasons`` are plain words.
    """

    status: Status
    probability: Mapping[str, float]
    decision: Decision
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """All the models say of one egg; what they could not say has a sentence in ``missing``.

    ``embedding`` is what they saw, (1280,), for a later training; two judgements that say the same
    are equal whatever it is.
    """

    apparent_day: ApparentDay | None
    proposal: Proposal
    missing: Mapping[str, str] = field(default_factory=dict)
    embedding: NDArray[np.float32] | None = field(default=None, compare=False, repr=False)
