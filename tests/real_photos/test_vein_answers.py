"""Do the answers on veins and embryo agree with the eye's, on evenings that the weights never saw?

On veins the networks answer that never saw the evening. The other weights in the modules were fitted on all
photos on which the eye was sure; here they are fitted anew without each group of evenings. Some of the photos
only, to keep the suite fast; the full figures come from ``trayglow evaluate --eyes``.
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
    veins_left_out,
)
from models.shared_data import real_photos as list_photos

pytestmark = pytest.mark.real_photos


def balanced(data, probability):
    right = (probability > 0.5) == data.eye
    return np.mean([right[data.eye == answer].mean() for answer in (False, True)])


def test_veins_on_evenings_left_out(shared_folder, real_photos):
    data = veins_left_out(list_photos(shared_folder)[::5])
    assert len(data.eye) > 55
    # Asked: nine in ten of the eye's sure answers, on either side.
    assert balanced(data, data.terms[:, 0]) >= 0.9


@pytest.mark.slow
def test_veins_from_their_map_alone(shared_folder, real_photos):
    data = answer_data(list_photos(shared_folder)[::4], "vessels_visible", vein_terms, with_drawn=False)
    assert len(data.eye) > 70
    # Always answering "yes" would be balanced at 0.5. Eighty photos: give or take 0.04.
    assert balanced(data, left_out_probabilities(data, strength=VEIN_STRENGTH)) >= 0.8


def test_embryo_on_evenings_left_out(shared_folder, real_photos):
    data = answer_data(list_photos(shared_folder)[::3], "embryo_visible", embryo_terms)
    assert len(data.eye) > 70
    assert balanced(data, left_out_probabilities(data, strength=EMBRYO_STRENGTH)) >= 0.8
