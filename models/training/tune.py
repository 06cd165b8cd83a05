"""Trains the adapter: low-rank additions to every linear layer of Whisper base, on a GPU.

Run: python models/training/tune.py --base DIR --spoken DIR --read DIR --check DIR --out DIR [--minutes 4]

--base    meta.json, weights.bin (base weights, see pack.py) and tokenizer.json
--spoken  sound of voices: *.i16 (16 kHz) with *.jsonl (offset o, samples n, text t, terms k, voice v)
--read    human read speech: transcripts.txt (name, words) and the recordings NAME.wav
--check   dictations of held-out voices: NAME.ogg with NAME.json (family, text, n), bias.json (family -> bias words)

The input of the encoder is cut to the longest utterance of the batch plus about a second, at random; a third of the
batches hear the full 30 s. A third of the utterances stand under a list of bias words. Silence and noise have an empty
target. Writes adapter.npz (float16 `name.a`, `name.b`: weight + strength * b @ a) and heard.json, what the tuned
weights hear at several strengths.
"""

from __future__ import annotations

import argparse
import difflib
import json
import random
import re
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
import torch.nn.functional as F
import whisper_net as net
from held_out import SPEAKERS
from tokenizers import Tokenizer

RATE, FULL = 16_000, 480_000
RANK, BATCH, WARM, RATE_OF_LEARNING = 32, 48, 40, 5e-4
STRENGTHS = (0.0, 0.4, 0.6, 0.8, 1.0)
Sound = np.ndarray


class Words:
    """Text <-> tokens, and the special ones."""

    def __init__(self, path: Path) -> None:
        self.known = Tokenizer.from_file(str(path))
        names = ("startoftranscript", "en", "transcribe", "notimestamps", "startofprev", "endoftext")
        self.start, self.en, self.task, self.plain, self.before, self.end = (
            self.known.token_to_id(f"<|{name}|>") for name in names
        )
        self.silent = self.known.token_to_id("<|nospeech|>") or self.known.token_to_id("<|nocaptions|>")

    def ids(self, text: str) -> list[int]:
        return self.known.encode(text, add_special_tokens=False).ids

    def prompt(self, bias: str) -> list[int]:
        """As the product gives it to the decoder: with or without bias words, without timestamps."""
        head = [self.before, *self.ids(" " + bias.strip())] if bias else []
        return [*head, self.start, self.en, self.task, self.plain]


def base(folder: Path, device: str) -> net.Weights:
    """Weights of the base: rows of 8 bits with their scale, the rest as they were."""
    raw, at, found = (folder / "weights.bin").read_bytes(), 0, {}
    for name, shape, kind, _ in json.loads((folder / "meta.json").read_text()):
        size = int(np.prod(shape))
        if kind == "q":
            scale = np.frombuffer(raw, np.float32, shape[0], at)
            value = np.frombuffer(raw, np.int8, size, at + 4 * shape[0]).reshape(shape) * scale[:, None]
            at += 4 * shape[0] + size
        else:
            value = np.frombuffer(raw, kind, size, at).reshape(shape)
            at += value.nbytes
        if kind in ("q", "float16"):
            found[name] = torch.from_numpy(np.asarray(value, np.float32).copy()).to(device)
    assert at == len(raw)
    return found


def adapted(weights: net.Weights) -> list[str]:
    return [name for name, value in weights.items() if value.ndim == 2 and "linear" in name and name.endswith("weight")]


class Adapter:
    """`b @ a` for each adapted weight; b starts at zero, so that training starts at the base."""

    def __init__(self, weights: net.Weights, rank: int) -> None:
        self.names = adapted(weights)
        self.a, self.b = {}, {}
        for name in self.names:
            rows, columns = weights[name].shape
            start = torch.randn(rank, columns, device=weights[name].device) / columns**0.5
            self.a[name] = start.requires_grad_(True)
            self.b[name] = torch.zeros(rows, rank, device=weights[name].device, requires_grad=True)

    def parameters(self) -> list[torch.Tensor]:
        return [*self.a.values(), *self.b.values()]

    def on(self, weights: net.Weights, strength: float = 1.0) -> net.Weights:
        return {
            name: value + strength * (self.b[name] @ self.a[name]) if name in self.a else value
            for name, value in weights.items()
        }

    def save(self, path: Path) -> None:
        held = {}
        for name in self.names:
            held[f"{name}.a"] = self.a[name].detach().half().cpu().numpy()
            held[f"{name}.b"] = self.b[name].detach().half().cpu().numpy()
        np.savez_compressed(path, **held)


