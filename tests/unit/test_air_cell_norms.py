"""Expected air cells against the mass balance and published volumes."""

from __future__ import annotations

import pytest

from incubation.air_cell_norms import batch_in_norm, egg_in_norm, expected_air_cell
from incubation.egg_geometry import EggProfile, air_cell_volume_fraction
from incubation.species import SPECIES, Species

CHICKEN = SPECIES["chicken"]
ALL = pytest.mark.parametrize("species", SPECIES.values(), ids=SPECIES)


def test_day_9_holds_the_water_a_58_g_egg_has_lost() -> None:
    # Mass balance: 12 % of 58 g by day 18 is 3.5 g by day 9; with the fresh air cell about 3.7 mL.
    norm = expected_air_cell(CHICKEN, 9, mass_g=58)
    assert norm is not None
    assert norm.volume_ml == pytest.approx(3.7, abs=0.15)
    # Lines seen in photos of that day lie at 0.13 to 0.14 of the length, a little shallower than the
    # rim's plane: within 25 % of the volume, where the published depths are off by a factor of 2 to 4.
    egg = EggProfile.from_length_breadth(57, 43)
    assert air_cell_volume_fraction(0.135, egg) == pytest.approx(norm.volume_fraction, rel=0.25)


def test_day_12_volume_is_the_measured_one() -> None:
    # Durojaye et al. 2018: 4.53 mL on day 12; their depths are not used. 60 g: 0.62 % a day.
    norm = expected_air_cell(CHICKEN, 12, mass_g=60)
    assert norm is not None
    low, high = norm.single_volume_fraction
    share = 4.53 / (60 / 1.0638)  # Paganelli 1974 density of a 60 g egg
    assert low <= share <= high


def test_before_pipping_the_air_cell_is_the_water_lost() -> None:
    # 12 % of 60 g is 7.2 g, about 13 % of the egg's volume (Ar & Rahn 1980 logic).
    norm = expected_air_cell(CHICKEN, 18, mass_g=60)
    assert norm is not None
    assert norm.volume_fraction == pytest.approx(0.13, abs=0.01)


@ALL
def test_air_cell_grows_until_lockdown_and_then_has_no_norm(species: Species) -> None:
    norms = [expected_air_cell(species, day) for day in range(species.lockdown_day + 1)]
    shares = [norm.volume_fraction for norm in norms if norm is not None]
    assert len(shares) == species.lockdown_day + 1
    assert shares == sorted(shares)
    assert expected_air_cell(species, species.lockdown_day + 1) is None


@ALL
def test_ranges_hold_the_middle(species: Species) -> None:
    for day in (0, 7, species.lockdown_day):
        norm = expected_air_cell(species, day)
        assert norm is not None
        for middle, span in (
            (norm.volume_fraction, norm.aimed_volume_fraction),
            (norm.volume_fraction, norm.single_volume_fraction),
            (norm.depth_fraction, norm.aimed_depth_fraction),
            (norm.depth_fraction, norm.single_depth_fraction),
        ):
            assert span[0] < middle < span[1]
            assert span[0] >= 0


def test_single_eggs_spread_wider_than_the_batch_near_lockdown() -> None:
    norm = expected_air_cell(CHICKEN, 18)
    assert norm is not None
    assert norm.single_volume_fraction[0] < norm.aimed_volume_fraction[0]
    assert norm.single_volume_fraction[1] > norm.aimed_volume_fraction[1]


def test_shares_do_not_depend_on_the_egg_being_large() -> None:
    small = expected_air_cell(CHICKEN, 10, mass_g=45)
    large = expected_air_cell(CHICKEN, 10, mass_g=75)
    assert small is not None
    assert large is not None
    assert small.volume_fraction == pytest.approx(large.volume_fraction, rel=0.01)
    assert large.volume_ml / small.volume_ml == pytest.approx(75 / 45, rel=0.02)


def test_a_stored_egg_starts_with_a_larger_air_cell() -> None:
    # About 0.5 % of mass a week: 0.29 g, so about 0.29 mL, of a 58 g egg.
    fresh, stored = (
        expected_air_cell(CHICKEN, 0, mass_g=58),
        expected_air_cell(CHICKEN, 0, mass_g=58, storage_days=7),
    )
    assert fresh is not None
    assert stored is not None
    assert stored.volume_ml - fresh.volume_ml == pytest.approx(0.29, abs=0.01)


@pytest.mark.parametrize(
    ("day", "options", "message"),
    [
        (-1, {}, "day of incubation must be 0 or more"),
        (float("nan"), {}, "day of incubation must be 0 or more"),
        (7, {"mass_g": 0.0}, "mass_g must be a positive number"),
        (7, {"storage_days": -2.0}, "storage_days must be 0 or more"),
    ],
)
def test_impossible_questions_are_refused(day: float, options: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        expected_air_cell(CHICKEN, day, **options)  # type: ignore[arg-type]


def test_place_of_an_egg_and_of_a_batch() -> None:
    norm = expected_air_cell(CHICKEN, 14)
    assert norm is not None
    assert egg_in_norm(norm, norm.volume_fraction).percentile == pytest.approx(50)
    # The range holds about 95 of 100: its ends are the 2.3rd and 97.7th percentile (normal distribution).
    low, high = (egg_in_norm(norm, end) for end in norm.single_volume_fraction)
    assert (low.percentile, high.percentile) == pytest.approx((2.275, 97.725), abs=0.01)
    assert low.place == high.place == "as aimed"
    assert egg_in_norm(norm, 0.0).place == "small"
    assert egg_in_norm(norm, 0.3).place == "large"
    # What one egg may have is too much for the mean of a batch.
    assert batch_in_norm(norm, [norm.single_volume_fraction[1]] * 5).place == "large"
    assert batch_in_norm(norm, [norm.single_volume_fraction[0]] * 5).place == "small"
    assert batch_in_norm(norm, list(norm.single_volume_fraction)).place == "as aimed"


def test_nothing_has_no_place() -> None:
    norm = expected_air_cell(CHICKEN, 14)
    assert norm is not None
    with pytest.raises(ValueError, match="no air cell to compare"):
        batch_in_norm(norm, [])
    with pytest.raises(ValueError, match="between 0 and 1"):
        egg_in_norm(norm, 12.0)
