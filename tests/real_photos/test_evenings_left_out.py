"""The figures the project reports on real photos, with networks that never saw the evening.

Truth: outlines, lines and labels of the data set "egg-condition-classifications" (version
2023-10-18, CC BY 4.0), marked by one annotator. The limits are those the work was asked to reach;
``trayglow evaluate`` prints the full tables.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.evaluation import judgement
from models.evaluation.air_cell_lines import line_score, marked_depth
from models.evaluation.left_out_readings import LeftOutReading, read_all_left_out
from models.evaluation.nested import status_answers
from models.evaluation.nested_day import DaySettings, evenings_alike, fit_day, living_folds
from models.evaluation.outlines import overlap_table
from models.examples import Examples, real_examples
from models.judge import shipped_heads
from models.shared_data import real_photos
from models.training.simulated_examples import kept_examples

pytestmark = [pytest.mark.real_photos, pytest.mark.slow, pytest.mark.timeout(900)]


@pytest.fixture(scope="module")
def readings(shared_folder: Path) -> tuple[LeftOutReading, ...]:
    return read_all_left_out(real_photos(shared_folder))


@pytest.fixture(scope="module")
def real(readings) -> Examples:
    return real_examples([r.photo for r in readings], [r.embedding for r in readings])


@pytest.fixture(scope="module")
def figures():
    return shipped_heads().card["figures"]


def test_every_real_photo_has_its_egg(readings):
    assert [r.photo.name for r in readings if r.outline is None] == []


def test_outlines_overlap_the_eye_s(readings):
    """Asked: median at least 0.93, and 90 % of photos at least 0.85."""
    whole = overlap_table(readings)[-1]
    assert whole.photos == 436
    assert whole.median >= 0.93
    assert whole.share_good >= 0.90


def test_no_evening_is_much_worse_than_the_rest(readings):
    for row in overlap_table(readings):
        assert row.median >= 0.93, f"evening {row.evening}"


def test_air_cell_lines_are_those_the_eye_sees(readings):
    """Asked: within 0.015 of the length, found in 85 %, claimed in at most 5 % where the eye sees none.

    In the picture the lines are nearly the same (0.006 of the length, a third of a millimetre). Counted
    each from its own outline's pole they differ more, for an ellipse reaches beyond an egg's blunt pole.
    """
    score = line_score(readings)
    assert score.place_difference <= 0.010
    assert score.line_difference <= 0.015 < score.guess_difference
    assert score.found >= 0.85 * score.marked
    assert score.claimed <= 0.05 * score.without


def test_the_eye_s_depth_grows_as_the_data_set_says(real_photo_labels):
    """The data set's README: about 0.09 on day 4, 0.12 on day 8, 0.14 on day 9.

    Our reading of the marks must give those means, to the second decimal that it states.
    """
    for day, wanted in (("4", 0.09), ("8", 0.12), ("9", 0.14)):
        depths = [d for r in real_photo_labels if r["day"] == day and (d := marked_depth(r)) is not None]
        assert np.mean(depths) == pytest.approx(wanted, abs=0.012), f"day {day}, {len(depths)} lines"


def test_dead_eggs_are_told_from_living_ones(real, figures):
    """A linear model on such an embedding was known to reach 0.96 to 0.98 on these photos.

    The limit leaves room for five dead eggs being few and for days 3 and 4, when all look alike; the
    printed figure is the one to read, and it must be the card's (to what another processor's rounding
    may change).
    """
    roc = judgement.dead_against_living(real, judgement.death_score(status_answers(real, kept_examples())))
    assert roc.dead_eggs == 5
    assert roc.auc >= 0.94
    assert roc.auc == pytest.approx(figures["dead_against_living"]["auc"], abs=0.01)


def test_the_apparent_day_is_told_to_about_two_days(real, figures):
    """Known to be possible on these photos: about 2 days, evenings weighing alike."""
    settings = shipped_heads().card["settings"]
    chosen = DaySettings(settings["day_penalty"], settings["day_width"], settings["day_drawn_share"])
    days = np.full(len(real), np.nan)
    for asked, kept in living_folds(real, np.ones(len(real), bool)):
        days[asked] = fit_day(real[kept], kept_examples(), chosen)(real.embeddings[asked])
    assert evenings_alike(real, np.abs(days - real.days)) <= 2.1
    assert figures["days"][-1]["mean_absolute"] <= 2.1
