"""Side views: one or several eggs on a lamp, drawn from a full description or at random."""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sample_images.biology import EggSpec, random_egg
from sample_images.camera import Camera, encode_jpeg, expose
from sample_images.egg_layer import EggLayer, Lighting, draw_layer
from sample_images.optics import Light
from sample_images.finish import egg_truth
from sample_images.projection import View, side_view
from sample_images.surroundings import SURROUNDINGS, Canvas, backdrop, cable, cup, finger, phone
from sample_images.truth import DeathKind, SimulatedPhoto, Status

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
_LAMP_SHARES = (0.42, 0.12, 0.07, 0.06, 0.1, 0.06, 0.12, 0.05)


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
    lamp_near, lamp_near_mm
        Strength and size of the bright patch by the lamp.
    surroundings
        One of :data:`sample_images.surroundings.SURROUNDINGS`.
    camera
        The phone.
    room
        Room light on the shell, linear red, green, blue; the lamp's level is about 1.
    scatter_mm, vessel_strength, rim_line, air_gain, limb
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
    lamp_near: float = 3.0
    lamp_near_mm: float = 9.0
    surroundings: str = "dark room"
    camera: Camera = field(default_factory=Camera)
    room: tuple[float, float, float] = (0.015, 0.012, 0.009)
    scatter_mm: float = 0.25
    vessel_strength: float = 1.9
    rim_line: float = 0.12
    air_gain: float = 1.1
    limb: float = 0.15
    fingers: int = 0
    cables: int = 0
    problems: tuple[str, ...] = ()
    compress: bool = True


def draw_egg(spec: EggSpec, scene: Scene, seed: int) -> SimulatedPhoto:
    """Draw one egg in a scene with one pose; the same arguments give the same picture."""
    return draw_eggs((spec,), scene, seed)


def draw_eggs(specs: tuple[EggSpec, ...], scene: Scene, seed: int) -> SimulatedPhoto:
    """Draw eggs, one for each of the scene's poses.

    Raises
    ------
    ValueError
        Where the numbers of eggs and poses differ or a name is unknown.
    """
    if len(specs) != len(scene.poses):
        raise ValueError(f"{len(specs)} eggs but {len(scene.poses)} poses")
    if scene.lamp not in LAMPS:
        raise ValueError(f"lamp must be one of {', '.join(LAMPS)}, not {scene.lamp!r}")
    if scene.surroundings not in SURROUNDINGS:
        raise ValueError(f"surroundings must be one of {', '.join(SURROUNDINGS)}, not {scene.surroundings!r}")
    rng = np.random.default_rng([seed, 99])
    layers = []
    for number, (spec, pose) in enumerate(zip(specs, scene.poses, strict=True)):
        view = side_view(
            centre_px=pose.centre_px, px_per_mm=pose.px_per_mm, axis_deg=pose.axis_deg,
            lean_deg=pose.lean_deg, camera_mm=pose.camera_mm,
        )  # fmt: skip
        lighting, up = _lighting(spec, view, scene)
        layers.append(
            draw_layer(
                seed * 1000 + number, spec, view, lighting, up=up, shape=scene.size, axis_deg=pose.axis_deg
            )
        )
    canvas = _composed(rng, layers, scene)
    subject = np.concatenate([_sample(layer, canvas) for layer in layers])
    rgb = expose(rng, canvas.light, scene.camera, subject=subject)
    if scene.compress:
        with Image.open(io.BytesIO(encode_jpeg(rgb, scene.camera.quality))) as image:
            rgb = np.asarray(image)
    eggs = tuple(
        egg_truth(spec, layer, rgb, canvas.hidden, axis_deg=pose.axis_deg % 360, lean_deg=pose.lean_deg)
        for spec, pose, layer in zip(specs, scene.poses, layers, strict=True)
    )
    return SimulatedPhoto(
        rgb, eggs, "side", seed, scene.problems, lamp=scene.lamp, surroundings=scene.surroundings
    )


