"""Trains the strip network. Needs PyTorch (the extra 'train').

Run as ``python -m models.train.strip_net DATA_DIR OUT_DIR SECONDS``, on several GPUs as ``torchrun --nproc-per-node 2 -m
models.train.strip_net ...``. DATA_DIR holds the .npz files of ``models.train.strips``. Seeds divisible by ten are kept apart
for the scores. ``--start FILE.onnx`` goes on from an exported network. Writes strip.onnx, strip.pt, scores.json.
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

from models.train.augment import CROP, HALF, Batch, blurred, camera, cut, mirrored, stretched
from models.train.course import Place, joined, parted, train
from models.train.network import FAMILIES, HEIGHT_PX, KINDS, SECTIONS, Exported, StripNet
from models.train.warm import warm

SEED, BATCH, RATE = 20261125, 32, 2.5e-3
CODE = 204.0
Store = dict[str, Tensor]


def load(folder: Path, device: torch.device) -> Store:
    """All strips of a folder; the pictures stay bytes."""
    paths = sorted(folder.glob("*.npz"))
    if not paths:
        raise SystemExit(f"no strips yet: {folder} holds no .npz file; run models.train.strips first")
    parts: dict[str, list[Any]] = {}
    for path in paths:
        with np.load(path) as file:
            for key in file.files:
                parts.setdefault(key, []).append(file[key])
    raw = {key: np.concatenate(value) for key, value in parts.items()}
    seen = np.isfinite(raw["upper"]) & np.isfinite(raw["lower"])
    names = np.stack([raw["family"], raw["section"], raw["hand"]], axis=1)
    held = {
        "x": raw["values"].transpose(0, 3, 1, 2), "up": np.nan_to_num(raw["upper"]), "low": np.nan_to_num(raw["lower"]),
        "seen": seen, "trust": raw["trust"] > 0, "marks": raw["marks"], "columns": raw["columns"], "names": names,
        "seed": raw["seed"], "height": raw["height"], "step": raw["step"], "px_per_mm": raw["px_per_mm"],
        "hurt": raw["hurt"],
    }  # fmt: skip
    return {key: torch.as_tensor(np.ascontiguousarray(value), device=device) for key, value in held.items()}


def pick(data: Store, index: Tensor) -> Batch:
    """The named strips in linear light."""
    light = (data["x"][index].float() / CODE) ** 2.2
    keys = ("up", "low", "seen", "trust", "marks", "columns", "names", "height", "hurt")
    return Batch(light, *(data[key][index] for key in keys))


def drawn(data: Store, learned: Tensor) -> Batch:
    """One random batch, changed the ways a camera and a traced axis would change it; light becomes tones."""
    batch = cut(pick(data, learned[torch.randint(len(learned), (BATCH,), device=learned.device)]))
    if torch.rand(1) < 0.15:
        batch = mirrored(batch, along=True)
    if torch.rand(1) < 0.5:
        batch = mirrored(batch, along=False)
    if torch.rand(1) < 0.5:
        batch = stretched(batch)
    if torch.rand(1) < 0.3:
        batch.light = blurred(batch.light)
    batch.light = camera(batch.light)
    return batch


def halved(values: Tensor) -> Tensor:
    """Means of neighbouring columns: the network looks at pairs."""
    return 0.5 * (values[:, 0::2] + values[:, 1::2])


def row_targets(offset: Tensor) -> Tensor:
    """Share of each row (B, 192, W) when the two rows next to an offset carry it."""
    rows = torch.arange(2 * HALF, device=offset.device, dtype=torch.float32)[None, :, None] - HALF
    return (1.0 - (rows - offset[:, None, :]).abs()).clamp_min(0.0)


def kind_targets(marks: Tensor, columns: int) -> Tensor:
    """Share of every pair of columns (B, 5, W/2) that is nothing, working part, smooth shaft, stop and handle."""
    left = torch.arange(0, columns, 2, device=marks.device, dtype=torch.float32)[None] - 0.5

    def after(k: int) -> Tensor:  # share of the pair on the handle's side of a mark; none of it where there is no mark
        mark = marks[:, k : k + 1]
        share = ((left + 2.0 - mark) / 2.0).clamp(0.0, 1.0)
        return torch.nan_to_num(torch.where(turned, 1.0 - share, share), nan=0.0)

    turned = marks[:, :1] > marks[:, 3:4]  # end for end: the tip lies on the right
    metal, handle = after(0), after(3)
    stop = torch.minimum(after(1) - after(2), metal - handle).clamp_min(0.0)
    fluted = torch.isfinite(marks[:, 4:5])
    working = torch.where(fluted, (metal - after(4)).clamp_min(0.0), torch.zeros_like(metal))
    hidden = 1.0 - stop
    smooth = (metal - handle - working).clamp_min(0.0) * hidden
    return torch.stack([1.0 - metal, working * hidden, smooth, stop, handle], dim=1)


def shows_working_part(kinds: Tensor) -> Tensor:
    """Whether (B,) a strip shows enough of what an instrument is named by: 60 columns of working part, or of smooth metal where none is."""
    working, smooth = kinds[:, 1].sum(1), kinds[:, 2].sum(1)
    return (working > 30.0) | ((working == 0.0) & (smooth > 60.0))


def loss_of(net: nn.Module, batch: Batch) -> tuple[Tensor, dict[str, float]]:
    """Sum of the heads' cross entropies, and each of them."""
    with torch.autocast(batch.light.device.type, dtype=torch.bfloat16, enabled=batch.light.is_cuda):
        rows, columns, names = net(batch.light)
    rows, columns, names = rows.float(), columns.float(), names.float()
    kinds = columns[:, :KINDS]
    ok = (batch.seen & batch.trust)[:, 0::2] & (batch.seen & batch.trust)[:, 1::2]
    edge = torch.zeros((), device=rows.device)
    for head, offset in enumerate((batch.up, batch.low)):
        at = halved(offset)
        use = ok & (at.abs() < HALF - 3)
        miss = -(row_targets(at) * functional.log_softmax(rows[:, head], dim=1)).sum(1)
        edge = edge + (miss * use).sum() / use.sum().clamp_min(1)
    inside = (torch.arange(0, CROP, 2, device=rows.device)[None] + 1 < batch.columns[:, None]).float()
    wanted = kind_targets(batch.marks, CROP)
    kind = -(wanted * functional.log_softmax(kinds, dim=1)).sum(1)
    kind = (kind * inside).sum() / inside.sum().clamp_min(1.0)
    parts = names.split([FAMILIES, SECTIONS, 2], dim=1)
    named = [
        functional.cross_entropy(part, batch.names[:, k].clamp_min(0), reduction="none", label_smoothing=0.01)
        for k, part in enumerate(parts)
    ]
    twisted = batch.names[:, 2] >= 0
    weight = (shows_working_part(wanted) & (ok.sum(1) > 30)).float()  # a shank alone names nothing
    total = [(named[0] * weight).sum() / weight.sum().clamp_min(1.0), (named[1] * weight).sum() / weight.sum().clamp_min(1.0)]
    total.append((named[2] * weight * twisted).sum() / (weight * twisted).sum().clamp_min(1.0))
    spread = columns[:, KINDS + 1].clamp(-6.0, 4.0)
    away = (columns[:, KINDS] - halved(batch.height) / HEIGHT_PX).abs()
    height = ((away * torch.exp(-spread) + spread) * ok).sum() / ok.sum().clamp_min(1)  # Laplace
    loss = edge + 3.0 * kind + 0.1 * height + 0.3 * total[0] + 0.3 * total[1] + 0.1 * total[2]
    return loss, {"edge": edge, "kind": kind, "height": height, "family": total[0], "section": total[1], "hand": total[2]}  # type: ignore[dict-item]


