"""Lexicon -> the graphs of a recogniser, with kaldi_hmm_gmm and kaldifst in place of a Kaldi build.

`HCLr.fst` holds everything but the grammar and is composed with one at run time; `words.txt` follows the order of its
labels, and `Gr.fst` is the grammar that is used when none is given.
"""

from __future__ import annotations

import math
import os
import re
import subprocess
from collections import Counter
from itertools import pairwise
from pathlib import Path

import kaldi_hmm_gmm as khg  # before kaldifst: the other order hangs
import kaldifst
import numpy as np
from kaldi_files import topology_text

Ways = list[tuple[str, list[str], int]]
# (phone before, phone) -> cost (-log); "" is the edge of a word.
Costs = dict[tuple[str, str], float]
FILLER = "[unk]"


def monophone(count: int) -> tuple[object, object, object]:
    """Topology, context and transition model of `count` phones with three states each, for the alignment."""
    states = [(0, 0, [(0, 0.5), (1, 0.5)]), (1, 1, [(1, 0.5), (2, 0.5)]), (2, 2, [(2, 0.5), (3, 0.5)]), (-1, -1, [])]
    phones = list(range(1, count + 1))
    topology = khg.HmmTopology()
    topology.read(topology_text([(phones, states)]))
    context = khg.monophone_context_dependency(phones, topology.get_phone_to_num_pdf_classes())
    return topology, context, khg.TransitionModel(context, topology)


def tuples(model: object) -> list[tuple[int, ...]]:
    """(phone, state, forward pdf, loop pdf) of a transition model."""
    return [tuple(map(int, re.findall(r"=(\d+)", str(one)))) for one in model.tuples]  # type: ignore[attr-defined]


def told_apart(lexicon: list[tuple[str, list[str]]]) -> tuple[Ways, int]:
    """The pronunciations with the number of the mark that tells like ones apart (0: none), and the highest number."""
    same = Counter(tuple(way) for _, way in lexicon)
    begins = Counter(tuple(way[:size]) for _, way in lexicon for size in range(1, len(way)))
    used: Counter[tuple[str, ...]] = Counter()
    out: Ways = []
    for word, way in lexicon:
        key = tuple(way)
        if same[key] > 1 or begins[key]:
            used[key] += 1
        out.append((word, way, used[key] if same[key] > 1 or begins[key] else 0))
    return out, max(used.values(), default=0)


def spelling(words: list[list[str]], phones: list[str]) -> Costs:
    """How words are made of phones: a bigram of the phones of the words, so that the filler fits words better than
    it fits noise. `words`: phones of each word that was said; `phones`: all there are."""
    pairs = Counter((before, after) for way in words for before, after in pairwise(["", *way, ""]))
    single = Counter(after for way in words for after in way)
    begun: Counter[str] = Counter()
    for (before, _), count in pairs.items():
        begun[before] += count
    total = single.total() + len(phones)
    costs = {}
    for before in ["", *phones]:
        for after in [*phones, ""]:
            plain = (single[after] + 1) / total if after else 0.2
            costs[before, after] = -math.log((pairs[before, after] + 10 * plain) / (begun[before] + 10))
    return costs


def lexicon_fst(
    ways: Ways, phone: dict[str, int], word: dict[str, int], marks_at: list[int], silence: float, marks: bool,
    filler: tuple[Costs, float] | None = None,
) -> object:  # fmt: skip
    """L.fst: words with optional silence between them.

    `marks_at`: ids of #0, #1 ...; the last is the mark after silence, the last but one opens the filler. `filler`:
    what `spelling` learnt, and a cost for each phone more: any two or more phones read as [unk].
    """
    no, yes = -np.log(1 - silence), -np.log(silence)
    start, loop, quiet, after, following = 0, 1, 2, 3, 4
    after_silence = after if marks else loop
    lines = [f"{start} {loop} 0 0 {no}", f"{start} {after_silence} {phone['SIL']} 0 {yes}"]
    lines.append(f"{quiet} {after_silence} {phone['SIL']} 0 0")
    if marks:
        lines.append(f"{after} {loop} {marks_at[-1]} 0 0")
    for name, way, mark in ways:
        labels = [phone[one] for one in way] + ([marks_at[mark]] if mark and marks else [])
        at = loop
        for place, label in enumerate(labels):
            said = word[name] if place == 0 else 0
            if place == len(labels) - 1:
                lines += [f"{at} {loop} {label} {said} {no}", f"{at} {quiet} {label} {said} {yes}"]
            else:
                lines.append(f"{at} {following} {label} {said} 0")
                at, following = following, following + 1
    if filler is not None:
        learnt, more = filler
        opened = following
        phones = sorted({name for _, name in learnt} - {""})
        state = {"": opened} | {name: opened + 1 + at for at, name in enumerate(phones)}
        lines.append(f"{loop} {opened} {marks_at[-2]} {word[FILLER]} 0")
        for (before, name), cost in sorted(learnt.items()):
            if not name:
                continue
            cost += more
            form = "_I" if before else "_B"
            lines.append(f"{state[before]} {state[name]} {phone[name + form]} 0 {cost}")
            if before:
                ends = cost + learnt[name, ""]
                label = phone[name + "_E"]
                lines += [f"{state[before]} {loop} {label} 0 {ends + no}",
                          f"{state[before]} {quiet} {label} 0 {ends + yes}"]
    if marks:
        lines.append(f"{loop} {loop} {marks_at[0]} {word['#0']} 0")
    lines.append(f"{loop} 0")
    made = kaldifst.compile("\n".join(lines) + "\n")
    kaldifst.arcsort(made, "olabel")
    return made


