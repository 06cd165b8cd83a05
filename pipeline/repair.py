"""Misheard runs of one to four words -> the terms of grammars/ that sound like them. Pure.

A run is repaired only where it cannot stand as it is: it holds a word that is neither English nor a term, or, with
the words that were heard right around it, it makes a term that English words alone do not ("taller dome" in a talus).
Numbers, units, sides, directions and negations are never touched and never made; a term is never turned into
another one unless the words beside it decide. What was heard stays on the word. Where a second term sounds nearly as
much like the run, and for pairs of grammars/confusions.toml that change the meaning, the other reading is noted in
`Word.others`, so that the fact is shown as unsure.

The thresholds were set on the tuning half of benchmarks/listening, never on the test half.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from pipeline.grammar import Grammar
from pipeline.lexicon import COARSE, COMMON, DIRECTIONS, LEAST_SOUNDS, NAME, OH, Lexicon, Term, lexicon
from pipeline.mentions import fold, split_phrase
from pipeline.records import Word

LONGEST = 4
# SCOWL size of the commonest words.
EVERYDAY = 10
# How unlike run and term may be, as `score` gives it, where the run holds a word that is none ...
UNKNOWN = 0.24
# ... or only English words, one of them rare ...
RARE = 0.15
# ... or only common ones.
PLAIN = 0.14
# A term that is less than this much less like the run is a rival; drugs are too much like each other.
MARGIN, DRUG_MARGIN = 0.045, 0.12
# A run that is less alike than this and could be something else as well is left as it was heard.
SURE = 0.14
# A term of these tables that is less alike than this is shown as unsure even without a rival.
SURE_ALONE, WEIGHTY = 0.12, frozenset({"drugs", "procedures", "diagnoses"})
EXTRA = 0.05
FAMILY_BONUS, SAID_BONUS = 0.05, 0.05
SPELLING_SHARE = 0.15
CANDIDATES = 24
_TITLES = frozenset("dr doctor mr mrs ms miss prof professor nurse sister surgeon assistant by named".split())
_MARKS = ",.;:!?"
_SIZES = frozenset("1 2 3 4 5 6 7 8 9 10 one two three four five six seven eight nine ten".split())
_WORDLIKE = re.compile(r"[a-z]+(?:['’-][a-z]+)*")
@dataclass(frozen=True, slots=True)
class Change:
    """One repair: words at places first..last (inclusive) become `term`; `rivals` sound as much like them."""

    first: int
    last: int
    term: Term
    worth: float
    rivals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Heard:
    """A word as the search sees it: its parts in lower case without marks, and what may be done with it."""

    parts: tuple[str, ...]
    guarded: bool
    stands: bool
    level: int
    rare: bool
    ends: bool
    name: bool


def repair(words: Sequence[Word], grammar: Grammar, family: Sequence[str] = ()) -> tuple[Word, ...]:
    """The words with misheard terms put right, ids kept: the ids and `heard` of the result cover the input.

    `family`: terms that are likely here (the bias words of the procedure family).
    """
    book = lexicon(grammar)
    heard = [_seen(words, at, book) for at in range(len(words))]
    likely = {fold(part) for phrase in family for part in split_phrase(phrase)}
    said = {fold(part) for item in heard for part in item.parts if part in book.known}
    chosen = _best(list(_changes(words, heard, book, likely, said)))
    result: list[Word] = []
    at = 0
    for change in chosen:
        result += words[at : change.first]
        result.append(_joined(words[change.first : change.last + 1], change.term.text, change.rivals))
        at = change.last + 1
    return tuple(_flagged([*result, *words[at:]], book))


def _seen(words: Sequence[Word], at: int, book: Lexicon) -> _Heard:
    text = words[at].text.strip(_MARKS + "\"'()[]").replace("’", "'")
    low = text.lower()
    parts = tuple(part for part in re.split("[-/]", low) if part)
    plain = _WORDLIKE.fullmatch(low) is not None and len(low.replace("-", "")) > 0
    guarded = not plain or low in _TITLES or not set("aeiouy") & set(low) or (len(low) == 1 and low != "a")
    guarded = guarded or any(book.guarded(part) for part in parts)
    before = words[at - 1].text.strip(_MARKS).lower() if at else ""
    name = before in _TITLES and text[:1].isupper()
    if text[:1].isupper() and at and words[at - 1].text[:1].isupper() and at > 1:
        name = name or words[at - 2].text.strip(_MARKS).lower() in _TITLES
    return _Heard(
        parts=parts,
        guarded=guarded or words[at].heard is not None or name,
        stands=all(book.stands(part) for part in parts) or book.stands(low.replace("-", "")),
        rare=any(book.rare(part) for part in parts),
        level=max((book.ear.level.get(part, NAME) for part in parts), default=NAME),
        ends=words[at].text[-1:] in _MARKS,
        name=name,
    )


def _changes(
    words: Sequence[Word], heard: Sequence[_Heard], book: Lexicon, likely: set[str], said: set[str]
) -> Iterator[Change]:
    for first in range(len(words)):
        parts: tuple[str, ...] = ()
        for last in range(first, min(len(words), first + LONGEST)):
            item = heard[last]
            if item.guarded or words[last].segment != words[first].segment:
                break
            parts += item.parts
            change = _change(first, last, parts, words, heard, book, likely, said)
            if change is not None:
                yield change
            if item.ends:
                break


def _change(
    first: int, last: int, parts: tuple[str, ...], words: Sequence[Word], heard: Sequence[_Heard], book: Lexicon,
    likely: set[str], said: set[str],
) -> Change | None:  # fmt: skip
    run = heard[first : last + 1]
    folded = tuple(fold(part) for part in parts)
    if folded in book.phrases or len(parts) > LONGEST + 2:
        return None
    unknown = [item for item in run if not item.stands] or [item for item in run if item.rare]
    if not unknown and len(run) == 1 and len(parts) == 1:
        return None
    letters = " ".join(parts)
    spoken = book.ear.phrase(letters)
    if len(spoken) < LEAST_SOUNDS:
        return None
    found = process.extract(
        spoken.translate(COARSE), book.keys, scorer=Levenshtein.normalized_distance, processor=None,
        score_cutoff=0.45 if unknown else 0.34, limit=CANDIDATES,
    )  # fmt: skip
    ranked: list[tuple[float, Term]] = []
    for _, _, place in found:
        term = book.terms[place]
        if term.words[0] == OH and not _after_size(words, first):
            continue
        if not _allowed(parts, folded, unknown, term, book):
            continue
        unlike = book.ear.distance(spoken, term.sounds)
        spelled = Levenshtein.normalized_distance(letters.replace(" ", ""), term.text.replace(" ", ""))
        score = (1 - SPELLING_SHARE) * unlike + SPELLING_SHARE * spelled
        score -= FAMILY_BONUS * any(word in likely for word in term.words)
        score -= SAID_BONUS * all(word in said for word in term.words)
        ranked.append((score, term))
    if not ranked:
        return None
    ranked.sort(key=lambda item: (item[0], item[1].text))
    best, term = ranked[0]
    limit = _limit(run, term)
    if best > limit or (len(term.sounds) < 6 and best > limit * 0.6):
        return None
    drug = any(table == "drugs" for table, _ in term.rows)
    near = [
        other for score, other in ranked[1:]
        if score - best < (DRUG_MARGIN if drug and any(table == "drugs" for table, _ in other.rows) else MARGIN)
    ]  # fmt: skip
    first_said = [other for other in near if other.rows & term.rows and other.words in book.firsts]
    rivals = tuple(dict.fromkeys(other.text for other in near if not _same(term, other)))
    if term.words[0] == OH:
        # A size is made of what was heard as a number: never without the other reading.
        rivals = (term.text.removeprefix(f"{OH} "),)
    elif rivals and best > SURE and not (drug and all(other in book.drugs for other in rivals)):
        return None
    if best > SURE_ALONE and not rivals and any(table in WEIGHTY for table, _ in term.rows):
        rivals = (letters,)
    if first_said and term.words not in book.firsts:
        term = first_said[0]
    odd = [item for item in run if item in unknown or item.level > COMMON]
    mended = sum(len(book.ear.phrase(" ".join(item.parts))) for item in odd or run)
    return Change(first, last, term, (limit - best) * mended, rivals[:2])


def _after_size(words: Sequence[Word], first: int) -> bool:
    """Whether the word before could be the first part of a suture size."""
    return first > 0 and words[first - 1].text.lower() in _SIZES and words[first - 1].segment == words[first].segment


def _limit(run: Sequence[_Heard], term: Term) -> float:
    """How unlike the run may be. English words that the term swallows must earn their place in the run."""
    if all(item.stands for item in run):
        return RARE if any(item.rare for item in run) else PLAIN
    letters = term.text.replace(" ", "")
    swallowed = sum(item.stands and item.level <= COMMON and "".join(item.parts) not in letters for item in run)
    return UNKNOWN - EXTRA * swallowed


def _allowed(
    parts: tuple[str, ...], folded: tuple[str, ...], unknown: Sequence[_Heard], term: Term, book: Lexicon
) -> bool:
    """A word that is itself a term stays; English words alone need a word beside them that was heard right."""
    if folded == term.words:
        return False
    joined = term.text.replace(" ", "")
    for part, said in zip(folded, parts, strict=True):
        if part in book.known and book.technical(said) and part not in term.words and part not in joined:
            return False
    if unknown or "".join(parts) == joined:
        return bool(unknown) or len(term.words) > 1
    # Word for word: one was heard right, and what changes is no everyday word and becomes a technical one.
    if len(folded) != len(term.words) or len(term.words) < 2:
        return False
    anchored = False
    for said, one, other, new in zip(parts, folded, term.words, term.text.split(), strict=True):
        if one == other:
            anchored = anchored or len(one) > 2
        elif book.ear.level.get(said, NAME) <= EVERYDAY or one in book.known or not book.technical(new):
            return False
    return anchored


def _same(one: Term, other: Term) -> bool:
    """Whether choosing between two terms changes nothing: the same thing, or one inside the other."""
    if one.rows & other.rows:
        return True
    first, second = set(one.words), set(other.words)
    return first <= second or second <= first


def _best(changes: list[Change]) -> list[Change]:
    """Changes that do not overlap, the most worth first, in the order of the words."""
    taken: set[int] = set()
    kept: list[Change] = []
    for change in sorted(changes, key=lambda item: (-item.worth, item.first, item.last)):
        places = set(range(change.first, change.last + 1))
        if not places & taken:
            taken |= places
            kept.append(change)
    return sorted(kept, key=lambda item: item.first)


def _joined(run: Sequence[Word], text: str, rivals: Sequence[str] = ()) -> Word:
    """One word for the run; what was heard, the times and the least confidence stay on it."""
    first, last = run[0], run[-1]
    opening = first.text[: len(first.text) - len(first.text.lstrip("\"'(["))]
    closing = last.text[len(last.text.rstrip(_MARKS + "\"')]")) :]
    text = text[:1].upper() + text[1:] if first.text.lstrip("\"'([")[:1].isupper() else text
    sure = [word.confidence for word in run if word.confidence is not None]
    return replace(
        first, text=opening + text + closing, last=last.last, end=last.end,
        confidence=min(sure, default=None), heard=" ".join(word.text for word in run),
        others=tuple(dict.fromkeys((*(other for word in run for other in word.others), *rivals))),
    )  # fmt: skip


def _flagged(words: Sequence[Word], book: Lexicon) -> list[Word]:
    """Mistaken readings of grammars/confusions.toml: put right where the words beside them decide, else noted."""
    result = list(words)
    plain = [word.text.strip(_MARKS).lower() for word in result]
    for at in range(len(result)):
        for size in (2, 1):
            said = tuple(plain[at : at + size])
            usual = book.mistaken.get(said)
            if usual is None or any(word.heard for word in result[at : at + size]):
                continue
            heard_fits = _fits(said, plain, at, size, book)
            usual_fits = _fits((usual,), plain, at, size, book)
            begins = at == 0 or result[at - 1].text[-1:] in _MARKS or result[at - 1].segment != result[at].segment
            joined = said[0] == "and" and (begins or plain[at - 1] in DIRECTIONS)
            if size == 1 and usual_fits and not heard_fits:
                result[at] = _joined([result[at]], usual)
            elif joined or usual_fits or (size == 1 and not heard_fits):
                result[at] = replace(result[at], others=(*result[at].others, usual))
            break
    return result


def _fits(words: tuple[str, ...], plain: Sequence[str], at: int, size: int, book: Lexicon) -> bool:
    """Whether these words, in the place of those at `at`, make a phrase of grammars/ with the words beside them."""
    after = tuple(fold(word) for word in plain[at + size : at + size + 2])
    before = tuple(fold(word) for word in plain[max(0, at - 2) : at])
    inside = tuple(fold(word) for word in words)
    return any(
        before[start:] + inside + after[:end] in book.phrases
        for start in range(len(before) + 1)
        for end in range(len(after) + 1)
        if start < len(before) or end
    )
