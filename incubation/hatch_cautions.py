"""Cautions that belong where unhatched eggs are opened and deaths are weighed.

Local rules come first; a veterinarian knows them.
"""

from __future__ import annotations

from collections.abc import Sequence

from incubation.hatch_egg import HatchEgg
from incubation.remark import Remark
from incubation.species import Species

# Many deaths: half of the fertile eggs of a batch worth the name. Own choice; hatch of fertile under 80 % is
# already poor (The Poultry Site).
MANY_DEATHS_SHARE = 0.5
MANY_DEATHS_LEAST_EGGS = 10


def hatch_cautions(eggs: Sequence[HatchEgg], *, species: Species) -> tuple[Remark, ...]:
    """What to be careful about with these eggs, the gravest first.

    Parameters
    ----------
    eggs
        All eggs set.
    species
        Its term decides from when an embryo may feel pain.
    """
    cautions: list[Remark] = []
    if any(egg.fate == "alive" for egg in eggs):
        protected, feeling = 2 / 3 * species.term_days, 0.8 * species.term_days
        cautions.append(
            Remark(
                "A living embryo was found: open no more eggs of that group and give them time. Late "
                f"embryos may be able to suffer (protected from day {protected:.0f} in some countries, to be "
                f"treated so from day {feeling:.0f} at the latest): ending such a life must be quick and "
                "humane and follow local rules; ask a veterinarian.",
                "UK Animals (Scientific Procedures) Act 1986: two thirds of the term; AVMA 2020: 80 %",
                "care",
            )
        )
    fertile = [egg for egg in eggs if egg.developed]
    died = sum(egg.died for egg in fertile)
    if len(fertile) >= MANY_DEATHS_LEAST_EGGS and died >= MANY_DEATHS_SHARE * len(fertile):
        cautions.append(
            Remark(
                f"{died} of {len(fertile)} fertile eggs died. Mostly that is the machine or the eggs. But "
                "where hens are ill, die or lay less as well, it may be a disease that must be reported, "
                "such as avian influenza or Newcastle disease: move no birds or eggs, and call a "
                "veterinarian or the animal health authority.",
                "Cornell CALS 2025; poultryhealthservices.com on the duty to report",
                "care",
            )
        )
    if any("contaminated" in egg.signs for egg in eggs):
        cautions.append(
            Remark(
                "Some eggs were rotten. They can burst at a touch: bag them where they lie, do not shake or "
                "sniff them, wash hands with soap, and disinfect the machine before the next batch.",
                "de Lange 2010 on exploding eggs; CDC on washing hands",
                "care",
            )
        )
    if any(egg.fate in ("not opened", "clear", "dead", "pipped") for egg in eggs):
        cautions.append(
            Remark(
                "Before opening eggs that did not hatch, candle them and listen: one may be alive. Open them "
                "out of doors, cold, over a bag, with gloves and covered eyes: they may be rotten.",
                "common practice",
            )
        )
    return tuple(cautions)
