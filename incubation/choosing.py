"""Choosing eggs to set: which are sound, which need care, which are better left out, and why.

It advises; the person decides. An egg of a rare line is often set against the advice: then apart from
the others, where a burst does the least harm.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

from incubation.egg_shape import egg_shape
from incubation.remark import Remark, Weight, heaviest
from incubation.species import Species
from incubation.storage import storage_remarks

Finding = Literal["dirty", "cracked", "round", "pointed", "thin", "loose air cell", "double yolk"]
FINDINGS: tuple[str, ...] = get_args(Finding)

_CHECKLIST = "checklists of hatching faults (wet or dirty eggs, cracks: exploders; de Lange 2010 white paper)"
_OF_FINDING: Mapping[str, Remark] = MappingProxyType(
    {
        "cracked": Remark(
            "Cracked: it dries out, lets germs in and may burst. Leave it out; if the line is too rare, seal "
            "it and set it apart from the others.",
            f"{_CHECKLIST}; sealing: common practice",
            "leave out",
        ),
        "dirty": Remark(
            "Dirty: do not wash it cold. Brush dry dirt off; a badly soiled egg is better left out, "
            "because it "
            "may rot and burst.",
            _CHECKLIST,
            "care",
        ),
        "thin": Remark(
            "Thin or mottled shell: it loses water faster. Weigh it, and look at its air cell first.",
            "thin porous shells, large air cells: extension-type chart of hatching faults",
            "care",
        ),
        "round": Remark(
            "Rounder than usual: the two ends are hard to tell; mark the blunt end.", "common practice"
        ),
        "pointed": Remark(
            "Longer than usual for its kind; candle to see that the air cell is in place.", "common practice"
        ),
        "loose air cell": Remark(
            "The air cell moves: keep it upright, blunt end up, and do not turn it for the first day.",
            "hatchery help article, weak",
            "care",
        ),
        "double yolk": Remark("Two yolks: it hardly ever hatches.", "common practice", "leave out"),
    }
)


@dataclass(frozen=True)
class ChoosingAdvice:
    """What is said of one egg before it is set.

    Attributes
    ----------
    advice
        ``"set"``, ``"set with care"`` or ``"leave out"``.
    remarks
        Each reason with its source, the weightiest first.
    """

    advice: Literal["set", "set with care", "leave out"]
    remarks: tuple[Remark, ...]


_ADVICE: Mapping[Weight, Literal["set", "set with care", "leave out"]] = MappingProxyType(
    {"note": "set", "care": "set with care", "leave out": "leave out"}
)


def choosing_advice(
    species: Species,
    *,
    storage_days: float | None = None,
    storage_temperature_c: float | None = None,
    mass_g: float | None = None,
    length_mm: float | None = None,
    breadth_mm: float | None = None,
    findings: Collection[str] = (),
) -> ChoosingAdvice:
    """Whether to set an egg.

    Parameters
    ----------
    species
        Gives the usual sizes.
    storage_days, storage_temperature_c
        From laying to setting, and how cool it was kept.
    mass_g, length_mm, breadth_mm
        Of the egg, where measured.
    findings
        What was seen on it, of :data:`FINDINGS`.

    Raises
    ------
    ValueError
        Where a finding is unknown or a number is impossible.
    """
    if unknown := sorted(set(findings) - set(FINDINGS)):
        raise ValueError(f"unknown finding {', '.join(unknown)}; known are {', '.join(FINDINGS)}")
    for what, value in (("mass", mass_g), ("length", length_mm), ("breadth", breadth_mm)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"the {what} must be a positive number, not {value}")
    remarks = [_OF_FINDING[finding] for finding in FINDINGS if finding in findings]
    if storage_days is not None:
        remarks += storage_remarks(storage_days, temperature_c=storage_temperature_c, species=species.name)
    if mass_g is not None:
        low, high = species.mass_range_g
        if not low <= mass_g <= high:
            size = "lighter" if mass_g < low else "heavier"
            remarks.append(
                Remark(
                    f"{mass_g:.1f} g is {size} than {species.name} eggs usually are ({low:g} to {high:g} "
                    "g): small "
                    "eggs give small chicks, and very large ones may hold two yolks.",
                    f"range: {species.source('mass_range_g')}; rest: common practice",
                    "care",
                )
            )
    if length_mm is not None and breadth_mm is not None:
        if breadth_mm > length_mm:
            raise ValueError(
                f"length {length_mm:g} and breadth {breadth_mm:g} mm: the length is the longer one"
            )
        warning = egg_shape(100 * breadth_mm / length_mm, species=species.name).warning
        named = {"too long": "pointed", "too round": "round"}
        if warning is not None and named[warning] not in findings:
            remarks.append(_OF_FINDING[named[warning]])
    order: list[Weight] = ["leave out", "care", "note"]
    ordered = tuple(sorted(remarks, key=lambda remark: order.index(remark.weight)))
    return ChoosingAdvice(_ADVICE[heaviest(ordered)], ordered)
