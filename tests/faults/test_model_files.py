"""Models that were tampered with, cut off or come from elsewhere: refused in one sentence, never run."""

from __future__ import annotations

import json
import pickle
import shutil

import numpy as np
import onnx
import pytest
from onnx import TensorProto, helper, numpy_helper
from PIL import Image

from models import model_files
from models.backbone import EMBEDDING_SIZE
from models.heads import STATUSES
from models.model_files import ModelFileError, open_onnx_heads, shipped_checksum, write_manifest
from models.onnx_safety import uses_other_files
from models.own_model import Correction, ModelInUse, open_own_heads, own_model_bytes
from review_ui.examine_photo import PhotoTask, examine_photo

CARD = {"pass_from": 0.8, "confirm_from": 0.75, "day_half_width": 3.0}


class Shout:
    """Unpickled, it would leave a file behind."""

    def __init__(self, path) -> None:
        self.path = path

    def __reduce__(self):
        return open, (str(self.path), "w")


def one_sentence(error: ModelFileError, path) -> None:
    text = str(error)
    assert str(path) in text
    assert "\n" not in text
    assert text.endswith(".")
    assert "Traceback" not in text


def heads_model(*, inputs: str = "embedding", card: dict | None = CARD) -> onnx.ModelProto:
    """A small ONNX model; with the default names, one that could judge."""
    weights = numpy_helper.from_array(np.zeros((EMBEDDING_SIZE, 3), np.float32), "w")
    days = numpy_helper.from_array(np.zeros((EMBEDDING_SIZE, 1), np.float32), "d")
    graph = helper.make_graph(
        [
            helper.make_node("MatMul", [inputs, "w"], ["logits"]),
            helper.make_node("Softmax", ["logits"], ["probability"], axis=1),
            helper.make_node("MatMul", [inputs, "d"], ["apparent_day"]),
        ],
        "g",
        [helper.make_tensor_value_info(inputs, TensorProto.FLOAT, ["n", EMBEDDING_SIZE])],
        [
            helper.make_tensor_value_info("probability", TensorProto.FLOAT, ["n", 3]),
            helper.make_tensor_value_info("apparent_day", TensorProto.FLOAT, ["n", 1]),
        ],
        [weights, days],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)
    if card is not None:
        helper.set_model_props(model, {"card": json.dumps(card)})
    return model


def correction(size: int = EMBEDDING_SIZE) -> Correction:
    rng = np.random.default_rng(0)
    return Correction(
        rng.standard_normal((size, len(STATUSES))), np.array([0.1, 0.0, -0.1]), 1.2, np.zeros(size), 0.5
    )


@pytest.fixture
def own_file(tmp_path):
    path = tmp_path / "own-1.json"
    path.write_bytes(own_model_bytes(correction(), name="own-1", card=CARD))
    return path


def test_the_shipped_files_are_those_in_the_list():
    sums = json.loads((model_files.SHIPPED / model_files.MANIFEST).read_text())
    models = [p for p in model_files.SHIPPED.iterdir() if p.suffix in model_files.MODEL_ENDINGS]
    there = {p.name: model_files.checksum(p) for p in models if p.name != model_files.MANIFEST}
    assert sums == there, "run models.model_files.write_manifest() after writing a shipped model"


def test_shipped_models_are_small():
    """What all comes with the program must stay under 20 MB, a limit the project set itself."""
    assert sum(path.stat().st_size for path in model_files.SHIPPED.iterdir()) < 20_000_000


def test_no_shipped_model_reaches_for_other_files():
    for path in model_files.SHIPPED.glob("*.onnx"):
        assert not uses_other_files(path.read_bytes())


