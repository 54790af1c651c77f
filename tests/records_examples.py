"""Small records for the tests of the records, candling and its commands."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from incubation import records as rec

SET_AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def measured(
    status: str = "developing",
    chance: float = 0.97,
    decision: str = "pass",
    *,
    veins: bool | None = True,
    depth: float | None = None,
    confidence: float = 0.9,
    usable: bool = True,
    cup: str | None = None,
    reasons: tuple[str, ...] = ("veins found",),
) -> dict[str, Any]:
    """An egg's entry as in the results of ``trayglow examine``."""
    rest = (1 - chance) / 2
    chances = dict.fromkeys(("clear", "early death", "developing"), rest) | {status: chance}
    cell = None
    if depth is not None:
        cell = {
            "depth_fraction": depth,
            "diameter_fraction": 0.6,
            "volume_fraction": 0.05,
            "tilt_deg": 1.0,
            "boundary_px": [[1.0, 2.0], [3.0, 4.0]],
            "confidence": confidence,
        }
    return {
        "cup": cup,
        "outline": {
            "centre_px": [50.0, 60.0],
            "length_px": 57.0,
            "breadth_px": 42.0,
            "axis_deg": 90.0,
            "long_axis_deg": 90.0,
            "polygon_px": [[50.0, 31.5], [71.0, 60.0], [50.0, 88.5]],
        },
        "quality": {"usable": usable, "problems": [] if usable else ["blurred"]},
        "air_cell": cell,
        "veins": {"visible": veins, "length_per_area": None, "area_fraction": None},
        "embryo": {"visible": None, "area_fraction": None, "centre_px": None},
        "apparent_day": {"day": 7.2, "low": 5.0, "high": 9.4},
        "proposal": {
            "status": status,
            "probability": chances,
            "decision": decision,
            "reasons": list(reasons),
        },
        "missing": {},
    }


def new_tray(
    records: rec.Records, *, name: str = "Spring", rows: int = 2, columns: int = 3
) -> tuple[rec.Batch, rec.Tray, tuple[rec.Egg, ...]]:
    """A batch with one tray, an egg in every cup."""
    with records.write() as session:
        batch = rec.new_batch(session, name=name, species="chicken", set_at=SET_AT)
        tray = rec.add_tray(session, batch.id, name="1", rows=rows, columns=columns)
        return batch, tray, rec.fill_tray(session, tray.id)


def add_look(
    records: rec.Records,
    egg: rec.Egg,
    entry: dict[str, Any] | None = None,
    *,
    day: float = 7,
    photo: bytes = b"p",
) -> rec.Look:
    """A reading of an egg with its photo."""
    with records.write() as session:
        kept = rec.store_photo(session, photo, name="egg.jpg")
        return rec.add_reading(
            session,
            egg_id=egg.id,
            photo_id=kept.id,
            day=day,
            view="side",
            model="m1",
            measured=entry or measured(),
        )
