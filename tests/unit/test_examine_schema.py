"""The JSON Schema shipped for scripts: sound, documented, and strict where it matters."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator

import jsonschema
import numpy as np
import pytest

from models.proposal import Judgement, Proposal
from review_ui.examine_json import SCHEMA_VERSION, document_text, json_schema, photo_record
from review_ui.services.egg_picture import reading_from_record
from vision.reading import (
    AirCell,
    AirCellIntervals,
    BloodRing,
    Embryo,
    Interval,
    LookHere,
    Outline,
    PhotoReading,
    Quality,
    Reading,
    SeenTrayCard,
    Shell,
    Veins,
)

EGG = {
    "cup": "C5",
    "outline": {
        "centre_px": [10, 10], "length_px": 20, "breadth_px": 15, "axis_deg": None,
        "long_axis_deg": 90, "polygon_px": [[0, 0], [1, 0], [1, 1]],
    },
    "quality": {"usable": True, "problems": []},
    "air_cell": None,
    "veins": {"visible": None, "length_per_area": None, "area_fraction": None},
    "embryo": {"visible": False, "area_fraction": None, "centre_px": None},
    "apparent_day": None,
    "proposal": {
        "status": "developing",
        "probability": {"clear": 0.1, "early death": 0.1, "developing": 0.8},
        "decision": "pass",
        "reasons": [],
    },
    "missing": {"air_cell": "its line does not show"},
}  # fmt: skip
PHOTO = {
    "photo": "a.jpg", "sha256": "0" * 64, "width_px": 40, "height_px": 30, "taken_at": None,
    "view": "side", "error": None, "eggs": [EGG], "empty_cups": ["F8"], "unseen_cups": [],
}  # fmt: skip


def _valid(photo: dict) -> bool:
    document = {"schema": 1, "model": "m", "photos": [photo]}
    return jsonschema.Draft202012Validator(json_schema()).is_valid(document)


def test_schema_is_sound_and_of_the_stated_draft():
    schema = json_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["properties"]["schema"]["const"] == SCHEMA_VERSION


def test_a_document_as_designed_is_valid():
    assert _valid(PHOTO)
    unread = dict(PHOTO, eggs=[], empty_cups=[], view=None, sha256=None, width_px=None, height_px=None)
    assert _valid(dict(unread, error="a.jpg is empty (0 bytes); copy it from the phone again."))
    assert not _valid(unread)  # nothing read and no reason


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("cup",), "5C"),
        (("outline", "axis_deg"), 360),
        (("outline", "length_px"), None),
        (("outline", "polygon_px"), [[0, 0, 0]] * 3),
        (("proposal", "status"), "late death"),
        (("proposal", "status"), "clear"),  # passed unseen
        (("proposal", "probability", "clear"), 1.1),
        (("proposal", "decision"), "pull"),
        (("quality", "usable"), None),
        (("embryo", "area_fraction"), -0.1),
        (("missing", "air_cell"), ""),
        (("apparent_day",), {"day": 8}),
        (("surprise",), 1),
    ],
)
def test_what_must_not_be_is_not_valid(path, value):
    photo = copy.deepcopy(PHOTO)
    place = photo["eggs"][0]
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = value
    assert not _valid(photo)


@pytest.mark.parametrize("name", sorted(PHOTO))
def test_every_key_of_a_photo_is_required(name):
    assert not _valid({key: value for key, value in PHOTO.items() if key != name})


@pytest.mark.parametrize("name", sorted(EGG))
def test_every_key_of_an_egg_is_required(name):
    egg = {key: value for key, value in EGG.items() if key != name}
    assert not _valid(dict(PHOTO, eggs=[egg]))


def _objects(schema: object) -> Iterator[dict]:
    if isinstance(schema, dict):
        if "properties" in schema and "type" in schema:
            yield schema
        for part in schema.values():
            yield from _objects(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from _objects(part)


# Written in every new file; files from before they were thought of stay valid.
CAME_LATER = {
    "tray_doubts", "tray_card", "mm_per_px", "mm_from", "ring", "shell", "size_mm", "branch_points",
    "reach_fraction", "darkness", "line_depth_fraction", "intervals", "unusual",
    "mm_per_px_interval",
}  # fmt: skip


def test_no_object_takes_unknown_keys_and_all_its_own_are_required():
    objects = list(_objects(json_schema()))
    assert len(objects) >= 10
    for found in objects:
        assert found["additionalProperties"] is False
        assert sorted(found["required"]) == sorted(set(found["properties"]) - CAME_LATER)


def test_an_empty_list_of_photos_is_a_document_too():
    found = json.loads(document_text('a "model"', []))
    assert found == {"schema": 1, "model": 'a "model"', "photos": []}


def test_a_full_reading_is_written_valid_and_comes_back_from_its_record():
    line = np.array([[1.0, 2.0], [3.0, 4.0]])
    polygon = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 20.0]])
    egg = Reading(
        Outline((5.0, 9.0), 20.0, 15.0, 90.0, 90.0, polygon),
        Quality(True),
        AirCell(
            0.125, 0.6, 0.05, 21.0, line, 0.9, 0.11,
            AirCellIntervals(depth_fraction=Interval(0.1, 0.15), tilt_deg=Interval(18.0, 24.0)),
            ("its rim leans 21 degrees: it may be loose",),
        ),
        Veins(True, 3.5, 0.1, 7, 0.8),
        Embryo(True, 0.1, (4.0, 5.0), 0.4),
        ring=BloodRing((5.0, 8.0), 0.2, 0.75, 0.8),
        shell=Shell(75.0, (LookHere("a bright line: it may be a crack", line),)),
        size_mm=(57.5, 43.1),
    )  # fmt: skip
    reading = PhotoReading(
        "a.jpg", "0" * 64, 40, 30, None, "side", (egg,),
        tray_doubts=("Which corner is A1 could not be told.",),
        tray_card=SeenTrayCard(7, 3), mm_per_px=0.0314, mm_from="tray card",
        mm_per_px_interval=Interval(0.0306, 0.0322),
    )  # fmt: skip
    judgement = Judgement(None, Proposal("developing", EGG["proposal"]["probability"], "review", ()))
    record = photo_record(reading, [judgement])
    assert _valid(record)
    assert (record["mm_per_px"], record["tray_card"]) == (0.0314, {"number": 7, "markers_seen": 3})
    assert record["mm_per_px_interval"] == [0.0306, 0.0322]
    back = reading_from_record(record["eggs"][0])
    for name in ("veins", "embryo", "ring", "size_mm"):
        assert getattr(back, name) == getattr(egg, name), name
    assert back.air_cell.intervals == egg.air_cell.intervals
    assert back.air_cell.unusual == egg.air_cell.unusual
    assert back.shell.shape_index == 75.0
    assert back.shell.look_here[0].what == egg.shell.look_here[0].what
    assert np.array_equal(back.shell.look_here[0].boundary_px, line)


def test_a_record_from_before_the_later_keys_still_opens():
    back = reading_from_record(EGG)
    assert (back.ring, back.size_mm, back.shell) == (None, None, Shell())
