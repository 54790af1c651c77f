"""Padding folded into the convolutions: fewer operations, the same answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import pytest
from onnx import TensorProto, helper, numpy_helper

from models.training.fold_padding import fold_padding

ROOT = Path(__file__).resolve().parents[2]


def padded_convolution(
    amounts: list[int],
    *,
    mode: str = "constant",
    value: float | None = None,
    own_pads: list[int] | None = None,
) -> onnx.ModelProto:
    """One padding, one convolution of two channels by a kernel of 3 x 3."""
    rng = np.random.default_rng(7)
    tensors = {"amounts": np.array(amounts, np.int64), "kernel": rng.normal(size=(2, 2, 3, 3)).astype("f4")}
    inputs = ["x", "amounts"]
    if value is not None:
        tensors["value"] = np.float32(value)
        inputs.append("value")
    convolution = {} if own_pads is None else {"pads": own_pads}
    nodes = [
        helper.make_node("Pad", inputs, ["padded"], mode=mode),
        helper.make_node("Conv", ["padded", "kernel"], ["y"], strides=[2, 2], **convolution),
    ]
    graph = helper.make_graph(
        nodes,
        "padded",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, 2, 9, 8])],
        [helper.make_tensor_value_info("y", TensorProto.FLOAT, None)],
        [numpy_helper.from_array(np.asarray(v), name) for name, v in tensors.items()],
    )
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)


def answer(model: onnx.ModelProto) -> np.ndarray:
    x = np.random.default_rng(8).normal(size=(1, 2, 9, 8)).astype(np.float32)
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return np.asarray(session.run(None, {"x": x})[0])


@pytest.mark.parametrize("own_pads", [None, [1, 0, 0, 2]])
def test_uneven_padding_by_zeros_is_folded_and_changes_nothing(own_pads: list[int] | None) -> None:
    model = padded_convolution([0, 0, 0, 1, 0, 0, 2, 1], own_pads=own_pads)
    before = answer(model)
    assert fold_padding(model) == 1
    assert [node.op_type for node in model.graph.node] == ["Conv"]
    assert [w.name for w in model.graph.initializer] == ["kernel"]
    # The same products, summed in an order of the runtime's choosing: single precision.
    np.testing.assert_allclose(answer(model), before, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize(
    "model",
    [
        padded_convolution([0, 0, 1, 1, 0, 0, 1, 1], mode="reflect"),
        padded_convolution([0, 0, 1, 1, 0, 0, 1, 1], value=2.0),
    ],
    ids=["by mirror images", "by another value"],
)
def test_what_a_convolution_cannot_do_itself_is_left(model: onnx.ModelProto) -> None:
    before = answer(model)
    assert fold_padding(model) == 0
    np.testing.assert_array_equal(answer(model), before)


def test_the_shipped_backbone_pads_no_picture_by_itself() -> None:
    model = onnx.load(str(ROOT / "models" / "shipped" / "backbone.onnx"))
    assert "Pad" not in {node.op_type for node in model.graph.node}
