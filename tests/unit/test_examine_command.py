"""``trayglow examine`` from the words typed to files and exit status.

Reading and judging are replaced by a few lines here that answer at once and misbehave on demand,
so that what is tested is the command: pool, order, failures, files. The whole chain is tested
with the real parts elsewhere.
"""

from __future__ import annotations

import argparse
import functools
import io
import json
import math
import os
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from models.proposal import ApparentDay, Judgement, Proposal
from review_ui import examine
from review_ui.command_line import main
from review_ui.examine_json import json_schema
from review_ui.examine_photo import examine_photo
from review_ui.examine_pool import examine_here
from vision.photo import Photo
from vision.reading import AirCell, EggMasks, Embryo, Outline, PhotoReading, Quality, Reading, Veins

VALIDATOR = jsonschema.Draft202012Validator(json_schema())
STATUSES = ("clear", "early death", "developing")


def simple_reader(photo: Photo, *, view: str, tray: tuple[int, int] | None) -> PhotoReading:
    """One or two upright ellipses, misbehaving by the photo's name."""
    name = photo.path.stem
    if name.startswith("dies"):
        os.kill(os.getpid(), signal.SIGKILL)
    if name.startswith("fault"):
        raise RuntimeError("two\nlines")
    width, height = photo.width_px, photo.height_px
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    centre = (width / 2, height / 2)
    polygon = np.column_stack([centre[0] + width / 4 * np.cos(turn), centre[1] + height / 4 * np.sin(turn)])
    window = np.zeros((20, 10), dtype=bool)
    window[5, 2:8] = True
    length = math.nan if name.startswith("nan_outline") else height / 2
    depth = math.nan if name.startswith("nan_depth") else 0.123456
    egg = Reading(
        outline=Outline(centre, length, width / 2, 359.99, 179.99, polygon),
        quality=Quality(usable=True),
        air_cell=AirCell(depth, 0.5, 0.04, 1.0, polygon[:3], 0.9),
        veins=Veins(True, 2.5, 0.1),
        embryo=Embryo(None, None, None),
        cup=None if tray is None else f"A{tray[1]}",
        missing={"embryo": "too dark to tell"},
        masks=EggMasks((7, 11), window, window, ~window),
    )
    eggs = (egg, egg) if name.startswith("two") else () if name.startswith("bare") else (egg,)
    seen = "end" if view == "end" else "side"
    error = None if eggs else "no egg was found in it"
    return PhotoReading("", photo.sha256, width, height, photo.taken_at, seen, eggs, error=error)


def simple_judge(photo: Photo, reading: PhotoReading, *, day: float, species: str) -> tuple[Judgement, ...]:
    """Developing on even days, clear on odd ones."""
    status, decision = ("developing", "pass") if day % 2 == 0 else ("clear", "confirm")
    probability = {name: 0.9 if name == status else 0.05 for name in STATUSES}
    proposal = Proposal(status, probability, decision, ("no veins",) if status == "clear" else ())
    missing = {} if day > 2 else {"apparent_day": "too early to tell"}
    seen = ApparentDay(day, day - 2, day + 2) if day > 2 else None
    return tuple(Judgement(seen, proposal, missing) for _ in reading.eggs)


SIMPLE = functools.partial(examine_photo, reader=simple_reader, judge=simple_judge)


def run(*words: object) -> int:
    parser = argparse.ArgumentParser()
    examine.add_parser(parser.add_subparsers())
    options = parser.parse_args(["examine", *map(str, words)])
    return examine.run(options, work=SIMPLE, model="simple 1")


def picture(path: Path, *, width: int = 80, height: int = 120, shade: int = 60) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.full((height, width, 3), shade, np.uint8)).save(path)
    return path


def loaded(path: Path) -> np.ndarray:
    with Image.open(path) as file:
        return np.asarray(file)


def document(path: Path) -> dict:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in the JSON")

    found = json.loads(path.read_text(encoding="ascii"), parse_constant=refuse)
    VALIDATOR.validate(found)
    return found


