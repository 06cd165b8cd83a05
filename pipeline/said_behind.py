"""Cues that stand behind what they are about though they mostly stand before it: "biopsy: deferred", "enoxaparin
never", "GA planned, spinal given", "Mirena offered, she declined"."""

from __future__ import annotations

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit, over_its_place
from pipeline.records import Sentence

# One word each: what was put off or not taken, and what was thought of.
_LEFT = _words("declined refused deferred omitted withheld skipped postponed cancelled canceled dropped")
_RESUMED = _words("restart restarts resume resumes recommences")
_AHEAD = _RESUMED | _words("planned booked scheduled proposed requested recommended advised desired listed intended")
_WEIGHED = _words("offered discussed suggested considered")
_NEVER = _words("not never")
_GOES_ON = _words(
    "because for due by as in until on at if but and since after next -> - so then today tomorrow later given owing"
)
_DETERMINERS = _words("the a an this that his her our their as any no")
_PRONOUNS = _words("he she they we i patient")
_SAID_OF = _words("was were had has have been is only just also briefly again we i")
_NEAR = 4  # tokens
_DOABLE = frozenset({"procedures", "acts", "anaesthesia", "devices", "drains", "injectates", "drugs"})
_HAD = frozenset({"diagnoses", "findings", "complications"})


def is_behind(sentence: Sentence, hit: CueHit) -> bool:
    """Whether a cue that governs what follows says something of what stands before it."""
    word = sentence.tokens[hit.last].norm
    if word == "offered" and hit.rule.id == "risks":  # "arthroscopy was offered, he is undecided"
        return any(m.last == hit.first - 1 and m.table in _DOABLE for m in sentence.mentions)
    if sentence.tokens[hit.first].norm == "talked":  # "osteotomy talked about for later", "was only talked about"
        return _over(sentence, hit.last + 1) and any(
            m.table in _DOABLE and m.last < hit.first and hit.first - m.last <= _NEAR
            and all(token.norm in _SAID_OF for token in sentence.tokens[m.last + 1 : hit.first])
            for m in sentence.mentions
        )
    if hit.first != hit.last or not hit.first:
        return False
    if word == "no" and hit.rule.id == "no" and sentence.tokens[hit.last + 1 : hit.last + 2] and (
        sentence.tokens[hit.last + 1].norm in (",", ";")
    ):
        return any(m.last == hit.first - 1 and m.table in _DOABLE | {"dressings", "tourniquet", "aftercare"}
                   for m in sentence.mentions)  # "WALANT no, plexus", "cast no, sling"
    if word in _RESUMED | _MODAL and hit.rule.value == "planned" and _of_a_drug(sentence, hit):
        return True  # "tramadol should not be taken", "clopidogrel restart d3"
    ahead = sentence.tokens[hit.last + 1].norm if hit.last + 1 < len(sentence.tokens) else ""
    if word == "not" and ahead == "for" and _is_drug(sentence, hit.first - 1):
        return True  # "codeine not for her"
    if word in _LEFT and sentence.tokens[hit.first - 1].norm in _AHEAD | _WEIGHED:
        return True  # "pinning planned skipped"
    if word in _LEFT and any(m.last == hit.first - 1 and m.table in _DOABLE for m in sentence.mentions):
        return True  # "drain omitted co-amoxiclav one gram"
    if word == "denied":  # "diabetes denied sternotomy", "latex allergy: denied"
        at = hit.first - 1 - (sentence.tokens[hit.first - 1].norm == ":")
        return any(m.last == at and m.table in _HAD for m in sentence.mentions) or sentence.tokens[at].norm == "allergy"
    if word in _LEFT and hit.rule.axis == "certainty" and sentence.tokens[hit.first - 1].norm in ("but", "and", ","):
        near = range(hit.first - _NEAR, hit.first)
        told = hit.first > 1 and sentence.tokens[hit.first - 2].norm in _AHEAD | _WEIGHED
        if told or any(m.last in near and m.table in _DOABLE for m in sentence.mentions):
            return True  # "epidural planned but refused ertapenem one gram"
    if word in _AHEAD and hit.rule.value == "planned" and _is_noun_between(sentence, hit):
        return True  # "IVUS planned not available"
    if word in _NEVER and _of_two_drugs(sentence, hit):
        return True  # "clopidogrel never heparin five thousand units"
    if hit.rule.id == "not":
        return word in _NEVER and _ends(sentence, hit.last + 1) and _has_subject(sentence, hit.first)
    if word in _LEFT and hit.rule.axis == "certainty":
        return _over(sentence, hit.last + 1) and _has_subject(sentence, hit.first)
    if word == "planned" and _of_a_side(sentence, hit.first):
        return True
    if word == "known" and hit.rule.value == "historical":  # "meniscal tear known conservative"
        return any(m.last == hit.first - 1 and m.table in _HAD for m in sentence.mentions) and not any(
            m.first == hit.last + 1 for m in sentence.mentions
        )
    if word in _AHEAD and hit.rule.value == "planned":
        before = hit.first - 1
        while before > 0 and (sentence.tokens[before].quantity is not None or sentence.tokens[before].norm == "in"):
            before -= 1  # "mitomycin 40 mg in 40 mL planned, not given"
        if before < hit.first - 1 and sentence.tokens[hit.last + 1 : hit.last + 2] and (
            sentence.tokens[hit.last + 1].norm == "," and sentence.tokens[before].punctuation
        ):
            return True  # "BMAC: 60 ml planned, iliac crest right, 30 obtained"
        before = over_its_place(sentence, before)
        named = [m for m in sentence.mentions if m.last == before and (m.table != "sites" or m.id in _TAKEN_FROM)]
        if any(m.first and sentence.tokens[m.first - 1].norm in ("no", "without") for m in named):
            return True  # "no sedation requested skin cleaned ..."
        return bool(named) and _over(sentence, hit.last + 1) and not any(
            sentence.tokens[m.first - 1].norm in _DETERMINERS - {"the", "a", "an", "no"} for m in named if m.first
        )
    return False


