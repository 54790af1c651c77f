"""The rules of the trade and of caution, one short function each, in the order in which they speak.

A rule looks at one egg's case and says why a person must look, or nothing. The first that speaks
decides. Only where none does may an egg be proposed for confirmation or passed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from incubation.air_cell_norms import expected_air_cell
from incubation.species import Species
from models.proposal import ApparentDay, Status
from vision.quality import ADVICE, DOUBTFUL
from vision.reading import Reading

NOTABLE_LAG_DAYS = 2.0  # beyond the apparent day's interval, before an egg is said to have stopped
# From this share of the term on a living egg is too dark for its veins to show (hen's day 13;
# common practice).
OPAQUE_FROM = 13 / 21
# Grey levels of the brightest tenth of an egg: below, and without an answer on veins, its inside is hidden.
HIDDEN_BELOW = 110.0
# Shapes (100 times breadth over length) of eggs: hens' eggs 66 to 86 with rare ones beyond (common
# practice), widened for eggs that lean toward the camera, which look rounder.
SHAPES = (58.0, 93.0)
# An egg stored four weeks has the largest air cell to be met; found ones are off by up to 0.03.
LONGEST_STORAGE_DAYS, DEPTH_SLACK = 28.0, 0.06
SMALLEST_DEPTH_SHARE = 0.25  # of the least that single eggs have on the day
FROM_ABOVE = "looks like a developing egg, but eggs seen from above were never measured on: look yourself"


@dataclass(frozen=True)
class Case:
    """All that the rules look at.

    ``novelty`` and ``glow`` (grey levels of the brightest tenth) may be unknown. ``points`` are the
    heads' operating points. ``day`` is in days since setting, ``looks`` on the species' calendar.
    """

    egg: Reading
    status: Status
    probability: Mapping[str, float]
    looks: ApparentDay | None
    day: float
    species: Species
    points: Mapping[str, Any]
    novelty: float | None = None
    glow: float | None = None

    @property
    def from_above(self) -> bool:
        """Seen in end view."""
        return self.egg.outline.profile is None

    @property
    def about(self) -> str:
        """The day it looks like, with its interval, in words."""
        looks = self.looks
        if looks is None:
            return "a day that cannot be told"
        return f"day {looks.day:.0f} (between {looks.low:.0f} and {looks.high:.0f})"

    @property
    def behind(self) -> bool:
        """Whether it looks younger than it is by more than the interval and a margin."""
        return self.looks is not None and self.day - self.looks.high > NOTABLE_LAG_DAYS


Rule = Callable[[Case], str | None]


def too_early(case: Case) -> str | None:
    """Before the species' first useful day, through a white shell, nothing can be told."""
    first = case.species.first_useful_candling_day("white")
    return f"too early to tell: day {case.day:g}, first useful day {first}" if case.day < first else None


def unlike_the_rest(case: Case) -> str | None:
    """A picture that has much of what no example had."""
    limit = case.points.get("unlike_from")
    if limit is None or case.novelty is None or case.novelty <= float(limit):
        return None
    return "unlike the eggs it learnt from: see that this is one egg, whole, with nothing in front of it"


def no_eggs_shape(case: Case) -> str | None:
    """A silhouette longer or rounder than eggs are."""
    if case.from_above:
        return None
    outline = case.egg.outline
    index = case.egg.shell.shape_index
    index = 100 * outline.breadth_px / outline.length_px if index is None else index
    if SHAPES[0] <= index <= SHAPES[1]:
        return None
    what = "long" if index < SHAPES[0] else "round"
    return f"unlike the eggs it learnt from: too {what} for an egg (breadth {index:.0f} % of length)"


def impossible_air_cell(case: Case) -> str | None:
    """An air cell that no storage and no humidity gives on this day."""
    cell = case.egg.air_cell
    if case.from_above or cell is None or cell.depth_fraction is None:
        return None
    least = expected_air_cell(case.species, case.day)
    most = expected_air_cell(case.species, case.day, storage_days=LONGEST_STORAGE_DAYS)
    if least is None or most is None:
        return None
    depth = cell.depth_fraction
    if depth > most.single_depth_fraction[1] + DEPTH_SLACK:
        return (
            f"an air cell of {depth:.0%} of the length on day {case.day:g} cannot be: look whether it is one"
        )
    if depth < SMALLEST_DEPTH_SHARE * least.single_depth_fraction[0]:
        return f"an air cell of only {depth:.0%} of the length on day {case.day:g}: look whether it is one"
    return None


