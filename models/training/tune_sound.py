"""What tune.py hears: all sound on the device, and batches of it cut, joined, disturbed and given their targets.

Everything is done for a whole batch at once on the device, because a sound at a time keeps the GPU waiting.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
import whisper_net as net

RATE, FULL, STEP = 16_000, 480_000, 8000
Sound = np.ndarray
# Seconds of one utterance put together of several sentences; the product cuts stretches at 15 s.
LONGEST = 16


def noise(length: int, chance: np.random.Generator) -> Sound:
    """Something without speech, at most 1: white, coloured, hum or beeps, chords, a saw, knocks."""
    kind, time = chance.integers(0, 6), np.arange(length) / RATE
    sound = chance.standard_normal(length)
    if kind == 1:
        spectrum = np.fft.rfft(sound)
        sound = np.fft.irfft(spectrum / np.maximum(1, np.arange(len(spectrum))) ** chance.uniform(0.3, 1), length)
    if kind == 2:
        sound = np.sin(2 * np.pi * chance.choice([50, 60, 100, 440, 880, 1000, 2500]) * time) + 0.05 * sound
        if chance.random() < 0.6:
            sound *= np.sin(2 * np.pi * chance.uniform(0.3, 2) * time) > chance.uniform(-0.5, 0.9)
    if kind == 3:
        sound = 0.02 * sound
        for _ in range(3):
            tone, slow = (2 * np.pi * chance.uniform(*hertz) * time for hertz in ((150, 900), (0, 1)))
            sound += np.sin(tone + 3 * np.sin(slow))
    if kind == 4:
        sound = 0.3 * sound + (2 * (time * chance.uniform(50, 300) % 1) - 1) * (np.sin(chance.uniform(1, 6) * time) > 0)
    if kind == 5:
        sound = sound * np.exp(-(time % chance.uniform(0.4, 4)) * chance.uniform(5, 40))
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


class Store:
    """Sounds one behind the other on the device, 16 bits each."""

    def __init__(self, sounds: Sequence[Sound], device: str) -> None:
        whole = [one if one.dtype == np.int16 else (np.clip(one, -1, 1) * 32767).astype(np.int16) for one in sounds]
        self.lengths = [len(one) for one in whole]
        self.starts = np.concatenate([[0], np.cumsum(self.lengths)])[:-1].tolist()
        self._all = torch.from_numpy(np.concatenate(whole)).to(device)

    def put(self, at: int, row: torch.Tensor, first: int) -> int:
        """Copies a sound into `row` from sample `first`; returns where it ends."""
        start, end = self.starts[at], min(first + self.lengths[at], len(row))
        row[first:end] = self._all[start : start + end - first]
        return end


@dataclass
class Heard:
    """One row of a batch: sounds of one store with pauses between them (samples), and what is to be written."""

    kind: str
    parts: list[int]
    pauses: list[int]
    text: str
    terms: list[str]
    length: int


class Batches:
    """Sound, tokens and targets of each step. `words` is tune.Words; `people`: share of rows that people read."""

    def __init__(self, voices: list[dict[str, Any]], read: list[tuple[Sound, str]], words: Any, device: str,
                 seed: int = 7, people: float = 0.2) -> None:  # fmt: skip
        self.voices, self.words, self.device, self.people = voices, words, device, people
        self.chance, noises = random.Random(seed), np.random.default_rng(seed)
        clips = [noise(STEP * int(noises.integers(2, 40)), noises) for _ in range(240)]
        self.stores = {
            "voice": Store([row["sound"] for row in voices], device),
            "read": Store([sound for sound, _ in read], device),
            "none": Store(clips, device),
        }
        self.read = [text for _, text in read]
        self.terms = sorted({term for row in voices for term in row["k"]})
        self.speakers: dict[Any, list[int]] = {}
        for at, row in enumerate(voices):
            self.speakers.setdefault(row["v"], []).append(at)
        self._decks: dict[Any, list[int]] = {}
        self._queue: list[list[Heard]] = []

    def _next(self, deck: Any, cards: Sequence[int]) -> int:
        if not self._decks.get(deck):
            self._decks[deck] = self.chance.sample(cards, len(cards))
        return self._decks[deck].pop()

    def one(self) -> Heard:
        """One in twenty holds nothing, `people` of all were read by people, the rest by voices (one to five sentences
        of one speaker)."""
        kind = self.chance.random()
        if kind < 0.05:
            at = self.chance.randrange(len(self.stores["none"].lengths))
            return Heard("none", [at], [], "", [], self.stores["none"].lengths[at])
        if kind < 0.05 + self.people:
            at = self._next("read", range(len(self.read)))
            return Heard("read", [at], [], self.read[at], [], self.stores["read"].lengths[at])
        first = self._next("voice", range(len(self.voices)))
        speaker, lengths = self.voices[first]["v"], self.stores["voice"].lengths
        found = Heard("voice", [first], [], self.voices[first]["t"], list(self.voices[first]["k"]), lengths[first])
        for _ in range(self.chance.choice((0, 0, 1, 1, 2, 2, 3, 4))):
            at = self._next(("speaker", speaker), self.speakers[speaker])
            pause = int(self.chance.uniform(0.02, 0.7) * RATE)
            if found.length + pause + lengths[at] > LONGEST * RATE:
                break
            found.parts.append(at)
            found.pauses.append(pause)
            found.text += f" {self.voices[at]['t']}"
            found.terms += self.voices[at]["k"]
            found.length += pause + lengths[at]
        return found

    def bias(self, row: Heard) -> list[int]:
        """A third of the rows stand under a list of other terms, more often than not with some of their own in it."""
        if self.chance.random() > 0.35:
            return list(self.words.prompt(""))
        some = self.chance.sample(self.terms, min(len(self.terms), self.chance.randint(6, 30)))
        if self.chance.random() < 0.7:
            some += row.terms
        self.chance.shuffle(some)
        plain = self.words.prompt("")
        return [*self.words.prompt(", ".join(some))[: -len(plain)][:200], *plain]

    def rows(self, size: int) -> list[Heard]:
        """Rows of about the same length stand together, so that little of a batch is silence."""
        if not self._queue:
            some = sorted((self.one() for _ in range(8 * size)), key=lambda row: row.length)
            self._queue = [some[at : at + size] for at in range(0, len(some), size)]
            self.chance.shuffle(self._queue)
        return self._queue.pop()

    def _random(self, low: float, high: float, size: int) -> torch.Tensor:
        return torch.tensor([self.chance.uniform(low, high) for _ in range(size)], device=self.device)

    def _which(self, rows: list[Heard], voice: float, other: float) -> torch.Tensor:
        """One row in so many, by kind; never where there is nothing."""
        odds = {"voice": voice, "read": other, "none": 0.0}
        return torch.tensor([float(self.chance.random() < odds[row.kind]) for row in rows], device=self.device)[:, None]

    def sound(self, rows: list[Heard]) -> tuple[torch.Tensor, torch.Tensor]:
        """(batch, samples) and the samples that each row has: speed, pauses before and after, room, band, noise."""
        size, device = len(rows), self.device
        raw = torch.zeros(size, max(row.length for row in rows) + 2, device=device)
        for at, row in enumerate(rows):
            end = 0
            for part, pause in zip(row.parts, [0, *row.pauses], strict=True):
                end = self.stores[row.kind].put(part, raw[at], end + pause)
        raw /= 32767
        spread = [0.15 if row.kind == "voice" else 0.07 if row.kind == "read" else 0.0 for row in rows]
        speed = torch.tensor([self.chance.uniform(1 - by, 1 + by) for by in spread], device=device)
        before, after = self._random(0, 0.5 * RATE, size), self._random(0.05 * RATE, 0.6 * RATE, size)
        length = torch.tensor([float(row.length) for row in rows], device=device)
        lengths = (before + length / speed + after).long().clamp(max=FULL)
        wide = int(lengths.max())
        wide += -wide % STEP
        place = (torch.arange(wide, device=device)[None] - before[:, None]) * speed[:, None]
        inside = (place >= 0) & (place < (length - 1)[:, None])
        low = place.clamp(min=0).floor().long().clamp(max=raw.shape[1] - 2)
        part = place - low
        x = (raw.gather(1, low) * (1 - part) + raw.gather(1, low + 1) * part) * inside
        # A room and a band, in one transform.
        both = wide + STEP
        tail = torch.arange(STEP, device=device)[None]
        decay = torch.exp(-tail / self._random(250, 2000, size)[:, None]) * self._random(0.02, 0.15, size)[:, None]
        room = torch.randn(size, STEP, device=device) * decay * self._which(rows, 0.35, 0.15)
        room[:, 0] = 1
        at = torch.linspace(0, RATE / 2, both // 2 + 1, device=device)[None]
        high, bottom = self._random(3200, 8000, size)[:, None], self._random(40, 300, size)[:, None]
        band = torch.sigmoid((high - at) / 150) * torch.sigmoid((at - bottom) / 30)
        limited = self._which(rows, 0.5, 0.3)
        spectrum = torch.fft.rfft(x, both) * torch.fft.rfft(room, both) * (1 - limited + limited * band)
        x = torch.fft.irfft(spectrum, both)[:, :wide]
        # Hiss of some colour, and now and then something from the store of noises.
        colour = torch.arange(1, wide // 2 + 2, device=device)[None] ** (
            -self._random(0.2, 0.9, size)[:, None] * self._which(rows, 0.6, 0.6)
        )
        hiss = torch.fft.irfft(torch.fft.rfft(torch.randn(size, wide, device=device)) * colour, wide)
        x = x + self._level(x, hiss, (5, 45)) * self._which(rows, 0.65, 0.4)
        other = torch.zeros(size, wide, device=device)
        with_other = self._which(rows, 0.25, 0.1)
        for row, wanted in enumerate(with_other[:, 0].tolist()):
            if wanted:
                self.stores["none"].put(self.chance.randrange(len(self.stores["none"].lengths)), other[row], 0)
        x = x + self._level(x, other, (5, 35)) * with_other
        loud = 0.9 * 10 ** (self._random(-14, 0, size)[:, None] / 20) / (x.abs().amax(1, keepdim=True) + 1e-6)
        quiet = torch.tensor([row.kind == "none" for row in rows], device=device)[:, None]
        faint = 10 ** (-self._random(10, 75, size)[:, None] / 20) * (self._random(0, 1, size)[:, None] > 0.08)
        return x * torch.where(quiet, faint, loud), lengths

    def _level(self, speech: torch.Tensor, noises: torch.Tensor, decibels: tuple[float, float]) -> torch.Tensor:
        """Noise so many decibels below speech."""
        power = speech.pow(2).mean(1, keepdim=True).sqrt() / (noises.pow(2).mean(1, keepdim=True).sqrt() + 1e-9)
        return noises * power * 10 ** (-self._random(*decibels, len(speech))[:, None] / 20)

    def step(self, size: int) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """(features, tokens, targets); targets are -100 where nothing is to be learnt."""
        rows = self.rows(size)
        sound, lengths = self.sound(rows)
        full = self.chance.random() < 0.25
        cut = FULL if full else min(FULL, sound.shape[1] + int(self.chance.uniform(0.5, 2.0) * RATE))
        cut = min(FULL, cut - cut % -RATE)
        sound = torch.nn.functional.pad(sound, (0, cut - sound.shape[1]))
        mel = net.features(sound, lengths if full else None)
        if self.chance.random() < 0.4:
            band = self.chance.randint(0, 70)
            mel[:, band : band + self.chance.randint(1, 10)] = 0
        told = [(self.bias(row), self.words.ids(" " + row.text)[:200] if row.text else []) for row in rows]
        wide = max(len(prompt) + len(text) for prompt, text in told)
        wide += -wide % 16
        tokens = torch.full((size, wide), self.words.end)
        targets = torch.full((size, wide), -100)
        for at, (prompt, text) in enumerate(told):
            tokens[at, : len(prompt) + len(text)] = torch.tensor(prompt + text)
            if not text:
                targets[at, len(prompt) - 4] = self.words.silent
            first = len(prompt) - 1
            targets[at, first : first + len(text) + 1] = torch.tensor([*text, self.words.end])[: wide - first]
        return mel, tokens.to(self.device), targets.to(self.device)
