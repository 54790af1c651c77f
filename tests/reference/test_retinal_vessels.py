"""Veins on retinal photographs traced by two people (CHASE_DB1), which nothing was fitted to.

Fraz et al. 2012, IEEE Trans. Biomed. Eng. 59:2538, doi:10.1109/TBME.2012.2205687; CC BY 4.0. The
baseline is scikit-image's `sato` by the protocol of ``models/evaluation/retinal_vessels.py``: area
under the ROC curve 0.931, Dice 0.613 at a tuned threshold. Asked of us, with nothing tuned: 0.945 and
0.66 (the level published for unsupervised oriented filters, B-COSFIRE: Azzopardi et al. 2015).

``python -m pytest tests/reference/test_retinal_vessels.py -s`` prints the table of three images; the whole
table is ``evaluate_retinal_vessels``.
"""

from __future__ import annotations

import sys

import numpy as np

from models.evaluation.retinal_vessels import evaluate_retinal_vessels, field_of_view, retinal_table

# Both of sato's worst images of the set and one of its middle.
IMAGES = ("06L", "10L", "04R")


def test_vessels_of_the_eye_are_found_better_than_by_the_best_plain_ridge_filter(vessel_photos):
    scores = evaluate_retinal_vessels(vessel_photos, IMAGES)
    sys.stdout.write("\n" + retinal_table(scores) + "\n")
    mean = scores[-1]
    assert mean.auc >= 0.945
    assert mean.dice >= 0.66
    # sato reaches 0.906 and 0.909 on the first two.
    assert min(s.auc for s in scores) > 0.93


def test_the_field_of_view_is_the_bright_disc():
    y, x = np.mgrid[:200, :220]
    disc = (x - 110) ** 2 + (y - 100) ** 2 < 80**2
    rgb = np.where(disc[..., None], (150, 60, 30), (3, 2, 2)).astype(np.uint8)
    found = field_of_view(rgb)
    # The smoothing moves the border by about a pixel.
    assert abs(found.sum() - np.pi * 80**2) < 2 * 2 * np.pi * 80
