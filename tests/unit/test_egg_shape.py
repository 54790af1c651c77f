"""Shape index against published eggs and limits."""

from __future__ import annotations

import pytest

from incubation.egg_shape import egg_shape, unusual_limits


@pytest.mark.parametrize(
    ("index", "name"),
    # Limits of Altuntas & Sekeroglu 2008 (from memory): sharp < 72, normal 72 to 76, round > 76.
    [(71.9, "long"), (72.0, "normal"), (74.0, "normal"), (76.0, "normal"), (76.1, "round")],
)
def test_published_classes_of_hens_eggs(index, name):
    assert egg_shape(index).shape_class == name


@pytest.mark.parametrize(
    ("length", "breadth", "species"),
    [
        (54.55, 40.31, "chicken"),  # mean of 338 eggs, Liswaniso 2020
        (57.0, 42.0, "chicken"),  # Romanoff & Romanoff, from memory
        (66.61, 46.84, "turkey"),  # Braz. J. Poult. Sci. 2018
        (81.2, 54.3, "goose"),  # Karabulut 2021
        (86.7, 57.0, "goose"),
    ],
)
def test_mean_eggs_of_published_flocks_are_not_unusual(length, breadth, species):
    index = 100 * breadth / length
    assert egg_shape(index, species=species).warning is None


def test_a_goose_egg_among_hens_eggs_is_too_long_and_a_ball_too_round():
    assert egg_shape(66.9).warning == "too long"
    assert egg_shape(95.0).warning == "too round"
    assert egg_shape(66.9, species="goose").warning is None


def test_one_hens_egg_in_eighty_is_unusual():
    """Beyond 2.5 spreads either way lie 1.2 % of a normal population; the spread is 3.80 % of the mean
    (Acta Univ. Mendel. 2008)."""
    low, high = unusual_limits("chicken")
    assert (high - low) / 2 / ((high + low) / 2) == pytest.approx(2.5 * 0.038)


def test_a_species_without_published_sizes_gets_neither_class_nor_warning():
    found = egg_shape(60.0, species="peafowl")
    assert (found.shape_class, found.warning) == (None, None)


@pytest.mark.parametrize("index", [0.0, -3.0, 101.0, float("nan"), float("inf")])
def test_what_is_no_index_is_refused(index):
    with pytest.raises(ValueError, match="shape index"):
        egg_shape(index)
