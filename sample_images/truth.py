"""What is true of a simulated photo: frozen records and their JSON form.

Pixel coordinates run x right, y down, from the middle of the top left pixel; angles are degrees
clockwise from +x. Lengths on the egg are millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile

Status = Literal["clear", "early death", "developing", "late death"]
DeathKind = Literal["ring", "collapsed"]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def _empty_window() -> BoolArray:
    return np.zeros((0, 0), dtype=bool)


@dataclass(frozen=True)
class AirCellTruth:
    """The air cell of one egg.

    Attributes
    ----------
    rim_depth_mm, depth_fraction
        From the blunt pole to the plane of the rim, along the long axis; the second over egg length.
    sag_mm
        How far the membrane's centre lies beyond the rim's plane (positive: away from the blunt pole).
    rim_diameter_mm
        Mean diameter of the rim.
    volume_mm3, volume_fraction
        Air before the membrane, and its share of the egg.
    tilt_deg
        Between the membrane's normal and the long axis.
    boundary_px
        The rim line on the camera's side, shape (M, 2). In end view the whole rim, closed.
    region_px
        The part of the silhouette beyond that line, shape (K, 2).
    centre_px, radius_px
        Middle and mean radius of the rim as seen; what an end view measures.
    line_visible
        Whether a person could see the line: contrast measured in the finished picture, and enough
        of the line not hidden.
    line_contrast
        That contrast, in grey levels of 255.
    line_share
        Share of the line that nothing hides.
    line_hidden
        Nobody could see the line. Where neither this nor ``line_visible`` holds, some people may.
    """

    rim_depth_mm: float
    depth_fraction: float
    sag_mm: float
    rim_diameter_mm: float
    volume_mm3: float
    volume_fraction: float
    tilt_deg: float
    boundary_px: FloatArray
    region_px: FloatArray
    centre_px: tuple[float, float]
    radius_px: float
    line_visible: bool
    line_contrast: float
    line_share: float = 1.0
    line_hidden: bool = False


@dataclass(frozen=True)
class EggTruth:
    """One simulated egg.

    Attributes
    ----------
    status, death_kind, day, died_on_day
        What happened to it; ``day`` is the day of the photo.
    shell
        Shell colour in words.
    profile
        Its shape in millimetres.
    mass_at_setting_g, mass_lost_g
        From which the air cell follows.
    px_per_mm
        At the egg's middle.
    centre_px
        Middle of the long axis.
    axis_deg, lean_deg
        Direction from the pointed to the blunt end in the picture (``None`` in end view), and how
        far the long axis leaves the picture's plane (90 where the blunt end faces the camera).
    outline_px
        The whole silhouette, parts hidden by a lamp or a finger included, shape (N, 2).
    radius_px
        Mean radius of the silhouette.
    hidden_fraction
        Share of the silhouette behind a lamp, a finger or the picture's border.
    vein_window, vein_corner_px, photo_size
        Veins wider than about a pixel that the picture shows, inside a window whose top left pixel
        is ``vein_corner_px`` (x, y); ``photo_size`` is (height, width). See :attr:`vein_mask`.
    vein_width_mm
        Width of the widest vein drawn, 0 where there is none.
    veins_visible
        Whether a person could see any vein.
    embryo_centre_px, embryo_area_px, embryo_mass_g
        The dark body of the embryo as projected, hidden or not; ``None`` without one.
    ring_centre_px, ring_radius_mm
        A blood ring; ``None`` without one.
    row, column
        The cup, from 0 at the tray's first corner; ``None`` outside trays.
    """

    status: Status
    death_kind: DeathKind | None
    day: float
    died_on_day: float | None
    shell: str
    profile: EggProfile
    mass_at_setting_g: float
    mass_lost_g: float
    px_per_mm: float
    centre_px: tuple[float, float]
    axis_deg: float | None
    lean_deg: float
    outline_px: FloatArray
    radius_px: float
    hidden_fraction: float
    air_cell: AirCellTruth
    photo_size: tuple[int, int]
    vein_window: BoolArray = field(default_factory=_empty_window)
    vein_corner_px: tuple[int, int] = (0, 0)
    vein_width_mm: float = 0.0
    veins_visible: bool = False
    embryo_centre_px: tuple[float, float] | None = None
    embryo_area_px: float | None = None
    embryo_mass_g: float | None = None
    ring_centre_px: tuple[float, float] | None = None
    ring_radius_mm: float | None = None
    row: int | None = None
    column: int | None = None

    @property
    def vein_mask(self) -> BoolArray:
        """The veins in an array of the photo's size."""
        mask = np.zeros(self.photo_size, dtype=bool)
        height, width = self.vein_window.shape
        x, y = self.vein_corner_px
        mask[y : y + height, x : x + width] = self.vein_window
        return mask

    @property
    def air_cell_region_px(self) -> FloatArray:
        """The part of the silhouette beyond the rim line toward the blunt end."""
        return self.air_cell.region_px


@dataclass(frozen=True)
class TrayTruth:
    """The tray under the eggs: cups by row and column, and which are empty."""

    rows: int
    columns: int
    layout: Literal["square", "staggered"]
    cup_centres_px: FloatArray
    empty_cups: tuple[tuple[int, int], ...]
    rotation_deg: float
    pitch_mm: float


@dataclass(frozen=True)
class SimulatedPhoto:
    """A finished picture (uint8, H x W x 3) and all that is true of it.

    ``problems`` names what was spoilt on purpose; ``lamp`` and ``surroundings`` say in words how
    the picture was set up; ``lamp_turn_deg`` how far a lamp below was carried round the egg.
    """

    rgb: NDArray[np.uint8]
    eggs: tuple[EggTruth, ...]
    view: Literal["side", "end"]
    seed: int
    problems: tuple[str, ...] = ()
    lamp: str = ""
    lamp_turn_deg: float = 0.0
    surroundings: str = ""
    tray: TrayTruth | None = None


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return np.round(value.astype(float), 2).tolist()
    if isinstance(value, (np.floating, float)):
        return round(float(value), 5)
    if isinstance(value, (np.bool_, bool)):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        return {name: _plain(getattr(value, name)) for name in value.__dataclass_fields__}
    return value


def truth_to_dict(photo: SimulatedPhoto, *, name: str | None = None) -> dict[str, Any]:
    """All truth of a photo as plain JSON values; the picture and the vein masks stay out.

    Parameters
    ----------
    photo
        The simulated photo.
    name
        File name to record, if any.

    Returns
    -------
    dict
        ``vein_pixels`` stands in each egg for the mask: how many pixels it holds.
    """
    eggs = []
    for egg in photo.eggs:
        record = _plain(egg)
        record["vein_pixels"] = int(egg.vein_window.sum())
        for left_out in ("vein_window", "vein_corner_px", "photo_size"):
            del record[left_out]
        eggs.append(record)
    height, width = photo.rgb.shape[:2]
    result = {
        "view": photo.view,
        "seed": photo.seed,
        "width_px": width,
        "height_px": height,
        "problems": list(photo.problems),
        "lamp": photo.lamp,
        "surroundings": photo.surroundings,
        "tray": None if photo.tray is None else _plain(photo.tray),
        "eggs": eggs,
    }
    return result if name is None else {"photo": name, **result}
