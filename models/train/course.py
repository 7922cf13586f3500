"""How a network is trained here: a fixed time, one cosine, AdamW, a running mean of the weights, on one GPU or several. Needs PyTorch.

No checkpoint is chosen by held-out strips: the mean of the weights at the end is what is kept.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor, distributed, nn
from torch.nn.parallel import DistributedDataParallel

LOOK_EVERY = 20  # steps between looks at the clock
MEAN_OVER, WARM_UP_STEPS, LONGEST = 0.999, 300.0, 5.0  # of weights; of the rate; of a gradient
Told = Callable[[int, float, float], None]


@dataclass(frozen=True)
class Place:
    """This process among those that train together: its number, how many there are, its device."""

    rank: int
    gpus: int
    device: torch.device

    @property
    def alone(self) -> bool:
        """Whether no other trains along."""
        return self.gpus == 1

    @property
    def card(self) -> str:
        """What trained, in words."""
        return torch.cuda.get_device_name() if self.device.type == "cuda" else "cpu"


def joined(seed: int) -> Place:
    """Join the processes that ``torchrun`` started, or be alone; every one draws by its own seed."""
    rank, gpus = int(os.environ.get("LOCAL_RANK", "0")), int(os.environ.get("WORLD_SIZE", "1"))
    torch.manual_seed(seed + 1000 * rank)
    torch.backends.cudnn.benchmark = True
    device = torch.device(f"cuda:{rank}" if torch.cuda.is_available() else "cpu")
    if gpus > 1:
        torch.cuda.set_device(device)
        distributed.init_process_group("nccl")
    return Place(rank, gpus, device)


def parted(place: Place) -> None:
    """Leave the others."""
    if not place.alone:
        distributed.destroy_process_group()


def train(net: nn.Module, loss: Callable[[nn.Module], Tensor], seconds: float, rate: float, place: Place, told: Told) -> int:
    """Train ``net`` in place for so many seconds and leave the running mean of its weights in it; returns the number of steps.

    ``loss`` draws a batch and works out the loss of the module it is given; ``told`` is called on the first GPU now and then with the
    step, the share of the time that is over, and the loss.
    """
    model = net if place.alone else DistributedDataParallel(net, device_ids=[place.rank])
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=2e-4)
    averaged = torch.optim.swa_utils.get_ema_multi_avg_fn(MEAN_OVER)
    mean = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=averaged, use_buffers=True)
    begun, step, done = time.monotonic(), 0, 0.0
    while done < 1.0:
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, (step + 1) / WARM_UP_STEPS) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        value = loss(model)
        optimiser.zero_grad(set_to_none=True)
        value.backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(net.parameters(), LONGEST)
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        if step % LOOK_EVERY == 0:
            done = _agreed((time.monotonic() - begun) / seconds, place)
            if place.rank == 0:
                told(step, done, float(value.detach()))
    net.load_state_dict(mean.module.state_dict())
    return step


def _agreed(done: float, place: Place) -> float:
    """The first GPU's clock, so that all of them stop at the same step."""
    if place.alone:
        return done
    value = torch.tensor([done], device=place.device)
    distributed.broadcast(value, 0)
    return float(value)