def noise(length: int, chance: np.random.Generator) -> Sound:
    """White, coloured, or hum and beeps."""
    kind = chance.integers(0, 3)
    sound = chance.standard_normal(length)
    if kind == 1:
        spectrum = np.fft.rfft(sound)
        sound = np.fft.irfft(spectrum / np.maximum(1, np.arange(len(spectrum))) ** chance.uniform(0.3, 1), length)
    if kind == 2:
        time_at, tone = np.arange(length) / RATE, chance.choice([50, 60, 100, 440, 880, 1000, 2500])
        sound = np.sin(2 * np.pi * tone * time_at) + 0.05 * sound
        if chance.random() < 0.5:
            sound *= np.sin(2 * np.pi * chance.uniform(0.3, 2) * time_at) > chance.uniform(-0.5, 0.9)
    return (sound / (np.abs(sound).max() + 1e-9)).astype(np.float32)


def disturbed(sound: Sound, synthetic: bool, chance: random.Random, device: str) -> torch.Tensor:
    """Speed, pause before and after, reverberation, band limit, noise, loudness."""
    x = torch.from_numpy(np.array(sound, np.float32)).to(device)
    if chance.random() < (0.6 if synthetic else 0.2):
        spread = 0.14 if synthetic else 0.06
        x = F.interpolate(x[None, None], scale_factor=1 / chance.uniform(1 - spread, 1 + spread), mode="linear")[0, 0]
    before, after = int(chance.uniform(0, 0.5) * RATE), int(chance.uniform(0, 0.5) * RATE)
    # Lengths of many small factors: odd ones make the transforms three times slower.
    after += -(len(x) + before + after) % 8000
    x = F.pad(x, (before, after))[:FULL]
    size = len(x)
    if chance.random() < (0.35 if synthetic else 0.15):
        length = chance.choice([2000, 4000, 8000])
        decay = torch.exp(-torch.arange(length, device=device) / (length / chance.uniform(4, 8)))
        room = torch.randn(length, device=device) * decay * chance.uniform(0.02, 0.15)
        room[0] = 1
        both = size + length
        x = torch.fft.irfft(torch.fft.rfft(x, both) * torch.fft.rfft(room, both), both)[:size]
    if chance.random() < (0.5 if synthetic else 0.3):
        spectrum = torch.fft.rfft(x)
        at = torch.linspace(0, RATE / 2, len(spectrum), device=device)
        low, high = chance.uniform(40, 300), chance.uniform(3200, 8000)
        x = torch.fft.irfft(spectrum * torch.sigmoid((high - at) / 150) * torch.sigmoid((at - low) / 30), size)
    if chance.random() < (0.7 if synthetic else 0.4):
        other = torch.randn(size, device=device)
        if chance.random() < 0.6:
            spectrum = torch.fft.rfft(other)
            other = torch.fft.irfft(
                spectrum / torch.arange(1, len(spectrum) + 1, device=device) ** chance.uniform(0.2, 0.9), size
            )
        level = x.pow(2).mean().sqrt() * 10 ** (-chance.uniform(5, 45) / 20)
        x = x + other / (other.pow(2).mean().sqrt() + 1e-9) * level
    return x * (10 ** (chance.uniform(-14, 0) / 20) * 0.9 / (x.abs().max() + 1e-6))


@torch.no_grad()
def transcribe(weights: net.Weights, sounds: list[Sound], prompts: list[list[int]], words: Words, device: str,
               most: int = 110) -> list[str]:  # fmt: skip
    """Greedy text of each sound; each prompt is taken with those of its own length."""
    order: dict[int, list[int]] = {}
    for at, prompt in enumerate(prompts):
        order.setdefault(len(prompt), []).append(at)
    barred = torch.zeros(51865, device=device)
    barred[words.end + 1 :] = -1e9
    texts = [""] * len(sounds)
    for all_of in order.values():
        for first in range(0, len(all_of), 64):
            some = all_of[first : first + 64]
            x = torch.zeros(len(some), FULL, device=device)
            for row, at in enumerate(some):
                sound = sounds[at][:FULL]
                x[row, : len(sound)] = torch.from_numpy(np.array(sound, np.float32))
            lengths = torch.tensor([min(FULL, len(sounds[at])) for at in some], device=device)
            tokens = torch.tensor([prompts[at] for at in some], device=device)
            skip = tokens.shape[1]
            done = torch.zeros(len(some), dtype=torch.bool, device=device)
            with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
                heard = net.cross(weights, net.encode(weights, net.features(x, lengths)))
                for _ in range(most):
                    scores = net.logits(weights, net.decode(weights, tokens, heard)[:, -1]).float() + barred
                    best = torch.where(done, words.end, scores.argmax(-1))
                    tokens = torch.cat([tokens, best[:, None]], 1)
                    done |= best == words.end
                    if bool(done.all()):
                        break
            for at, row in zip(some, tokens[:, skip:].tolist(), strict=True):
                texts[at] = words.known.decode([token for token in row if token < words.end]).strip()
    return texts


