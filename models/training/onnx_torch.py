"""Runs an ONNX graph in PyTorch, on a GPU or not: enough of the operators for the voices of Kokoro.

Weights of 8 bits are made floats when the graph is read, and what was rounded while running (DynamicQuantizeLinear,
MatMulInteger, ConvInteger, DynamicQuantizeLSTM) is calculated with floats, so that the result is that of the graph
before it was quantised. Whole numbers stay on the processor, sound stays on the device; one sentence is one run.
Operators: https://onnx.ai/onnx/operators/ (opset 20) and onnxruntime's ContribOperators.md.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
import torch.nn.functional as F
from onnx import numpy_helper

Value = torch.Tensor
Known = dict[str, Any]
KINDS = {1: torch.float32, 2: torch.uint8, 3: torch.int8, 6: torch.int64, 7: torch.int64, 9: torch.bool}


def ints(value: Value) -> list[int]:
    return [int(one) for one in value.reshape(-1).tolist()]


def together(values: Sequence[Value]) -> list[Value]:
    """All on the device, if one of them is; single numbers may stay."""
    device = next((one.device for one in values if one.device.type != "cpu"), None)
    return [one if device is None or one.ndim == 0 else one.to(device) for one in values]


def divided(a: Value, b: Value) -> Value:
    return a / b if a.is_floating_point() or b.is_floating_point() else torch.div(a, b, rounding_mode="trunc")


def sliced(x: Value, starts: Value, ends: Value, axes: Value | None = None, steps: Value | None = None) -> Value:
    first = ints(starts)
    over = ints(axes) if axes is not None else list(range(len(first)))
    by = ints(steps) if steps is not None else [1] * len(first)
    for start, end, axis, step in zip(first, ints(ends), over, by, strict=True):
        size = x.shape[axis]
        if step < 0:
            at = torch.arange(*slice(start, end, step).indices(size), device=x.device)
            x = x.index_select(axis, at)
        else:
            low, high, _ = slice(start, end, 1).indices(size)
            x = x.narrow(axis, low, max(0, high - low))
            if step > 1:
                x = x[(slice(None),) * (axis % x.ndim) + (slice(None, None, step),)]
    return x


def gathered(x: Value, at: Value, axis: int) -> Value:
    at = at.to(x.device)
    at = torch.where(at < 0, at + x.shape[axis], at) if at.device.type == "cpu" else at
    if at.ndim == 0:
        return x.select(axis, int(at))
    found = x.index_select(axis, at.reshape(-1))
    axis %= x.ndim
    return found.reshape(*x.shape[:axis], *at.shape, *x.shape[axis + 1 :])


def resized(x: Value, a: Known, scales: Value) -> Value:
    """Along the last axis: `nearest` with floor, or `linear` with half pixels."""
    size = int(x.shape[-1] * float(scales[-1]))
    if a["mode"] == b"nearest":
        at = torch.div(torch.arange(size, device=x.device), float(scales[-1]), rounding_mode="floor").long()
        return x.index_select(-1, at.clamp(max=x.shape[-1] - 1))
    return F.interpolate(x, size=size, scale_factor=None, mode="linear", align_corners=False)


def convolved(x: Value, a: Known, w: Value, bias: Value | None = None) -> Value:
    pads = a.get("pads", [0, 0])
    if pads[0] != pads[-1]:
        x, pads = F.pad(x, (pads[0], pads[-1])), [0, 0]
    return F.conv1d(x, w, bias, a.get("strides", [1]), pads[:1], a.get("dilations", [1]), a.get("group", 1))


def spread(x: Value, a: Known, w: Value, bias: Value | None = None) -> Value:
    """ConvTranspose."""
    return F.conv_transpose1d(x, w, bias, a["strides"], a["pads"][:1], a.get("output_padding", [0]), a.get("group", 1))


def padded(x: Value, a: Known, pads: Value) -> Value:
    each, rank = ints(pads), x.ndim
    return F.pad(x, (each[rank - 1], each[2 * rank - 1]), mode=a["mode"].decode()) if any(each) else x


def spectrum(x: Value, step: Value, window: Value, length: Value) -> Value:
    """STFT -> (batch, frames, bins, 2)."""
    size = int(length)
    x = x.reshape(x.shape[0], -1)
    found = torch.stft(x, size, int(step), size, window.to(x.device), False, return_complex=True)
    return torch.view_as_real(found).transpose(1, 2)


def layer_norm(x: Value, a: Known, scale: Value, bias: Value) -> Value:
    return F.layer_norm(x, x.shape[-1:], scale, bias, a["epsilon"])


def transposed(a: Value, b: Value, known: Known) -> Value:
    """FusedMatMul."""
    a, b = together((a, b))
    a = a.transpose(-1, -2) if known["transA"] else a
    return known["alpha"] * (a @ (b.transpose(-1, -2) if known["transB"] else b))


def scattered(x: Value, at: Value, new: Value) -> Value:
    x = x.clone()
    x[tuple(at.to(x.device).unbind(-1))] = new.to(x.device)
    return x


def reduced(how: Callable[..., Value], x: Value, a: Known, axes: Value) -> Value:
    return how(x, dim=ints(axes), keepdim=bool(a["keepdims"]))


def cast(x: Value, a: Known) -> Value:
    kind = KINDS[a["to"]]
    return x.to(kind).cpu() if kind == torch.int64 else x.to(kind)


def expanded(x: Value, shape: Value) -> Value:
    return x.expand(np.broadcast_shapes(tuple(x.shape), tuple(ints(shape))))


def reshaped(x: Value, shape: Value) -> Value:
    return x.reshape([x.shape[at] if size == 0 else size for at, size in enumerate(ints(shape))])


def unsqueezed(x: Value, axes: Value) -> Value:
    where = ints(axes)
    for axis in sorted(axis % (x.ndim + len(where)) for axis in where):
        x = x.unsqueeze(axis)
    return x


def lstm(network: torch.nn.LSTM, x: Value) -> list[Value]:
    """(length, batch, size) -> (length, directions, batch, hidden)."""
    out, (hidden, cell) = network(x)
    return [out.reshape(*out.shape[:2], 2, -1).transpose(1, 2), hidden, cell]


def arctangent(x: Value) -> Value:
    """Of a silent bin, 0 / 0, it is the phase of nothing: none."""
    return torch.atan(x.nan_to_num(0.0, float("inf"), float("-inf")))


def pair(how: Callable[[Value, Value], Value]) -> Callable[..., Value]:
    return lambda a, b, known: how(*together((a, b)))


def single(how: Callable[[Value], Value]) -> Callable[..., Value]:
    return lambda x, known: how(x)


OPERATORS: dict[str, Callable[..., Any]] = {
    "Add": pair(torch.add), "Sub": pair(torch.sub), "Mul": pair(torch.mul), "Div": pair(divided),
    "Pow": pair(torch.pow), "MatMul": pair(torch.matmul), "Equal": pair(torch.eq), "Greater": pair(torch.gt),
    "Less": pair(torch.lt),
    "GreaterOrEqual": pair(torch.ge), "And": pair(torch.logical_and), "Sin": single(torch.sin),
    "Cos": single(torch.cos),
    "Exp": single(torch.exp), "Atan": single(arctangent), "Tanh": single(torch.tanh), "Sqrt": single(torch.sqrt),
    "Sigmoid": single(torch.sigmoid), "Floor": single(torch.floor), "Round": single(torch.round),
    "Identity": lambda x, a: x, "Cast": cast, "Conv": lambda x, w, *rest: convolved(x, rest[-1], w, *rest[:-1]),
    "LeakyRelu": lambda x, a: F.leaky_relu(x, a["alpha"]), "Softmax": lambda x, a: x.softmax(a["axis"]),
    "Unsqueeze": lambda x, axes, a: unsqueezed(x, axes), "Squeeze": lambda x, axes, a: x.squeeze(ints(axes)),
    "Reshape": lambda x, shape, a: reshaped(x, shape), "Gather": lambda x, at, a: gathered(x, at, a.get("axis", 0)),
    "Transpose": lambda x, a: x.permute(a["perm"]), "Shape": lambda x, a: torch.tensor(x.shape),
    "Split": lambda x, sizes, a: list(x.split(ints(sizes), a["axis"])),
    "Concat": lambda *x: torch.cat(together(x[:-1]), x[-1]["axis"]), "Slice": lambda x, *rest: sliced(x, *rest[:-1]),
    "Expand": lambda x, shape, a: expanded(x, shape), "Where": lambda c, x, y, a: torch.where(*together((c, x, y))),
    "ConstantOfShape": lambda shape, a: torch.full(ints(shape), a["value"].item()),
    "CumSum": lambda x, axis, a: x.cumsum(int(axis)), "Range": lambda a, b, c, k: torch.arange(int(a), int(b), int(c)),
    "Pad": lambda x, pads, a: padded(x, a, pads), "ReduceMean": lambda x, axes, a: reduced(torch.mean, x, a, axes),
    "ReduceSum": lambda x, axes, a: reduced(torch.sum, x, a, axes), "NonZero": lambda x, a: x.nonzero().T,
    "Clip": lambda x, *rest: x.clamp(*(float(one) for one in rest[:-1] if one is not None)),
    "FusedMatMul": transposed, "ConvTranspose": lambda x, w, *rest: spread(x, rest[-1], w, *rest[:-1]),
    "LayerNormalization": lambda x, scale, bias, a: layer_norm(x, a, scale, bias),
    "SkipLayerNormalization": lambda x, skip, scale, bias, a: layer_norm(x + skip, a, scale, bias),
    "FastGelu": lambda x, bias, a: F.gelu(x + bias, approximate="tanh"),
    "Resize": lambda x, roi, scales, a: resized(x, a, scales),
    "STFT": lambda x, step, window, length, a: spectrum(x, step, window, length),
    "ScatterND": lambda x, at, new, a: scattered(x, at, new),
    "DequantizeLinear": lambda x, scale, zero, a: ((x.float() - zero.float()) * scale).to(a["device"]),
    "MatMulInteger": lambda x, w, *rest: x.to(w.device) @ w,
    "ConvInteger": lambda x, w, *rest: convolved(x.to(w.device), rest[-1], w),
    "DynamicQuantizeLSTM": lambda network, x: lstm(network, x),
}  # fmt: skip


class Graph:
    """A graph, ready to run on `device`: `graph(tokens=..., style=..., speed=...)` gives its first output."""

    def __init__(self, path: Path, device: str) -> None:
        model = onnx.load(str(path)).graph
        self.device, self.output = device, model.output[0].name
        raw = {one.name: numpy_helper.to_array(one) for one in model.initializer}
        self._constant: dict[str, Any] = {name: self._placed(value) for name, value in raw.items()}
        self._unrounded(model)
        steps = []
        for node in model.node:
            known = {one.name: self._attribute(one) for one in node.attribute}
            if node.op_type == "DequantizeLinear":
                known["device"] = self.device
            if node.op_type == "DynamicQuantizeLinear":
                # Floats go through as they are: scale one, zero point none.
                steps.append(("Identity", [node.input[0]], [node.output[0]], {}))
                self._constant |= {node.output[1]: torch.tensor(1.0), node.output[2]: torch.tensor(0.0)}
                continue
            if node.op_type in ("MatMulInteger", "ConvInteger"):
                zero = raw[node.input[3]].astype(np.float32) if len(node.input) > 3 else np.float32(0)
                name = f"{node.input[1]} as float"
                self._constant[name] = self._placed(raw[node.input[1]].astype(np.float32) - zero)
                steps.append((node.op_type, [node.input[0], name], list(node.output), known))
                continue
            given = list(node.input)
            if node.op_type == "DynamicQuantizeLSTM":
                self._constant[f"{node.name} net"] = self._network(raw, given)
                given = [f"{node.name} net", given[0]]
            steps.append((node.op_type, given, list(node.output), known))
        self._steps = self._folded(steps)

    def _placed(self, value: np.ndarray) -> Value:
        tensor = torch.from_numpy(np.array(value))
        if tensor.dtype == torch.int32:
            tensor = tensor.long()
        # Weights of 8 bits are only needed to make floats of them.
        return tensor.to(self.device) if tensor.is_floating_point() and tensor.numel() > 1 else tensor

    def _near(self, value: Any) -> Any:
        """Floats that were folded from weights of 8 bits lie on the processor until here."""
        many = isinstance(value, torch.Tensor) and value.is_floating_point() and value.numel() > 1
        return value.to(self.device) if many else value

    def _attribute(self, one: onnx.AttributeProto) -> Any:
        value = onnx.helper.get_attribute_value(one)
        return numpy_helper.to_array(value) if isinstance(value, onnx.TensorProto) else value

    def _unrounded(self, model: onnx.GraphProto) -> None:
        """A bias beside a rounded product is divided by the scale and rounded down: without a scale it must not be."""
        for node in model.node:
            if node.op_type == "Floor" and node.output[0].endswith("bias_quant_rounded:0"):
                node.op_type = "Identity"
            if node.op_type == "Cast" and node.input[0].endswith("bias_quant_rounded:0"):
                node.op_type = "Identity"
                del node.attribute[:]

    def _network(self, raw: dict[str, np.ndarray], given: list[str]) -> torch.nn.LSTM:
        """Gates of ONNX are in, out, forget, cell; PyTorch's are in, forget, cell, out."""
        inner, hidden = raw[given[1]].shape[1], raw[given[2]].shape[1]
        network = torch.nn.LSTM(inner, hidden, bidirectional=True)
        bias = raw[given[3]]

        def gates(rows: np.ndarray) -> Value:
            i, o, f, c = np.split(rows, 4)
            return torch.from_numpy(np.concatenate([i, f, c, o]).astype(np.float32))

        with torch.no_grad():
            for way, tail in enumerate(("", "_reverse")):
                for name, at, scale in (("ih", 1, 8), ("hh", 2, 10)):
                    whole = raw[given[at]][way].astype(np.float32) - raw[given[scale + 1]][way].astype(np.float32)
                    getattr(network, f"weight_{name}_l0{tail}").copy_(gates((whole * raw[given[scale]][way]).T))
                half = bias.shape[1] // 2
                getattr(network, f"bias_ih_l0{tail}").copy_(gates(bias[way, :half]))
                getattr(network, f"bias_hh_l0{tail}").copy_(gates(bias[way, half:]))
        return network.to(self.device)

    def _folded(self, steps: list[tuple[str, list[str], list[str], Known]]) -> list[Any]:
        """What depends on constants only is calculated once, and mere copies are left out."""
        same: dict[str, str] = {}
        left = []
        for kind, given, made, known in steps:
            given = [same.get(name, name) for name in given]
            if kind == "Identity" and given[0] not in self._constant:
                same[made[0]] = given[0]
                continue
            if kind != "DynamicQuantizeLSTM" and all(not name or name in self._constant for name in given):
                values = self._run(kind, [self._constant.get(name) for name in given], known)
                self._constant |= dict(zip(made, values, strict=False))
                continue
            left.append((kind, given, made, known))
        # Where a value is used last, so that it can be let go.
        last = {name: at for at, (_, given, _, _) in enumerate(left) for name in given}
        gone: list[list[str]] = [[] for _ in left]
        for name, at in last.items():
            if name and name not in self._constant and name != self.output:
                gone[at].append(name)
        used = {name for _, given, _, _ in left for name in given}
        self._constant = {name: self._near(value) for name, value in self._constant.items() if name in used}
        return [(OPERATORS[kind], given, made, known, over, kind)
                for (kind, given, made, known), over in zip(left, gone, strict=True)]  # fmt: skip

    @staticmethod
    def _run(kind: str, values: list[Any], known: Known) -> list[Any]:
        made = OPERATORS[kind](*values, *([known] if kind != "DynamicQuantizeLSTM" else []))
        return made if isinstance(made, list) else [made]

    @torch.inference_mode()
    def __call__(self, **given: np.ndarray) -> Value:
        values: dict[str, Any] = dict(self._constant)
        for name, value in given.items():
            tensor = torch.from_numpy(value)
            values[name] = tensor.to(self.device) if tensor.is_floating_point() else tensor
        for how, names, made, known, over, kind in self._steps:
            taken = [values[name] if name else None for name in names]
            new = how(*taken) if kind == "DynamicQuantizeLSTM" else how(*taken, known)
            if isinstance(new, list):
                values.update(zip(made, new, strict=False))
            else:
                values[made[0]] = new
            for name in over:
                values.pop(name, None)
        found: Value = values[self.output].float()
        return found
