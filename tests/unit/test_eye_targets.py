"""The table of targets: every target has its row, what was missed or not measured is said."""

from __future__ import annotations

import pytest

from models.evaluation.eye_targets import NOT_MEASURED, TARGETS, complete, target_table, unanswered
from models.evaluation.target_row import TargetRow
from models.evaluation.wilson import share_text, wilson_interval


def rows_for_all():
    return [TargetRow(t.name, t.asked, "1.0", "10 photos", True) for t in TARGETS]


@pytest.mark.parametrize(
    "words",
    [
        "every egg and every empty cup", "centre within 3%", "radius within 4%", "dark egg", "tray card",
        "reading order", "real lines: mean absolute", "real lines: found", "real lines: claimed",
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
    # A row whose name goes on after the target's answers it too.
    longer = TargetRow(TARGETS[0].name + ", size given", "-", "99%", "50 trays", True)
    assert TARGETS[0].name not in unanswered([longer])


def test_wilson_s_interval():
    """Worked from the formula of Wilson 1927 by hand for 0 of 10: z^2 / (n + z^2) = 0.2775."""
    assert wilson_interval(0, 10) == pytest.approx((0.0, 0.2775), abs=1e-4)
    low, high = wilson_interval(10, 10)
    assert (low, high) == pytest.approx((1 - 0.2775, 1.0), abs=1e-4)
    assert wilson_interval(0, 0) == (0.0, 1.0)
    assert share_text(1, 2) == "50.0% (9.5 to 90.5)"
    assert share_text(0, 0) == "none to count"
