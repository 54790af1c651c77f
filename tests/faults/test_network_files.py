"""Networks of the reader that were changed or lost are refused in one sentence, photo by photo."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from review_ui.examine_photo import PhotoTask, examine_photo
from vision import egg_mask, network_files
from vision.network_files import FOLDER, LIST, NetworkFileError, check_listed
from vision.onnx_session import single_thread_session

PICTURE = FOLDER.parent / "sample_images" / "pictures" / "day07_clear_white.jpg"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("egg_mask.onnx", LIST):
        shutil.copy(FOLDER / name, tmp_path / name)
    return tmp_path


def test_every_network_of_the_reader_is_listed() -> None:
    listed = json.loads((FOLDER / LIST).read_text(encoding="ascii"))
    there = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in FOLDER.glob("*.onnx")}
    assert listed == there, "run: python -m vision.network_files"


@pytest.mark.parametrize("harm", ["one bit", "cut off", "empty", "missing", "damaged list"])
def test_a_harmed_network_is_not_run(folder: Path, harm: str) -> None:
    path = folder / "egg_mask.onnx"
    data = bytearray(path.read_bytes())
    if harm == "damaged list":
        (folder / LIST).write_text("[1, 2]")
    elif harm == "missing":
        path.unlink()
    else:
        data[len(data) // 2] ^= 1
        path.write_bytes({"one bit": bytes(data), "cut off": bytes(data[:-7]), "empty": b""}[harm])
    with pytest.raises(NetworkFileError, match=r"^[^\n]*; install Trayglow again\.$") as caught:
        single_thread_session(path)
    assert str(folder) in str(caught.value)


def test_a_network_of_ones_own_is_run(folder: Path) -> None:
    (folder / LIST).unlink()
    maps = egg_mask.EggMaskNetwork(folder / "egg_mask.onnx")(np.zeros((64, 64, 3), np.uint8))
    assert maps.shape[1:] == (64, 64)


def test_a_list_written_anew_knows_the_network_as_it_is(folder: Path) -> None:
    path = folder / "egg_mask.onnx"
    path.write_bytes(path.read_bytes()[:-7])
    network_files.write_checksums(folder)
    check_listed(path)


def test_the_photo_is_named_and_no_fault_of_the_program_is_reported(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = folder / "egg_mask.onnx"
    path.write_bytes(path.read_bytes()[:-7])

    def harmed(*_: object, **__: object) -> object:
        return egg_mask.EggMaskNetwork(path)

    error = examine_photo(PhotoTask(PICTURE.name, str(PICTURE), 7, "chicken"), reader=harmed).reading.error
    assert error is not None
    assert PICTURE.name in error
    assert "is not the network that came with Trayglow" in error
    assert "please report" not in error
