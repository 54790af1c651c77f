"""Let each convolution pad its own picture: the same answers, without a copy of every padded map.

    python -m models.training.fold_padding models/shipped/backbone.onnx

The exported networks pad on the right and at the bottom alone, as an operation of its own before the
convolution. ONNX convolutions take uneven padding themselves (operator ``Conv``, attribute ``pads``), and
then the runtime keeps its own order of the channels throughout: about a sixth of the time.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
from onnx import helper

from models.model_files import SHIPPED, write_manifest
from vision import network_files


def fold_padding(model: onnx.ModelProto) -> int:
    """Move padding by zeros, rows and columns alone, into the convolutions behind it (in place); how many.

    What computed the amounts and is then used by nothing is dropped. Opset 11 or later, in which the
    amounts are an input of ``Pad``.
    """
    graph = model.graph
    amounts = _amounts(model)
    folded = 0
    for pad in [node for node in graph.node if node.op_type == "Pad"]:
        users = [node for node in graph.node if pad.output[0] in node.input]
        amount = amounts[pad.input[1]]
        if len(amount) != 8 or amount[[0, 1, 4, 5]].any() or not _by_zeros(pad):
            continue
        if not all(node.op_type == "Conv" and node.input[0] == pad.output[0] for node in users):
            continue
        for conv in users:
            own = next((a for a in conv.attribute if a.name == "pads"), None)
            before = np.zeros(4, int) if own is None else np.array(own.ints)
            if own is not None:
                conv.attribute.remove(own)
            pads = before + amount[[2, 3, 6, 7]]  # ONNX: beginnings of rows and columns, then ends
            conv.attribute.append(helper.make_attribute("pads", [int(p) for p in pads]))
            conv.input[0] = pad.input[0]
        graph.node.remove(pad)
        folded += 1
    _drop_unused(graph)
    return folded


def _by_zeros(pad: onnx.NodeProto) -> bool:
    modes = [a.s for a in pad.attribute if a.name == "mode"]
    value_given = len(pad.input) > 2 and pad.input[2] != ""
    return modes in ([], [b"constant"]) and not value_given


def _amounts(model: onnx.ModelProto) -> dict[str, np.ndarray]:
    """The amounts of all paddings, which depend on no picture; computed by the runtime itself."""
    names = sorted({node.input[1] for node in model.graph.node if node.op_type == "Pad"})
    asked = onnx.ModelProto()
    asked.CopyFrom(model)
    del asked.graph.output[:]
    asked.graph.output.extend(helper.make_tensor_value_info(n, onnx.TensorProto.INT64, None) for n in names)
    _drop_unused(asked.graph)
    del asked.graph.input[:]
    if not names:
        return {}
    session = onnxruntime.InferenceSession(asked.SerializeToString(), providers=["CPUExecutionProvider"])
    return dict(zip(names, session.run(names, {}), strict=True))


def _drop_unused(graph: onnx.GraphProto) -> None:
    """Remove, in place, what no output needs."""
    while True:
        used = {name for node in graph.node for name in node.input} | {o.name for o in graph.output}
        idle = [node for node in graph.node if not used.intersection(node.output)]
        for node in idle:
            graph.node.remove(node)
        if not idle:
            break
    kept = [w for w in graph.initializer if w.name in used]
    del graph.initializer[:]
    graph.initializer.extend(kept)


def main() -> None:
    """Fold the padding of one file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("path", type=Path)
    path = parser.parse_args().path
    model = onnx.load(str(path))
    print(f"{path}: {fold_padding(model)} paddings folded")
    onnx.checker.check_model(model)
    onnx.save(model, str(path))
    if path.resolve().parent == SHIPPED:
        write_manifest()
    if path.resolve().parent == network_files.FOLDER:
        network_files.write_checksums()


if __name__ == "__main__":
    main()
