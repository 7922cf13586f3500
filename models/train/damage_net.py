"""Trains the damage network. Needs PyTorch (the extra 'train').

Run as ``python -m models.train.damage_net DATA_DIR OUT_DIR SECONDS``, on several GPUs through ``torchrun``. DATA_DIR holds the
.npz files of ``models.train.strips --damage``, and may hold the strip network's besides: more whole instruments, in more kinds of light;
those too coarse to be judged are left out. Seeds divisible by ten are kept apart for the scores. Writes damage.onnx, damage.pt,
damage-scores.json and damage-held.npz (what it said of the strips kept apart, for setting alerts).
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from models.train.augment import CROP, HALF, Batch
from models.train.course import Place, joined, parted, train
from models.train.damage_network import DamageNet, Exported
from models.train.hurts import HURTS
from models.train.strip_net import Store, drawn, load, pick
from models.train.warm import warm

SEED, RATE = 20261126, 2e-3
# What a column of damage weighs against a sound one. Marks fill a hundredth of the columns, and would be passed over.
THERE = {"unwound": 2.0, "reverse-wound": 2.0, "overwound": 2.0, "tip-lost": 3.0}
THERE_SMALL = 6.0
COARSEST_PX_PER_MM = 40.0
FALSE_SHARE = 0.01  # of the quiet windows that may pass the level at which finds are counted


def asked(batch: Batch) -> tuple[Tensor, Tensor]:
    """Where damage lies in each pair of columns, and where the answer counts: (B, kinds, W/2) each."""
    hurt = batch.hurt[:, 0].float()
    inside = torch.arange(hurt.shape[2], device=hurt.device)[None] < batch.columns[:, None]
    counts = batch.hurt[:, 1].float() * inside[:, None]
    return torch.maximum(hurt[..., 0::2], hurt[..., 1::2]), torch.minimum(counts[..., 0::2], counts[..., 1::2])


def loss_of(net: nn.Module, batch: Batch) -> Tensor:
    """Mean binary cross entropy over kinds, columns where damage lies weighing more."""
    with torch.autocast(batch.light.device.type, dtype=torch.bfloat16, enabled=batch.light.is_cuda):
        said = net(batch.light)
    there, counts = asked(batch)
    more = torch.tensor([THERE.get(kind, THERE_SMALL) - 1.0 for kind in HURTS], device=there.device)
    weight = counts * (1.0 + more[:, None] * there)
    miss = functional.binary_cross_entropy_with_logits(said.float(), there, reduction="none") * weight
    return (miss.sum(dim=(0, 2)) / weight.sum(dim=(0, 2)).clamp_min(1.0)).sum()


def toned(batch: Batch) -> Tensor:
    """Strips as the network is given them."""
    return batch.light.clamp_min(0.0) ** (1 / 2.2)


@torch.no_grad()
def looked(net: nn.Module, data: Store, index: Tensor) -> dict[str, np.ndarray]:
    """What the network says of strips without random changes: chances, truth, what counts, all (N, kinds, W/2)."""
    net.eval()
    parts: list[tuple[Tensor, Tensor, Tensor]] = []
    for chunk in index.split(16):
        batch = pick(data, chunk)
        light = toned(batch)
        with torch.autocast(light.device.type, dtype=torch.bfloat16, enabled=light.is_cuda):
            chance = torch.sigmoid(net(light).float())
        parts.append((chance, *asked(batch)))
    net.train()
    chance, there, counts = (torch.cat([part[k] for part in parts]).cpu().numpy() for k in range(3))
    return {"chance": chance.astype(np.float16), "there": there > 0, "counts": counts > 0, "index": index.cpu().numpy()}


def scores(said: dict[str, np.ndarray]) -> dict[str, Any]:
    """Of each kind: damages met, quiet windows, and the share of damages found where one quiet window in a hundred is not quiet."""
    told: dict[str, Any] = {}
    for k, kind in enumerate(HURTS):
        chance = np.where(said["counts"][:, k], said["chance"][:, k], 0.0)
        quiet = chance.max(axis=1)[~said["there"][:, k].any(axis=1)]
        met = [float(run.max()) for row, there in zip(chance, said["there"][:, k], strict=True) for run in runs(row, there)]
        level = float(np.quantile(quiet, 1.0 - FALSE_SHARE)) if len(quiet) else 1.0
        found = float(np.mean(np.array(met) > level)) if met else None
        told[kind] = {"damages": len(met), "quiet": len(quiet), "level": round(level, 4), "found": found}
    return told


def runs(row: np.ndarray, there: np.ndarray) -> list[np.ndarray]:
    """Values of each unbroken stretch of damage."""
    steps = np.flatnonzero(np.diff(np.concatenate([[0], there.astype(int), [0]])))
    return [row[low:high] for low, high in zip(steps[0::2], steps[1::2], strict=True)]


def parts_of(data: Store) -> tuple[Tensor, Tensor]:
    """Windows kept apart, and those to learn from; none that is too coarse."""
    fine, kept = data["px_per_mm"] >= COARSEST_PX_PER_MM, data["seed"] % 10 == 0
    return torch.nonzero(fine & kept)[:, 0], torch.nonzero(fine & ~kept)[:, 0]


def fit(net: DamageNet, data: Store, seconds: float, rate: float, place: Place) -> int:
    """Train for a fixed time; returns the number of steps."""
    held, learned = parts_of(data)
    quarters = {0}

    def told(step: int, done: float, loss: float) -> None:
        if int(4 * done) not in quarters:
            quarters.add(int(4 * done))
            print(step, round(done, 2), round(loss, 4), json.dumps(scores(looked(net, data, held))), flush=True)

    return train(net, lambda model: loss_of(model, drawn(data, learned)), seconds, rate, place, told)


def export(net: DamageNet, path: Path) -> None:
    """Write the network as ONNX; columns stay free (multiples of 32)."""
    torch.onnx.export(
        Exported(net.eval().cpu()), (torch.zeros(1, 3, 2 * HALF, CROP),), str(path), input_names=["strip"],
        output_names=["hurts"], opset_version=18, dynamo=False, dynamic_axes={"strip": {3: "columns"}, "hurts": {2: "pairs"}},
    )  # fmt: skip


def main() -> None:
    """Train, score and export."""
    args = _parser().parse_args()
    place = joined(args.seed)
    data = load(args.data, place.device)
    net = DamageNet().to(place.device)
    if args.start is not None:
        warm(net, args.start, toned(pick(data, torch.arange(min(64, len(data["seed"])), device=place.device))))
        if place.rank == 0:
            print("at the start", json.dumps(scores(looked(net, data, parts_of(data)[0]))), flush=True)
    steps = fit(net, data, args.seconds, args.rate, place)
    if place.rank == 0:
        _keep(net, data, args.out, {"steps": steps, "seed": args.seed, "gpus": place.gpus, "card": place.card})
    parted(place)


def _keep(net: DamageNet, data: Store, out: Path, how: dict[str, Any]) -> None:
    """Write scores, what was said of the strips kept apart, weights, and the network as it is run."""
    held, seen = parts_of(data)
    said = looked(net, data, held)
    counts = {"strips": len(seen), "held": len(held), "parameters": sum(p.numel() for p in net.parameters())}
    final = {"held out": scores(said), "seen": scores(looked(net, data, seen[: len(held)])), **how, **counts}
    (out / "damage-scores.json").write_text(json.dumps(final, indent=1))
    np.savez_compressed(out / "damage-held.npz", seed=data["seed"][held].cpu().numpy(), **said)  # type: ignore[arg-type]
    torch.save(net.state_dict(), out / "damage.pt")
    export(net, out / "damage.onnx")
    print(json.dumps(final), flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="models.train.damage_net", description="Train the damage network.")
    parser.add_argument("data", type=Path, help="folder of strips-*.npz made with --damage")
    parser.add_argument("out", type=Path, help="folder for damage.onnx, damage.pt and damage-scores.json")
    parser.add_argument("seconds", type=float, help="how long to train")
    parser.add_argument("--seed", type=int, default=SEED, help=f"default {SEED}")
    parser.add_argument("--start", type=Path, help="an exported damage network to go on from")
    parser.add_argument("--rate", type=float, default=RATE, help=f"highest learning rate (default {RATE})")
    return parser


if __name__ == "__main__":
    main()
