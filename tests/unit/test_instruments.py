"""Offsets of thermometers and hygrometers: published salt humidities, instruments with known truth."""

from __future__ import annotations

import numpy as np
import pytest

from incubation.instruments import (
    UNCHECKED_SD,
    Check,
    check_reference,
    offset_of,
    salt_humidity_percent,
)


@pytest.mark.parametrize(
    ("temperature_c", "humidity", "tolerance"),
    [
        (25, 75.3, 0.1),  # CRC Handbook, "Constant humidity solutions" (its own formula and value: 75)
        (20, 75.47, 0.5),  # Greenspan 1977, J. Res. Natl. Bur. Stand. 81A:89 (value from memory)
        (30, 75.6, 0.7),  # Wexler & Hasegawa 1954, J. Res. Natl. Bur. Stand. 53:19: maximum near 30 C
    ],
)
def test_cooking_salt_makes_about_75_percent(temperature_c, humidity, tolerance):
    # Tolerance: the handbook's formula is good to 2 %RH; sources differ by half a per cent.
    assert salt_humidity_percent(temperature_c) == pytest.approx(humidity, abs=tolerance)


@pytest.mark.parametrize("temperature_c", [5.0, 45.0])
def test_the_salt_test_belongs_into_a_room(temperature_c):
    with pytest.raises(ValueError, match="room temperature"):
        salt_humidity_percent(temperature_c)


def test_an_unchecked_hygrometer_is_said_to_be_one():
    offset = offset_of("humidity", [])
    assert (offset.add, offset.sd, offset.checks) == (0.0, UNCHECKED_SD["humidity"], 0)
    assert "never checked" in offset.sentence
    assert "salt" in offset.sentence


def test_one_check_moves_the_reading_most_of_the_way():
    reference, sd = check_reference("ice point")
    assert reference == 0.0
    offset = offset_of("temperature", [Check(shown=0.8, reference=reference, reference_sd=sd)])
    assert -0.8 <= offset.add <= -0.5
    assert offset.corrected(38.2) == pytest.approx(38.2 + offset.add)
    assert offset.sd < UNCHECKED_SD["temperature"]


def test_an_old_check_says_less_than_a_new_one():
    reference, sd = check_reference("saturated salt", room_temperature_c=20)
    fresh = offset_of("humidity", [Check(70, reference, sd)])
    old = offset_of("humidity", [Check(70, reference, sd, age_days=3 * 365)])
    assert old.sd > fresh.sd
    assert abs(old.add) < abs(fresh.add)


def test_checks_that_disagree_widen_the_result():
    agree = offset_of("humidity", [Check(70, 75.4, 1.5), Check(70.5, 75.4, 1.5)])
    disagree = offset_of("humidity", [Check(64, 75.4, 1.5), Check(78, 75.4, 1.5)])
    assert disagree.sd > 2 * agree.sd


def test_a_broken_instrument_is_not_corrected():
    with pytest.raises(ValueError, match="broken, or the check was read wrongly"):
        offset_of("humidity", [Check(30, 75.4, 1.5)])


@pytest.mark.parametrize(
    "options",
    [
        {"method": "by feel"},
        {"method": "reference"},
        {"method": "reference", "reference": 37.5, "reference_sd": 0.0},
    ],
)
def test_a_check_without_a_truth_is_refused(options):
    method = options.pop("method")
    with pytest.raises(ValueError, match=r"check"):
        check_reference(method, **options)


@pytest.mark.parametrize("checks", [0, 1, 2])
def test_intervals_hold_the_truth_as_stated(checks):
    """Instruments simulated as the module says they are: 90 % of truths lie in the 90 % interval.

    Tolerance: 2000 instruments give a standard error of 0.7 %; 3 % also allows for widening by disagreement.
    """
    rng = np.random.default_rng(61)
    inside = []
    for _ in range(2000):
        bias = rng.normal(0, 5.0)
        taken = []
        for _ in range(checks):
            truth = rng.normal(75.4, 1.5)
            shown = 75.4 - bias + rng.normal(0, 1.0) + rng.normal(0, 0.05 * 25)
            if abs(shown - 75.4) < 24:
                taken.append(Check(shown + (truth - 75.4), 75.4, 1.5))
        offset = offset_of("humidity", taken)
        inside.append(abs(offset.add - bias) <= 1.645 * offset.sd)
    assert np.mean(inside) == pytest.approx(0.90, abs=0.03)
