"""What is decided from measurements and chances: the rules that keep live eggs from being pulled."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from incubation.egg_geometry import EggProfile
from incubation.species import SPECIES, species_named
from models.heads import STATUSES
from models.judge import judge_egg
from models.proposal import Judgement
from vision.quality import ADVICE, DOUBTFUL, TWO_LIGHTS
from vision.reading import AirCell, BloodRing, Embryo, Outline, Quality, Reading, Veins

CARD = {"pass_from": 0.85, "confirm_from": 0.75, "day_half_width": 3.0, "unlike_from": 10.0}
SQUARE = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 130.0], [0.0, 130.0]])


HEN = EggProfile.from_length_breadth(130.0, 100.0)


def egg(
    *,
    veins: bool | None = None,
    problems: tuple[str, ...] = (),
    usable: bool = True,
    profile: EggProfile | None = HEN,
    breadth: float = 100.0,
    cell: float | None = None,
    ring: float | None = None,
    size_mm: tuple[float, float] | None = None,
) -> Reading:
    return Reading(
        Outline((50.0, 65.0), 130.0, breadth, 90.0, 90.0, SQUARE, profile),
        Quality(usable, problems),
        None if cell is None else AirCell(cell, None, None, None, SQUARE, 1.0),
        Veins(veins, None, None),
        Embryo(None, None, None),
        ring=None if ring is None else BloodRing((50.0, 65.0), ring, 0.9, 0.9),
        size_mm=size_mm,
    )


def judged(
    chance: tuple[float, float, float],
    *,
    apparent: float = 8,
    day: float = 8,
    species: str = "chicken",
    reading: Reading | None = None,
    novelty: float | None = None,
    glow: float | None = None,
    card: dict[str, float] = CARD,
) -> Judgement:
    return judge_egg(
        reading or egg(),
        np.array(chance),
        apparent,
        day=day,
        species=species_named(species),
        card=card,
        novelty=novelty,
        glow=glow,
    )


chances = st.tuples(*[st.floats(0.001, 1)] * 3).map(lambda c: tuple(x / sum(c) for x in c))


@given(
    chance=chances,
    apparent=st.floats(-5, 30),
    day=st.floats(0, 40),
    veins=st.sampled_from([True, False, None]),
    species=st.sampled_from(sorted(SPECIES)),
)
def test_no_egg_is_ever_given_up_unseen(
    chance: tuple[float, float, float], apparent: float, day: float, veins: bool | None, species: str
) -> None:
    answer = judged(chance, apparent=apparent, day=day, species=species, reading=egg(veins=veins))
    proposal = answer.proposal
    assert proposal.decision in ("pass", "confirm", "review")
    if proposal.status != "developing":
        assert proposal.decision != "pass"
    if proposal.decision == "confirm":
        assert veins is not True
    if proposal.decision == "pass":
        assert proposal.status == "developing"
        assert proposal.probability["developing"] >= CARD["pass_from"]
    assert sum(proposal.probability.values()) == pytest.approx(1)
    assert proposal.status == STATUSES[int(np.argmax(chance))]
    assert proposal.reasons
    assert answer.apparent_day is not None
    assert answer.apparent_day.low <= answer.apparent_day.day <= answer.apparent_day.high


@pytest.mark.parametrize(
    ("day", "species"),
    [(0, "chicken"), (3.9, "chicken"), (4.5, "turkey"), (4.5, "duck")],
)
def test_before_the_first_useful_day_it_is_too_early_to_tell(day: float, species: str) -> None:
    """Chicken: day 4 through a white shell (the design's own rule; REFERENCES 5.3 has day 3, weak)."""
    for chance in ((0.98, 0.01, 0.01), (0.01, 0.98, 0.01), (0.01, 0.01, 0.98)):
        proposal = judged(chance, day=day, apparent=day, species=species).proposal
        assert proposal.decision == "review"
        assert "too early to tell" in proposal.reasons[0]


def test_a_sure_developing_egg_passes() -> None:
    assert judged((0.02, 0.02, 0.96), reading=egg(veins=True)).proposal.decision == "pass"


def test_an_egg_seen_from_above_is_looked_at() -> None:
    """No real tray was among the photos on which passing was measured."""
    answer = judged((0.02, 0.02, 0.96), apparent=8, day=14, reading=egg(profile=None))
    assert answer.proposal.decision == "review"
    assert "from above" in answer.proposal.reasons[0]
    # Nor was the day an egg looks like: a living egg must not be said to have stopped.
    assert answer.apparent_day is None
    assert "from above" in answer.missing["apparent_day"]


def test_a_sure_clear_is_for_confirmation() -> None:
    proposal = judged((0.95, 0.03, 0.02), apparent=2, reading=egg(veins=False)).proposal
    assert proposal.decision == "confirm"


def test_veins_overrule_a_clear() -> None:
    proposal = judged((0.95, 0.03, 0.02), reading=egg(veins=True)).proposal
    assert proposal.decision == "review"
    assert "veins were found" in proposal.reasons[0]


def test_no_veins_weigh_against_a_developing_egg() -> None:
    """By Bayes' rule: odds of 19 to 1, and a quarter as often without veins as the dead: 4.75 to 1."""
    reading = egg(veins=False)
    weighed = 4.75 / 5.75
    for pass_from, decision in ((weighed - 0.01, "pass"), (weighed + 0.01, "review")):
        card = CARD | {"no_veins_odds": 0.25, "pass_from": pass_from}
        proposal = judged((0.02, 0.03, 0.95), reading=reading, card=card).proposal
        assert proposal.decision == decision
    assert "no veins were found" in proposal.reasons[0]
    # Heads that give no odds leave every such egg to a person.
    assert judged((0.001, 0.001, 0.998), reading=reading).proposal.decision == "review"


def test_day_five_is_early_through_a_dark_shell() -> None:
    proposal = judged((0.95, 0.03, 0.02), apparent=2, day=5).proposal
    assert proposal.decision == "review"
    assert "dark shell" in proposal.reasons[0]


def test_an_egg_that_looks_far_younger_has_stopped() -> None:
    proposal = judged((0.01, 0.05, 0.94), apparent=10, day=17).proposal
    assert proposal.decision == "review"
    assert proposal.reasons[0].startswith("stopped about day 10")


def test_a_bad_picture_gives_no_day_and_says_what_to_do() -> None:
    answer = judged((0.01, 0.01, 0.98), reading=egg(usable=False, problems=("blurred",)))
    assert answer.apparent_day is None
    assert "apparent_day" in answer.missing
    assert answer.proposal.decision == "review"
    assert "blurred" in answer.proposal.reasons[0]


def test_the_apparent_day_stretches_with_the_term() -> None:
    """A turkey's 28 days against a hen's 21 (REFERENCES 5.1): the same stage comes a third later."""
    hen, turkey = judged((0.1, 0.1, 0.8), apparent=9), judged((0.1, 0.1, 0.8), apparent=9, species="turkey")
    assert hen.apparent_day is not None
    assert turkey.apparent_day is not None
    assert turkey.apparent_day.day == pytest.approx(hen.apparent_day.day * 28 / 21)


SURE = ((0.98, 0.01, 0.01), (0.01, 0.98, 0.01), (0.01, 0.01, 0.98))


@pytest.mark.parametrize("problem", sorted(DOUBTFUL))
def test_every_named_problem_of_a_photo_keeps_an_egg_for_a_person(problem: str) -> None:
    """And says what to do, in the words of the photo quality's own advice."""
    for chance in SURE:
        proposal = judged(chance, reading=egg(problems=(problem,))).proposal
        assert proposal.decision == "review"
        assert problem in proposal.reasons[0]
        assert ADVICE[problem] in proposal.reasons[0]


def test_two_lights_alone_do_not_keep_an_egg_for_a_person() -> None:
    assert judged((0.01, 0.01, 0.98), reading=egg(problems=(TWO_LIGHTS,))).proposal.decision == "pass"


def test_an_egg_unlike_the_others_is_looked_at() -> None:
    for chance in SURE:
        assert judged(chance, novelty=10.1).proposal.reasons[0].startswith("unlike the eggs it learnt from")
        assert judged(chance, novelty=10.1).proposal.decision == "review"
        assert judged(chance, novelty=9.9).proposal.decision != "review"


@pytest.mark.parametrize("breadth", [60.0, 128.0])
def test_what_has_no_egg_s_shape_is_looked_at(breadth: float) -> None:
    """Shape index 46 and 98; hens' eggs have 66 to 86 (common practice)."""
    proposal = judged((0.01, 0.01, 0.98), reading=egg(breadth=breadth)).proposal
    assert proposal.decision == "review"
    assert "for an egg" in proposal.reasons[0]


@pytest.mark.parametrize(("cell", "day", "looked_at"), [(0.35, 8, True), (0.12, 8, False), (0.01, 16, True)])
def test_an_air_cell_that_cannot_be_is_looked_at(cell: float, day: float, looked_at: bool) -> None:
    """By mass balance an egg has an air cell about 0.12 of its length deep on day 8 (air_cell_norms)."""
    proposal = judged((0.01, 0.01, 0.98), apparent=day, day=day, reading=egg(cell=cell)).proposal
    assert (proposal.decision == "review") == looked_at


def test_a_dark_shell_that_hides_its_inside_says_so() -> None:
    proposal = judged((0.98, 0.01, 0.01), apparent=8, glow=60).proposal
    assert proposal.decision == "review"
    assert "dark shell hides" in proposal.reasons[0]
    # Bright enough, or with an answer on veins, it does not; nor where a late embryo is what is dark.
    assert judged((0.98, 0.01, 0.01), apparent=8, glow=200).proposal.decision == "confirm"
    seen = egg(veins=False)
    assert judged((0.98, 0.01, 0.01), apparent=8, glow=60, reading=seen).proposal.decision == "confirm"
    assert judged((0.01, 0.01, 0.98), apparent=16, day=16, glow=60).proposal.decision == "pass"


def test_reasons_name_what_was_measured() -> None:
    reading = egg(veins=False, ring=0.1, size_mm=(57.0, 43.0))
    reasons = judged((0.05, 0.93, 0.02), apparent=4, reading=reading).proposal.reasons
    # Twice a tenth of 57 mm.
    assert reasons[1:] == ("a dark ring 11 mm across", "no veins found on day 8", "looks like day 4")
    without_scale = judged((0.05, 0.93, 0.02), apparent=4, reading=egg(ring=0.1)).proposal.reasons
    assert "a dark ring 20% of the length across" in without_scale


def test_a_living_egg_within_its_interval_is_not_said_to_have_stopped() -> None:
    for day in (4, 5, 6, 7):
        for apparent in np.linspace(day - CARD["day_half_width"], day + 5, 9):
            reasons = judged((0.02, 0.02, 0.96), apparent=float(apparent), day=day).proposal.reasons
            assert not reasons[0].startswith("stopped")
