"""Complications and problems of equipment: what happened, or that nothing did.

A complication that was only feared ("risks including infection") is none. Words that are also part of every
operation (bleeding that was coagulated) count only under their heading, beside a word that calls them a
complication, or when they are said not to be there.
"""

from __future__ import annotations

from itertools import pairwise

from pipeline import clauses, cues, story
from pipeline.extractors import _reactions, _went_well, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence, Token
from pipeline.rows import Concept

KINDS = ("complication", "equipment_problem")

_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "follow-up", "preop-diagnosis",
                        "postop-diagnosis", "both-diagnoses", "diagnosis"})  # fmt: skip
# Always out of the ordinary when it happened in the operation.
_GRAVE = frozenset({"organ", "systemic", "bone"})
_GRAVE_IDS = frozenset({"dural-tear", "nerve-injury", "vascular-injury", "haemorrhage", "skin-tear", "skin-burn"})
_CALLED = frozenset(
    {"complication", "complications", "complicated", "unfortunately", "inadvertent", "inadvertently", "accidental",
     "accidentally", "iatrogenic", "unexpected", "unintended", "occurred", "sustained", "noticed", "recognized",
     "recognised"}
)  # fmt: skip
_NONE = frozenset({"none", "nil", "no", "zero", "uneventful", "absent", "not"})
_WHOLE = frozenset({"procedure", "operation", "surgery", "patient", "recovery", "case", "course", "anesthesia",
                    "extubated", "emergence", "tolerated", "complication", "complications"})  # fmt: skip


_THIS = frozenset({"this", "last", "past", "a", "few"})
_SPAN = frozenset("week weeks month months year years spring summer autumn fall winter fortnight days".split())
_BROKE = frozenset({"broken-instrument", "broken-screw"})
_STEPS = frozenset("induction intubation placement entry insertion removal dissection emergence extubation".split())
_TALK = frozenset(
    {"discussed", "explained", "named", "mentioned", "outlined",
     "risks", "risk", "consent", "consented", "potential", "possible", "benefits",
     "understands", "counselled", "counseled", "aware", "dangers", "hazards", "chance", "chances", "wished"}
)  # fmt: skip

_WHO = frozenset("he she they patient patients parents mother father mum dad mom family he's she's form form's "
                 "consent's".split())  # fmt: skip
_HEARD = frozenset("heard knows know told warned signed understood accepts accepted read aware".split())
_TO_HEARD = 3  # tokens


def _has_heard(norms: list[str]) -> bool:
    """ "Form's signed, he's heard about nerve damage", "she knows about bleeding"."""
    return any(
        norm in _WHO and _HEARD & set(norms[at + 1 : at + 1 + _TO_HEARD]) for at, norm in enumerate(norms)
    )


_GUARDS = frozenset({"prophylaxis", "prophylactic", "against", "prevent", "prevention", "preventing", "avoid", "guard"})
_GUARDED = 6  # tokens
_AS_GRAFT = frozenset({"own", "autologous", "exogenous", "fibrin"})
_GUARDING = frozenset("study studies prophylaxis stockings pump pumps boots hose sleeves device devices protocol "
                      "precautions precaution screening screen trial risk risks".split())  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        facts += _equipment(reading, sentence, grammar)
        if sentence.section in _ELSEWHERE:
            continue
        found = list(base.mentions(sentence, "complications"))
        if any(_has_rate(sentence, mention.last) for mention in found) or _opens_with_rate(sentence, found):
            continue  # "DVT one in two hundred, nerve, burns": how often each may happen
        here = [_complication(reading, sentence, mention, found, grammar) for mention in found]
        facts += [fact for fact in here if fact is not None]
        if sentence.section == "complications" and not any(here):
            facts += _in_words(reading, sentence)
    if not any(fact.kind == "complication" and fact.name == "none" for fact in facts):
        facts += [fact for sentence in reading.sentences for fact in _no_problems(reading, sentence)]
    if not any(fact.kind == "complication" and (fact.name == "none" or fact.certainty == "affirmed") for fact in facts):
        told = (_went_well.told(reading, one) for one in reading.sentences if one.section not in _ELSEWHERE)
        facts += next((one for one in told if one), [])
    return facts


_RATED = 4  # tokens
_ONE = frozenset({"one", "a"})


