"""Sections: headings and spoken cues of grammars/sections.toml -> `Sentence.section`.

A cue opens a section at the start of a sentence; one in the middle ("..., postoperative diagnosis same") cuts the
sentence in two, so that no scope and no side reaches over it. Words, tokens and strikes are kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline import clauses
from pipeline.grammar import Grammar
from pipeline.mentions import folded as folded_of
from pipeline.mentions import handed_on, split_phrase
from pipeline.records import Sentence, Token, Word, replace
from pipeline.rows import SectionCue
from pipeline.section_ends import (
    BEFORE,
    COPULA,
    LISTS,
    VERBS,
    WORK,
    is_bare_name,
    is_over,
    is_telling,
    next_item,
    same_ends,
    tells_of_past,
    tells_work,
    unknown_heading,
)

_LEAD = frozenset(
    {"the", "a", "an", "now", "and", "then", "so", "next", "okay", "ok", "um", "uh", "our", "my", "his", "her"}
)
_MARKS = frozenset({":", ",", ".", ";", "-", "—", "–", "::"})


@dataclass(frozen=True, slots=True)
class _Cue:
    row: SectionCue
    words: tuple[str, ...]
    heading: bool


@lru_cache(maxsize=4)
def _index(grammar: Grammar) -> dict[str, list[_Cue]]:
    """First folded word -> cues, longest first."""
    index: dict[str, list[_Cue]] = {}
    for row in grammar.table("sections", SectionCue).values():
        for phrases, heading in ((row.say, False), (row.heading, True)):
            for phrase in phrases:
                words = tuple(split_phrase(phrase))
                if words:
                    index.setdefault(words[0], []).append(_Cue(row, words, heading))
    for cues in index.values():
        cues.sort(key=lambda cue: (-len(cue.words), cue.heading))
    return index


def place(sentences: Iterable[Sentence], grammar: Grammar, words: Sequence[Word] = ()) -> list[Sentence]:
    """The sentences with their sections, cut where a section begins inside one, numbered anew. `words`: of a typed
    narration, to know its lines."""
    placed: list[Sentence] = []
    lasting, once = "", ""
    lines = {word.id: word.segment for word in words if word.start is None}
    line = 0  # the one that the lasting section was opened on
    for sentence in sentences:
        for part, row, alone in _cut(sentence, grammar):
            section = lasting
            here = lines.get(part.tokens[0].first, 0) if part.tokens else line
            if row is not None:
                line = here + (1 if alone else 0)
                row = _after_preop(row, part, lasting, grammar)
                if row.id == "procedure" and is_telling(part, placed, grammar):
                    row = grammar.table("sections", SectionCue)["description"]
                if row.id == "medicines" and placed and placed[-1].section == "history":
                    row = grammar.table("sections", SectionCue)["home-medicines"]  # "PMH: asthma. Meds: salbutamol."
                early = row.id == "aftercare" and len(placed) < _EARLY and part.tokens and part.tokens[0].norm == "plan"
                section = "" if row is _NO_CUE or early else _STORIES.get(row.id, row.id)
                if row.id == "postop-diagnosis" and _says_same([token.norm for token in part.tokens
                                                                if not token.punctuation]):  # fmt: skip
                    lasting = once = ""  # "Same diagnosis after. Hip arthroscopy ...": there is no more to it
                elif row.holds == "narration":
                    lasting, once = section, ""
                else:
                    lasting = "" if lasting in LISTS or lasting in BEFORE else lasting
                    if row.id == "booked" and [token.norm for token in part.tokens[1:]] == ["."]:
                        section, alone = "", False  # "Hernia repair. Planned. Cefuroxime 1.5 g.": no heading
                    once = section if alone else ""
            elif once and not unknown_heading(part):
                section, once = once, ""
            elif unknown_heading(part):
                section = lasting = once = ""
            elif placed and placed[-1].section in LISTS and next_item(part):
                section = placed[-1].section
            elif is_over(lasting, part, placed) or (lasting in BEFORE and here > line and tells_work(part)):
                section = lasting = ""
            elif lasting in _AHEAD and tells_of_past(part):
                section = ""
            told = Sentence(len(placed), part.tokens, part.strikes, section, part.mentions, part.scopes)
            placed.append(handed_on(part, told))
    return placed


_EARLY = 2  # sentences: a plan told before anything else is the one of the operation
# Headings of parts of the history that end with their sentence.
_STORIES = dict.fromkeys(("short-history", "family-history", "home-medicines"), "history")
# Instructions: a sentence that tells of the past among them is none ("Blood loss was minimal").
_AHEAD = frozenset({"aftercare", "follow-up"})


def _after_preop(row: SectionCue, part: Sentence, lasting: str, grammar: Grammar) -> SectionCue:
    """ "Post-op:" right after a pre-operative diagnosis is the diagnosis, elsewhere the plan."""
    words = [token.norm for token in part.tokens if not token.punctuation]
    tables = {mention.table for mention in part.mentions}
    if row.id == "postop-diagnosis" and words[:1] == ["after"] and not tables & {"diagnoses", "findings"} and (
        tables & {"aftercare", "dressings"}
    ):  # "After: boot 1 week, physio from day 3"
        return grammar.table("sections", SectionCue)["aftercare"]
    if row.id == "description" and words[:2] == ["procedure", "note"] and is_bare_name(part):
        return grammar.table("sections", SectionCue)["procedure"]
    told = [token.norm for token in part.tokens]
    joint = next((at for at, norm in enumerate(told) if norm in ("+", "plus", "and", "with", ",")), len(told))
    if row.id == "aftercare" and words and words[0] in ("post", "postop") and (
        lasting == "preop-diagnosis" or _says_same([norm for norm in told[:joint] if norm.isalpha()])
    ):  # "Post-op: same + tear": also with what came to it
        return grammar.table("sections", SectionCue)["postop-diagnosis"]
    if row.id == "aftercare" and words and words[0] in ("post", "postop") and _is_illness(part):
        return grammar.table("sections", SectionCue)["postop-diagnosis"]
    return row


def _is_illness(part: Sentence) -> bool:
    """ "Post-op: perforated appendicitis.": a bare disease, and nothing to do, to take or to look out for."""
    first = next((at for at, token in enumerate(part.tokens) if token.norm == ":"), len(part.tokens))
    named = [m for m in part.mentions if m.first > first]
    words = [token for token in part.tokens[first + 1 :] if not token.punctuation]
    return bool(named) and len(words) <= _FEW and {m.table for m in named} <= {"diagnoses", "sites", "sides"} and (
        any(m.table == "diagnoses" for m in named) and not any(t.norm in VERBS | _ORDERS for t in words)
    )


_FEW = 7  # words
_ORDERS = frozenset("no avoid watch for monitor check if until treat risk look rule exclude".split())
_SAME = frozenset("same unchanged change likewise above before identical".split())
_SAME_WORDS = _SAME | frozenset("post op postop the it is as was stays remains no diagnosis dx remained stayed after "
                                "afterwards operatively postoperatively postoperative operative".split())  # fmt: skip


def _says_same(words: Sequence[str]) -> bool:
    """ "Post-op: the same": the diagnosis, wherever it stands."""
    return set(words) <= _SAME_WORDS and bool(_SAME & set(words))


def _cut(sentence: Sentence, grammar: Grammar) -> list[tuple[Sentence, SectionCue | None, bool]]:
    """(part, the cue that opens it, whether the part is the cue alone) of a sentence."""
    index = _index(grammar)
    folded = folded_of(sentence)
    if index.keys().isdisjoint(folded):
        return [(sentence, None, False)]
    folded = _joined(folded)
    starts: list[tuple[int, SectionCue, int]] = []
    for at, word in enumerate(folded):
        if word not in index or (starts and at <= starts[-1][2]):
            continue
        listing = bool(starts) and starts[-1][1].id in LISTS and len(folded) > _STREAM
        for cue in index[word]:
            end = at + len(cue.words)
            if folded[at:end] != cue.words:
                continue
            if at and cue.row.id == "both-diagnoses" and all(token.punctuation for token in sentence.tokens[end:]):
                break  # "calcific deposit 14 mm, pre & post dx": said behind it
            # "under examination", "the left eye was done in March"
            before = sentence.tokens[at - 1].norm
            free = at > 0 and before not in _BEFORE_A_NOUN and before not in _BEFORE_A_VERB
            goes_on = listing and free and cue.row.id in _NEXT - {starts[-1][1].id} and not any(
                mention.first < at <= mention.last for mention in sentence.mentions  # "general anaesthesia"
            )
            named = bool(starts) and _opens_operation(sentence, at, end, cue.row, starts[-1][1])
            if starts and starts[-1][2] == at - 2 and folded[at - 1] == "/":  # "EBL/IVF/UOP: 50/1200/300"
                starts[-1] = (*starts[-1][:2], end - 1)
                break
            if goes_on or named or _opens(sentence, at, end, cue):
                starts.append((at, cue.row, end - 1))
                break
    if not starts:
        return [(sentence, None, False)]
    parts: list[tuple[Sentence, SectionCue | None, bool]] = []
    borders = [0 if _leads(sentence, starts[0][0]) else starts[0][0]] + [start[0] for start in starts[1:]]
    if borders[0] > 0:
        parts.append((_slice(sentence, 0, borders[0]), None, False))
    for number, (_, row, last) in enumerate(starts):
        end = borders[number + 1] if number + 1 < len(borders) else len(sentence.tokens)
        part = _slice(sentence, borders[number], end)
        alone = all(token.punctuation for token in sentence.tokens[last + 1 : end])
        length = _length_in_stream(part, row)
        if length < len(part.tokens):
            parts += [(_slice(part, 0, length), row, alone), (_slice(part, length, len(part.tokens)), _NO_CUE, False)]
        else:
            parts.append((part, row, alone))
    return parts


def _joined(folded: Sequence[str]) -> tuple[str, ...]:
    """ "Pre/post", "pre = post", "before & after": "and", whatever sign stands for it."""
    return tuple(
        "and" if word in _SIGNS and 0 < at < len(folded) - 1 and folded[at - 1].startswith(("pre", "before"))
        and folded[at + 1].startswith(("post", "after")) else word
        for at, word in enumerate(folded)
    )  # fmt: skip


_SIGNS = frozenset("/ = & + - – |".split())
_BEFORE_A_VERB = frozenset("under was were is are be been being not nothing had has have".split())
_NEXT = frozenset({"procedure", "anaesthesia", "indication", "findings"})
_STREAM = 40  # tokens; a longer part is speech without full stops: its heading holds for the next few words only
_LONGEST = 25  # tokens of such a heading
_UNMARKED = 25  # tokens, where not a single mark was said or heard
_NO_CUE = SectionCue(id="none", section="", source="own", holds="narration")


def _length_in_stream(part: Sentence, row: SectionCue) -> int:
    """How many tokens of a long part belong to its heading: up to the patient, the team or the work."""
    if (named := same_ends(part, row.id)) is not None:
        return named
    marked = any(token.punctuation for token in part.tokens)
    if len(part.tokens) <= (_STREAM if marked else _UNMARKED) or row.id not in LISTS | BEFORE:
        return len(part.tokens)
    if (row.id in BEFORE or part.says(_RISKS)) and _is_written(part):
        return len(part.tokens)
    ends = [m.first for m in part.mentions if m.table in WORK or m.table == "team"]
    ends += [index for index, token in enumerate(part.tokens) if token.norm in _PERSONS]
    longest = max((at for at in clauses.starts(part) if 2 < at <= _LONGEST), default=_LONGEST)
    return min([end for end in ends if end > 2] + [longest])


# "PROCEDURE: The risks were discussed with the patient including ...": all of it is of the risks.
_RISKS = frozenset({"risks", "benefits", "dangers", "hazards", "complications"})


def _is_written(part: Sentence) -> bool:
    """A heading with its colon and a sentence with its full stop: typed, so that the heading holds to the stop, also
    over "the patient". Not where the work begins inside it."""
    norms = [token.norm for token in part.tokens]
    return ":" in norms[:7] and norms[-1] in (".", ";") and norms.count(".") <= 1 and not any(
        mention.table in ("anaesthesia", "positions", "preparations") for mention in part.mentions
    )


_PERSONS = frozenset({"mister", "missus", "miss", "mr", "mrs", "ms", "doctor", "dr", "patient"})


def _opens(sentence: Sentence, at: int, end: int, cue: _Cue) -> bool:
    tokens = sentence.tokens
    after = tokens[end] if end < len(tokens) else None
    capitals = all(token.text.isupper() and len(token.text) > 2 for token in tokens[at:end])
    first = _leads(sentence, at)
    fresh = first or tokens[at - 1].norm in (":", ";", ".", "—") or (tokens[at - 1].norm == "," and _marked(after))
    if cue.words in _ONLY_MARKED:  # "Post: the same", but not "status post repair"
        told = any(m.table in ("diagnoses", "findings") and m.first <= end + 1 + _NEAR for m in sentence.mentions)
        told = told or any(token.norm in _AS_BEFORE for token in tokens[end + 1 : end + 3])
        told = told or (cue.words == ("pre",) and len(tokens) <= _SHORT and not any(
            token.quantity is not None or token.norm in ("op", "none") for token in tokens[end:]
        ))  # "Pre: irreparable L SS tear.": in words that no row has
        return first and told and after is not None and after.norm == ":"
    if cue.heading:
        if first and cue.row.id == "indication" and cue.words[0].startswith("indication") and after is not None:
            return True  # "the indication was a prolonged second stage", "indication prolonged second stage"
        if _names_its_own(sentence, at, end, cue.row, first):
            return True
        fresh = fresh and (first or tokens[at - 1].norm != ",")
        if capitals and (first or _all_capitals_end(tokens, at)):
            return True
        return fresh and (after is None or after.norm in _MARKS) and not _is_clause(tokens, end)
    if fresh or capitals or (len(cue.words) > 1 and tokens[at - 1].norm == ","):
        return True
    # inside a stream of words: only names of two words or more that are not part of a phrase
    before = tokens[at - 1].norm
    gave = cue.row.id == "consent" and any(token.norm in _CONSENTING for token in tokens[max(0, at - _GIVING) : at])
    if tokens[at - 1].text.endswith(("'s", "\u2019s")) or gave:
        return False  # "the patient's history and physical", "obtaining appropriate preoperative informed consent"
    if before == "same":  # "postoperative diagnosis same procedure performed", but not "the same procedure performed"
        if cue.row.id == "findings":  # "lesion of the talus same finding at operation"
            return at > 1 and tokens[at - 2].norm in _THE_SAME
        return len(cue.words) > 1 and at > 1 and tokens[at - 2].norm != "the"
    if cue.row.id == "procedure" and cue.words[-1] in ("done", "performed") and not any(
        m.table in ("procedures", "acts", "sites", "diagnoses") and 0 <= m.first - end <= _NEAR
        for m in sentence.mentions
    ):
        return False  # "a maze procedure done today"
    return len(cue.words) > 1 and before not in _BEFORE_A_NOUN and not tokens[at - 1].punctuation


_AS_BEFORE = frozenset({"same", "unchanged", "confirmed", "identical", "idem", "ditto"})
_SHORT = 12  # tokens
_ONLY_MARKED = (("pre",), ("post",))
_GIVING = 8  # tokens
_CONSENTING = frozenset(
    "gave gives given giving provided provides obtained obtain obtaining signed signing written verbal full took taken "
    "granted has had have".split()
)
# What a heading said without a mark is known by: the name that follows it ("procedure left carpal tunnel release").
_NAMED_BY = {
    "preop-diagnosis": ("diagnoses", "findings"), "postop-diagnosis": ("diagnoses", "findings"),
    "diagnosis": ("diagnoses", "findings"), "procedure": ("procedures",), "anaesthesia": ("anaesthesia",),
    "position": ("positions",),
}  # fmt: skip
_NEAR = 3  # words: a side and what is more said of the thing


def _names_its_own(sentence: Sentence, at: int, end: int, row: SectionCue, first: bool) -> bool:
    """Whether a heading without a mark is followed at once by a name of its own sort. In the middle of speech only
    "pre op" and "post op" are headings."""
    tables = _NAMED_BY.get(row.id, ())
    middle = row.id in _BEFORE_AND_AFTER and at > 0 and sentence.tokens[at - 1].norm not in _BEFORE_A_NOUN - {"and"}
    if not tables or not (first or middle):
        return False
    return any(
        mention.table in tables and end <= mention.first <= end + _NEAR
        and not any(token.punctuation or token.norm in VERBS for token in sentence.tokens[end : mention.first])
        for mention in sentence.mentions
    )


def _opens_operation(sentence: Sentence, at: int, end: int, row: SectionCue, open_: SectionCue) -> bool:
    """Whether "procedure" in the words of a diagnosis names the operation: "pre op hernia post op same procedure left
    hernia repair", but not "the same procedure"."""
    if row.id != "procedure" or open_.id not in _DIAGNOSES | BEFORE or at < 1:
        return False
    if sentence.tokens[at].norm in ("done", "performed"):
        return False  # "whom I had performed a discectomy on": a verb
    before = [token.norm for token in sentence.tokens[max(0, at - 3) : at]]
    if before[-1] in _BEFORE_A_NOUN - {"same"} and before[-2:] != ["same", "after"]:
        return False
    if before[-2:] == ["the", "same"] and before[0] not in _THE_SAME:  # "gallstones, the same procedure was planned"
        return False
    return any(
        mention.table in _OPERATED and end <= mention.first <= end + _NEAR and not any(
            token.punctuation or token.norm in VERBS - {"left"} for token in sentence.tokens[end : mention.first]
        )
        for mention in sentence.mentions
    )


