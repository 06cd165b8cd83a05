"""Writes am/final.mdl as Kaldi reads it (a transition model and an nnet3 net), in binary; numpy only."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from typing import BinaryIO

import numpy as np

# A state: pdf class of its first frame, of the frames that follow, and (next state, probability); the last has none.
State = tuple[int, int, list[tuple[int, float]]]
Entries = Sequence[tuple[list[int], list[State]]]


def topology_text(entries: Entries) -> str:
    """A topology in Kaldi's text form."""
    lines = ["<Topology>"]
    for phones, states in entries:
        lines += ["<TopologyEntry>", "<ForPhones>", " ".join(map(str, phones)), "</ForPhones>"]
        for number, (first, stay, arcs) in enumerate(states):
            line = f"<State> {number} "
            if first >= 0 and first == stay:
                line += f"<PdfClass> {first} "
            elif first >= 0:
                line += f"<ForwardPdfClass> {first} <SelfLoopPdfClass> {stay} "
            lines.append(line + "".join(f"<Transition> {to} {chance:.7g} " for to, chance in arcs) + "</State>")
        lines.append("</TopologyEntry>")
    return "\n".join([*lines, "</Topology>"]) + "\n"


class Writer:
    """Kaldi's binary stream."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file

    def token(self, *names: str) -> None:
        for name in names:
            self._file.write(name.encode() + b" ")

    def raw(self, text: str) -> None:
        self._file.write(text.encode())

    def integer(self, value: int) -> None:
        self._file.write(b"\x04" + struct.pack("<i", value))

    def real(self, value: float) -> None:
        self._file.write(b"\x04" + struct.pack("<f", value))

    def double(self, value: float) -> None:
        self._file.write(b"\x08" + struct.pack("<d", value))

    def truth(self, value: bool) -> None:
        self._file.write(b"T" if value else b"F")

    def integers(self, values: Sequence[int]) -> None:
        self._file.write(b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, np.int32).tobytes())

    def vector(self, values: object) -> None:
        flat = np.asarray(values, np.float32).ravel()
        self._file.write(b"FV \x04" + struct.pack("<i", flat.size) + flat.tobytes())

    def matrix(self, values: object) -> None:
        rows = np.ascontiguousarray(values, np.float32)
        self._file.write(b"FM \x04" + struct.pack("<i", rows.shape[0]) + b"\x04" + struct.pack("<i", rows.shape[1]))
        self._file.write(rows.tobytes())


def transition_model(
    to: Writer, entries: Entries, tuples: Sequence[Sequence[int]], log_chances: np.ndarray
) -> None:
    """`tuples`: (phone, state, forward pdf, loop pdf); `log_chances[0]` is 0, then one a transition id."""
    plain = all(first == stay for _, states in entries for first, stay, _ in states)
    to.token("<TransitionModel>", "<Topology>")
    phones = sorted(phone for some, _ in entries for phone in some)
    index = [-1] * (max(phones) + 1)
    for number, (some, _) in enumerate(entries):
        for phone in some:
            index[phone] = number
    to.integers(phones)
    to.integers(index)
    if not plain:
        to.integer(-1)
    to.integer(len(entries))
    for _, states in entries:
        to.integer(len(states))
        for first, stay, arcs in states:
            to.integer(first)
            if not plain:
                to.integer(stay)
            to.integer(len(arcs))
            for target, chance in arcs:
                to.integer(target)
                to.real(chance)
    to.token("</Topology>")
    name = "Triples" if plain else "Tuples"
    to.token(f"<{name}>")
    to.integer(len(tuples))
    for phone, state, forward, loop in tuples:
        for value in (phone, state, forward) if plain else (phone, state, forward, loop):
            to.integer(value)
    to.token(f"</{name}>", "<LogProbs>")
    to.vector(log_chances)
    to.token("</LogProbs>", "</TransitionModel>")


def affine(to: Writer, weights: np.ndarray, bias: np.ndarray) -> None:
    """`weights`: (out, in)."""
    to.token("<NaturalGradientAffineComponent>", "<LearningRate>")
    to.real(0.001)
    to.token("<LinearParams>")
    to.matrix(weights)
    to.token("<BiasParams>")
    to.vector(bias)
    to.token("<RankIn>")
    to.integer(20)
    to.token("<RankOut>")
    to.integer(80)
    to.token("<UpdatePeriod>")
    to.integer(4)
    to.token("<NumSamplesHistory>")
    to.real(2000)
    to.token("<Alpha>")
    to.real(4)
    to.token("</NaturalGradientAffineComponent>")


def fixed_affine(to: Writer, weights: np.ndarray, bias: np.ndarray) -> None:
    to.token("<FixedAffineComponent>", "<LinearParams>")
    to.matrix(weights)
    to.token("<BiasParams>")
    to.vector(bias)
    to.token("</FixedAffineComponent>")


def relu(to: Writer, size: int) -> None:
    name = "RectifiedLinearComponent"
    to.token(f"<{name}>", "<Dim>")
    to.integer(size)
    for field in ("ValueAvg", "DerivAvg"):
        to.token(f"<{field}>")
        to.vector([])
    to.token("<Count>")
    to.double(0)
    to.token("<OderivRms>")
    to.vector([])
    for field in ("OderivCount", "NumDimsSelfRepaired", "NumDimsProcessed"):
        to.token(f"<{field}>")
        to.double(0)
    to.token(f"</{name}>")


def batch_norm(to: Writer, mean: np.ndarray, variance: np.ndarray, epsilon: float) -> None:
    to.token("<BatchNormComponent>")
    for field in ("Dim", "BlockDim"):
        to.token(f"<{field}>")
        to.integer(len(mean))
    to.token("<Epsilon>")
    to.real(epsilon)
    to.token("<TargetRms>")
    to.real(1.0)
    to.token("<TestMode>")
    to.truth(True)
    to.token("<Count>")
    to.real(1000.0)
    to.token("<StatsMean>")
    to.vector(mean)
    to.token("<StatsVar>")
    to.vector(variance)
    to.token("</BatchNormComponent>")


def no_op(to: Writer, size: int) -> None:
    to.token("<NoOpComponent>", "<Dim>")
    to.integer(size)
    to.token("<BackpropScale>")
    to.real(1.0)
    to.token("</NoOpComponent>")


def net(
    to: Writer, lines: Sequence[str], parts: Sequence[tuple[str, Callable[[Writer], None]]], context: int
) -> None:
    """`lines`: the config; `parts`: (name, writer of the component); `context`: frames on each side."""
    to.token("<Nnet3>")
    to.raw("\n" + "\n".join(lines) + "\n\n")
    to.token("<NumComponents>")
    to.integer(len(parts))
    for name, write in parts:
        to.token("<ComponentName>", name)
        write(to)
    to.token("</Nnet3>", "<LeftContext>")
    to.integer(context)
    to.token("<RightContext>")
    to.integer(context)
    to.token("<Priors>")
    to.vector([])