@pytest.mark.parametrize("harm", ["one bit", "cut off", "empty", "missing"])
def test_a_shipped_file_that_was_harmed_is_refused(tmp_path, harm):
    folder = tmp_path / "shipped"
    shutil.copytree(model_files.SHIPPED, folder)
    path = folder / "judgement.onnx"
    data = bytearray(path.read_bytes())
    if harm == "one bit":
        data[len(data) // 2] ^= 1
    path.write_bytes({"one bit": bytes(data), "cut off": bytes(data[:-7]), "empty": b""}.get(harm, b""))
    if harm == "missing":
        path.unlink()
    with pytest.raises(ModelFileError, match="install Trayglow again") as caught:
        model_files.open_shipped_heads("judgement.onnx", folder=folder)
    one_sentence(caught.value, path)


def test_a_list_of_checksums_without_the_file_is_refused(tmp_path):
    (tmp_path / model_files.MANIFEST).write_text("{}")
    with pytest.raises(ModelFileError, match=r"does not say which checksum judgement\.onnx"):
        shipped_checksum("judgement.onnx", folder=tmp_path)
    (tmp_path / model_files.MANIFEST).write_text("not json")
    with pytest.raises(ModelFileError, match="does not say which checksum"):
        shipped_checksum("judgement.onnx", folder=tmp_path)


def foreign_files(tmp_path):
    """Files of the right name and of a known checksum that are no judgement heads all the same."""
    return {
        "a pickle": pickle.dumps(Shout(tmp_path / "shouted")),
        "text": b"hello",
        "empty": b"",
        "other input": heads_model(inputs="pixels").SerializeToString(),
        "no card": heads_model(card=None).SerializeToString(),
        "a card without numbers": heads_model(card={"pass_from": "high"}).SerializeToString(),
        "a card out of range": heads_model(card=CARD | {"pass_from": 1.5}).SerializeToString(),
        "another network": (model_files.SHIPPED / "backbone.onnx").read_bytes(),
        "cut off": heads_model().SerializeToString()[:-40],
    }


@pytest.mark.parametrize("kind", [*foreign_files(model_files.SHIPPED)])
def test_a_foreign_file_is_refused_even_where_its_checksum_is_known(tmp_path, kind):
    path = tmp_path / "judgement.onnx"
    path.write_bytes(foreign_files(tmp_path)[kind])
    with pytest.raises(ModelFileError) as caught:
        open_onnx_heads(path, sha256=model_files.checksum(path))
    one_sentence(caught.value, path)
    assert not (tmp_path / "shouted").exists()


def test_the_model_that_the_others_are_spoilt_copies_of_is_taken(tmp_path):
    path = tmp_path / "judgement.onnx"
    path.write_bytes(heads_model().SerializeToString())
    heads = open_onnx_heads(path, sha256=model_files.checksum(path).upper())
    chance, _ = heads(np.zeros((1, EMBEDDING_SIZE), np.float32))
    assert chance == pytest.approx(np.full((1, 3), 1 / 3))


@pytest.mark.parametrize("place", ["weights", "a node's constant"])
def test_numbers_in_other_files_are_refused(tmp_path, place):
    model = heads_model()
    if place == "weights":
        tensor = model.graph.initializer[0]
    else:
        node = helper.make_node("Constant", [], ["c"], value=numpy_helper.from_array(np.zeros(3, np.float32)))
        model.graph.node.insert(0, node)
        tensor = model.graph.node[0].attribute[0].t
    assert not uses_other_files(model.SerializeToString())
    raw = tensor.raw_data
    tensor.ClearField("raw_data")
    tensor.data_location = TensorProto.EXTERNAL
    tensor.external_data.add(key="location", value="weights.bin")
    (tmp_path / "weights.bin").write_bytes(raw)
    path = tmp_path / "judgement.onnx"
    path.write_bytes(model.SerializeToString())
    with pytest.raises(ModelFileError, match="keeps its numbers in other files") as caught:
        open_onnx_heads(path, sha256=model_files.checksum(path))
    one_sentence(caught.value, path)
    with pytest.raises(ModelFileError, match="other files"):
        write_manifest(tmp_path)


def test_too_large_a_file_is_refused_unread(tmp_path):
    path = tmp_path / "judgement.onnx"
    with path.open("wb") as file:
        file.truncate(model_files.LARGEST_BYTES + 1)
    with pytest.raises(ModelFileError, match="larger than any model") as caught:
        open_onnx_heads(path, sha256="0" * 64)
    one_sentence(caught.value, path)


def test_an_own_model_answers_after_its_file_as_before(own_file):
    heads = open_own_heads(own_file, sha256=model_files.checksum(own_file))
    embeddings = np.random.default_rng(1).standard_normal((5, EMBEDDING_SIZE)).astype(np.float32)
    shipped_chance, shipped_days = heads.shipped(embeddings)
    wanted = correction().probability(embeddings, shipped_chance)
    chance, days = heads(embeddings)
    # The file holds single precision; sums of 1280 products of ordinary size.
    assert np.abs(chance - wanted).max() < 1e-4
    assert days == pytest.approx(shipped_days + 0.5)
    assert heads.card == CARD


def test_an_own_model_that_was_changed_is_refused(own_file):
    sha256 = model_files.checksum(own_file)
    data = own_file.read_bytes()
    for changed in (data.replace(b"0.8", b"0.5", 1), data[:-3], b"", pickle.dumps(Shout(own_file))):
        own_file.write_bytes(changed)
        with pytest.raises(ModelFileError, match="changed, damaged or exchanged") as caught:
            open_own_heads(own_file, sha256=sha256)
        one_sentence(caught.value, own_file)
        assert "trayglow train --restore" in str(caught.value)


def test_an_own_model_that_is_gone_is_named(own_file):
    """As on a second station, or after records were put back without the folder of models."""
    sha256 = model_files.checksum(own_file)
    own_file.unlink()
    with pytest.raises(ModelFileError, match="could not be read") as caught:
        open_own_heads(own_file, sha256=sha256)
    one_sentence(caught.value, own_file)
    assert "trayglow train --restore" in str(caught.value)


def test_a_tampered_model_is_each_photos_reason_and_nothing_is_judged(own_file, tmp_path):
    """As in a process that examines photos, where the file was changed after the first look at it."""
    sha256 = model_files.checksum(own_file)
    own_file.write_bytes(own_file.read_bytes()[:-1])
    photo = tmp_path / "a.png"
    Image.new("RGB", (64, 64)).save(photo)
    model = ModelInUse("x", own_file, sha256)
    examined = examine_photo(PhotoTask("a.png", str(photo), 8.0, "chicken", model=model))
    assert examined.judgements == ()
    assert examined.reading.error.startswith("a.png could not be judged: ")
    assert str(own_file) in examined.reading.error
    assert "fault in the program" not in examined.reading.error


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d | {"format": "something else"}, "another kind of file"),
        (lambda d: d | {"version": 99}, "another version"),
        (lambda d: d | {"temperature": 0}, "temperature"),
        (lambda d: d | {"temperature": "1"}, "temperature"),
        (lambda d: d | {"status_offset": [0, 1]}, "status_offset"),
        (lambda d: d | {"day_weights": [0.0, 1.0]}, "status_weights"),
        (lambda d: {k: v for k, v in d.items() if k != "card"}, "card"),
        (lambda d: d | {"card": {}}, "pass_from"),
        (lambda d: d | {"shipped_heads_sha256": "0" * 64}, "another version's shipped model"),
        (lambda d: [d], "another kind of file"),
    ],
)
def test_a_foreign_own_model_is_refused_even_where_its_checksum_is_known(own_file, change, words):
    own_file.write_text(json.dumps(change(json.loads(own_file.read_bytes()))))
    with pytest.raises(ModelFileError, match=words) as caught:
        open_own_heads(own_file, sha256=model_files.checksum(own_file))
    one_sentence(caught.value, own_file)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"[" * 200_000, id="nested without end"),
        pytest.param(b'{"temperature": NaN}', id="no number"),
        pytest.param('{"name": "ü"}'.encode("latin-1"), id="other letters"),
        pytest.param(pickle.dumps({"format": 1}), id="a pickle"),
    ],
)
def test_no_json_of_ours(own_file, data):
    own_file.write_bytes(data)
    with pytest.raises(ModelFileError, match="is no model that") as caught:
        open_own_heads(own_file, sha256=model_files.checksum(own_file))
    one_sentence(caught.value, own_file)


def test_own_models_of_another_size_are_refused(tmp_path):
    path = tmp_path / "own-1.json"
    path.write_bytes(own_model_bytes(correction(7), name="own-1", card=CARD))
    with pytest.raises(ModelFileError, match="7 values an egg"):
        open_own_heads(path, sha256=model_files.checksum(path))