# Parts that stand for what is taken from them: "right PSIS planned as well".
_TAKEN_FROM = frozenset({"iliac-crest", "anterior-iliac-crest", "posterior-iliac-crest"})


def _of_a_side(sentence: Sentence, at: int) -> bool:
    """ "Originally only left planned right added": what was planned is the side before it, said without a noun."""
    before, after = sentence.tokens[at - 1].norm, sentence.tokens[at + 1 : at + 2]
    return before in ("left", "right", "both") and bool(after) and not after[0].punctuation and not any(
        m.first == at + 1 and m.table in _DOABLE for m in sentence.mentions
    )


def _is_drug(sentence: Sentence, at: int) -> bool:
    return any(m.last == at and m.table == "drugs" for m in sentence.mentions)


def _of_a_drug(sentence: Sentence, hit: CueHit) -> bool:
    """Whether a drug stands right before a cue, and none right behind it."""
    drugs = [m for m in sentence.mentions if m.table == "drugs"]
    return any(m.last == hit.first - 1 for m in drugs) and not any(
        hit.last < m.first <= hit.last + 2 for m in drugs
    )


def _is_noun_between(sentence: Sentence, hit: CueHit) -> bool:
    """Whether a word that no grammar names stands before a cue, and a denial or a turn right behind it."""
    before = sentence.tokens[hit.first - 1]
    after = sentence.tokens[hit.last + 1].norm if hit.last + 1 < len(sentence.tokens) else ""
    plain = before.norm.isalpha() and before.norm not in clauses.TIED and before.norm not in _PRONOUNS | _DETERMINERS
    return after in ("not", "but", "never") and plain and before.quantity is None


def _of_two_drugs(sentence: Sentence, hit: CueHit) -> bool:
    """Whether a cue stands between two drugs of which the one behind it has a number of its own."""
    drugs = [m for m in sentence.mentions if m.table == "drugs"]
    ahead = next((m for m in drugs if m.first == hit.last + 1), None)
    if ahead is None or not any(m.last == hit.first - 1 for m in drugs) or ahead.last + 1 >= len(sentence.tokens):
        return False
    return sentence.tokens[ahead.last + 1].quantity is not None


_MODAL = _words("should must may can")


def _ends(sentence: Sentence, index: int) -> bool:
    tokens = sentence.tokens
    return index >= len(tokens) or tokens[index].punctuation or index in clauses.starts(sentence)


def _over(sentence: Sentence, index: int) -> bool:
    """Whether nothing that the cue could govern follows right behind it."""
    tokens = sentence.tokens
    return _ends(sentence, index) or tokens[index].norm in _GOES_ON or tokens[index].quantity is not None


