"""The air cell of one egg seen from the side: depth, diameter, volume and tilt, each with its doubt.

From a map of where the air cell probably lies the rim's line is read (``vision.rim_line``) and the
rim's mean plane fitted (``vision.rim_fit``). Each measurement carries a 90 % interval. It is built from
what can go wrong: the scatter of the line, the bow of a rim seen from above or below, the blunt
pole, which a lamp may hide, and for the volume how far the membrane sags. A rim that leans along the line
of sight shows as an open ellipse and is fitted apart (``vision.open_rim``).

The sag cannot be seen. Its prior is zero, for the plane cut; its spread (:data:`SAG_SPREAD`) widens the
volume's interval. That part is **shared by all eggs**: it does not average away over a tray or over days, so
whoever takes the mean of many volumes must carry it whole. Weighings decide it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import (
    EggProfile,
    air_cell_volume_fraction,
    rim_diameter,
    tilted_air_cell_volume_fraction,
)
from vision.open_rim import OpenRim, fit_open_rim
from vision.polygon_mask import filled_polygon
from vision.reading import AirCell, AirCellIntervals, Interval, Outline
from vision.rim_fit import Rim, fit_rim
from vision.rim_line import EggFrame, Strips, egg_frame, find_line, work_map

FloatArray = NDArray[np.float64]

DEPTH_LIMITS = (0.01, 0.45)  # of egg length; beyond, whatever was found is no air cell
MIN_LINE_SHARE = 0.4  # of the rim's width, that must show a line
MAX_TILT_DEG = 45.0
MAX_BOW = 0.15  # of the length; a camera 30 degrees off the rim's plane

# Chance that a person sees a line, from the network's own answer (its logit) and by how much the map
# falls at the line: logistic regression on drawn and real photos.
SHOWS_INTERCEPT, SHOWS_LOGIT, SHOWS_FALL = -1.25, 1.74, 1.68
MIN_SHOWS = 0.6
# On drawn eggs readings of less confidence were mostly off by several mm: no reading is better.
MIN_CONFIDENCE = 0.2

# Spreads over egg length: factor on the fit's own deviation, on the doubt of the blunt pole, what is left,
# and a share of the bow. That share is what drawn eggs lack: a real line bows not by the camera's height
# alone but by a sagging membrane and a rim that is no circle, so the more of it is put down to the camera,
# the less sure is the plane. Chosen on 255 drawn eggs of seeds apart (97 % inside) and the eye's planes of
# real evenings. With the share fitted on the other evenings 151 of 172 planes of an evening are inside (all
# evenings together: 152); 78 % where the eye's ellipse, which reaches beyond the pole, is counted from.
FIT_FACTOR, POLE_FACTOR, DEPTH_FLOOR, BOW_DOUBT = 0.7, 1.0, 0.006, 0.45
TILT_FACTOR, TILT_FLOOR_DEG = 1.0, 1.0
# The angle by which the rim opens is the camera's height and the rim's own lean along the line of sight
# together. So much of it is taken as the rim's (camera within some 5 degrees, usual tilts about 3), and
# so much it may be.
LEAN_SHARE, LEAN_AT_MOST = 0.3, 0.7
UNSEEN_TILT_DEG = 4.0  # tilt along the line of sight where the rim shows edge-on
BREADTH_SPREAD = 0.01  # of the breadth
SAG_SPREAD = 0.01  # of the length, about half a millimetre; hand-chosen, no measurement is known
NINETY = 1.645  # standard deviations either side that hold 90 of 100

MARKED_WIDTH = 0.85  # of the rim's half width, in which a person would mark the line
LOOSE_TILT_DEG = 20.0
# Off edge-on, from which a rim counts as wide open. Cameras look down on eggs by 10 degrees and more (up to
# 21 in the real photos), which bows the line toward the pole; few look up at them (up to 11 there, 14 in
# 265 drawn eggs that are not loose).
OPEN_DEEPER_DEG, OPEN_SHALLOWER_DEG = 15.0, 22.0
OPEN_LOOK_DEG = 8.0  # from which the open rim is tried
OPEN_RIM_DEG = 15.0  # least lean for which its plane is taken
UNEVEN_RIM = 0.005  # of the length: scatter about the curve of a plane rim
SURE_STRIP = 0.012  # of the length: doubt up to which a strip tells about the rim's shape


def measure_air_cell(
    air_cell_map: NDArray[np.float32],
    outline: Outline,
    *,
    corner_px: tuple[int, int] = (0, 0),
    line_shows: float = 1.0,
    pole_doubt: float = 0.0,
    camera_lengths: float = math.inf,
) -> tuple[AirCell | None, str | None]:
    """Measure the air cell of one egg seen from the side.

    Parameters
    ----------
    air_cell_map
        Probability, 0 to 1, that the pixel lies beyond the near rim's line toward the blunt end; shape
        (H, W), a window of the photo at the photo's own scale. Values outside the silhouette do
        not matter.
    outline
        The egg, in photo pixels. Where its blunt end is not known, the end on which the map's
        mass lies is taken as the blunt one.
    corner_px
        Photo position (x, y) of the window's top left pixel.
    line_shows
        Probability, 0 to 1, that a person could see the line at all.
    pole_doubt
        Standard deviation of the blunt pole's place along the axis, over egg length.
    camera_lengths
        Distance from the camera to the egg's middle, over egg length; see :func:`pole_to_plane`.

    Returns
    -------
    AirCell or None
        What was measured; ``depth_fraction`` is that of the rim's mean plane, ``confidence`` the
        chance that there is a line here, less where it fits no rim well.
        ``tilt_deg`` is the whole tilt, without a sign: that seen in the picture, and a share of the
        angle by which the rim opens, for a lean along the line of sight cannot be told from the
        camera's own height. Its interval allows for either.
    str or None
        Why nothing could be measured.

    Raises
    ------
    ValueError
        Where the map is not a picture of numbers between 0 and 1.
    """
    probability = _checked_map(air_cell_map)
    if outline.profile is None:
        return None, "the egg is seen from its end, so the air cell's depth does not show"
    work = work_map(probability, outline.profile.length, corner_px)
    frame, reason = egg_frame(work, outline)
    if frame is None:
        return None, reason
    strips = find_line(work.values, frame)
    length = frame.profile.length
    if len(strips.offset) < 6:
        return None, "no line of an air cell shows"
    shows = _chance_shown(line_shows, strips)
    if shows < MIN_SHOWS:
        return None, "no air cell shows: what may be its line is too faint to be sure of"
    rim = fit_rim(strips, frame)
    if not DEPTH_LIMITS[0] <= rim.depth / length <= DEPTH_LIMITS[1]:
        rim = fit_rim(strips, frame, bow_spread=1e-4)  # a line so shallow or deep tells no bow
    opened = _open_rim(strips, frame, rim)
    depth, slope = (rim.depth, rim.slope) if opened is None else (opened.depth, opened.slope)
    depth_fraction = depth / length
    seen_tilt = math.degrees(math.atan(abs(slope)))
    if seen_tilt > MAX_TILT_DEG:
        return None, "the line found runs along the egg rather than across its blunt end"
    if not DEPTH_LIMITS[0] <= depth_fraction <= DEPTH_LIMITS[1]:
        return None, "the line found does not cross the egg's axis where an air cell can end"
    if abs(rim.bow) > MAX_BOW * length and opened is None:
        return None, "the line found is more bowed than the rim of an air cell can be"
    fits = np.abs(rim.residual) < 0.05 * length
    seen = _share_seen(strips.offset[fits], rim)
    if seen < MIN_LINE_SHARE:
        return None, "too little of the air cell's line shows"

    shape = frame.profile.breadth / length
    depth_fraction = pole_to_plane(depth_fraction, shape, camera_lengths)
    confidence = _confidence(shows, strips, fits, rim, seen, length, opened=opened is not None)
    if confidence < MIN_CONFIDENCE:
        return None, "what looks like an air cell's line is too faint or uneven to be measured"

    spread = math.sqrt(
        FIT_FACTOR**2 * rim.covariance[0, 0] / length**2
        + (POLE_FACTOR * pole_doubt) ** 2
        + (BOW_DOUBT * rim.bow / length) ** 2
        + ((depth - rim.depth) / (2 * length)) ** 2
        + DEPTH_FLOOR**2
    )
    lean = opening_deg(rim) if opened is None else math.degrees(math.atan(opened.toward))
    tilt = _whole_tilt(slope, LEAN_SHARE * lean if opened is None else lean)
    tilt_spread = math.hypot(
        TILT_FACTOR * math.degrees(math.sqrt(rim.covariance[1, 1])) / (1 + rim.slope**2), TILT_FLOOR_DEG
    )
    most = math.hypot(
        seen_tilt + NINETY * tilt_spread, NINETY * UNSEEN_TILT_DEG, lean if opened else LEAN_AT_MOST * lean
    )
    tilts = Interval(max(seen_tilt - NINETY * tilt_spread, 0.0), min(most, 90.0))
    return (
        AirCell(
            depth_fraction=depth_fraction,
            diameter_fraction=rim_diameter(depth_fraction, frame.profile) / frame.profile.breadth,
            volume_fraction=tilted_air_cell_volume_fraction(depth_fraction, frame.profile, tilt_deg=tilt),
            tilt_deg=tilt,
            boundary_px=work.to_photo(frame.to_map(strips.depth[fits], strips.offset[fits])),
            confidence=confidence,
            line_depth_fraction=_seen_depth(strips.only(fits), rim) / length,
            intervals=_intervals(depth_fraction, spread, tilt, tilts, frame.profile),
            unusual=_unusual(strips, rim, seen_tilt, lean, length),
        ),
        None,
    )


def pole_to_plane(seen_fraction: float, breadth_fraction: float, camera_lengths: float) -> float:
    """Depth of the rim's plane from the pole, where the silhouette was seen from near by.

    A camera at a distance ``D`` sees an ellipse of half axes ``a`` and ``b`` (the latter toward the camera)
    end at ``a / sqrt(1 - (b / D)**2)``, a little beyond its pole: there the line of sight touches it. The
    rim's ends beside the axis stay in place.

    Parameters
    ----------
    seen_fraction
        From the silhouette's end to the plane, over the silhouette's length.
    breadth_fraction
        The egg's breadth over its length.
    camera_lengths
        The distance over egg length, more than 0.5; infinite for parallel rays.
    """
    wider = 1 / math.sqrt(1 - (breadth_fraction / 2 / camera_lengths) ** 2)
    return max(seen_fraction * wider - (wider - 1) / 2, 0.001)


def line_depth_fraction(line_px: NDArray[np.floating], outline: Outline) -> float:
    """Mean depth of a visible line along the axis, over egg length.

    What a person reads off the picture. It differs from the rim's mean plane by the bow of the line
    where the camera looks from above or below, so compare drawn lines with this, not with
    ``AirCell.depth_fraction``.

    Parameters
    ----------
    line_px
        Points of the line in the photo, shape (N, 2), x and y, evenly spaced across the egg.
    outline
        The egg; its ``axis_deg`` must be known.
    """
    if outline.axis_deg is None:
        raise ValueError("the outline's axis_deg must be known: which end is blunt?")
    angle = math.radians(outline.axis_deg)
    blunt = np.array([math.cos(angle), math.sin(angle)])
    along = (np.asarray(line_px, dtype=np.float64) - np.asarray(outline.centre_px)) @ blunt
    return float(0.5 - along.mean() / outline.length_px)


def air_cell_mask(
    air_cell: AirCell, outline: Outline, shape: tuple[int, int], *, corner_px: tuple[int, int] = (0, 0)
) -> NDArray[np.bool_]:
    """Pixels of the silhouette beyond the measured line, in a window of this shape (H, W).

    The line is carried on straight, in the direction between its ends, to the silhouette.
    """
    corner = np.asarray(corner_px)
    egg = filled_polygon(shape, outline.polygon_px - corner)
    line = np.asarray(air_cell.boundary_px, dtype=np.float64)
    if len(line) < 2:
        return np.zeros(shape, dtype=bool)
    chord = line[-1] - line[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-9)
    toward = np.array([-chord[1], chord[0]])
    # The air cell is the smaller part, on the side of the line away from the egg's middle.
    if toward @ (np.asarray(outline.centre_px) - line.mean(axis=0)) > 0:
        toward = -toward
    reach = 2 * outline.length_px
    start, end = line[0] - reach * chord, line[-1] + reach * chord
    beyond = np.vstack([start, line, end, end + reach * toward, start + reach * toward])
    return egg & filled_polygon(shape, beyond - corner)


def _checked_map(air_cell_map: NDArray[np.float32]) -> NDArray[np.float32]:
    if air_cell_map.ndim != 2 or min(air_cell_map.shape) < 2:
        raise ValueError(f"air_cell_map must be a picture of shape (H, W), not {air_cell_map.shape}")
    probability = np.ascontiguousarray(air_cell_map, dtype=np.float32)
    if not (np.all(np.isfinite(probability)) and probability.min() >= -1e-4 and probability.max() <= 1.0001):
        raise ValueError("air_cell_map must hold probabilities between 0 and 1")
    return probability


def _chance_shown(line_shows: float, strips: Strips) -> float:
    told = min(max(line_shows, 0.01), 0.99)
    logit = math.log(told / (1 - told))
    evidence = SHOWS_INTERCEPT + SHOWS_LOGIT * logit + SHOWS_FALL * float(strips.contrast.mean())
    return 1 / (1 + math.exp(-evidence))


def _intervals(
    depth: float, spread: float, tilt_deg: float, tilts: Interval, profile: EggProfile
) -> AirCellIntervals:
    """90 % intervals from the spread of depth (over length), with that of the tilt (degrees)."""
    low, high = (min(max(depth + k * NINETY * spread, 0.001), 0.6) for k in (-1, 1))
    # Up to the widest place the rim widens with depth; beyond, the slope's size is what counts.
    wide = [rim_diameter(d, profile) / profile.breadth for d in np.linspace(low, high, 9)]
    edge = NINETY * BREADTH_SPREAD
    volume = air_cell_volume_fraction(depth, profile)
    per_depth = (air_cell_volume_fraction(high, profile) - air_cell_volume_fraction(low, profile)) / 2
    sag = NINETY * SAG_SPREAD
    per_sag = air_cell_volume_fraction(depth, profile, min(sag, 1 - depth)) - volume
    reach = math.hypot(per_depth, per_sag)
    tilted = tilted_air_cell_volume_fraction(depth, profile, tilt_deg=tilt_deg)
    return AirCellIntervals(
        depth_fraction=Interval(low, high),
        diameter_fraction=Interval(max(min(wide) - edge, 0.0), max(wide) + edge),
        volume_fraction=Interval(max(tilted - reach, 0.0), tilted + reach),
        tilt_deg=tilts,
    )


def opening_deg(rim: Rim) -> float:
    """By how much the rim is seen off edge-on, from its half axes; positive where the near side is deeper."""
    return math.degrees(math.asin(min(max(rim.bow / max(rim.half_width, 1e-9), -1.0), 1.0)))


def _open_rim(strips: Strips, frame: EggFrame, rim: Rim) -> OpenRim | None:
    """The rim as one that leans toward the camera, where that fits better than a level one."""
    if opening_deg(rim) < OPEN_LOOK_DEG:
        return None
    opened = fit_open_rim(strips, frame, rim)
    if opened is None or opened.toward < math.tan(math.radians(OPEN_RIM_DEG)):
        return None
    return opened if opened.misfit < opened.level_misfit else None


def _whole_tilt(slope: float, lean_deg: float) -> float:
    return math.degrees(math.atan(math.hypot(slope, math.tan(math.radians(lean_deg)))))


def _unusual(strips: Strips, rim: Rim, tilt_deg: float, lean_deg: float, length: float) -> tuple[str, ...]:
    """What a person should look at; nothing is decided by it."""
    found = []
    if tilt_deg > LOOSE_TILT_DEG:
        found.append(f"its rim leans {tilt_deg:.0f} degrees: the air cell may be loose")
    if lean_deg > OPEN_DEEPER_DEG or lean_deg < -OPEN_SHALLOWER_DEG:
        found.append(
            f"its rim shows as a wide open ellipse, {abs(lean_deg):.0f} degrees off edge-on: the air cell "
            "may be loose or saddle-shaped, or the egg leans; turn it a quarter on its long axis, look again"
        )
    sure = (strips.doubt < SURE_STRIP * length) & (np.abs(strips.offset - rim.middle) < 0.9 * rim.half_width)
    sure &= np.isfinite(rim.residual)
    if sure.mean() > 0.5:
        scatter = float(np.sqrt(np.mean(rim.residual[sure] ** 2))) / length
        if scatter > UNEVEN_RIM:
            found.append("its rim is far from a plane: the air cell may be loose or saddle-shaped")
    return tuple(found)


def _seen_depth(strips: Strips, rim: Rim) -> float:
    """Mean depth of the line, without its corners at the silhouette, which hardly show."""
    middle = np.abs(strips.offset - rim.middle) < MARKED_WIDTH * rim.half_width
    return float(strips.depth[middle if middle.any() else slice(None)].mean())


def _share_seen(offset: FloatArray, rim: Rim) -> float:
    """Share of the rim's width in which a line was found."""
    if len(offset) == 0:
        return 0.0
    position = (offset - rim.middle) / rim.half_width
    bins = np.floor((position + 1) / 2 * 20).astype(int)
    return len(set(bins[(bins >= 0) & (bins < 20)].tolist())) / 20


def _confidence(
    shows: float,
    strips: Strips,
    fits: NDArray[np.bool_],
    rim: Rim,
    seen: float,
    length: float,
    *,
    opened: bool,
) -> float:
    """The chance that a line shows times plain factors: contrast, width seen, fit, bow, depth."""
    contrast = float(np.mean(strips.contrast[fits]))
    width = min(seen / 0.8, 1.0)
    scatter = float(np.sqrt(np.mean(rim.residual[fits] ** 2))) / length
    smooth = math.exp(-((scatter / 0.02) ** 2)) * float(fits.mean())
    straight = 1.0 if opened else min((MAX_BOW - abs(rim.bow) / length) / 0.05, 1.0)
    # Air cells of sound eggs end between 0.04 and 0.35 of the length; beyond, trust fades.
    share = rim.depth / length
    plausible = min(share / 0.04, (DEPTH_LIMITS[1] - share) / 0.1, 1.0)
    product = shows * contrast * width * smooth * straight * max(plausible, 0.0)
    return float(np.clip(product, 0.0, 1.0))
