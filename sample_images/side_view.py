"""Side views: one or several eggs on a lamp, drawn from a full description or at random."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sample_images.air_cell_variety import faulty_egg, varied_egg, varied_scene
from sample_images.backdrop import Place, backdrop
from sample_images.biology import EggSpec, random_egg
from sample_images.camera import encode_jpeg, expose
from sample_images.canvas import Canvas
from sample_images.egg_layer import EggLayer, draw_layer
from sample_images.finish import egg_truth
from sample_images.foreground import cup, finger, phone, wire
from sample_images.projection import side_view
from sample_images.random_scene import random_scene
from sample_images.scene import Pose, Scene, lit
from sample_images.truth import DeathKind, SimulatedPhoto, Status

FloatArray = NDArray[np.float64]
_DOWN = np.array([0.0, 1.0])
_ASIDE = np.array([0.995, 0.0995])


def draw_egg(spec: EggSpec, scene: Scene, seed: int) -> SimulatedPhoto:
    """Draw one egg in a scene with one pose; the same arguments give the same picture."""
    return draw_eggs((spec,), scene, seed)


def draw_eggs(specs: tuple[EggSpec, ...], scene: Scene, seed: int) -> SimulatedPhoto:
    """Draw eggs, one for each of the scene's poses.

    Raises
    ------
    ValueError
        Where the numbers of eggs and poses differ.
    """
    if len(specs) != len(scene.poses):
        raise ValueError(f"{len(specs)} eggs but {len(scene.poses)} poses")
    rng = np.random.default_rng([seed, 99])
    layers = []
    for number, (spec, pose) in enumerate(zip(specs, scene.poses, strict=True)):
        view = side_view(
            centre_px=pose.centre_px,
            px_per_mm=pose.px_per_mm,
            axis_deg=pose.axis_deg,
            lean_deg=pose.lean_deg,
            camera_mm=pose.camera_mm,
        )
        lighting, up = lit(spec, view, scene)
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
        rgb,
        eggs,
        "side",
        seed,
        scene.problems,
        lamp=scene.lamp,
        lamp_turn_deg=scene.lamp_turn_deg,
        surroundings=scene.surroundings,
    )


def _composed(rng: np.random.Generator, layers: list[EggLayer], scene: Scene) -> Canvas:
    place = _place(rng, layers[0], scene)
    canvas = Canvas(backdrop(rng, scene.surroundings, scene.size, place), np.zeros(scene.size, np.float32))
    for layer in layers:
        canvas.cover(layer.window, layer.cover, layer.light, front=False)
    for layer, pose in zip(layers, scene.poses, strict=True):
        _stand(rng, canvas, layer, pose, scene, place)
    for _ in range(scene.cables):
        wire(rng, canvas)
    for _ in range(scene.fingers):
        which = int(rng.integers(0, len(layers)))
        _hold(rng, canvas, layers[which], scene.poses[which], scene, place, deep=False)
    if "hand in front" in scene.problems:
        for _ in range(int(rng.integers(2, 5))):
            _hold(rng, canvas, layers[0], scene.poses[0], scene, place, deep=True)
    return canvas


def _place(rng: np.random.Generator, layer: EggLayer, scene: Scene) -> Place:
    pose = scene.poses[0]
    middle = np.asarray(pose.centre_px)
    inside = layer.cover > 0.5
    glow = layer.light[inside].mean(0).astype(float) if inside.any() else np.full(3, 0.3)
    way = {"phone above": -_DOWN, "lamp at the side": _ASIDE}.get(scene.lamp, np.asarray(scene.lamp_way))
    reach = float(((layer.outline - middle) @ _DOWN).max())
    return Place(
        middle=middle,
        length_px=layer.solid.profile.length * pose.px_per_mm,
        glow=glow,
        lamp_at=middle + way * float(((layer.outline - middle) @ way).max()),
        stand_at=middle + _DOWN * (reach + pose.px_per_mm * rng.uniform(0, 25)),
        white=np.asarray(scene.white),
    )


def _stand(
    rng: np.random.Generator, canvas: Canvas, layer: EggLayer, pose: Pose, scene: Scene, place: Place
) -> None:
    """Lamps, phones and cups that touch one egg."""
    middle, scale = np.asarray(pose.centre_px), pose.px_per_mm
    on = 0.0 if "lamp off" in scene.problems else 1.0
    lamp_way = np.asarray(scene.lamp_way)

    def put_cup(way: FloatArray, cover_mm: float, strength: float) -> None:
        cup(
            rng, canvas, layer.outline, middle, way / np.linalg.norm(way), cover_px=cover_mm * scale,
            px_per_mm=scale, lit=strength, white=place.white,
        )  # fmt: skip

    def put_phone(way: FloatArray, cover_mm: float) -> None:
        phone(
            rng, canvas, layer.outline, middle, way, cover_px=cover_mm * scale, px_per_mm=scale, lit=on,
            glow=place.glow, white=place.white,
        )  # fmt: skip

    if scene.lamp in ("ring lamp below", "two lamps"):
        put_cup(lamp_way, pose.cover_mm, on)
        if scene.lamp == "two lamps":
            put_cup(np.array([rng.normal(0, 0.12), -1.0]), rng.uniform(2, 6), 0.7 * on)
    elif scene.lamp == "phone above":
        put_phone(-_DOWN, rng.uniform(0.5, 3))
        if rng.random() < 0.6:
            put_cup(_DOWN, pose.cover_mm, on * (rng.random() < 0.5))
    elif scene.lamp == "phone below":
        put_phone(lamp_way, 0.5 * pose.cover_mm)
    elif scene.lamp == "lamp at the side":
        if rng.random() < 0.6:
            put_phone(_ASIDE, rng.uniform(0.5, 3))
        else:
            put_cup(_ASIDE, rng.uniform(1, 4), on)


def _hold(
    rng: np.random.Generator,
    canvas: Canvas,
    layer: EggLayer,
    pose: Pose,
    scene: Scene,
    place: Place,
    *,
    deep: bool,
) -> None:
    """A finger at the egg's edge, or across the egg where ``deep``."""
    scale, middle = pose.px_per_mm, np.asarray(pose.centre_px)
    below = scene.lamp == "held in the hand" and not deep
    angle = rng.uniform(0.1, 0.9) * np.pi if below else rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    edge = float(((layer.outline - middle) @ way).max())
    radius = scale * rng.uniform(6.5, 10)
    inward = rng.uniform(0.35, 0.9) * edge if deep else scale * rng.uniform(-3, 5)
    tip = middle + way * (edge - inward + radius)
    turn = angle + rng.normal(0, 0.6)
    root = tip + np.array([np.cos(turn), np.sin(turn)]) * scale * rng.uniform(40, 120)
    finger(
        rng, canvas, tip, root, radius=radius, middle=middle,
        length_px=layer.solid.profile.length * scale, glow=place.glow,
        lamp_at=place.lamp_at, white=place.white,
    )  # fmt: skip