def grammar_text(
    unigrams: dict[str, float], bigrams: dict[tuple[str, str], float], left: dict[str, float], word: dict[str, int]
) -> str:
    """A bigram as text FST: state 0 is the start, 1 has no history, then one state a history; costs are -log.

    `left`: history -> cost of going back to no history. "<s>" and "</s>" are the edges of a sentence.
    """
    histories = sorted({first for first, _ in bigrams if first != "<s>"})
    state = {"<s>": 0, "": 1} | {name: at + 2 for at, name in enumerate(histories)}
    lines = []
    for (first, second), cost in sorted(bigrams.items()):
        at = state[first]
        lines.append(f"{at} {cost}" if second == "</s>" else
                     f"{at} {state.get(second, 1)} {word[second]} {word[second]} {cost}")
    for first, cost in sorted(left.items()):
        if first in state:
            lines.append(f"{state[first]} 1 0 0 {cost}")
    for name, cost in sorted(unigrams.items()):
        lines.append(f"1 {cost}" if name == "</s>" else f"1 {state.get(name, 1)} {word[name]} {word[name]} {cost}")
    lines.sort(key=lambda line: (int(line.split()[0]), line))
    return "\n".join(lines) + "\n"


def look_ahead(
    spelt: object, marks_at: list[int], context: object, model: object, words: dict[str, int], grammar: object,
    out: Path,
) -> None:
    """Writes HCLr.fst, Gr.fst, words.txt and disambig_tid.int into `out`; needs OpenFst's fstconvert.

    `grammar(ids)` gives the text FST of the grammar over the ids handed in.
    """
    tools = os.environ.get("FST_ROOT", "")
    libraries = f"{tools}/usr/lib/x86_64-linux-gnu"
    found = dict(os.environ)
    if tools:
        found["LD_LIBRARY_PATH"] = f"{libraries}:{libraries}/fst/22"
    convert = f"{tools}/usr/bin/fstconvert"
    kaldifst.determinize_star(spelt)
    kaldifst.arcsort(spelt, "ilabel")
    in_context, labels = kaldifst.compose_context(marks_at, 1, 0, spelt)
    kaldifst.arcsort(in_context, "ilabel")
    config = khg.HTransducerConfig()
    config.transition_scale = 1.0
    states, marks = khg.get_h_transducer(labels, context, model, config)
    kaldifst.arcsort(states, "olabel")
    whole = kaldifst.compose(states, in_context)
    kaldifst.determinize_star(whole)
    whole = khg.add_self_loops(1.0, marks, True, model, whole)
    kaldifst.arcsort(whole, "olabel")
    raw, pairs = out / "hcl.fst", out / "relabel"
    whole.write(str(raw))
    subprocess.run(
        [convert, "--fst_type=olabel_lookahead", f"--save_relabel_opairs={pairs}", str(raw), str(out / "HCLr.fst")],
        check=True, env=found,
    )  # fmt: skip
    moved = dict(tuple(map(int, line.split())) for line in pairs.read_text().splitlines())
    following = max(moved.values()) + 1
    new = {}
    for name, at in words.items():
        if at == 0:
            new[name] = 0
        elif at in moved:
            new[name] = moved[at]
        else:
            new[name], following = following, following + 1
    ordered = sorted(new.items(), key=lambda pair: pair[1])
    (out / "words.txt").write_text("".join(f"{name} {at}\n" for name, at in ordered), encoding="utf-8")
    ready = kaldifst.compile(grammar(new))  # type: ignore[operator]
    kaldifst.arcsort(ready, "ilabel")
    plain = out / "g.fst"
    ready.write(str(plain))
    subprocess.run([convert, "--fst_type=const", str(plain), str(out / "Gr.fst")], check=True, env=found)
    (out / "disambig_tid.int").write_text("".join(f"{at}\n" for at in marks), encoding="utf-8")
    for path in (raw, pairs, plain):
        path.unlink()
