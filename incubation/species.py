"""What the trade knows about each kind of poultry egg, as data, each value with its source.

Values that sources state differently keep a range beside the usual value. ``common practice``
marks a trade fact with no source at hand, ``from memory`` a remembered one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

ShellColour = Literal["white", "tinted", "brown", "dark"]
Range = tuple[float, float]

# Limit of an early death and first useful candling day in hens' eggs; other species take the same
# share of their term.
_CHICKEN_TERM = 21
_CHICKEN_EARLY_DEATH_DAY = 7
_CHICKEN_FIRST_CANDLING_DAY: Mapping[str, int] = MappingProxyType(
    {"white": 4, "tinted": 5, "brown": 6, "dark": 6}
)


@dataclass(frozen=True)
class Species:
    """One kind of egg.

    Attributes
    ----------
    name
        Lower case, singular.
    term_days
        Usual whole days from setting to hatch; the calendar is built on it.
    term_range_days
        The span the sources give.
    lockdown_day
        Day of transfer: turning stops, humidity rises.
    candling_days
        Days on which a breeder usually candles; the last is the look at lockdown.
    mass_g, length_mm, breadth_mm
        Usual fresh egg.
    mass_range_g, length_range_mm, breadth_range_mm
        What single eggs are expected to span; outside, ask whether the species is right.
    water_loss_percent
        Aimed-at loss of fresh mass, (low, high), reached on ``water_loss_day``.
    sources
        Field name to source. A field that is not named here is from memory; ask :meth:`source`.
    """

    name: str
    term_days: int
    term_range_days: Range
    lockdown_day: int
    candling_days: tuple[int, ...]
    mass_g: float
    mass_range_g: Range
    length_mm: float
    length_range_mm: Range
    breadth_mm: float
    breadth_range_mm: Range
    water_loss_percent: Range
    water_loss_day: int
    sources: Mapping[str, str] = field(repr=False, hash=False)

    def source(self, field_name: str) -> str:
        """Where a field's value comes from."""
        return self.sources.get(field_name, "from memory")

    @property
    def early_death_limit_day(self) -> float:
        """Last day on which a death counts as early: day 7 in a hen's egg, the same share of the term here.

        Day 7 is the limit most breeders use (common practice); published schemes differ (day 9 in
        Japanese quail, day 4 in pheasant).
        """
        return _CHICKEN_EARLY_DEATH_DAY / _CHICKEN_TERM * self.term_days

    def first_useful_candling_day(self, shell: ShellColour | None = None) -> int:
        """First day on which candling tells anything through this shell.

        Parameters
        ----------
        shell
            ``"white"``, ``"tinted"`` (cream, blue, green), ``"brown"``, ``"dark"`` (also heavily
            speckled). Unknown (``None``) is treated as dark.

        Notes
        -----
        Hen's eggs: day 4 for a white shell, day 6 for a brown one (Mississippi State University
        Extension: candle from day 4 to 7; a secondary page repeating extension text: white day 3,
        brown day 5 to 6); tinted between the two (common practice). Other species take the same
        share of their term, rounded up (common practice).
        """
        if shell is not None and shell not in get_args(ShellColour):
            raise ValueError(f"unknown shell colour {shell!r}; known are {', '.join(get_args(ShellColour))}")
        day = _CHICKEN_FIRST_CANDLING_DAY[shell or "dark"]
        return math.ceil(day * self.term_days / _CHICKEN_TERM - 1e-9)


_MSU = "Mississippi State University Extension"
_CANDLING_LARGE = (
    "first look day 8-10: UC ANR Publ. 8134 (Ernst, Bradley, Abbott, Craig); later looks: common practice"
)
_CANDLING_SMALL = (
    "first look day 5-7: UC ANR Publ. 8134 (Ernst, Bradley, Abbott, Craig); later looks: common practice"
)
_LOCKDOWN = "term less 3 days: common practice"


