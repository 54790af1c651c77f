"""``trayglow examine`` with its real parts on a few real photos: files, formats, promises.

How well it measures is tested elsewhere; here, that what it says is complete and consistent.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest
from PIL import Image

from review_ui.command_line import main
from review_ui.examine_json import json_schema

# Spread over the evenings; more would only take longer.
PHOTO_COUNT = 5


@pytest.fixture(scope="module")
def examined(real_photos: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Path], Path, int]:
    """Photos, the folder of results, the exit status."""
    every = sorted(real_photos.glob("*.jpg"))
    photos = every[:: len(every) // PHOTO_COUNT][:PHOTO_COUNT]
    out = tmp_path_factory.mktemp("out")
    status = main(
        ["examine", *map(str, photos), "--day", "8", "--json", str(out / "out.json")]
        + ["--masks", str(out / "masks"), "--overlay", str(out / "overlays")]
    )
    return photos, out, status


@pytest.fixture(scope="module")
def found(examined) -> list[dict]:
    document = json.loads((examined[1] / "out.json").read_text(encoding="ascii"))
    jsonschema.Draft202012Validator(json_schema()).validate(document)
    assert document["model"]
    return document["photos"]


def test_every_photo_is_read_and_has_its_egg(examined, found):
    photos, _, status = examined
    assert [photo["photo"] for photo in found] == [str(path) for path in photos]
    assert [photo["error"] for photo in found] == [None] * len(photos)
    assert status == 0
    assert all(len(photo["eggs"]) >= 1 for photo in found)


def test_outlines_lie_on_the_photo_and_agree_with_themselves(found):
    """The polygon spans the stated length along the stated axis (within the polygon's own rounding
    and coarseness: 2 %)."""
    for photo in found:
        for egg in photo["eggs"]:
            outline = egg["outline"]
            polygon = np.array(outline["polygon_px"])
            angle = np.deg2rad(outline["long_axis_deg"])
            along = polygon @ [np.cos(angle), np.sin(angle)]
            if photo["view"] == "side":
                assert np.ptp(along) == pytest.approx(outline["length_px"], rel=0.02)
            assert outline["length_px"] >= outline["breadth_px"]
            if outline["axis_deg"] is not None:
                assert outline["axis_deg"] % 180 == pytest.approx(outline["long_axis_deg"], abs=0.11)


def _nulls(value: object, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    if value is None:
        yield path
    elif isinstance(value, dict):
        for name, part in value.items():
            if name != "missing":
                yield from _nulls(part, (*path, name))


def test_whatever_is_missing_has_its_reason(found):
    for photo in found:
        for egg in photo["eggs"]:
            for path in _nulls(egg):
                not_there = len(path) == 2 and egg[path[0]].get("visible") is False
                if path == ("cup",) or not_there:  # no tray; nothing there to be measured
                    continue
                names = {".".join(path), path[0], path[-1]}
                assert names & set(egg["missing"]), (photo["photo"], path, egg["missing"])


def test_probabilities_and_days_are_consistent(found):
    for photo in found:
        for egg in photo["eggs"]:
            proposal = egg["proposal"]
            assert sum(proposal["probability"].values()) == pytest.approx(1, abs=2e-4)  # rounded
            assert proposal["status"] == max(proposal["probability"], key=proposal["probability"].get)
            assert proposal["reasons"]
            if egg["apparent_day"] is not None:
                day = egg["apparent_day"]
                assert day["low"] <= day["day"] <= day["high"]


def test_masks_lie_within_the_egg(examined, found):
    photos, out, _ = examined
    for path, photo in zip(photos, found, strict=True):
        for number, egg in enumerate(photo["eggs"], start=1):
            names = [out / "masks" / f"{path.stem}_egg{number}_{part}.png" for part in ("veins", "air_cell")]
            if not egg["quality"]["usable"]:
                continue
            inside = np.zeros((photo["height_px"], photo["width_px"]), np.uint8)
            polygon = np.array(egg["outline"]["polygon_px"])
            cv2.fillPoly(inside, [polygon.round().astype(np.int32)], 1)
            inside = cv2.dilate(inside, np.ones((7, 7), np.uint8))  # 3 px for the mask's own scaling
            for name in names:
                with Image.open(name) as file:
                    mask = np.asarray(file)
                assert mask.shape == inside.shape
                assert set(np.unique(mask)) <= {0, 255}
                assert not (mask[inside == 0]).any()
            if egg["air_cell"] is None:
                assert not mask.any()


def test_an_overlay_for_each_photo(examined):
    photos, out, _ = examined
    for path in photos:
        with Image.open(path) as photo, Image.open(out / "overlays" / f"{path.stem}_overlay.jpg") as drawn:
            assert drawn.size == photo.size
            assert np.abs(np.asarray(drawn).astype(int) - np.asarray(photo)).max() > 100


def test_the_table_names_every_photo(real_photos, capsys):
    path = min(real_photos.glob("*.jpg"))
    assert main(["examine", str(path), "--day", "8"]) == 0
    out, err = capsys.readouterr()
    row = rf"^{re.escape(path.name)} +1 +(clear|early death|developing) (> )?\d+ %"
    assert re.search(row, out, re.MULTILINE)
    assert "1 photo read; 1 egg" in out
    assert err == ""
