"""What was told last of a marrow harvest at every place of a narration: drawing, making the product, giving it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline import cues, laterality, phases
from pipeline.extractors import _amount_lists, _beside_amount, _direction, base
from pipeline.extractors import _amount_words as words
from pipeline.grammar import Grammar
from pipeline.records import Laterality, Reading, Sentence

ORDINALS = frozenset({"first", "second", "third", "fourth", "fifth", "sixth", "last", "next"})
CREST = frozenset("crest crests spine spines side marrow".split())
_HOLD = 4  # sentences for which what was told last still holds
_STORIES = frozenset({"history", "indication", "imaging", "consent", "aftercare", "follow-up"})
_MARROW = frozenset("bone-marrow-concentrate bone-marrow-aspirate bone-marrow-injection bone-marrow-harvest".split())
_NOT_MARROW = ("drugs", "fluids", "findings", "diagnoses")
_SIDES = frozenset({"left", "right", "one", "other"})
_TARGET = ("target-phase", "turned-phase")
_SOON = 6


@dataclass(frozen=True, slots=True)
class _Told:
    """What was told last: "named" (marrow), "drawn", "made" (the product), "given", "" for anything else; how long ago.
    """

    state: str = ""
    age: int = 0


@dataclass(frozen=True, slots=True)
class Passage:
    """A sentence with what was told last before it, where that changes in it, and the side of the harvest so far."""

    sentence: Sentence
    before: str
    marks: Sequence[tuple[int, str]]
    side: Laterality | None

    def state(self, index: int) -> str:
        """What was told last at a token."""
        return next((state for at, state in reversed(self.marks) if at <= index), self.before)


def passages(reading: Reading, grammar: Grammar) -> Iterator[Passage]:
    """The sentences of a narration that speaks of marrow, but for those of its history and its aftercare."""
    if not any(_says_marrow(sentence, grammar) for sentence in reading.sentences):
        return
    told, side = _Told(), None
    for sentence in reading.sentences:
        if sentence.section in _STORIES:
            continue
        stays = told.state in ("named", "drawn") and phases.keeps_harvest(sentence, grammar)
        told = _Told(told.state, told.age + (not stays)) if told.age < _HOLD else _Told()
        marrow = _says_marrow(sentence, grammar)
        marks = list(_marks(sentence, grammar, marrow or bool(told.state), told.state in ("drawn", "made", "given")))
        side = _harvest_side(sentence, grammar) or side
        yield Passage(sentence, told.state or ("named" if marrow else ""), marks, side)
        if marks:
            told = _Told(marks[-1][1], 0)
        elif marrow:  # "BMAC. L PSIS 11G.": the product of a title was not made yet
            at_crest = told.state == "made" and any("iliac-crest" in m.id for m in base.mentions(sentence, "sites"))
            told = _Told("named" if at_crest else told.state or "named", 0)


def _says_marrow(sentence: Sentence, grammar: Grammar) -> bool:
    named = base.mentions(sentence, "injectates", "procedures", "acts")
    return cues.has(sentence, grammar, "marrow") or any(mention.id in _MARROW for mention in named)


def _marks(sentence: Sentence, grammar: Grammar, marrow: bool, told: bool) -> Iterator[tuple[int, str]]:
    """(token, state) of every word that tells what the numbers behind it are, in order."""
    inside = {at for m in base.mentions(sentence, "injectates") for at in range(m.first, m.last + 1)}
    others = [m.first for m in base.mentions(sentence, *_NOT_MARROW)]
    made = {m.first for m in base.mentions(sentence, "processing") if m.first not in inside}
    made |= {hit.first for hit in cues.hits(sentence, grammar, "reduced-to")}
    made |= {m.first for m in base.mentions(sentence, "injectates") if m.id == "bone-marrow-concentrate"}
    made |= {at for at, token in enumerate(sentence.tokens) if token.norm in words.MADE}
    given = {hit.first for hit in cues.hits(sentence, grammar, "injection-phase", *(_TARGET if told else ()))}
    given |= {hit.first for hit in phases.targets(sentence, grammar)} if told else set()
    given |= {at for at in range(len(sentence.tokens)) if told and _direction.went_in(sentence, at)}
    made |= {at for at, quantity in cues.numbers(sentence) if told and _direction.is_spin(sentence, at, quantity)}
    sites = {m.last for m in base.mentions(sentence, "sites")}
    crests = {m.last for m in base.mentions(sentence, "sites") if "crest" in m.id}
    ends = {hit.first for hit in cues.hits(sentence, grammar, "leaving-harvest")
            if not phases.is_no_end(sentence, hit)}  # fmt: skip
    for at, token in enumerate(sentence.tokens):
        if at in ends:
            yield at, ""
        elif at in given:
            yield at, "given"
        elif at in made:
            yield at, "made"
        elif marrow and token.quantity is not None and _amount_lists.begins_row(sentence, at):
            yield at, "drawn"
        elif token.norm == "came" and marrow and at and sentence.tokens[at - 1].norm == "#volume":
            yield at, "drawn"  # "five mils came, quarter turn, four"
        elif token.norm in words.COUNTED and marrow and at and sentence.tokens[at - 1].norm == "#number" and not (
            _beside_amount.is_drilled(sentence, at)
        ):
            yield at, "drawn"  # "3 passes, L 3 passes. R 32 mL, L 28 mL"
        elif token.norm == "aspiration" and at and sentence.tokens[at - 1].norm in ORDINALS | {"#ordinal"}:
            yield at, "drawn"
        elif at not in inside and token.norm in words.DREW and marrow and not _soon(others, at):
            yield at, "drawn"
        elif token.norm == "marrow" and _from_bone(sentence, at):
            yield at, "drawn"
        elif token.norm in ("took", "takes") and at - 1 in sites - crests:
            yield at, "given"
        elif token.norm in ("got", "gets") and at and (at - 1 in sites or sentence.tokens[at - 1].norm in _SIDES):
            yield at, "given"  # "the right ankle got four millilitres"
        elif at not in inside and token.norm in words.STARTS and marrow and not _soon(others, at) and not (
            at + 1 < len(sentence.tokens) and sentence.tokens[at + 1].norm == "off"  # "an effusion was taken off"
        ):
            yield at, "drawn"


def _from_bone(sentence: Sentence, at: int) -> bool:
    """ "Marrow from the left proximal humerus, 13G: 6 x 5 mL = 30 mL"."""
    led = at + 1 < len(sentence.tokens) and sentence.tokens[at + 1].norm == "from"
    return led and any(0 < site.first - at <= _SOON and sentence.tokens[site.last].norm not in CREST
                       for site in base.mentions(sentence, "sites"))  # fmt: skip


def _soon(others: list[int], at: int) -> bool:
    """Whether what was drawn is something else: "aspirated thirty five of straw coloured fluid"."""
    return any(0 < first - at <= _SOON for first in others)


def _harvest_side(sentence: Sentence, grammar: Grammar) -> Laterality | None:
    sites = [site for site in base.mentions(sentence, "sites") if "iliac-crest" in site.id]
    spans = [(site.first, site.last) for site in sites]
    if not spans:
        spans = [(hit.first, hit.last) for hit in cues.hits(sentence, grammar, "marrow")
                 if sentence.tokens[hit.last].norm in CREST - {"marrow", "side"}]  # fmt: skip
    sides = {_beside(sentence, first) or laterality.side_for(sentence, first, last, grammar, own_only=True)[0]
             for first, last in spans}  # fmt: skip
    side = next(iter(sides)) if len(sides) == 1 else None
    return side if side != "bilateral" else None


def _beside(sentence: Sentence, first: int) -> Laterality | None:
    before = sentence.tokens[first - 1].norm if first else ""
    return "left" if before == "left" else "right" if before == "right" else None