def hidden_inside(case: Case) -> str | None:
    """So little light comes through that no answer on veins could be given."""
    dim = case.glow is not None and case.glow < HIDDEN_BELOW
    if not dim or case.egg.veins.visible is not None or case.day >= OPAQUE_FROM * case.species.term_days:
        return None
    return "a dark shell hides its inside: use a stronger lamp, or look again in three days"


def stopped_late(case: Case) -> str | None:
    """Looks like an egg that died after the limit of an early death."""
    if not case.behind or case.looks is None or case.looks.day <= case.species.early_death_limit_day:
        return None
    return f"stopped about {case.about}"


def stopped_early(case: Case) -> str | None:
    """Proposed as developing, but far behind its day."""
    if case.status != "developing" or not case.behind:
        return None
    return f"on day {case.day:g} it looks like {case.about}"


def veins_against_it(case: Case) -> str | None:
    """The answer on veins contradicts the proposal.

    "No veins" weighs against a developing egg by the odds that the heads' card gives for it; where it
    gives none, however sure the heads are.
    """
    veins = case.egg.veins.visible
    if case.status != "developing":
        return f"looks {word(case.status)}, but veins were found" if veins is True else None
    if not no_veins_count(case.egg, day=case.day, species=case.species):
        return None
    odds = case.points.get("no_veins_odds")
    if odds is not None:
        chance = weighed_by_odds(case.probability["developing"], float(odds))
        if chance >= float(case.points["pass_from"]):
            return None
    return "looks like a developing egg, but no veins were found"


def no_veins_count(egg: Reading, *, day: float, species: Species) -> bool:
    """Whether no veins were found on a day on which a living egg still shows them."""
    return egg.veins.visible is False and day < OPAQUE_FROM * species.term_days


def weighed_by_odds(chance: float, odds: float) -> float:
    """A chance after one more observation, by Bayes' rule; ``odds`` is the observation's likelihood ratio."""
    return chance * odds / (chance * odds + 1 - chance) if chance < 1 else 1.0


def early_through_dark_shell(case: Case) -> str | None:
    """A clear or an early death before the first useful day through a dark shell."""
    dark = case.species.first_useful_candling_day("dark")
    if case.status == "developing" or case.day >= dark:
        return None
    return f"looks {word(case.status)}, but through a dark shell day {case.day:g} is early to tell"


def unsure(case: Case) -> str | None:
    """The model is less sure than the operating point asks."""
    point = "pass_from" if case.status == "developing" else "confirm_from"
    if case.probability[case.status] >= float(case.points[point]):
        return None
    first, second = sorted(case.probability, key=lambda s: -case.probability[s])[:2]
    chances = case.probability
    return f"unsure between {first} ({chances[first]:.0%}) and {second} ({chances[second]:.0%})"


def spoilt_picture(case: Case) -> str | None:
    """A named problem of the photo that is no ground for a decision nobody looks at.

    Two lights are not among them: they wash out the air cell's line, but photos with a torch on top of the
    egg are among those that passing was measured on (they were not counted apart).
    """
    problems = tuple(p for p in case.egg.quality.problems if p in DOUBTFUL)
    return bad_picture(problems) if problems else None


def seen_from_above(case: Case) -> str | None:
    """Passing was measured on eggs seen from the side; no real tray was at hand."""
    return FROM_ABOVE if case.from_above and case.status == "developing" else None


TOWARD_REVIEW: tuple[Rule, ...] = (
    too_early, unlike_the_rest, no_eggs_shape, impossible_air_cell, hidden_inside, stopped_late,
    stopped_early, veins_against_it, early_through_dark_shell, unsure, spoilt_picture, seen_from_above,
)  # fmt: skip


def bad_picture(problems: tuple[str, ...]) -> str:
    """What is wrong with the picture, and what to do about it."""
    advice = [ADVICE[p] for p in problems if p in ADVICE] or ["take it again"]
    return f"the picture is {' and '.join(problems)}: {'; '.join(advice)}"


def word(status: Status) -> str:
    """A status after "looks"."""
    return {"clear": "clear", "early death": "like an early death", "developing": "developing"}[status]
