"""One command from recordings to the weights of the net: speak, align, train. Needs a GPU for the last.

Run: python models/training/train.py --speech FOLDER --prepared FOLDER --out FOLDER [--minutes 4]

`--prepared` is what prepare.py wrote. Writes net.npz, meta.json and log.txt.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
os.environ.setdefault("OMP_NUM_THREADS", "1")
PIECE = 240  # frames of a training piece, without its context
BATCH = 192
SPEEDS = (0.9, 1.0, 1.1)
# Real speech is heard this many times as often as its length.
REAL = 3


def spoken(job: tuple[str, str, int]) -> np.ndarray:
    import sounds

    return sounds.say(*job)


def read(job: Path) -> np.ndarray:
    import sounds

    return sounds.read(job)


def cepstra(sound: np.ndarray) -> np.ndarray:
    import sounds
    import torch

    torch.set_num_threads(1)
    return sounds.Mfcc(13, 23)(torch.from_numpy(sound)[None])[0].numpy()


def gather(speech: Path, prepared: Path, workers: int) -> tuple[list[np.ndarray], list[list[str]], list[bool]]:
    """Sounds, their words, and whether each is real; without the held-out speakers."""
    import sounds
    from held_out import SPEAKERS as HELD_OUT

    utterances = json.loads((prepared / "utterances.json").read_text())
    texts = json.loads((prepared / "sentences.json").read_text())
    kept = [(speech / path, words) for speaker, path, words in utterances if speaker not in HELD_OUT]
    jobs = [(text, sounds.VOICES[at % len(sounds.VOICES)], at) for at, text in enumerate(texts)]
    with multiprocessing.get_context("fork").Pool(workers) as pool:
        real = pool.map(read, [path for path, _ in kept], chunksize=8)
        made = pool.map(spoken, jobs, chunksize=8)
    words = [said for _, said in kept] + [text.split() for text in texts]
    return real + made, words, [True] * len(real) + [False] * len(made)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__)
    for name in ("speech", "prepared", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--minutes", type=float, default=4.0)
    take.add_argument("--workers", type=int, default=os.cpu_count() or 2)
    given = take.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    import align

    began = time.time()
    lexicon = json.loads((given.prepared / "lexicon.json").read_text())
    phones = ["SIL", *sorted({phone for ways in lexicon.values() for way in ways for phone in way.split()})]
    noises, words, real = gather(given.speech, given.prepared, given.workers)
    hours = [sum(len(one) for one, is_real in zip(noises, real, strict=True) if is_real is kind) / 16000 / 3600
             for kind in (True, False)]
    print(f"{hours[0]:.2f} h real, {hours[1]:.2f} h synthetic, {time.time() - began:.0f} s", flush=True)
    with multiprocessing.get_context("fork").Pool(given.workers) as pool:
        rows = pool.map(cepstra, noises, chunksize=8)
    chance = np.random.default_rng(0)
    rows = [align.with_deltas(one + chance.normal(0, 0.01, one.shape)) for one in rows]
    aligned = align.align(rows, words, lexicon, phones, given.workers)
    good = [at for at, one in enumerate(aligned) if len(one) == len(rows[at])]
    print(f"{len(good)} of {len(aligned)} usable, {time.time() - began:.0f} s", flush=True)
    np.savez_compressed(given.out / "aligned.npz", **{str(at): aligned[at].astype("u1") for at in good})
    fit([noises[at] for at in good], [aligned[at] for at in good], [real[at] for at in good], phones, given, began)


def fit(
    noises: list[np.ndarray], aligned: list[np.ndarray], real: list[bool], phones: list[str],
    given: argparse.Namespace, began: float,
) -> None:  # fmt: skip
    import net
    import sounds
    import torch
    import torchaudio

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(0)
    mfcc = sounds.Mfcc().to(device)
    print(f"MFCC differs by at most {mfcc.check():.5f} from Kaldi's (torchaudio)", flush=True)
    # All sounds at all speeds, end to end on the device, with the alignment of each stretched to fit.
    pieces: list[tuple[int, int, int]] = []
    sound_parts, phone_parts, at_sound, at_phone = [], [], 0, 0
    for one, said, is_real in zip(noises, aligned, real, strict=True):
        for speed in SPEEDS:
            heard = torch.from_numpy(one).to(device)
            if speed != 1.0:
                heard = torchaudio.functional.resample(heard, round(1000 * speed), 1000)
            frames = 1 + (len(heard) - 400) // 160
            follow = said[np.minimum((np.arange(frames) * speed).astype(int), len(said) - 1)]
            pieces += [(at_sound, at_phone, frames)] * (REAL if is_real else 1)
            sound_parts.append(heard)
            phone_parts.append(torch.from_numpy(follow.astype("i8")))
            at_sound, at_phone = at_sound + len(heard), at_phone + frames
    sound, phone = torch.cat(sound_parts), torch.cat(phone_parts).to(device)
    lengths = np.array([frames for _, _, frames in pieces], float)
    language = net.trigram([said[::1] for said in aligned], len(phones)).to(device)
    noise = sounds.Noises(0, device)
    span = (PIECE + 2 * net.CONTEXT - 1) * 160 + 400
    chance = np.random.default_rng(1)

    def batch() -> tuple[torch.Tensor, torch.Tensor]:
        picked = chance.choice(len(pieces), BATCH, p=lengths / lengths.sum())
        heard = torch.zeros(BATCH, span, device=device)
        follow = torch.zeros(BATCH, PIECE, dtype=torch.long, device=device)
        for row, at in enumerate(picked):
            where, phone_at, frames = pieces[at]
            begin = int(chance.integers(-20, max(1, frames - PIECE + 20)))
            first = begin - net.CONTEXT
            low, high = max(0, first), min(frames, begin + PIECE + net.CONTEXT)
            count = (high - low - 1) * 160 + 400
            into = (low - first) * 160
            heard[row, into : into + count] = sound[where + low * 160 : where + low * 160 + count]
            low, high = max(0, begin), min(frames, begin + PIECE)
            follow[row, low - begin : high - begin] = phone[phone_at + low : phone_at + high]
        return mfcc(noise(heard)), follow

    with torch.no_grad():
        some = torch.cat([batch()[0].reshape(-1, sounds.CEPSTRA) for _ in range(6)])
    mean, spread = some.mean(0).cpu().numpy(), some.std(0).cpu().numpy()
    model = net.Tdnn(len(phones), mean, spread).to(device)
    print(f"{sum(one.numel() for one in model.parameters()) / 1e6:.2f} million parameters", flush=True)
    optimiser = torch.optim.AdamW(model.parameters(), 2e-3, weight_decay=0.01)
    started, step, sums = time.time(), 0, np.zeros(3)
    while (done := (time.time() - started) / (60 * given.minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = net.rate(done, 2e-3)
        features, follow = batch()
        outputs, other = model(features)
        target = follow[:, :: net.STEP]
        cross = torch.nn.functional.cross_entropy(other.transpose(1, 2), target)
        wide = done > 0.08
        lattice = net.mmi(outputs, net.near(target, len(phones)), language)
        loss = (lattice if wide else 0.5 * lattice) + 0.5 * cross + 5e-4 * outputs.pow(2).mean()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        right = (other.argmax(2) == target).float().mean()
        sums += [float(lattice.detach()), float(cross.detach()), float(right)]
        if step % 50 == 0:
            print(f"step {step} mmi {sums[0] / 50:.4f} ce {sums[1] / 50:.4f} right {sums[2] / 50:.3f} "
                  f"{time.time() - started:.0f} s", flush=True)
            sums[:] = 0
        if step % 400 == 0:
            save(model, phones, given.out)
    save(model, phones, given.out)
    print(f"done after {step} steps, {time.time() - began:.0f} s", flush=True)


def save(model: object, phones: list[str], out: Path) -> None:
    state = {name: value.detach().cpu().numpy() for name, value in model.state_dict().items()}  # type: ignore[attr-defined]
    np.savez_compressed(out / "net.npz", **{name: value for name, value in state.items() if "other" not in name})
    (out / "meta.json").write_text(json.dumps({"phones": phones}), encoding="utf-8")


if __name__ == "__main__":
    main()
