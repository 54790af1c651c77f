"""Train the network behind ``vision.vein_presence``: does this egg show veins, and where.

    python -m models.training.train_vein_presence --out DIR

Trains one network on everything and one for each group of :data:`models.folds.VEIN_GROUPS`, whose evenings
it never sees. Needs the ``train`` extra, the real photos and a GPU (about ten minutes on a current one).

It learns from the eye's yes or no on the real photos, from drawn eggs with every vein known, and from real
photos altered so that the answer is sure: vessels are drawn into eggs that show none (light times
exp(-absorption x path in blood)), and pencil marks and hairs, which dim all colours alike, onto any.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import torch
import torch.nn.functional as functional
from torch import Tensor, nn

from models.evaluation.contents import labelled_contents
from models.evaluation.drawn_veins import NULLS, DrawnContents, Null, developing_egg, draw_contents, null_egg
from models.folds import VEIN_GROUPS
from models.shared_data import real_photos
from models.training.efficientnet_lite import EfficientNetLite0, imagenet_lite0
from models.training.train_egg_mask import block, uniform
from models.training.vessel_drawings import draw_depth, grow_tree, pencil_marks
from vision.vein_presence import CELL_PX, GREY, INSIDE_SHARE, LENGTH_PX, SIDE_PX, STRONGEST, egg_view

SEED = 870_401
BATCH_REAL, BATCH_DRAWN = 24, 20
DRAWN_LIVING, DRAWN_DEAD, DRAWN_NULL_EACH = 900, 300, 180
BANK = 500  # drawn trees, and as many sheets of marks
TREES, MARKS, SHADOWS = 0.45, 0.4, 0.5  # shares: of clear real photos, of any picture, of eggs without veins
UNSURE = 255
PIXEL_WEIGHT = 0.5


Kind = Null | Literal["developing", "early death"]


class VeinPresence(nn.Module):
    """EfficientNet-Lite0 down to stride 16, a light decoder to stride 2, two logit maps."""

    def __init__(self, backbone: EfficientNetLite0) -> None:
        super().__init__()
        self.backbone = backbone
        del self.backbone._blocks[11:], self.backbone._conv_head, self.backbone._bn1
        widths, outs = (16, 24, 40, 112), (16, 24, 40, 64)
        self.squeeze = block(widths[3], outs[3])
        self.up = nn.ModuleList(block(outs[i + 1] + widths[i], outs[i]) for i in (2, 1, 0))
        self.pixel = nn.Conv2d(outs[0], 1, 1)
        self.evidence = nn.Conv2d(outs[1], 1, 1)

    def forward(self, x: Tensor) -> Tensor:
        taps = self.backbone.features(x)
        y = self.squeeze(taps[3])
        wide = y
        for layer, tap in zip(self.up, (taps[2], taps[1], taps[0]), strict=True):
            wide = y
            y = functional.interpolate(y, scale_factor=2.0, mode="nearest")
            y = layer(torch.cat([y, tap], dim=1))
        evidence = functional.interpolate(self.evidence(wide), scale_factor=2.0, mode="nearest")
        return torch.cat([self.pixel(y), evidence], dim=1)


def gathered(evidence: Tensor, inside: Tensor) -> Tensor:
    """As :func:`vision.vein_presence.gathered`, for a batch (N, H/2, W/2), (N, H, W)."""
    cells = functional.avg_pool2d(evidence[:, None], CELL_PX)[:, 0].flatten(1)
    share = functional.avg_pool2d(inside[:, None].float(), 2 * CELL_PX)[:, 0].flatten(1)
    cells = torch.where(share >= INSIDE_SHARE, cells, -torch.inf)
    count = (share >= INSIDE_SHARE).sum(1)
    taken = torch.round(STRONGEST * count).clamp(min=1)
    order = torch.arange(cells.shape[1], device=cells.device)[None]
    kept = order < taken[:, None]
    return torch.where(kept, cells.sort(dim=1, descending=True)[0], 0.0).sum(1) / taken


# --- pictures -----------------------------------------------------------------------------------


def real_view(index: int) -> tuple[np.ndarray, np.ndarray, int, str, str]:
    """View, inside, the eye's answer (1, 0, -1 unsure), evening and name of one real photo."""
    cv2.setNumThreads(1)
    photo = real_photos()[index]
    contents = labelled_contents(photo)
    view, inside = egg_view(contents.rgb, contents.region, length_px=contents.outline.length_px)
    answer = {"0": 0, "1": 1}.get(photo.row["vessels_visible"], -1)
    return view, inside, answer, photo.evening, photo.name