_OPERATED = frozenset({"procedures", "acts", "injectates", "sites"})
_THE_SAME = COPULA | {"diagnosis", "dx", "op", "postop", "after", "afterwards", "postoperatively", ":"}
_DIAGNOSES = LISTS - {"procedure"}
_BEFORE_AND_AFTER = frozenset({"preop-diagnosis", "postop-diagnosis"})
_BEFORE_A_NOUN = frozenset(
    {"the", "a", "an", "of", "for", "this", "that", "his", "her", "their", "per", "no", "with", "to", "in", "from",
     "by", "as", "and", "or", "our", "any", "minimal", "total", "previous", "at", "same", "on", "after", "before"}
)  # fmt: skip


def _marked(after: Token | None) -> bool:
    return after is None or after.norm in _MARKS or after.norm in COPULA


def _is_clause(tokens: tuple[Token, ...], end: int) -> bool:
    """Whether "Position, the patient was ..." - a comma after a single word is still a heading; never a clause."""
    return end < len(tokens) and tokens[end].norm in COPULA


def _all_capitals_end(tokens: tuple[Token, ...], at: int) -> bool:
    """Whether the word before does not belong to the same run of capitals."""
    return at == 0 or not (tokens[at - 1].text.isupper() and len(tokens[at - 1].text) > 1)


def _leads(sentence: Sentence, at: int) -> bool:
    """Whether only lead-in words, marks and list numbers stand before a token."""
    return at <= 4 and all(
        token.punctuation or token.norm in _LEAD or token.quantity is not None for token in sentence.tokens[:at]
    )


def _slice(sentence: Sentence, first: int, end: int) -> Sentence:
    """Tokens first..end-1 as a sentence; mentions and strikes that lie inside go along."""
    last_part = end == len(sentence.tokens)
    return replace(
        sentence,
        tokens=sentence.tokens[first:end],
        mentions=tuple(
            replace(mention, first=mention.first - first, last=mention.last - first)
            for mention in sentence.mentions
            if mention.first >= first and mention.last < end
        ),
        strikes=tuple(
            replace(strike, at=strike.at - first)
            for strike in sentence.strikes
            if first <= strike.at and (strike.at < end or last_part)
        ),
    )
