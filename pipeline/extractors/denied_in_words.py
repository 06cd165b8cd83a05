"""What no row names and was said behind its name not to be there or not to have been done: "lesser toe surgery not
needed", "cavity shaves: none", "reverse wedge - omitted". In the words that were said; what was not seen is a finding.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline import clauses, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Scope, Sentence

KINDS = ("finding", "act")

_ELSEWHERE = frozenset({"aftercare", "follow-up", "history", "indication", "imaging", "consent", "warning-sign"})
_RULES = frozenset({"none", "nil", "not-done", "declined", "attempt-failed"})
_CUES = clauses.word_set(
    "none nil not never wasn't weren't omitted skipped declined refused deferred withheld cancelled canceled postponed "
    "abandoned unused unnecessary forgotten avoided attempted tried failed planned considered offered discussed opened "
    "prepared ready absent"
)
_SEEN = clauses.word_set(
    "none nil seen identified found noted visualised visualized palpable palpated felt present evident detected "
    "encountered observed demonstrated appreciated visible absent there"
)
# Words that name nothing by themselves, or that another part of a note tells.
_NO_NAME = clauses.word_set(
    "it this that they them these those one two side sides left right other others both we i he she you which what "
    "patient so and but or as for was were is are has had have been be the a an any again further more else time today "
    "blood loss ebl count counts swabs allergies allergy history medication medications consent medial lateral "
    "once twice anterior posterior upper lower superior inferior first second third only still also then if when until"
)
_MOST = 4  # words of a name
_LEAST = 3  # letters of a word that could name a thing


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    told = ((*_denied(reading, sentence), *_no_such(reading, sentence)) for sentence in reading.sentences)
    return [fact for facts in told for fact in facts]


def _no_such(reading: Reading, sentence: Sentence) -> Iterator[Fact]:
    """ "Frozen section benign, so no hemicolectomy": an operation that no row names."""
    if sentence.section in _ELSEWHERE or not sentence.says({"no"}):
        return
    tokens = sentence.tokens
    for at in range(len(tokens) - 1):
        if tokens[at].norm != "no" or base.scope_at(sentence, "certainty", at + 1, "affirmed") != "negated":
            continue
        last = next((one for one in range(at + 1, min(at + 4, len(tokens)))
                     if tokens[one].norm.endswith(clauses.OPERATED)), None)  # fmt: skip
        named = any(m.first <= (last or at) and at < m.last and m.table != "sites" for m in sentence.mentions)
        if last is None or named or base.scope_at(sentence, "status", last, "performed") != "performed":
            continue
        yield base.make("act", reading, sentence, at, last, text=story.words(sentence, at + 1, last),
                        certainty="negated")  # fmt: skip


def _denied(reading: Reading, sentence: Sentence) -> Iterator[Fact]:
    if sentence.section in _ELSEWHERE:
        return
    for scope in sentence.scopes:
        if scope.value != "negated" or scope.rule not in _RULES:
            continue
        name = _name(sentence, scope)
        if name is None or base.scope_at(sentence, "status", name[0], "performed") != "performed":
            continue
        seen = any(token.norm in _SEEN for token in sentence.tokens[name[1] + 1 : scope.last + 1])
        yield base.make(
            "finding" if seen else "act", reading, sentence, name[0], scope.last,
            text=story.words(sentence, *name), certainty="negated",
        )  # fmt: skip


def _name(sentence: Sentence, scope: Scope) -> tuple[int, int] | None:
    """First and last token of the name before the cue of a scope, None where it has none or a row names it."""
    tokens = sentence.tokens
    cue = next((at for at in range(scope.first, scope.last + 1) if tokens[at].norm in _CUES), None)
    if cue is None or cue == scope.first:
        return None
    last = cue - 1
    while last > scope.first and (tokens[last].punctuation or tokens[last].norm in ("was", "were")):
        last -= 1
    first = scope.first
    while first < last and (tokens[first].norm in ("the", "a", "an", "any", "and") or tokens[first].punctuation):
        first += 1
    if scope.first and tokens[scope.first - 1].norm in clauses.TIED | {"the", "a", "an"}:
        return None  # "steroid on the root none"
    headed = first == 0 and tokens[last + 1].norm == ":" and sentence.section not in ("", "findings", "description")
    if headed:
        return None  # "Anesthesia: none", "Assistant: none": the heading itself
    words = tokens[first : last + 1]
    if not 1 <= len(words) <= _MOST or any(
        word.punctuation or word.quantity is not None or word.norm in _NO_NAME or word.norm in clauses.FINITE
        for word in words
    ):
        return None
    if not words[-1].norm.isalpha() or len(words[-1].norm) < _LEAST or clauses.is_participle(sentence, last):
        return None
    named = any(m.first <= scope.last and first <= m.last and m.table != "sites" for m in sentence.mentions)
    whole = any(m.first <= first and last <= m.last for m in sentence.mentions)  # a part of the body alone
    return None if named or whole else (first, last)
