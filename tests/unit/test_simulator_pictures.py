"""Simulated pictures agree with their truth, are reproducible, and show what their status says."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import map_coordinates
from scipy.spatial import ConvexHull

from incubation.egg_geometry import EggProfile
from sample_images import simulator
from sample_images.projection import polygon_area
from sample_images.simulator import (
    PROBLEMS,
    Blemishes,
    Camera,
    EggSpec,
    Pose,
    Scene,
    cup_places_mm,
    draw_egg,
    encode_jpeg,
    random_side_view,
    random_tray,
    truth_to_dict,
)

PROFILE = EggProfile.from_length_breadth(57.0, 43.0)
SMALL = (320, 240)
CLEAN = Camera(noise=0.3, blur_px=0.7, sharpening=0.0, haze=0.0, vignetting=0.0)
PLAIN = Blemishes(mottling=0.3, bright_spots=0.0)
CLEAR = EggSpec("clear", 7.0, PROFILE, air_cell_depth_mm=7.0, blemishes=PLAIN)
SCENE = Scene(
    size=(800, 600), poses=(Pose((290.0, 360.0), 8.0, axis_deg=84.0, lean_deg=5.0),), lamp="lamp behind",
    camera=CLEAN, compress=False, cell_contrast=0.0, rim_line=0.0,
)  # fmt: skip


def rng(*seed):
    return np.random.default_rng(list(seed))


def profile_across(picture, points, normals, reach, channel=0):
    """Levels along normals at points, one row a point."""
    offsets = np.arange(-reach, reach + 0.25, 0.25)
    at = points[:, None] + offsets[None, :, None] * normals[:, None]
    return offsets, map_coordinates(picture[..., channel].astype(float), [at[..., 1], at[..., 0]], order=1)


def test_the_same_seed_gives_the_same_picture_and_another_seed_another():
    first, again, other = (random_side_view(rng(seed), size=SMALL) for seed in (7, 7, 8))
    assert np.array_equal(first.rgb, again.rgb)
    assert truth_to_dict(first) == truth_to_dict(again)
    assert first.rgb.shape == (*SMALL, 3)
    assert first.rgb.dtype == np.uint8
    assert np.abs(first.rgb.astype(int) - other.rgb).mean() > 2
    # The seed alone changes texture and noise of a stated egg, not its truth.
    a, b = (draw_egg(CLEAR, replace(SCENE, size=(800, 600)), seed) for seed in (1, 2))
    assert not np.array_equal(a.rgb, b.rgb)
    assert np.array_equal(a.eggs[0].outline_px, b.eggs[0].outline_px)


def test_the_drawn_edge_lies_on_the_true_outline():
    photo = draw_egg(CLEAR, SCENE, 3)
    outline = photo.eggs[0].outline_px
    tangent = np.roll(outline, -1, 0) - np.roll(outline, 1, 0)
    normals = np.stack([tangent[:, 1], -tangent[:, 0]], -1) / np.linalg.norm(tangent, axis=1, keepdims=True)
    if ((outline - outline.mean(0)) * normals).sum() < 0:
        normals = -normals
    offsets, levels = profile_across(photo.rgb, outline, normals, 5)
    # Linear light, halfway between what is 3 to 5 px inside and outside.
    light = (levels / 255) ** 2.2
    inner, outer = light[:, :8].mean(1), light[:, -8:].mean(1)
    half = (inner + outer)[:, None] / 2
    edge = offsets[np.argmax(light < half, axis=1)]
    # The tone curve, rounding to a quarter pixel of cover and sampling shift it by up to half a pixel.
    assert np.abs(np.median(edge)) < 0.6
    assert np.percentile(np.abs(edge), 95) < 1.1


def test_the_air_cells_step_lies_on_the_true_rim():
    egg = replace(CLEAR, status="developing", day=15.0, air_cell_depth_mm=9.0, tilt_deg=6.0)
    camera = replace(CLEAN, exposure=0.2, saturation=1.0, contrast=0.0)
    scene = replace(SCENE, lamp="ring lamp below", cell_contrast=1.0, scatter_mm=0.1, camera=camera)
    photo = draw_egg(egg, replace(scene, poses=(replace(SCENE.poses[0], cover_mm=1.0),)), 5)
    truth = photo.eggs[0].air_cell
    assert truth.line_visible
    core = truth.boundary_px[len(truth.boundary_px) // 4 : -len(truth.boundary_px) // 4]
    angle = np.radians(84.0)
    toward_blunt = np.tile([np.cos(angle), np.sin(angle)], (len(core), 1))
    offsets, levels = profile_across(photo.rgb, core, toward_blunt, 8, channel=1)
    light = ((levels / 255) ** 2.2).mean(0)
    steepest = offsets[1:][np.argmax(np.diff(light))] - 0.125
    assert abs(steepest) < 0.8  # px; blur 0.7 px, and the rim is a polygon rounded to half a pixel
    assert levels.mean(0)[-1] > levels.mean(0)[0] + 20  # brighter on the air's side


def test_a_lamp_over_the_whole_air_cell_leaves_no_line_to_see():
    egg = replace(CLEAR, status="developing", day=15.0)
    pose = replace(SCENE.poses[0], lean_deg=0.0, cover_mm=10.0)
    scene = replace(SCENE, lamp="ring lamp below", cell_contrast=1.0, rim_line=0.2, poses=(pose,))
    hidden = draw_egg(egg, scene, 5).eggs[0]
    assert not hidden.air_cell.line_visible
    assert hidden.hidden_fraction > 0.05
    # The outline still is the whole egg: its area by the closed form of a smooth oval, against L B.
    assert polygon_area(hidden.outline_px) / 64 == pytest.approx(np.pi / 4 * 57 * 43, rel=0.03)
    shown = draw_egg(egg, replace(scene, poses=(replace(pose, cover_mm=1.0),)), 5).eggs[0]
    assert shown.air_cell.line_visible
    assert shown.hidden_fraction < hidden.hidden_fraction


def test_only_eggs_with_blood_show_vessels():
    visible = 0
    for seed in range(8):
        clear = random_side_view(rng(1, seed), size=SMALL, status="clear", day=8.0).eggs[0]
        dead = random_side_view(rng(1, seed), size=SMALL, status="early death", day=8.0).eggs[0]
        alive = random_side_view(
            rng(1, seed), size=(480, 360), status="developing", day=8.0, bad_share=0.0
        ).eggs[0]
        for egg in (clear, dead):
            assert not egg.vein_mask.any()
            assert not egg.veins_visible
            assert egg.vein_width_mm == 0
        assert clear.embryo_centre_px is None
        assert clear.ring_centre_px is None
        assert (dead.ring_radius_mm is not None) == (dead.death_kind == "ring")
        assert alive.vein_mask.shape == (480, 360)
        assert alive.vein_width_mm > 0.3
        visible += alive.veins_visible
    # Some are turned away, tiny or washed out, as in life; most are not.
    assert visible >= 4


def test_veins_are_darker_than_what_lies_beside_them():
    egg = EggSpec("developing", 8.0, PROFILE, air_cell_depth_mm=7.0, blemishes=PLAIN)
    scene = replace(SCENE, vessel_strength=2.5)
    photo = draw_egg(egg, scene, 4)
    truth = photo.eggs[0]
    bare = draw_egg(egg, replace(scene, vessel_strength=0.0), 4)
    veins = truth.vein_mask
    assert veins.sum() > 1000
    assert truth.veins_visible
    # Same egg, same seed, vessels without blood: the difference is the vessels and nothing else.
    ratio = photo.rgb[..., 0][veins].mean() / bare.rgb[..., 0][veins].mean()
    free = ~veins & (bare.rgb[..., 0] > 60)
    assert ratio < 0.95 * photo.rgb[..., 0][free].mean() / bare.rgb[..., 0][free].mean()
    assert not bare.eggs[0].vein_mask.any()


def test_embryos_shadow_grows_as_murrays_law_says():
    # Mass goes with day^3.6 (Murray 1926), so a solid of one shape has an area with day^2.4. Parallel
    # camera, one seed: nothing but the day changes; days 5 to 8 have one body shape.
    far = replace(SCENE, size=SMALL, poses=(Pose((120.0, 160.0), 4.0, camera_mm=1e7),))
    days = np.array([5.0, 6.0, 7.0, 8.0])
    area = [
        draw_egg(replace(CLEAR, status="developing", day=day), far, 2).eggs[0].embryo_area_px / 4.0**2
        for day in days
    ]
    slope = np.polyfit(np.log(days), np.log(area), 1)[0]
    assert slope == pytest.approx(2.4, abs=0.02)
    # Absolute size: between the end-on and the side-on shadow of a spheroid of the embryo's mass
    # (0.736 g on day 7, density 1.02) and aspect 1.3.
    across = (3 * 736 / 1.02 / (4 * np.pi * 1.3)) ** (1 / 3)
    assert np.pi * across**2 < area[2] < 1.31 * np.pi * across**2


def test_blood_takes_green_and_leaves_red():
    alive = draw_egg(replace(CLEAR, status="developing", day=7.0), SCENE, 6).rgb
    clear = draw_egg(CLEAR, SCENE, 6).rgb
    middle = (slice(300, 420), slice(230, 350))
    hue_alive = alive[middle][..., 1].mean() / alive[middle][..., 0].mean()
    hue_clear = clear[middle][..., 1].mean() / clear[middle][..., 0].mean()
    assert hue_alive < 0.85 * hue_clear


@pytest.mark.parametrize("problem", PROBLEMS)
def test_spoilt_pictures_are_named_and_spoilt(problem):
    good = random_side_view(rng(3, 1), size=SMALL, status="clear", day=7.0, bad_share=0.0)
    bad = random_side_view(rng(3, 1), size=SMALL, status="clear", day=7.0, problem=problem)
    assert good.problems == ()
    assert bad.problems == (problem,)

    def sharpness(photo):
        # The steepest edges over two pixels, which noise does not make.
        light = photo.rgb.max(-1).astype(float)
        steps = np.abs(light[2:, 2:] + light[2:, 1:-1] - light[:-2, 2:] - light[:-2, 1:-1])
        return np.quantile(steps, 0.999)

    def redness(photo):
        red, green, _ = photo.rgb[tuple(np.round(egg.centre_px).astype(int)[::-1])].astype(float) + 5
        return red / green

    egg = bad.eggs[0]
    if problem in ("motion blur", "out of focus"):
        assert sharpness(bad) < 0.9 * sharpness(good)
    elif problem == "overexposed":
        assert (bad.rgb > 250).mean() > (good.rgb > 250).mean() + 0.02
    elif problem == "lamp off":
        # Room light on a shell instead of light through it.
        assert redness(bad) < 0.8 * redness(good)
    elif problem == "underexposed":
        assert bad.rgb.max(-1).mean() < 0.7 * good.rgb.max(-1).mean()
    elif problem == "cut off":
        low, high = egg.outline_px.min(0), egg.outline_px.max(0)
        assert (low < 0).any() or (high > (SMALL[1], SMALL[0])).any()
        assert egg.hidden_fraction > 0
    else:
        assert egg.hidden_fraction > good.eggs[0].hidden_fraction + 0.03


def test_good_pictures_hold_the_whole_egg_and_its_truth():
    for seed in range(12):
        photo = random_side_view(rng(9, seed), size=SMALL, bad_share=0.0)
        egg = photo.eggs[0]
        assert (egg.outline_px > -1).all()
        assert (egg.outline_px < (SMALL[1], SMALL[0])).all()
        long_side = max(np.ptp(egg.outline_px, axis=0)) / SMALL[0]
        assert 0.08 < long_side < 1.0
        region = egg.air_cell_region_px
        assert 0 < polygon_area(region) < 0.5 * polygon_area(egg.outline_px)
        # The blunt pole lies on the air cell's side of the rim.
        way = np.array([np.cos(np.radians(egg.axis_deg)), np.sin(np.radians(egg.axis_deg))])
        assert (region.mean(0) - np.asarray(egg.centre_px)) @ way > 0
        assert egg.air_cell.depth_fraction == pytest.approx(
            egg.air_cell.rim_depth_mm / egg.profile.length, rel=1e-9
        )


def test_several_eggs_share_a_picture_without_overlap():
    photo = random_side_view(rng(4), size=(400, 600), eggs=5, day=7.0, bad_share=0.0)
    assert len(photo.eggs) == 5
    for k, first in enumerate(photo.eggs):
        for second in photo.eggs[k + 1 :]:
            gap = np.linalg.norm(np.subtract(first.centre_px, second.centre_px))
            assert gap > 0.9 * first.profile.breadth * first.px_per_mm


def test_wrong_names_are_refused_in_words():
    with pytest.raises(ValueError, match="lamp must be one of ring lamp below"):
        Scene(lamp="candle")
    with pytest.raises(ValueError, match="problem must be one of motion blur"):
        random_side_view(rng(1), size=SMALL, problem="eaten")
    with pytest.raises(ValueError, match="2 eggs but 1 poses"):
        simulator.draw_eggs((CLEAR, CLEAR), SCENE, 1)


@pytest.mark.parametrize("layout", ["square", "staggered"])
def test_cups_lie_as_the_layout_says(layout):
    places = cup_places_mm(4, 5, 48.0, layout)
    assert np.linalg.norm(places[0, 1] - places[0, 0]) == pytest.approx(48.0)
    # Staggered cups sit in the corners of equilateral triangles.
    assert np.linalg.norm(places[1, 0] - places[0, 0]) == pytest.approx(48.0)
    assert np.linalg.norm(places[1, 0] - places[0, 1]) == pytest.approx(
        48.0 if layout == "staggered" else 48.0 * np.sqrt(2)
    )


def test_tray_truth_fits_the_picture():
    empty = ((0, 1), (2, 3))
    photo = random_tray(
        rng(6), rows=3, columns=4, size=(720, 960), day=7.0, empty=empty, empty_lit=True, rotation=3.0,
        statuses=["clear"] * 12, camera=CLEAN,
    )  # fmt: skip
    tray = photo.tray
    assert photo.view == "end"
    assert tray.empty_cups == empty
    assert len(photo.eggs) == 10
    assert {(egg.row, egg.column) for egg in photo.eggs} == {
        (row, column) for row in range(3) for column in range(4)
    } - set(empty)
    pitch = np.linalg.norm(tray.cup_centres_px[0, 1] - tray.cup_centres_px[0, 0])
    brightness = photo.rgb.max(-1)
    for egg in photo.eggs:
        cup = tray.cup_centres_px[egg.row, egg.column]
        assert np.linalg.norm(np.asarray(egg.centre_px) - cup) < 0.35 * pitch
        assert 0.3 * pitch < egg.radius_px < 0.62 * pitch
        # The rim lies within the silhouette; its diameter in px is that in mm, nearer the camera.
        hull = ConvexHull(egg.outline_px)
        sides = egg.air_cell.boundary_px @ hull.equations[:, :2].T + hull.equations[:, 2]
        assert sides.max() < 0.5
        scale = 2 * egg.air_cell.radius_px / egg.air_cell.rim_diameter_mm
        assert 0.95 < scale / egg.px_per_mm < 1.2
        x, y = np.round(egg.centre_px).astype(int)
        assert brightness[y, x] > 60
    for row, column in empty:
        x, y = np.round(tray.cup_centres_px[row, column]).astype(int)
        assert photo.rgb[y, x].max() == 255  # a bare lamp, clipped
    # Rotation is clockwise: the first row runs down to the right.
    run = tray.cup_centres_px[0, -1] - tray.cup_centres_px[0, 0]
    assert np.degrees(np.arctan2(run[1], run[0])) == pytest.approx(3.0, abs=4.0)


def test_truth_is_plain_json():
    photo = random_tray(rng(2), rows=2, columns=2, size=(300, 300), day=9.0, empty=1)
    record = json.loads(json.dumps(truth_to_dict(photo, name="a.jpg")))
    assert record["photo"] == "a.jpg"
    assert record["view"] == "end"
    assert len(record["eggs"]) == 3
    assert len(record["tray"]["empty_cups"]) == 1
    egg = record["eggs"][0]
    assert {"status", "day", "outline_px", "air_cell", "profile", "shell", "vein_pixels"} <= set(egg)
    assert egg["axis_deg"] is None
    assert len(egg["outline_px"]) == len(photo.eggs[0].outline_px)


def test_jpeg_of_a_photo_opens_at_its_size_and_looks_the_same():
    photo = random_side_view(rng(5), size=SMALL)
    with Image.open(io.BytesIO(encode_jpeg(photo, 90))) as image:
        assert image.format == "JPEG"
        assert image.size == (SMALL[1], SMALL[0])
        assert np.abs(np.asarray(image).astype(int) - photo.rgb).mean() < 4


def test_command_line_writes_pictures_with_truth(tmp_path, capsys):
    arguments = ["--out", str(tmp_path / "new"), "--count", "3", "--seed", "5", "--width", "160"]
    assert simulator.main([*arguments, "--height", "200"]) == 0
    truths = json.loads((tmp_path / "new" / "truth.json").read_text())
    assert [one["photo"] for one in truths] == ["egg00000.jpg", "egg00001.jpg", "egg00002.jpg"]
    for one in truths:
        with Image.open(tmp_path / "new" / one["photo"]) as image:
            assert image.size == (one["width_px"], one["height_px"]) == (160, 200)
    with pytest.raises(SystemExit) as wrong:
        simulator.main(["--out", str(tmp_path), "--count", "0"])
    assert wrong.value.code == 2
    (tmp_path / "file").write_text("")
    with pytest.raises(SystemExit) as blocked:
        simulator.main(["--out", str(tmp_path / "file"), "--count", "1", "--width", "64", "--height", "64"])
    assert blocked.value.code == 1
    assert "cannot write to" in capsys.readouterr().err


def test_drawing_needs_only_numpy_scipy_and_pillow():
    # Training runs on machines without the program's other packages.
    code = "import sys, sample_images.simulator; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    root = Path(simulator.__file__).parents[1]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert {"numpy", "scipy", "PIL"} <= loaded
    assert not loaded & {
        "cv2",
        "skimage",
        "sklearn",
        "onnxruntime",
        "torch",
        "matplotlib",
        "vision",
        "models",
    }


def test_committed_pictures_match_their_truth():
    folder = Path(simulator.__file__).parent / "pictures"
    truths = {one["photo"]: one for one in json.loads((folder / "truth.json").read_text())}
    pictures = sorted(path.name for path in folder.glob("*.jpg"))
    assert sorted(truths) == pictures
    assert 13 <= len(pictures) <= 21
    assert sum(path.stat().st_size for path in folder.iterdir()) < 6_000_000
    for name, truth in truths.items():
        with Image.open(folder / name) as image:
            assert image.size == (truth["width_px"], truth["height_px"])
        if truth["view"] == "side":
            egg = truth["eggs"][0]
            assert name.startswith(f"day{int(egg['day']):02d}_{egg['status'].replace(' ', '_')}")
    (tray,) = [one for one in truths.values() if one["view"] == "end"]
    assert tray["width_px"] * tray["height_px"] == 12_000_000
    assert (tray["tray"]["rows"], tray["tray"]["columns"], len(tray["eggs"])) == (5, 6, 28)