def _sample(layer: EggLayer, canvas: Canvas) -> NDArray[np.float32]:
    """Light of the egg's pixels in sight, thinned out, for the exposure."""
    seen = (layer.cover > 0.9) & (canvas.hidden[layer.window] < 0.1)
    return canvas.light[layer.window][seen][::17]


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
    problem: str | None = None,
    varied: bool = False,
    air_cell_fault: str | None = None,
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
        See :class:`sample_images.scene.Scene`.
    bad_share
        Share of pictures spoilt on purpose (blurred, over- or underexposed, cut off, hand in front,
        lamp off); their names are in the photo's ``problems``.
    problem
        Spoil it by this one of :data:`sample_images.random_scene.PROBLEMS`.
    varied
        Draw air cells and lamps beyond the usual ones (:mod:`sample_images.air_cell_variety`); what
        those change (lamp, pose, tilt) is then not kept.
    air_cell_fault
        One of :data:`sample_images.air_cell_variety.AIR_CELL_FAULTS`; the scene stays the same.
    """
    if day is None and eggs > 1:
        day = float(rng.uniform(2, 18))
    specs = tuple(
        random_egg(rng, status=status, day=day, death_kind=death_kind, species=species, shell=shell)
        for _ in range(eggs)
    )
    scene = random_scene(
        rng,
        specs,
        size=size,
        lamp=lamp,
        surroundings=surroundings,
        bad_share=bad_share,
        problem=problem,
    )
    seed = int(rng.integers(0, 2**31))
    if varied:
        chance = np.random.default_rng([seed, 7])
        specs = tuple(varied_egg(chance, spec) for spec in specs)
        scene = varied_scene(chance, specs, scene)
    if air_cell_fault is not None:
        shipping = np.random.default_rng([seed, 11])
        specs = tuple(faulty_egg(shipping, spec, air_cell_fault) for spec in specs)
    return draw_eggs(specs, scene, seed)
