"""Humidity advice on flocks of known rates: the humidity by psychrolib and a closed form, and the words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import psychrolib
import pytest

from incubation.humidity_advice import (
    STEP_POINTS_A_DAY,
    WETTEST_PERCENT,
    HumidityAdvice,
    RoomAir,
    advise_humidity,
)
from incubation.psychrometrics import pressure_kpa_at
from incubation.species import SPECIES
from incubation.vapour_exposure import AirReading, exposure_from_log, exposure_without_log
from incubation.water_loss_data import BatchData, VolumeReading, Weighing
from incubation.water_loss_model import estimate_water_loss

psychrolib.SetUnitSystem(psychrolib.SI)
CHICKEN = SPECIES["chicken"]
EGGS = tuple(f"B{i}" for i in range(48))
AIM = (11.0, 13.0)


def batch(
    *,
    lost_percent: float,
    day: float = 10.0,
    humidity: float | None = 50.0,
    hygrometer: float = 2.0,
    error_g: float = 0.5,
    altitude_m: float = 0.0,
) -> BatchData:
    """A tray weighed at setting and today, in steady air."""
    air = (
        exposure_without_log(lockdown_day=18)
        if humidity is None
        else exposure_from_log(
            [AirReading(d, 37.5, humidity) for d in np.arange(0.0, day + 0.1, 0.5)],
            humidity_spread=hygrometer,
            lockdown_day=18,
        )
    )
    weighings = [
        Weighing("1", 0.0, 48 * 58.0, EGGS, error_g),
        Weighing("1", day, 48 * 58.0 * (1 - lost_percent / 100), EGGS, error_g),
    ]
    return BatchData(CHICKEN, [], weighings, air, day, 18.0, pressure_kpa=pressure_kpa_at(altitude_m))


def advice(data: BatchData, **options: object) -> HumidityAdvice:
    options = {"target": AIM, "hygrometer_checked": True} | options
    return advise_humidity(data, estimate_water_loss(data), **options)  # type: ignore[arg-type]


def test_the_humidity_is_that_of_the_vapour_pressure_law() -> None:
    """5.0 % lost in ten days at 50 %RH; 7.0 % more in eight: 1.75 times the deficit, by hand 12.5 %RH.

    Embryos that warm their eggs late do a little of it: up to 2 points.
    """
    found = advice(batch(lost_percent=5.0))
    assert found.humidity is not None
    by_hand = 100 - 50 * (7.0 / 8) / (5.0 / 10)
    assert found.humidity.value == pytest.approx(by_hand, abs=2.5)
    assert found.action == "lower"


@pytest.mark.parametrize(("lost", "action"), [(5.6, "lower"), (8.5, "raise")])
def test_wet_bulb_is_that_of_the_humidity(lost: float, action: str) -> None:
    found = advice(batch(lost_percent=lost))
    assert found.action == action
    assert found.humidity is not None
    assert found.wet_bulb_c is not None
    assert found.wet_bulb_f is not None
    for name in ("value", "low", "high"):
        expected = psychrolib.GetTWetBulbFromRelHum(37.5, getattr(found.humidity, name) / 100, 101325)
        assert getattr(found.wet_bulb_c, name) == pytest.approx(expected, abs=0.01)
        assert getattr(found.wet_bulb_f, name) == pytest.approx(32 + 1.8 * expected, abs=0.02)


def test_a_batch_on_course_is_left_alone() -> None:
    found = advice(batch(lost_percent=6.6))
    assert found.action == "keep"
    assert found.next_step_percent is None
    assert not found.weigh
    assert any("leave the humidity as it is" in reason for reason in found.reasons)
    assert AIM[0] < found.landing.low < found.landing.high < AIM[1]


def test_where_nothing_is_known_well_do_nothing_and_weigh() -> None:
    # Air cells of one evening alone, in the middle of what they may be.
    air = exposure_from_log(
        [AirReading(d, 37.5, 50.0) for d in range(11)], humidity_spread=3, lockdown_day=18
    )
    readings = [VolumeReading(egg, 10.0, 0.066) for egg in EGGS]
    data = BatchData(CHICKEN, readings, [], air, 10.0, 18.0)
    found = advice(data, hygrometer_checked=False)
    assert found.change_points is not None
    assert found.change_points.low < 0 < found.change_points.high
    assert found.action == "keep"
    assert found.weigh
    assert found.weighing_narrows_to is not None
    assert found.weighing_narrows_to < 0.5 * found.landing.width / 2
    said = " ".join(found.reasons)
    assert "do nothing now" in said
    assert "Weighing one tray on two days" in said
    assert "never checked" in said


def test_change_by_steps() -> None:
    found = advice(batch(lost_percent=8.5, humidity=40.0))
    assert found.action == "raise"
    assert found.humidity is not None
    assert found.humidity.value > 40 + STEP_POINTS_A_DAY
    assert found.next_step_percent == pytest.approx(40 + STEP_POINTS_A_DAY)
    small = advice(batch(lost_percent=7.2, humidity=40.0), target=(11.5, 12.3))
    assert small.next_step_percent is not None
    assert 40 < small.next_step_percent <= 40 + STEP_POINTS_A_DAY


@pytest.mark.parametrize(
    ("lost", "room", "limit", "words"),
    [
        (11.5, None, WETTEST_PERCENT, "water condenses"),
        (3.0, None, 20.0, "without any water"),
        # 22 degrees C and 60 %RH in the room, warmed to 37.5: by psychrolib.
        (
            3.0,
            RoomAir(22.0, 60.0),
            60 * psychrolib.GetSatVapPres(22.0) / psychrolib.GetSatVapPres(37.5),
            "air of the room",
        ),
    ],
)
def test_what_cannot_be_reached_is_said(lost: float, room: RoomAir | None, limit: float, words: str) -> None:
    found = advice(batch(lost_percent=lost), room=room)
    assert found.unreachable is not None
    assert words in found.unreachable
    assert f"about {limit:.0f} %RH" in found.unreachable
    assert found.landing_if_run is not None
    # Nearer to the aim than without a change, but not on it.
    assert abs(found.landing_if_run - 12) < abs(found.landing.value - 12)
    assert not AIM[0] < found.landing_if_run < AIM[1]


def test_run_as_advised_it_lands_on_the_middle() -> None:
    found = advice(batch(lost_percent=7.5))
    assert found.unreachable is None
    assert found.landing_if_run == pytest.approx(12.0, abs=0.05)


def test_a_hygrometers_error_widens_the_truth_and_not_what_it_should_show() -> None:
    sure, unsure = (advice(batch(lost_percent=7.2, hygrometer=h)) for h in (0.5, 5.0))
    for found in (sure, unsure):
        assert found.humidity is not None
        assert found.shown is not None
    assert unsure.humidity.width > 1.5 * sure.humidity.width  # type: ignore[union-attr]
    assert unsure.shown.width < 0.7 * unsure.humidity.width  # type: ignore[union-attr]
    assert unsure.shown.value == pytest.approx(sure.shown.value, abs=1)  # type: ignore[union-attr]
    unchecked = advice(batch(lost_percent=7.2), hygrometer_checked=False)
    assert any("never checked" in reason for reason in unchecked.reasons)


def test_humidity_is_inferred_where_none_is_logged() -> None:
    # A usual shell, 14 mg/(d Torr), loses 6 % in ten days at about 24.9 Torr, 48 %RH at 37.5 degrees C.
    found = advice(batch(lost_percent=6.0, humidity=None))
    assert found.inferred
    assert found.shown is None
    assert found.humidity_now is not None
    assert found.humidity_now.low < 48 < found.humidity_now.high
    assert found.humidity_now.width > 20
    assert any("No humidity is logged" in reason for reason in found.reasons)
    dry, wet = (advice(batch(lost_percent=x, humidity=None)) for x in (8.0, 4.5))
    assert dry.humidity_now is not None
    assert wet.humidity_now is not None
    assert dry.humidity_now.value < found.humidity_now.value < wet.humidity_now.value
    assert (dry.action, wet.action) == ("raise", "lower")


def test_height_changes_the_wet_bulb_and_what_a_loss_tells_of_the_air() -> None:
    low, high = (advice(batch(lost_percent=7.5, humidity=None, altitude_m=m)) for m in (0.0, 2000.0))
    assert low.humidity_now is not None
    assert high.humidity_now is not None
    # The same loss in thin air needs less of a deficit: moister air.
    assert high.humidity_now.value > low.humidity_now.value
    assert any("thin air" in reason for reason in high.reasons)
    logged = advice(batch(lost_percent=7.5, altitude_m=2000.0))
    assert logged.humidity is not None
    assert logged.wet_bulb_c is not None
    expected = psychrolib.GetTWetBulbFromRelHum(37.5, logged.humidity.value / 100, 79500)
    assert logged.wet_bulb_c.value == pytest.approx(expected, abs=0.02)


def test_at_lockdown_it_is_too_late_to_steer() -> None:
    found = advice(batch(lost_percent=10.0, day=17.5))
    assert found.action == "lockdown"
    assert found.humidity is None
    assert any("65 %RH" in reason for reason in found.reasons)


def test_a_long_gap_in_the_log_is_said() -> None:
    data = batch(lost_percent=7.5)
    air = exposure_from_log(
        [AirReading(0.0, 37.5, 50.0), AirReading(10.0, 37.5, 50.0)], humidity_spread=2, lockdown_day=18
    )
    assert any("long gaps" in reason for reason in advice(replace(data, exposure=air)).reasons)


def test_every_reason_is_a_sentence() -> None:
    for data in (batch(lost_percent=7.5), batch(lost_percent=3.0), batch(lost_percent=6.0, humidity=None)):
        for reason in advice(data).reasons:
            assert reason.endswith(".")
            assert reason[0].isupper()


def test_an_aim_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="rising per cents"):
        advice(batch(lost_percent=6.0), target=(13.0, 11.0))