_ALL: tuple[Species, ...] = (
    Species(
        name="chicken",
        term_days=21,
        term_range_days=(20, 22),
        lockdown_day=18,
        candling_days=(7, 10, 14, 18),
        mass_g=58,
        mass_range_g=(45, 75),
        length_mm=57,
        length_range_mm=(50, 65),
        breadth_mm=42,
        breadth_range_mm=(38, 48),
        water_loss_percent=(11, 13),
        water_loss_day=18,
        sources={
            "term_days": _MSU,
            "term_range_days": "common practice",
            "lockdown_day": _LOCKDOWN,
            "candling_days": f"day 4-7, again 14-16: {_MSU}; days 7, 10, 14, 18: common practice",
            "mass_g": "Romanoff & Romanoff, from memory",
            "mass_range_g": "means 49 (Liswaniso 2020) to 70 g (UF EDIS VM099); spread from memory",
            "length_mm": "Romanoff & Romanoff, from memory",
            "length_range_mm": "54.55 (Liswaniso 2020) and 57 mm, CV 3.56 % (Acta Univ. Mendel. 2008)",
            "breadth_mm": "Romanoff & Romanoff, from memory",
            "breadth_range_mm": "40.31 (Liswaniso 2020) and 42 mm, CV 2.84 % (Acta Univ. Mendel. 2008)",
            "water_loss_percent": "12-13 Meir & Ar 2008 Br. Poult. Sci.; 11-12 'Measure egg water loss'",
            "water_loss_day": "day of transfer: Meir & Ar 2008; hatchery how-to 'Measure egg water loss'",
        },
    ),
    Species(
        name="bantam",
        term_days=21,
        term_range_days=(19, 21),
        lockdown_day=18,
        candling_days=(7, 10, 14, 18),
        mass_g=34,
        mass_range_g=(25, 45),
        length_mm=47,
        length_range_mm=(42, 52),
        breadth_mm=36,
        breadth_range_mm=(32, 40),
        water_loss_percent=(11, 13),
        water_loss_day=18,
        sources={
            "term_days": f"as chicken: {_MSU}",
            "term_range_days": "common practice",
            "lockdown_day": _LOCKDOWN,
            "candling_days": "as chicken: common practice",
            "mass_g": "trade page (1.2 oz), weak",
            "water_loss_percent": "as chicken",
            "water_loss_day": "as chicken",
        },
    ),
    Species(
        name="turkey",
        term_days=28,
        term_range_days=(27, 28),
        lockdown_day=25,
        candling_days=(9, 14, 21, 25),
        mass_g=78,
        mass_range_g=(65, 100),
        length_mm=66.6,
        length_range_mm=(59, 74),
        breadth_mm=46.8,
        breadth_range_mm=(43, 52),
        water_loss_percent=(11, 13),
        water_loss_day=28,
        sources={
            "term_days": _MSU,
            "term_range_days": "common practice",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_LARGE,
            "mass_g": "Zagorje turkey, 77.74 g: Braz. J. Poult. Sci. 2018",
            "mass_range_g": "around 77.74 g (Braz. J. Poult. Sci. 2018), 80-90 g (Kazakh study)",
            "length_mm": "66.61 mm: Braz. J. Poult. Sci. 2018",
            "breadth_mm": "46.84 mm: Braz. J. Poult. Sci. 2018",
            "water_loss_percent": "12 +- 1 %: Meir, Nir & Ar 1984 Poult. Sci. 63:1489",
            "water_loss_day": "Meir, Nir & Ar 1984",
        },
    ),
    Species(
        name="duck",
        term_days=28,
        term_range_days=(26, 28),
        lockdown_day=25,
        candling_days=(8, 14, 21, 25),
        mass_g=80,
        mass_range_g=(50, 100),
        length_mm=65,
        length_range_mm=(55, 75),
        breadth_mm=47,
        breadth_range_mm=(40, 52),
        water_loss_percent=(12, 14),
        water_loss_day=25,
        sources={
            "term_days": f"most ducks: {_MSU}",
            "term_range_days": "common practice",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_LARGE,
            "mass_g": "middle class 76-82 g: Ipek & Sozcu 2017",
            "mass_range_g": "breed means 51 to 93 g in a Japanese comparison of breeds",
        },
    ),
    Species(
        name="muscovy",
        term_days=35,
        term_range_days=(33, 37),
        lockdown_day=32,
        candling_days=(10, 18, 25, 32),
        mass_g=78,
        mass_range_g=(60, 95),
        length_mm=63,
        length_range_mm=(56, 71),
        breadth_mm=47,
        breadth_range_mm=(42, 51),
        water_loss_percent=(12, 15),
        water_loss_day=32,
        sources={
            "term_days": "33-35 and 35-37 in two lists that disagree, weak",
            "term_range_days": "33-35 and 35-37 in two lists that disagree, weak",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_LARGE,
            "water_loss_percent": "upper end 15 %: British Waterfowl Association tip; lower from memory",
        },
    ),
    Species(
        name="goose",
        term_days=30,
        term_range_days=(28, 35),
        lockdown_day=27,
        candling_days=(9, 15, 21, 27),
        mass_g=155,
        mass_range_g=(120, 210),
        length_mm=86,
        length_range_mm=(73, 95),
        breadth_mm=57,
        breadth_range_mm=(50, 62),
        water_loss_percent=(11, 13),
        water_loss_day=30,
        sources={
            "term_days": "28 in small to 34-35 days in large breeds, 30 in a chart; MSU says about 33",
            "term_range_days": "28 in small to 34-35 days in large breeds: charts; MSU says about 33",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_LARGE,
            "mass_g": "154.5, 159.1 g (Karabulut 2021), classes <160 to >180 g (Milojevic 2024)",
            "mass_range_g": "means 154.5 to 192.3 g: Karabulut 2021; span from memory",
            "length_mm": "80.3 to 86.7 mm: Karabulut 2021; the upper end fits the mass by Hoyt 1979",
            "length_range_mm": "means 80.3 to 86.7 mm: Karabulut 2021; span from memory",
            "breadth_mm": "53.8 to 57.0 mm: Karabulut 2021; the upper end fits the mass by Hoyt 1979",
            "breadth_range_mm": "means 53.8 to 57.0 mm: Karabulut 2021; span from memory",
            "water_loss_percent": "12 % optimum: Meir & Ar 1991 Br. Poult. Sci. 32:723; +- 1 from memory",
            "water_loss_day": "whole incubation: Meir & Ar 1991",
        },
    ),
    Species(
        name="guinea fowl",
        term_days=28,
        term_range_days=(26, 28),
        lockdown_day=25,
        candling_days=(8, 14, 21, 25),
        mass_g=38,
        mass_range_g=(32, 48),
        length_mm=49,
        length_range_mm=(44, 55),
        breadth_mm=38,
        breadth_range_mm=(34, 42),
        water_loss_percent=(12, 14),
        water_loss_day=25,
        sources={
            "term_days": "Araujo 2019; Yamak 2016",
            "term_range_days": "26-28 in a list; 28: Araujo 2019, Yamak 2016",
            "lockdown_day": _LOCKDOWN,
            "candling_days": "common practice",
            "mass_g": "37.57 g: Araujo 2019",
        },
    ),
    Species(
        name="pheasant",
        term_days=24,
        term_range_days=(23, 25),
        lockdown_day=21,
        candling_days=(7, 14, 21),
        mass_g=32,
        mass_range_g=(25, 40),
        length_mm=45,
        length_range_mm=(40, 50),
        breadth_mm=36,
        breadth_range_mm=(32, 40),
        water_loss_percent=(12, 15),
        water_loss_day=21,
        sources={
            "term_days": "23-24 in a list, 24-25 in a chart, 25: Yamak 2016",
            "term_range_days": "23-24 in a list, 24-25 in a chart, 25: Yamak 2016",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_SMALL,
        },
    ),
    Species(
        name="Japanese quail",
        term_days=17,
        term_range_days=(17, 18),
        lockdown_day=14,
        candling_days=(6, 10, 14),
        mass_g=11,
        mass_range_g=(8, 15),
        length_mm=32.5,
        length_range_mm=(29, 38),
        breadth_mm=25.5,
        breadth_range_mm=(23, 29),
        water_loss_percent=(11, 13),
        water_loss_day=15,
        sources={
            "term_days": _MSU,
            "term_range_days": f"17: {_MSU}; 17-18 in a list",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_SMALL,
            "mass_g": "8.73-12.29 g: njap.org.ng",
            "mass_range_g": "8.73-12.29 g: njap.org.ng; heavy lines from memory",
            "water_loss_percent": "11.96 % hatched best: Romao 2009 LRRD 21(3):38; 10.83-13.12 %: IJAPOB",
            "water_loss_day": "Romao et al. 2009",
        },
    ),
    Species(
        name="bobwhite",
        term_days=23,
        term_range_days=(23, 24),
        lockdown_day=20,
        candling_days=(7, 14, 20),
        mass_g=9.5,
        mass_range_g=(7.5, 11.5),
        length_mm=31,
        length_range_mm=(27, 35),
        breadth_mm=24.5,
        breadth_range_mm=(22, 27),
        water_loss_percent=(11, 13),
        water_loss_day=20,
        sources={
            "term_days": _MSU,
            "term_range_days": f"23: {_MSU}; upper end common practice",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_SMALL,
        },
    ),
    Species(
        name="chukar",
        term_days=23,
        term_range_days=(22, 24),
        lockdown_day=20,
        candling_days=(7, 14, 20),
        mass_g=21,
        mass_range_g=(17, 26),
        length_mm=40,
        length_range_mm=(36, 45),
        breadth_mm=31,
        breadth_range_mm=(28, 34),
        water_loss_percent=(11, 14),
        water_loss_day=20,
        sources={
            "term_days": "22-23 in a list, 23-24 in a chart",
            "term_range_days": "22-23 in a list, 23-24 in a chart",
            "lockdown_day": _LOCKDOWN,
            "candling_days": _CANDLING_SMALL,
        },
    ),
    Species(
        name="peafowl",
        term_days=28,
        term_range_days=(28, 29),
        lockdown_day=25,
        candling_days=(9, 16, 25),
        mass_g=103,
        mass_range_g=(85, 120),
        length_mm=70,
        length_range_mm=(63, 77),
        breadth_mm=52,
        breadth_range_mm=(47, 56),
        water_loss_percent=(11, 14),
        water_loss_day=25,
        sources={
            "term_days": "28 and 28-29 in lists, weak",
            "term_range_days": "28 and 28-29 in lists, weak",
            "lockdown_day": _LOCKDOWN,
            "candling_days": "common practice",
        },
    ),
)

SPECIES: Mapping[str, Species] = MappingProxyType({species.name: species for species in _ALL})


def species_named(name: str) -> Species:
    """The species of this name; case, spaces, hyphens and underscores do not matter.

    Raises
    ------
    ValueError
        Where none has this name; the message lists those known.
    """

    def plain(text: str) -> str:
        return " ".join(text.lower().replace("-", " ").replace("_", " ").split())

    for known, species in SPECIES.items():
        if plain(known) == plain(name):
            return species
    raise ValueError(f"unknown species {name!r}; known are {', '.join(SPECIES)}")
