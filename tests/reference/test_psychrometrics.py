"""Moist air against psychrolib (ASHRAE Handbook, Fundamentals) and published tables."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.psychrometrics import (
    KPA_PER_TORR,
    SEA_LEVEL_KPA,
    celsius,
    fahrenheit,
    humidity_spread_percent,
    pressure_kpa_at,
    relative_humidity_percent,
    saturation_pressure_kpa,
    vapour_pressure_kpa,
    wet_bulb_c,
)

psychrolib.SetUnitSystem(psychrolib.SI)

# Wet bulb in degrees F by relative humidity, at 99, 100, 101 and 102 degrees F: Mississippi State University
# Extension, "The avian embryo".
WET_BULB_F = {
    45: (80.5, 81.3, 82.2, 83.0),
    50: (82.5, 83.3, 84.2, 85.0),
    55: (84.5, 85.3, 86.2, 87.0),
    60: (86.5, 87.3, 88.2, 89.0),
    65: (88.0, 89.0, 90.0, 91.0),
    70: (89.7, 90.7, 91.7, 92.7),
}
CELLS = [
    (humidity, 99.0 + column, wet) for humidity, row in WET_BULB_F.items() for column, wet in enumerate(row)
]


@pytest.mark.parametrize("temperature", [0.5, 10.0, 18.0, 25.0, 35.0, 37.5, 38.9, 60.0, 99.0])
def test_saturation_pressure_is_psychrolibs(temperature: float) -> None:
    # Same equation, same constants: rounding only. (psychrolib takes ice below its triple point.)
    expected = psychrolib.GetSatVapPres(temperature) / 1000
    assert saturation_pressure_kpa(temperature) == pytest.approx(expected, rel=1e-9)


# CRC Handbook 1992-93, steam table, kPa, as transcribed; at 37 degrees C 6.2795, at 35 degrees 5.6267.
@pytest.mark.parametrize(("temperature", "kpa"), [(35, 5.6267), (37, 6.2795), (40, 7.3814)])
def test_saturation_pressure_is_that_of_the_steam_table(temperature: float, kpa: float) -> None:
    # Two formulations of the steam table: within 0.03 %.
    assert saturation_pressure_kpa(float(temperature)) == pytest.approx(kpa, rel=5e-4)


def test_the_misprint_at_38_degrees_is_not_followed() -> None:
    """The transcription has 6.6398 kPa at 38 degrees C, where ASHRAE gives 6.6315: 0.13 % off."""
    ours = saturation_pressure_kpa(38.0)
    assert ours == pytest.approx(6.6315, abs=1e-4)
    assert abs(ours / 6.6398 - 1) > 1e-3


def test_torr() -> None:
    # 37.5 degrees C: 48.41 Torr (ASHRAE); 40 degrees C: 55.37 Torr (CRC Handbook). 1 Torr is 0.133322 kPa.
    assert saturation_pressure_kpa(37.5) / KPA_PER_TORR == pytest.approx(48.41, abs=0.01)
    assert saturation_pressure_kpa(40.0) / KPA_PER_TORR == pytest.approx(55.37, abs=0.03)
    assert pytest.approx(0.133322, abs=1e-6) == KPA_PER_TORR


@pytest.mark.parametrize(("humidity", "dry_f", "wet_f"), CELLS)
def test_wet_bulb_table_cell_by_cell(humidity: float, dry_f: float, wet_f: float) -> None:
    # The table is rounded and smoothed: 0.3 degrees F or 1 % RH accepts every cell by the ASHRAE equations.
    wet = wet_bulb_c(celsius(dry_f), float(humidity))
    assert fahrenheit(wet) == pytest.approx(wet_f, abs=0.3)
    back = relative_humidity_percent(celsius(dry_f), celsius(wet_f))
    assert back == pytest.approx(humidity, abs=1.0)


def test_of_two_published_ranges_for_58_to_60_percent_the_physical_one_lies_between() -> None:
    """One text has 87-89 degrees F, another of the same house 84-86: at 100 degrees F it is 86.4 to 87.1."""
    low, high = (fahrenheit(wet_bulb_c(celsius(100.0), h)) for h in (58.0, 60.0))
    assert low == pytest.approx(86.4, abs=0.1)
    assert high == pytest.approx(87.1, abs=0.1)
    assert high < 89
    assert low > 86


@pytest.mark.parametrize("pressure", [101.325, 84.56, 70.11])
@pytest.mark.parametrize("humidity", [5.0, 30.0, 55.0, 75.0, 99.0, 100.0])
@pytest.mark.parametrize("dry", [15.0, 25.0, 37.5, 38.9])
def test_wet_bulb_is_psychrolibs(dry: float, humidity: float, pressure: float) -> None:
    if wet_of_psychrolib(dry, humidity, pressure) < 0:
        with pytest.raises(ValueError, match="freeze"):
            wet_bulb_c(dry, humidity, pressure_kpa=pressure)
        return
    # psychrolib stops at 0.001 K.
    wet = wet_bulb_c(dry, humidity, pressure_kpa=pressure)
    assert wet == pytest.approx(wet_of_psychrolib(dry, humidity, pressure), abs=2e-3)


def wet_of_psychrolib(dry: float, humidity: float, pressure: float) -> float:
    return float(psychrolib.GetTWetBulbFromRelHum(dry, humidity / 100, pressure * 1000))


@given(dry=st.floats(20, 45), depression=st.floats(0, 10), altitude=st.floats(0, 3000))
def test_humidity_from_wet_bulb_is_psychrolibs_and_goes_back(
    dry: float, depression: float, altitude: float
) -> None:
    wet, pressure = dry - depression, pressure_kpa_at(altitude)
    ratio = psychrolib.GetHumRatioFromTWetBulb(dry, wet, pressure * 1000)
    expected = 100 * psychrolib.GetRelHumFromHumRatio(dry, ratio, pressure * 1000)
    humidity = relative_humidity_percent(dry, wet, pressure_kpa=pressure)
    assert humidity == pytest.approx(expected, abs=1e-6)
    if humidity <= 100:
        assert wet_bulb_c(dry, humidity, pressure_kpa=pressure) == pytest.approx(wet, abs=1e-6)


# Standard atmosphere, kPa, and the factor on the loss of the same egg (diffusion goes with 1 / pressure:
# Sotherland et al. 1980, Auk 97:177).
@pytest.mark.parametrize(
    ("metres", "kpa", "factor"),
    [
        (0, 101.33, 1.0),
        (500, 95.46, 1.061),
        (1000, 89.87, 1.127),
        (1500, 84.56, 1.198),
        (2000, 79.50, 1.275),
        (3000, 70.11, 1.445),
    ],
)
def test_pressure_at_altitude(metres: float, kpa: float, factor: float) -> None:
    pressure = pressure_kpa_at(float(metres))
    assert pressure == pytest.approx(kpa, abs=0.01)
    assert pressure == pytest.approx(psychrolib.GetStandardAtmPressure(metres) / 1000, rel=1e-6)
    assert SEA_LEVEL_KPA / pressure == pytest.approx(factor, abs=0.001)


def test_what_two_thermometers_leave_open() -> None:
    """Against draws through psychrolib."""
    rng = np.random.default_rng(8)
    dry, wet = 37.5 + 0.2 * rng.standard_normal(1500), 29.5 + 0.4 * rng.standard_normal(1500)
    drawn = [
        100 * psychrolib.GetRelHumFromTWetBulb(float(d), float(w), 101325)
        for d, w in zip(dry, wet, strict=True)
    ]
    stated = humidity_spread_percent(37.5, 29.5, dry_spread_c=0.2, wet_spread_c=0.4)
    assert stated == pytest.approx(float(np.std(drawn)), rel=0.06)  # 1500 draws: +- 1.8 %
    assert humidity_spread_percent(37.5, 37.5, dry_spread_c=0.0, wet_spread_c=0.0) == 0


def test_fahrenheit_and_back() -> None:
    assert fahrenheit(37.5) == pytest.approx(99.5)
    assert celsius(102.0) == pytest.approx(38.8889, abs=1e-4)
    assert celsius(fahrenheit(np.array([-40.0, 0.0, 100.0]))) == pytest.approx([-40, 0, 100])


def test_arrays_give_what_single_numbers_give() -> None:
    dry, humidity = np.array([37.0, 37.5, 38.0]), np.array([40.0, 55.0, 70.0])
    wet = wet_bulb_c(dry, humidity)
    assert wet.shape == (3,)
    assert wet == pytest.approx([wet_bulb_c(float(t), float(h)) for t, h in zip(dry, humidity, strict=True)])
    assert relative_humidity_percent(dry, wet) == pytest.approx(humidity)
    assert wet_bulb_c(37.5, humidity)[1] == pytest.approx(wet[1])
    assert vapour_pressure_kpa(37.5, 50.0) == pytest.approx(6.4542 / 2, abs=1e-4)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: relative_humidity_percent(37.5, 38.0), "wet bulb cannot stand above the dry bulb"),
        (lambda: relative_humidity_percent(40.0, 8.0), "even dry air would not cool it so"),
        (lambda: wet_bulb_c(37.5, 110.0), "between 0 and 100 per cent, not 110"),
        (lambda: vapour_pressure_kpa(37.5, -1.0), "between 0 and 100 per cent, not -1"),
        (lambda: wet_bulb_c(2.0, 10.0), "freeze"),
        (lambda: wet_bulb_c(37.5, 50.0, pressure_kpa=1013.25), "pressure_kpa must lie between"),
        (lambda: saturation_pressure_kpa(101.5), "is it in degrees F"),
        (lambda: saturation_pressure_kpa(float("nan")), "between 0 and 100 degrees C"),
        (lambda: pressure_kpa_at(20000.0), "altitude_m must lie between"),
    ],
)
def test_the_impossible_is_refused(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