def test_one_photo(tmp_path, capsys):
    path = picture(tmp_path / "a.jpg")
    assert run(path, "--day", 8, "--json", tmp_path / "out.json") == 0
    found = document(tmp_path / "out.json")
    assert (found["schema"], found["model"]) == (1, "simple 1")
    (photo,) = found["photos"]
    assert photo["photo"] == str(path)
    assert (photo["width_px"], photo["height_px"], photo["view"]) == (80, 120, "side")
    (egg,) = photo["eggs"]
    assert egg["outline"]["length_px"] == 60.0
    assert (egg["outline"]["axis_deg"], egg["outline"]["long_axis_deg"]) == (0.0, 0.0)  # a full turn
    assert egg["air_cell"]["depth_fraction"] == 0.1235
    assert egg["apparent_day"] == {"day": 8.0, "low": 6.0, "high": 10.0}
    assert egg["proposal"]["probability"] == {"clear": 0.05, "early death": 0.05, "developing": 0.9}
    assert egg["missing"] == {"embryo": "too dark to tell"}
    out, err = capsys.readouterr()
    assert "developing 90 %" in out
    assert "12 %" in out
    assert "1 photo read; 1 egg: 1 pass, 0 confirm, 0 review." in out
    assert err == ""


def test_many_photos_in_their_order_some_broken(tmp_path, monkeypatch, capsys):
    """In a pool: files that cannot be opened and faults of the program are sentences, and stop no
    other photo; the environment that keeps the workers to one thread is put back."""
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    names = ["3.png", "broken.png", "1.png", "absent.png", "fault.png", "nan_outline.png", "2.png"]
    paths = [tmp_path / name for name in names]
    for path in paths:
        if path.stem not in ("broken", "absent"):
            picture(path)
    (tmp_path / "broken.png").write_bytes(b"\xff\xd8\xff")
    assert run(*paths, "--day", 7, "--json", tmp_path / "out.json") == 1
    assert os.environ["OMP_NUM_THREADS"] == "3"
    assert "MKL_NUM_THREADS" not in os.environ
    photos = document(tmp_path / "out.json")["photos"]
    assert [photo["photo"] for photo in photos] == [str(path) for path in paths]
    assert [len(photo["eggs"]) for photo in photos] == [1, 0, 1, 0, 0, 0, 1]
    out, err = capsys.readouterr()
    assert err.splitlines() == [
        f"{tmp_path}/broken.png is damaged or cut off; copy it from the phone again.",
        f"{tmp_path}/absent.png was not found; check the name and the folder.",
        f"{tmp_path}/fault.png could not be read because of a fault in the program "
        "(RuntimeError: two lines); please report it.",
        f"{tmp_path}/nan_outline.png could not be read because of a fault in the program "
        "(ValueError: nan where a number is needed); please report it.",
    ]
    assert photos[4]["width_px"] == 80
    assert "3 photos read; 4 photos could not be read; 3 eggs: 0 pass, 3 confirm, 0 review." in out
    assert "Look at every egg yourself before you pull it" in out


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="does not apply: no SIGKILL on this system")
def test_a_photo_that_kills_its_worker_is_named_and_stops_no_other(tmp_path, capsys):
    names = ["a", "b", "dies", "c", "d"]
    paths = [picture(tmp_path / f"{name}.png") for name in names]
    assert run(*paths, "--day", 8, "--json", tmp_path / "out.json") == 1
    photos = document(tmp_path / "out.json")["photos"]
    assert [photo["error"] is not None for photo in photos] == [name.startswith("dies") for name in names]
    assert "dies.png made the reading process end, twice" in photos[2]["error"]
    assert capsys.readouterr().err.splitlines() == [photos[2]["error"]]


