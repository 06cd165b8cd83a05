"""Yes and no that answer: "chondroplasty yes, microfracture no", "Was a drain used? No."

Adds scopes to sentences that have theirs. A question that nobody answers is no statement: what it names is unsure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.clauses import FINITE, is_participle
from pipeline.records import Mention, Scope, Sentence

_NO = frozenset({"no", "none", "nope", "negative", "nil", "not"})
_YES = frozenset({"yes", "yeah", "yep", "correct", "done", "affirmative", "ok", "okay", "sure"})
_LEFT = frozenset({"withheld", "omitted", "declined", "refused", "deferred", "unnecessary", "cancelled"})
_NOT_DONE = [["not", verb] for verb in ("given", "needed", "done", "used", "required", "seen", "found", "present")]
_MARKS = frozenset({",", ".", ";", ":"})
_TITLE = 1  # tokens before the name of the operation
_LEAST = 2  # answers that make a list


def answer(sentences: Sequence[Sentence]) -> tuple[Sentence, ...]:
    """The sentences with what is answered in them, or by the sentence after them, made sure or denied. Pure."""
    found: list[Sentence] = []
    asked = False
    for at, sentence in enumerate(sentences):
        behind = sentences[at + 1] if at + 1 < len(sentences) else None
        if behind is not None and _queries_next(sentence, behind):
            asked = True
            found.append(sentence)
            continue
        queried = _queried(sentence) if asked else 0
        extra = [Scope("certainty", "suspected", m.first, m.last, "question")
                 for m in sentence.mentions if m.first < queried]  # fmt: skip
        if asked:
            asked = False
            found.append(replace(sentence, scopes=(*sentence.scopes, *extra)))
            continue
        extra = _asked(sentence, behind) if _is_question(sentence) else [
            *_listed(sentence), *_none_by_count(sentence), *_before_a_deed(sentence), *_no_such_grade(sentence)
        ]  # fmt: skip
        found.append(replace(sentence, scopes=(*sentence.scopes, *extra)) if extra else sentence)
    return tuple(found)


def _is_question(sentence: Sentence) -> bool:
    return bool(sentence.tokens) and sentence.tokens[-1].norm == "?"


def _queries_next(sentence: Sentence, behind: Sentence) -> bool:
    """ "Diagnostic laparoscopy ? endometriosis": written for "query", and of what follows in small letters."""
    if not _is_question(sentence) or not behind.tokens or behind.tokens[0].norm in _NO | _YES | _LEFT:
        return False
    return behind.tokens[0].text[:1].islower() and not any(token.norm in FINITE for token in sentence.tokens)


def _queried(sentence: Sentence) -> int:
    """The token at which what is queried ends: "? endometriosis, appendix normal"."""
    return next((at for at, token in enumerate(sentence.tokens) if token.norm in _ENDS_QUERY), len(sentence.tokens))


_ENDS_QUERY = frozenset({",", ";", "-", "–", "—", "(", "->"})


def _asked(sentence: Sentence, behind: Sentence | None) -> list[Scope]:
    first = behind.tokens[0].norm if behind is not None and behind.tokens else ""
    second = behind.tokens[1].norm if behind is not None and len(behind.tokens) > 1 else "."
    third = behind.tokens[2].norm if behind is not None and len(behind.tokens) > 2 else "."
    if first in _YES or ((first, second) in _THERE and third in _MARKS):
        return []
    denied = first in _NO and second in _MARKS or first in _LEFT or [first, second] in _NOT_DONE
    value = "negated" if denied else "suspected"
    start = _last_item(sentence)
    if denied and _asks_of_a_deed(sentence):
        return []  # "Loose body removed, sent? No.": it was there
    return [
        Scope("certainty", value, mention.first, mention.last, "question")
        for mention in sentence.mentions if start <= mention.first
    ]


_THERE = frozenset({(one, was) for one in ("there", "it") for was in ("was", "is", "were")})


def _asks_of_a_deed(sentence: Sentence) -> bool:
    """Whether all that stands behind the last comma of a question is what may have been done to the thing before it."""
    norms = [token.norm for token in sentence.tokens[:-1]]
    return len(norms) > 1 and norms[-2] == "," and norms[-1] in _DONE_TO


_DONE_TO = frozenset({"sent", "kept", "repaired", "treated", "fixed", "closed", "biopsied", "drained"})


def _last_item(sentence: Sentence) -> int:
    """The first token that a "?" asks of: in a list without a verb ("cam impingement; labral tear?") its last item."""
    tokens = sentence.tokens
    if any(token.norm in FINITE for token in tokens):
        return 0
    start = max((at + 1 for at, token in enumerate(tokens[:-1]) if token.norm == ";"), default=0)
    comma = max((at for at, token in enumerate(tokens[:-1]) if token.norm == "," and at > start), default=start)
    told = any(tokens[at].quantity is not None or tokens[at].norm in _TOLD or is_participle(sentence, at)
               for at in range(start, comma))  # fmt: skip
    return comma + 1 if told else start  # "dressing, flat shoe six weeks, heparin?": asks of the heparin


_TOLD = frozenset({"up", "down", "on", "off", "fine", "normal", "intact"})


def _behind(sentence: Sentence, mention: Mention, marks: tuple[str, ...]) -> int:
    """The token behind a thing, past one of these marks."""
    at = mention.last + 1
    return at + (at < len(sentence.tokens) and sentence.tokens[at].norm in marks)


def _none_by_count(sentence: Sentence) -> list[Scope]:
    """ "Drains 0", "complications: zero": a bare nought behind a thing, and nothing more."""
    tokens = sentence.tokens
    found: list[Scope] = []
    for mention in sentence.mentions:
        at = _behind(sentence, mention, (":", "="))
        if at >= len(tokens) or mention.table not in _COUNTABLE:
            continue
        quantity = tokens[at].quantity
        nought = tokens[at].norm == "zero" or (
            quantity is not None and quantity.form == "number" and not quantity.dimension and quantity.value == 0
        )
        if nought and (at + 1 >= len(tokens) or tokens[at + 1].punctuation):
            found.append(Scope("certainty", "negated", mention.first, mention.last, "nought"))
    return found


_COUNTABLE = frozenset({"drains", "specimens", "complications", "devices", "tourniquet", "diagnoses"})


def _before_a_deed(sentence: Sentence) -> list[Scope]:
    """ "Microfracture no debrided": "no" goes with nouns, so before a verb it answers what stands before it."""
    if not sentence.says(_DENIES):
        return []
    tokens = sentence.tokens
    named = [m for m in sentence.mentions if m.table in ("procedures", "acts", "devices", "positions")]
    found = _laid_otherwise(sentence, named)
    deeds = {m.first: m for m in named if m.table == "acts" and m.first == m.last
             and tokens[m.first].norm.endswith("ed")}  # fmt: skip
    for thing in named:
        verb = deeds.get(thing.last + 2)
        if verb is None or tokens[thing.last + 1].norm not in _DENIES:
            continue
        if verb.last + 1 < len(tokens) and tokens[verb.last + 1].norm in _SOFT:
            continue  # "no debrided tissue"
        # "drilled no microfractured": the second corrects the first
        value = "suspected" if thing.first in deeds else "negated"
        found.append(Scope("certainty", value, thing.first, thing.last, "answer"))
        found.append(Scope("certainty", "affirmed", verb.first, verb.last, "answer"))
    return found


def _laid_otherwise(sentence: Sentence, named: Sequence[Mention]) -> list[Scope]:
    """ "Sitting no beach chair", "lateral tilt no supine": nobody tells how a patient was not laid, so the second
    corrects the first."""
    tokens = sentence.tokens
    laid = [m for m in named if m.table == "positions"]
    found: list[Scope] = []
    for one in laid:
        if one.first and tokens[one.first - 1].norm in _DENIES and one.first > 1:
            found.append(Scope("certainty", "affirmed", one.first, one.last, "answer"))
            found += [Scope("certainty", "negated", other.first, other.last, "answer") for other in laid
                      if other.last == one.first - 2]  # fmt: skip
    return found


_OF_A_GRADE = frozenset("lesion lesions changes change area areas damage defect defects wear loss".split())
_SYSTEM = 3  # tokens from "no" to the level: "no Outerbridge grade four"


def _no_such_grade(sentence: Sentence) -> list[Scope]:
    """ "No grade three lesions", "no Outerbridge four changes": neither such a grade nor the lesion."""
    if not sentence.says(_DENIES) or not sentence.says(_OF_A_GRADE):
        return []
    tokens = sentence.tokens
    found: list[Scope] = []
    for at, token in enumerate(tokens):
        if token.norm not in _DENIES:
            continue
        level = next((n for n in range(at + 2, min(at + 2 + _SYSTEM, len(tokens))) if tokens[n].quantity), None)
        noun = tokens[level + 1].norm if level is not None and level + 1 < len(tokens) else ""
        graded = level is not None and (tokens[level - 1].norm == "grade" or any(
            m.table == "grades" and m.last == level - 1 for m in sentence.mentions
        ))
        if level is not None and graded and noun in _OF_A_GRADE:
            found.append(Scope("certainty", "negated", at, level + 1, "no"))
    return found


_DENIES = frozenset({"no"})
_SOFT = frozenset({"tissue", "bone", "edges", "margins", "area", "areas", "cartilage", "fragments", "rim"})


def _listed(sentence: Sentence) -> list[Scope]:
    """ "Drain no, tourniquet no", "chondroplasty yes microfracture no": every thing with its answer behind it."""
    tokens = sentence.tokens
    found: list[Scope] = []
    for mention in sentence.mentions:
        at = _behind(sentence, mention, (",", ":"))
        if at >= len(tokens) or tokens[at].norm not in ("yes", "no") or (
            not sentence.index and mention.table == "procedures" and mention.first <= _TITLE
        ):
            continue  # "left knee scope no tear chondroplasty patella yes": the title is no answer
        found.append(Scope("certainty", "negated" if tokens[at].norm == "no" else "affirmed", mention.first,
                           mention.last, "answer"))  # fmt: skip
    answers = {(scope.first, scope.last) for scope in found}
    if len(answers) < _LEAST:
        return []
    said_yes = any(scope.value == "affirmed" for scope in found)
    # "No X, no Y" has "no" before its things: a list of answers ends with one
    ends = [token.norm for token in tokens if token.norm not in _MARKS][-1:]
    return found if said_yes or ends == ["no"] else []
