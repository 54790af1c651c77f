"""Exposure to drying air, from logs made up for the purpose."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from incubation.vapour_exposure import (
    AirReading,
    exposure_from_log,
    exposure_without_log,
    rate_of_late,
)

psychrolib.SetUnitSystem(psychrolib.SI)
TORR = 133.322  # Pa


def log(humidities: list[float], *, hours: float = 12, start: float = 0.0) -> list[AirReading]:
    return [AirReading(start + i * hours / 24, 37.5, h) for i, h in enumerate(humidities)]


def test_steady_air_makes_days_of_one_length() -> None:
    steady = exposure_from_log(log([50.0] * 21), humidity_spread=2, lockdown_day=18)
    # Saturation at 37.5 degrees C by psychrolib; embryos add up to some per cent late.
    torr = psychrolib.GetSatVapPres(37.5) * 0.5 / TORR
    assert steady.reference_torr == pytest.approx(torr, rel=0.02)
    assert steady.upto(5) == pytest.approx(5, rel=0.02)
    assert 4 < steady.upto(14) - steady.upto(10) < 4.3  # warmer eggs late in incubation
    assert (steady.temperature_c, steady.humidity_percent) == pytest.approx((37.5, 50))
    assert steady.covered == pytest.approx(1)


def test_exposure_follows_the_deficit() -> None:
    # Loss goes with 1 - RH (quail at three humidities: Romao et al. 2009): 0.7 to 0.4.
    changed = exposure_from_log(log([30.0] * 12 + [60.0] * 12), humidity_spread=0, lockdown_day=18)
    dry, wet = changed.upto(5.4), changed.upto(11.4) - changed.upto(6.0)
    assert dry / wet == pytest.approx(0.7 / 0.4, rel=0.05)
    assert rate_of_late(changed, 11.5) < 0.8


def test_a_wetter_air_than_read_dries_less() -> None:
    read = exposure_from_log(log([50.0] * 21), humidity_spread=3, lockdown_day=18)
    true = exposure_from_log(log([53.0] * 21), humidity_spread=3, lockdown_day=18)
    assert read.reference_torr is not None
    assert true.reference_torr is not None
    change = (true.upto(10) * true.reference_torr - read.upto(10) * read.reference_torr) / read.reference_torr
    assert 3 * read.per_point_upto(10) == pytest.approx(change, rel=1e-6)
    assert change < 0


def test_after_the_last_reading_the_air_stays_as_of_late() -> None:
    changed = exposure_from_log(log([30.0] * 12 + [60.0] * 12), humidity_spread=0, lockdown_day=18)
    assert changed.humidity_percent == pytest.approx(60)
    assert changed.upto(14) - changed.upto(13) == pytest.approx(rate_of_late(changed, 11.5), rel=0.02)


def test_a_gap_makes_the_log_worth_less() -> None:
    whole = exposure_from_log(log([50.0] * 21), humidity_spread=0, lockdown_day=18)
    gap = exposure_from_log(log([50.0] * 3) + log([50.0] * 3, start=9.0), humidity_spread=0, lockdown_day=18)
    assert gap.covered < 0.5
    assert whole.wander < gap.wander <= exposure_without_log(lockdown_day=18).wander


def test_without_a_log_a_day_is_nearly_a_day() -> None:
    unknown = exposure_without_log(lockdown_day=18)
    assert unknown.humidity_percent is None
    assert unknown.reference_torr is None
    assert unknown.upto(7) == pytest.approx(7, rel=0.01)
    assert unknown.upto(18) == pytest.approx(18, rel=0.03)


def test_the_air_to_come_is_less_certain_than_the_air_logged() -> None:
    steady = exposure_from_log(log([50.0] * 21), humidity_spread=0, lockdown_day=18)
    past, coming = steady.wander_over(np.array([0.0, 8.0, 16.0]), now=8.0)
    assert coming > past > 0


def test_order_and_readings_before_setting_do_not_matter() -> None:
    readings = log([40.0, 45.0, 50.0, 55.0])
    one = exposure_from_log(readings, humidity_spread=0, lockdown_day=18)
    two = exposure_from_log(
        [AirReading(-1.0, 20.0, 90.0), *readings[::-1]], humidity_spread=0, lockdown_day=18
    )
    assert np.array_equal(one.reference_days, two.reference_days)


@pytest.mark.parametrize(
    ("readings", "spread", "message"),
    [
        ([], 0.0, "no reading of temperature and humidity"),
        ([AirReading(-2, 37.5, 50)], 0.0, "no reading of temperature and humidity"),
        ([AirReading(1, 37.5, 110)], 0.0, "between 0 and below 100"),
        ([AirReading(1, 99.5, 50), AirReading(2, 101.5, 50)], 0.0, "degrees F"),
        ([AirReading(1, 37.5, 50)], -1.0, "humidity_spread"),
    ],
)
def test_what_is_no_air_is_refused(readings: list[AirReading], spread: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        exposure_from_log(readings, humidity_spread=spread, lockdown_day=18)