def _has_rate(sentence: Sentence, last: int) -> bool:
    """Whether a rate stands right behind a name: "perforation 1 in 300", "leak (0.5 %)", "nerve injury 1:200"."""
    tokens = sentence.tokens
    for at in range(last + 1, min(len(tokens), last + 1 + _RATED)):
        quantity = tokens[at].quantity
        if quantity is None and tokens[at].norm not in _ONE:
            if tokens[at].norm in (".", ";", ",", "and"):
                return False
            continue
        if quantity is not None and quantity.form == "ratio":
            return True
        ahead = tokens[at + 1 : at + 4]
        of = next((one.quantity.value for one in ahead[1:] if one.quantity is not None and one.quantity.value), None)
        return bool(ahead) and ahead[0].norm == "in" and of is not None and of >= _OUT_OF and not of % 10
    return False


_OUT_OF = 20  # "one in twenty"


def _opens_with_rate(sentence: Sentence, found: list[Mention]) -> bool:
    """ "... stiffness, coming back, one in a hundred losing a finger": a rate before what may happen."""
    return len(sentence.tokens) <= _STREAM * 2 and bool(found) and any(
        _has_rate(sentence, at - 1) and sentence.tokens[at].norm not in (".", ";")
        for at in range(1, len(sentence.tokens) - 2)
        if sentence.tokens[at].quantity is not None or sentence.tokens[at].norm == "one"
    )


_PATIENTS = frozenset({"mister", "mr", "missus", "mrs", "miss", "ms", "patient", "yo", "pt"})
_PROBLEMS = frozenset({"problems", "issues"})
_WHEN_NONE = frozenset("immediate early other obvious major apparent intraoperative intraop perioperative".split())
_OF_WHAT = frozenset({"with", "in", "of", "from", "at", "on", "breathing", "passing", "during"})


def _no_problems(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Count correct, no problems": all complications, where nothing tells of what there were none."""
    if sentence.section in _ELSEWHERE or not sentence.says(_PROBLEMS):
        return []
    for at, token in enumerate(sentence.tokens):
        after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else "."
        first = at - 1 - (at > 1 and sentence.tokens[at - 1].norm in _WHEN_NONE)
        if token.norm in _PROBLEMS and at and sentence.tokens[first].norm == "no" and after not in _OF_WHAT:
            return [base.make("complication", reading, sentence, first, at, name="none", certainty="negated",
                              status="performed")]  # fmt: skip
    return []


def _complication(
    reading: Reading, sentence: Sentence, mention: Mention, found: list[Mention], grammar: Grammar
) -> Fact | None:
    row = grammar.table("complications", Concept)[mention.id]
    if _reactions.is_known(sentence, mention.last):
        return None  # "because of an anaphylaxis to cephalosporins"
    status = base.scope_at(sentence, "status", mention.first, "performed")
    certainty = base.scope_at(sentence, "certainty", mention.first, "affirmed")
    if mention.id in _BROKE and {"found", "recovered", "retrieved", "located", "seen"} & {
        token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 6]
    }:
        certainty = "affirmed"  # "a broken needle tip could not be found": it broke, and it is missing
    told = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    own = told[-1:] == ["no"] and told[:1] not in (["had"], ["with"], ["has"], ["were"])
    denied = mention.id == "any" and certainty == "negated" and (status == "planned" or (
        status == "historical" and own  # "no complications right knee replaced in twenty eighteen"
    ))
    if status != "performed" and not denied:  # "no complications needles counted rest for a day physio from next week"
        return None
    if mention.id in ("any", "uneventful"):
        if _of_another(sentence, mention):
            return None
        return _general(reading, sentence, mention, found, certainty)
    if row.group == "late" and sentence.section != "complications":
        return None
    if certainty == "affirmed" and not _happened(sentence, mention, row):
        return None
    if certainty == "suspected":
        return None
    if sentence.tokens[min(mention.last + 1, len(sentence.tokens) - 1)].norm in _GUARDING:
        return None  # "DVT stockings", "the DVT study"
    opening = sentence.index <= 1 and sentence.says(_PATIENTS) and not sentence.says(_CALLED)
    if row.group == "systemic" and certainty == "affirmed" and opening:
        return None  # "Mister Ferreira, cold leg since noon, atrial fibrillation": what he came with
    led = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    if row.group == "systemic" and led[:1] in (["after"], ["since"], ["following"]) and led[1:] != ["the"]:
        return None  # "swallowing gone after a stroke": what he came with
    behind = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 4]]
    if row.group == "systemic" and any(
        one in _THIS and other in _SPAN for one, other in pairwise(behind)
    ):
        return None  # "two small strokes this month": what led to the operation
    fields = {"certainty": certainty} if mention.id in _BROKE else {}
    return base.named("complication", reading, sentence, mention, grammar, **fields)