def read_offsets(share: Tensor) -> tuple[Tensor, Tensor]:
    """Offset of the edge and its spread from the share of each row (B, 192, W): mean within 4 rows of the peak."""
    rows = torch.arange(2 * HALF, device=share.device, dtype=torch.float32)[None, :, None] - HALF
    peak = share.argmax(1, keepdim=True) - HALF
    near = share * ((rows - peak).abs() <= 4.0)
    mean = (near * rows).sum(1) / near.sum(1).clamp_min(1e-6)
    return mean, (share * (rows - mean[:, None]) ** 2).sum(1).sqrt()


@torch.no_grad()
def scores(net: StripNet, data: Store, index: Tensor) -> dict[str, Any]:
    """Errors on strips without random changes: offsets in strip px, columns of stop and front, names."""
    net.eval()
    misses, spreads, strips, right, fronts, heights = [], [], [], [], [], []
    for chunk in index.split(16):
        batch = pick(data, chunk)
        batch.light = batch.light.clamp_min(0.0) ** (1 / 2.2)
        with torch.autocast(batch.light.device.type, dtype=torch.bfloat16, enabled=batch.light.is_cuda):
            rows, columns, names = net(batch.light)
        kinds = columns[:, :KINDS]
        ok = (batch.seen & batch.trust)[:, 0::2] & (batch.seen & batch.trust)[:, 1::2] & (halved(batch.up) - halved(batch.low) > 3.0)
        share = torch.softmax(rows.float(), dim=2)
        thin = []
        for head, (sign, offset) in enumerate(((1.0, batch.up), (-1.0, batch.low))):
            mean, spread = read_offsets(share[:, head])
            miss = sign * (mean - halved(offset))
            misses.append(miss[ok])
            spreads.append(spread[ok])
            thin.append(torch.where(ok, miss, torch.nan))
        strips.append(torch.nanmedian(torch.cat(thin, dim=1), dim=1).values)
        away = (columns[:, KINDS].float() * HEIGHT_PX - halved(batch.height)).abs() / (data["px_per_mm"] / data["step"])[chunk][:, None]
        heights.append(away[ok])
        parts = names.float().split([FAMILIES, SECTIONS, 2], dim=1)
        telling = shows_working_part(kind_targets(batch.marks, batch.light.shape[3])) & (ok.sum(1) > 60)
        right.append(torch.stack([part.argmax(1) == batch.names[:, k] for k, part in enumerate(parts)], dim=1)[telling])
        fronts.append(_front_miss(torch.softmax(kinds.float(), dim=1), batch, data["px_per_mm"][chunk] / data["step"][chunk]))
    net.train()
    miss, spread, strip, front = (torch.cat(v).float().cpu().numpy() for v in (misses, spreads, strips, fronts))
    strip, front = strip[np.isfinite(strip)], front[np.isfinite(front)]
    share_right = torch.cat(right).float().mean(0).cpu().numpy()
    pulls = miss / np.maximum(spread, 0.05)
    return {
        "median_px": float(np.median(miss)), "median_abs_px": float(np.median(np.abs(miss))),
        "p90_abs_px": float(np.percentile(np.abs(miss), 90)), "p99_abs_px": float(np.percentile(np.abs(miss), 99)),
        "strip_bias_sd_px": float(1.4826 * np.median(np.abs(strip - np.median(strip)))),
        "strip_bias_p95_px": float(np.percentile(np.abs(strip), 95)), "pull_sd": float(1.4826 * np.median(np.abs(pulls))),
        "front_median_mm": float(np.median(np.abs(front))) if len(front) else None,
        "front_p95_mm": float(np.percentile(np.abs(front), 95)) if len(front) else None,
        "family": float(share_right[0]), "section": float(share_right[1]), "hand": float(share_right[2]),
        "height_median_mm": float(torch.cat(heights).median()), "columns": len(miss),
    }  # fmt: skip


