"""Scenes at random: lamp, place, surroundings and phone as in phone photos of candled eggs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sample_images.biology import EggSpec
from sample_images.camera import Camera
from sample_images.scene import LAMPS, SURROUNDINGS, Pose, Scene

# White balance and filter leak of phones as they come out in red and orange light: gains of red,
# green, blue; leak of red into blue; saturation.
_PALETTES: dict[str, tuple[tuple[float, float, float], float, float]] = {
    "orange": ((1.0, 0.9, 0.35), 0.01, 1.35),
    "yellow": ((1.0, 1.3, 0.25), 0.0, 1.4),
    "red": ((1.0, 0.5, 0.4), 0.02, 1.3),
    "pink": ((1.0, 0.75, 1.5), 0.16, 1.0),
    "magenta": ((1.0, 0.3, 1.2), 0.14, 1.3),
    "pale": ((1.0, 1.15, 1.2), 0.09, 0.75),
    "neutral": ((1.0, 1.0, 0.9), 0.04, 1.05),
    "green": ((0.55, 1.35, 0.9), 0.03, 1.0),
}
# How often, by day: a bright young egg fills the picture with orange, an old one leaves the phone
# the lamp's white to go by. By day only: status must not show in the colour balance.
_PALETTE_DAYS = (4.0, 8.0, 13.0)
_PALETTE_SHARES = (
    (0.36, 0.22, 0.1, 0.07, 0.03, 0.07, 0.13, 0.02),
    (0.3, 0.08, 0.18, 0.17, 0.08, 0.07, 0.1, 0.02),
    (0.15, 0.08, 0.07, 0.14, 0.03, 0.24, 0.27, 0.02),
)
_LAMP_SHARES = (0.42, 0.12, 0.07, 0.06, 0.1, 0.06, 0.12, 0.05)
_SURROUNDING_SHARES = (0.2, 0.42, 0.14, 0.12, 0.07, 0.05)
PROBLEMS = (
    "motion blur", "out of focus", "overexposed", "underexposed", "cut off", "hand in front", "lamp off",
)  # fmt: skip


def random_camera(
    rng: np.random.Generator, *, day: float = 8.0, palettes: tuple[str, ...] = tuple(_PALETTES)
) -> Camera:
    """A phone in the dark: white balance, exposure, blur and noise.

    Parameters
    ----------
    rng
        Source of chance.
    day
        Of incubation; sets how often each white balance comes up.
    palettes
        White balances to choose among, by name.
    """
    columns = zip(_PALETTES, zip(*_PALETTE_SHARES, strict=True), strict=True)
    shares = np.array(
        [np.interp(day, _PALETTE_DAYS, by_day) * (name in palettes) for name, by_day in columns]
    )
    gains, leak, saturation = list(_PALETTES.values())[int(rng.choice(len(shares), p=shares / shares.sum()))]
    jitter = np.exp(rng.normal(0, [0.0, 0.14, 0.25]))
    return Camera(
        balance=(gains[0], float(gains[1] * jitter[1]), float(gains[2] * jitter[2])),
        leak=leak * float(rng.uniform(0.6, 1.4)),
        saturation=saturation * float(rng.uniform(0.85, 1.15)),
        exposure=float(np.exp(rng.normal(np.log(0.75), 0.4))),
        darkest_gain=float(np.exp(rng.uniform(np.log(6), np.log(30)))),
        contrast=float(rng.uniform(0, 0.5)),
        blur_px=float(min(rng.lognormal(-0.4, 0.45), 2.5)),
        noise=float(rng.lognormal(0.5, 0.6)),
        sharpening=float(rng.choice([0, 0.3, 0.7, 1.2])),
        vignetting=float(rng.uniform(0, 0.3)),
        haze=float(rng.lognormal(-3.6, 0.6)),
        quality=int(rng.integers(60, 96)),
    )


def random_pose(
    rng: np.random.Generator, spec: EggSpec, size: tuple[int, int], lamp: str, *, share: float | None = None
) -> Pose:
    """Where one egg stands; its long side takes 12 to 90 % of the picture's height or width."""
    height, width = size
    if share is None:
        share = float(rng.uniform(0.12, 0.3) if rng.random() < 0.15 else rng.triangular(0.25, 0.38, 0.9))
    roll = rng.random()
    if lamp in ("seen from above", "lamp at the side", "held in the hand"):
        axis = float(rng.uniform(0, 360)) if roll < 0.5 else float(rng.normal(90, 25))
    elif roll < 0.8:
        axis = float(rng.normal(90, 6))
    elif roll < 0.88:
        axis = float(rng.normal(270, 8))
    else:
        axis = float(rng.normal(90, 30)) if roll < 0.95 else float(rng.uniform(0, 360))
    profile = spec.profile
    upright = abs(np.sin(np.radians(axis)))
    tall = profile.length * upright + profile.breadth * (1 - upright)
    broad = profile.length * (1 - upright) + profile.breadth * upright
    scale = min(share * height / tall, 0.96 * width / broad, 0.94 * height / tall)
    room_x = max(width - broad * scale, 0) / 2
    room_y = max(height - tall * scale, 0) / 2
    x = width / 2 + float(np.clip(rng.normal(0, 0.35), -0.95, 0.95)) * room_x
    y = height / 2 + float(np.clip(rng.normal(-0.05, 0.35), -0.95, 0.95)) * room_y
    return Pose(
        (float(x), float(y)),
        float(scale),
        axis % 360,
        float(np.clip(rng.normal(0, 5), -12, 12)),
        float(rng.uniform(150, 450)),
        float(np.clip(rng.gamma(3, 1.1), 0.3, 9)),
    )