def test_a_number_that_is_not_finite_becomes_a_missing_one(tmp_path):
    path = picture(tmp_path / "nan_depth.png")
    assert run(path, "--day", 8, "--json", tmp_path / "out.json") == 0
    (egg,) = document(tmp_path / "out.json")["photos"][0]["eggs"]
    assert egg["air_cell"]["depth_fraction"] is None
    assert egg["missing"]["air_cell.depth_fraction"] == "the measurement gave no finite number"


def test_reasons_of_reading_and_judging_stand_together(tmp_path):
    path = picture(tmp_path / "a.png")
    assert run(path, "--day", 2, "--json", tmp_path / "out.json") == 0
    (egg,) = document(tmp_path / "out.json")["photos"][0]["eggs"]
    assert egg["apparent_day"] is None
    assert egg["missing"] == {"embryo": "too dark to tell", "apparent_day": "too early to tell"}


def test_a_photo_without_an_egg_is_named(tmp_path, capsys):
    path = picture(tmp_path / "bare.png")
    assert run(path, "--day", 8, "--json", tmp_path / "out.json") == 1
    (photo,) = document(tmp_path / "out.json")["photos"]
    assert photo["error"] == f"{path}: no egg was found in it"
    assert (photo["eggs"], photo["width_px"]) == ([], 80)
    assert capsys.readouterr().err == f"{path}: no egg was found in it\n"


def test_view_and_tray_reach_the_reader(tmp_path):
    path = picture(tmp_path / "a.png")
    assert run(path, "--day", 8, "--view", "end", "--tray", "3x5", "--json", tmp_path / "out.json") == 0
    (photo,) = document(tmp_path / "out.json")["photos"]
    assert photo["view"] == "end"
    assert photo["eggs"][0]["cup"] == "A5"


def test_json_on_standard_output_stands_alone(tmp_path, capsys):
    assert run(picture(tmp_path / "a.png"), "--day", 8, "--json", "-") == 0
    VALIDATOR.validate(json.loads(capsys.readouterr().out))


def test_masks_have_the_photo_size_and_place(tmp_path):
    path = picture(tmp_path / "two.png")
    assert run(path, "--day", 8, "--masks", tmp_path / "new" / "masks") == 0
    folder = tmp_path / "new" / "masks"
    assert sorted(p.name for p in folder.iterdir()) == [
        "two_egg1_air_cell.png", "two_egg1_veins.png", "two_egg2_air_cell.png", "two_egg2_veins.png",
    ]  # fmt: skip
    veins = loaded(folder / "two_egg1_veins.png")
    assert veins.shape == (120, 80)
    assert np.array_equal(np.argwhere(veins == 255), [[11 + 5, 7 + x] for x in range(2, 8)])
    assert set(np.unique(veins)) == {0, 255}
    air_cell = loaded(folder / "two_egg2_air_cell.png")
    assert (air_cell == 255).sum() == 20 * 10 - 6


def test_overlay_is_the_photo_with_drawings(tmp_path):
    path = picture(tmp_path / "a.png")
    assert run(path, "--day", 8, "--overlay", tmp_path / "drawn") == 0
    (drawn,) = (tmp_path / "drawn").iterdir()
    assert drawn.name == "a_overlay.jpg"
    rgb = loaded(drawn).astype(int)
    assert rgb.shape == (120, 80, 3)
    assert np.abs(rgb[2, 2] - 60).max() <= 4  # JPEG loss far from the egg
    assert np.abs(rgb - 60).max() > 80


def test_photos_of_one_name_do_not_overwrite_each_other(tmp_path):
    paths = [
        picture(tmp_path / "monday" / "a.jpg", width=80),
        picture(tmp_path / "friday" / "a.jpg", width=90),
        picture(tmp_path / "friday" / "A.png", width=100),
        picture(tmp_path / "b.jpg", width=110),
    ]
    assert run(*paths, "--day", 8, "--overlay", tmp_path / "drawn") == 0
    widths = {p.name: loaded(p).shape[1] for p in (tmp_path / "drawn").iterdir()}
    assert widths == {
        "monday_a_overlay.jpg": 80,
        "friday_a_overlay.jpg": 90,
        "friday_A-2_overlay.jpg": 100,
        "b_overlay.jpg": 110,
    }


