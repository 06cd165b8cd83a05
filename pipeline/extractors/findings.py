"""What was seen or found, and where: rows of findings.toml, and diseases named as seen or as not there."""

from __future__ import annotations

from pipeline import clauses, laterality, pictures, sideshare, story
from pipeline.extractors import _bare_tear, _other_senses, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence, replace
from pipeline.rows import Concept

KINDS = ("finding",)

_ELSEWHERE = frozenset(
    {"indication", "history", "imaging", "preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis",
     "consent", "aftercare", "follow-up", "complications"}
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _ELSEWHERE:
            continue
        imaging = pictures.tells(sentence)
        places = {(m.first, m.last): m for m in base.mentions(sentence, "findings")}
        for mention in base.mentions(sentence, "findings", "diagnoses"):
            if mention.table == "diagnoses" and (mention.first, mention.last) in places:
                continue
            if imaging and pictures.tells(sentence, mention.first):
                continue
            fact = _fact(reading, sentence, mention, grammar)
            if fact is not None:
                facts += [fact, *_of_sided(sentence, mention, fact, grammar)]
        facts += _nothing(reading, sentence) + _good_parts(reading, sentence, grammar)
    return facts


# "Patella fine trochlea fine medial meniscus good", "cartilage looks healthy".
_HOW_LONG = 5  # tokens
_GOOD = frozenset({"fine", "good", "ok", "okay", "clean", "healthy", "pristine", "perfect"})
_LOOKS = frozenset({"is", "are", "was", "were", "looks", "look", "looked", "all", "both", "also"})
_ENDS_IT = frozenset({"and", "no", "then", "but", "with", "the", "so", "we", "i"})


def _good_parts(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """Parts that were fine by a plain word right behind them, where nothing is named that would be so."""
    facts: list[Fact] = []
    sites = list(base.mentions(sentence, "sites")) if sentence.says(_GOOD) else []
    if sentence.section == "findings" and not any(m.table == "findings" for m in sentence.mentions):
        return []  # its words are the entry
    starts = {mention.first for mention in sentence.mentions}
    for site in sites:
        at = site.last + 1
        while at < len(sentence.tokens) and sentence.tokens[at].norm in _LOOKS:
            at += 1
        if at >= len(sentence.tokens) or sentence.tokens[at].norm not in _GOOD:
            continue
        after = sentence.tokens[at + 1] if at + 1 < len(sentence.tokens) else None
        ends = after is None or after.punctuation or after.quantity is not None or after.norm in _ENDS_IT
        done = base.scope_at(sentence, "status", site.first, "performed") == "performed"
        if done and (ends or at + 1 in starts) and base.scope_at(sentence, "certainty", at, "affirmed") == "affirmed":
            side, doubt = laterality.side_for(sentence, site.first, site.last, grammar, own_only=True)
            facts.append(base.make("finding", reading, sentence, site.first, at, name="normal", laterality=side,
                                   body_site=site.id, doubts=(doubt,) if doubt else ()))  # fmt: skip
    return facts


_SPILT = frozenset({"dropped", "spilled", "spilt", "lost"})


def _fact(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar) -> Fact | None:
    if mention.id == _bare_tear.ROW:
        own_row = _bare_tear.row(sentence, mention)
        if own_row is None:
            return None
        mention = replace(mention, id=own_row)
    fact = base.named("finding", reading, sentence, mention, grammar)
    if fact.status != "performed" or (fact.certainty == "negated" and _is_complication(sentence, mention)):
        return None
    behind = sentence.tokens[mention.last + 1 : mention.last + 2]
    if fact.certainty == "negated" and behind and behind[0].norm in _SPILT:  # "no stones dropped": there were stones
        return replace(fact, name=None, text=story.words(sentence, mention.first, mention.last + 1))
    if mention.id == "clear-fluid" and sentence.tokens[mention.last].norm == "fluids":
        return None  # "clear fluids for four hours": to drink
    if mention.id == "normal" and (fact.certainty == "suspected" or _other_senses.is_manner(sentence, mention)):
        return None  # "this may be a normal variant"
    if sentence.tokens[mention.first].norm in ("subluxed", "dislocated") and mention.first and (
        sentence.tokens[mention.first - 1].norm == "be"
    ):
        return None  # "the humerus could be subluxed enough": what was done
    if story.is_risk_talk(sentence) and not story.is_seen(sentence, mention):
        return None
    if fact.certainty == "affirmed" and _came_with(sentence, mention):
        return None
    if mention.id == "degenerative-change" and _is_adjective(sentence, mention):
        return None
    if mention.id == "intact" and mention.first and sentence.tokens[mention.first - 1].norm in _TAKEN_OUT:
        return None  # "needle and catheter were removed intact"
    if mention.id == "instability" and _loose_tissue(sentence, mention):
        return None
    loose = mention.table == "diagnoses" and sentence.section not in ("findings", "description")
    alone = loose and _is_left(sentence, mention, grammar)
    if loose and not alone and fact.certainty == "affirmed" and not story.is_seen(sentence, mention):
        return None
    if mention.table == "findings" and fact.certainty == "affirmed" and _is_reason(sentence, mention):
        return None
    own = grammar.table("sites", Concept).get(fact.body_site or "")
    if mention.id == "normal" and fact.laterality == "bilateral" and own is not None and own.group == "organ" and (
        not own.sided
    ):
        fact = replace(fact, laterality=None)  # "normal uterus, tubes and ovaries bilaterally"
    site = None if fact.body_site is not None else story.site_before(sentence, mention)
    row = grammar.table("sites", Concept).get(site or "")
    if row is not None and row.group in _PASSED and (mention.id in _OF_JOINTS or _told_since(sentence, row, mention)):
        site = None  # "ulnar nerve found first and kept safe loose bodies eleven"
    if site is None:
        return fact
    anothers = base.is_anothers_side(sentence, mention, fact.laterality, site, grammar)
    return replace(fact, body_site=site, laterality=None if anothers else fact.laterality)


def _is_left(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether what is seen at operations as well is no reason for this one, so that it is no diagnosis."""
    row = grammar.table("diagnoses", Concept)[mention.id]
    return row.group == _SEEN_AS_WELL and not _is_reason(sentence, mention) and sentence.section not in ("procedure",)


_SEEN_AS_WELL = "seen-at-operation-as-well"  # group of grammars/diagnoses.toml
_PASSED = ("nerve", "vessel", "skin-layer")  # what is kept clear of on the way in
_OF_JOINTS = frozenset("loose-body osteophyte synovitis cam-lesion plica labral-tear".split())


def _told_since(sentence: Sentence, site: Concept, mention: Mention) -> bool:
    """Whether something was told of a part already, and the thing named stands behind that: "saphenous nerve protected
    anterolateral portal ... we see a lesion"."""
    place = max((m.last for m in sentence.mentions if m.table == "sites" and m.id == site.id
                 and m.last < mention.first), default=mention.first)  # fmt: skip
    return any(place < m.first < mention.first and m.table in _TOLD_OF for m in sentence.mentions)


_TOLD_OF = ("acts", "approaches", "findings", "procedures", "guidance")


def _of_sided(sentence: Sentence, mention: Mention, fact: Fact, grammar: Grammar) -> list[Fact]:
    """ "The uterus, right tube and ovary, bowel and liver were normal": of the part with the side as well."""
    if mention.table != "findings" or fact.laterality is not None or fact.body_site is None:
        return []
    for side in laterality.sides(sentence, grammar):
        part = sideshare.listed_part(sentence, side, mention)
        if part is not None and side.value in ("left", "right") and part.id != fact.body_site:
            return [replace(fact, laterality=side.value, body_site=part.id)]
    return []


_CAME = frozenset("complained complains complaining admitted".split())
_PRESENTED = frozenset("presented presents presenting".split())  # it may be told of the operation
_MET = frozenset("found noted seen identified encountered revealed showed demonstrated".split())


def _came_with(sentence: Sentence, mention: Mention) -> bool:
    """ "The patient is a 57-year-old woman with renal failure", "she presented with abdominal pain": what the patient
    came with, and nothing that was seen at the operation."""
    before = [token.norm for token in sentence.tokens[: mention.first]]
    if _MET & {token.norm for token in sentence.tokens}:
        return False
    aged = "old" in before and "with" in before[before.index("old") :]
    pain = mention.id.endswith("pain") and bool(_PRESENTED & set(before))
    return aged or pain or bool(_CAME & set(before))


def _is_adjective(sentence: Sentence, mention: Mention) -> bool:
    """ "Degenerative cuff tear": what it is said of stands behind it, and is the finding."""
    if sentence.tokens[mention.last].norm != "degenerative":
        return False
    end = mention.last + 1 + _ADJECTIVES
    return any(mention.last < m.first <= end and m.table in ("findings", "diagnoses") and not any(
        token.punctuation or token.norm in _PARTING for token in sentence.tokens[mention.last + 1 : m.first]
    ) for m in sentence.mentions)  # fmt: skip


_TAKEN_OUT = frozenset({"removed", "withdrawn", "retrieved", "out", "delivered", "extracted"})
_ADJECTIVES = 2
_PARTING = frozenset({"and", "with", "of", "in", "at", "but", "or", "no"})
_TISSUE = frozenset({"cartilage", "lesion", "flap", "fragment", "rim", "margin", "edge", "edges", "defect", "vitals"})


def _loose_tissue(sentence: Sentence, mention: Mention) -> bool:
    """ "Unstable cartilage", "the lesion is unstable": a loose piece, not a joint that gives way."""
    near = sentence.tokens[max(0, mention.first - 8) : mention.last + 3]
    return sentence.tokens[mention.first].norm == "unstable" and any(token.norm in _TISSUE for token in near)


def _is_reason(sentence: Sentence, mention: Mention) -> bool:
    """Whether it is why the operation was done ("release for stenosis"): a diagnosis then."""
    return any(token.norm in ("for", "because") for token in sentence.tokens[max(0, mention.first - 4) : mention.first])


def _is_complication(sentence: Sentence, mention: Mention) -> bool:
    return any(
        other.table == "complications" and (other.first, other.last) == (mention.first, mention.last)
        for other in sentence.mentions
    )


_NO = frozenset({"no", "without"})
_NOT_SEEN = frozenset(
    {"implants", "implant", "specimens", "specimen", "drain", "drains", "tourniquet", "tq", "change", "changes", "need",
     "further", "other", "more", "longer", "doubt", "problem", "problems", "issues", "concern", "concerns", "known",
     "allergies", "risk", "restrictions", "difficulty", "tension", "sedation", "adrenaline", "epinephrine", "one",
     "history", "previous", "prior", "past", "family", "regular", "medication", "medications", "comorbidities",
     "surgery", "operations", "operation", "symptoms", "relief", "reason", "way", "matter", "evidence", "sign", "signs",
     "mesh", "graft", "cement", "heavy", "lifting", "driving", "smoking", "weight", "equipment", "complications",
     "surprise", "surprises", "bother", "trouble", "troubles", "hitch", "hitches", "hiccup", "hiccups", "drama",
     "dramas", "mishap", "mishaps", "upset", "upsets", "excitement", "augmentation", "pressure", "grade", "grades"}
)  # fmt: skip


_NAMES, _WORDS = 4, 7
_TALK = frozenset("it wait we he she they i that this you sorry hang hold thanks thank not".split())
_BROKEN_TALK = frozenset("did had does nail nails plate plates screw screws staple staples allergy transfusion".split())
_SIDE_OUT = frozenset({"left", "right", "side", "today", "the", "his", "her"})
_SMALL = frozenset("in of the at on within noted seen obvious visible gross his her left right".split())


def _nothing(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "No steal.", "no gross nodularity": what no row names and was said not to be there, in its own words."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index, token in enumerate(tokens[:-1]):
        if token.norm not in _NO or (token.norm == "without" and sentence.section != "findings"):
            continue
        if index and tokens[index - 1].norm == "to":
            continue  # "to no avail"
        end = index + 1
        while end < len(tokens) and not tokens[end].punctuation and tokens[end].norm not in ("and", "or", "but"):
            end += 1
        if end - index - 1 > _WORDS or end == len(tokens):  # in a stream: as far as the denial reaches
            end = min([end, *(s.last + 1 for s in sentence.scopes if s.first == index and s.value == "negated")])
        words = tokens[index + 1 : end]
        named = [word for word in words if word.norm not in _SMALL]
        if not 1 <= len(named) <= _NAMES or len(words) > _WORDS or end >= len(tokens):
            continue
        if len(words) > _NAMES and any(word.norm in clauses.FINITE for word in words):
            continue
        known = any(m.first < end and m.last > index and m.table != "sites" and m.id != "ascites"
                    for m in sentence.mentions)  # fmt: skip
        if known or any(word.quantity is not None or word.norm in _NOT_SEEN for word in words):
            continue
        parts = {at for m in base.mentions(sentence, "sites") for at in range(m.first, m.last + 1)}
        if {"left", "right"} & {word.norm for word in words} and all(
            at in parts or tokens[at].norm in _SIDE_OUT for at in range(index + 1, end)
        ):
            continue  # "left knee done, no right knee": what was not operated on
        if base.scope_at(sentence, "certainty", index + 1, "affirmed") != "negated":
            continue
        if words[0].norm in _TALK or words[-1].norm.endswith(clauses.OPERATED) or any(
            word.norm in _BROKEN_TALK for word in words
        ):
            continue  # "no it had not", "no wait it did not"
        if any(token.quantity is not None and token.quantity.unit in ("wk", "mo") and token.norm != "." for token in (
            tokens[end : end + _HOW_LONG]
        )):
            continue  # "no abd/ER combined 6/52": what is not to be done
        size = tokens[end].quantity
        if size is not None and size.unit is not None and size.comparator is None:
            continue  # "drive through no SL gap two millimetres": what has a size is there
        if base.scope_at(sentence, "status", index, "performed") != "performed":
            continue
        facts.append(
            base.make("finding", reading, sentence, index, end - 1, text=story.words(sentence, index + 1, end - 1),
                      certainty="negated")
        )  # fmt: skip
    return facts