def dead_egg(index: int) -> DrawnContents:
    """An egg that stopped in its first week."""
    from sample_images.simulator import random_egg

    rng = np.random.default_rng([SEED, index, 77])
    return draw_contents(random_egg(rng, status="early death"), rng)


def drawn_view(task: tuple[Kind, int]) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """View, inside, veins (1, 0, unsure) and answer of one drawn egg."""
    cv2.setNumThreads(1)
    kind, index = task
    if kind == "developing":
        egg = developing_egg(index, seed=SEED)
    elif kind == "early death":
        egg = dead_egg(index)
    else:
        egg = null_egg(kind, index, seed=SEED)
    view, inside = egg_view(egg.rgb, egg.region, length_px=egg.length_px)
    veins = egg_view(
        np.repeat(egg.veins[..., None] * np.uint8(255), 3, 2), egg.region, length_px=egg.length_px
    )
    share = veins[0][..., 0]
    wanted = np.where(share >= 100, 1, np.where(share > 20, UNSURE, 0)).astype(np.uint8)
    answer = int(egg.truth.veins_visible)
    if kind == "developing" and not answer:
        answer = -1  # too faint
    if answer == -1:
        wanted[wanted == 1] = UNSURE
    return view, inside, np.where(inside, wanted, UNSURE).astype(np.uint8), answer


