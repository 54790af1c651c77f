"""One photo from end to end: find the eggs, measure each, name its cup.

This is the folder's front door; everything it calls is a pure function of the picture.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.air_cell import air_cell_mask
from vision.egg_mask import EggMaskNetwork, RgbImage, cut_window, shipped_network
from vision.embryo import measure_embryo
from vision.end_view_air_cell import measure_end_view_air_cell
from vision.find_eggs import FoundEgg, find_eggs, in_window
from vision.photo import Photo
from vision.photo_scale import sized, stated_scale
from vision.polygon_mask import filled_polygon
from vision.quality import judge_quality
from vision.reading import EggMasks, Embryo, PhotoReading, Reading, Shell, Veins, View
from vision.ring_and_shell import ring_and_shell
from vision.side_air_cell import side_view_air_cell
from vision.tray_photo import TrayInPhoto, tray_in_photo
from vision.vein_presence import VeinPresenceNetwork, shipped_presence
from vision.veins import VISIBLE_AT, measure_veins, vein_probability

# Contents are measured in a window in which the egg is at most so long: finer detail than this is
# the shell's own, and a 50-megapixel close-up takes no longer than a small one.
WORK_LENGTH_PX = 480
WORK_OVER_LENGTH = 1.12
RIM_PX = 13  # of the window: no vein is looked for so near the air cell's line
NO_EGG = (
    "no egg was found in it; put one lit egg in the middle of the picture, in a dark room, and take it again"
)
FEWEST_TRAY_EGGS = 4
NO_LINE_FROM_ABOVE = "from above the rim is a circle, not a line across the egg"
NO_TILT_FROM_ABOVE = "from above, a leaning egg looks like a tilted air cell"
NO_VEINS = Veins(visible=None, length_per_area=None, area_fraction=None)
NO_EMBRYO = Embryo(visible=None, area_fraction=None, centre_px=None)


def read_photo(
    photo: Photo,
    *,
    view: str = "auto",
    tray: tuple[int, int] | None = None,
    egg_size_mm: tuple[float, float] | None = None,
    card_below_mm: float = 0.0,
    network: EggMaskNetwork | None = None,
    presence: VeinPresenceNetwork | None = None,
) -> PhotoReading:
    """Find and measure the eggs of one photo.

    Parameters
    ----------
    photo
        From :func:`vision.photo.open_photo`.
    view
        ``side``, ``end`` (a tray from above) or ``auto``.
    tray
        Rows and columns of the tray, if known.
    egg_size_mm
        Mean length and breadth of the eggs in the photo, if measured: they give it its scale.
    card_below_mm
        How far below the eggs' widest place the tray card lies.
    network
        Another egg-mask network than the shipped one (for measuring on left-out photos).
    presence
        Another vein-presence network than the shipped one, likewise.

    Returns
    -------
    PhotoReading
        With ``error`` set where no egg was found.
    """
    network = network or shipped_network()
    seen, eggs = find_eggs(network, photo.rgb, view=view)
    tray_seen: TrayInPhoto | None = None
    if seen == "end" and len(eggs) >= FEWEST_TRAY_EGGS:
        tray_seen = tray_in_photo(network, photo.rgb, eggs, size=tray, card_below_mm=card_below_mm)
        eggs = tray_seen.eggs
    readings = tuple(read_egg(photo.rgb, egg, view=seen, presence=presence) for egg in eggs)
    if tray_seen is not None:
        readings = tuple(
            replace(r, cup=cup)
            if cup is not None
            else replace(r, missing={**r.missing, "cup": tray_seen.no_cup})
            for r, cup in zip(readings, tray_seen.cups, strict=True)
        )
    scale = tray_seen.scale if tray_seen else None
    if egg_size_mm is not None:
        scale = stated_scale([r.outline for r in readings], egg_size_mm)
    readings = tuple(sized(r, scale, alone=len(readings) == 1) for r in readings)
    height, width = photo.rgb.shape[:2]
    return PhotoReading(
        photo=str(photo.path),
        sha256=photo.sha256,
        width_px=width,
        height_px=height,
        taken_at=photo.taken_at,
        view=seen,
        eggs=readings,
        empty_cups=tray_seen.empty_cups if tray_seen else (),
        unseen_cups=tray_seen.unseen_cups if tray_seen else (),
        error=None if readings else NO_EGG,
        tray_doubts=tray_seen.doubts if tray_seen else (),
        tray_card=tray_seen.card if tray_seen else None,
        mm_per_px=scale.mm_per_px if scale else None,
        mm_from=scale.source if scale else None,
        mm_per_px_interval=scale.interval if scale else None,
    )


def read_egg(
    rgb: RgbImage, egg: FoundEgg, *, view: View, presence: VeinPresenceNetwork | None = None
) -> Reading:
    """Measure one egg that was found; ``presence`` as for :func:`read_photo`."""
    outline = egg.outline
    side = max(outline.length_px * WORK_OVER_LENGTH, 8.0)
    size = int(min(side, WORK_LENGTH_PX * WORK_OVER_LENGTH))
    picture, origin, scale = cut_window(rgb, centre_px=outline.centre_px, side_px=side, size=size)
    local = in_window(outline, origin_px=origin, scale=scale)
    region = filled_polygon(picture.shape, local.polygon_px) & _inside_photo(rgb, origin, scale, size)
    quality = judge_quality(rgb, outline, view=view)
    missing: dict[str, str] = {}
    if not quality.usable:
        reason = f"the picture is {' and '.join(quality.problems)}"
        for name in ("air_cell", "veins", "embryo", "ring", "shell"):
            missing[name] = reason
        return Reading(outline, quality, None, NO_VEINS, NO_EMBRYO, missing=missing)

    contents = region
    cell_mask = np.zeros_like(region)
    probability = np.zeros(region.shape, np.float32)
    veins = NO_VEINS
    if view == "side":
        air_cell, no_line = side_view_air_cell(egg, rgb=rgb)
        if air_cell is None:
            missing["air_cell"] = no_line or "no line of an air cell shows"
        else:
            local_cell = replace(air_cell, boundary_px=(air_cell.boundary_px - np.array(origin)) / scale)
            cell_mask = region & air_cell_mask(local_cell, local, region.shape)
            contents = region & ~cell_mask
        clear_of_rim = contents & (cv2.dilate(cell_mask.astype(np.uint8), np.ones((RIM_PX, RIM_PX))) == 0)
        probability = vein_probability(picture, clear_of_rim)
        seen = (presence or shipped_presence()).probability(picture, contents, length_px=local.length_px)
        veins = measure_veins(
            probability, clear_of_rim, egg_length_px=local.length_px, outline=local, presence=seen
        )
        if veins.visible is None:
            missing["veins"] = "whether there are veins cannot be told here"
    else:
        # From above the contents are seen through the air cell, so it hides none of them.
        air_cell, no_depth = measure_end_view_air_cell(picture, local, origin_px=origin, scale=scale)
        if air_cell is None:
            missing["air_cell"] = no_depth or "no rim of an air cell shows"
        else:
            rim = (air_cell.boundary_px - np.array(origin)) / scale
            cell_mask = region & filled_polygon(region.shape, rim)
            missing["air_cell.tilt_deg"] = NO_TILT_FROM_ABOVE
            missing["air_cell.line_depth_fraction"] = NO_LINE_FROM_ABOVE
            if no_depth is not None:
                missing["air_cell.depth_fraction"] = missing["air_cell.volume_fraction"] = no_depth
        # From above, the air cell's rim is a line like a vein, and veins lie near the edge: with the drawn
        # rim itself left out they were seen in 2 of 12 drawn eggs that showed some, and in 4 of 24 without.
        missing["veins"] = "not counted in end view, where the air cell's rim looks like a vein"
    embryo, no_embryo = measure_embryo(picture, contents, outline=local)
    if no_embryo is not None:
        missing["embryo"] = no_embryo
    if embryo.centre_px is not None:
        centre = np.array(embryo.centre_px) * scale + np.array(origin)
        embryo = replace(embryo, centre_px=(float(centre[0]), float(centre[1])))
    ring, shell = None, Shell()
    if view == "side":
        ring, shell = ring_and_shell(
            picture, contents, probability, outline=local, veins=veins, origin_px=origin, scale=scale
        )
        if ring is None:
            missing["ring"] = "no ring of blood shows"
    else:
        missing["ring"] = missing["shell"] = "not looked for in end view"
    marked = (probability > VISIBLE_AT) & (veins.visible is not False)  # pencil, a hair, a ring
    masks = _masks(rgb, region, marked, cell_mask, origin, scale)
    return Reading(
        outline, quality, air_cell, veins, embryo, missing=missing, masks=masks, ring=ring, shell=shell
    )


def _inside_photo(rgb: RgbImage, origin: tuple[float, float], scale: float, size: int) -> NDArray[np.bool_]:
    """Which pixels of a window lie on the photo (an egg may reach beyond its edge)."""
    along = np.arange(size) * scale
    x, y = along + origin[0], along + origin[1]
    columns = (x >= 0) & (x <= rgb.shape[1] - 1)
    rows = (y >= 0) & (y <= rgb.shape[0] - 1)
    inside: NDArray[np.bool_] = rows[:, None] & columns[None, :]
    return inside


def _masks(
    rgb: RgbImage,
    egg: NDArray[np.bool_],
    veins: NDArray[np.bool_],
    air_cell: NDArray[np.bool_],
    origin: tuple[float, float],
    scale: float,
) -> EggMasks:
    """The window's masks at the photo's own scale, cut to the photo."""
    side = round(egg.shape[0] * scale)
    left, top = (round(o - (scale - 1) / 2) for o in origin)
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + side, rgb.shape[1]), min(top + side, rgb.shape[0])

    def placed(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
        full = mask
        if side != mask.shape[0]:
            smooth = cv2.resize(mask.astype(np.float32), (side, side), interpolation=cv2.INTER_LINEAR)
            full = smooth > 0.5
        return full[y0 - top : y1 - top, x0 - left : x1 - left]

    return EggMasks((x0, y0), placed(egg), placed(veins), placed(air_cell))