@pytest.mark.parametrize(
    "photos",
    [
        ["x/a.jpg", "y/a.jpg", "x_a.jpg"],
        ["x_a.jpg", "x/a.jpg", "y/a.jpg"],
        ["x/a.jpg", "x/a.png", "x/x_a-2.jpg", "x/x_a.jpg"],
        ["a.jpg", "a.jpg", "A.JPG"],
        ["/a.jpg", "/a.png"],
    ],
)
def test_names_of_outputs_are_unique_on_every_system(photos):
    names = examine.output_names(photos)
    assert len({name.casefold() for name in names}) == len(photos)
    assert not any("/" in name for name in names)


def test_patterns_are_expanded_where_the_shell_did_not(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("b.jpg", "a.jpg", "c.png", "odd[1].jpg"):
        picture(tmp_path / name)
    assert examine.expanded(["*.jpg"]) == ["a.jpg", "b.jpg", "odd[1].jpg"]
    assert examine.expanded(["odd[1].jpg", "c.png"]) == ["odd[1].jpg", "c.png"]
    assert examine.expanded(["*.gif"]) == ["*.gif"]
    assert run("?.png", "--day", 8, "--json", "out.json") == 0
    assert [photo["photo"] for photo in document(tmp_path / "out.json")["photos"]] == ["c.png"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["examine"], "required"),
        (["examine", "a.jpg"], "--day"),
        (["examine", "a.jpg", "--day", "x"], "'x' is not a day"),
        (["examine", "a.jpg", "--day", "nan"], "'nan' is not a day"),
        (["examine", "a.jpg", "--day", "-1"], "--day"),
        (["examine", "a.jpg", "--day", "80"], "--day 80: chicken eggs hatch about day 21"),
        (["examine", "a.jpg", "--day", "8", "--species", "dragon"], "dragon"),
        (["examine", "a.jpg", "--day", "8", "--view", "top"], "top"),
        (["examine", "a.jpg", "--day", "8", "--tray", "6"], "'6' is not a tray"),
        (["examine", "a.jpg", "--day", "8", "--tray", "0x7"], "'0x7' is not a tray"),
        (["incinerate"], "incinerate"),
        ([], "COMMAND"),
    ],
)
def test_wrong_usage_is_said_and_ends_with_2(words, said, capsys):
    assert main(words) == 2
    assert said in capsys.readouterr().err


def test_a_goose_may_be_older_than_a_chicken(tmp_path):
    assert run(picture(tmp_path / "a.png"), "--day", 30, "--species", "goose") == 0


def test_help_tells_of_the_exit_status(capsys):
    assert main(["examine", "--help"]) == 0
    out = capsys.readouterr().out
    assert "exit status: 0" in out
    for option in ("--day", "--species", "--view", "--tray", "--json", "--masks", "--overlay", "--cluster"):
        assert option in out


def test_a_forgotten_json_name_does_not_overwrite_a_photo(tmp_path, capsys):
    """``--json *.jpg`` hands the first photo over as the file for the results."""
    first, second = picture(tmp_path / "a.jpg"), picture(tmp_path / "b.jpg")
    before = first.read_bytes()
    assert main(["examine", "--day", "8", "--json", str(first), str(second)]) == 2
    assert "a.jpg is a picture; name a file for the results" in capsys.readouterr().err
    assert first.read_bytes() == before


def test_places_that_cannot_be_written_are_named_before_reading(tmp_path, capsys):
    path = str(picture(tmp_path / "a.png"))
    for option, place, said in (
        ("--json", tmp_path, "is a folder; name a file in it"),
        ("--json", tmp_path / "no" / "out.json", "there is no folder"),
        ("--masks", Path(path), "nothing can be written to the folder"),
        ("--overlay", Path(path, "sub"), "nothing can be written to the folder"),
    ):
        assert main(["examine", path, "--day", "8", option, str(place)]) == 2
        err = capsys.readouterr().err
        assert said in err
        assert option in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="does not apply: no full device on this system")
