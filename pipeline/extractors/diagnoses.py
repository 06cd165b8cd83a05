"""Diagnoses: before, after, or said without either.

A diagnosis named in the story of the operation with "was seen" or "no ..." is what was found, and is left to the
findings; one of the past or of a relative is history.
"""

from __future__ import annotations

import re
from itertools import pairwise

from pipeline import clauses, laterality, story
from pipeline.extractors import _diagnosed_after, _when_diagnosed, base
from pipeline.extractors._sided_illness import elsewhere_too, has_no_side, takes_anothers
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence, replace
from pipeline.rows import Concept

KINDS = ("preop_diagnosis", "postop_diagnosis", "diagnosis")

_SECTIONS = {
    "preop-diagnosis": ("preop_diagnosis",),
    "postop-diagnosis": ("postop_diagnosis",),
    "both-diagnoses": ("preop_diagnosis", "postop_diagnosis"),
}
_SAME = frozenset({"same", "unchanged"})
# Sections in which a named disease is no diagnosis of this patient today.
_ELSEWHERE = frozenset({"findings", "history", "complications", "aftercare", "follow-up", "consent", "imaging",
                        "specimens", "description"})  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _SECTIONS:
            facts += _of_section(reading, sentence, grammar)
        elif sentence.section not in _ELSEWHERE and not _is_consent(sentence):
            facts += _said_freely(reading, sentence, grammar)
    later = [fact.kind == "postop_diagnosis" for fact in facts]
    if not any(later) or all(later):
        told = _diagnosed_after.told(reading, grammar, [] if any(later) else facts)
        facts += [fact for fact in told if not later or any(later) != (fact.kind == "postop_diagnosis")]
    return facts


_CONSENT = frozenset({"consent", "consents", "consented", "cons", "risks"})


def _is_consent(sentence: Sentence) -> bool:
    """ "Consent ok (1:1000 endophthalmitis)": what may come of it; speech without marks goes on to other things."""
    return sentence.tokens[0].norm in _CONSENT and any(token.punctuation for token in sentence.tokens[:-1])


