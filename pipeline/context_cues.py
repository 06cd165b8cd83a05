"""Where the cues of grammars/context.toml stand in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import spacy
from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc

from pipeline import clauses, facing, kin
from pipeline.grammar import Grammar
from pipeline.mentions import choices, split_phrase
from pipeline.mentions import folded as folded_of
from pipeline.records import Sentence
from pipeline.rows import ContextRule

_NLP = spacy.blank("en")
# Tables with names that hold such a word themselves ("no weight bearing", "not centrifuged", "no touch").
_WITH_OWN_WORDS = frozenset(
    {"aftercare", "idioms", "findings", "diagnoses", "processing", "closures", "acts", "procedures", "devices"}
)


@dataclass(frozen=True, slots=True)
class CueHit:
    rule: ContextRule
    first: int
    last: int


@lru_cache(maxsize=4)
def _matcher(grammar: Grammar) -> PhraseMatcher:
    matcher = PhraseMatcher(_NLP.vocab, attr="ORTH")
    for ident, row in grammar.table("context", ContextRule).items():
        docs = [Doc(_NLP.vocab, words=words) for phrase in row.say for words in _forms(phrase) if words]
        if docs:
            matcher.add(ident, docs)
    return matcher


def _forms(phrase: str) -> list[list[str]]:
    """A cue as it is written, "[one|other] word" as "one word" and "other word", and one that begins with "not" with
    the verb that speech contracts it with, or "never"."""
    if "[" in phrase:
        return [form for said in choices(phrase) for form in _forms(said)]
    words = [word for part in phrase.split() for word in (split_phrase(part) if part[-1].isalnum() else [part])]
    if len(words) < 2 or words[0] != "not":
        return [words]
    said = [[verb, *words[1:]] for verb in _SHORT_NOT]
    if words[1] not in ("be", "been", "at", "to"):
        said += [["never", *words[1:]], ["not", "been", *words[1:]], ["never", "been", *words[1:]]]
    return [words, *said]


# "wasn't used": "not" with the verb before it.
_WE_HAD, _AS_BASE = frozenset({"i'd", "we'd"}), frozenset({"put", "cut", "run", "split", "set", "shut"})
_SHORT_NOT = ("wasn't", "weren't", "isn't", "aren't", "couldn't", "wouldn't", "won't", "can't", "wont", "cant")


@lru_cache(maxsize=4)
def _known(grammar: Grammar) -> tuple[frozenset[str], frozenset[str]]:
    """The words of all cues (other words need no entry in spaCy's vocabulary), and their first words."""
    rows = grammar.table("context", ContextRule).values()
    forms = [form for row in rows for phrase in row.say for form in _forms(phrase)]
    return frozenset(word for form in forms for word in form), frozenset(form[0] for form in forms)


def hits(sentence: Sentence, grammar: Grammar) -> list[CueHit]:
    """Cues in order, the longest at a place, without those inside a longer named thing ("non touch technique")."""
    rules = grammar.table("context", ContextRule)
    known, openers = _known(grammar)
    folded = [*folded_of(sentence)]
    relatives = kin.subjects(sentence)
    if openers.isdisjoint(folded) and not relatives:
        return []
    doc = Doc(_NLP.vocab, words=[word if word in known else "_" for word in folded])
    raw = [CueHit(rules[_NLP.vocab.strings[key]], start, end - 1) for key, start, end in _matcher(grammar)(doc)]
    raw.sort(key=lambda hit: (hit.first - hit.last, hit.first, hit.rule.id))
    kept: list[CueHit] = []
    for hit in raw:
        if any(hit.first <= other.last and hit.last >= other.first for other in kept):
            continue
        if any(m.first <= hit.first and hit.last <= m.last and m.last - m.first > hit.last - hit.first
               and m.table in _WITH_OWN_WORDS for m in sentence.mentions):  # fmt: skip
            goes_on = _named_list(sentence, folded, hit)
            if goes_on is not None:
                kept.append(CueHit(hit.rule, goes_on, goes_on))
            continue
        if hit.rule.id == "none" and (_of_other_side(sentence, folded, hit) or _none_failed(folded, hit)):
            continue
        if hit.rule.id == "suspected" and folded[hit.last] == "be" and clauses.is_participle(sentence, hit.last + 1):
            continue  # "could be retracted": it was possible
        if _is_number_word(sentence, folded, hit):
            continue
        if folded[hit.first] == "may" and hit.first and folded[hit.first - 1] in ("in", "since", "last", "of"):
            continue  # the month
        if hit.rule.id == "suspected" and _is_behind(sentence, folded, hit):
            kept.append(CueHit(rules["suspected-before"], hit.first, hit.last))
            continue
        if hit.rule.id == "no" and folded[hit.first : hit.first + 2] == ["no", ","] and hit.first == 0:
            continue  # "No, supine." answers, and denies nothing behind it
        if hit.rule.id == "no" and hit.first == hit.last == len(folded) - 1 and any(
            m.last == hit.first - 1 for m in sentence.mentions
        ):
            kept.append(CueHit(rules["none"], hit.first, hit.last))  # "conversion no"
            continue
        if hit.rule.id == "no" and hit.first == hit.last and facing.looks_back(sentence, hit.first):
            kept.append(CueHit(rules["none"], hit.first, hit.last))  # "tourniquet no triamcinolone forty mg"
            if not facing.looks_ahead(sentence, hit.first):
                continue
        if hit.rule.id == "thought" and not _is_of_a_finding(sentence, hit):
            continue  # "I think the repair holds"
        if hit.rule.tables and not any(
            m.last in (hit.first - 1, hit.first - 2) and m.table in hit.rule.tables for m in sentence.mentions
        ):
            continue  # "the pain has gone"
        if hit.rule.id in _OF_DRUGS and not _of_a_drug(sentence, hit):
            continue  # "the fracture was held with a plate"
        if hit.rule.id in ("told-ahead", "talked-of") and not _behind_an_operation(sentence, hit.first):
            continue  # "the bleeding points listed above"
        if folded[hit.first] == "dropped" and not any(
            m.last == over_its_place(sentence, hit.first - 1) and m.table in ("procedures", "acts")
            for m in sentence.mentions
        ):
            continue  # a thing that fell
        if folded[hit.first] == "elsewhere" and hit.first == hit.last and not any(
            m.last == hit.first - 1 and m.table in ("procedures", "acts") for m in sentence.mentions
        ):  # fmt: skip
            continue  # "no lesion elsewhere"
        if hit.rule.id == "would" and folded[hit.last + 1 : hit.last + 2] == ["not"] and (
            set(folded[hit.last + 2 : hit.last + 3]) & _REFUSED
        ):
            continue  # "a twenty five would not go in": it was tried
        done = hit.last + 1 + (folded[hit.last + 1 : hit.last + 2] in (["already"], ["just"], ["also"]))
        if folded[hit.first] in _WE_HAD and set(folded[done : done + 1]).isdisjoint(_AS_BASE) and (
            folded[done : done + 1] == ["given"] or clauses.is_participle(sentence, done)
        ):
            continue  # "meanwhile I'd drawn up five mils": had
        if hit.rule.id == "doses-to-come" and _GIVEN & set(folded[hit.last + 1 : hit.last + 10]):
            continue  # "two further doses of cefuroxime were given"
        if hit.rule.id == "aimed" and clauses.is_participle(sentence, hit.last + 1):
            continue  # "the plan was discussed"
        if sentence.tokens[hit.last].norm == "take" and hit.rule.id in ("and-takes", "taken-at-home") and (
            hit.rule.id == "and-takes" or hit.first == hit.last
        ):  # fmt: skip
            continue  # "we turn the needle and take another four draws"
        if folded[hit.last] == "please" and folded[hit.last + 1 : hit.last + 2] and folded[hit.last + 1] in _WRITE:
            continue  # "please put down: shoulder on the right ..."
        if folded[hit.last] == "please" and _ends_request(folded, hit.last):
            kept += [CueHit(rule, hit.first, hit.last) for rule in rules.values() if rule.direction == "stop"][:1]
            continue
        kept.append(hit)
    for verbs, ends, ident in _APART:
        kept += [CueHit(rules[ident], at, at) for at in _apart(sentence, folded, verbs, ends)]
    told = [hit for hit in kept if hit.rule.value == "other_person"]
    kept += [CueHit(rules["other-person"], at, at) for at in relatives
             if not any(hit.first - _FAR_KIN <= at <= hit.last for hit in told)]  # fmt: skip
    return sorted(kept, key=lambda hit: hit.first)


_OF_DRUGS = frozenset({"held", "holding"})


def _is_of_a_finding(sentence: Sentence, hit: CueHit) -> bool:
    """Whether the first thing that is named behind a thought is one that can be found."""
    ahead = [m for m in sentence.mentions if hit.last < m.first <= hit.last + hit.rule.reach and m.table not in _BY]
    return bool(ahead) and min(ahead, key=lambda m: m.first).table in ("findings", "diagnoses", "complications")


_BY = frozenset({"sides", "sites", "guidance", "team", "events", "routes"})


def _of_a_drug(sentence: Sentence, hit: CueHit) -> bool:
    """Whether a drug, with its amount or without, stands right before "was held" or behind "holding"."""
    ahead, at = hit.rule.id == "holding", hit.last + 1 if hit.rule.id == "holding" else hit.first - 1
    tokens = sentence.tokens
    while 0 <= at < len(tokens) and (tokens[at].quantity is not None or tokens[at].norm in _OF_IT):
        at += 1 if ahead else -1
    return any(m.table in _DRUGS and at == (m.first if ahead else m.last) for m in sentence.mentions)


_OF_IT = frozenset({"of", "the", "his", "her", "any"})
_DRUGS = frozenset({"drugs", "injectates", "general", "measures"})


# A verb and what ends it, with its object between: "leaving the drain out", "have the mesh ready".
_APART = (
    (frozenset({"leave", "leaving", "leaves", "left"}), frozenset({"out"}), "declined"),
    (frozenset({"get", "have", "keep", "getting"}), frozenset({"ready", "standby"}), "asked-for"),
)
_NO_SUBJECT = frozenset({".", ",", ";", ":", "the", "then", "and", "now", "first", "on", "with"})
_LITTLE = frozenset({"another", "the", "a", "an", "any", "his", "her"})


def _apart(sentence: Sentence, folded: list[str], verbs: frozenset[str], ends: frozenset[str]) -> list[int]:
    """Where such a verb stands whose object, one named thing, is followed by what ends it."""
    if verbs.isdisjoint(folded) or ends.isdisjoint(folded):
        return []
    found = []
    for at, word in enumerate(folded):
        if word in verbs:
            start = at + 1 + (at + 1 < len(folded) and folded[at + 1] in _LITTLE)
            if word == "left" and start == at + 1 and (not at or folded[at - 1] in _NO_SUBJECT):
                continue  # "Left tonsil out, dry. Right tonsil out": a side
            lasts = {m.last for m in sentence.mentions if m.first == start}
            if any(not ends.isdisjoint(folded[last : last + 2]) for last in lasts):
                found.append(at)
    return found


_SIDES = frozenset({"left", "right", "l", "r", "other", "opposite", "contralateral"})


def _of_other_side(sentence: Sentence, folded: list[str], hit: CueHit) -> bool:
    """ "Tourniquet on the left thigh for 82 minutes, none on the right": what was told with a side of its own or a
    number stands."""
    behind = [word for word in folded[hit.last + 1 : hit.last + 4] if word not in ("on", "the", "in", "at", "for")]
    if folded[hit.first] != "none" or behind[:1] == [] or behind[0] not in _SIDES:
        return False
    start = max((at for at in range(hit.first) if folded[at] in (".", ";", ":")), default=-1) + 1
    return any(folded[at] in _SIDES - {behind[0]} or sentence.tokens[at].quantity is not None
               for at in range(start, hit.first))  # fmt: skip


def _none_failed(folded: list[str], hit: CueHit) -> bool:
    """ "Three anchors, none pulled out": what did not befall them, and they are there."""
    behind = [word for word in folded[hit.last + 1 : hit.last + 6] if word not in _LIGHT_VERBS]
    return folded[hit.first] == "none" and behind[:1] != [] and behind[0] in _FATES


_LIGHT_VERBS = frozenset("of them these those which has had have was were is are got".split())
_FATES = frozenset(
    "pulled came backed broke broken failed removed loose loosened cut migrated displaced stripped bent dislocated "
    "moved lost dropped misfired bled leaked slipped wasted discarded replaced explanted exchanged fell".split()
)
_FAR_KIN = 2  # tokens: "runs in the family, his father ..." is said with a cue of its own


def _behind_an_operation(sentence: Sentence, index: int) -> bool:
    """ "Microfracture of the acetabulum considered", "ablation: offered at the clinic"."""
    at = index - 1 - (sentence.tokens[index - 1].norm == ":")
    while at > 0 and sentence.tokens[at].norm in _THERE_WAS:
        at -= 1  # "an injection there was offered"
    return any(m.last in (at, over_its_place(sentence, at)) and m.table in _DONE for m in sentence.mentions)


_THERE_WAS = frozenset({"there", "was", "were", "had", "been", "then", "also", "again"})
_DONE = frozenset({"procedures", "acts", "anaesthesia", "drugs", "injectates", "devices", "drains", "tourniquet",
                   "specimens", "measures"})  # fmt: skip


def over_its_place(sentence: Sentence, at: int) -> int:
    """The token before where it is to be done: "release of the other hand planned in spring"."""
    start = at
    while at > 0 and (
        sentence.tokens[at].norm in _WHERE or any(m.first <= at <= m.last and m.table == "sites"
                                                  for m in sentence.mentions)
    ):  # fmt: skip
        at -= 1
    return at if any(m.last == at and m.table in ("procedures", "acts") for m in sentence.mentions) else start


_WHERE = frozenset({"left", "right", "other", "opposite", "the", "on", "of", "for", "in", "his", "her", "side"})
_REFUSED = frozenset("go pass fit come seat advance hold bite engage stay sit reach take move budge close turn".split())
_NUMBERED = frozenset({"lot", "serial", "batch", "ref", "reference", "case", "record", "chart", "hospital", "catalogue",
                       "catalog", "part", "order", "nhs", "id"})  # fmt: skip


def _is_number_word(sentence: Sentence, folded: list[str], hit: CueHit) -> bool:
    """ "Lot no. 77-A", "no. 5 Ethibond": short for number, and nothing is denied."""
    if folded[hit.first] != "no" or any(word.isalpha() for word in folded[hit.first + 1 : hit.last + 1]):
        return False
    if hit.first and folded[hit.first - 1] in _NUMBERED:
        return True
    after = sentence.tokens[hit.first + 1 : hit.first + 3]
    return len(after) > 1 and after[0].norm == "." and after[1].quantity is not None


_GIVEN = frozenset({"given", "received", "administered", "had", "was", "were"})


_WRITE = frozenset({"put", "write", "note", "record", "type", "document", "dictate"})


def _ends_request(folded: list[str], index: int) -> bool:
    """ "Can we have the systolic below a hundred please it is ninety now", "the lot please lot is ...": said to the
    team, and over with the word."""
    answered = 0 < index < len(folded) - 1 and folded[index - 1] == folded[index + 1]
    before = folded[max(0, index - _REQUEST) : index]
    asked = any(word in ("can", "could", "may") and after in ("i", "we", "you")
                for word, after in pairwise(before))  # fmt: skip
    return answered or asked


# Words of suspicion that are also said behind what is suspected.
_AFTER_NOUN = frozenset({"suspected", "susp", "possible", "probable", "likely", "questionable", "presumed",
                          "questioned", "queried"})
_GOES_ON = frozenset(
    "at on in by from because due given intraoperatively clinically here there but and though although so then "
    "radiologically endoscopically after during with as until still none not no never excluded confirmed".split()
)


def _is_behind(sentence: Sentence, folded: list[str], hit: CueHit) -> bool:
    """ "Anastomotic leak suspected", "bowel perforation likely": the thing stands right before the word, and nothing
    that could be suspected follows it."""
    if hit.first != hit.last or folded[hit.first] not in _AFTER_NOUN or hit.first == 0:
        return False
    named = any(m.last == hit.first - 1 and m.table in ("findings", "diagnoses", "complications")
                for m in sentence.mentions)  # fmt: skip
    behind = folded[hit.last + 1] if hit.last + 1 < len(folded) else "."
    over = behind in _GOES_ON or not behind[:1].isalnum()
    return named and over


_REQUEST = 12  # tokens
_BARE_NO = frozenset({"no", "without"})
_LISTED = 7  # tokens


def _named_list(sentence: Sentence, folded: list[str], hit: CueHit) -> int | None:
    """The last token of a name that begins with a bare "no", where a list goes on behind it: "no abnormality or mass"
    denies the mass too. "No abnormality and a mass" does not."""
    if hit.rule.id not in _BARE_NO or hit.rule.direction != "after":
        return None
    named = [m.last for m in sentence.mentions if m.first == hit.first and m.last > hit.last and m.table == "findings"]
    if not named:
        return None
    last = max(named)
    for at in range(last + 1, min(last + _LISTED, len(folded))):
        if folded[at] in ("or", "nor"):
            return last if folded[last + 1] in ("or", "nor", ",") else None
        if folded[at] in clauses.FINITE or folded[at] in ("and", "but", ".", ";"):
            return None
    return None