def _has_subject(sentence: Sentence, index: int) -> bool:
    """Whether something stands before the cue in its own clause, pronouns and a colon apart."""
    first = clauses.bounds(sentence, index)[0]
    before = sentence.tokens[max(first, index - _NEAR) : index]
    return any(not token.punctuation and token.norm not in _PRONOUNS and token.norm not in clauses.FINITE
               for token in before)  # fmt: skip


def after_a_state(sentence: Sentence, hit: CueHit) -> bool:
    """ "Nerve flattened, not injected": what was found stands, since only "not seen" and its like deny it. "Nerve
    decompressed not transposed": what was done was done."""
    verb = sentence.tokens[hit.last].norm
    before = hit.first - 1 - (hit.first > 1 and sentence.tokens[hit.first - 1].norm in ("but", "and"))
    if verb.endswith("ed") and verb not in _LOOKED_FOR | _OF_ITSELF and any(
        m.last == before and m.table == "acts" and sentence.tokens[m.last].norm.endswith("ed")
        for m in sentence.mentions
    ):
        return True
    if hit.first < 2 or sentence.tokens[hit.first - 1].norm != "," or sentence.tokens[hit.last].norm in _LOOKED_FOR:
        return False
    return any(m.last == hit.first - 2 and m.table in ("findings", "diagnoses") for m in sentence.mentions)


_LOOKED_FOR = _words(
    "seen identified visualized visualised found noted appreciated present evident detected encountered observed "
    "demonstrated felt palpable confirmed verified there palpated"
)


# "Opened but not used", "attempted but not achieved": still of what stands before.
_OF_ITSELF = _words("used needed required performed placed inserted achieved completed implanted finished included")


def ends_with_its_verb(sentence: Sentence, hit: CueHit) -> bool:
    """ "Seen not injured drain one": "not" with a participle and no verb before it is a passive, which has no object;
    what is named or counted right behind begins anew."""
    tokens, after = sentence.tokens, hit.last + 1
    if hit.first != hit.last or not hit.first or not clauses.is_participle(sentence, after):
        return False
    if tokens[after].norm.endswith("ly") or tokens[hit.first - 1].norm in _ACTIVE or tokens[hit.first - 1].punctuation:
        return False
    if after + 1 >= len(tokens):
        return False
    named = any(m.first == after + 1 for m in sentence.mentions)
    return named or tokens[after + 1].quantity is not None


_ACTIVE = _words("did do does had have has to was were is are been be we i he she or nor and but")


def subject(sentence: Sentence, hit: CueHit, back: int) -> int:
    """ "Six litres in out not measured": an amount before the word that is denied is told by itself."""
    told = [at + 1 for at in range(back, hit.first - 1) if sentence.tokens[at].quantity is not None][-1:]
    sized = told and any(m.first == told[0] for m in sentence.mentions)  # "a 10 mm screw"
    return back if not told or sized else told[0]


def after_a_verb(sentence: Sentence, hit: CueHit) -> bool:
    """ "Smoothed not repaired", "seen not injured": what was done or seen stands; the second verb is denied."""
    return hit.first > 0 and sentence.tokens[hit.first - 1].norm not in clauses.FINITE and (
        clauses.is_participle(sentence, hit.first - 1) or clauses.is_state(sentence, hit.first - 1)
    )


def of_what_was_found(sentence: Sentence, hit: CueHit) -> bool:
    """ "SLAP one not treated sling six weeks": what was not treated was there."""
    at = hit.first - 1 - (hit.first > 1 and sentence.tokens[hit.first - 1].quantity is not None)
    if sentence.tokens[at].norm in ("grade", "stage", "type", "degree"):
        return True  # "patella grade two not shaved"
    after = sentence.tokens[hit.last + 1].norm if hit.last + 1 < len(sentence.tokens) else ""
    return after not in _LOOKED_FOR and any(
        m.last == at and m.table in ("findings", "diagnoses") for m in sentence.mentions
    )


_PLACED = frozenset({"into", "in", "to", "afterwards", "for", "below", "above", "elsewhere", "deep"})


def of_a_place(sentence: Sentence, hit: CueHit) -> bool:
    """ "Bupivacaine in the portals, none into the joint": given, and not there."""
    after = [token.norm for token in sentence.tokens[hit.last + 1 : hit.last + 3]]
    return hit.first == hit.last and sentence.tokens[hit.first].norm == "none" and bool(after) and (
        after[0] in _PLACED and after[1:] not in (["situ"], ["all"], ["end"])
    )
