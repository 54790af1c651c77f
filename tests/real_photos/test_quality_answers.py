"""Photo quality on real photos: good ones pass, the same ones spoilt by known amounts don't.

Only about 20 photos are labelled blurred, dark or overexposed, and most of those mildly; the thresholds
come from the spoilt ones (see ``models/evaluation/photo_quality.py``).
"""

from __future__ import annotations

import pytest

from models.evaluation.photo_quality import labelled_rows, spoilt_rows
from models.shared_data import real_photos as list_photos

pytestmark = pytest.mark.real_photos


def test_good_photos_are_usable_and_rarely_faulted(shared_folder, real_photos):
    photos = list_photos(shared_folder)[::3]
    good = labelled_rows(photos)[0]
    assert good.photos > 90
    assert good.unusable == 0
    assert good.any_named <= 0.05 * good.photos


def test_spoilt_photos_are_named(shared_folder, real_photos):
    photos = list_photos(shared_folder)[::20]
    rows = {row.what: row for row in spoilt_rows(photos)}
    for what, least in {
        "blurred by 0.012 egg lengths": 0.95,
        "blurred by 0.030 egg lengths": 0.95,
        "darkened 0.12 times": 0.95,
        "darkened 0.05 times": 0.95,
        # A third of the good photos are so dark that four times the light does them no harm.
        "brightened 4 times": 0.6,
    }.items():
        assert rows[what].named >= least * rows[what].photos, what
    for what in ("blurred by 0.030 egg lengths", "darkened 0.05 times"):
        assert rows[what].unusable >= 0.95 * rows[what].photos, what