def _of_another(sentence: Sentence, mention: Mention) -> bool:
    """ "His last operation had no complications": of another day."""
    first = max(clauses.bounds(sentence, mention.first)[0], mention.first - _EARLIER_REACH)
    norms = [token.norm for token in sentence.tokens[first : mention.first]]
    return any(one in _EARLIER and other in _OCCASIONS for one, other in pairwise(norms))


_EARLIER_REACH = 8  # tokens
_EARLIER = frozenset({"last", "previous", "first", "prior", "earlier"})
_OCCASIONS = frozenset("operation op surgery time procedure section anaesthetic anesthetic pregnancy one stage".split())


def _happened(sentence: Sentence, mention: Mention, row: Concept) -> bool:
    if sentence.section == "complications":
        return True
    first, end = 0, len(sentence.tokens)
    if end > _STREAM:
        first, end = clauses.bounds(sentence, mention.first)
        if end < len(sentence.tokens) and not any(t.norm in clauses.FINITE for t in sentence.tokens[first:end]):
            end = clauses.bounds(sentence, end)[1]  # a list before its verb: "infection, nerve damage ... were named"
    if mention.id == "enterotomy" and sentence.says(_JOINED) and not sentence.says(_CALLED):
        return False  # "stapled side to side, enterotomy oversewn"
    words = [token.norm for token in sentence.tokens[first:end]]
    if _TALK & set(words) or _has_heard(words):
        return False  # the risks, as they were explained
    if mention.id == "blood-clots" and sentence.says(_AS_GRAFT):
        return False  # "own blood clot injected into the repair"
    if any(token.norm in _GUARDS for token in sentence.tokens[max(0, mention.first - _GUARDED) : mention.first]):
        return False  # "prophylaxis against deep vein thrombosis"
    if _bled(sentence, mention):
        return True
    norms = {token.norm for token in sentence.tokens}
    same = [m for m in sentence.mentions if (m.first, m.last) == (mention.first, mention.last) and m is not mention]
    if any(m.table in ("diagnoses", "findings", "procedures", "acts") for m in same):
        return bool(norms & _CALLED)
    return row.group in _GRAVE or row.id in _GRAVE_IDS or bool(norms & _CALLED)


_JOINED = frozenset("stapled stapler staple anastomosis linear ileocolic crotch jejunojejunostomy "
                    "gastrojejunostomy".split())
_STREAM = 14  # tokens; in a longer stretch the talk of risks may be over


def _bled(sentence: Sentence, mention: Mention) -> bool:
    """Bleeding with an amount beside it, or the reason for something, is more than the usual ooze."""
    if mention.id not in ("bleeding", "haemorrhage"):
        return False
    tokens = sentence.tokens
    after = tokens[mention.last + 1 : mention.last + 9]
    return any(token.norm == "because" for token in tokens[max(0, mention.first - 3) : mention.first]) or any(
        token.quantity is not None and token.quantity.dimension == "volume" and not _is_little(token) for token in after
    )


def _is_little(token: Token) -> bool:
    """Less than 100 mL, which every operation may lose at one place. Common practice, no source."""
    quantity = token.quantity
    most = None if quantity is None else quantity.value if quantity.value is not None else quantity.high
    return quantity is not None and quantity.unit == "mL" and most is not None and most < _LITTLE


_LITTLE = 100  # mL


def _general(
    reading: Reading, sentence: Sentence, mention: Mention, found: list[Mention], certainty: str
) -> Fact | None:
    """ "No complications", "complications: none", "uneventful": the kind "none", negated."""
    norms = {token.norm for token in sentence.tokens}
    if mention.id == "uneventful":
        behind = sentence.tokens[mention.last + 1].norm if mention.last + 1 < len(sentence.tokens) else "."
        if behind in _STEPS:
            return None  # "an uneventful induction": of one step
        words = {token.norm for token in sentence.tokens[mention.first : mention.last + 1]}
        if not words & {"complication", "complications", "uncomplicated", "uneventful"}:
            if sentence.section != "complications":
                return None
        elif not norms & _WHOLE and sentence.section != "complications" and not _alone(sentence, mention):
            return None
    elif certainty != "negated":
        if norms & _TALK:
            return None
        others = [other for other in found if other.id not in ("any", "uneventful")]
        after = {token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 4]}
        nought = sentence.tokens[mention.last + 1 : mention.last + 3]
        if after & {"nil", "none", "zero", "absent"} or any(
            token.quantity is not None and token.quantity.value == 0 for token in nought
        ):  # "complications 0"
            return base.make("complication", reading, sentence, mention.first, mention.last + 1, name="none",
                             certainty="negated", status="performed")  # fmt: skip
        heading = sentence.section == "complications" and mention.first <= 2
        if others or (heading and norms & _NONE == set()):
            return None
        if heading:
            certainty = "negated"
        else:
            return base.make("complication", reading, sentence, mention.first, mention.last, name="any",
                             doubts=("which complication is meant was not understood",))  # fmt: skip
    return base.make("complication", reading, sentence, mention.first, mention.last, name="none", certainty="negated",
                     status="performed")  # fmt: skip


