"""How an egg projects into a picture: silhouette, air-cell rim and the surface under each pixel.

The egg's own frame is millimetres with the origin in the middle of the long axis: x from the blunt
(-L/2) to the pointed pole (+L/2), y and z across. A pinhole camera looks at it; a camera far away
(1e7 mm) is orthographic to rounding. Everything is exact for the solid of revolution of the
profile (Narushin, Romanov & Griffin 2021), apart from sampling the curves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

ORTHOGRAPHIC_MM = 1e7


@dataclass(frozen=True)
class Solid:
    """The egg as a smooth function: squared radius along the axis, as a polynomial.

    r^2 / (L^2/4 - x^2) is smooth and nearly constant on an egg, so ten Chebyshev terms reproduce the
    profile to a thousandth of a millimetre and cost far less than the root-laden equation.
    """

    profile: EggProfile

    @cached_property
    def _coefficients(self) -> FloatArray:
        nodes = np.cos((np.arange(40) + 0.5) * np.pi / 40)
        half = self.profile.length / 2
        ratio = self.profile.radius(nodes * half) ** 2 / (half**2 * (1 - nodes**2))
        series = np.polynomial.chebyshev.chebfit(nodes, ratio, 9)
        return np.asarray(np.polynomial.chebyshev.cheb2poly(series), np.float64)

    @cached_property
    def _squared(self) -> FloatArray:
        half = self.profile.length / 2
        product = np.polynomial.polynomial.polymul(self._coefficients, [1.0, 0.0, -1.0])
        return np.asarray(half**2 * product, np.float64)

    @cached_property
    def _slope(self) -> FloatArray:
        slope = np.polynomial.polynomial.polyder(self._squared)
        return np.asarray(slope / (self.profile.length / 2), np.float64)

    def radius_squared(self, x: NDArray[np.floating]) -> NDArray[np.floating]:
        return _horner(self._squared, x / (self.profile.length / 2))

    def slope_of_square(self, x: NDArray[np.floating]) -> NDArray[np.floating]:
        """d(r^2)/dx."""
        return _horner(self._slope, x / (self.profile.length / 2))

    def radius(self, x: NDArray[np.floating]) -> NDArray[np.floating]:
        result: NDArray[np.floating] = np.sqrt(np.maximum(self.radius_squared(x), 0))
        return result

    def normals(self, points: NDArray[np.floating]) -> NDArray[np.floating]:
        """Outward unit normals at surface points, shape (..., 3)."""
        x, y, z = points[..., 0], points[..., 1], points[..., 2]
        normal = np.stack([-0.5 * self.slope_of_square(x), y, z], axis=-1)
        result: NDArray[np.floating] = normal / np.maximum(
            np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9
        )
        return result

    def on_surface(self, points: FloatArray) -> FloatArray:
        """Points moved across the axis onto the surface."""
        half = self.profile.length / 2
        x = np.clip(points[..., 0], -0.999 * half, 0.999 * half)
        across = np.maximum(np.hypot(points[..., 1], points[..., 2]), 1e-6)
        factor = self.radius(x) / across
        return np.stack([x, points[..., 1] * factor, points[..., 2] * factor], axis=-1)


def _horner(coefficients: FloatArray, t: NDArray[np.floating]) -> NDArray[np.floating]:
    t = np.asarray(t)
    values = coefficients.astype(t.dtype)
    result = np.full_like(t, values[-1])
    for value in values[-2::-1]:
        result *= t
        result += value
    return result


@dataclass(frozen=True)
class View:
    """A pinhole camera in the egg's own frame.

    ``rotation`` maps egg coordinates to camera axes (right, down, forward); ``offset`` is the egg's
    middle in camera axes, mm; ``focal_px`` and ``middle_px`` turn them into pixels.
    """

    rotation: FloatArray
    offset: FloatArray
    focal_px: float
    middle_px: tuple[float, float]

    @cached_property
    def camera(self) -> FloatArray:
        """The camera's place in the egg's frame."""
        return -self.rotation.T @ self.offset

    @property
    def px_per_mm(self) -> float:
        return float(self.focal_px / self.offset[2])

    def project(self, points: FloatArray) -> FloatArray:
        """Pixels (..., 2) of points (..., 3)."""
        seen = points @ self.rotation.T + self.offset
        result: FloatArray = seen[..., :2] / seen[..., 2:3] * self.focal_px + np.asarray(self.middle_px)
        return result

    def toward_camera(self, points: FloatArray) -> FloatArray:
        """Unit vectors from points to the camera."""
        away = self.camera - points
        result: FloatArray = away / np.linalg.norm(away, axis=-1, keepdims=True)
        return result

    def surface(
        self, solid: Solid, x_px: NDArray[np.floating], y_px: NDArray[np.floating]
    ) -> tuple[Float32Array, Float32Array]:
        """The near surface under each pixel, and unit vectors toward the camera, both (..., 3).

        Rays that miss the egg get the point nearest to them on the limb.
        """
        depth = self.offset[2]
        plane = np.stack(
            [
                (x_px - self.middle_px[0]) / self.focal_px * depth,
                (y_px - self.middle_px[1]) / self.focal_px * depth,
                np.full(np.shape(x_px), depth),
            ],
            axis=-1,
        )
        start = ((plane - self.offset) @ self.rotation).astype(np.float32)
        ray = (-plane / np.linalg.norm(plane, axis=-1, keepdims=True) @ self.rotation).astype(np.float32)
        half = np.float32(solid.profile.length / 2)
        wide = np.float32(solid.profile.breadth / 2)
        scale = np.array([1 / half, 1 / wide, 1 / wide], np.float32)
        s, e = start * scale, ray * scale
        a = (e * e).sum(-1)
        b = (s * e).sum(-1)
        c = (s * s).sum(-1) - 1
        t = (-b + np.sqrt(np.maximum(b * b - a * c, 0))) / a
        reach = np.float32(1.2 * half)
        for _ in range(5):
            x = np.clip(start[..., 0] + t * ray[..., 0], -half, half)
            y = start[..., 1] + t * ray[..., 1]
            z = start[..., 2] + t * ray[..., 2]
            gap = solid.radius_squared(x) - y * y - z * z
            slope = solid.slope_of_square(x) * ray[..., 0] - 2 * (y * ray[..., 1] + z * ray[..., 2])
            slope = np.minimum(slope, np.float32(-0.5) * wide)
            t = np.clip(t - gap / slope, -reach, reach)
        return start + t[..., None] * ray, ray


def side_view(
    *, centre_px: tuple[float, float], px_per_mm: float, axis_deg: float, lean_deg: float, camera_mm: float
) -> View:
    """The camera that sees an egg from the side.

    Parameters
    ----------
    centre_px, px_per_mm
        Where the middle of the long axis falls, and the scale there.
    axis_deg
        Direction from the pointed to the blunt end in the picture, clockwise from +x.
    lean_deg
        How far the pointed end turns toward the camera.
    camera_mm
        Distance from the camera to the egg's middle.
    """
    alpha, theta = math.radians(axis_deg), math.radians(lean_deg)
    blunt = np.array([math.cos(alpha), math.sin(alpha), 0.0])
    across = np.array([-math.sin(alpha), math.cos(alpha), 0.0])
    forward = np.array([0.0, 0.0, 1.0])
    # Columns: where the egg's x, y and z axes point in camera axes.
    x_axis = -math.cos(theta) * blunt - math.sin(theta) * forward
    z_axis = math.sin(theta) * blunt - math.cos(theta) * forward
    rotation = np.stack([x_axis, across, z_axis], axis=1)
    return View(rotation, np.array([0.0, 0.0, camera_mm]), px_per_mm * camera_mm, centre_px)


def silhouette(solid: Solid, view: View, count: int = 240) -> tuple[FloatArray, FloatArray]:
    """The egg's outline: pixels (count, 2) and the surface points that make it (count, 3).

    A surface point is on the outline where its normal is square to the line of sight. With the
    camera at axial place ``cx`` and distance ``rho`` from the axis that is
    ``rho cos(phi) = r - r' (x - cx)``, phi counted from the camera's side.
    """
    half = solid.profile.length / 2
    cx, cy, cz = view.camera
    rho, turn = math.hypot(cy, cz), math.atan2(cz, cy)
    if abs(cx) < 3 * rho:
        first, last = _outline_ends(solid, cx, rho)
        middle, reach = (first + last) / 2, (last - first) / 2
        # Equal steps of angle put points close where the outline turns.
        x = middle - reach * np.cos(np.linspace(0, np.pi, 701))
        radius, cosine = _outline_cosine(solid, x, cx, rho)
        phi = np.arccos(np.clip(cosine, -1, 1))
        x = np.concatenate([x, x[::-1]])
        radius = np.concatenate([radius, radius[::-1]])
        phi = np.concatenate([phi, -phi[::-1]])
    else:
        phi = np.linspace(-np.pi, np.pi, 721)[:-1]
        low, high = np.full_like(phi, -half * (1 - 1e-9)), np.full_like(phi, half * (1 - 1e-9))
        for _ in range(40):
            x = (low + high) / 2
            radius = np.asarray(solid.radius(x), float)
            gap = radius - solid.slope_of_square(x) / (2 * radius) * (x - cx) - rho * np.cos(phi)
            blunt_side = gap * np.sign(-cx) < 0
            low, high = np.where(blunt_side, x, low), np.where(blunt_side, high, x)
    points = np.stack([x, radius * np.cos(phi + turn), radius * np.sin(phi + turn)], axis=-1)
    pixels = view.project(points)
    around = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(pixels, axis=0), axis=1))])
    total = around[-1] + np.linalg.norm(pixels[0] - pixels[-1])
    index = np.interp(np.arange(count) / count * total, np.append(around, total), np.arange(len(x) + 1))
    pick = np.arange(len(x) + 1)
    closed, closed_px = np.vstack([points, points[:1]]), np.vstack([pixels, pixels[:1]])
    on = [np.interp(index, pick, closed[:, k]) for k in range(3)]
    on_px = [np.interp(index, pick, closed_px[:, k]) for k in range(2)]
    return np.stack(on_px, axis=-1), np.stack(on, axis=-1)


def _outline_cosine(solid: Solid, x: FloatArray, cx: float, rho: float) -> tuple[FloatArray, FloatArray]:
    radius = np.maximum(solid.radius(x).astype(float), 1e-9)
    slope = solid.slope_of_square(x) / (2 * radius)
    return radius, np.asarray((radius - slope * (x - cx)) / rho, float)


def _outline_ends(solid: Solid, cx: float, rho: float) -> tuple[float, float]:
    """Axial places of the outline's two ends, where it crosses the plane of axis and camera."""
    half = solid.profile.length / 2
    ends = []
    for side in (-1.0, 1.0):
        outer, inner = side * half * (1 - 1e-12), 0.0
        for _ in range(60):
            x = (outer + inner) / 2
            _, cosine = _outline_cosine(solid, np.array([x]), cx, rho)
            outer, inner = (outer, x) if abs(cosine[0]) <= 1 else (x, inner)
        ends.append(inner)
    return ends[0], ends[1]


