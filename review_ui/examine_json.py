"""The JSON of ``trayglow examine``, described by ``examine.schema.json`` beside this file."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Sequence
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.proposal import Judgement
from vision.reading import AirCell, BloodRing, Interval, PhotoReading, Reading, View

SCHEMA_VERSION = 1

# Digits after the point: a tenth of a pixel, of a degree and of a millimetre, 1/10 000 of a fraction.
_PX, _DEGREES, _FRACTION, _DAY, _MM, _MM_PER_PX, _SHAPE = 1, 1, 4, 1, 1, 6, 1

_NOT_FINITE = "the measurement gave no finite number"
_NO_AXIS = {
    "side": "which end is the blunt one could not be told",
    "end": "the camera looks along the egg's axis",
}


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) that every document follows."""
    text = resources.files("review_ui").joinpath("examine.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def document_text(model: str, records: Sequence[dict[str, Any]]) -> str:
    """The whole document: pure ASCII, one photo a line, never NaN.

    Parameters
    ----------
    model
        Name and version of the model that judged.
    records
        What :func:`photo_record` gave for each photo, in the order in which they were named.
    """
    lines = ",\n".join(json.dumps(record, allow_nan=False) for record in records)
    return f'{{"schema": {SCHEMA_VERSION}, "model": {json.dumps(model)}, "photos": [\n{lines}\n]}}\n'


def photo_record(reading: PhotoReading, judgements: Sequence[Judgement]) -> dict[str, Any]:
    """One entry of ``photos``.

    Parameters
    ----------
    reading
        What was measured on the photo, or why it could not be read.
    judgements
        One for each of its eggs.

    Raises
    ------
    ValueError
        If a number that must be there, such as an outline's, is not finite, or the judgements
        are not as many as the eggs.
    """
    return {
        # A file name may hold bytes that are no text; JSON cannot.
        "photo": os.fsencode(reading.photo).decode("utf-8", "backslashreplace"),
        "sha256": reading.sha256,
        "width_px": reading.width_px,
        "height_px": reading.height_px,
        "taken_at": None if reading.taken_at is None else reading.taken_at.isoformat(),
        "view": reading.view,
        "error": reading.error,
        "eggs": [
            _egg(egg, judgement, reading.view)
            for egg, judgement in zip(reading.eggs, judgements, strict=True)
        ],
        "empty_cups": list(reading.empty_cups),
        "unseen_cups": list(reading.unseen_cups),
        "tray_doubts": list(reading.tray_doubts),
        "tray_card": None
        if reading.tray_card is None
        else {"number": reading.tray_card.number, "markers_seen": reading.tray_card.markers_seen},
        "mm_per_px": None if reading.mm_per_px is None else _rounded(reading.mm_per_px, _MM_PER_PX),
        "mm_from": reading.mm_from,
        "mm_per_px_interval": _interval(reading.mm_per_px_interval, _MM_PER_PX),
    }


def _egg(egg: Reading, judgement: Judgement, view: View | None) -> dict[str, Any]:
    missing = {**egg.missing, **judgement.missing}
    if egg.outline.axis_deg is None and view is not None:
        missing.setdefault("axis_deg", _NO_AXIS[view])

    def number(name: str, value: float | None, digits: int) -> float | None:
        """Rounded; a value that is no finite number becomes a missing one, with its reason."""
        if value is None:
            return None
        if not math.isfinite(value):
            missing.setdefault(name, _NOT_FINITE)
            return None
        return _rounded(value, digits)

    def air_cell(found: AirCell) -> dict[str, Any]:
        return {
            "depth_fraction": number("air_cell.depth_fraction", found.depth_fraction, _FRACTION),
            "diameter_fraction": number("air_cell.diameter_fraction", found.diameter_fraction, _FRACTION),
            "volume_fraction": number("air_cell.volume_fraction", found.volume_fraction, _FRACTION),
            "tilt_deg": number("air_cell.tilt_deg", found.tilt_deg, _DEGREES),
            "boundary_px": _points(found.boundary_px),
            "confidence": _rounded(found.confidence, _FRACTION),
            "line_depth_fraction": number(
                "air_cell.line_depth_fraction", found.line_depth_fraction, _FRACTION
            ),
            "intervals": {
                "depth_fraction": _interval(found.intervals.depth_fraction, _FRACTION),
                "diameter_fraction": _interval(found.intervals.diameter_fraction, _FRACTION),
                "volume_fraction": _interval(found.intervals.volume_fraction, _FRACTION),
                "tilt_deg": _interval(found.intervals.tilt_deg, _DEGREES),
            },
            "unusual": list(found.unusual),
        }

    outline, day, proposal = egg.outline, judgement.apparent_day, judgement.proposal
    axis = number("axis_deg", outline.axis_deg, _DEGREES)
    centre = egg.embryo.centre_px
    return {
        "cup": egg.cup,
        "outline": {
            "centre_px": _point(outline.centre_px),
            "length_px": _rounded(outline.length_px, _PX),
            "breadth_px": _rounded(outline.breadth_px, _PX),
            "axis_deg": None if axis is None else axis % 360.0,
            "long_axis_deg": _rounded(outline.long_axis_deg, _DEGREES) % 180.0,
            "polygon_px": _points(outline.polygon_px),
        },
        "quality": {"usable": bool(egg.quality.usable), "problems": list(egg.quality.problems)},
        "air_cell": None if egg.air_cell is None else air_cell(egg.air_cell),
        "veins": {
            "visible": _truth(egg.veins.visible),
            "length_per_area": number("veins.length_per_area", egg.veins.length_per_area, _FRACTION),
            "area_fraction": number("veins.area_fraction", egg.veins.area_fraction, _FRACTION),
            "branch_points": egg.veins.branch_points,
            "reach_fraction": number("veins.reach_fraction", egg.veins.reach_fraction, _FRACTION),
        },
        "embryo": {
            "visible": _truth(egg.embryo.visible),
            "area_fraction": number("embryo.area_fraction", egg.embryo.area_fraction, _FRACTION),
            "centre_px": None if centre is None else _point(centre),
            "darkness": number("embryo.darkness", egg.embryo.darkness, _FRACTION),
        },
        "ring": None if egg.ring is None else _ring(egg.ring),
        "shell": {
            "shape_index": number("shell.shape_index", egg.shell.shape_index, _SHAPE),
            "look_here": [
                {"what": place.what, "boundary_px": _points(place.boundary_px)}
                for place in egg.shell.look_here
            ],
        },
        "size_mm": None
        if egg.size_mm is None
        else {
            "length": _rounded(egg.size_mm[0], _MM),
            "breadth": _rounded(egg.size_mm[1], _MM),
        },
        "apparent_day": None
        if day is None
        else {name: _rounded(getattr(day, name), _DAY) for name in ("day", "low", "high")},
        "proposal": {
            "status": proposal.status,
            "probability": {name: _rounded(value, _FRACTION) for name, value in proposal.probability.items()},
            "decision": proposal.decision,
            "reasons": list(proposal.reasons),
        },
        "missing": {str(name): str(reason) for name, reason in missing.items()},
    }


def _ring(ring: BloodRing) -> dict[str, Any]:
    return {
        "centre_px": _point(ring.centre_px),
        "radius_fraction": _rounded(ring.radius_fraction, _FRACTION),
        "completeness": _rounded(ring.completeness, _FRACTION),
        "confidence": _rounded(ring.confidence, _FRACTION),
    }


def _interval(interval: Interval | None, digits: int) -> list[float] | None:
    if interval is None or not (math.isfinite(interval.low) and math.isfinite(interval.high)):
        return None
    return [_rounded(interval.low, digits), _rounded(interval.high, digits)]


def _rounded(value: float, digits: int) -> float:
    """A plain Python number; one that must be there but is not finite is a fault."""
    if not math.isfinite(value):
        raise ValueError(f"{value} where a number is needed")
    return round(float(value), digits) + 0.0  # + 0.0 turns -0.0 into 0.0


def _truth(value: bool | None) -> bool | None:
    return None if value is None else bool(value)


def _point(point: ArrayLike) -> list[float]:
    x, y = np.asarray(point, dtype=np.float64)
    return [_rounded(x, _PX), _rounded(y, _PX)]


def _points(points: ArrayLike) -> list[list[float]]:
    return [_point(point) for point in np.asarray(points, dtype=np.float64).reshape(-1, 2)]