def _alone(sentence: Sentence, mention: Mention) -> bool:
    """ "Uneventful." as a sentence of its own."""
    words = [at for at, token in enumerate(sentence.tokens) if not token.punctuation]
    return words == list(range(mention.first, mention.last + 1)) and sentence.index > _OPENING


_OPENING = 2  # sentences


def _in_words(reading: Reading, sentence: Sentence) -> list[Fact]:
    """What stands under the heading and is in no row: "none", or the words themselves."""
    first = story.after_heading(sentence)
    if first is None:
        return []
    last = len(sentence.tokens) - 1
    text = story.words(sentence, first, last)
    norms = {token.norm for token in sentence.tokens[first:]}
    if not any(letter.isalpha() for letter in text):
        return []
    if norms & _NONE and len(norms) <= 6:
        return [base.make("complication", reading, sentence, first, last, name="none", certainty="negated",
                          status="performed")]  # fmt: skip
    return [base.make("complication", reading, sentence, first, last, text=text, status="performed")]


def _equipment(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """What of the equipment did not work, in its own words, or that nothing did fail."""
    for thing in cues.hits(sentence, grammar, "equipment"):
        trouble = _trouble(sentence, grammar, thing)
        if trouble is None or base.scope_at(sentence, "status", trouble.first, "performed") != "performed":
            continue
        first, last = min(thing.first, trouble.first), max(thing.last, trouble.last)
        if _is_denied(sentence, first, last):
            return [base.make("equipment_problem", reading, sentence, first, last, text="none", certainty="negated",
                              status="performed")]  # fmt: skip
        begin = max(0, first - 4, clauses.bounds(sentence, first)[0])
        counted = [at for at in range(begin, first) if sentence.tokens[at].quantity is not None]
        begin = max([begin, *(at + 1 for at in counted)])
        end = min(len(sentence.tokens) - 1, last + 12, clauses.bounds(sentence, last)[1] - 1)
        return [base.make("equipment_problem", reading, sentence, first, end, certainty="affirmed",
                          text=story.words(sentence, begin, end))]  # fmt: skip
    return []


def _trouble(sentence: Sentence, grammar: Grammar, thing: cues.Hit) -> cues.Hit | None:
    """The trouble that is told of a thing: a noun near it ("problem with the camera"), an adjective right before it,
    a verb behind it ("the drill broke"); "failed hardware" is no verb."""
    for hit in cues.hits(sentence, grammar, "equipment-trouble"):
        if _between(sentence, thing, hit) <= _NEAR:
            return hit
    for hit in cues.hits(sentence, grammar, "equipment-faulty"):
        if hit.last == thing.first - 1:
            return hit
    for hit in cues.hits(sentence, grammar, "equipment-failed"):
        between = sentence.tokens[thing.last + 1 : hit.first]
        if hit.first > thing.last and len(between) <= _NEAR and not any(
            token.punctuation or token.quantity is not None or token.norm in _OTHER_SUBJECT for token in between
        ):  # fmt: skip
            return hit
    return None


_NEAR = 3  # tokens
_OTHER_SUBJECT = frozenset("of to and for by which was were in into from through until when after".split())
_DENYING = frozenset({"no", "without", "never", "nil", "zero", "not"})


def _between(sentence: Sentence, thing: cues.Hit, hit: cues.Hit) -> int:
    low, high = sorted((thing, hit), key=lambda one: one.first)
    between = sentence.tokens[low.last + 1 : high.first]
    return 99 if any(token.norm in (".", ";", ",") for token in between) else len(between)


def _is_denied(sentence: Sentence, first: int, last: int) -> bool:
    tokens = sentence.tokens
    before = {token.norm for token in tokens[max(0, first - 3, clauses.bounds(sentence, first)[0]) : first]}
    after = {token.norm for token in tokens[last + 1 : last + 3]}
    return bool(before & _DENYING) or bool(after & {"none", "nil", "zero", "absent"})