def sheets(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Path in blood of a tree that spreads from one place, 0 to 255, and a sheet of marks."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([SEED, seed])
    shape, size = (SIDE_PX, SIDE_PX), LENGTH_PX
    root = rng.uniform(0.3, 0.7, 2) * SIDE_PX
    branches = []
    thick = size * math.exp(rng.uniform(math.log(0.003), math.log(0.009)))
    for angle in rng.uniform(0, 6.3) + np.arange(int(rng.integers(3, 9))) * rng.uniform(0.6, 2.0):
        start = root + rng.uniform(0, 0.06) * size * np.array([math.cos(angle), math.sin(angle)])
        part = grow_tree(start, angle, thick * rng.uniform(0.5, 1), 0.5, size * 0.8, rng)
        branches += part[: int(rng.integers(3, 25))]
    depth, _ = draw_depth(shape, branches)
    depth = np.asarray(cv2.GaussianBlur(depth, (0, 0), rng.uniform(0.5, 1.6)), np.float64)
    if rng.random() < 0.5:  # the embryo itself
        y, x = np.mgrid[:SIDE_PX, :SIDE_PX]
        spot = np.exp(
            -((x - root[0]) ** 2 + (y - root[1]) ** 2) / (2 * (size * rng.uniform(0.015, 0.05)) ** 2)
        )
        depth = depth / max(depth.max(), 1e-6) + spot * rng.uniform(0.3, 1)
    ink = cv2.GaussianBlur(pencil_marks(shape, size, rng), (0, 0), rng.uniform(0.4, 0.9))
    return tuple((np.clip(m / max(m.max(), 1e-6), 0, 1) * 255).astype(np.uint8) for m in (depth, ink))


def shadows(n: int, size: int, device: torch.device) -> Tensor:
    """Light left by a soft shadow, (N, 3, size, size): a round mass, or all on one side of a soft border."""
    line = torch.linspace(-0.5, 0.5, size, device=device)
    y, x = line[None, :, None], line[None, None, :]
    cx, cy = (uniform(n, -0.3, 0.3, device)[:, None, None] for _ in range(2))
    way = uniform(n, 0, 2 * math.pi, device)[:, None, None]
    round_one = uniform(n, 0.04, 0.28, device)[:, None, None] - torch.hypot(x - cx, (y - cy) * 1.3)
    side = torch.cos(way) * (x - 0.6 * cx) + torch.sin(way) * (y - 0.6 * cy)
    border = torch.where((torch.rand(n, device=device) < 0.5)[:, None, None], round_one, side)
    soft = torch.exp(uniform(n, math.log(0.01), math.log(0.08), device))[:, None, None]
    depth = uniform(n, 0.2, 2.2, device)[:, None] * torch.exp(0.25 * torch.randn(n, 3, device=device))
    return torch.exp(-depth[:, :, None, None] * torch.sigmoid(border / soft)[:, None])


def altered(x: Tensor, wanted: Tensor, answer: Tensor, inside: Tensor, bank: dict[str, Tensor]) -> tuple:
    """Shadows in eggs without veins, vessels in clear real ones, marks on any; pictures 0 to 255."""
    n, device = len(x), x.device
    shaded = ((answer == 0) | (answer == -2)) & (torch.rand(n, device=device) < SHADOWS)
    x = x * shadows(n, x.shape[-1], device) ** shaded.float()[:, None, None, None]
    pick = torch.randint(len(bank["tree"]), (2, n), device=device)
    tree = bank["tree"][pick[0]].float()[:, None] / 255
    clear = (answer == 0) & (torch.rand(n, device=device) < TREES)
    # Darkest vessel 8 to 35 % below its ground in green, less in red (see vessel_drawings).
    strength = -torch.log(1 - uniform(n, 0.08, 0.35, device))
    blood = torch.stack(
        [uniform(n, 0.1, 0.5, device), torch.ones(n, device=device), uniform(n, 0.6, 1.1, device)], 1
    )
    tau = tree * (strength[:, None] * blood * clear[:, None])[:, :, None, None]
    x = x * torch.exp(-tau)
    answer = torch.where(clear, 1, answer)
    drawn = torch.where(tree[:, 0] > 0.35, 1, torch.where(tree[:, 0] > 0.08, UNSURE, 0))
    wanted = torch.where(clear[:, None, None] & (wanted != UNSURE), drawn.to(wanted.dtype), wanted)
    ink = bank["ink"][pick[1]].float()[:, None] / 255
    use = (torch.rand(n, device=device) < MARKS).float() * uniform(n, 0.1, 0.65, device)
    tint = 1 + 0.12 * torch.randn(n, 3, device=device)
    x = x * (1 - ink * (use[:, None] * tint).clamp(0, 0.8)[:, :, None, None])
    return x, wanted, answer


def moved(x: Tensor, maps: Tensor) -> tuple[Tensor, Tensor]:
    """Turned, mirrored, moved and zoomed; ``maps`` by the nearest pixel (255, 0 outside)."""
    n, device = len(x), x.device
    angle, zoom = uniform(n, 0, 2 * math.pi, device), torch.exp(uniform(n, -0.12, 0.16, device))
    mirror = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    c, s = torch.cos(angle) * zoom, torch.sin(angle) * zoom
    shift = 0.05 * torch.randn(2, n, device=device)
    matrix = torch.stack(
        [torch.stack([c * mirror, -s, shift[0]], 1), torch.stack([s * mirror, c, shift[1]], 1)], 1
    )
    grid = functional.affine_grid(matrix, list(x.shape), align_corners=False)
    x = functional.grid_sample(x - GREY, grid, align_corners=False) + GREY
    return x, functional.grid_sample(maps, grid, mode="nearest", align_corners=False)


def recoloured(x: Tensor) -> Tensor:
    """Other light, balance, hue, gamma, a slope of brightness, a little blur and noise; 0 to 255."""
    n, device = len(x), x.device
    one = (slice(None), None, None, None)
    x = (x / 255).clamp(1e-4, 1) ** torch.exp(uniform(n, -0.35, 0.35, device))[one]
    balance = torch.exp(torch.randn(n, 3, device=device) * 0.15)[:, :, None, None]
    x = x * torch.exp(uniform(n, -0.5, 0.25, device))[one] * balance
    mixing = torch.eye(3, device=device) + torch.randn(n, 3, 3, device=device) * 0.08
    x = torch.where((torch.rand(n, device=device) < 0.5)[one], torch.einsum("nij,njhw->nihw", mixing, x), x)
    fade = (uniform(n, 0, 0.6, device) * (torch.rand(n, device=device) < 0.25))[one]
    x = x * (1 - fade) + x.mean(dim=1, keepdim=True) * fade
    way = uniform(n, 0, 2 * math.pi, device)[:, None, None]
    line = torch.linspace(-0.5, 0.5, x.shape[-1], device=device)
    slope = torch.cos(way) * line[None, None, :] + torch.sin(way) * line[None, :, None]
    x = x * torch.exp(slope * uniform(n, 0, 0.8, device)[:, None, None])[:, None]
    if torch.rand(1) < 0.4:
        sigma = float(torch.empty(1).uniform_(0.4, 1.0))
        taps = torch.arange(-3, 4, device=device).float()
        kernel = torch.exp(-(taps**2) / (2 * sigma**2))
        kernels = (kernel / kernel.sum()).expand(3, 1, 7)
        x = functional.conv2d(x, kernels[:, :, None, :], padding=(0, 3), groups=3)
        x = functional.conv2d(x, kernels[:, :, :, None], padding=(3, 0), groups=3)
    x = x + torch.randn_like(x) * uniform(n, 0, 0.02, device)[one]
    return x.clamp(0, 1) * 255


# --- training -----------------------------------------------------------------------------------


def loss_of(maps: Tensor, wanted: Tensor, inside: Tensor, answer: Tensor) -> Tensor:
    """Cross entropy of the yes or no, and of the pixels where they are known, with soft Dice."""
    sure = answer >= 0
    said = gathered(maps[:, 1], inside)[sure]
    whole = functional.binary_cross_entropy_with_logits(said, answer[sure].float())
    small = functional.interpolate(wanted[:, None].float(), scale_factor=0.5, mode="nearest")[:, 0]
    known = small != UNSURE
    target = torch.where(known, small, 0.0)
    weight = known * (1 + 3 * target)
    pixel = functional.binary_cross_entropy_with_logits(maps[:, 0], target, reduction="none")
    pixel = (pixel * weight).sum() / weight.sum().clamp(min=1)
    chance = torch.sigmoid(maps[:, 0]) * known
    dice = 1 - (2 * (chance * target).sum() + 50) / ((chance + target).sum() + 50)
    return whole + PIXEL_WEIGHT * (pixel + dice)


def train(data_file: str, left_out: str, steps: int, out: str) -> str:
    """Train one network without the evenings of one group; returns a line about it."""
    torch.manual_seed(21)
    torch.backends.cudnn.benchmark = True
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    data = torch.load(data_file, map_location="cpu", weights_only=False)
    evenings, answers = np.array(data["evening"]), np.array(data["real_answer"])
    free = ~np.isin(evenings, VEIN_GROUPS.get(left_out, ())) & (answers >= 0)
    kept = torch.from_numpy(np.flatnonzero(free))
    # Yes and no as often; within each, an evening by the root of its photos.
    chance = np.zeros(len(answers))
    for value in (0, 1):
        for evening in set(evenings[free & (answers == value)]):
            some = free & (answers == value) & (evenings == evening)
            chance[some] = 1 / math.sqrt(some.sum())
        chance[free & (answers == value)] /= chance[free & (answers == value)].sum()
    real_chance = torch.from_numpy(chance[free]).float().to(device)
    real = {k: data[k][kept].to(device) for k in ("real_view", "real_inside")}
    real_answer = torch.from_numpy(answers[free]).to(device)
    drawn = {k: data[k].to(device) for k in ("drawn_view", "drawn_inside", "drawn_veins", "drawn_answer")}
    drawn_chance = torch.ones(len(drawn["drawn_answer"]), device=device)
    bank = {k: data[k].to(device) for k in ("tree", "ink")}
    network = VeinPresence(imagenet_lite0()).to(device).train()
    average = torch.optim.swa_utils.AveragedModel(
        network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.995), use_buffers=True
    )
    encoder = list(network.backbone.parameters())
    decoder = [p for name, p in network.named_parameters() if not name.startswith("backbone")]
    rates = [4e-4, 2e-3]
    optimiser = torch.optim.AdamW(
        [{"params": encoder, "lr": rates[0]}, {"params": decoder, "lr": rates[1]}], weight_decay=0.02
    )
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, rates, total_steps=steps, pct_start=0.1)
    started = time.time()
    for step in range(steps):
        a = torch.multinomial(real_chance, BATCH_REAL, replacement=True)
        b = torch.multinomial(drawn_chance, BATCH_DRAWN, replacement=True)
        x = torch.cat([real["real_view"][a], drawn["drawn_view"][b]]).permute(0, 3, 1, 2).float()
        inside = torch.cat([real["real_inside"][a], drawn["drawn_inside"][b]])
        answer = torch.cat([real_answer[a], drawn["drawn_answer"][b]])
        # Where the eye saw none, no pixel is a vein; where it saw some, they are not known.
        of_real = torch.where((real_answer[a] == 0)[:, None, None] & real["real_inside"][a], 0, UNSURE)
        wanted = torch.cat([of_real.byte(), drawn["drawn_veins"][b]])
        is_real = torch.arange(len(x), device=device) < BATCH_REAL
        given = torch.where(is_real, answer, torch.where(answer == 0, -2, answer))
        x, wanted, given = altered(x, wanted, given, inside, bank)
        answer = torch.where(is_real, given, answer)
        x, maps = moved(x, torch.stack([wanted.float() - UNSURE, inside.float()], 1))
        wanted, inside = maps[:, 0] + UNSURE, maps[:, 1] > 0.5
        x = torch.where(inside[:, None], recoloured(x), float(GREY))
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
            found = network(((x - 127) / 128).contiguous(memory_format=torch.channels_last))
        loss = loss_of(found.float(), wanted, inside, answer)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        schedule.step()
        average.update_parameters(network)
        if step % 200 == 0 or step == steps - 1:
            print(f"{left_out} step {step} loss {loss.item():.3f} {time.time() - started:.0f} s", flush=True)
    state = {k: v.half() if v.is_floating_point() else v for k, v in average.module.state_dict().items()}
    torch.save(state, Path(out) / f"vein_presence_{left_out}.pt")
    summary = left_out_answers(average.module.eval(), data, left_out, device)
    print(summary, flush=True)
    return summary


