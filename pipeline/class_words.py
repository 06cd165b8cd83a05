"""What is said of a whole class of drugs ("we left out the steroid"), where a drug of that class was named before it
with an amount. Whether that drug was given then is not for a program to decide. A part of `unsure.py`."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from pipeline import dose_talk
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.mentions import fold, folded, split_phrase
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Concept, Drug

_DENIES = _words(
    "no without not never didn't don't doesn't won't wasn't skip skipped scrap forget cancel omit hold against neither "
    "nor drop mind"
)
_BEFORE, _BEHIND = 4, 6  # tokens
_TAKEN_BACK = _words(
    "omitted withheld cancelled canceled none declined refused skipped out deferred postponed scrapped dropped avoided "
    "unnecessary contraindicated unused"
)
# More of it, later, or an illness: nothing of what was given.
_NO_MORE = frozenset(fold(word) for word in _words(
    "further other more another additional second extra repeat repeated again afterwards postoperatively postop later "
    "home allergy allergies allergic resistance reaction oral tablets until till before prior yet left remaining "
    "ointment cover after daily course effect leak leakage recurrence invasion infection complication problem uptake "
    "only spread extravasation toxicity pattern flow uptake impregnated coated loaded eluting beads vascular"
))


class _Withdrawal(NamedTuple):
    """A class that was denied, at a word id, and what was said."""

    drugs: str
    at: int
    said: str


@lru_cache(maxsize=4)
def _index(grammar: Grammar) -> dict[str, list[tuple[tuple[str, ...], str]]]:
    index: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    for row in grammar.table("drug_classes", Concept).values():
        for phrase in row.say:
            words = tuple(split_phrase(phrase))
            index.setdefault(words[0], []).append((words, row.id))
    for entries in index.values():
        entries.sort(key=lambda entry: (-len(entry[0]), entry))
    return index


def withdrawn(reading: Reading, grammar: Grammar) -> list[_Withdrawal]:
    """The classes that are denied anywhere, in order."""
    found = []
    index = _index(grammar)
    for sentence in reading.sentences:
        words = folded(sentence)
        for at, word in enumerate(words):
            for phrase, ident in index.get(word, ()):
                last = at + len(phrase) - 1
                if words[at : last + 1] == phrase:
                    if _is_denied(sentence, grammar, at, last):
                        low, high = max(0, at - 2), min(len(words), last + 3)
                        said = " ".join(token.text for token in sentence.tokens[low:high])
                        found.append(_Withdrawal(ident, sentence.tokens[at].first, said))
                    break
    return found


def denied_drugs(facts: Sequence[Fact], reading: Reading) -> list[tuple[str, int, str]]:
    """Name, word id and words of drugs that are denied as such, and not only a further dose of them or a place."""
    words = [word.text.lower().strip(".,;:") for word in reading.words]
    found = []
    for fact in facts:
        if fact.kind != "medication" or fact.certainty != "negated" or fact.name is None or fact.role == "avoid":
            continue
        first, last = fact.evidence.first, fact.evidence.last
        before, behind = ([fold(word) for word in some] for some in (words[max(0, first - _BEFORE) : first],
                                                                      words[last + 1 : last + 4]))  # fmt: skip
        if fact.status == "performed" and not _is_of_more(before, behind) and (
            _PLACED.isdisjoint(behind[:1]) or behind == ["in", "the", "end"]
        ):
            found.append((fact.name, first, " ".join(words[max(0, first - 2) : last + 4])))
    return found


_PLACED = _words("into in to on for with intra intrathecal intravenous iv")


def _is_of_more(before: list[str], behind: list[str]) -> bool:
    """Whether the words around what is denied tell of more of it, of later or of an illness."""
    told = [*(word for word in before if word != "left"), *behind]
    out = ("left", "out") in pairwise(behind) or ("after", "all") in pairwise(behind)
    return not _NO_MORE.isdisjoint(told) and not out


def _is_denied(sentence: Sentence, grammar: Grammar, at: int, last: int) -> bool:
    tokens, words = sentence.tokens, folded(sentence)
    behind = []
    for token in tokens[last + 1 : last + 1 + _BEHIND]:
        if token.norm in (".", ";"):
            break
        behind.append(token)
    before = [*words[max(0, at - _BEFORE) : at]]
    while "." in before or ";" in before:
        before.pop(0)
    if _is_of_more(before, [*words[last + 1 : last + 1 + len(behind[:3])]]):
        return False
    if any(token.quantity is not None for token in behind[:3]):
        return False  # "no antibiotic for six weeks", "no local ten mils ..."
    if any(m.first <= at <= m.last and m.table == "drugs" and m.last > last for m in sentence.mentions):
        return False
    if any(one.value == "negated" and one.first <= at <= one.last for one in sentence.scopes):
        return True
    if not _DENIES.isdisjoint(before) or not _TAKEN_BACK.isdisjoint(token.norm for token in behind):
        return True
    for row, low, high in dose_talk.hits(sentence, grammar):
        close = 0 <= low - last - 1 <= _BEHIND or 0 <= at - high - 1 <= _BEFORE
        if row.id in ("lost", "denied") and close:
            return True
    return False


def doubt(
    fact: Fact, denied: list[_Withdrawal], drugs: list[tuple[str, int, str]], grammar: Grammar
) -> str | None:
    """Why an amount may not stand though it was said: the drug or its class was denied behind it."""
    for name, at, said in drugs:
        if name == fact.name and at > fact.evidence.last:
            return f"'{said}' is said behind it: it may not have been given"
    row = grammar.table("drugs", Drug).get(fact.name or "")
    if row is None:
        return None
    for one in denied:
        if one.drugs in row.classes and one.at > fact.evidence.last:
            return f"'{one.said}' is said behind it, and it is one of these: it may not have been given"
    return None
