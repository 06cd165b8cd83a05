"""Reads a model for Vosk back out of its folder and computes with it, in numpy alone, what Vosk computes.

`Shipped(folder)` holds the net of am/final.mdl. `outputs(samples)` are its log-likelihoods for each 30 ms; `score` is
the best path of a phrase through the graph that Vosk makes of a closed list: what Vosk calls the confidence of an
alternative. No code is shared with what wrote the files (kaldi_files.py, graph.py), so the two check each other.
"""

from __future__ import annotations

import math
import struct
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO

import numpy as np

RATE = 16_000
STEP = 3
# Vosk weighs the costs of the graph with this before it tells a score (recognizer.cc, GraphLatticeScale).
GRAPH_SCALE = 0.9
# Vosk makes a bigram of a closed list with this share for what was seen, the rest for going back to single words.
SEEN = 0.5


class Reader:
    """Kaldi's binary stream."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        if file.read(2) != b"\0B":
            raise ValueError("not a binary Kaldi file")

    def token(self) -> str:
        name = b""
        while (one := self._file.read(1)) not in (b" ", b""):
            name += one
        return name.decode()

    def expect(self, *names: str) -> None:
        for name in names:
            if (found := self.token()) != name:
                raise ValueError(f"{found!r} where {name!r} should stand")

    def integer(self) -> int:
        return int(self._number("<i"))

    def real(self) -> float:
        size = self._file.read(1)[0]
        return float(struct.unpack("<f" if size == 4 else "<d", self._file.read(size))[0])

    def truth(self) -> bool:
        return self._file.read(1) == b"T"

    def integers(self) -> list[int]:
        size, count = self._file.read(1)[0], struct.unpack("<i", self._file.read(4))[0]
        return np.frombuffer(self._file.read(size * count), f"<i{size}").tolist()

    def vector(self) -> np.ndarray:
        self.expect("FV")
        return self._reals(self.integer())

    def matrix(self) -> np.ndarray:
        self.expect("FM")
        rows, columns = self.integer(), self.integer()
        return self._reals(rows * columns).reshape(rows, columns)

    def lines(self) -> list[str]:
        """Text up to an empty line, as in the config of a net."""
        found = []
        while (line := self._file.readline().decode().strip()) or not found:
            if line:
                found.append(line)
        return found

    def _reals(self, count: int) -> np.ndarray:
        return np.frombuffer(self._file.read(4 * count), "<f4")

    def _number(self, form: str) -> int:
        if self._file.read(1) != b"\x04":
            raise ValueError("not a number of four bytes")
        return int(struct.unpack(form, self._file.read(4))[0])


def mfcc(samples: np.ndarray, cepstra: int = 40, mels: int = 40, low: float = 20.0, high: float = 7600.0) -> np.ndarray:
    """Kaldi's MFCC without energy and dither, edges snipped: samples in the range of 16 bits -> (frames, cepstra).

    Window, mel scale and lifter as in Kaldi's documentation of `compute-mfcc-feats` (25 ms every 10 ms).
    """
    count = 1 + (len(samples) - 400) // 160
    frames = np.stack([samples[at * 160 : at * 160 + 400] for at in range(count)]).astype("f8")
    frames -= frames.mean(1, keepdims=True)
    before = np.concatenate([frames[:, :1], frames[:, :-1]], 1)
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(400) / 399)) ** 0.85
    power = np.abs(np.fft.rfft((frames - 0.97 * before) * window, 512)) ** 2

    def mel(hertz: np.ndarray | float) -> np.ndarray:
        return 1127.0 * np.log1p(np.asarray(hertz) / 700.0)

    edges = mel(low) + (mel(high) - mel(low)) * np.arange(mels + 2) / (mels + 1)
    at = mel(np.arange(256) * RATE / 512)[:, None]
    banks = np.minimum((at - edges[:-2]) / (edges[1:-1] - edges[:-2]), (edges[2:] - at) / (edges[2:] - edges[1:-1]))
    energies = np.log(np.maximum(power[:, :256] @ np.maximum(banks, 0.0), np.finfo("f4").eps))
    cosine = np.cos(np.pi / mels * np.outer(np.arange(mels) + 0.5, np.arange(cepstra))) * math.sqrt(2.0 / mels)
    cosine[:, 0] = math.sqrt(1.0 / mels)
    lifter = 1 + 11.0 * np.sin(np.pi * np.arange(cepstra) / 22.0)
    return (energies @ cosine * lifter).astype("f4")


class Shipped:
    """A model's net, its phones and which output of the net each phone has."""

    def __init__(self, folder: Path) -> None:
        with (folder / "am" / "final.mdl").open("rb") as file:
            from_file = Reader(file)
            self.outputs_of, self.log_chances = _transitions(from_file)
            self.config, self.parts, self.context = _net(from_file)
        rows = [line.split() for line in (folder / "graph" / "phones.txt").read_text(encoding="utf-8").splitlines()]
        self.phones = {name: int(at) for name, at in rows}

    def posteriors(self, features: np.ndarray) -> np.ndarray:
        """(frames, cepstra) -> (steps, outputs): each node of the net's config in turn, the edges repeated."""
        left, right = self.context
        steps = -(-len(features) // STEP)
        more = STEP * (steps - 1) + 1 - len(features)
        padded = np.concatenate([np.repeat(features[:1], left, 0), features,
                                 np.repeat(features[-1:], max(0, right + more), 0)]).astype("f4")  # fmt: skip
        # Frame `t` of a node lies at row `t + left`; rows that lie too near an edge hold what nothing asks for.
        values = {"input": padded}
        for line in self.config:
            fields = dict(part.split("=", 1) for part in _fields(line))
            if line.startswith("component-node"):
                values[fields["name"]] = self.parts[fields["component"]](_joined(fields["input"], values))
            elif line.startswith("output-node"):
                return values[fields["input"]][left : left + STEP * steps : STEP]
        raise ValueError("the net has no output")

    def outputs(self, samples: np.ndarray) -> np.ndarray:
        """Samples in the range of 16 bits, 16 kHz -> log-likelihoods, shape (steps of 30 ms, outputs)."""
        return self.posteriors(mfcc(samples))

    def score(self, outputs: np.ndarray, phrase: str, ways: dict[str, str], listed: Sequence[str],
              silence: float = 0.3) -> float:  # fmt: skip
        """What Vosk would tell as the score of `phrase` under the closed list `listed`.

        `ways`: word -> its one pronunciation, phones without their places. `silence`: chance of silence at each gap.
        """
        words = phrase.split()
        no, yes = -math.log(1 - silence), -math.log(silence)
        # States: silence before, the phones of each word, silence after each word.
        names: list[str] = ["SIL"]
        entries: list[list[tuple[int, float]]] = [[(-1, yes)]]
        last: list[tuple[int, float]] = [(-1, no), (0, 0.0)]
        for word in words:
            for name in _placed(ways[word].split()):
                entries.append(last)
                names.append(name)
                last = [(len(names) - 1, 0.0)]
            ended = len(names) - 1
            names.append("SIL")
            entries.append([(ended, yes)])
            last = [(ended, no), (len(names) - 1, 0.0)]
        pdf = np.array([self.outputs_of[self.phones[name]] for name in names])
        size, steps = len(names), len(outputs)
        now = np.full(size, np.inf)
        for step in range(steps):
            stay = now - outputs[step, pdf[:, 1]]
            entered = np.full(size, np.inf)
            for state, ways_in in enumerate(entries):
                for source, cost in ways_in:
                    came = (0.0 if step == 0 else np.inf) if source < 0 else now[source]
                    entered[state] = min(entered[state], came + GRAPH_SCALE * cost)
            now = np.minimum(stay, entered - outputs[step, pdf[:, 0]])
        acoustic = min(now[state] + GRAPH_SCALE * cost for state, cost in last if state >= 0)
        # Each frame costs log 2, whether the phone stays or ends.
        graph = steps * math.log(2) + list_cost(phrase, listed)
        return -float(acoustic + GRAPH_SCALE * graph)


def list_cost(phrase: str, listed: Sequence[str]) -> float:
    """-log of the chance of the phrase in the bigram that Vosk makes of a closed list (language_model.cc): a share of
    SEEN for the pairs that the list holds. A sentence begins with no history."""
    single: Counter[str] = Counter()
    pairs: Counter[tuple[str, str]] = Counter()
    for text in listed:
        said = [*text.split(), "</s>"]
        single.update(said)
        pairs.update(pairwise(said))
    words = [*phrase.split(), "</s>"]
    begun: Counter[str] = Counter()
    for (first, _), count in pairs.items():
        begun[first] += count
    cost = -math.log(SEEN * single[words[0]] / single.total())
    for first, second in pairwise(words):
        seen = SEEN * pairs[first, second] / begun[first] if begun[first] else 0.0
        back = (1 - SEEN) * SEEN * single[second] / single.total()
        cost -= math.log(max(seen, back))
    return cost


def _placed(phones: list[str]) -> list[str]:
    if len(phones) == 1:
        return [phones[0] + "_S"]
    return [phones[0] + "_B", *(phone + "_I" for phone in phones[1:-1]), phones[-1] + "_E"]


def _transitions(file: Reader) -> tuple[dict[int, tuple[int, int]], np.ndarray]:
    """Phone -> (output of its first frame, of those that follow); log chances of the transitions."""
    file.expect("<TransitionModel>", "<Topology>")
    file.integers(), file.integers()
    count = file.integer()
    if plain := count != -1:
        raise ValueError(f"a topology of another kind ({plain=})")
    for _ in range(file.integer()):
        for _ in range(file.integer()):
            file.integer(), file.integer()
            for _ in range(file.integer()):
                file.integer(), file.real()
    file.expect("</Topology>", "<Tuples>")
    found = {}
    for _ in range(file.integer()):
        phone, _, first, stay = (file.integer() for _ in range(4))
        found[phone] = (first, stay)
    file.expect("</Tuples>", "<LogProbs>")
    chances = file.vector()
    file.expect("</LogProbs>", "</TransitionModel>")
    return found, chances


def _net(file: Reader) -> tuple[list[str], dict[str, object], tuple[int, int]]:
    file.expect("<Nnet3>")
    config = file.lines()
    file.expect("<NumComponents>")
    parts = {}
    for _ in range(file.integer()):
        file.expect("<ComponentName>")
        name = file.token()
        parts[name] = _component(file)
    file.expect("</Nnet3>", "<LeftContext>")
    left = file.integer()
    file.expect("<RightContext>")
    return config, parts, (left, file.integer())


class Affine:
    def __init__(self, weights: np.ndarray, bias: np.ndarray) -> None:
        self.weights, self.bias = weights, bias

    def __call__(self, rows: np.ndarray) -> np.ndarray:
        return rows @ self.weights.T + self.bias


class Norm:
    def __init__(self, mean: np.ndarray, variance: np.ndarray, epsilon: float) -> None:
        self.mean, self.scale = mean, 1 / np.sqrt(variance + np.float32(epsilon))

    def __call__(self, rows: np.ndarray) -> np.ndarray:
        return (rows - self.mean) * self.scale


def _component(file: Reader) -> object:
    kind = file.token()[1:-1]
    found: object
    if kind == "FixedAffineComponent":
        file.expect("<LinearParams>")
        weights = file.matrix()
        file.expect("<BiasParams>")
        found = Affine(weights, file.vector())
    elif kind == "NaturalGradientAffineComponent":
        file.expect("<LearningRate>")
        file.real()
        file.expect("<LinearParams>")
        weights = file.matrix()
        file.expect("<BiasParams>")
        found = Affine(weights, file.vector())
        for name in ("RankIn", "RankOut", "UpdatePeriod"):
            file.expect(f"<{name}>")
            file.integer()
        for name in ("NumSamplesHistory", "Alpha"):
            file.expect(f"<{name}>")
            file.real()
    elif kind == "RectifiedLinearComponent":
        file.expect("<Dim>")
        file.integer()
        for name in ("ValueAvg", "DerivAvg"):
            file.expect(f"<{name}>")
            file.vector()
        file.expect("<Count>")
        file.real()
        file.expect("<OderivRms>")
        file.vector()
        for name in ("OderivCount", "NumDimsSelfRepaired", "NumDimsProcessed"):
            file.expect(f"<{name}>")
            file.real()
        found = _positive
    elif kind == "BatchNormComponent":
        file.expect("<Dim>")
        file.integer()
        file.expect("<BlockDim>")
        file.integer()
        file.expect("<Epsilon>")
        epsilon = file.real()
        file.expect("<TargetRms>")
        file.real()
        file.expect("<TestMode>")
        file.truth()
        file.expect("<Count>")
        file.real()
        file.expect("<StatsMean>")
        mean = file.vector()
        file.expect("<StatsVar>")
        found = Norm(mean, file.vector(), epsilon)
    elif kind == "NoOpComponent":
        file.expect("<Dim>")
        file.integer()
        file.expect("<BackpropScale>")
        file.real()
        found = _same
    else:
        raise ValueError(f"a component of a kind that is not read here: {kind}")
    file.expect(f"</{kind}>")
    return found


def _positive(rows: np.ndarray) -> np.ndarray:
    return np.maximum(rows, 0)


def _same(rows: np.ndarray) -> np.ndarray:
    return rows


def _fields(line: str) -> list[str]:
    """name=value pairs of a config line; the value of `input` may hold blanks."""
    head, _, rest = line.partition(" input=")
    pairs = [part for part in head.split() if "=" in part]
    if rest:
        whole, _, _ = rest.partition(" objective=")
        pairs.append(f"input={whole}")
    return pairs


def _joined(descriptor: str, values: dict[str, np.ndarray]) -> np.ndarray:
    """A descriptor of nnet3 (Append, Offset, Sum, Scale) over the rows of the nodes."""
    descriptor = descriptor.strip()
    if "(" not in descriptor:
        return values[descriptor]
    kind, inside = descriptor.split("(", 1)
    arguments = _split(inside[: inside.rindex(")")])
    if kind == "Append":
        return np.concatenate([_joined(one, values) for one in arguments], 1)
    if kind == "Sum":
        return _joined(arguments[0], values) + _joined(arguments[1], values)
    if kind == "Scale":
        return np.float32(arguments[0]) * _joined(arguments[1], values)
    if kind == "Offset":
        # Rows that this brings round from the other edge lie within the context, which nothing asks for.
        return np.roll(_joined(arguments[0], values), -int(arguments[1]), 0)
    raise ValueError(f"a descriptor of a kind that is not read here: {kind}")


def _split(text: str) -> list[str]:
    """At the commas that stand in no brackets."""
    parts, depth = [""], 0
    for one in text:
        depth += (one == "(") - (one == ")")
        if one == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += one
    return parts
