"""Sounds and their words -> which phone is spoken in each 10 ms, by a flat start of a monophone GMM (kaldi_hmm_gmm).

The flat start cuts each utterance into equal parts, one for each phone state; ten rounds of alignment and
re-estimation follow, with ever more Gaussians.
"""

from __future__ import annotations

import multiprocessing
import time

import kaldi_hmm_gmm as khg  # before kaldifst: the other order hangs
import numpy as np
from graph import lexicon_fst, monophone, tuples

ROUNDS = (0, 160, 240, 320, 400, 500, 600, 700, 800, 0)
# Rounds are run on so many of the shorter utterances; all are aligned at the end.
MOST = 900
_HELD: dict[str, object] = {}


def deltas(rows: np.ndarray) -> np.ndarray:
    pad = np.pad(rows, ((2, 2), (0, 0)), "edge")
    return (2 * pad[4:] + pad[3:-1] - pad[1:-3] - 2 * pad[:-4]) / 10


def with_deltas(cepstra: np.ndarray) -> np.ndarray:
    """(frames, 13) -> (frames, 39), the mean of the utterance taken away."""
    rows = cepstra - cepstra.mean(0)
    first = deltas(rows)
    return np.hstack([rows, first, deltas(first)]).astype("f4")


def _one(number: int) -> tuple[list[int], float]:
    tm, am, features, graphs, beam = (_HELD[key] for key in ("tm", "am", "features", "graphs", "beam"))
    decodable = khg.DecodableAmDiagGmmScaled(am, tm, features[number], 0.1)  # type: ignore[index]
    config = khg.AlignConfig(beam=beam, retry_beam=beam * 4)  # type: ignore[operator]
    graph = graphs[number].copy()  # type: ignore[index]
    found = khg.align_utterance_wrapper(config, str(number), 0.1, graph, decodable, 0, 0, 0, 0.0, 0)
    return list(found[5]), float(found[3])


def align(
    features: list[np.ndarray], words: list[list[str]], lexicon: dict[str, list[str]], phones: list[str], workers: int
) -> list[np.ndarray]:
    """Phone index for each frame of each utterance; an empty array where the alignment failed.

    `features`: (frames, 39) each. `phones[0]` is silence.
    """
    began = time.time()
    number = {phone: at + 1 for at, phone in enumerate(phones)}
    topology, context, tm = monophone(len(phones))
    del topology
    vocabulary = sorted({word for said in words for word in said})
    word_number = {word: at + 1 for at, word in enumerate(vocabulary)} | {"#0": len(vocabulary) + 1}
    ways = [(word, way.split(), 0) for word in vocabulary for way in lexicon[word]]
    spelt = lexicon_fst(ways, number, word_number, [len(phones) + 1], silence=0.5, marks=False)
    options = khg.TrainingGraphCompilerOptions()
    options.transition_scale, options.self_loop_scale = 1.0, 0.1
    compiler = khg.TrainingGraphCompiler(tm, context, spelt, [], options)
    graphs = [compiler.compile_graph_from_text([word_number[word] for word in said]) for said in words]
    pdf_of = {(phone, state): pdf for phone, state, pdf, _ in tuples(tm)}
    order = sorted(range(len(features)), key=lambda at: len(features[at]))
    some = order[:: max(1, len(order) // MOST)]
    every = np.vstack([features[at] for at in some])
    model = khg.AmDiagGmm()
    first = khg.DiagGmm(1, every.shape[1])
    first.set_weights(np.ones(1, "f4"))
    first.set_invvars_and_means((1 / every.var(0))[None].astype("f4"), every.mean(0)[None].astype("f4"))
    first.compute_gconsts()
    model.init(first, tm.num_pdfs)

    def update(aligned: list[tuple[int, np.ndarray]], mixtures: int) -> None:
        sums = khg.AccumAmDiagGmm()
        sums.init(model, 15)
        for at, pdfs in aligned:
            rows = features[at]
            for frame, pdf in enumerate(pdfs):
                sums.accumulate_for_gmm(model, rows[frame], int(pdf), 1.0)
        khg.mle_am_diag_gmm_update(khg.MleDiagGmmOptions(), sums, 15, model)
        if mixtures:
            counts = np.bincount(np.concatenate([pdfs for _, pdfs in aligned]), minlength=tm.num_pdfs)
            model.split_by_count(counts.astype("f4"), mixtures, 0.01, 0.25, 20.0)

    def equal(at: int) -> np.ndarray:
        said = [1] + [number[phone] for word in words[at] for phone in lexicon[word][0].split()] + [1]
        states = [(phone, state) for phone in said for state in range(3)]
        length = len(features[at])
        return np.array([pdf_of[states[part]] for part in np.arange(length) * len(states) // length])

    def run(which: list[int], beam: float) -> list[list[int]]:
        _HELD.update(tm=tm, am=model, features=features, graphs=graphs, beam=beam)
        with multiprocessing.get_context("fork").Pool(workers) as pool:
            found = pool.map(_one, which, chunksize=8)
        likeness = sum(score for _, score in found) / max(1, sum(len(ids) for ids, _ in found))
        failed = sum(not ids for ids, _ in found)
        print(f"aligned {len(which)}, {failed} failed, {likeness:.2f} a frame, {time.time() - began:.0f} s", flush=True)
        return [ids for ids, _ in found]

    pdf = np.array([0] + [tm.transition_id_to_pdf(at) for at in range(1, tm.num_transition_ids + 1)])
    phone = np.array([0] + [tm.transition_id_to_phone(at) for at in range(1, tm.num_transition_ids + 1)])
    update([(at, equal(at)) for at in some], 0)
    for mixtures in ROUNDS:
        found = run(some, 12.0)
        update([(at, pdf[ids]) for at, ids in zip(some, found, strict=True) if ids], mixtures)
    return [phone[ids] - 1 if ids else np.zeros(0, int) for ids in run(list(range(len(features))), 12.0)]
