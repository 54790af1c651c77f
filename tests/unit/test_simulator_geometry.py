"""The simulator's outlines, rims and surface points against closed forms and brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial import ConvexHull

from incubation.egg_geometry import EggProfile, hugelschaffer_diameter
from sample_images.projection import (
    ORTHOGRAPHIC_MM,
    RimPlane,
    Solid,
    View,
    polygon_area,
    rim_in_picture,
    side_view,
    silhouette,
)

# With shift 0 and this pointed diameter the universal equation is an ellipsoid (Narushin, Romanov &
# Griffin 2021).
ELLIPSOID = EggProfile(57.0, 43.5, 0.0, math.sqrt(3) / 2 * 43.5)
SPHERE = EggProfile(44.0, 44.0, 0.0, math.sqrt(3) / 2 * 44.0)
EGG = EggProfile(57.0, 43.5, 2.2, 0.99 * hugelschaffer_diameter(57.0, 43.5, 2.2))
# A polygon of 240 corners inscribed in a smooth oval is 2 pi^2 / (3 * 240^2) = 1.1e-4 too small.
POLYGON = 3e-4


def looking(profile, *, lean=0.0, axis=70.0, camera=ORTHOGRAPHIC_MM):
    view = side_view(centre_px=(300.0, 400.0), px_per_mm=8.0, axis_deg=axis, lean_deg=lean, camera_mm=camera)
    return Solid(profile), view


def from_above(distance, *, sideways=0.0):
    """A camera over the blunt pole, at this distance from the egg's middle."""
    rotation = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    return View(rotation, np.array([sideways, 0.0, distance]), 2000.0, (500.0, 500.0))


@pytest.mark.parametrize("lean", [0.0, 6.0, 12.0, 60.0])
def test_shadow_of_an_ellipsoid_has_the_area_of_the_closed_form(lean):
    # Parallel projection of an ellipsoid of revolution: pi b sqrt(a^2 cos^2 + b^2 sin^2).
    outline, _ = silhouette(*looking(ELLIPSOID, lean=lean))
    a, b, t = 57 / 2, 43.5 / 2, math.radians(lean)
    shadow = math.pi * b * math.hypot(a * math.cos(t), b * math.sin(t)) * 8**2
    assert polygon_area(outline) == pytest.approx(shadow, rel=POLYGON)


@pytest.mark.parametrize("camera", [120.0, 300.0])
def test_a_sphere_seen_from_near_is_larger_by_the_tangent_cone(camera):
    outline, _ = silhouette(*looking(SPHERE, lean=9.0, camera=camera))
    radius = 8 * camera * 22 / math.sqrt(camera**2 - 22**2)
    assert np.linalg.norm(outline - (300, 400), axis=1) == pytest.approx(radius, rel=POLYGON)


def test_end_view_of_an_ellipsoid_is_the_circle_of_the_tangent_cone():
    # Squeezed into a unit sphere, the tangent from distance D has slope b / sqrt(D^2 - a^2).
    view = from_above(400.0)
    outline, _ = silhouette(Solid(ELLIPSOID), view)
    radius = 2000 * (43.5 / 2) / math.sqrt(400**2 - (57 / 2) ** 2)
    assert np.linalg.norm(outline - 500, axis=1) == pytest.approx(radius, rel=POLYGON)