def _lighting(spec: EggSpec, view: View, scene: Scene) -> tuple[Lighting, FloatArray]:
    """The lamps in the egg's frame, and which way is up for its contents."""

    def body(way: tuple[float, float, float]) -> FloatArray:
        result: FloatArray = np.asarray(way, float) @ view.rotation
        return result / np.linalg.norm(result)

    half, wide = spec.profile.length / 2, spec.profile.breadth / 2

    def edge(way: FloatArray, beyond: float = 2.0) -> tuple[float, float, float]:
        room = 1 / np.sqrt((way[0] / half) ** 2 + (way[1] ** 2 + way[2] ** 2) / wide**2)
        place = way * (room + beyond)
        return (float(place[0]), float(place[1]), float(place[2]))

    near, near_mm = scene.lamp_near, scene.lamp_near_mm
    down, above = body((0, 1, 0)), body((0, -1, 0))
    up = above
    if scene.lamp == "phone above":
        lights = [Light(edge(above), near=near, near_mm=near_mm)]
    elif scene.lamp == "lamp at the side":
        lights = [Light(edge(body((1, 0.1, 0))), near=near, near_mm=near_mm)]
    elif scene.lamp == "two lamps":
        lights = [
            Light(edge(down), near=near, near_mm=near_mm),
            Light(edge(above), strength=0.35, near=near * 0.7, near_mm=near_mm),
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
    first = np.asarray(lights[0].place)
    from_blunt = float(np.clip(0.5 - first[0] / half * 0.6, 0, 1))
    lighting = Lighting(
        tuple(lights), room=scene.room, air_gain=scene.air_gain, from_blunt=from_blunt, limb=scene.limb,
        scatter_mm=scene.scatter_mm, vessel_strength=scene.vessel_strength, rim_line=scene.rim_line,
    )  # fmt: skip
    return lighting, up


def _composed(rng: np.random.Generator, layers: list[EggLayer], scene: Scene) -> Canvas:
    first, pose = layers[0], scene.poses[0]
    middle = np.asarray(pose.centre_px)
    scale = pose.px_per_mm
    length = first.solid.profile.length * scale
    inside = first.cover > 0.5
    glow = first.light[inside].mean(0).astype(float) if inside.any() else np.ones(3) * 0.3
    down = np.array([0.0, 1.0])
    lamp_way = {"phone above": -down, "lamp at the side": np.array([1.0, 0.1])}.get(scene.lamp, down)
    reach = float(((first.outline - middle) @ down).max())
    lamp_at = middle + lamp_way * float(((first.outline - middle) @ lamp_way).max())
    stand_at = middle + down * (reach + scale * rng.uniform(0, 25))
    light = backdrop(
        rng, scene.surroundings, scene.size, middle=middle, length_px=length, glow=glow,
        lamp_at=lamp_at, stand_at=stand_at,
    )  # fmt: skip
    canvas = Canvas(light, np.zeros(scene.size, np.float32))
    for layer in layers:
        x, y = layer.corner
        height, width = layer.cover.shape
        part = (slice(y, y + height), slice(x, x + width))
        cover = layer.cover[..., None]
        canvas.light[part] += cover * (layer.light - canvas.light[part])
    lit = 0.0 if "lamp off" in scene.problems else 1.0
    for layer, where in zip(layers, scene.poses, strict=True):
        _stand(rng, canvas, layer, where, scene, lit, glow, down)
    for _ in range(scene.cables):
        cable(rng, canvas)
    for _ in range(scene.fingers):
        _hold(rng, canvas, rng.choice(len(layers)), layers, scene, glow, deep=False)
    if "hand in front" in scene.problems:
        for _ in range(int(rng.integers(2, 5))):
            _hold(rng, canvas, 0, layers, scene, glow, deep=True)
    return canvas


def _stand(
    rng: np.random.Generator,
    canvas: Canvas,
    layer: EggLayer,
    pose: Pose,
    scene: Scene,
    lit: float,
    glow: FloatArray,
    down: FloatArray,
) -> None:
    """Lamps, phones and cups that touch one egg."""
    middle, scale = np.asarray(pose.centre_px), pose.px_per_mm
    cover = pose.cover_mm * scale
    if scene.lamp in ("ring lamp below", "two lamps"):
        cup(rng, canvas, layer.outline, middle, down, cover_px=cover, px_per_mm=scale, lit=lit)
        if scene.lamp == "two lamps":
            tilt = np.array([rng.normal(0, 0.12), -1.0])
            cup(
                rng, canvas, layer.outline, middle, tilt / np.linalg.norm(tilt),
                cover_px=scale * rng.uniform(2, 6), px_per_mm=scale, lit=lit * 0.7,
            )  # fmt: skip
    elif scene.lamp == "phone above":
        phone(rng, canvas, layer.outline, middle, -down, cover_px=scale * rng.uniform(0.5, 3), px_per_mm=scale,
              lit=lit, glow=glow)  # fmt: skip
        if rng.random() < 0.6:
            cup(rng, canvas, layer.outline, middle, down, cover_px=cover, px_per_mm=scale,
                lit=lit * (rng.random() < 0.5))  # fmt: skip
    elif scene.lamp == "phone below":
        phone(rng, canvas, layer.outline, middle, down, cover_px=cover * 0.5, px_per_mm=scale, lit=lit, glow=glow)
    elif scene.lamp == "lamp at the side":
        way = np.array([1.0, 0.1])
        touch = phone if rng.random() < 0.6 else None
        if touch is not None:
            phone(rng, canvas, layer.outline, middle, way / np.linalg.norm(way), cover_px=scale * rng.uniform(0.5, 3),
                  px_per_mm=scale, lit=lit, glow=glow)  # fmt: skip
        else:
            cup(rng, canvas, layer.outline, middle, way / np.linalg.norm(way), cover_px=scale * rng.uniform(1, 4),
                px_per_mm=scale, lit=lit)  # fmt: skip


def _hold(
    rng: np.random.Generator,
    canvas: Canvas,
    which: int,
    layers: list[EggLayer],
    scene: Scene,
    glow: FloatArray,
    *,
    deep: bool,
) -> None:
    layer, pose = layers[which], scene.poses[which]
    scale, middle = pose.px_per_mm, np.asarray(pose.centre_px)
    low = scene.lamp == "held in the hand" and not deep
    angle = rng.uniform(0.1, 0.9) * np.pi if low else rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    edge = float(((layer.outline - middle) @ way).max())
    radius = scale * rng.uniform(6.5, 10)
    inward = rng.uniform(0.35, 0.9) * edge if deep else scale * rng.uniform(-3, 5)
    tip = middle + way * (edge - inward + radius)
    turn = rng.normal(0, 0.6)
    out = np.array([np.cos(angle + turn), np.sin(angle + turn)])
    finger(
        rng, canvas, tip, tip + out * scale * rng.uniform(40, 120), radius=radius, middle=middle,
        length_px=layer.solid.profile.length * scale, glow=glow,
    )  # fmt: skip


def _sample(layer: EggLayer, canvas: Canvas) -> NDArray[np.float32]:
    x, y = layer.corner
    height, width = layer.cover.shape
    seen = (layer.cover > 0.9) & (canvas.hidden[y : y + height, x : x + width] < 0.1)
    return canvas.light[y : y + height, x : x + width][seen][::17]


def random_side_view(
    rng: np.random.Generator,
    *,
    size: tuple[int, int] = (800, 600),
    eggs: int = 1,
    status: Status | None = None,
    day: float | None = None,
    death_kind: DeathKind | None = None,
    shell: str | None = None,
    species: str = "chicken",
    lamp: str | None = None,
    surroundings: str | None = None,
    bad_share: float = 0.12,
) -> SimulatedPhoto:
    """A side view drawn at random; whatever is given is kept.

    Parameters
    ----------
    rng
        Source of chance; its state fixes the picture.
    size
        Height and width in pixels.
    eggs
        How many; they share the day.
    status, day, death_kind, shell, species
        See :func:`sample_images.biology.random_egg`.
    lamp, surroundings
        See :class:`Scene`.
    bad_share
        Share of pictures spoilt on purpose (blurred, over- or underexposed, cut off, hand in front,
        lamp off); their names are in the photo's ``problems``.
    """
    from sample_images.random_scene import random_scene

    if day is None and eggs > 1:
        day = float(rng.uniform(2, 18))
    specs = tuple(
        random_egg(rng, status=status, day=day, death_kind=death_kind, species=species, shell=shell)
        for _ in range(eggs)
    )
    scene = random_scene(
        rng, specs, size=size, lamp=lamp, surroundings=surroundings, bad_share=bad_share
    )
    return draw_eggs(specs, scene, int(rng.integers(0, 2**31)))
