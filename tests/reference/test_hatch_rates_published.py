"""Rates after the hatch against printed worked examples, and their intervals against statsmodels."""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint

from incubation.hatch_egg import HatchEgg, row_letters
from incubation.hatch_rates import SCHEMES, HatchRates, hatch_rates, rate, rates_by, usual_ranges
from incubation.species import SPECIES
from vision.cup_names import row_letters as cup_row_letters

THIRDS = SCHEMES["thirds"]


def rates(**counts: int) -> HatchRates:
    """Rates of so many eggs of each fate; ``early`` are dead on day 3, ``clear`` ones were not opened."""
    eggs = []
    for kind, count in counts.items():
        for k in range(count):
            name = f"{kind} {k}"
            if kind == "early":
                eggs.append(HatchEgg(name, "dead", died_low_day=3, died_high_day=3))
            elif kind == "infertile":
                eggs.append(HatchEgg(name, "infertile", candled_clear=True))
            else:
                eggs.append(HatchEgg(name, kind))
    return hatch_rates(eggs, ranges=THIRDS)


def two_places(value: float) -> float:
    return round(value, 2)


# Worked examples in print, their arithmetic done again: a student text (2000 set, 93 infertile, 1728
# chicks), forum examples (12 set; 42 set), and one constructed (100 set). Percentages to two places.
@pytest.mark.parametrize(
    ("infertile", "dead", "hatched", "fertility", "of_fertile", "of_set"),
    [
        (93, 179, 1728, 95.35, 90.61, 86.40),
        (5, 8, 29, 88.10, 78.38, 69.05),
        (6, 1, 5, 50.00, 83.33, 41.67),
        (10, 10, 80, 90.00, 88.89, 80.00),
    ],
)
def test_printed_worked_examples(
    infertile: int, dead: int, hatched: int, fertility: float, of_fertile: float, of_set: float
) -> None:
    found = rates(infertile=infertile, dead=dead, hatched=hatched)
    assert found.fertility is not None
    assert found.hatch_of_fertile is not None
    assert found.hatch_of_set is not None
    assert two_places(found.fertility.percent) == fertility
    assert two_places(found.hatch_of_fertile.percent) == of_fertile
    assert two_places(found.hatch_of_set.percent) == of_set
    # Identity of the definitions.
    product = found.fertility.percent * found.hatch_of_fertile.percent / 100
    assert product == pytest.approx(found.hatch_of_set.percent, rel=1e-12)


def test_thirty_eggs_with_two_clear_and_two_early_dead() -> None:
    # Forum example: 30 set, 2 clear and 2 early dead taken out on days 7 to 10, 23 hatched. The early dead
    # were fertile, so the base is 28 (82.14 %); its author took 26 (88.46 %).
    found = rates(infertile=2, early=2, dead=3, hatched=23)
    assert found.fertility is not None
    assert found.hatch_of_fertile is not None
    assert found.hatch_of_set is not None
    assert two_places(found.fertility.percent) == 93.33
    assert two_places(found.hatch_of_fertile.percent) == 82.14
    assert two_places(found.hatch_of_set.percent) == 76.67
    assert found.hatch_of_fertile.of == 28


def test_a_rate_of_set_is_not_a_rate_of_fertile() -> None:
    # poultryperformanceplus.com, "Hatch breakout: don't let the numbers fool you": 3 early dead of 150 set
    # are 2 % of fertile at full fertility but 4 % of fertile where half were infertile.
    full, half = rates(early=3, hatched=147), rates(early=3, hatched=72, infertile=75)
    for found, of_fertile in ((full, 2.0), (half, 4.0)):
        assert found.early_of_set is not None
        assert found.early_of_fertile is not None
        assert found.early_of_set.percent == pytest.approx(2.0)
        assert found.early_of_fertile.percent == pytest.approx(of_fertile)


def test_clears_at_candling_are_not_infertility() -> None:
    # UC Davis, Definitions of Common Hatchery Terms: some clears are early deaths, so fertility by
    # candling is no more than true fertility. Four called clear; opening two shows a ring in one.
    opened = [
        HatchEgg("a", "dead", candled_clear=True, died_low_day=1, died_high_day=3),
        HatchEgg("b", "infertile", candled_clear=True),
    ]
    unopened = [HatchEgg("c", "clear", candled_clear=True), HatchEgg("d", "clear", candled_clear=True)]
    hatched = [HatchEgg(f"h{k}", "hatched") for k in range(6)]

    found = hatch_rates([*opened, *unopened, *hatched], ranges=THIRDS)
    assert found.candled_fertility is not None
    assert found.candled_fertility.percent == pytest.approx(60)
    assert found.fertility is None  # two were never opened: one number would be made up
    assert found.hatch_of_fertile is None
    assert found.early_of_fertile is None
    assert found.fertility_span is not None
    assert (found.fertility_span.low_percent, found.fertility_span.high_percent) == pytest.approx((70, 90))
    assert found.hatch_of_fertile_span is not None
    assert found.hatch_of_fertile_span.low_percent == pytest.approx(100 * 6 / 9)
    assert found.hatch_of_fertile_span.high_percent == pytest.approx(100 * 6 / 7)
    assert found.hatch_of_candled_fertile is not None
    assert found.hatch_of_candled_fertile.percent == pytest.approx(100)
    assert found.candled_fertility.percent <= found.fertility_span.low_percent

    known = hatch_rates([*opened, *hatched], ranges=THIRDS)
    assert known.fertility is not None
    assert known.candled_fertility is not None
    assert known.candled_fertility.percent <= known.fertility.percent == pytest.approx(87.5)