def _front_miss(kinds: Tensor, batch: Batch, columns_per_mm: Tensor) -> Tensor:
    """Error of the handle's front in mm where both it and 0.5 mm behind it lie inside the strip."""
    front, width = batch.marks[:, 3], kinds.shape[2]
    inside = (front > 40) & (front < batch.columns - 0.5 * columns_per_mm)
    handle = kinds[:, 4]
    at = torch.arange(width, device=kinds.device)[None]
    first = torch.where(handle >= 0.5, at, width - 1).amin(1).clamp(1, width - 1)
    here, before = handle.gather(1, first[:, None])[:, 0], handle.gather(1, first[:, None] - 1)[:, 0]
    crossing = first - 1 + ((0.5 - before) / (here - before).clamp_min(1e-4)).clamp(0.0, 1.0)
    miss = (2.0 * crossing + 0.5 - front) / columns_per_mm
    return torch.where(inside, miss, torch.nan)


def fit(net: StripNet, data: Store, seconds: float, rate: float, place: Place) -> dict[str, Any]:
    """Train for a fixed time; returns the scores on held-out strips (of the first GPU, nothing from the others)."""
    kept = data["seed"] % 10 == 0
    learned, held = torch.nonzero(~kept)[:, 0], torch.nonzero(kept)[:, 0]
    eighths = {0}

    def told(step: int, done: float, loss: float) -> None:
        if int(8 * done) not in eighths:
            eighths.add(int(8 * done))
            print(step, round(done, 2), round(loss, 4), scores(net, data, held[:400]), flush=True)

    steps = train(net, lambda model: loss_of(model, drawn(data, learned))[0], seconds, rate, place, told)
    if place.rank:
        return {}
    print("seen in training", json.dumps(scores(net, data, learned[: len(held)])), flush=True)
    return scores(net, data, held) | {"steps": steps, "batch": BATCH, "strips": len(learned), "held_out": len(held)}


