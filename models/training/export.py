"""The weights of the net and a word list -> a folder that Vosk loads.

Run: python models/training/export.py --net FOLDER --prepared FOLDER --out FOLDER [--words FILE --text FILE]

`--net`: what train.py wrote. Without `--words` the closed vocabulary of prepare.py and the bigram of its sentences are
used; with it, the words of that JSON list, and the bigram of the sentences (JSON list) in `--text`. Phones know their
place in the word (begin, inside, end, alone) but share their outputs, so that word times are exact. FST_ROOT names
where OpenFst's tools were unpacked when they are not installed.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
from collections import Counter
from pathlib import Path

import kaldi_hmm_gmm as khg  # before kaldifst: the other order hangs
import numpy as np
from graph import FILLER, grammar_text, lexicon_fst, look_ahead, spelling, told_apart, tuples
from held_out import SPEAKERS
from kaldi_files import Writer, affine, batch_norm, fixed_affine, net, no_op, relu, topology_text, transition_model

# These follow net.py, which cannot be imported without torch; nothing compares the two: change both.
FAST = ((-2, -1, 0, 1, 2), (-1, 0, 1), (-1, 0, 1))
SLOW = (1, 1, 1, 1, 1, 2)
KEPT, STEP, CONTEXT = 0.66, 3, 25
PLACES = {"_B": "begin", "_E": "end", "_I": "internal", "_S": "singleton"}
# Cost of each phone of the filler beside what it learnt: high enough that a known word that fits is read as that word.
FILLER_COST = 0.5
CHAIN = [(0, 1, [(0, 0.5), (1, 0.5)]), (-1, -1, [])]
CONF = {
    "mfcc.conf": "--use-energy=false\n--num-mel-bins=40\n--num-ceps=40\n--low-freq=20\n--high-freq=7600\n--dither=0\n",
    "model.conf": (
        "--min-active=200\n--max-active=3000\n--beam=10.0\n--lattice-beam=4.0\n--acoustic-scale=1.0\n"
        "--frame-subsampling-factor=3\n--endpoint.silence-phones=1\n--endpoint.rule2.min-trailing-silence=0.5\n"
        "--endpoint.rule3.min-trailing-silence=0.75\n--endpoint.rule4.min-trailing-silence=1.0\n"
    ),
}


def placed(way: str) -> list[str]:
    parts = way.split()
    if len(parts) == 1:
        return [parts[0] + "_S"]
    return [parts[0] + "_B", *[part + "_I" for part in parts[1:-1]], parts[-1] + "_E"]


def bigram(texts: list[list[str]], words: list[str]) -> tuple[dict, dict, dict]:
    """Costs (-log) of an interpolated bigram: unigrams, bigrams, and of leaving each history. OOV is the filler."""
    known = set(words)
    single: Counter[str] = Counter()
    pairs: Counter[tuple[str, str]] = Counter()
    for text in texts:
        said = ["<s>", *[word if word in known else FILLER for word in text], "</s>"]
        single.update(said[1:])
        pairs.update(itertools.pairwise(said))
    total, size = sum(single.values()), len(words) + 1
    chance = {word: (single[word] + 0.5) / (total + 0.5 * size) for word in [*words, "</s>"]}
    begun = Counter[str]()
    kinds = Counter[str]()
    for (first, _), count in pairs.items():
        begun[first] += count
        kinds[first] += 1
    costs: dict[tuple[str, str], float] = {}
    left_mass: dict[str, float] = {}
    for first in begun:
        keep = begun[first] / (begun[first] + kinds[first])
        left_mass[first] = 1 - keep
        for (one, second), count in pairs.items():
            if one == first:
                costs[one, second] = -math.log(keep * count / begun[first] + (1 - keep) * chance[second])
    return ({word: -math.log(value) for word, value in chance.items()}, costs,
            {word: -math.log(value) for word, value in left_mass.items()})


def write_net(weights: dict[str, np.ndarray], order: list[int], model: object, entries: list, out: Path) -> None:
    """`order`: output of the net for each pdf of the transition model."""
    mean, spread = weights["mean"], weights["spread"]
    lines = [f"input-node name=input dim={len(mean)}", "component-node name=norm component=norm input=input"]
    parts = [("norm", lambda to: fixed_affine(to, np.diag(1 / spread), -mean / spread))]
    before = "norm"
    width = weights["fast.0.bias"].size
    for number in range(len(FAST) + len(SLOW)):
        slow = number - len(FAST)
        reach = FAST[number] if slow < 0 else tuple(STEP * SLOW[slow] * side for side in (-1, 0, 1))
        kernel = weights[f"fast.{number}.weight" if slow < 0 else f"slow.{slow}.weight"]
        bias = weights[f"fast.{number}.bias" if slow < 0 else f"slow.{slow}.bias"]
        flat = kernel.transpose(0, 2, 1).reshape(len(kernel), -1)
        shifts = ", ".join(before if at == 0 else f"Offset({before}, {at})" for at in reach)
        name = f"t{number}"
        for part, source in (("affine", f"Append({shifts})"), ("relu", f"{name}.affine"), ("norm", f"{name}.relu")):
            lines.append(f"component-node name={name}.{part} component={name}.{part} input={source}")
        level, width_of = weights[f"norms.{number}.running_mean"], weights[f"norms.{number}.running_var"]
        parts += [
            (f"{name}.affine", lambda to, w=flat, b=bias: affine(to, w, b)),
            (f"{name}.relu", lambda to: relu(to, width)),
            (f"{name}.norm", lambda to, m=level, v=width_of: batch_norm(to, m, v, 1e-5)),
        ]
        if slow < 0:
            before = f"{name}.norm"
        else:
            lines.append(
                f"component-node name={name}.sum component={name}.sum input=Sum(Scale({KEPT}, {before}), {name}.norm)"
            )
            parts.append((f"{name}.sum", lambda to: no_op(to, width)))
            before = f"{name}.sum"
    lines += [f"component-node name=output.affine component=output.affine input={before}",
              "output-node name=output input=output.affine objective=linear"]
    last, bias = weights["out.weight"][:, :, 0][order], weights["out.bias"][order]
    parts.append(("output.affine", lambda to: affine(to, last, bias)))
    with (out / "am" / "final.mdl").open("wb") as file:
        file.write(b"\0B")
        to = Writer(file)
        chances = np.full(model.num_transition_ids + 1, math.log(0.5), "f4")  # type: ignore[attr-defined]
        chances[0] = 0
        transition_model(to, entries, tuples(model), chances)
        net(to, lines, parts, CONTEXT)


def build(weights: dict[str, np.ndarray], base: list[str], lexicon: dict[str, list[str]], words: list[str],
          texts: list[list[str]], said: list[list[str]], out: Path, filler_cost: float = FILLER_COST,
          silence: float = 0.3) -> None:  # fmt: skip
    """Writes the model's folder. `base`: phones, silence first; `said`: sentences of which the filler learns how words
    are spelt in phones."""
    for part in ("am", "conf", "graph/phones"):
        (out / part).mkdir(parents=True, exist_ok=True)
    phones = ["SIL", *[one + place for one in base[1:] for place in PLACES]]
    number = {phone: at + 1 for at, phone in enumerate(phones)}
    entries = [(list(range(1, len(phones) + 1)), CHAIN)]
    topology = khg.HmmTopology()
    topology.read(topology_text(entries))
    sharing = [[1], *[[number[one + place] for place in PLACES] for one in base[1:]]]
    context = khg.monophone_context_dependency_shared(sharing, topology.get_phone_to_num_pdf_classes())
    model = khg.TransitionModel(context, topology)
    order = [-1] * model.num_pdfs
    for phone, _, first, stay in tuples(model):
        at = base.index(phones[phone - 1].rsplit("_", 1)[0])
        order[first], order[stay] = at, len(base) + at
    words = sorted(set(words))
    table = {word: at for at, word in enumerate(["<eps>", FILLER, *words, "#0", "<s>", "</s>"])}
    ways, most = told_apart([(word, placed(way)) for word in words for way in lexicon[word] if way])
    marks_at = [len(phones) + 1 + at for at in range(most + 3)]
    learnt = spelling([lexicon[word][0].split() for text in said for word in text if lexicon[word][0]], base[1:])
    spelt = lexicon_fst(ways, number, table, marks_at, silence, marks=True, filler=(learnt, filler_cost))
    costs = bigram(texts, [*words, FILLER])
    look_ahead(spelt, marks_at, context, model, table, lambda ids: grammar_text(*costs, ids), out / "graph")
    (out / "graph/phones.txt").write_text("".join(f"{one} {at}\n" for one, at in ({"<eps>": 0} | number).items()))
    (out / "graph/phones/word_boundary.int").write_text(
        "".join(f"{at} {PLACES.get(one[-2:], 'nonword')}\n" for one, at in number.items())
    )
    for name, text in CONF.items():
        (out / "conf" / name).write_text(text)
    write_net(weights, order, model, entries, out)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__)
    for name in ("net", "prepared", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--words", type=Path)
    take.add_argument("--text", type=Path)
    take.add_argument("--filler-cost", type=float, default=FILLER_COST)
    given = take.parse_args()
    weights = dict(np.load(given.net / "net.npz"))
    base = json.loads((given.net / "meta.json").read_text())["phones"]
    lexicon = json.loads((given.prepared / "lexicon.json").read_text())
    words = json.loads((given.words or given.prepared / "closed.json").read_text())
    texts = [text.split() for text in json.loads((given.text or given.prepared / "sentences.json").read_text())]
    found = json.loads((given.prepared / "utterances.json").read_text())
    said = [text for speaker, _, text in found if speaker not in SPEAKERS]
    build(weights, base, lexicon, words, texts, said, given.out, given.filler_cost)
    total = sum(path.stat().st_size for path in given.out.rglob("*") if path.is_file())
    print(f"{given.out}: {len(words)} words, {total / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
