"""A side view's description: where eggs stand, what lights them, what stands round them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sample_images.biology import EggSpec
from sample_images.camera import Camera
from sample_images.egg_layer import Lighting
from sample_images.optics import Light
from sample_images.projection import View

FloatArray = NDArray[np.float64]

LAMPS = (
    "ring lamp below",
    "phone above",
    "phone below",
    "lamp at the side",
    "two lamps",
    "held in the hand",
    "seen from above",
    "lamp behind",
)
SURROUNDINGS = ("dark room", "box", "bright card", "cloth", "desk", "screen")


@dataclass(frozen=True)
class Pose:
    """Where an egg stands in the picture.

    ``axis_deg`` points from the pointed to the blunt end (90: blunt end down); ``lean_deg`` turns the
    pointed end toward the camera; ``cover_mm`` is how much of the end on the lamp the lamp hides.
    """

    centre_px: tuple[float, float]
    px_per_mm: float
    axis_deg: float = 90.0
    lean_deg: float = 0.0
    camera_mm: float = 250.0
    cover_mm: float = 3.0


@dataclass(frozen=True)
class Scene:
    """Everything of a side view but the eggs themselves.

    Attributes
    ----------
    size
        Height and width in pixels.
    poses
        One for each egg.
    lamp
        One of :data:`LAMPS`.
    lamp_turn_deg
        How far a lamp below the egg is carried round it in the picture, clockwise: 180 holds it above.
    lamp_near, lamp_near_mm
        Strength and size of the bright patch by the lamp.
    surroundings
        One of :data:`SURROUNDINGS`.
    camera
        The phone.
    white
        Colour of the lamp's light where nothing has filtered it, linear red, green, blue.
    room
        Room light on the shell, linear red, green, blue; the lamp's level is about 1.
    scatter_mm, vessel_strength, rim_line, rim_width_mm, air_gain, cell_contrast, dark_per_mm, limb
        See :class:`sample_images.egg_layer.Lighting`.
    fingers, cables
        How many.
    problems
        Names of what is spoilt on purpose; "hand in front" and "lamp off" also draw themselves.
    compress
        Whether the picture goes through JPEG at the camera's quality.
    """

    size: tuple[int, int] = (800, 600)
    poses: tuple[Pose, ...] = (Pose((300.0, 380.0), 7.0),)
    lamp: str = "ring lamp below"
    lamp_turn_deg: float = 0.0
    lamp_near: float = 3.0
    lamp_near_mm: float = 9.0
    surroundings: str = "dark room"
    camera: Camera = field(default_factory=Camera)
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    room: tuple[float, float, float] = (0.015, 0.012, 0.009)
    scatter_mm: float = 0.25
    vessel_strength: float = 1.6
    rim_line: float = 0.12
    air_gain: float = 1.1
    cell_contrast: float = 1.0
    rim_width_mm: float = 0.5
    dark_per_mm: float = 0.0
    limb: float = 0.15
    fingers: int = 0
    cables: int = 0
    problems: tuple[str, ...] = ()
    compress: bool = True

    @property
    def lamp_way(self) -> tuple[float, float]:
        """Direction in the picture, from the egg, of a lamp that stands below it or was carried round."""
        turn = np.radians(self.lamp_turn_deg)
        return float(-np.sin(turn)), float(np.cos(turn))

    def __post_init__(self) -> None:
        for name, known in (("lamp", LAMPS), ("surroundings", SURROUNDINGS)):
            if getattr(self, name) not in known:
                raise ValueError(f"{name} must be one of {', '.join(known)}, not {getattr(self, name)!r}")


def lit(spec: EggSpec, view: View, scene: Scene) -> tuple[Lighting, FloatArray]:
    """The lamps in an egg's own frame, and which way is up for its contents."""

    def body(way: tuple[float, float, float]) -> FloatArray:
        result: FloatArray = np.asarray(way, float) @ view.rotation
        return result / np.linalg.norm(result)

    half, wide = spec.profile.length / 2, spec.profile.breadth / 2

    def edge(way: FloatArray, beyond: float = 2.0) -> tuple[float, float, float]:
        room = 1 / np.sqrt((way[0] / half) ** 2 + (way[1] ** 2 + way[2] ** 2) / wide**2)
        place = way * (room + beyond)
        return (float(place[0]), float(place[1]), float(place[2]))

    near, near_mm = scene.lamp_near, scene.lamp_near_mm
    down, up = body((*scene.lamp_way, 0)), body((0, -1, 0))
    if scene.lamp == "phone above":
        lights = [Light(edge(up), near=near, near_mm=near_mm)]
    elif scene.lamp == "lamp at the side":
        lights = [Light(edge(body((1, 0.1, 0))), near=near, near_mm=near_mm)]
    elif scene.lamp == "two lamps":
        lights = [
            Light(edge(down), near=near, near_mm=near_mm),
            Light(edge(up), strength=0.35, near=near * 0.7, near_mm=near_mm),
        ]
    elif scene.lamp == "seen from above":
        up = body((0, -0.45, -0.9))
        lights = [Light(edge(body((0, 0.5, 0.85)), 4), near=near * 0.5, near_mm=near_mm * 2.0)]
    elif scene.lamp == "lamp behind":
        lights = [Light(edge(body((0, 0.1, 1)), 6), near=near * 0.3, near_mm=near_mm * 2.5)]
    else:
        lights = [Light(edge(down), near=near, near_mm=near_mm)]
    if "lamp off" in scene.problems:
        lights = [replace(light, strength=1e-4) for light in lights]
    from_blunt = float(np.clip(0.5 - lights[0].place[0] / half * 0.6, 0, 1))
    lighting = Lighting(
        tuple(lights),
        room=scene.room,
        air_gain=scene.air_gain,
        from_blunt=from_blunt,
        limb=scene.limb,
        scatter_mm=scene.scatter_mm,
        vessel_strength=scene.vessel_strength,
        rim_line=scene.rim_line,
        cell_contrast=scene.cell_contrast,
        rim_width_mm=scene.rim_width_mm,
        dark_per_mm=scene.dark_per_mm,
    )
    return lighting, up
