"""Every target that was set for measuring with the eyes, and the table that shows each beside its figure.

The rows come from the evaluation modules; here stand only the targets, so that one that nothing measures
shows as missing and not at all as met.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from models.evaluation.target_row import TargetRow

NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Target:
    """A target: its part of the work, the start of the name of the row that answers it, what is asked."""

    part: str
    name: str
    asked: str


TARGETS: tuple[Target, ...] = (
    Target("Trays", "tray: every egg and every empty cup right", ">= 99% of trays"),
    Target("Trays", "tray: centre within 3% of the diameter", "all eggs"),
    Target("Trays", "tray: radius within 4% of the diameter", "all eggs"),
    Target("Trays", "tray: a dark egg found as well as a bright one", "alike"),
    Target("Trays", "tray card: printed, photographed, read back", "all"),
    Target("Trays", "several eggs in one photo: numbered in reading order", "all"),
    Target("Air cell", "real lines: mean absolute difference", "<= 0.015 of the length"),
    Target("Air cell", "real lines: found where the eye sees one", ">= 85%"),
    Target("Air cell", "real lines: claimed where the eye sees none", "<= 5%"),
    Target("Air cell", "drawn lines: found where a person could see one", ">= 95%"),
    Target("Air cell", "drawn lines: claimed where a person sees none", "<= 2%"),
    Target("Air cell", "drawn lines: mean absolute error", "<= 0.6 mm"),
    Target("Air cell", "drawn lines: bias", "within 0.2 mm"),
    Target("Air cell", "drawn lines: within 1.5 mm", ">= 95%"),
    Target("Air cell", "drawn lines: tilt", "within 4 degrees"),
    Target("Air cell", "others' simulator: mean absolute error", "<= 0.6 mm"),
    Target("Air cell", "end view: diameter, mean absolute error", "<= 1.0 mm"),
    Target("Air cell", "intervals: truths in the 90% interval", "about 90%"),
    Target("Air cell", "mass balance: day-9 line at 0.13 of the length", "about 3.5 mL"),
    Target("Veins, embryo, ring, shell", "veins wider than 2 px: recall", ">= 0.8"),
    Target("Veins, embryo, ring, shell", "veins wider than 2 px: precision", ">= 0.8"),
    Target("Veins, embryo, ring, shell", "no veins seen in: clear eggs", "none"),
    Target("Veins, embryo, ring, shell", "no veins seen in: speckled brown shells", "none"),
    Target("Veins, embryo, ring, shell", "no veins seen in: pencil marks", "none"),
    Target("Veins, embryo, ring, shell", "no veins seen in: cracks", "none"),
    Target("Veins, embryo, ring, shell", "no veins seen in: stray hair", "none"),
    Target("Veins, embryo, ring, shell", "veins, yes or no: agrees with the eye", ">= 90%"),
    Target("Veins, embryo, ring, shell", "retinal vessels: ROC-AUC", ">= 0.945"),
    Target("Veins, embryo, ring, shell", "retinal vessels: Dice at 0.5", ">= 0.66"),
    Target("Veins, embryo, ring, shell", "blood ring", "radius and completeness"),
    Target("Veins, embryo, ring, shell", "shell: shape index", "as published classes"),
    Target("Photo quality", "photo quality: named on good photos", "<= 3%"),
    Target("Photo quality", "photo quality: out of focus", ">= 95% named"),
    Target("Photo quality", "photo quality: shaken", ">= 95% named"),
    Target("Photo quality", "photo quality: glare", ">= 95% named"),
    Target("Photo quality", "photo quality: overexposed", ">= 90% named"),
    Target("Photo quality", "photo quality: too dark", ">= 95% named"),
    Target("Photo quality", "photo quality: cut off", ">= 95% named"),
    Target("Photo quality", "photo quality: hand in front", ">= 90% named"),
    Target("Photo quality", "photo quality: lamp off", ">= 90% named"),
    Target("Photo quality", "photo quality: two lights", ">= 90% named"),
    Target("Photo quality", "photo quality: no numbers from the worst", ">= 95% not measured"),
)


def complete(rows: Iterable[TargetRow]) -> list[tuple[str, TargetRow]]:
    """All targets in their order, each with its part; what no row answers says that it was not measured.

    A row answers a target whose name its own name starts with. Rows beside these follow the one
    before them, in its part.
    """
    given = list(rows)
    owner = [next((t for t in TARGETS if r.name.startswith(t.name)), None) for r in given]
    table: list[tuple[str, TargetRow]] = []
    placed: dict[str, list[TargetRow]] = {t.name: [] for t in TARGETS}
    last: Target | None = None
    first: list[TargetRow] = []
    for row, target in zip(given, owner, strict=True):
        last = target or last
        (placed[last.name] if last else first).append(row)
    table += [(TARGETS[0].part, row) for row in first]
    for target in TARGETS:
        answers = placed[target.name]
        if not answers:
            answers = [TargetRow(target.name, target.asked, NOT_MEASURED, "", None)]
        table += [(target.part, row) for row in answers]
    return table


def unanswered(rows: Iterable[TargetRow]) -> tuple[str, ...]:
    """Names of the targets that no row answers."""
    names = [r.name for r in rows]
    return tuple(t.name for t in TARGETS if not any(n.startswith(t.name) for n in names))


def target_table(rows: Sequence[TargetRow]) -> str:
    """The whole table as lines of text: yes, no, or - where a figure stands for comparison only."""
    table = complete(rows)
    heads = ("target", "asked", "measured", "counted", "met")
    cells = [
        (r.name, r.asked, r.measured, r.counted, {True: "yes", False: "NO", None: "-"}[r.met])
        for _, r in table
    ]
    widths = [max(len(line[i]) for line in (heads, *cells)) for i in range(len(heads))]

    def line(values: Sequence[str]) -> str:
        return "  ".join(v.ljust(w) for v, w in zip(values, widths, strict=True)).rstrip()

    lines = [line(heads)]
    part = ""
    for (this, _), values in zip(table, cells, strict=True):
        if this != part:
            lines += ["", this]
            part = this
        lines.append(line(values))
    met = [r.met for _, r in table]
    missing = sum(r.measured == NOT_MEASURED for _, r in table)
    lines += ["", f"{met.count(True)} met, {met.count(False)} missed, {missing} not measured"]
    return "\n".join(lines) + "\n"
