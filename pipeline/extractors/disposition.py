"""How the patient was at the end, where they went, and what recovery has to look after."""

from __future__ import annotations

from pipeline import story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("condition", "disposition", "recovery_concern")

_MOVES = frozenset(
    {"to", "went", "transferred", "taken", "sent", "returned", "discharged", "admitted", "brought", "moved",
     "escorted", "transported", "going", "goes", "back", "in", "left", "stays", "home", "for", "overnight"}
)  # fmt: skip
_PERSON = frozenset({"patient", "he", "she", "pt", "condition", "vitals", "vital", "hemodynamically", "infant", "child",
                     "baby", "who", "mother"})  # fmt: skip
_EARLY = frozenset({"indication", "history", "imaging", "preop-diagnosis", "postop-diagnosis", "both-diagnoses",
                    "diagnosis", "procedure", "consent"})  # fmt: skip
_CONCERN = frozenset({"concern", "concerns"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        concern = _concern(reading, sentence)
        facts += concern
        if sentence.section in _EARLY:
            continue
        goes = [m for m in base.mentions(sentence, "dispositions") if _goes(sentence, m)] if not concern else []
        for mention in goes:
            status = base.scope_at(sentence, "status", mention.first, "performed")
            if status == "planned" and _went(sentence, mention):
                status = "performed"
            facts.append(base.make("disposition", reading, sentence, mention.first, mention.last, name=mention.id,
                                   status=status))  # fmt: skip
        for mention in base.mentions(sentence, "conditions"):
            if _is_condition(sentence, mention, bool(goes)):
                certainty = base.scope_at(sentence, "certainty", mention.first, "affirmed")
                facts.append(base.make("condition", reading, sentence, mention.first, mention.last, name=mention.id,
                                       certainty="negated" if certainty == "negated" else "affirmed"))  # fmt: skip
    return facts


def _went(sentence: Sentence, mention: Mention) -> bool:
    """ "She is to call us, and he was discharged home": a past passive is no plan, whatever was planned before it."""
    tokens = sentence.tokens
    words = range(max(1, mention.first - 4), mention.last + 1)
    return any(
        tokens[at].norm.endswith("ed") and tokens[at - 1].norm in ("was", "were") for at in words
    ) and not {"if", "unless", "when", "once"} & {token.norm for token in tokens[: mention.first]}


def _goes(sentence: Sentence, mention: Mention) -> bool:
    if sentence.section == "disposition" or _alone(sentence, mention):
        return True
    if sentence.tokens[mention.first].norm == "admitted" and _was_admitted(sentence, mention):
        return False
    lead = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    if sentence.tokens[mention.first].norm == "home" and lead[-1:] and lead[-1] in _LIVES and "to" not in lead:
        return False  # "he has it at home already"
    behind = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 5]]
    if mention.id == "home" and lead[-1:] and lead[-1] in _DRIVEN:
        return False  # "the stem was pushed home"
    if mention.id == "home" and "room" in behind and "to" in behind:
        return False  # "discharged back to his room"
    if mention.id == "home" and sentence.tokens[mention.last].norm == "discharged" and behind[:1] == ["to"] and any(
        m.table == "dispositions" and m.id != "home" and 0 < m.first - mention.last <= _TO_WHERE
        for m in sentence.mentions
    ):
        return False  # "discharged to the recovery unit"
    if sentence.tokens[mention.last].norm == "recovery" and lead[-1:] in (["his"], ["her"], ["their"]) and (
        behind[:1] not in (["room"], ["bed"], ["area"], ["bay"])
    ):
        return False  # "to the floor to begin his recovery"
    if sentence.tokens[mention.last].norm == "floor" and mention.last + 1 < len(sentence.tokens) and (
        sentence.tokens[mention.last + 1].norm == "of"
    ):
        return False  # "the floor of the canal"
    before = {token.norm for token in sentence.tokens[max(0, mention.first - 5) : mention.first]}
    after = {token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 3]}
    if sentence.tokens[mention.last].norm == "recovery" and lead[-1:] and lead[-1] in _GETTING_WELL:
        return False  # "improving in terms of neurologic recovery"
    if after & {"room", "bed"} and mention.id == "recovery" and not before & _MOVES:
        return False
    inside = {token.norm for token in sentence.tokens[mention.first : mention.last + 1]}
    return bool((before | inside) & _MOVES) and not before & _NO_WARD


def _alone(sentence: Sentence, mention: Mention) -> bool:
    """ "Ward.", "Day case.": a sentence of its own, behind the work."""
    words = [at for at, token in enumerate(sentence.tokens) if not token.punctuation]
    return sentence.index > _WORK and words[: mention.last + 1 - mention.first] == list(
        range(mention.first, mention.last + 1)
    ) and len(words) <= mention.last - mention.first + 2  # "Ward 7.", "HDU bed."


_WORK = 3  # sentences
_DRIVEN = frozenset("pushed hammered driven tapped screwed knocked seated impacted pressed pushing tapping".split())
_TO_WHERE = 5  # tokens
_GETTING_WELL = frozenset("neurologic neurological functional full complete speedy motor visual good slow".split())
_NO_WARD = frozenset({"pelvic", "orbital", "nasal", "oral", "mouth", "sinus", "until", "emergency", "brought"})
_EARLIER = frozenset({"yesterday", "ago", "earlier", "previously"})
_LIVES = frozenset({"at", "from", "a", "his", "her", "the", "their"})


def _was_admitted(sentence: Sentence, mention: Mention) -> bool:
    """ "She was admitted for chest pain and underwent ...": how she came in, not where she goes."""
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    after = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 2]]
    if sentence.says(_EARLIER):
        return True  # "she was admitted to the hospital yesterday"
    return bool({"was", "were", "been", "had"} & set(before)) and "be" not in before and after in (
        ["for"], ["with"], ["because"], ["via"], ["through"], ["electively"], ["as"]
    )  # fmt: skip


def _is_condition(sentence: Sentence, mention: Mention, goes: bool) -> bool:
    if goes or sentence.section == "disposition":
        return True
    words = [token.norm for token in sentence.tokens[mention.first : mention.last + 1]]
    if len(words) > 1 and mention.id not in ("neurovascularly-intact",):
        return True
    near = {token.norm for token in sentence.tokens[max(0, mention.first - 8) : mention.last + 4]}
    sited = any(m.table in ("sites", "findings", "devices") and abs(m.first - mention.first) <= 6
                and (m.first, m.last) != (mention.first, mention.last) for m in sentence.mentions)  # fmt: skip
    return bool(near & _PERSON) and not sited


def _concern(reading: Reading, sentence: Sentence) -> list[Fact]:
    tokens = sentence.tokens
    if not sentence.says(_CONCERN):
        return []
    for index, token in enumerate(tokens):
        near = {other.norm for other in tokens[max(0, index - 3) : index + 5]}
        if token.norm not in _CONCERN or not near & {"recovery", "postoperative", "ward"}:
            continue
        certainty = base.scope_at(sentence, "certainty", index, "affirmed")
        if certainty == "negated" or near & {"none", "nil", "no"}:
            return [base.make("recovery_concern", reading, sentence, index, index, text="none", certainty="negated",
                              status="performed")]  # fmt: skip
        last = len(tokens) - 1
        return [base.make("recovery_concern", reading, sentence, index, last, status="performed",
                          text=story.words(sentence, index, min(last, index + 20)))]  # fmt: skip
    return []
