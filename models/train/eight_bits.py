"""Makes a network of whole numbers (8 bits) from an exported one. Needs onnx (the extra 'train').

Run as ``python -m models.train.eight_bits NAME OUT.onnx --range PHOTO... --check PHOTO...`` with the NAME of a registered network.
``--range``: photos whose strips tell how large the numbers within it become. ``--check``: others, on whose strips both networks are
compared. Weights take 7 bits, so that no processor overflows when it adds two products. What sees the strip first, and what everything
told comes from, stay in floating point: 8 bits of the input alone move heights by a tenth of a millimetre.
"""

from __future__ import annotations

import argparse
import hashlib
import time
from importlib.resources import files
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnxruntime.quantization import CalibrationDataReader, CalibrationMethod, QuantFormat, QuantType, quantize_static

from vision import net, pipeline
from vision.metal import place_of_outline

Array = NDArray[np.floating[Any]]
LAYERS = ("/net/down.", "/net/up.")  # names that the export gives encoder and decoder
INSIDE = (*LAYERS, "/net/Concat", "/net/Resize", "/net/MaxPool")
MOST_STRIPS = 40
METAL = 0.9  # columns compared: surely metal


class _Strips(CalibrationDataReader):  # type: ignore[misc]
    def __init__(self, strips: list[Array]) -> None:
        self.left = iter(strips)

    def get_next(self) -> dict[str, Array] | None:
        strip = next(self.left, None)
        return None if strip is None else {"strip": strip}


def strips_of(name: str, photos: list[Path]) -> list[Array]:
    """What the network ``name`` is shown when these photos are read, thinned evenly to ``MOST_STRIPS``."""
    shown: list[Array] = []
    run = net.session

    class Kept:
        def __init__(self, asked: str, *, keeps: bool = False) -> None:
            self.asked, self.keeps = asked, keeps

        def run(self, outputs: Any, fed: dict[str, Array], *options: Any) -> Any:
            if self.asked == name and not options:  # with some, memory is given back
                shown.append(fed["strip"])
            return run(self.asked, keeps=self.keeps).run(outputs, fed, *options)

    with patch.object(net, "session", Kept):
        for photo in photos:
            pipeline.read_photo(photo, given=None, prints=Path("no-print-checks.json"), held="flat" in photo.stem)
    return shown[:: max(-(-len(shown) // MOST_STRIPS), 1)]


def inner_nodes(path: Path) -> list[str]:
    """Encoder and decoder without their first layer and their last."""
    graph = onnx.load(str(path)).graph
    layers = [node.name for node in graph.node if node.op_type == "Conv" and node.name.startswith(LAYERS)]
    widened = {out for node in graph.node if node.op_type == "Resize" for out in node.output}
    return [
        node.name
        for node in graph.node
        if node.name.startswith(INSIDE)
        and node.op_type in ("Conv", "Resize", "MaxPool", "Concat")
        and node.name not in (layers[0], layers[-1])
        and (node.op_type != "Concat" or node.input[0] in widened)
    ]


def write_eight_bits(source: Path, out: Path, strips: list[Array]) -> None:
    """Write the network of whole numbers."""
    quantize_static(
        str(source), str(out), _Strips(strips), quant_format=QuantFormat.QDQ, per_channel=True, reduce_range=True,
        activation_type=QuantType.QUInt8, weight_type=QuantType.QInt8, nodes_to_quantize=inner_nodes(source),
        op_types_to_quantize=["Conv", "Resize", "MaxPool", "Concat"], calibrate_method=CalibrationMethod.MinMax,
    )  # fmt: skip


def compare(source: Path, out: Path, strips: list[Array]) -> dict[str, Any]:
    """Run both on the same strips, in turn; what they tell otherwise, as median and 95 % of sizes over the strips."""
    before, after = (_loaded(path) for path in (source, out))
    took, rows = [0.0, 0.0], []
    for strip in strips:
        told = []
        for k, one in enumerate((before, after)):
            start = time.process_time()
            told.append(one.run(None, {"strip": strip}))
            took[k] += time.process_time() - start
        row = _differences(*told)
        rows += [row] if row is not None else []
    keys = rows[0].keys() if rows else ()
    table = {key: [round(float(np.quantile(np.abs([row[key] for row in rows]), share)), 4) for share in (0.5, 0.95)] for key in keys}
    signed = {f"{key}, mean": round(float(np.mean([row[key] for row in rows])), 4) for key in keys if key in ("width_px", "height_u")}
    return {"strips": len(rows), "float_s": round(took[0], 2), "eight_bits_s": round(took[1], 2), **table, **signed}


def _differences(before: list[Array], after: list[Array]) -> dict[str, float] | None:
    """Of one strip. ``width_px``: both edges together, rows; ``height_u``: in the network's own miss; ``names``: logits."""
    if len(before) == 1:
        return {"chances": float(np.abs(before[0] - after[0]).max())}
    metal = before[1][0, 1] + before[1][0, 2] > METAL
    if metal.sum() < 50:
        return None
    wide = [np.subtract(*(place_of_outline(side)[0] for side in one[0][0]))[metal] for one in (before, after)]
    miss, high = wide[1] - wide[0], [one[2][0][:, metal] for one in (before, after)]
    return {
        "width_px": float(np.median(miss)),
        "scatter_px": float(1.4826 * np.median(np.abs(miss - np.median(miss)))),
        "kinds": float(np.abs(after[1] - before[1]).mean()),
        "height_u": float(np.median((high[1][0] - high[0][0]) / high[0][1])),
        "height_u_share": float(np.median(high[1][1] / high[0][1]) - 1.0),
        "names": float(np.abs(after[3] - before[3]).max()),
    }


def _loaded(path: Path) -> Any:
    options = onnxruntime.SessionOptions()
    options.log_severity_level, options.intra_op_num_threads = 3, 1
    options.enable_cpu_mem_arena = options.enable_mem_pattern = False
    return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])


def _some(name: str, photos: list[Path]) -> list[Array]:
    shown = strips_of(name, photos)
    if not shown:
        named = ", ".join(map(str, photos))
        raise SystemExit(f"no strip was shown to the network {name}: {named} cannot be read or show no instrument; name others")
    return shown


def main() -> None:
    """Make one, compare, say what to register."""
    parser = argparse.ArgumentParser(prog="python -m models.train.eight_bits", description=__doc__)
    parser.add_argument("name", choices=("strip", "damage"))
    parser.add_argument("out", type=Path)
    parser.add_argument("--range", type=Path, nargs="+", required=True)
    parser.add_argument("--check", type=Path, nargs="+", required=True)
    asked = parser.parse_args()
    source = Path(str(files("models") / f"{asked.name}.onnx"))
    write_eight_bits(source, asked.out, _some(asked.name, asked.range))
    print(asked.out.name, "SHA-256", hashlib.sha256(asked.out.read_bytes()).hexdigest())
    for what, told in compare(source, asked.out, _some(asked.name, asked.check)).items():
        print(what, told)


if __name__ == "__main__":
    main()