def random_scene(
    rng: np.random.Generator,
    specs: tuple[EggSpec, ...],
    *,
    size: tuple[int, int] = (800, 600),
    lamp: str | None = None,
    surroundings: str | None = None,
    bad_share: float = 0.12,
    problem: str | None = None,
) -> Scene:
    """A scene for these eggs.

    Parameters
    ----------
    rng
        Source of chance.
    specs
        The eggs.
    size
        Height and width in pixels.
    lamp, surroundings
        Fixed where given, see :class:`sample_images.scene.Scene`.
    bad_share
        Share of scenes spoilt by one of :data:`PROBLEMS`.
    problem
        Spoil it by this one.
    """
    lamp = lamp or str(rng.choice(LAMPS, p=_LAMP_SHARES))
    if len(specs) > 1 and lamp not in ("lamp behind", "seen from above"):
        # Lamps below a second row would stand in front of the first.
        single_row = _columns(len(specs), size) >= len(specs)
        lamp = "ring lamp below" if single_row else "seen from above"
    poses = _beside(rng, specs, size, lamp) if len(specs) > 1 else (random_pose(rng, specs[0], size, lamp),)
    surroundings = surroundings or str(rng.choice(SURROUNDINGS, p=_SURROUNDING_SHARES))
    day = max(spec.day for spec in specs)
    camera = random_camera(rng, day=day)
    # Old eggs let so little light through that the exposure brings out the room's light on the shell.
    room_level = 10 ** (rng.uniform(-3.2, -1.6) if day < 12 else rng.uniform(-2.4, -1.2))
    gains = np.asarray(camera.balance) / np.mean(camera.balance)
    # The phone balances its colours for the lamp's own light to some degree.
    white = gains ** -rng.uniform(0.4, 1.0)
    room = room_level * white * np.array([1.0, rng.uniform(0.75, 1.0), rng.uniform(0.55, 1.0)])
    # A young egg's air cell hardly shows against clear contents.
    grown = float(np.interp(day, [1, 4, 8], [0.2, 0.5, 1.0]))
    # Dark contents set the cell off whatever the shell scatters; clear ones often do not.
    dark = any(spec.status in ("developing", "late death") and spec.day > 9 for spec in specs)
    cell_contrast = float(rng.uniform(0.7, 1.0) if dark else rng.uniform(0, 1) ** (1.3 / max(grown, 0.3)))
    held = lamp == "held in the hand"
    fingers = int(rng.integers(2, 6)) if held else int(rng.choice([0, 0, 0, 0, 1, 2, 3]))
    scene = Scene(
        size=size,
        poses=poses,
        lamp=lamp,
        lamp_near=float(rng.lognormal(0.7, 0.7)),
        lamp_near_mm=float(rng.uniform(5, 16)),
        surroundings=surroundings,
        camera=camera,
        white=(float(white[0]), float(white[1]), float(white[2])),
        room=(float(room[0]), float(room[1]), float(room[2])),
        scatter_mm=float(rng.uniform(0.1, 0.4)),
        vessel_strength=float(rng.lognormal(0.6, 0.55)),
        rim_line=float(rng.choice([0.0, rng.uniform(0.02, 0.3)], p=[0.3, 0.7]))
        * grown
        * max(cell_contrast, 0.1),
        cell_contrast=cell_contrast,
        air_gain=float(1 + rng.exponential(0.12) * grown),
        limb=float(rng.uniform(-0.05, 0.35)),
        fingers=fingers,
        cables=int(rng.random() < 0.08),
    )
    if problem is None and rng.random() < bad_share:
        problem = str(rng.choice(PROBLEMS))
    return scene if problem is None else spoilt(rng, scene, problem)


