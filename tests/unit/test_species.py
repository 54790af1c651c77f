"""Species data against published tables, and the rules derived from them."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime, timedelta, timezone

import pytest

from incubation.calendar import day_of_incubation, hours_since_set, start_of_day
from incubation.egg_geometry import hoyt_fresh_mass_g
from incubation.species import SPECIES, Species, species_named

ALL = pytest.mark.parametrize("species", SPECIES.values(), ids=SPECIES)

# Mississippi State University Extension unless another source is named.
PUBLISHED_TERMS = {
    "chicken": (21, 21),
    "turkey": (28, 28),
    "duck": (28, 28),
    "Japanese quail": (17, 17),
    "bobwhite": (23, 23),
    "guinea fowl": (28, 28),  # Araujo 2019, Yamak 2016
    "pheasant": (23, 25),  # list 23-24, chart 24-25, Yamak 2016 25
    "chukar": (22, 24),  # list 22-23, chart 23-24
    "goose": (29, 33),  # list 29-31, chart 30, MSU about 33
    "muscovy": (33, 37),  # lists 33-35 and 35-37
    "peafowl": (28, 29),
}


@pytest.mark.parametrize(("name", "span"), PUBLISHED_TERMS.items())
def test_term_is_the_published_one(name: str, span: tuple[int, int]) -> None:
    assert span[0] <= SPECIES[name].term_days <= span[1]


# Last turning day: common practice, no published table found.
LAST_TURNING = {"chicken": 18, "turkey": 25, "duck": 25, "goose": 27, "guinea fowl": 25, "pheasant": 21}


@pytest.mark.parametrize(("name", "day"), LAST_TURNING.items())
def test_lockdown_is_when_turning_stops(name: str, day: int) -> None:
    assert SPECIES[name].lockdown_day == day
    assert SPECIES["Japanese quail"].lockdown_day in (14, 15)


# First candling: UC ANR Publ. 8134.
@pytest.mark.parametrize(
    ("names", "low", "high"),
    [(("chicken", "pheasant", "Japanese quail"), 5, 7), (("turkey", "duck", "goose"), 8, 10)],
)
def test_first_candling_day_is_the_published_one(names: tuple[str, ...], low: int, high: int) -> None:
    for name in names:
        assert low <= SPECIES[name].candling_days[0] <= high


def test_first_useful_day_depends_on_the_shell() -> None:
    # MSU: candle hens' eggs from day 4; brown shells day 5-6 (secondary page).
    chicken = SPECIES["chicken"]
    assert chicken.first_useful_candling_day("white") == 4
    assert chicken.first_useful_candling_day("brown") == 6
    assert chicken.first_useful_candling_day("dark") == 6
    assert chicken.first_useful_candling_day() == chicken.first_useful_candling_day("dark")
    # The same share of the term: 4/21 of 28 days is 5.3, so the sixth day.
    assert SPECIES["turkey"].first_useful_candling_day("white") == 6
    with pytest.raises(ValueError, match="known are white, tinted, brown, dark"):
        chicken.first_useful_candling_day("pink")  # type: ignore[arg-type]


def test_early_death_limit_is_a_third_of_the_term() -> None:
    assert SPECIES["chicken"].early_death_limit_day == pytest.approx(7)
    assert SPECIES["turkey"].early_death_limit_day == pytest.approx(28 / 3)


# Published mean sizes: mass g, length mm, breadth mm.
PUBLISHED_SIZES = [
    ("chicken", 49, 54.55, 40.31),  # Liswaniso 2020
    ("chicken", 58, 57, 42),  # Romanoff & Romanoff, from memory
    ("chicken", 70, None, None),  # UF EDIS VM099, breeders past 56 weeks
    ("turkey", 77.74, 66.61, 46.84),  # Braz. J. Poult. Sci. 2018
    ("duck", 51, None, None),  # Japanese comparison of breeds
    ("duck", 93, None, None),
    ("goose", 192.3, 86.7, 57.0),  # Karabulut 2021
    ("goose", 154.5, 80.3, 53.8),
    ("Japanese quail", 8.73, 33, 26),  # njap.org.ng; size from memory
    ("Japanese quail", 12.29, None, None),
    ("guinea fowl", 37.57, None, None),  # Araujo 2019
]


@pytest.mark.parametrize(("name", "mass", "length", "breadth"), PUBLISHED_SIZES)
def test_published_eggs_lie_within_the_ranges(
    name: str, mass: float, length: float | None, breadth: float | None
) -> None:
    species = SPECIES[name]
    assert species.mass_range_g[0] <= mass <= species.mass_range_g[1]
    if length is not None and breadth is not None:
        assert species.length_range_mm[0] <= length <= species.length_range_mm[1]
        assert species.breadth_range_mm[0] <= breadth <= species.breadth_range_mm[1]


@ALL
def test_usual_egg_weighs_what_its_size_says(species: Species) -> None:
    # Hoyt 1979, W = 0.548 L B^2, about 2 % in the field; 10 % for values from several sources.
    assert hoyt_fresh_mass_g(species.length_mm, species.breadth_mm) == pytest.approx(species.mass_g, rel=0.1)


@ALL
def test_days_and_ranges_are_in_order(species: Species) -> None:
    assert species.term_range_days[0] <= species.term_days <= species.term_range_days[1]
    assert species.lockdown_day == species.term_days - 3
    assert list(species.candling_days) == sorted(set(species.candling_days))
    assert species.candling_days[-1] == species.lockdown_day
    assert species.first_useful_candling_day() <= species.candling_days[0] < species.lockdown_day
    assert species.early_death_limit_day < species.lockdown_day
    for usual, span in (
        (species.mass_g, species.mass_range_g),
        (species.length_mm, species.length_range_mm),
        (species.breadth_mm, species.breadth_range_mm),
    ):
        assert span[0] < usual < span[1]
    # Ar & Rahn 1980, 81 species: 15.0 +- 2.5 % over the whole incubation; poultry aim a little lower.
    assert 10 <= species.water_loss_percent[0] < species.water_loss_percent[1] <= 17.5


@ALL
def test_every_value_names_its_source(species: Species) -> None:
    values = {f.name for f in fields(Species)} - {"name", "sources"}
    assert set(species.sources) <= values
    assert all(species.source(name).strip() for name in values)
    # A term has always been looked up, at least in a weak list.
    assert "memory" not in species.source("term_days")


def test_species_are_found_however_written() -> None:
    assert species_named(" japanese_Quail").name == "Japanese quail"
    assert species_named("Guinea-Fowl") is SPECIES["guinea fowl"]
    with pytest.raises(ValueError, match="unknown species 'hen'; known are chicken, bantam, turkey"):
        species_named("hen")


def test_day_zero_lasts_24_hours_from_setting() -> None:
    # People enter wall-clock times without a zone.
    set_at = datetime(2024, 4, 1, 18, 30)  # noqa: DTZ001
    assert day_of_incubation(set_at, set_at) == 0
    assert day_of_incubation(set_at, set_at + timedelta(hours=23, minutes=59)) == 0
    assert day_of_incubation(set_at, set_at + timedelta(hours=24)) == 1
    assert day_of_incubation(set_at, start_of_day(set_at, 18)) == 18
    assert hours_since_set(set_at, set_at - timedelta(hours=2)) == -2
    with pytest.raises(ValueError, match="before the eggs were set"):
        day_of_incubation(set_at, set_at - timedelta(minutes=1))


def test_days_count_real_hours_across_time_zones() -> None:
    set_at = datetime(2024, 4, 1, 12, tzinfo=UTC)
    later = datetime(2024, 4, 2, 13, 59, tzinfo=timezone(timedelta(hours=2)))
    assert day_of_incubation(set_at, later) == 0
    with pytest.raises(ValueError, match="time zone"):
        day_of_incubation(set_at, datetime(2024, 4, 2))  # noqa: DTZ001
