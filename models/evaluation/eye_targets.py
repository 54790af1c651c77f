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
    """A target: its part of the work, its name, what is asked.

    A row whose name holds all of ``words``, whatever their case, answers it.
    """

    part: str
    name: str
    asked: str
    words: tuple[str, ...]


TARGETS: tuple[Target, ...] = (
    Target(
        "Trays", "tray: every egg and every empty cup right", ">= 99% of trays", ("every egg", "cup", "right")
    ),
    Target("Trays", "tray: centre within 3% of the diameter", "all eggs", ("tray", "centre")),
    Target("Trays", "tray: radius within 4% of the diameter", "all eggs", ("tray", "radius", "4")),
    Target("Trays", "tray: a dark egg found as well as a bright one", "alike", ("dark", "egg", "bright")),
    Target("Trays", "tray card: printed, photographed, read back", "all", ("tray card",)),
    Target("Trays", "several eggs in one photo: numbered in reading order", "all", ("several",)),
    Target(
        "Air cell",
        "real lines: depth, mean absolute difference",
        "<= 0.015 of the length",
        ("real lines", "depth"),
    ),
    Target("Air cell", "real lines: found where the eye sees one", ">= 85%", ("real lines", "found")),
    Target("Air cell", "real lines: claimed where the eye sees none", "<= 5%", ("real lines", "claimed")),
    Target("Air cell", "drawn lines: found where a person could see one", ">= 95%", ("drawn lines", "found")),
    Target("Air cell", "drawn lines: claimed where a person sees none", "<= 2%", ("drawn lines", "claimed")),
    Target("Air cell", "drawn lines: mean absolute error", "<= 0.6 mm", ("drawn lines", "mean absolute")),
    Target("Air cell", "drawn lines: bias", "within 0.2 mm", ("drawn lines", "bias")),
    Target("Air cell", "drawn lines: within 1.5 mm", ">= 95%", ("drawn lines", "1.5")),
    Target("Air cell", "drawn lines: tilt", "within 4 degrees", ("drawn lines", "tilt")),
    Target("Air cell", "others' simulator: mean absolute error", "<= 0.6 mm", ("others", "mean absolute")),
    Target("Air cell", "end view: diameter, mean absolute error", "<= 1.0 mm", ("end view",)),
    Target("Air cell", "intervals: truths in the 90% interval", "about 90%", ("interval",)),
    Target("Air cell", "mass balance: day-9 line at 0.13 of the length", "about 3.5 mL", ("mass balance",)),
    Target("Veins, embryo, ring, shell", "veins wider than 2 px: recall", ">= 0.8", ("wider than", "recall")),
    Target(
        "Veins, embryo, ring, shell",
        "veins wider than 2 px: precision",
        ">= 0.8",
        ("wider than", "precision"),
    ),
    Target("Veins, embryo, ring, shell", "no veins seen in: clear eggs", "none", ("no veins", "clear")),
    Target(
        "Veins, embryo, ring, shell",
        "no veins seen in: speckled brown shells",
        "none",
        ("no veins", "speckled"),
    ),
    Target("Veins, embryo, ring, shell", "no veins seen in: pencil marks", "none", ("no veins", "pencil")),
    Target("Veins, embryo, ring, shell", "no veins seen in: cracks", "none", ("no veins", "crack")),
    Target("Veins, embryo, ring, shell", "no veins seen in: stray hair", "none", ("no veins", "hair")),
    Target(
        "Veins, embryo, ring, shell", "veins, yes or no: agrees with the eye", ">= 90%", ("vein", "yes or no")
    ),
    Target("Veins, embryo, ring, shell", "retinal vessels: ROC-AUC", ">= 0.945", ("retinal", "roc")),
    Target("Veins, embryo, ring, shell", "retinal vessels: Dice at 0.5", ">= 0.66", ("retinal", "dice")),
    Target("Veins, embryo, ring, shell", "blood ring", "radius and completeness", ("blood ring",)),
    Target("Veins, embryo, ring, shell", "shell: shape index", "as published classes", ("shape index",)),
    Target(
        "Photo quality",
        "photo quality: named on good photos",
        "<= 3%",
        ("photo quality: named on good photos",),
    ),
    Target("Photo quality", "photo quality: out of focus", ">= 95% named", ("photo quality: out of focus",)),
    Target("Photo quality", "photo quality: shaken", ">= 95% named", ("photo quality: shaken",)),
    Target("Photo quality", "photo quality: glare", ">= 95% named", ("photo quality: glare",)),
    Target("Photo quality", "photo quality: overexposed", ">= 90% named", ("photo quality: overexposed",)),
    Target("Photo quality", "photo quality: too dark", ">= 95% named", ("photo quality: too dark",)),
    Target("Photo quality", "photo quality: cut off", ">= 95% named", ("photo quality: cut off",)),
    Target(
        "Photo quality", "photo quality: hand in front", ">= 90% named", ("photo quality: hand in front",)
    ),
    Target("Photo quality", "photo quality: lamp off", ">= 90% named", ("photo quality: lamp off",)),
    Target("Photo quality", "photo quality: two lights", ">= 90% named", ("photo quality: two lights",)),
    Target(
        "Photo quality",
        "photo quality: no numbers from the worst",
        ">= 95% not measured",
        ("photo quality: no numbers from the worst",),
    ),
)


def answered(row: TargetRow) -> Target | None:
    """The target that a row answers; the one with the most words where several fit."""
    name = row.name.lower()
    fitting = [t for t in TARGETS if all(word in name for word in t.words)]
    return max(fitting, key=lambda t: len(t.words), default=None)


def complete(rows: Iterable[TargetRow]) -> list[tuple[str, TargetRow]]:
    """All targets in their order, each with its part; what no row answers says that it was not measured.

    Rows that answer no target follow the one before them, in its part.
    """
    placed: dict[str, list[TargetRow]] = {t.name: [] for t in TARGETS}
    last = TARGETS[0]
    for row in rows:
        last = answered(row) or last
        placed[last.name].append(row)
    table: list[tuple[str, TargetRow]] = []
    for target in TARGETS:
        answers = placed[target.name]
        if not any(answered(row) == target for row in answers):
            answers = [TargetRow(target.name, target.asked, NOT_MEASURED, "", None), *answers]
        table += [(target.part, row) for row in answers]
    return table


def unanswered(rows: Iterable[TargetRow]) -> tuple[str, ...]:
    """Names of the targets that no row answers."""
    found = {target.name for row in rows if (target := answered(row)) is not None}
    return tuple(t.name for t in TARGETS if t.name not in found)


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
