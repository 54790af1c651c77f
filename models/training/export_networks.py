"""Turn trained PyTorch weights into the ONNX files the program runs.

    python -m models.training.export_networks backbone models/shipped/backbone.onnx
    python -m models.training.export_networks egg-mask WEIGHTS.pt vision/egg_mask.onnx
    python -m models.training.export_networks vein-presence WEIGHTS.pt vision/vein_presence.onnx

Weights are stored as half floats and widened when the file is loaded: half the size, and the
answers hardly change (checked here after each export).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn

from models.model_files import SHIPPED, write_manifest
from models.training.efficientnet_lite import EfficientNetLite0, imagenet_lite0
from models.training.fold_padding import fold_padding
from vision import network_files
from vision.vein_presence import SIDE_PX

SMALLEST_HALVED = 256  # tensors of fewer values stay as they are
LARGEST_DIFFERENCE = 0.01  # root mean square over the answers' own spread, half against full weights


def egg_mask_network(weights: Path) -> nn.Module:
    """The trained egg-mask network, ready to export."""
    from models.training.train_egg_mask import EggMaskNetwork

    return with_weights(EggMaskNetwork(EfficientNetLite0()), weights)


def vein_presence_network(weights: Path) -> nn.Module:
    """The trained vein-presence network, ready to export."""
    from models.training.train_vein_presence import VeinPresence

    return with_weights(VeinPresence(EfficientNetLite0()), weights)


def with_weights(network: nn.Module, weights: Path) -> nn.Module:
    """The network with stored weights, which may be half floats."""
    state = torch.load(weights, map_location="cpu", weights_only=True)
    network.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state.items()})
    return network.eval()


def export(network: nn.Module, path: Path, *, output: str, side: int, any_size: bool) -> None:
    """Write the network as ONNX with half-float weights, and check its answers."""
    torch.manual_seed(0)
    example = torch.randn(1, 3, side, side)
    axes = {"rgb": {0: "n"}, output: {0: "n"}}
    if any_size:
        axes["rgb"] |= {2: "height", 3: "width"}
        axes[output] |= {2: "half_height", 3: "half_width"}
    path.parent.mkdir(parents=True, exist_ok=True)
    torch.onnx.export(
        network,
        (example,),
        str(path),
        input_names=["rgb"],
        output_names=[output],
        dynamic_axes=axes,
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(str(path))
    fold_padding(model)
    halve_weights(model)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))
    with torch.no_grad():
        wanted = network(example).numpy()
    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    answer = session.run(None, {"rgb": example.numpy()})[0]
    difference = float(np.sqrt(np.mean((answer - wanted) ** 2)) / wanted.std())
    print(f"{path}: {path.stat().st_size / 1e6:.2f} MB, answers differ by {difference:.4f} of their spread")
    if difference > LARGEST_DIFFERENCE:
        raise SystemExit(f"the halved weights change the answers too much ({difference:.3f})")


def halve_weights(model: onnx.ModelProto) -> None:
    """Store float weights as half floats, each followed by a cast back to float (in place)."""
    casts = []
    for weight in model.graph.initializer:
        if weight.data_type != TensorProto.FLOAT:
            continue
        values = numpy_helper.to_array(weight)
        if values.size < SMALLEST_HALVED:
            continue
        name = weight.name
        weight.CopyFrom(numpy_helper.from_array(values.astype(np.float16), f"{name}.half"))
        casts.append(helper.make_node("Cast", [f"{name}.half"], [name], to=TensorProto.FLOAT))
    for cast in reversed(casts):
        model.graph.node.insert(0, cast)


def main() -> None:
    """Export what the command line names."""
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="what", required=True)
    backbone = commands.add_parser("backbone")
    backbone.add_argument("path", type=Path)
    for name in ("egg-mask", "vein-presence"):
        trained = commands.add_parser(name)
        trained.add_argument("weights", type=Path)
        trained.add_argument("path", type=Path)
    options = parser.parse_args()
    if options.what == "backbone":
        export(imagenet_lite0(), options.path, output="embedding", side=224, any_size=False)
        if options.path.resolve().parent == SHIPPED:
            write_manifest()
    else:
        if options.what == "egg-mask":
            export(egg_mask_network(options.weights), options.path, output="logits", side=256, any_size=True)
        else:
            network = vein_presence_network(options.weights)
            export(network, options.path, output="maps", side=SIDE_PX, any_size=False)
        if options.path.resolve().parent == network_files.FOLDER:
            network_files.write_checksums()


if __name__ == "__main__":
    main()
