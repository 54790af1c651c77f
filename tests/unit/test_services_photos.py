"""Photos on their way in: order, corners, cups; and the egg cut from its photo."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from review_ui.services.egg_picture import EGG_LAYERS, egg_jpeg, egg_picture, photo_jpeg, reading_from_record
from review_ui.services.photo_intake import (
    CORNERS,
    cups_in_order,
    in_capture_order,
    keep_uploads,
    photo_grid,
    turned_cup,
)
from vision.cup_names import cup_name
from vision.photo import PhotoError, open_photo

PICTURES = Path(__file__).parents[2] / "sample_images" / "pictures"


def named(name: str, at: datetime | None):
    """As much of an examined file as its order needs."""
    return SimpleNamespace(name=name, examined=SimpleNamespace(reading=SimpleNamespace(taken_at=at)))


EVENING = datetime(2026, 3, 8, 20, 0)  # noqa: DTZ001 (a camera's clock without a zone)


@given(st.permutations(range(12)))
def test_photos_stand_in_the_order_in_which_they_were_taken(order):
    files = [named(f"{50 - minute}.jpg", EVENING + timedelta(minutes=minute)) for minute in order]
    ordered, remark = in_capture_order(files)
    assert [file.name for file in ordered] == [f"{50 - minute}.jpg" for minute in range(12)]
    assert remark is None


def test_without_every_time_the_names_count_by_number_and_it_is_said():
    files = [named("egg10.jpg", EVENING), named("egg9.jpg", None), named("egg2.jpg", EVENING)]
    ordered, remark = in_capture_order(files)
    assert [file.name for file in ordered] == ["egg2.jpg", "egg9.jpg", "egg10.jpg"]
    assert "egg9.jpg" in remark


def test_a_photo_left_out_and_a_cup_without_photo_shift_the_others():
    cups = ("A1", "A2", "B1", "B2")
    assert cups_in_order(4, cups, fixed={}) == cups
    assert cups_in_order(4, cups, fixed={1: None}) == ("A1", None, "A2", "B1")
    assert cups_in_order(3, cups, fixed={}, without=("A2",)) == ("A1", "B1", "B2")
    assert cups_in_order(4, cups, fixed={0: "B1"}) == ("B1", "A1", "A2", "B2")
    assert cups_in_order(5, cups, fixed={}) == (*cups, None)


@given(
    fixed=st.dictionaries(st.integers(0, 6), st.none() | st.sampled_from(["A1", "A3", "B2"]), max_size=3),
    without=st.sets(st.sampled_from(["A2", "B1"])),
)
def test_a_cup_in_order_is_never_given_twice_nor_one_without_a_photo(fixed, without):
    given_ = cups_in_order(7, ("A1", "A2", "A3", "B1", "B2"), fixed=fixed, without=without)
    in_order = [cup for number, cup in enumerate(given_) if number not in fixed and cup is not None]
    assert len(set(in_order)) == len(in_order)
    assert not set(in_order) & (without | set(fixed.values()))


@pytest.mark.parametrize(("corner", "quarter_turns"), list(zip(CORNERS, (0, 3, 2, 1), strict=True)))
@pytest.mark.parametrize(("rows", "columns"), [(5, 6), (2, 7), (3, 3)])
def test_corner_of_a1_against_numpys_turning(corner, quarter_turns, rows, columns):
    # numpy.rot90 turns anticlockwise: three quarter turns bring the top left to the top right.
    tray = np.array([[cup_name(r, c) for c in range(columns)] for r in range(rows)])
    seen = np.rot90(tray, quarter_turns)
    assert photo_grid(rows, columns, corner) == seen.shape
    for (row, column), true in np.ndenumerate(seen):
        assert turned_cup(cup_name(row, column), rows=rows, columns=columns, corner=corner) == true


def test_uploaded_names_cannot_leave_their_folder(tmp_path):
    paths, names = keep_uploads(tmp_path, [("../../evil.jpg", b"a"), ("photo", b"b"), ("a.j/pg", b"c")])
    assert all(path.parent == tmp_path for path in paths)
    assert [path.read_bytes() for path in paths] == [b"a", b"b", b"c"]
    assert paths[0].suffix == ".jpg"
    assert names[0] == "../../evil.jpg"


@pytest.fixture(scope="module")
def egg():
    """A picture of the simulator and its drawn truth, as a reading would give it."""
    truth = json.loads((PICTURES / "truth.json").read_text(encoding="utf-8"))
    photo = next(one for one in truth if one["photo"] == "day10_early_death_ring_cream.jpg")
    drawn = photo["eggs"][0]
    outline = np.array(drawn["outline_px"])
    reach = np.hypot(*(outline[:, None] - outline[None]).transpose(2, 0, 1)).max()
    measured = {
        "cup": None,
        "outline": {
            "centre_px": drawn["centre_px"],
            "length_px": float(reach),
            "breadth_px": float(reach) * 0.75,
            "axis_deg": drawn["axis_deg"] % 360,
            "long_axis_deg": drawn["axis_deg"] % 180,
            "polygon_px": drawn["outline_px"],
        },
        "quality": {"usable": True, "problems": []},
        "air_cell": None,
        "veins": {"visible": None, "length_per_area": None, "area_fraction": None},
        "embryo": {"visible": None, "area_fraction": None, "centre_px": None},
        "missing": {},
    }
    return open_photo(PICTURES / photo["photo"]).rgb, measured


def expected_window(rgb, measured):
    """Top left and bottom right of the egg with 12 % of its length around it, within the photo."""
    outline = np.array(measured["outline"]["polygon_px"])
    margin = 0.12 * measured["outline"]["length_px"]
    return np.maximum(outline.min(axis=0) - margin, 0), np.minimum(
        outline.max(axis=0) + margin, rgb.shape[1::-1]
    )


def test_the_cut_shows_the_whole_egg_and_little_else(egg):
    rgb, measured = egg
    picture = egg_picture(rgb, measured, view="side", layers=(), side_px=500)
    low, high = expected_window(rgb, measured)
    width, height = high - low
    assert max(picture.shape[:2]) == 500
    assert picture.shape[1] / picture.shape[0] == pytest.approx(width / height, abs=0.01)  # whole pixels


def test_the_outline_is_drawn_where_the_egg_is(egg):
    rgb, measured = egg
    bare = egg_picture(rgb, measured, view="side", layers=(), side_px=800).astype(int)
    lines = egg_picture(rgb, measured, view="side", layers=("outline",), side_px=800).astype(int)
    changed = np.argwhere(np.abs(lines - bare).sum(axis=2) > 60)[:, ::-1]
    low, high = expected_window(rgb, measured)
    expected = (np.array(measured["outline"]["polygon_px"]) - low) * 800 / max(high - low)
    steps = np.linspace(0, 1, 20, endpoint=False)[:, None, None]
    line = (expected + steps * (np.roll(expected, -1, axis=0) - expected)).reshape(-1, 2)
    apart = np.sqrt(((changed[:, None] - line[None]) ** 2).sum(axis=2)).min(axis=1)
    # A line 2 px wide with a dark edge of 1 px, and a window of whole pixels: 4 px at most.
    assert len(changed) > 500
    assert np.quantile(apart, 0.99) < 4


def test_no_layers_leave_the_picture_as_it_is_and_inputs_unchanged(egg):
    rgb, measured = egg
    before = rgb.copy()
    bare = egg_picture(rgb, measured, view="side", layers=(), side_px=300)
    drawn = egg_picture(rgb, measured, view="side", layers=EGG_LAYERS, side_px=300)
    assert (rgb == before).all()
    assert (bare != drawn).any()


def test_an_egg_beyond_the_photo_gives_no_fault(egg):
    rgb, measured = egg
    far = {
        **measured,
        "outline": {**measured["outline"], "polygon_px": [[9e4, 9e4], [9e4 + 9, 9e4], [9e4, 9e4 + 9]]},
    }
    assert egg_picture(rgb, far, view="side").shape == (1, 1, 3)


def test_a_record_without_its_parts_is_refused():
    with pytest.raises(KeyError):
        reading_from_record({"outline": {}})


def test_pictures_of_files_are_jpegs_and_a_missing_file_is_named(egg, tmp_path):
    path = PICTURES / "day10_early_death_ring_cream.jpg"
    for data in (egg_jpeg(path, egg[1], view="side", side_px=200), photo_jpeg(path, side_px=200)):
        (tmp_path / "x.jpg").write_bytes(data)
        with Image.open(tmp_path / "x.jpg") as picture:
            assert picture.format == "JPEG"
            assert max(picture.size) == 200
    with pytest.raises(PhotoError, match="gone"):
        egg_jpeg(tmp_path / "gone.jpg", egg[1], view="side")
