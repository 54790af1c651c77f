"""The table of targets: every target has its row, what was missed or not measured is said."""

from __future__ import annotations

import pytest

from models.evaluation.eye_targets import NOT_MEASURED, TARGETS, answered, complete, target_table, unanswered
from models.evaluation.row_text import share_text
from models.evaluation.target_row import TargetRow


def rows_for_all():
    return [TargetRow(t.name, t.asked, "1.0", "10 photos", True) for t in TARGETS]


@pytest.mark.parametrize(
    "words",
    [
        "every egg and every empty cup", "centre within 3%", "radius within 4%", "dark egg", "tray card",
        "reading order", "real lines: depth", "real lines: found", "real lines: claimed",
        "drawn lines: found", "drawn lines: claimed", "drawn lines: mean absolute", "drawn lines: bias",
        "within 1.5 mm", "tilt", "others' simulator", "end view: diameter", "90% interval", "mass balance",
        "wider than 2 px: recall", "wider than 2 px: precision", "clear eggs", "speckled brown shells",
        "pencil marks", "cracks", "stray hair", "agrees with the eye", "ROC-AUC", "Dice", "blood ring",
        "shape index", "good photos", "out of focus", "shaken", "glare", "overexposed", "too dark", "cut off",
        "hand in front", "lamp off", "two lights", "no numbers",
    ],
)  # fmt: skip
def test_every_target_that_was_set_is_in_the_table(words):
    assert sum(words in target.name for target in TARGETS) == 1
    assert words in target_table([])


def test_a_target_that_nothing_measures_is_not_met():
    rows = [r for r in rows_for_all() if "tilt" not in r.name]
    assert unanswered(rows) == ("drawn lines: tilt",)
    missing = [row for _, row in complete(rows) if row.measured == NOT_MEASURED]
    assert [row.name for row in missing] == ["drawn lines: tilt"]
    assert missing[0].met is None
    assert f"{len(TARGETS) - 1} met, 0 missed, 1 not measured" in target_table(rows)


def test_a_miss_is_said():
    rows = rows_for_all()
    rows[0] = TargetRow(TARGETS[0].name, ">= 99% of trays", "97%", "100 trays", False)
    text = target_table(rows)
    assert text.splitlines()[3].endswith("NO")
    assert f"{len(TARGETS) - 1} met, 1 missed, 0 not measured" in text


def test_rows_beside_a_target_stand_below_it_in_its_part():
    beside = TargetRow("staggered trays only", "-", "98%", "50 trays", None)
    rows = rows_for_all()
    table = complete([rows[0], beside, *rows[1:]])
    assert [row.name for _, row in table][:2] == [TARGETS[0].name, "staggered trays only"]
    assert table[1][0] == TARGETS[0].part


def test_every_target_is_answered_by_a_row_of_its_name_alone():
    assert [answered(row).name for row in rows_for_all()] == [t.name for t in TARGETS]


def test_a_share_is_printed_with_its_interval():
    """1 of 2 by Wilson 1927: (1 +- sqrt(z^2 / (2 + z^2))) / 2."""
    assert share_text(1, 2) == "50.0% (9.5 to 90.5)"
    assert share_text(0, 0) == "none to count"