def spoilt(rng: np.random.Generator, scene: Scene, problem: str) -> Scene:
    """The same scene with one of :data:`PROBLEMS`; ValueError for any other."""
    if problem not in PROBLEMS:
        raise ValueError(f"problem must be one of {', '.join(PROBLEMS)}, not {problem!r}")
    camera, poses = scene.camera, scene.poses
    scale = poses[0].px_per_mm
    if problem == "motion blur":
        camera = replace(
            camera, motion_px=float(rng.uniform(1.0, 3.0) * scale), motion_deg=float(rng.uniform(0, 180))
        )
    elif problem == "out of focus":
        camera = replace(camera, blur_px=float(rng.uniform(0.7, 1.6) * scale), sharpening=0.0)
    elif problem == "overexposed":
        camera = replace(camera, exposure=float(rng.uniform(4, 10)), darkest_gain=200.0)
    elif problem == "underexposed":
        camera = replace(camera, exposure=float(rng.uniform(0.015, 0.06)))
    elif problem == "cut off":
        side = int(rng.integers(0, 4))
        shift = np.array([(1, 0), (-1, 0), (0, 1), (0, -1)][side], float)
        height, width = scene.size
        edge = {0: width, 1: 0, 2: height, 3: 0}[side]
        pose = poses[0]
        centre = np.asarray(pose.centre_px)
        axis = 0 if side < 2 else 1
        centre[axis] = edge - shift[axis] * scale * rng.uniform(-5, 16)
        poses = (replace(pose, centre_px=(float(centre[0]), float(centre[1]))), *poses[1:])
    return replace(scene, camera=camera, poses=poses, problems=(problem,))


def _columns(count: int, size: tuple[int, int]) -> int:
    return int(np.ceil(np.sqrt(count * size[1] / size[0])))


def _beside(
    rng: np.random.Generator, specs: tuple[EggSpec, ...], size: tuple[int, int], lamp: str
) -> tuple[Pose, ...]:
    """Several eggs in a row or two, not touching."""
    height, width = size
    count = len(specs)
    columns = _columns(count, size)
    rows = int(np.ceil(count / columns))
    cell = (width / columns, height / rows)
    reach = max(max(spec.profile.length for spec in specs), 1.0)
    scale = min(cell) / reach * float(rng.uniform(0.6, 0.9))
    poses = []
    for number, spec in enumerate(specs):
        one = random_pose(rng, spec, size, lamp)
        slack = np.maximum(np.array(cell) - reach * scale, 0) / 2
        row, column = divmod(number, columns)
        centre = (
            np.array([(column + 0.5) * cell[0], (row + 0.5) * cell[1]]) + rng.uniform(-0.8, 0.8, 2) * slack
        )
        poses.append(replace(one, centre_px=(float(centre[0]), float(centre[1])), px_per_mm=scale))
    return tuple(poses)
