"""Tracing of causes on simulated hatches of known make-up, and what it says in words."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pytest

from bench.tracing_power import main
from incubation.hatch_cautions import hatch_cautions
from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.species import SPECIES
from incubation.tracing import Candidate, Tracing, trace_causes
from incubation.tracing.excursions import excursions
from sample_images.simulated_hatch import CAUSES, draw_hatch
from sample_images.simulated_hatch_book import Cause

HEN = SPECIES["chicken"]
NAMED_AS = {
    "sire": {"sire's clears"},
    "line": {"line's deaths"},
    "place": {"place on the tray"},
    "shelf": {"shelf", "tray", "machine"},
    "machine": {"machine", "shelf", "tray"},
}


def traced(seed: int, eggs: int, cause: Cause = "none", strength: float = 1.0) -> Tracing:
    hatch = draw_hatch(np.random.default_rng(seed), eggs=eggs, cause=cause, strength=strength)
    return trace_causes(
        [HatchEgg(**asdict(egg)) for egg in hatch.eggs],
        [LogPoint(**asdict(line)) for line in hatch.log],
        species=HEN,
        rng=np.random.default_rng(seed),
        deals=499,
    )


def standing(found: Tracing) -> list[Candidate]:
    return [candidate for candidate in found.candidates if candidate.verdict == "stands out"]


def by_cause(found: Tracing, cause: str) -> Candidate:
    return next(candidate for candidate in found.candidates if candidate.cause == cause)


@pytest.mark.slow
def test_hatches_without_a_cause_seldom_raise_an_alarm() -> None:
    # The level is 5 % for all candidates of a hatch together. Were it 5 %, 120 hatches would raise more than
    # 11 alarms in 2 of 100 such runs.
    alarms = sum(bool(standing(traced(seed, eggs))) for seed in range(40) for eggs in (24, 60, 110))
    assert alarms <= 11


@pytest.mark.slow
@pytest.mark.parametrize("cause", [cause for cause in CAUSES if cause != "none"])
def test_a_planted_cause_is_found_where_there_are_many_eggs(cause: Cause) -> None:
    # 300 eggs, full strength. Half of them at least: a small shelf, or a pen that fills a tray, hides some.
    named = [
        any(c.cause in NAMED_AS.get(cause, {cause}) for c in standing(traced(1000 + seed, 300, cause)))
        for seed in range(6)
    ]
    assert sum(named) >= 3


def test_few_eggs_are_not_enough_to_tell() -> None:
    # 4 of 12 dead on one shelf, 1 of 12 on the other: Fisher's exact test gives 16 of 100 one-sided.
    eggs = [
        HatchEgg(f"{shelf}.{k}", "dead" if k < dead else "hatched", shelf=shelf)
        for shelf, dead in ((1, 1), (2, 4))
        for k in range(12)
    ]
    found = trace_causes(eggs, species=HEN, rng=np.random.default_rng(1))
    shelf = by_cause(found, "shelf")
    assert shelf.verdict == "not enough eggs to tell"
    assert "4 of 12 (33 %" in shelf.supporting[0].sentence
    assert "not enough eggs" in found.summary


def test_the_same_seed_gives_the_same_answer() -> None:
    assert traced(11, 60, "sire") == traced(11, 60, "sire")


def pens(*counts: tuple[int, int], **fields: object) -> list[HatchEgg]:
    """Eggs of sires a, b, ...: (clear, hatched) of each."""
    eggs = []
    for sire, (clears, hatched) in zip("abcdef", counts, strict=False):
        for k in range(clears + hatched):
            fate = "infertile" if k < clears else "hatched"
            eggs.append(HatchEgg(f"{sire}{k}", fate, sire=sire, **fields))  # type: ignore[arg-type]
    return eggs


def test_a_sire_with_many_clears_is_named_with_his_counts() -> None:
    found = trace_causes(pens((14, 6), (2, 18), (3, 17)), species=HEN, rng=np.random.default_rng(1))
    first = found.candidates[0]
    assert (first.cause, first.verdict) == ("sire's clears", "stands out")
    assert first.title == "Clears of sire a"
    assert "14 of 20 (70 %" in first.supporting[0].sentence
    assert "5 of 40" in first.supporting[0].sentence
    assert len(first.eggs) == 20
    assert all(e.source for e in (*first.supporting, *first.opposing, *first.known, *first.open_points))
    assert "not proof" in found.summary


def test_one_hens_clears_speak_against_the_sire() -> None:
    eggs = [
        replace(egg, dam="hen 3" if egg.sire == "a" and egg.fate == "infertile" else f"hen {k % 5}")
        for k, egg in enumerate(pens((10, 10), (1, 19), (1, 19)))
    ]
    found = trace_causes(eggs, species=HEN, rng=np.random.default_rng(1))
    assert any("one hen, hen 3" in e.sentence for e in by_cause(found, "sire's clears").opposing)


def test_groups_that_are_the_same_eggs_are_not_told_apart() -> None:
    # Every egg of pen 2 lay on shelf 2, where most died.
    eggs = [
        HatchEgg(
            f"{shelf}.{k}",
            "dead" if k < (20 if shelf == 2 else 3) else "hatched",
            shelf=shelf,
            pen=f"pen {shelf}",
        )
        for shelf in (1, 2)
        for k in range(30)
    ]
    found = trace_causes(eggs, species=HEN, rng=np.random.default_rng(1))
    shelf = by_cause(found, "shelf")
    assert shelf.verdict == "stands out"
    assert any("pen 2: this hatch cannot tell the two apart" in e.sentence for e in shelf.open_points)


def test_what_another_candidate_explains_comes_after_it() -> None:
    # Shelf 2 kills two of three, whatever the pen; pen 4 lay mostly on it.
    eggs = []
    for shelf, pens in ((1, "111222333333" + "4"), (2, "112234444444" + "4")):
        for k, pen in enumerate(pens * 4):
            died = k % 3 != 0 if shelf == 2 else k % 7 == 0
            eggs.append(
                HatchEgg(f"{shelf}.{k}", "dead" if died else "hatched", shelf=shelf, pen=f"pen {pen}")
            )
    found = trace_causes(eggs, species=HEN, rng=np.random.default_rng(1))
    assert [c.cause for c in standing(found)] == ["shelf", "line's deaths"]
    assert any(
        "Shelf 2" in e.sentence and "Little of it is left" in e.sentence for e in found.candidates[1].opposing
    )
    assert not any("Little of it" in e.sentence for e in found.candidates[0].opposing)


def test_eggs_all_alike_give_nothing_to_compare() -> None:
    found = trace_causes(pens((5, 20), storage_days=6.0), species=HEN, rng=np.random.default_rng(1))
    assert {c.verdict for c in found.candidates} <= {"could not be looked at", "nothing seen"}
    assert any("kept for about 6 days" in e.sentence for e in by_cause(found, "storage").open_points)
    assert "nothing written down to compare" in found.summary
    empty = trace_causes([], species=HEN, rng=np.random.default_rng(1))
    assert standing(empty) == []
    assert empty.summary == "There are no eggs to trace."
    happy = trace_causes(pens((0, 12)), species=HEN, rng=np.random.default_rng(1))
    assert happy.summary == "All eggs hatched: there is nothing to trace."


def log(hot: dict[float, float]) -> list[LogPoint]:
    return [LogPoint(k / 2, hot.get(k / 2, 37.7), 50.0) for k in range(40)]


def deaths_on(day: float, count: int, others: int = 4, hatched: int = 30) -> list[HatchEgg]:
    eggs = [HatchEgg(f"d{k}", "dead", died_low_day=day, died_high_day=day + 1) for k in range(count)]
    eggs += [HatchEgg(f"e{k}", "dead", died_low_day=2, died_high_day=4) for k in range(others)]
    return eggs + [HatchEgg(f"h{k}", "hatched") for k in range(hatched)]


def test_deaths_that_follow_a_hot_spell_stand_out_and_earlier_ones_do_not() -> None:
    after = trace_causes(deaths_on(12, 9), log({12: 41.0}), species=HEN, rng=np.random.default_rng(1))
    assert (after.candidates[0].cause, after.candidates[0].verdict) == ("hot spell", "stands out")
    assert any("41.0 C" in e.sentence for e in after.candidates[0].supporting)
    before = trace_causes(deaths_on(8, 9), log({12: 41.0}), species=HEN, rng=np.random.default_rng(1))
    spell = by_cause(before, "hot spell")
    assert spell.verdict != "stands out"
    assert any("of 13 deaths" in e.sentence.lower() for e in spell.opposing)


def test_early_deaths_after_an_early_hot_spell_are_not_blamed_on_it() -> None:
    # Most embryos that die, die in the first days anyway (Jassim 1996: 29 of 43 by day 7).
    found = trace_causes(deaths_on(3, 9, others=0), log({2: 41.0}), species=HEN, rng=np.random.default_rng(1))
    assert standing(found) == []


def test_short_or_slight_changes_are_no_excursions() -> None:
    # 90 F for three to four hours merely slows growth (Mississippi State University Extension).
    assert excursions(log({5: 33.0, 9: 39.2})) == []
    assert [one.kind for one in excursions(log({5: 33.0, 5.5: 32.0, 9: 40.6, 15: 24.0}))] == [
        "cold spell",
        "hot spell",
        "cold spell",
    ]


def test_a_machine_that_is_switched_off_after_the_hatch_is_no_cold_spell() -> None:
    off = [*log({}), LogPoint(22.5, 21.0), LogPoint(23, 20.0), LogPoint(-0.5, 20.0)]
    found = trace_causes(deaths_on(19, 9), off, species=HEN, rng=np.random.default_rng(1))
    assert "cold spell" not in {candidate.cause for candidate in found.candidates}


def test_a_steady_log_speaks_against_temperature_and_a_gap_leaves_it_open() -> None:
    steady = trace_causes(deaths_on(12, 5), log({}), species=HEN, rng=np.random.default_rng(1))
    assert by_cause(steady, "temperature").verdict == "nothing seen"
    gap = [point for point in log({}) if not 8 < point.day < 11]
    holed = trace_causes(deaths_on(12, 5), gap, species=HEN, rng=np.random.default_rng(1))
    assert by_cause(holed, "temperature").verdict == "could not be looked at"


def weighed(late: list[float], hatched: list[float]) -> list[HatchEgg]:
    eggs = [
        HatchEgg(f"l{k}", "dead", died_low_day=19, died_high_day=20, water_loss_percent=loss)
        for k, loss in enumerate(late)
    ]
    return eggs + [HatchEgg(f"h{k}", "hatched", water_loss_percent=loss) for k, loss in enumerate(hatched)]


def test_late_deaths_of_eggs_that_lost_little_point_to_humid_air() -> None:
    late, hatched = list(np.linspace(6, 8.5, 12)), list(np.linspace(7.5, 11, 30))
    found = trace_causes(weighed(late, hatched), species=HEN, rng=np.random.default_rng(1))
    assert (found.candidates[0].cause, found.candidates[0].verdict) == ("too humid", "stands out")
    assert by_cause(found, "too dry").verdict == "nothing seen"


def test_late_deaths_of_eggs_on_target_do_not_point_to_humidity() -> None:
    # Chicken, 11 to 13 % by day 18 (Aviagen; Meir & Ar 2008).
    found = trace_causes(
        weighed(list(np.linspace(11.2, 12.8, 12)), list(np.linspace(11, 13, 30))),
        species=HEN,
        rng=np.random.default_rng(1),
    )
    assert standing(found) == []
    assert any("12.0 %" in e.sentence for e in by_cause(found, "too humid").opposing)


def test_a_cold_edge_is_found_by_cups() -> None:
    rows, columns = 6, 8
    eggs = []
    for row in range(rows):
        for column in range(columns):
            edge = row in (0, rows - 1) or column in (0, columns - 1)
            died = edge and (row + column) % 3 != 0
            eggs.append(
                HatchEgg(f"{row}.{column}", "dead" if died else "hatched", row=row, column=column, tray="1")
            )
    found = trace_causes(eggs, species=HEN, rng=np.random.default_rng(1))
    first = found.candidates[0]
    assert (first.cause, first.verdict) == ("place on the tray", "stands out")
    assert "edge" in first.title
    low = [replace(egg, fate="dead" if (egg.column or 0) < 3 else "hatched") for egg in eggs]
    side = by_cause(trace_causes(low, species=HEN, rng=np.random.default_rng(1)), "place on the tray")
    assert "column 1" in side.title


def test_cautions_stand_where_one_acts() -> None:
    many = hatch_cautions(deaths_on(12, 20, hatched=10), species=HEN)
    assert any("disease that must be reported" in remark.text for remark in many)
    assert not any("reported" in r.text for r in hatch_cautions(deaths_on(12, 2), species=HEN))
    alive = hatch_cautions([HatchEgg("a", "alive")], species=HEN)
    # Two thirds of 21 days, and 80 % (AVMA 2020).
    assert "day 14" in alive[0].text
    assert "day 17" in alive[0].text
    assert "veterinarian" in alive[0].text
    rotten = hatch_cautions([HatchEgg("a", "dead", signs=("contaminated",))], species=HEN)
    assert any("burst" in remark.text for remark in rotten)
    assert hatch_cautions([HatchEgg("a", "hatched")], species=HEN) == ()


def test_the_table_of_power_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--hatches", "2", "--eggs", "24", "--cause", "none", "sire"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[:3] for line in lines[1:]] == [["none", "24", "2"], ["sire", "24", "2"]]


def test_simulated_hatches_hold_what_is_planted() -> None:
    with pytest.raises(ValueError, match="cause 'moon' is not known"):
        draw_hatch(np.random.default_rng(1), cause="moon")  # type: ignore[arg-type]
    clears = {True: [0, 0], False: [0, 0]}
    for seed in range(20):
        hatch = draw_hatch(np.random.default_rng(seed), eggs=120, cause="sire")
        assert len(hatch.eggs) == 120
        for egg in hatch.eggs:
            tally = clears[egg.sire == hatch.planted_in]
            tally[0] += egg.fate in ("infertile", "clear")
            tally[1] += 1
    assert clears[True][0] / clears[True][1] > 2 * clears[False][0] / clears[False][1]