def _of_section(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    kinds = _SECTIONS[sentence.section]
    facts: list[Fact] = []
    norms = [token.norm for token in sentence.tokens]
    same = next((at for at, norm in enumerate(norms) if norm in _SAME and not _when_diagnosed.of_other(norms, at)),
                None)  # fmt: skip
    found = list(base.mentions(sentence, "diagnoses"))
    taken = {(mention.first, mention.last) for mention in found}
    found += [m for m in base.mentions(sentence, "complications") if (m.first, m.last) not in taken]
    found = [m for m in found if base.scope_at(sentence, "status", m.first, "") != "other_person"]
    now = [mention for mention in found if not _is_past(norms, mention)]
    told = [mention for mention in now if not _is_history(norms, mention)]
    found = told or ([] if now else found) or ([] if now else list(base.mentions(sentence, "findings")))
    for mention in found:
        # "Before and after the same, cuff tear": said for both. "Gallstones, after the operation the same": once.
        later = same is not None and not (len(kinds) > 1 and same < mention.first)
        for kind in kinds[:1] if later else kinds:
            fact = replace(base.named(kind, reading, sentence, mention, grammar), status="performed")
            facts.append(replace(fact, laterality=None) if has_no_side(sentence, mention, grammar) else fact)
            facts += elsewhere_too(facts[-1], sentence, mention, grammar)
    if same is not None and "postop_diagnosis" in kinds and (not found or same > found[-1].last):
        # "Pre-op and post-op diagnosis the same": as the indication, which was told
        facts += [_diagnosed_after.same(kind, reading, sentence, same)
                  for kind in (kinds if not found else ("postop_diagnosis",))]  # fmt: skip
    if not facts and same is None:
        facts += _in_words(reading, sentence, kinds, grammar)
    elif found and same is None:
        facts += _beside_named(reading, sentence, kinds, grammar)
    return facts


def _beside_named(reading: Reading, sentence: Sentence, kinds: tuple[str, ...], grammar: Grammar) -> list[Fact]:
    """ "Breast ptosis, chest wall asymmetry": a further diagnosis in a list, that no row names, in its own words. Its
    last word tells that it is one; places, sides and levels tell of the named one."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    first = story.after_heading(sentence)
    if first is None:
        return []
    ends = [at for at in range(first, len(tokens)) if tokens[at].punctuation or tokens[at].norm in ("and", "with")]
    for start, end in pairwise([first - 1, *ends, len(tokens)]):
        last = next((at for at in range(start + 1, end) if tokens[at].norm in _OF_PLACE), end) - 1
        if not 0 < last - start <= _PART or any(start < m.first < end for m in sentence.mentions if m.table in _NAMED):
            continue
        head = tokens[last].norm
        if tokens[start + 1].norm in _NOT_NOW or head in _HEADS or _DISEASE.search(head) is None:
            continue
        side = laterality.only_side(sentence, start + 1, end - 1, grammar)
        facts += [
            base.make(kind, reading, sentence, start + 1, end - 1, text=story.words(sentence, start + 1, end - 1),
                      status="performed", laterality=side,
                      certainty=base.scope_at(sentence, "certainty", start + 1, "affirmed"))
            for kind in kinds
        ]  # fmt: skip
    return facts


_PART = 5  # words
_OF_PLACE = frozenset({"of", "in", "on", "at", "to", "due", "secondary"})
_NAMED = frozenset({"diagnoses", "complications", "findings", "procedures", "acts", "devices"})
_NOT_NOW = frozenset({"status", "history", "s/p", "post", "prior", "previous", "without", "no", "not", "for", "under"})
# What a word for a disease ends in, or is. Common medical word forms, no source.
_DISEASE = re.compile(
    r"(?:itis|osis|oma|asia|aemia|emia|uria|pathy|algia|plegia|paresis|trophy|rrhea|rrhoea|rrhagia|ptosis|oedema|edema|"
    r"pnea|pnoea|malacia|megaly|penia|cele|opia|phobia|spasm|mobility|sthesia)$|"
    r"^(?:insufficiency|failure|obstruction|deformity|disease|disorder|syndrome|dysfunction|pain|weakness|numbness|"
    r"contracture|asymmetry|injury|incompetence|deficiency|discharge|disability|malunion|nonunion|malignancy|cancer|"
    r"bleeding|swelling|scarring|intolerance|rigidity|angulation|impingement)$"
)


def _is_past(norms: list[str], mention: Mention) -> bool:
    """ "Obstruction, status post pyelonephritis": the second is what was before."""
    lead = norms[max(0, mention.first - 4) : mention.first]
    return any(lead[at : at + 2] == ["status", "post"] for at in range(max(0, len(lead) - 3), len(lead) - 1))


def _is_history(norms: list[str], mention: Mention) -> bool:
    """ "History of a ruptured globe": said as a history, and given in these words."""
    lead = norms[max(0, mention.first - 4) : mention.first]
    return any(lead[at : at + 2] == ["history", "of"] for at in range(len(lead) - 1)) and "and" not in lead


def _in_words(reading: Reading, sentence: Sentence, kinds: tuple[str, ...], grammar: Grammar) -> list[Fact]:
    """A diagnosis that no row names, in its own words: what follows the heading."""
    first = story.after_heading(sentence)
    if first is None:
        return []
    last = len(sentence.tokens) - 1
    text = story.words(sentence, first, last)
    if not any(letter.isalpha() for letter in text) or len(text) > 160:
        return []
    measured = any(token.norm in _MEASURED for token in sentence.tokens[:3])
    if measured and any(token.quantity is not None for token in sentence.tokens):
        return []  # "Preop size: 1.4 x 1 cm"
    if sentence.tokens[0].norm not in _HEADS and any(clauses.is_year(token) for token in sentence.tokens[first:]):
        return []  # "R ankle: Brostrom 2020, fine": of the past, said on behind the diagnosis
    if "postop_diagnosis" in kinds and _when_diagnosed.as_before(text):
        return [_diagnosed_after.same(kind, reading, sentence, first) for kind in kinds]
    side = laterality.only_side(sentence, first, last, grammar)
    # "Unable to void": the words are the complaint, and hold their "no" themselves
    lacks = sentence.tokens[first].norm in _LACKING
    certainty = "affirmed" if lacks else base.scope_at(sentence, "certainty", first, "affirmed")
    return [
        base.make(kind, reading, sentence, first, last, text=text, status="performed", laterality=side,
                  certainty=certainty)
        for kind in kinds
    ]  # fmt: skip


_MEASURED = frozenset({"size", "measurement", "measurements", "hb", "haemoglobin", "hemoglobin", "iop", "va", "weight"})
_HEADS = frozenset("pre post preop postop preoperative postoperative diagnosis diagnoses dx preop-diagnosis".split())
_LACKING = frozenset({"unable", "inability", "failure", "failed", "lack", "loss", "absence", "absent", "non"})


def _said_freely(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "diagnoses"):
        if mention.id.endswith("-pain"):
            continue  # a complaint; it stands in the indication
        if sentence.section in ("", "indication") and story.is_risk_talk(sentence) and not story.is_seen(
            sentence, mention
        ):
            continue
        if mention.id == "ganglion-cyst" and _is_nerve(sentence, mention) or _names_remedy(sentence, mention):
            continue
        behind = _said_behind(sentence, mention)
        if behind is not None and behind[1]:
            facts += [base.named(kind, reading, sentence, mention, grammar, status="performed", certainty="affirmed")
                      for kind in ("preop_diagnosis", "postop_diagnosis")]  # fmt: skip
            continue
        if behind is not None:
            facts.append(_diagnosed_after.same("postop_diagnosis", reading, sentence, behind[0]))
        if _is_done_to(sentence, mention):
            continue
        fact = base.named("diagnosis", reading, sentence, mention, grammar)
        if fact.laterality and takes_anothers(sentence, mention, grammar):
            fact = replace(fact, laterality=None)
        if fact.status == "historical" and sentence.section == "diagnosis" and (
            mention.first == story.after_heading(sentence)
        ):
            # "Dx: renal failure, right catheter placed elsewhere in March": time and side are of the catheter
            fact = replace(fact, status="performed", laterality=None)
        if fact.status in ("historical", "other_person", "conditional", "planned"):
            continue
        if behind is None and story.is_seen(sentence, mention) and sentence.section != "diagnosis" and not (
            _headed_indication(sentence)
        ):
            continue
        reason = _is_reason(sentence, mention.first) or _is_headed(sentence, mention)
        reason = reason or (behind is not None and fact.certainty == "affirmed")
        if not reason and (fact.certainty != "affirmed" or _also_found(sentence, mention, grammar)):
            continue
        facts += [fact, *elsewhere_too(fact, sentence, mention, grammar)]
    if not facts:
        facts += _found_as_one(reading, sentence, grammar)
    if not facts and any(token.norm in _diagnosed_after.NAMED for token in sentence.tokens[:2]):
        facts += _headed(reading, sentence, grammar)
    return facts + _reasons(reading, sentence, grammar)


def _found_as_one(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Calcific deposit 14 mm, pre & post dx": what only the table of findings names, said to be the diagnosis."""
    for mention in base.mentions(sentence, "findings") if sentence.says(_when_diagnosed.OPENERS) else ():
        behind = _said_behind(sentence, mention)
        ahead = range(mention.last + 1, min(mention.last + _BEHIND, len(sentence.tokens)))
        one = any(_when_diagnosed.is_one([token.norm for token in sentence.tokens], at) for at in ahead)
        if mention.id in _NO_REASON | {"tear"} or not (one or behind is not None):
            continue
        fact = base.named("diagnosis", reading, sentence, mention, grammar, name=None, status="performed",
                          text=story.words(sentence, mention.first, mention.last), certainty="affirmed")  # fmt: skip
        both = ("preop_diagnosis", "postop_diagnosis") if behind is not None and behind[1] else ("diagnosis",)
        told = [replace(fact, kind=kind) for kind in both]
        if behind is not None and not behind[1]:
            told.append(_diagnosed_after.same("postop_diagnosis", reading, sentence, behind[0]))
        return told
    return []


# What ends a diagnosis that is told in words no row has, in speech without marks.
_ENDS = frozenset(". , ; ( pre preop post postop preoperative postoperative before after same unchanged procedure "
                  "operation surgeon doctor dr patient mister missus mr mrs assistant surgery".split())  # fmt: skip
_WORDS = 10


def _headed_indication(sentence: Sentence) -> bool:
    """ "Indication: colon cancer, found on screening": why it was operated on, wherever it was seen."""
    return sentence.section == "indication" and sentence.tokens[0].norm in ("indication", "indications")


def _is_headed(sentence: Sentence, mention: Mention) -> bool:
    """ "Indication: full thickness cuff tear of the right shoulder"."""
    return _headed_indication(sentence) and 0 <= mention.first - (story.after_heading(sentence) or 1) <= _LED


_LED = 3  # words before its name


_NO_NAME = frozenset("same is was none stays stands stayed stood remains remained holds held confirmed as".split())


def _headed(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Diagnosis: impacted third molars with pericoronitis, unchanged afterwards": its own words."""
    norms = [token.norm for token in sentence.tokens]
    first = next(at for at, norm in enumerate(norms) if norm in _diagnosed_after.NAMED) + 1
    while first < len(norms) and norms[first] in (":", "is", "was", "-", "of"):
        first += 1
    if first == len(norms) or any(m.table == "procedures" and m.first - first < _WORDS for m in sentence.mentions):
        return []
    last = next((at for at in range(first, len(norms)) if norms[at] in _ENDS), len(norms)) - 1
    if not first <= last < first + _WORDS or norms[first] in _NO_NAME or (
        norms[first : first + 2] == ["the", "same"]
    ):
        return []
    side = laterality.only_side(sentence, first, last, grammar)
    found = base.make("diagnosis", reading, sentence, first, last, text=story.words(sentence, first, last),
                      status="performed", laterality=side, certainty="affirmed")  # fmt: skip
    both = next((both for at in range(last + 1, min(last + 4, len(norms)))
                 if (both := _when_diagnosed.said(norms, at)) is not None), None)  # fmt: skip
    if both is None and any(_when_diagnosed.found_so(norms, at) for at in range(last + 1, min(last + 4, len(norms)))):
        both = False
    if both:
        return [replace(found, kind=kind) for kind in ("preop_diagnosis", "postop_diagnosis")]
    return [found] if both is None else [
        found, _diagnosed_after.same("postop_diagnosis", reading, sentence, last + 1)]  # fmt: skip


_LOOKED = frozenset(
    {"checked", "inspected", "looked", "searched", "probed", "tested", "examined", "monitored", "watched",
     "look", "check", "search", "assess", "assessed", "sent", "negative", "positive", "risk", "except", "scanned"}
)  # fmt: skip


def _reasons(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """What only the table of findings names, said as why it was operated on: "oophorectomy for torsion"."""
    taken = {at for m in base.mentions(sentence, "diagnoses") for at in range(m.first, m.last + 1)}
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "findings"):
        lead = [token.norm for token in sentence.tokens[max(0, mention.first - 4) : mention.first]]
        before = {token.norm for token in sentence.tokens[max(0, mention.first - 8) : mention.first]}
        done = any(
            m.table in ("procedures", "acts") and 0 < mention.first - m.last <= _BEHIND for m in sentence.mentions
        )
        if "for" not in lead or not done or before & _LOOKED or mention.id in _NO_REASON:
            continue
        if taken & set(range(mention.first, mention.last + 1)):
            continue
        fact = base.named("diagnosis", reading, sentence, mention, grammar, name=None,
                          text=story.words(sentence, mention.first, mention.last))  # fmt: skip
        if fact.status == "performed" and fact.certainty != "negated":
            facts.append(fact)
    return facts


_NO_REASON = frozenset({"normal", "intact", "preserved", "healthy", "stable", "good", "fragment", "clear-fluid"})


def _names_remedy(sentence: Sentence, mention: Mention) -> bool:
    """ "The left eye keeps its glaucoma drops", "seen in the diabetes clinic": a name of something else."""
    behind = sentence.tokens[mention.last + 1 : mention.last + 2]
    return bool(behind) and behind[0].norm in _REMEDIES


_REMEDIES = frozenset("drops drop tablets tablet medication medications medicine medicines inhaler inhalers pills "
                      "clinic nurse service team ward".split())  # fmt: skip


def _is_nerve(sentence: Sentence, mention: Mention) -> bool:
    """ "Stellate ganglion block", "the dorsal root ganglion": a part of the nerves."""
    near = [*sentence.tokens[max(0, mention.first - 2) : mention.first], *sentence.tokens[mention.last + 1 :][:1]]
    return any(token.norm in _NERVES for token in near)


_NERVES = frozenset({"stellate", "coeliac", "celiac", "gasserian", "trigeminal", "sphenopalatine", "root", "dorsal",
                     "sympathetic", "impar", "block", "blocks", "geniculate", "lumbar"})  # fmt: skip


# "Osteoarthritis of the right knee, pre and post op": when it was the diagnosis is said behind its name.
_BEHIND = 20  # tokens: a side, a site and a grade may stand between


_BESIDE_IT = frozenset({"sites", "sides", "grades", "diagnoses", "findings", "guidance", "measures"})


def _said_behind(sentence: Sentence, mention: Mention) -> tuple[int, bool] | None:
    """(token, whether it is said for both) of what tells behind a diagnosis when it was one: "same after" is of after
    the operation only. None where nothing does, or something else is told between."""
    norms = [token.norm for token in sentence.tokens]
    others = [m for m in sentence.mentions if m.table not in _BESIDE_IT]
    for at in range(mention.last + 1, min(mention.last + _BEHIND, len(norms))):
        both = _when_diagnosed.said(norms, at)
        both = _when_diagnosed.close_behind(norms, at) if both is None else both
        if both is not None and norms[at - 1] in _diagnosed_after.NO_NAME:
            return None  # "photographs before and after"
        if both is not None:
            return at, both
        closed = norms[at] == ";"
        if _when_diagnosed.found_so(norms, at + closed):
            return at + closed, False
        if norms[at] in (".", ";") or any(other.first <= at <= other.last for other in others):
            return None
    return None


def _is_done_to(sentence: Sentence, mention: Mention) -> bool:
    """What the surgeon did or saw with the joint ("the hip was dislocated", "the shoulder dislocated anteriorly"), and
    how a limb was put ("a slab in equinus")."""
    if not mention.first:
        return False
    before = sentence.tokens[mention.first - 1].norm
    if sentence.tokens[mention.last].norm == "dislocated":
        part = any(site.last == mention.first - 1 for site in base.mentions(sentence, "sites"))
        return part or before in ("was", "were", "then")
    return before == "in" and any(
        other.last == mention.first - 2 for other in base.mentions(sentence, "dressings", "devices")
    )


def _also_found(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether the words are those of a finding as well ("synovitis", "tear"), or of a part of a specimen."""
    if sentence.section == "diagnosis":
        return False
    row = grammar.table("diagnoses", Concept)[mention.id]
    return row.group == "seen-at-operation-as-well" or any(
        other.table == "findings" and (other.first, other.last) == (mention.first, mention.last)
        for other in sentence.mentions
    )


def _is_reason(sentence: Sentence, first: int) -> bool:
    """Whether it is why: "appendicectomy for suspected appendicitis", "repair of a tear of the subscapularis"."""
    lead = [token.norm for token in sentence.tokens[max(0, first - 3) : first]]
    if "of" in lead and any(m.table in ("acts", "procedures") and 0 < first - m.last <= 3 for m in sentence.mentions):
        return True
    if {token.norm for token in sentence.tokens[max(0, first - 8) : first]} & _LOOKED:
        return False  # "the joint was inspected for loose bodies"
    return any(token.norm in ("for", "because") for token in sentence.tokens[max(0, first - 5) : first])