def test_a_full_disk_is_said_and_ends_with_2(tmp_path, capsys):
    assert run(picture(tmp_path / "a.png"), "--day", 8, "--json", "/dev/full") == 2
    out, err = capsys.readouterr()
    assert "--json: /dev/full could not be written" in err
    assert "1 photo read" in out


def test_pictures_that_cannot_be_written_are_said_and_end_with_2(tmp_path, capsys):
    """The name of the overlay is taken by a folder."""
    (tmp_path / "drawn" / "a_overlay.jpg").mkdir(parents=True)
    path = picture(tmp_path / "a.png")
    assert run(path, "--day", 8, "--overlay", tmp_path / "drawn", "--json", tmp_path / "o.json") == 2
    assert "could not all be written" in capsys.readouterr().err
    assert len(document(tmp_path / "o.json")["photos"][0]["eggs"]) == 1


def test_an_older_result_is_replaced_whole_and_no_rest_stays(tmp_path):
    out = tmp_path / "out.json"
    out.write_text("x" * 100_000)
    assert run(picture(tmp_path / "a.png"), "--day", 8, "--json", out) == 0
    document(out)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.png", "out.json"]


@pytest.mark.skipif(sys.platform == "win32", reason="does not apply: such a name cannot exist on Windows")
def test_names_that_are_no_text_or_control_the_screen(tmp_path, capsys):
    for name, shown in ((b"\xff\xfe.png", "\\xff\\xfe.png"), (b"a\x1b[2J.png", "a\\x1b[2J.png")):
        path = tmp_path / os.fsdecode(name)
        picture(tmp_path / "plain.png").rename(path)
        assert run(path, "--day", 8, "--json", tmp_path / "out.json") == 0
        document(tmp_path / "out.json")
        path.unlink()
        assert run(path, "--day", 8) == 1
        out, err = capsys.readouterr()
        assert shown in out
        assert shown in err
        assert "\x1b" not in out + err


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_shown_on_a_terminal_only(tmp_path, monkeypatch):
    path = picture(tmp_path / "a.png")
    for stderr, shown in ((Terminal(), True), (io.StringIO(), False)):
        monkeypatch.setattr(sys, "stderr", stderr)
        assert run(path, "--day", 8) == 0
        assert ("1/1" in stderr.getvalue()) == shown


def test_one_process_reads_several_photos_and_the_results_are_the_same(tmp_path):
    """In the pool and in this process alike; workers are started once, not for each photo."""
    paths = [picture(tmp_path / f"{n}.png", shade=n) for n in range(6)]
    tasks = [examine.PhotoTask(str(path), str(path), 8.0, "chicken", output_name=path.stem) for path in paths]
    pooled = dict(examine_here(with_process, tasks, processes=2))
    assert [pooled[n][0] for n in range(6)] == [SIMPLE(task).record for task in tasks]
    processes = {process for _, process in pooled.values()}
    assert os.getpid() not in processes
    assert len(processes) <= 2


def with_process(task: examine.PhotoTask) -> tuple[dict, int]:
    return SIMPLE(task).record, os.getpid()


def test_output_cut_short_by_its_reader_is_no_error(tmp_path):
    """As in ``trayglow examine ... | head -1``, with a real pipe."""
    path = picture(tmp_path / "a.png")
    code = f"""
import sys
sys.path[:0] = [{str(Path(__file__).parent)!r}, {str(Path.cwd())!r}]
from test_examine_command import SIMPLE, examine, main
real = examine.run
examine.run = lambda options: real(options, work=SIMPLE, model="simple 1")
sys.exit(main(["examine", {str(path)!r}, "--day", "8"]))
"""
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()
    _, err = process.communicate(timeout=60)
    assert err == b""
    assert process.returncode == 0
