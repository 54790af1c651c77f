"""One line of the table of targets: what was asked, what was measured, on how much."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TargetRow:
    """A target beside its figure, in words ready to be printed.

    Attributes
    ----------
    name
        What is measured, such as "air-cell depth, drawn eggs".
    asked, measured
        The target, and the figure with its interval.
    counted
        On how many photos, eggs, evenings.
    met
        Whether the figure meets the target; ``None`` where it stands for comparison only.
    """

    name: str
    asked: str
    measured: str
    counted: str
    met: bool | None
