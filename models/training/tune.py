"""Trains the adapter: low-rank additions to every linear layer of Whisper base, on a GPU.

Run: python models/training/tune.py --base DIR --spoken DIR --read DIR --check DIR --out DIR [--minutes 4]

--base    meta.json, weights.bin (base weights, see pack.py) and tokenizer.json
--spoken  sound of voices: *.i16 (16 kHz) with *.jsonl (offset o, samples n, text t, terms k, voice v)
--read    human read speech: transcripts.txt (name, words) and the recordings NAME.wav
--check   dictations of held-out voices: NAME.ogg with NAME.json (family, text, n), bias.json (family -> bias words)

What a batch is made of stands in tune_sound.py. The input of the encoder is cut to the longest utterance of the batch
plus about a second, at random; a quarter of the batches hear the full 30 s. Writes adapter.npz (float16 `name.a`,
`name.b`: weight + strength * b @ a), every KEEP steps and at the end, and heard.json, what the tuned weights hear at
several strengths.
"""

from __future__ import annotations

import argparse
import difflib
import json
import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
import torch.nn.functional as F
import whisper_net as net
from held_out import SPEAKERS
from tokenizers import Tokenizer
from tune_sound import FULL, RATE, Batches, Sound

RANK, BATCH, WARM, RATE_OF_LEARNING = 48, 64, 60, 5e-4
KEEP = 1000
MOST = 110  # tokens that an utterance may be heard to have
STRENGTHS = (0.0, 0.4, 0.5, 0.6, 0.75, 1.0)


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

    def load(self, path: Path) -> None:
        """What was saved, of the same rank."""
        with np.load(path) as held, torch.no_grad():
            for name in self.names:
                self.a[name].copy_(torch.from_numpy(held[f"{name}.a"].astype(np.float32)))
                self.b[name].copy_(torch.from_numpy(held[f"{name}.b"].astype(np.float32)))

    def save(self, path: Path) -> None:
        held = {}
        for name in self.names:
            held[f"{name}.a"] = self.a[name].detach().half().cpu().numpy()
            held[f"{name}.b"] = self.b[name].detach().half().cpu().numpy()
        np.savez_compressed(path, **held)


@torch.no_grad()
def transcribe(weights: net.Weights, sounds: list[Sound], prompts: list[list[int]], words: Words, device: str,
               most: int = MOST) -> list[str]:  # fmt: skip
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


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("base", "spoken", "read", "check", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--minutes", type=float, default=4.0)
    take.add_argument("--steps", type=int, default=6000)
    take.add_argument("--size", type=int, default=BATCH)
    take.add_argument("--rank", type=int, default=RANK)
    take.add_argument("--rate", type=float, default=RATE_OF_LEARNING, help="of learning, at its highest")
    take.add_argument("--people", type=float, default=0.2, help="share of what is heard that people read")
    take.add_argument("--seed", type=int, default=1)
    take.add_argument("--most", type=int, default=MOST, help="tokens of an utterance that is heard")
    take.add_argument("--start", type=Path, help="adapter.npz to go on with")
    take.add_argument("--strengths", type=float, nargs="+", default=STRENGTHS)
    take.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    given = take.parse_args()
    began = time.time()
    device = given.device
    torch.manual_seed(given.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    # cuDNN plans its attention anew for every length, which takes longer than the step.
    torch.backends.cuda.enable_cudnn_sdp(False)
    words, weights = Words(given.base / "tokenizer.json"), base(given.base, device)
    read, held = read_speech(given.read)
    plain = words.prompt("")
    heard = transcribe(weights, [sound for sound, _ in read], [plain] * len(read), words, device, given.most)
    read = [(sound, written(text, script)) for text, (sound, script) in zip(heard, read, strict=True)]
    voices = spoken(given.spoken)
    hours = sum(row["n"] for row in voices) / RATE / 3600
    print(f"{len(voices)} spoken ({hours:.1f} h), {len(read)} read, {len(held)} held out; {time.time() - began:.0f} s")
    batches = Batches(voices, read, words, device, given.seed, given.people)
    adapter = Adapter(weights, given.rank)
    if given.start:
        adapter.load(given.start)
    learn = torch.optim.AdamW(adapter.parameters(), lr=given.rate, weight_decay=0.01, betas=(0.9, 0.98))
    given.out.mkdir(parents=True, exist_ok=True)
    started, seen = time.time(), 0.0
    step = 0
    for step in range(given.steps):
        # The rate falls with the time that is used, so that a slow machine ends its course as well.
        done = max(step / given.steps, (time.time() - started) / (60 * given.minutes))
        if done >= 1:
            break
        for group in learn.param_groups:
            falling = 0.02 + 0.98 * (0.5 + 0.5 * np.cos(np.pi * done))
            group["lr"] = given.rate * min(1, (step + 1) / WARM) * falling
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
        if step in (0, 5, 20) or step % 100 == 0:
            print(f"step {step} loss {seen:.3f} {time.time() - started:.0f} s", flush=True)
        if step and not step % KEEP:
            adapter.save(given.out / "adapter.npz")
    print(f"trained {step + 1} steps, {time.time() - started:.0f} s, loss {seen:.3f}", flush=True)
    adapter.save(given.out / "adapter.npz")
    told = {}
    bias = json.loads((given.check / "bias.json").read_text())
    for strength in given.strengths:
        with torch.no_grad():
            tuned = adapter.on(weights, strength)
        row: dict[str, Any] = {
            "read": list(zip([script for _, _, script in held],
                             transcribe(tuned, [sound for _, sound, _ in held], [plain] * len(held), words, device,
                                        given.most),
                             strict=True)),
        }  # fmt: skip
        for path in sorted(given.check.glob("*.ogg")):
            rows, whole = json.loads(path.with_suffix(".json").read_text()), soundfile.read(path, dtype="float32")[0]
            parts = np.split(whole, np.cumsum([one["n"] for one in rows])[:-1])
            texts = [one["text"] for one in rows]
            for name, prompts in (("plain", [plain] * len(rows)),
                                  ("bias", [words.prompt(bias[one["family"]]) for one in rows])):  # fmt: skip
                heard = transcribe(tuned, parts, prompts, words, device, given.most)
                row[f"{path.stem} {name}"] = list(zip(texts, heard, strict=True))
        told[str(strength)] = row
        (given.out / "heard.json").write_text(json.dumps(told))
        print(f"strength {strength}: heard, {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