@pytest.mark.parametrize(
    ("count", "of"), [(0, 1), (0, 48), (1, 12), (5, 12), (37, 48), (48, 48), (1728, 1907)]
)
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_intervals_are_wilsons(count: int, of: int, confidence: float) -> None:
    found = rate(count, of, confidence=confidence)
    assert found is not None
    low, high = proportion_confint(count, of, alpha=1 - confidence, method="wilson")
    # Both evaluate the same closed form; only rounding differs (and 0 and 100 %, where it is a tiny number).
    assert found.low_percent == pytest.approx(100 * low, abs=1e-9)
    assert found.high_percent == pytest.approx(100 * high, abs=1e-9)


def test_jassims_deaths_by_stage() -> None:
    # chicken.embryo of the R package mable (Jassim et al. 1996): 43 deaths; 29 / 1 / 13 in thirds of the
    # term, 29 / 3 / 11 with mid deaths to day 17.
    days = dict(
        zip(range(1, 22), (6, 5, 11, 2, 2, 3, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 5, 1, 4, 1), strict=True)
    )
    eggs = [
        HatchEgg(f"{day}.{k}", "dead", died_low_day=day, died_high_day=day)
        for day, count in days.items()
        for k in range(count)
    ]
    by_thirds = hatch_rates(eggs, ranges=SCHEMES["thirds"])
    assert (by_thirds.early, by_thirds.mid, by_thirds.late) == (29, 1, 13)
    long_middle = hatch_rates(eggs, ranges=SCHEMES["long middle"])
    assert (long_middle.early, long_middle.mid, long_middle.late) == (29, 3, 11)


def test_day_ranges_of_other_species_are_the_published_ones() -> None:
    # Japanese quail 1-9, 10-16, 17-18 (Braz. J. Poult. Sci. 2017); pheasant 1-4, 5-20, 21-25 (Deeming &
    # Wadland 2001).
    quail, pheasant = usual_ranges(SPECIES["Japanese quail"]), usual_ranges(SPECIES["pheasant"])
    assert [quail.stage(day) for day in (9, 9.9, 10, 16, 17)] == ["early", "early", "mid", "mid", "late"]
    assert [pheasant.stage(day) for day in (4, 5, 20, 21)] == ["early", "mid", "mid", "late"]


def test_a_death_that_may_belong_to_two_stages_is_in_neither() -> None:
    eggs = [
        HatchEgg("a", "dead", died_low_day=7, died_high_day=10),
        HatchEgg("b", "dead"),
        HatchEgg("c", "pipped"),
    ]
    found = hatch_rates(eggs, ranges=THIRDS)
    assert (found.early, found.mid, found.late, found.stage_not_known, found.dead) == (0, 0, 1, 2, 3)


def test_an_egg_found_alive_is_fertile_but_neither_hatched_nor_dead() -> None:
    found = rates(alive=1, hatched=3)
    assert found.fertility is not None
    assert (found.fertility.count, found.dead, found.hatched) == (4, 0, 3)


def test_no_eggs_no_rates() -> None:
    found = hatch_rates([], ranges=THIRDS)
    assert found.hatch_of_set is None
    assert found.fertility is None
    assert found.fertility_span is None


def test_groups_in_natural_order_and_unknown_ones_apart() -> None:
    eggs = [
        HatchEgg("1", "hatched", tray="tray 10", storage_days=12, row=2, column=4),
        HatchEgg("2", "dead", tray="tray 2", storage_days=2),
        HatchEgg("3", "hatched", tray="tray 2", storage_days=2.5),
        HatchEgg("4", "hatched", tray="", storage_days=8),
    ]
    by_tray = rates_by(eggs, "tray", ranges=THIRDS)
    assert list(by_tray) == [("",), ("tray 2",), ("tray 10",)]
    assert [found.hatched for found in by_tray.values()] == [1, 1, 1]
    assert list(rates_by(eggs, "storage", ranges=THIRDS)) == [
        ("0 to 3 days",),
        ("8 to 10 days",),
        ("11 to 14 days",),
    ]
    both = rates_by(eggs, "tray", lambda egg: egg.name, ranges=THIRDS)
    assert sum(found.eggs_set for found in both.values()) == 4
    assert list(rates_by(eggs, "cup position", ranges=THIRDS)) == [("",), ("C5",)]
    with pytest.raises(ValueError, match="cannot group by 'colour'; give one of breed, pen"):
        rates_by(eggs, "colour", ranges=THIRDS)


def test_mistakes_name_the_egg() -> None:
    with pytest.raises(ValueError, match="egg C5: fate 'lost' is not known"):
        HatchEgg("C5", "lost")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="egg C5: died between day 9 and day 7"):
        HatchEgg("C5", "dead", died_low_day=9, died_high_day=7)
    with pytest.raises(ValueError, match="egg C5: it is hatched, so no day of death"):
        HatchEgg("C5", "hatched", died_low_day=9, died_high_day=9)
    with pytest.raises(ValueError, match="4 of 3 is no share"):
        rate(4, 3)


def test_rows_are_lettered_as_in_the_photos() -> None:
    assert [row_letters(row) for row in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert all(row_letters(row) == cup_row_letters(row) for row in range(60))
