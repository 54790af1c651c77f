"""Train the network behind ``vision.egg_mask``: egg, core, blunt half, air cell of every pixel.

    python -m models.training.train_egg_mask --real ../shared/real_photos --out DIR --jobs 16

Trains one network on everything and one for each group of evenings left out (see
:data:`LEFT_OUT_GROUPS`), on real and simulated photos, and writes their weights. Needs the ``train``
extra and a GPU (about five minutes on a current one); ``models.training.export_networks`` turns
the weights into the ONNX files the program runs.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Literal

import numpy as np
import torch
import torch.nn.functional as functional
from torch import Tensor, nn

from models.folds import LEFT_OUT_GROUPS
from models.training.efficientnet_lite import EfficientNetLite0, imagenet_lite0
from models.training.segmentation_targets import LINE_SHOWS, UNKNOWN, real_photos, simulated_targets

WINDOW = 256
BATCH = {"real": 28, "side": 18, "tray": 6}
CANVAS = {"real": (903, 416), "side": (640, 480), "tray": (720, 960)}
CHANNELS = ("egg", "core", "blunt half", "air cell", "line shows")
VARIED_SHARE = 0.45  # of the simulated side views: air cells and lamps beyond the usual ones
LINE_WEIGHT = 2.0  # how much oftener than others a real photo with a marked line is shown
CLOSE_SHARE = 0.3  # of windows that hold a part of the egg only, as the second look at its blunt end


class EggMaskNetwork(nn.Module):
    """EfficientNet-Lite0 down to stride 16, a light decoder up to stride 2, five logit maps.

    Input (N, 3, H, W) scaled as ``(value - 127) / 128``, H and W multiples of 32; output
    (N, 5, H/2, W/2).
    """

    def __init__(self, backbone: EfficientNetLite0) -> None:
        super().__init__()
        self.backbone = backbone
        del self.backbone._blocks[11:], self.backbone._conv_head, self.backbone._bn1
        widths = (16, 24, 40, 112)
        outs = (24, 32, 48, 64)
        self.squeeze = block(widths[3], outs[3])
        self.up = nn.ModuleList(block(outs[i + 1] + widths[i], outs[i]) for i in (2, 1, 0))
        self.head = nn.Conv2d(outs[0], len(CHANNELS), 1)

    def forward(self, x: Tensor) -> Tensor:
        taps = self.backbone.features(x)
        y = self.squeeze(taps[3])
        for layer, tap in zip(self.up, (taps[2], taps[1], taps[0]), strict=True):
            y = functional.interpolate(y, scale_factor=2.0, mode="nearest")
            y = layer(torch.cat([y, tap], dim=1))
        return self.head(y)


def block(inputs: int, outputs: int) -> nn.Sequential:
    """Two 3 x 3 convolutions with batch normalisation."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, padding=1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
        nn.Conv2d(outputs, outputs, 3, padding=1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


# --- pictures -----------------------------------------------------------------------------------


def on_canvas(rgb: np.ndarray, targets: np.ndarray, canvas: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """A picture shrunk if need be to fit the canvas, black below and right of it."""
    scale = min(1.0, canvas[0] / rgb.shape[0], canvas[1] / rgb.shape[1])
    picture = torch.from_numpy(np.array(rgb)).permute(2, 0, 1)[None].float()
    answer = torch.from_numpy(targets)[None].float()
    if scale < 1:
        picture = functional.interpolate(picture, scale_factor=scale, mode="area")
        answer = functional.interpolate(answer, size=picture.shape[2:], mode="nearest")
    size = [0, canvas[1] - picture.shape[3], 0, canvas[0] - picture.shape[2]]
    return (
        functional.pad(picture, size).round().byte().numpy()[0],
        functional.pad(answer, size).byte().numpy()[0],
    )


def simulate(task: tuple[str, int]) -> tuple[np.ndarray, np.ndarray]:
    """One simulated picture and its targets on its kind's canvas."""
    from sample_images.simulator import random_side_view, random_tray

    torch.set_num_threads(1)
    kind, seed = task
    rng = np.random.default_rng([seed, 20])
    if kind == "side":
        eggs = 1 if rng.random() < 0.85 else int(rng.integers(2, 5))
        photo = random_side_view(
            rng, size=(640, 480), eggs=eggs, bad_share=0.08, varied=rng.random() < VARIED_SHARE
        )
    else:
        rows, columns = int(rng.integers(4, 8)), int(rng.integers(4, 9))
        layout: Literal["square", "staggered"] = "staggered" if rng.random() < 0.3 else "square"
        photo = random_tray(
            rng,
            rows=rows,
            columns=columns,
            size=(720, 960),
            day=float(rng.uniform(0, 18)),
            layout=layout,
        )
    return on_canvas(photo.rgb, simulated_targets(photo), CANVAS[kind])


def stack(pairs: list[tuple[np.ndarray, np.ndarray]]) -> tuple[Tensor, Tensor]:
    """Pictures and targets as two uint8 tensors."""
    return (
        torch.from_numpy(np.stack([p for p, _ in pairs])),
        torch.from_numpy(np.stack([t for _, t in pairs])),
    )


def egg_boxes(targets: Tensor) -> Tensor:
    """Centre x, centre y and longer side of the box round all eggs, (N, 3)."""
    rows = (targets[:, 0] == 1).any(dim=2)
    columns = (targets[:, 0] == 1).any(dim=1)
    boxes = []
    for row, column in zip(rows, columns, strict=True):
        y, x = row.nonzero()[:, 0], column.nonzero()[:, 0]
        if len(y) == 0:
            boxes.append([column.shape[0] / 2, row.shape[0] / 2, row.shape[0] / 2])
            continue
        boxes.append(
            [
                float(x.min() + x.max()) / 2,
                float(y.min() + y.max()) / 2,
                float(max(x.max() - x.min(), y.max() - y.min())),
            ]
        )
    return torch.tensor(boxes)


# --- augmentation, on the GPU -------------------------------------------------------------------


def uniform(count: int, low: float, high: float, device: torch.device) -> Tensor:
    """Random numbers, one for each picture of a batch."""
    return torch.rand(count, device=device) * (high - low) + low


def windows(pictures: Tensor, targets: Tensor, boxes: Tensor, kind: str) -> tuple[Tensor, Tensor]:
    """Random windows of ``WINDOW`` pixels round the eggs: any size, place, turn and flip."""
    n, device = len(pictures), pictures.device
    height, width = pictures.shape[2:]
    if kind == "tray":
        side = boxes[:, 2] * torch.exp(uniform(n, math.log(0.3), math.log(1.3), device))
        offset = 0.35
    else:
        side = boxes[:, 2] / torch.exp(uniform(n, math.log(0.17), math.log(0.95), device))
        offset = 0.42
        close = torch.rand(n, device=device) < CLOSE_SHARE
        side = torch.where(close, boxes[:, 2] * uniform(n, 0.7, 1.1, device), side)
    free = (side - 0.7 * boxes[:, 2]).clamp(min=0.15 * boxes[:, 2])
    if kind != "tray":
        free = torch.where(close, 0.8 * boxes[:, 2], free)
    centre_x = boxes[:, 0] + uniform(n, -offset, offset, device) * free
    centre_y = boxes[:, 1] + uniform(n, -offset, offset, device) * free
    away = torch.rand(n, device=device) < 0.04
    centre_x = torch.where(away, uniform(n, 0, width, device), centre_x)
    centre_y = torch.where(away, uniform(n, 0, height, device), centre_y)
    turn = torch.where(
        torch.rand(n, device=device) < 0.5,
        uniform(n, -math.pi, math.pi, device),
        uniform(n, -0.35, 0.35, device),
    )
    flip = torch.where(torch.rand(n, device=device) < 0.5, 1.0, -1.0)
    stretch = torch.exp(uniform(n, -0.07, 0.07, device))
    cos, sin = torch.cos(turn) * side / 2, torch.sin(turn) * side / 2
    matrix = torch.zeros(n, 2, 3, device=device)
    matrix[:, 0, 0], matrix[:, 0, 1] = flip * cos * 2 / width, -sin * stretch * 2 / width
    matrix[:, 1, 0], matrix[:, 1, 1] = flip * sin * 2 / height, cos * stretch * 2 / height
    matrix[:, 0, 2] = centre_x * 2 / width - 1
    matrix[:, 1, 2] = centre_y * 2 / height - 1
    fine = functional.affine_grid(matrix, [n, 3, WINDOW * 2, WINDOW * 2], align_corners=False)
    coarse = functional.affine_grid(matrix, [n, 3, WINDOW, WINDOW], align_corners=False)
    picture = functional.grid_sample(pictures.float(), fine, mode="bilinear", align_corners=False)
    picture = functional.avg_pool2d(picture, 2)
    answer = functional.grid_sample(targets.float(), coarse, mode="nearest", align_corners=False)
    return picture, answer


def recolour(picture: Tensor) -> Tensor:
    """Random light, white balance, hue, gamma, noise, blur and a dark or bright patch; 0 to 255."""
    n, device = len(picture), picture.device
    x = picture / 255
    gamma = torch.exp(uniform(n, -0.45, 0.45, device))[:, None, None, None]
    x = x.clamp(1e-4, 1) ** gamma
    gain = torch.exp(uniform(n, -0.7, 0.35, device))[:, None, None, None]
    balance = torch.exp(torch.randn(n, 3, device=device) * 0.18)[:, :, None, None]
    x = x * gain * balance
    mixing = torch.eye(3, device=device) + torch.randn(n, 3, 3, device=device) * 0.08
    x = torch.where(
        (torch.rand(n, device=device) < 0.5)[:, None, None, None],
        torch.einsum("nij,njhw->nihw", mixing, x),
        x,
    )
    grey = x.mean(dim=1, keepdim=True)
    fade = uniform(n, 0.0, 0.5, device)[:, None, None, None]
    fade = fade * (torch.rand(n, device=device) < 0.3)[:, None, None, None]
    x = x * (1 - fade) + grey * fade
    size = WINDOW
    grid = torch.linspace(0, 1, size, device=device)
    cx, cy = uniform(n, 0, 1, device), uniform(n, 0, 1, device)
    rx, ry = uniform(n, 0.03, 0.3, device), uniform(n, 0.03, 0.3, device)
    distance = ((grid[None, None, :] - cx[:, None, None]) / rx[:, None, None]) ** 2 + (
        (grid[None, :, None] - cy[:, None, None]) / ry[:, None, None]
    ) ** 2
    patch = torch.sigmoid((1 - distance) * uniform(n, 2, 20, device)[:, None, None])[:, None]
    colour = torch.rand(n, 3, device=device)[:, :, None, None] * (
        (torch.rand(n, device=device) < 0.5)[:, None, None, None] * 0.9
    )
    use = (torch.rand(n, device=device) < 0.25)[:, None, None, None]
    x = torch.where(use, x * (1 - patch) + colour * patch, x)
    shade = uniform(n, 0, 2 * math.pi, device)[:, None, None]
    slope = torch.cos(shade) * (grid[None, None, :] - 0.5) + torch.sin(shade) * (grid[None, :, None] - 0.5)
    x = x * torch.exp(slope * uniform(n, 0, 1.2, device)[:, None, None])[:, None]
    sigma = float(torch.exp(torch.empty(1).uniform_(math.log(0.3), math.log(2.2))))
    if torch.rand(1) < 0.5:
        taps = torch.arange(-5, 6, device=device).float()
        kernel = torch.exp(-(taps**2) / (2 * sigma**2))
        kernel = kernel / kernel.sum()
        kernels = kernel.expand(3, 1, 11)
        x = functional.conv2d(x, kernels[:, :, None, :], padding=(0, 5), groups=3)
        x = functional.conv2d(x, kernels[:, :, :, None], padding=(5, 0), groups=3)
    noise = uniform(n, 0, 0.05, device)[:, None, None, None]
    x = x + torch.randn_like(x) * noise
    return x.clamp(0, 1) * 255


# --- training -----------------------------------------------------------------------------------


def loss_of(logits: Tensor, targets: Tensor) -> Tensor:
    """Cross entropy where the answer is known, plus soft Dice of the egg map."""
    logits = functional.interpolate(logits, scale_factor=2, mode="bilinear", align_corners=False)
    known = targets != UNKNOWN
    wanted = torch.where(known, targets, torch.zeros_like(targets)).clamp(0, 1)
    entropy = functional.binary_cross_entropy_with_logits(logits, wanted, reduction="none")
    weights = torch.tensor([1.0, 0.6, 0.8, 1.0, 0.5], device=logits.device)
    # Outside the egg the last two maps are no riddle: most of their weight lies inside.
    emphasis = torch.ones_like(entropy)
    emphasis[:, 3:] = 0.1 + 0.9 * wanted[:, :1]
    # What is measured is where the rim's line runs: pixels near it count most.
    region = wanted[:, 3:4]
    band = functional.max_pool2d(region, 9, 1, 4) + functional.max_pool2d(-region, 9, 1, 4)
    emphasis[:, 3:4] += 3 * band * wanted[:, :1]
    emphasis = emphasis * known
    per_channel = (entropy * emphasis).sum(dim=(0, 2, 3)) / emphasis.sum(dim=(0, 2, 3)).clamp(min=1)
    chance = torch.sigmoid(logits)
    overlap = (chance * wanted * known).sum(dim=(2, 3))
    total = ((chance + wanted) * known).sum(dim=(2, 3))
    dice = 1 - (2 * overlap + 50) / (total + 50)
    return (per_channel * weights).sum() + 0.5 * dice[:, 0].mean() + 0.1 * dice[:, 3].mean()


def train(data_file: str, left_out: str, steps: int, out: str) -> str:
    """Train one network without the evenings of one group; returns a line about it."""
    torch.manual_seed(20)
    torch.backends.cudnn.benchmark = True
    device = torch.device("cpu")
    if torch.cuda.is_available():
        names = ["all", *LEFT_OUT_GROUPS]
        device = torch.device("cuda", names.index(left_out) % torch.cuda.device_count())
        torch.cuda.set_device(device)
    data = torch.load(data_file, map_location="cpu", weights_only=False)
    groups = np.array(data["real_groups"])
    kept = np.flatnonzero(~np.isin(groups, LEFT_OUT_GROUPS.get(left_out, ())))
    pools, chances = {}, {}
    for kind in [k for k in BATCH if k in data]:
        pictures, targets = data[kind]
        if kind == "real":
            pictures, targets = pictures[kept], targets[kept]
            marked = (targets[:, LINE_SHOWS] == 1).flatten(1).any(dim=1)
            chances[kind] = torch.where(marked, LINE_WEIGHT, 1.0).to(device)
        pools[kind] = (pictures.to(device), targets.to(device), egg_boxes(targets).to(device))
    network = EggMaskNetwork(imagenet_lite0()).to(device).train()
    average = torch.optim.swa_utils.AveragedModel(
        network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    encoder = list(network.backbone.parameters())
    decoder = [p for name, p in network.named_parameters() if not name.startswith("backbone")]
    rates = [4e-4, 2e-3]
    optimiser = torch.optim.AdamW(
        [{"params": encoder, "lr": rates[0]}, {"params": decoder, "lr": rates[1]}], weight_decay=0.01
    )
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, rates, total_steps=steps, pct_start=0.1)
    started = time.time()
    lines = []
    for step in range(steps):
        parts = []
        for kind, (pictures, targets, boxes) in pools.items():
            count = BATCH[kind]
            chance = chances.get(kind, torch.ones(len(pictures), device=device))
            chosen = torch.multinomial(chance, count, replacement=True)
            parts.append(windows(pictures[chosen], targets[chosen], boxes[chosen], kind))
        picture = recolour(torch.cat([p for p, _ in parts]))
        wanted = torch.cat([t for _, t in parts])
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            logits = network(((picture - 127) / 128).contiguous(memory_format=torch.channels_last))
        loss = loss_of(logits.float(), wanted)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        schedule.step()
        average.update_parameters(network)
        if step % 500 == 0 or step == steps - 1:
            lines.append(f"{left_out} step {step} loss {loss.item():.4f} {time.time() - started:.0f} s")
            print(lines[-1], flush=True)
    state = {k: v.half() if v.is_floating_point() else v for k, v in average.module.state_dict().items()}
    torch.save(state, Path(out) / f"egg_mask_{left_out}.pt")
    summary = left_out_overlap(average.module.eval(), data, groups, left_out, device)
    print(summary, flush=True)
    return summary


@torch.no_grad()
def left_out_overlap(
    network: nn.Module, data: dict, groups: np.ndarray, left_out: str, device: torch.device
) -> str:
    """Intersection over union of the raw egg map on the left-out photos: a first look only."""
    chosen = np.flatnonzero(np.isin(groups, LEFT_OUT_GROUPS.get(left_out, ())))
    if len(chosen) == 0:
        return f"{left_out}: nothing left out"
    pictures, targets = (t[chosen].to(device) for t in data["real"])
    boxes = egg_boxes(targets)
    scores = []
    for picture, target, box in zip(pictures, targets, boxes, strict=True):
        side = float(box[2]) * 1.5
        matrix = torch.tensor(
            [
                [side / 416, 0, float(box[0]) * 2 / 416 - 1],
                [0, side / 903, float(box[1]) * 2 / 903 - 1],
            ],
            device=device,
        )[None]
        grid = functional.affine_grid(matrix, [1, 3, WINDOW, WINDOW], align_corners=False)
        x = functional.grid_sample(picture[None].float(), grid, align_corners=False)
        y = functional.grid_sample(target[None].float(), grid, mode="nearest", align_corners=False)
        logits = functional.interpolate(network((x - 127) / 128), scale_factor=2, mode="bilinear")
        found, wanted = logits[0, 0] > 0, y[0, 0] == 1
        scores.append(float((found & wanted).sum() / (found | wanted).sum()))
    values = np.array(scores)
    return (
        f"{left_out}: {len(values)} photos, median IoU {np.median(values):.3f}, "
        f"share >= 0.85 {np.mean(values >= 0.85):.3f}, lowest {np.sort(values)[:5].round(2).tolist()}"
    )


def main() -> None:
    """Draw the simulated photos, then train all networks side by side."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--real", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--side", type=int, default=2400)
    parser.add_argument("--trays", type=int, default=240)
    parser.add_argument("--steps", type=int, default=2500)
    parser.add_argument("--jobs", type=int, default=16)
    parser.add_argument("--together", type=int, default=3, help="networks trained at the same time")
    parser.add_argument("--only", nargs="*", help="names of the networks to train")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    started = time.time()
    spawn = multiprocessing.get_context("spawn")
    photos = list(real_photos(options.real))
    data: dict = {"real_groups": [p.group for p in photos]}
    data["real"] = stack([on_canvas(p.rgb, p.targets, CANVAS["real"]) for p in photos])
    with ProcessPoolExecutor(options.jobs, mp_context=spawn) as pool:
        for kind, count in (("side", options.side), ("tray", options.trays)):
            tasks = [(kind, i) for i in range(count)]
            if count:
                data[kind] = stack(list(pool.map(simulate, tasks, chunksize=8)))
            print(f"{count} {kind} pictures after {time.time() - started:.0f} s", flush=True)
    data_file = str(options.out / "training_pictures.tensors")
    torch.save(data, data_file)
    names = options.only or ["all", *LEFT_OUT_GROUPS]
    with ProcessPoolExecutor(options.together, mp_context=spawn) as pool:
        jobs = [pool.submit(train, data_file, name, options.steps, str(options.out)) for name in names]
        for job in jobs:
            print(job.result(), flush=True)
    Path(data_file).unlink()
    print(f"done after {time.time() - started:.0f} s")


if __name__ == "__main__":
    main()