def written(heard: str, script: str) -> str:
    """The words of the script with the marks and capitals of what the base heard; numbers stay words."""
    hypothesis, truth = heard.split(), script.lower().split()
    bare = [re.sub(r"[^a-z0-9']", "", word.lower()) for word in hypothesis]
    made: list[str] = []
    for tag, first, last, start, end in difflib.SequenceMatcher(None, bare, truth, autojunk=False).get_opcodes():
        made += hypothesis[first:last] if tag == "equal" else truth[start:end]
    return " ".join(made)


def read_speech(folder: Path) -> tuple[list[tuple[Sound, str]], list[tuple[str, Sound, str]]]:
    """(sound, script) for training, and (name, sound, script) of the speakers that are held out."""
    train, held = [], []
    for line in (folder / "transcripts.txt").read_text(encoding="utf-8").splitlines():
        name, _, script = line.partition(" ")
        path = folder / f"{name}.wav"
        if path.is_file():
            sound = soundfile.read(path, dtype="float32")[0]
            if name.split("-")[0] in SPEAKERS:
                held.append((name, sound, script))
            else:
                train.append((sound, script))
    return train, held


def spoken(folder: Path) -> list[dict[str, Any]]:
    found = []
    for path in sorted(folder.glob("*.jsonl")):
        raw = np.fromfile(path.with_suffix(".i16"), np.int16)
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if row["o"] + row["n"] <= len(raw):
                found.append({**row, "sound": raw[row["o"] : row["o"] + row["n"]]})
    return found