@dataclass(frozen=True)
class RimPlane:
    """The plane of the air cell's rim: where it crosses the axis (x, mm), tilt and its direction.

    ``saddle_mm`` is how far the rim swings to and fro out of that plane, twice in a round.
    """

    x: float
    tilt_deg: float
    azimuth_deg: float
    saddle_mm: float = 0.0

    def beyond(self, points: NDArray[np.floating]) -> NDArray[np.floating]:
        """Distance on the blunt side of the rim's plane, mm (negative inside the contents).

        A saddle's swing is taken as at the shell, where all that asks lies.
        """
        tilt, azimuth = math.radians(self.tilt_deg), math.radians(self.azimuth_deg)
        normal = np.array(
            [-math.cos(tilt), math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth)],
            dtype=points.dtype,
        )
        distance: NDArray[np.floating] = points @ normal + points.dtype.type(math.cos(tilt) * self.x)
        if self.saddle_mm:
            swing = math.cos(tilt) * self._swing(np.arctan2(points[..., 2], points[..., 1]))
            distance = distance + swing.astype(points.dtype)
        return distance

    def _swing(self, phi: NDArray[np.floating]) -> NDArray[np.floating]:
        result: NDArray[np.floating] = self.saddle_mm * np.cos(2 * (phi - math.radians(self.azimuth_deg)))
        return result

    def rim(self, solid: Solid, count: int = 240) -> FloatArray:
        """Points of the rim, (count, 3), by angle about the axis."""
        phi = np.linspace(0, 2 * np.pi, count, endpoint=False)
        lean = math.tan(math.radians(self.tilt_deg)) * np.cos(phi - math.radians(self.azimuth_deg))
        middle = self.x + self._swing(phi)
        half = solid.profile.length / 2
        low, high = np.full_like(phi, -half), np.full_like(phi, half)
        for _ in range(8):
            x = (low + high) / 2
            inside = middle + lean * solid.radius(x) - x > 0
            low, high = np.where(inside, x, low), np.where(inside, high, x)
        for _ in range(5):
            radius = solid.radius(x)
            slope = solid.slope_of_square(x) / (2 * np.maximum(radius, 1e-6))
            step = (middle + lean * radius - x) / (lean * slope - 1)
            x = np.clip(x - step, low, high)
        radius = solid.radius(x)
        return np.stack([x, radius * np.cos(phi), radius * np.sin(phi)], axis=-1)


