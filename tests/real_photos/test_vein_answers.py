"""Do the answers on veins and embryo agree with the eye's, on evenings that the weights never saw?

The weights in the modules were fitted on all photos on which the eye was sure; here they are fitted
anew without each group of evenings, on some of the photos to keep the suite fast. The full figures come
from ``python -m models.training.fit_contents_answer veins`` and ``embryo``.
"""

from __future__ import annotations

import numpy as np
import pytest

from models.evaluation.contents import (
    EMBRYO_STRENGTH,
    VEIN_STRENGTH,
    answer_data,
    embryo_terms,
    left_out_probabilities,
    vein_terms,
)
from models.shared_data import real_photos as list_photos

pytestmark = pytest.mark.real_photos


def balanced(data, probability):
    right = (probability > 0.5) == data.eye
    return np.mean([right[data.eye == answer].mean() for answer in (False, True)])


@pytest.mark.slow
def test_veins_on_evenings_left_out(shared_folder, real_photos):
    data = answer_data(list_photos(shared_folder)[::4], "vessels_visible", vein_terms, with_drawn=False)
    assert len(data.eye) > 70
    # Always answering "yes" would be balanced at 0.5. Eighty photos: give or take 0.04.
    assert balanced(data, left_out_probabilities(data, strength=VEIN_STRENGTH)) >= 0.8


def test_embryo_on_evenings_left_out(shared_folder, real_photos):
    data = answer_data(list_photos(shared_folder)[::3], "embryo_visible", embryo_terms)
    assert len(data.eye) > 70
    assert balanced(data, left_out_probabilities(data, strength=EMBRYO_STRENGTH)) >= 0.8
