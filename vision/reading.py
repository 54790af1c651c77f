"""What was measured on one egg, on one photo: plain frozen records, no judgement.

Pixel coordinates run x right, y down, from the top left corner of the upright photo; angles are
degrees clockwise from +x. A measurement that could not be made is ``None`` and its name has a
sentence in :attr:`Reading.missing`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile

View = Literal["side", "end"]
MillimetresFrom = Literal["tray card", "stated egg size"]
FloatArray = NDArray[np.floating]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Outline:
    """Where an egg is: the whole silhouette, parts hidden by a lamp or by darkness included.

    Attributes
    ----------
    centre_px
        Middle of the long axis, halfway between the poles (x, y).
    length_px, breadth_px
        Extent along and across the long axis. In end view the two are the longer and the shorter
        diameter of the silhouette, not the egg's length.
    axis_deg
        Direction from the pointed to the blunt end, 0 to 360, clockwise from +x; ``None`` where
        the blunt end could not be told (always in end view).
    long_axis_deg
        The same line without a sense, 0 to 180; known even where ``axis_deg`` is not.
    polygon_px
        The silhouette, shape (N, 2), x and y.
    profile
        The fitted egg profile in pixels; ``None`` in end view.
    blunt_confidence
        Probability, 0.5 to 1, that the blunt end is where ``axis_deg`` points.
    """

    centre_px: tuple[float, float]
    length_px: float
    breadth_px: float
    axis_deg: float | None
    long_axis_deg: float
    polygon_px: FloatArray
    profile: EggProfile | None = None
    blunt_confidence: float = 0.5

    @property
    def mean_radius_px(self) -> float:
        """A quarter of length and breadth together: the radius of an egg that looks round."""
        return (self.length_px + self.breadth_px) / 4


@dataclass(frozen=True)
class Quality:
    """Whether the picture of this egg can be trusted; ``problems`` are plain words."""

    usable: bool
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class Interval:
    """From ``low`` to ``high``: holds the truth in about 90 of 100 readings."""

    low: float
    high: float


@dataclass(frozen=True)
class AirCellIntervals:
    """How far each measurement of an air cell can be relied on; ``None`` where it was not made."""

    depth_fraction: Interval | None = None
    diameter_fraction: Interval | None = None
    volume_fraction: Interval | None = None
    tilt_deg: Interval | None = None


@dataclass(frozen=True)
class AirCell:
    """The air cell where its line shows.

    ``depth_fraction`` is from the blunt pole to the mean plane of the rim, over egg length;
    ``diameter_fraction`` the membrane's circle over egg breadth; ``volume_fraction`` the air
    cell's share of the egg's volume; ``tilt_deg`` the angle between the membrane's normal and the
    long axis; ``boundary_px`` the visible line, shape (N, 2); ``confidence`` 0 to 1, that there is
    a line here at all. ``line_depth_fraction`` is the mean place of the line one sees, which bows
    away from the rim's plane where the camera looks down on the egg. ``unusual`` holds what a
    person should look at, in plain words, such as a rim that leans much.
    """

    depth_fraction: float | None
    diameter_fraction: float | None
    volume_fraction: float | None
    tilt_deg: float | None
    boundary_px: FloatArray
    confidence: float
    line_depth_fraction: float | None = None
    intervals: AirCellIntervals = AirCellIntervals()
    unusual: tuple[str, ...] = ()


@dataclass(frozen=True)
class Veins:
    """The vessels seen.

    ``length_per_area`` is centre-line length over the region's area, times egg length (so without
    unit); ``area_fraction`` the share of the region they cover; ``branch_points`` how many places
    they fork or cross at; ``reach_fraction`` how far along the axis, from the blunt pole (0) to the
    pointed one (1), they come.
    """

    visible: bool | None
    length_per_area: float | None
    area_fraction: float | None
    branch_points: int | None = None
    reach_fraction: float | None = None


@dataclass(frozen=True)
class Embryo:
    """The dark mass of the embryo: its share of the silhouette and its centre (x, y).

    ``darkness`` is the share of the light around it that it takes away, 0 to 1.
    """

    visible: bool | None
    area_fraction: float | None
    centre_px: tuple[float, float] | None
    darkness: float | None = None


@dataclass(frozen=True)
class BloodRing:
    """The ring of blood that a dead germ disc leaves.

    ``radius_fraction`` is its mean radius over the egg's length; ``completeness`` the share of the
    circle that shows; ``confidence`` 0 to 1, that there is a ring.
    """

    centre_px: tuple[float, float]
    radius_fraction: float
    completeness: float
    confidence: float


@dataclass(frozen=True)
class LookHere:
    """A place a person should look at: ``what`` in plain words, and its boundary or line, (N, 2)."""

    what: str
    boundary_px: FloatArray


@dataclass(frozen=True)
class Shell:
    """The shell: its shape, and where a fault may be (which never decides anything).

    ``shape_index`` is 100 times breadth over length; ``None`` in end view.
    """

    shape_index: float | None = None
    look_here: tuple[LookHere, ...] = ()


@dataclass(frozen=True)
class EggMasks:
    """Masks of one egg inside a window of the photo whose top left pixel is ``corner_px`` (x, y).

    All arrays have the window's shape; ``veins`` and ``air_cell`` are all False where nothing was
    found.
    """

    corner_px: tuple[int, int]
    egg: BoolArray
    veins: BoolArray
    air_cell: BoolArray


@dataclass(frozen=True)
class Reading:
    """All that was measured on one egg in one photo.

    ``size_mm`` is length and breadth, where the photo has a scale (in end view the two diameters).
    """

    outline: Outline
    quality: Quality
    air_cell: AirCell | None
    veins: Veins
    embryo: Embryo
    cup: str | None = None
    missing: Mapping[str, str] = field(default_factory=dict)
    masks: EggMasks | None = None
    ring: BloodRing | None = None
    shell: Shell = Shell()
    size_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class SeenTrayCard:
    """The tray card in a photo: its number and how many of its four markers were seen."""

    number: int
    markers_seen: int


@dataclass(frozen=True)
class PhotoReading:
    """All eggs of one photo, or the one sentence why it could not be read.

    ``unseen_cups`` are cups of a tray where no egg was found though one may be there: look.
    ``tray_doubts`` are sentences on what about the tray could not be told for sure. ``mm_per_px``
    holds at the height of the eggs' widest place and comes from ``mm_from``; ``None`` without either.
    ``mm_per_px_interval`` is how sure it is.
    """

    photo: str
    sha256: str | None
    width_px: int | None
    height_px: int | None
    taken_at: datetime | None
    view: View | None
    eggs: tuple[Reading, ...] = ()
    empty_cups: tuple[str, ...] = ()
    unseen_cups: tuple[str, ...] = ()
    error: str | None = None
    tray_doubts: tuple[str, ...] = ()
    tray_card: SeenTrayCard | None = None
    mm_per_px: float | None = None
    mm_from: MillimetresFrom | None = None
    mm_per_px_interval: Interval | None = None
