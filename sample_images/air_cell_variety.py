"""Air cells and lamps beyond what phone photos at hand show: other storage, other ways to hold the lamp.

The usual scenes follow one breeder's photos. Here depth is freed from the day (eggs stored long, dry or
wet machines), the lamp may be held at either end or at the side, hide much of the end it lies on and
sit askew, and the rim may show by a bright air cell, by the membrane's thin dark line only, or both.
Late embryos may swallow all light a few millimetres beyond the membrane. Hand-chosen ranges.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_images.biology import EggSpec, air_volume_mm3, with_air_volume
from sample_images.scene import Scene

LOOSE_SHARE = 0.1
# What shipping does to air cells. The last is the sound egg beside them.
AIR_CELL_FAULTS = ("leans along the line of sight", "saddle along the line of sight", "bubbles", "none")


def varied_egg(rng: np.random.Generator, spec: EggSpec) -> EggSpec:
    """The same egg with more or less air, another sag, and sometimes a loose, strongly tilted rim."""
    air = air_volume_mm3(spec)[0] * float(np.exp(rng.uniform(np.log(0.3), np.log(3.0))))
    tilt = spec.tilt_deg
    if rng.random() < LOOSE_SHARE:
        tilt = float(rng.uniform(15, 35))
    elif rng.random() < 0.4:
        tilt = float(rng.uniform(0, 15))
    changed = replace(spec, sag_mm=float(rng.normal(0, 0.6)), tilt_deg=tilt)
    # At least a film of air, at most a cell to a third of the length.
    return with_air_volume(changed, float(np.clip(air, 150.0, 0.28 * spec.mass_at_setting_g * 1000)))


def faulty_egg(rng: np.random.Generator, spec: EggSpec, fault: str) -> EggSpec:
    """The same egg as shipping may have left it; the depth of its air cell is that of a candled egg.

    Parameters
    ----------
    rng
        Source of chance.
    spec
        The egg.
    fault
        One of :data:`AIR_CELL_FAULTS`. The first two show no slope in the picture: the rim leans, or swings,
        toward the camera or away from it.

    Raises
    ------
    ValueError
        Where ``fault`` is none of them.
    """
    if fault not in AIR_CELL_FAULTS:
        raise ValueError(f"air_cell_fault must be one of {', '.join(AIR_CELL_FAULTS)}, not {fault!r}")
    depth = float(rng.uniform(0.09, 0.2)) * spec.profile.length
    spec = replace(spec, air_cell_depth_mm=depth, tilt_deg=float(abs(rng.normal(0, 2))), far_rim=0.4)
    way = float(rng.choice([90.0, 270.0]) + rng.normal(0, 15))  # the camera's side is at 90 degrees
    if fault == "leans along the line of sight":
        return replace(spec, tilt_deg=float(rng.uniform(24, 36)), tilt_azimuth_deg=way)
    if fault == "saddle along the line of sight":
        return replace(spec, saddle_mm=float(rng.uniform(2.5, 4.5)), tilt_azimuth_deg=way)
    return replace(spec, bubbles=int(rng.integers(3, 9))) if fault == "bubbles" else spec


def varied_scene(rng: np.random.Generator, specs: tuple[EggSpec, ...], scene: Scene) -> Scene:
    """The same scene with the lamp held elsewhere and another look of the rim.

    Parameters
    ----------
    rng
        A source of chance of its own, so that the usual scenes stay as they are.
    specs, scene
        The eggs, and their scene as :func:`sample_images.random_scene.random_scene` draws it.
    """
    single = len(specs) == 1
    if single and rng.random() < 0.6:
        # Held at the blunt end, at the pointed end or at the side, whichever way the egg lies.
        pose = scene.poses[0]
        axis = float(rng.choice([90.0, 270.0, rng.uniform(0, 360)], p=[0.6, 0.2, 0.2]) + rng.normal(0, 8))
        at = axis + float(rng.choice([0, 180, 90, 270], p=[0.6, 0.18, 0.11, 0.11]) + rng.normal(0, 12))
        height, width = scene.size
        scale = min(pose.px_per_mm, 0.92 * min(height, width) / specs[0].profile.length)
        pose = replace(
            pose,
            axis_deg=axis % 360,
            px_per_mm=scale,
            centre_px=(
                float(width / 2 + rng.uniform(-1, 1) * max(width - specs[0].profile.length * scale, 0) / 2),
                float(height / 2 + rng.uniform(-1, 1) * max(height - specs[0].profile.length * scale, 0) / 2),
            ),
            cover_mm=float(rng.uniform(0.3, 9) if rng.random() < 0.7 else 0.1),
        )
        lamp = str(rng.choice(["ring lamp below", "phone below", "held in the hand"], p=[0.6, 0.15, 0.25]))
        scene = replace(scene, poses=(pose,), lamp=lamp, lamp_turn_deg=at - 90)
    look = rng.random()
    if look < 0.4:  # a bright air cell
        scene = replace(
            scene,
            air_gain=float(rng.lognormal(0.6, 0.5)),
            cell_contrast=1.0,
            rim_line=float(rng.choice([0.0, rng.uniform(0, 0.3)])),
        )
    elif look < 0.8:  # the membrane's line, and little else
        scene = replace(
            scene,
            air_gain=float(rng.lognormal(0.0, 0.1)),
            cell_contrast=float(rng.uniform(0, 0.45)),
            rim_line=float(rng.uniform(0.08, 0.5)),
        )
    scene = replace(scene, rim_width_mm=float(rng.uniform(0.25, 1.0)), limb=float(rng.uniform(-0.25, 0.35)))
    if any(spec.developed_until > 11 for spec in specs) and rng.random() < 0.5:
        scene = replace(scene, dark_per_mm=float(rng.uniform(0.05, 0.5)))
    if rng.random() < 0.4:  # a wholly dark room
        red, green, blue = scene.room
        scene = replace(scene, room=(0.05 * red, 0.05 * green, 0.05 * blue), surroundings="dark room")
    return scene
