"""Choosing, storing and receiving eggs, against what extension services and hatcheries print."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.choosing import FINDINGS, choosing_advice
from incubation.shipping import rested_from, shipping_remarks
from incubation.species import SPECIES
from incubation.storage import (
    advised_temperature_c,
    hatch_lost_percent,
    later_hatch_hours,
    storage_loss_percent,
    storage_remarks,
)

CHICKEN = SPECIES["chicken"]
DAYS = st.floats(0, 60)


@pytest.mark.parametrize(
    ("days", "low", "high"),
    # "Egg storage", poultryperformanceplus: 2-4 days 20-22, 4-7 days 17-19, 7-10 days 15-17, longer 14-15 C.
    [(3, 20, 22), (6, 17, 19), (9, 15, 17), (12, 14, 15)],
)
def test_longer_storage_wants_it_cooler(days, low, high):
    assert advised_temperature_c(days) == (low, high)


def test_a_week_of_storage_costs_half_a_per_cent_of_mass():
    # Hatchery how-to "Measure egg water loss": about 0.5 % a week.
    assert storage_loss_percent(7) == pytest.approx(0.5)


def test_storage_of_three_to_fourteen_days_costs_the_published_hatch():
    # van Roovert-Reijrink: about 1 % a day after 7 days; 0.93 % a day from 3 to 14 days.
    low, high = hatch_lost_percent(14)
    assert low == pytest.approx(7.0)
    assert high == pytest.approx(0.93 * 11)
    assert hatch_lost_percent(3) == (0.0, 0.0)


@given(DAYS, DAYS)
def test_more_days_never_cost_less(first, second):
    short, long = sorted((first, second))
    for value in (storage_loss_percent, later_hatch_hours):
        assert value(short) <= value(long)
    assert all(a <= b for a, b in zip(hatch_lost_percent(short), hatch_lost_percent(long), strict=True))
    low, high = hatch_lost_percent(long)
    assert low <= high


@pytest.mark.parametrize(
    ("species", "days"),
    # Mississippi State University Extension: hardly any hatch after 3 weeks (chicken), 4 (turkey), 2 (quail).
    [("chicken", 22), ("turkey", 29), ("Japanese quail", 15)],
)
def test_eggs_kept_beyond_the_longest_are_better_left_out(species, days):
    assert [remark.weight for remark in storage_remarks(days, species=species)] == ["leave out"]
    assert [remark.weight for remark in storage_remarks(days - 2, species=species)] == ["care"]


def test_a_week_in_a_cool_cellar_needs_no_remark():
    assert storage_remarks(6, temperature_c=17.0) == ()
    # MSU: 50 to 65 F; the refrigerator is too cold, the kitchen too warm.
    assert "harmed" in storage_remarks(6, temperature_c=4.0)[0].text
    assert "begins to grow" in storage_remarks(6, temperature_c=25.0)[0].text


def test_a_box_with_broken_eggs_asks_for_a_look_at_the_rest():
    remarks = shipping_remarks(sent=12, broken=3, rest_hours=2)
    assert any("3 of 12" in remark.text and "25 %" in remark.text for remark in remarks)
    assert any("Rested 2 hours" in remark.text for remark in remarks)
    assert not any("Rested" in remark.text for remark in shipping_remarks(sent=12, broken=0, rest_hours=24))


def test_more_broken_than_sent_is_refused():
    with pytest.raises(ValueError, match="of 6 eggs sent, 7"):
        shipping_remarks(sent=6, broken=7)


def test_a_day_of_rest():
    # Hatchery help article: 24 hours at room temperature, big end up.
    arrived = datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert rested_from(arrived) - arrived == timedelta(hours=24)


def test_a_sound_fresh_egg_is_set():
    # Mean hen's egg: 57 x 42 mm, 58 g (Romanoff & Romanoff, from memory).
    advice = choosing_advice(
        CHICKEN, storage_days=3, storage_temperature_c=20, mass_g=58, length_mm=57, breadth_mm=42
    )
    assert (advice.advice, advice.remarks) == ("set", ())


@pytest.mark.parametrize("finding", ["cracked", "double yolk"])
def test_what_may_burst_or_never_hatches_is_left_out_and_says_why_first(finding):
    advice = choosing_advice(CHICKEN, findings=["round", finding])
    assert advice.advice == "leave out"
    assert advice.remarks[0].weight == "leave out"
    assert all(remark.source for remark in advice.remarks)


def test_a_dirty_or_thin_egg_is_set_with_care():
    assert choosing_advice(CHICKEN, findings=["dirty", "thin"]).advice == "set with care"


def test_measured_shape_speaks_once():
    long_egg = choosing_advice(CHICKEN, length_mm=66, breadth_mm=40, findings=["pointed"])
    assert [remark.text for remark in long_egg.remarks] == [
        remark.text for remark in choosing_advice(CHICKEN, findings=["pointed"]).remarks
    ]
    assert choosing_advice(CHICKEN, length_mm=66, breadth_mm=40).remarks == long_egg.remarks


def test_a_quail_egg_among_hens_eggs_is_noticed():
    assert "lighter" in choosing_advice(CHICKEN, mass_g=11).remarks[0].text
    assert choosing_advice(SPECIES["Japanese quail"], mass_g=11).remarks == ()


@pytest.mark.parametrize(
    "options",
    [
        {"findings": ["wobbly"]},
        {"mass_g": 0.0},
        {"mass_g": float("nan")},
        {"length_mm": 40.0, "breadth_mm": 50.0},
        {"storage_days": -1.0},
    ],
)
def test_impossible_entries_are_refused_in_words(options):
    with pytest.raises(ValueError, match=r"[a-z]"):
        choosing_advice(CHICKEN, **options)


@given(st.sets(st.sampled_from(FINDINGS)), st.sets(st.sampled_from(FINDINGS)))
def test_another_fault_never_makes_an_egg_better(first, second):
    order = ["set", "set with care", "leave out"]
    fewer, more = choosing_advice(CHICKEN, findings=first), choosing_advice(CHICKEN, findings=first | second)
    assert order.index(fewer.advice) <= order.index(more.advice)