def rim_in_picture(
    solid: Solid, view: View, plane: RimPlane, outline: FloatArray, outline_points: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The visible rim line (M, 2) and the silhouette's part beyond it (K, 2)."""
    rim = plane.rim(solid)
    facing = (solid.normals(rim) * view.toward_camera(rim)).sum(-1) > 0
    pixels = view.project(rim)
    if facing.all():
        return np.vstack([pixels, pixels[:1]]), pixels
    if not facing.any():
        return np.zeros((0, 2)), np.zeros((0, 2))
    first = int(np.flatnonzero(facing & ~np.roll(facing, 1))[0])
    line = np.roll(pixels, -first, axis=0)[: int(facing.sum())]
    beyond = plane.beyond(outline_points) > 0
    if not beyond.any():
        return line, line
    start = int(np.flatnonzero(beyond & ~np.roll(beyond, 1))[0])
    arc = np.roll(outline, -start, axis=0)[: int(beyond.sum())]
    if np.linalg.norm(arc[-1] - line[0]) > np.linalg.norm(arc[-1] - line[-1]):
        line = line[::-1]
    return line, np.vstack([arc, line])


def polygon_area(polygon: FloatArray) -> float:
    """Area of a simple polygon (N, 2)."""
    x, y = polygon[:, 0], polygon[:, 1]
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)
