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
from vision.reading import Embryo, Outline, Quality, Reading, Veins

CARD = {"pass_from": 0.85, "confirm_from": 0.75, "day_half_width": 3.0}
SQUARE = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 130.0], [0.0, 130.0]])


HEN = EggProfile.from_length_breadth(130.0, 100.0)


def egg(
    *,
    veins: bool | None = None,
    problems: tuple[str, ...] = (),
    usable: bool = True,
    profile: EggProfile | None = HEN,
) -> Reading:
    return Reading(
        Outline((50.0, 65.0), 130.0, 100.0, 90.0, 90.0, SQUARE, profile),
        Quality(usable, problems),
        None,
        Veins(veins, None, None),
        Embryo(None, None, None),
    )


def judged(
    chance: tuple[float, float, float],
    *,
    apparent: float = 8,
    day: float = 8,
    species: str = "chicken",
    reading: Reading | None = None,
) -> Judgement:
    return judge_egg(
        reading or egg(), np.array(chance), apparent, day=day, species=species_named(species), card=CARD
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
