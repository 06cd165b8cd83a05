"""Blood loss: a volume, "minimal", or none. A count without a unit stays without a unit."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("blood_loss",)

_BESIDE = 4  # "blood loss was minimal"
_REACH = 40  # a word of amount stands near the cue
_BARE = 16  # a number without a unit must stand right beside it
_WRONG = ("length", "mass", "pressure")  # kept as heard right behind the words, for the checks to ask about


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if cues.has(sentence, grammar, "blood-loss"):
            facts += _sentence(reading, sentence, grammar)
        else:
            facts += _bleeding(reading, sentence, grammar)
    return facts


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    words = _words(sentence, grammar)
    if words and words[0][0] <= _BESIDE:
        return [_amount(reading, sentence, words[0])]
    facts: list[Fact] = []
    volumes = any(True for _ in base.quantities(sentence, "volume"))
    for index, found in base.quantities(sentence, "volume", "", *(() if volumes else _WRONG)):
        quantity = cues.unit_of(sentence, index)
        near = cues.nearest(sentence, grammar, index, "blood-loss", prefix=4)
        if near is None or quantity is None or quantity.form not in ("number", "range", "fraction"):
            continue
        price, hit = near
        if found.dimension != "volume" and (price > _BARE or index < hit.first):
            continue
        facts.append(
            base.claim("blood_loss", reading, sentence, index, hit.first, hit.last, price, unit=quantity.unit,
                       status="performed", certainty="affirmed", doubts=_side_by_side(sentence, index))
        )  # fmt: skip
    if not facts and words and words[0][0] <= _REACH:
        facts.append(_amount(reading, sentence, words[0]))
    return facts


def _side_by_side(sentence: Sentence, index: int) -> tuple[str, ...]:
    """ "Blood loss ten fifteen": two numbers with no word between may be two values, a range or one number. A unit
    closes the first ("nine hundred millilitres two units of red cells")."""
    for low in (index - 1, index):
        pair = sentence.tokens[max(0, low) : low + 2]
        if len(pair) == 2 and all(token.quantity is not None and token.quantity.form == "number" for token in pair) and (
            pair[0].quantity is not None and pair[0].quantity.unit is None
        ):
            return (f"'{pair[0].text} {pair[1].text}' may be two values, a range or one number",)
    return ()


def _words(sentence: Sentence, grammar: Grammar) -> list[tuple[int, cues.Hit, cues.Hit]]:
    """(distance, word of amount, cue), the nearest first."""
    found = [
        (cues.apart(sentence, word, hit.first, hit.last), word, hit)
        for hit in cues.hits(sentence, grammar, "blood-loss")
        for word in cues.hits(sentence, grammar, "minimal", "none")
        if _is_amount(sentence, word, hit)
    ]
    return sorted(found, key=lambda item: (item[0], item[1].first))


def _is_amount(sentence: Sentence, word: cues.Hit, hit: cues.Hit) -> bool:
    """ "No blood loss" and "blood loss none", but not "blood loss three cc, no drain"."""
    low, high = min(word.last, hit.last), max(word.first, hit.first)
    if any(token.quantity is not None for token in sentence.tokens[low + 1 : high]):
        return False
    return word.first < hit.first or sentence.tokens[word.first].norm not in ("no", "nothing")


def _amount(reading: Reading, sentence: Sentence, found: tuple[int, cues.Hit, cues.Hit]) -> Fact:
    _, word, hit = found
    text = "none" if word.id == "none" else cues.words(sentence, word.first, word.last).lower()
    return base.make("blood_loss", reading, sentence, min(hit.first, word.first), max(hit.last, word.last), text=text,
                     status="performed", certainty="affirmed")  # fmt: skip


def _bleeding(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Bleeding minimal", "bleeding none": the amount right behind the word; "no bleeding" is a finding."""
    words = cues.hits(sentence, grammar, "minimal", "none")
    for hit in cues.hits(sentence, grammar, "bleeding"):
        for word in words:
            if word.first == hit.last + 1 and sentence.tokens[word.first].norm not in ("no", "nothing"):
                text = "none" if word.id == "none" else sentence.tokens[word.first].norm
                return [
                    base.make("blood_loss", reading, sentence, hit.first, word.last, text=text, status="performed",
                              certainty="affirmed")
                ]  # fmt: skip
    return []