@torch.no_grad()
def left_out_answers(network: nn.Module, data: dict, left_out: str, device: torch.device) -> str:
    """Agreement on the left-out evenings: a first look only."""
    answers, evenings = np.array(data["real_answer"]), np.array(data["evening"])
    lines = []
    for evening in VEIN_GROUPS.get(left_out, ()):
        chosen = np.flatnonzero((evenings == evening) & (answers >= 0))
        if len(chosen) == 0:
            continue
        x = data["real_view"][chosen].permute(0, 3, 1, 2).float().to(device)
        said = gathered(network((x - 127) / 128)[:, 1], data["real_inside"][chosen].to(device)).cpu().numpy()
        agree = int(((said > 0) == (answers[chosen] == 1)).sum())
        lines.append(f"{evening}: {agree} of {len(chosen)}")
    return f"{left_out}: " + ", ".join(lines)


def gather_data(jobs: int) -> dict:
    """All pictures as tensors."""
    spawn = multiprocessing.get_context("spawn")
    chosen = [i for i, p in enumerate(real_photos()) if p.outline_known]
    tasks: list[tuple[Kind, int]] = [("developing", i) for i in range(DRAWN_LIVING)]
    tasks += [("early death", i) for i in range(DRAWN_DEAD)]
    tasks += [(kind, i) for kind in NULLS for i in range(DRAWN_NULL_EACH)]
    with ProcessPoolExecutor(jobs, mp_context=spawn) as pool:
        real = list(pool.map(real_view, chosen, chunksize=8))
        bank = list(pool.map(sheets, range(BANK), chunksize=8))
        drawn = list(pool.map(drawn_view, tasks, chunksize=8))

    def together(rows: list, k: int) -> Tensor:
        return torch.from_numpy(np.stack([r[k] for r in rows]))

    return {
        "real_view": together(real, 0), "real_inside": together(real, 1),
        "real_answer": [r[2] for r in real], "evening": [r[3] for r in real],
        "drawn_view": together(drawn, 0), "drawn_inside": together(drawn, 1),
        "drawn_veins": together(drawn, 2), "drawn_answer": torch.tensor([r[3] for r in drawn]),
        "tree": together(bank, 0), "ink": together(bank, 1),
    }  # fmt: skip


def main() -> None:
    """Draw the pictures, then train all networks side by side."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=900)
    parser.add_argument("--jobs", type=int, default=16)
    parser.add_argument("--together", type=int, default=3, help="networks trained at the same time")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    started = time.time()
    data_file = str(options.out / "training_pictures.tensors")
    torch.save(gather_data(options.jobs), data_file)
    print(f"pictures after {time.time() - started:.0f} s", flush=True)
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.together, mp_context=spawn) as pool:
        names = [*VEIN_GROUPS, "all"]
        jobs = [pool.submit(train, data_file, name, options.steps, str(options.out)) for name in names]
        for job in jobs:
            job.result()
    Path(data_file).unlink()
    print(f"done after {time.time() - started:.0f} s")


if __name__ == "__main__":
    main()
