"""A sentence of advice with its source, so that no screen or report can show the one without the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Weight = Literal["note", "care", "leave out"]
WEIGHTS: tuple[Weight, ...] = ("note", "care", "leave out")


@dataclass(frozen=True)
class Remark:
    """What is to be said about an egg or a batch.

    Attributes
    ----------
    text
        One plain sentence for the person.
    source
        Where it comes from, or ``"common practice"`` or ``"from memory"``.
    weight
        ``"note"``: good to know; ``"care"``: set it with care, or mend it; ``"leave out"``: better not set.
    """

    text: str
    source: str
    weight: Weight = "note"


def heaviest(remarks: tuple[Remark, ...]) -> Weight:
    """The weight of the weightiest remark; ``"note"`` where there is none."""
    return max((remark.weight for remark in remarks), key=WEIGHTS.index, default="note")