@pytest.mark.parametrize(
    "view",
    [
        looking(EGG, lean=0.0, camera=200.0)[1],
        looking(EGG, lean=11.0, axis=200.0, camera=200.0)[1],
        looking(EGG, lean=-12.0)[1],
        from_above(420.0, sideways=130.0),
    ],
    ids=["level", "toward the camera", "away, parallel", "edge of a tray"],
)
def test_outline_is_the_hull_of_the_projected_surface(view):
    # Brute force that shares nothing with the outline's formula but the profile itself.
    x = -28.5 * np.cos(np.linspace(0, np.pi, 500))
    phi = np.linspace(0, 2 * np.pi, 500)
    r = EGG.radius(x)[:, None]
    surface = np.stack(np.broadcast_arrays(x[:, None], r * np.cos(phi), r * np.sin(phi)), -1)
    hull = ConvexHull(view.project(surface.reshape(-1, 3)))
    outline, _ = silhouette(Solid(EGG), view)
    assert polygon_area(outline) == pytest.approx(hull.volume, rel=5e-4)
    # No point of the surface projects more than a fifth of a pixel outside the outline.
    assert ConvexHull(np.vstack([outline, hull.points[hull.vertices]])).volume == pytest.approx(
        hull.volume, rel=5e-4
    )


def test_smooth_solid_reproduces_the_profile():
    x = np.linspace(-28.4, 28.4, 400)
    assert Solid(EGG).radius(x) == pytest.approx(EGG.radius(x), abs=2e-3)


def test_surface_under_a_pixel_lies_on_the_egg_and_projects_back():
    solid, view = looking(EGG, lean=8.0, camera=250.0)
    outline, _ = silhouette(solid, view)
    middle = outline.mean(0)
    inside = np.concatenate([middle + s * (outline - middle) for s in (0.1, 0.5, 0.9, 0.97)])
    points, toward = view.surface(solid, inside[:, 0], inside[:, 1])
    off = EGG.radius(points[:, 0]) - np.hypot(points[:, 1], points[:, 2])
    assert np.abs(off).max() < 0.02  # mm; single precision near the limb
    assert view.project(points.astype(float)) == pytest.approx(inside, abs=0.05)
    assert ((solid.normals(points) * toward).sum(-1) > 0).all()  # the near side, not the far one


def test_air_cell_region_of_a_level_egg_is_the_profile_beyond_the_rim():
    solid, view = looking(EGG, axis=90.0)
    outline, on = silhouette(solid, view)
    depth = 8.0
    rim, region = rim_in_picture(solid, view, RimPlane(depth - 28.5, 0.0, 0.0), outline, on)
    area = 2 * quad(lambda x: float(EGG.radius(x)), -28.5, -28.5 + depth)[0]
    # The corners where rim and outline meet are cut by up to one step of the outline.
    assert polygon_area(region) / 64 == pytest.approx(area, rel=0.02)
    # Blunt end down: the pole is 28.5 mm below the centre, the rim 8 mm above the pole.
    assert rim[:, 1] == pytest.approx(400 + 8 * (28.5 - depth), abs=1e-3)
    assert np.ptp(rim[:, 0]) / 8 == pytest.approx(2 * EGG.radius(depth - 28.5), rel=2e-3)


def test_tilted_rim_lies_in_its_plane_and_on_the_shell():
    solid = Solid(EGG)
    plane = RimPlane(-19.0, 14.0, 75.0)
    rim = plane.rim(solid)
    assert np.abs(plane.beyond(rim)).max() < 1e-6
    assert np.hypot(rim[:, 1], rim[:, 2]) == pytest.approx(EGG.radius(rim[:, 0]), abs=2e-3)
    # The mean plane crosses the axis where it was put: opposite rim points average to it only if
    # the plane is flat, so fit one.
    fit, *_ = np.linalg.lstsq(np.column_stack([rim[:, 1:], np.ones(len(rim))]), rim[:, 0], rcond=None)
    assert fit[2] == pytest.approx(-19.0, abs=1e-6)
    assert math.degrees(math.atan(np.hypot(*fit[:2]))) == pytest.approx(14.0, abs=1e-6)


def test_blunt_end_points_where_axis_deg_says():
    for axis in (0.0, 90.0, 217.0):
        _, view = looking(EGG, axis=axis)
        blunt, pointed = view.project(np.array([[-28.5, 0, 0], [28.5, 0, 0]]))
        dx, dy = blunt - pointed
        assert math.degrees(math.atan2(dy, dx)) % 360 == pytest.approx(axis, abs=1e-6)
