"""The shipped model's card: what people read is what the heads' file carries."""

from __future__ import annotations

from pathlib import Path

import pytest

from models.heads import STATUSES
from models.judge import shipped_heads
from models.training.fit_judgement import CARD, FIGURES_END, FIGURES_START, card_block, write_card

SHIPPED = CARD.parent
MOST_BYTES = 20e6


def test_the_card_says_what_the_heads_file_carries() -> None:
    text = CARD.read_text(encoding="utf-8")
    assert card_block(dict(shipped_heads().card)) in text


def test_rewriting_the_card_leaves_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "card.md"
    path.write_text(f"before\n{FIGURES_START}\nold\n{FIGURES_END}\nafter\n", encoding="utf-8")
    write_card(path, dict(shipped_heads().card))
    text = path.read_text(encoding="utf-8")
    assert text.startswith("before\n")
    assert text.endswith("after\n")
    assert "old" not in text


def test_counts_stand_beside_the_figures() -> None:
    figures = shipped_heads().card["figures"]
    for name in ("dead_against_living", "dead_against_living_series_out", "background"):
        row = figures[name]
        assert row["low"] <= row["auc"] <= row["high"]
        assert (row["dead_photos"], row["dead_eggs"]) == (23, 5)  # the data set's own labels
    for row in figures["confusion"]:
        assert sum(row["proposed"].values()) == row["photos"]
        assert row["status"] in STATUSES
    for row in figures["decisions"].values():
        assert row["pass"] + row["confirm"] + row["review"] == row["photos"]


def test_the_costly_errors_stay_within_what_was_asked() -> None:
    """Asked: at most 1 in 50 stand-ins for clear passed, at most 30 % of the living left to a person."""
    decisions = shipped_heads().card["figures"]["decisions"]
    stand_ins = decisions["stand-ins for clear, shown as day 8"]
    assert stand_ins["pass"] <= stand_ins["photos"] / 50
    living = decisions["living from day 4"]
    assert living["confirm"] <= living["photos"] / 50  # proposed to be pulled, though a person is asked


def test_all_shipped_models_together_are_small() -> None:
    networks = Path(__file__).resolve().parents[2] / "vision" / "egg_mask.onnx"
    files = [*SHIPPED.glob("*.onnx"), networks]
    assert sum(f.stat().st_size for f in files) < MOST_BYTES


@pytest.mark.parametrize(
    "point", ["pass_from", "confirm_from", "temperature", "day_half_width", "unlike_from"]
)
def test_the_card_has_every_operating_point(point: str) -> None:
    assert shipped_heads().card[point] > 0