def export(net: StripNet, path: Path) -> None:
    """Write the network as ONNX; rows and columns stay free (multiples of 32): a coarse look has half of both."""
    torch.onnx.export(
        Exported(net.eval().cpu()), (torch.zeros(1, 3, 2 * HALF, CROP),), str(path), input_names=["strip"],
        output_names=["rows", "kinds", "names"], opset_version=18, dynamo=False,
        dynamic_axes={"strip": {2: "rows", 3: "columns"}, "rows": {2: "rows", 3: "pairs"}, "kinds": {2: "pairs"}},
    )  # fmt: skip


def main() -> None:
    """Train, score and export."""
    args = _parser().parse_args()
    place = joined(args.seed)
    data = load(args.data, place.device)
    net = StripNet().to(place.device)
    if args.start is not None:
        warm(net, args.start, drawn(data, torch.arange(min(64, len(data["seed"])), device=place.device)).light)
    if place.rank == 0:
        print("parameters", sum(p.numel() for p in net.parameters()), "strips", len(data["seed"]), "kinds", KINDS, flush=True)
        if args.start is not None:
            print("at the start", json.dumps(scores(net, data, torch.nonzero(data["seed"] % 10 == 0)[:, 0])), flush=True)
    final = fit(net, data, args.seconds, args.rate, place) | {"seed": args.seed, "gpus": place.gpus, "card": place.card}
    if place.rank == 0:
        (args.out / "scores.json").write_text(json.dumps(final, indent=1))
        torch.save(net.state_dict(), args.out / "strip.pt")
        export(net, args.out / "strip.onnx")
        print(json.dumps(final), flush=True)
    parted(place)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="models.train.strip_net", description="Train the strip network.")
    parser.add_argument("data", type=Path, help="folder of strips-*.npz")
    parser.add_argument("out", type=Path, help="folder for strip.onnx, strip.pt and scores.json")
    parser.add_argument("seconds", type=float, help="how long to train")
    parser.add_argument("--seed", type=int, default=SEED, help=f"default {SEED}")
    parser.add_argument("--rate", type=float, default=RATE, help=f"highest learning rate (default {RATE})")
    parser.add_argument("--start", type=Path, help="go on from this exported network")
    return parser


if __name__ == "__main__":
    main()