class Batches:
    """Sound and targets of each step."""

    def __init__(self, voices: list[dict[str, Any]], read: list[tuple[Sound, str]], words: Words, device: str) -> None:
        self.voices, self.read, self.words, self.device = voices, read, words, device
        self.chance, self.noises = random.Random(7), np.random.default_rng(7)
        self.terms = sorted({term for row in voices for term in row["k"]})
        most = Counter(row["v"] for row in voices).most_common(1)[0][0]
        # The one voice that is quick to make says most sentences; people and the other voices are heard more often.
        self.items = [("voice", at) for at, row in enumerate(voices) for _ in range(1 if row["v"] == most else 3)]
        self.items += [("read", at) for at in range(len(read)) for _ in range(2)]
        self.items += [("none", 0)] * max(1, len(self.items) // 18)
        self._queue: list[tuple[str, int]] = []

    def bias(self, row: dict[str, Any] | None) -> list[int]:
        """A list of other terms, with those of the sentence among them more often than not."""
        if self.chance.random() > 0.33:
            return self.words.prompt("")
        some = self.chance.sample(self.terms, min(len(self.terms), self.chance.randint(6, 30)))
        if row and self.chance.random() < 0.7:
            some += row["k"]
        self.chance.shuffle(some)
        return [*self.words.prompt(", ".join(some))[:-4][:200], *self.words.prompt("")]

    def one(self) -> tuple[torch.Tensor, list[int], list[int]]:
        if not self._queue:
            self._queue = self.chance.sample(self.items, len(self.items))
        kind, at = self._queue.pop()
        if kind == "none":
            sound = noise(8000 * self.chance.randint(2, 40), self.noises) * 10 ** (-self.noises.uniform(10, 75) / 20)
            sound = sound * (self.noises.random() > 0.08)
            return torch.from_numpy(np.asarray(sound, np.float32)).to(self.device), self.bias(None), []
        if kind == "voice":
            row = self.voices[at]
            sound, text = disturbed(row["sound"].astype(np.float32) / 32767, True, self.chance, self.device), row["t"]
            return sound, self.bias(row), self.words.ids(" " + text)[:160]
        sound, text = self.read[at]
        return disturbed(sound, False, self.chance, self.device), self.bias(None), self.words.ids(" " + text)[:160]

    def step(self, size: int) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """(features, tokens, targets); targets are -100 where nothing is to be learnt."""
        rows = [self.one() for _ in range(size)]
        longest = max(len(sound) for sound, _, _ in rows)
        full = self.chance.random() < 0.33
        cut = FULL if full else min(FULL, longest + int(self.chance.uniform(0.5, 2.0) * RATE))
        cut += -cut % 320
        sound = torch.zeros(size, cut, device=self.device)
        for at, (one, _, _) in enumerate(rows):
            sound[at, : len(one)] = one[:cut]
        lengths = torch.tensor([len(one) for one, _, _ in rows], device=self.device)
        mel = net.features(sound, lengths if full else None)
        if self.chance.random() < 0.4:
            band = self.chance.randint(0, 70)
            mel[:, band : band + self.chance.randint(1, 10)] = 0
        wide = max(len(prompt) + len(text) for _, prompt, text in rows)
        tokens = torch.full((size, wide), self.words.end)
        targets = torch.full((size, wide), -100)
        for at, (_, prompt, text) in enumerate(rows):
            tokens[at, : len(prompt) + len(text)] = torch.tensor(prompt + text)
            if not text:
                targets[at, len(prompt) - 4] = self.words.silent
            first = len(prompt) - 1
            targets[at, first : first + len(text) + 1] = torch.tensor([*text, self.words.end])[: wide - first]
        return mel, tokens.to(self.device), targets.to(self.device)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("base", "spoken", "read", "check", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--minutes", type=float, default=4.0)
    take.add_argument("--steps", type=int, default=700)
    take.add_argument("--size", type=int, default=BATCH)
    take.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    given = take.parse_args()
    began = time.time()
    device = given.device
    torch.manual_seed(1)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    words, weights = Words(given.base / "tokenizer.json"), base(given.base, device)
    read, held = read_speech(given.read)
    plain = words.prompt("")
    heard = transcribe(weights, [sound for sound, _ in read], [plain] * len(read), words, device)
    read = [(sound, written(text, script)) for text, (sound, script) in zip(heard, read, strict=True)]
    voices = spoken(given.spoken)
    hours = sum(row["n"] for row in voices) / RATE / 3600
    print(f"{len(voices)} spoken ({hours:.1f} h), {len(read)} read, {len(held)} held out; {time.time() - began:.0f} s")
    batches, adapter = Batches(voices, read, words, device), Adapter(weights, RANK)
    learn = torch.optim.AdamW(adapter.parameters(), lr=RATE_OF_LEARNING, weight_decay=0.01, betas=(0.9, 0.98))
    started, seen = time.time(), 0.0
    step = 0
    for step in range(given.steps):
        # The rate falls with the time that is used, so that a slow machine ends its course as well.
        done = max(step / given.steps, (time.time() - started) / (60 * given.minutes))
        if done >= 1:
            break
        for group in learn.param_groups:
            falling = 0.02 + 0.98 * (0.5 + 0.5 * np.cos(np.pi * done))
            group["lr"] = RATE_OF_LEARNING * min(1, (step + 1) / WARM) * falling
        mel, tokens, targets = batches.step(given.size)
        tuned = adapter.on(weights)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            hidden = net.decode(tuned, tokens, net.cross(tuned, net.encode(tuned, mel)))
            scores = net.logits(tuned, hidden[targets != -100])
        loss = F.cross_entropy(scores.float(), targets[targets != -100])
        learn.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(adapter.parameters(), 1.0)
        learn.step()
        seen = loss.item() if not step else 0.96 * seen + 0.04 * loss.item()
        if step in (0, 5, 20) or step % 50 == 0:
            print(f"step {step} loss {seen:.3f} {time.time() - started:.0f} s", flush=True)
    print(f"trained {step + 1} steps, {time.time() - started:.0f} s, loss {seen:.3f}", flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    adapter.save(given.out / "adapter.npz")
    told = {}
    bias = json.loads((given.check / "bias.json").read_text())
    for strength in STRENGTHS:
        with torch.no_grad():
            tuned = adapter.on(weights, strength)
        row: dict[str, Any] = {
            "read": list(zip([script for _, _, script in held],
                             transcribe(tuned, [sound for _, sound, _ in held], [plain] * len(held), words, device),
                             strict=True)),
        }  # fmt: skip
        for path in sorted(given.check.glob("*.ogg")):
            rows, whole = json.loads(path.with_suffix(".json").read_text()), soundfile.read(path, dtype="float32")[0]
            parts = np.split(whole, np.cumsum([one["n"] for one in rows])[:-1])
            texts = [one["text"] for one in rows]
            for name, prompts in (("plain", [plain] * len(rows)),
                                  ("bias", [words.prompt(bias[one["family"]]) for one in rows])):  # fmt: skip
                heard = transcribe(tuned, parts, prompts, words, device)
                row[f"{path.stem} {name}"] = list(zip(texts, heard, strict=True))
        told[str(strength)] = row
        (given.out / "heard.json").write_text(json.dumps(told))
        print(f"strength {strength}: heard, {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
