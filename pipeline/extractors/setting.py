"""How the patient was made ready: anaesthesia, position, preparation, approach, guidance, prophylaxis, urgency."""

from __future__ import annotations

from pipeline import pictures, story
from pipeline.extractors import _no_setting, _plain_anaesthetic, _told_anaesthetic, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence, Token
from pipeline.rows import Concept, Drug

KINDS = ("anaesthesia", "position", "preparation", "approach", "guidance", "prophylaxis", "urgency", "act")

_KIND = {
    "anaesthesia": "anaesthesia", "positions": "position", "preparations": "preparation", "approaches": "approach",
    "guidance": "guidance", "prophylaxis": "prophylaxis", "urgency": "urgency",
}  # fmt: skip
# An airway is no kind of anaesthesia.
_BY_GROUP = {("position", "aid"): "position", ("anaesthesia", "airway"): "act"}
_SIDED = frozenset({"anaesthesia", "preparation", "approach"})
_AHEAD = frozenset({"aftercare", "follow-up"})
_BEFORE = frozenset({"indication", "history", "imaging"})
# A word that is the name of something else before these ("general surgery", "emergency room", "lateral position").
_NOT_BEFORE = {
    "urgency": frozenset({"room", "department", "number", "numbers", "contact", "physician", "medicine", "clinic"}),
    "anaesthesia": frozenset({"surgery", "surgeon", "ward", "floor", "practitioner", "condition", "fashion", "care",
                              "examination", "hospital", "health"}),
}  # fmt: skip
# Bare words of anaesthesia that mean it only beside one of these or under its heading.
_BARE = frozenset(
    {"general", "local", "spinal", "epidural", "regional", "topical", "sedation", "ga", "la", "mac", "peribulbar",
     "retrobulbar", "caudal"}
)  # fmt: skip
_NEAR = frozenset(
    {"infiltration", "infiltrated", "anesthesia", "anesthetic", "anaesthesia", "anaesthetic", "under", "lma", "tube",
     "mask", "intubation", "block", "endotracheal", "induced", "induction", "with", "plus", "and", "+", "sedation",
     "laryngeal", "rapid", "by", "via", "ett", "igel", "i-gel", "tiva", "rsi", "intubated"}
)  # fmt: skip
_OPENS = frozenset({"under", "anesthesia", "anaesthesia", "plus", "and", "lma", "mask", "awake", "tumescent", "short",
                    "endotracheal", "+", "had", "a", "with", "so", "then", "but"})  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for mention in base.mentions(sentence, *_KIND):
            fact = _fact(reading, sentence, mention, grammar)
            if fact is not None:
                facts.append(fact)
        facts += _bare(reading, sentence) + _in_its_name(reading, sentence)
        if not any(fact.kind == "anaesthesia" and fact.evidence.first >= sentence.tokens[0].first for fact in facts):
            facts += _in_other_words(reading, sentence, grammar) or (
                _plain_anaesthetic.told(reading, sentence) if sentence.section not in _AHEAD | _BEFORE else []
            )
        facts += _no_setting.lateral(reading, sentence) + _no_setting.legs_up(reading, sentence)
        facts += _no_setting.on_back(reading, sentence)
        if sentence.section == "approach" and not any(True for _ in base.mentions(sentence, "approaches")):
            facts += _headed(reading, sentence)
    return facts


# "Emergency section", "elective hernia repair": the urgency as a part of the name of the operation.
_URGENT = {"emergency": "emergency", "elective": "elective", "urgent": "urgent", "crash": "emergency"}


def _in_its_name(reading: Reading, sentence: Sentence) -> list[Fact]:
    tokens = sentence.tokens
    planned = [at for at in range(1, len(tokens) - 1) if tokens[at].norm == "planned" and tokens[at - 1].norm == ","
               and tokens[at + 1].norm in (",", ".")] if sentence.index < _HEAD else []  # fmt: skip
    if planned and not sentence.section:  # "lap chole on Lettice Amory, fifty three, planned, for stones"
        return [base.make("urgency", reading, sentence, planned[0], planned[0], name="elective", status="performed")]
    return [
        base.make("urgency", reading, sentence, mention.first, mention.first,
                  name=_URGENT[sentence.tokens[mention.first].norm])
        for mention in (base.mentions(sentence, "procedures") if sentence.says(_URGENT.keys()) else ())
        if sentence.tokens[mention.first].norm in _URGENT and mention.last > mention.first
        and base.scope_at(sentence, "status", mention.first, "performed") in ("performed", "planned")
    ]  # fmt: skip


_HEAD = 2  # sentences


# Words that no table holds alone ("spinal canal").
_SINGLE = {
    "geta": "general", "spinal": "spinal", "epidural": "epidural", "peribulbar": "retrobulbar-block",
    "retrobulbar": "retrobulbar-block", "caudal": "caudal-block",
}  # fmt: skip


def _bare(reading: Reading, sentence: Sentence) -> list[Fact]:
    facts: list[Fact] = []
    if not sentence.says(_SINGLE.keys()):
        return facts
    for index, token in enumerate(sentence.tokens):
        if token.norm not in _SINGLE or any(
            m.first <= index <= m.last and (m.last > m.first or m.table == "anaesthesia") for m in sentence.mentions
        ):
            continue
        if _means_anaesthesia(sentence, Mention("anaesthesia", _SINGLE[token.norm], index, index)):
            facts.append(base.make("anaesthesia", reading, sentence, index, index, name=_SINGLE[token.norm]))
    return facts


_NUMBED = frozenset({"anesthetized", "anaesthetised", "anesthetised", "anaesthetized"})
_INFILTRATED = frozenset({"infiltration", "infiltrated"})
_LOCAL = "local_anaesthetic"
_SHORT = 8  # words under a heading that name it


def _in_other_words(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Anesthesia: Demerol and Versed", "anaesthesia: cervical block", "local infiltration", "anesthetized with
    lidocaine": the kind in the words that were said, named only where they leave no choice."""
    tokens = sentence.tokens
    drugs = list(base.mentions(sentence, "drugs"))
    local = [m for m in drugs if _LOCAL in {c.replace("-", "_") for c in grammar.table("drugs", Drug)[m.id].classes}]
    numbed = next((at for at, token in enumerate(tokens) if token.norm in _NUMBED), None)
    if numbed is not None and local:
        ends = (min(numbed, local[0].first), max(numbed, local[0].last))
        return [base.make("anaesthesia", reading, sentence, *ends, name="local")]
    for at, token in enumerate(tokens):
        if token.norm in _INFILTRATED and at and tokens[at - 1].norm == "local":
            return [base.make("anaesthesia", reading, sentence, at - 1, at, name="local")]
    if sentence.section == "anaesthesia" and tokens[0].norm in ("anesthesia", "anaesthesia", "anesthetic"):
        mark = next((at for at in range(1, min(4, len(tokens))) if tokens[at].norm in (":", "-")), None)
        first = None if mark is None else mark + 1
        words = [] if first is None else [at for at in range(first, len(tokens)) if not tokens[at].punctuation]
        if first is not None and 0 < len(words) <= _SHORT:
            said = story.words(sentence, words[0], words[-1])
            if tokens[words[0]].norm in ("none", "nil", "no"):
                return [base.make("anaesthesia", reading, sentence, words[0], words[-1], name="no-anaesthesia")]
            return [base.make("anaesthesia", reading, sentence, words[0], words[-1], text=said)]
    return []


def _headed(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Approach: posterior": in the words that were said under the heading."""
    tokens = sentence.tokens
    if len(tokens) < 3 or tokens[0].norm != "approach" or tokens[1].norm not in (":", "-"):
        return []
    words = [at for at in range(2, len(tokens)) if not tokens[at].punctuation]
    if not words or len(words) > _SHORT or tokens[words[0]].norm in ("none", "nil", "no", "not"):
        return []
    text = story.words(sentence, words[0], words[-1])
    return [base.make("approach", reading, sentence, words[0], words[-1], text=text)]


_EARLY = 8  # sentences


def _fact(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar) -> Fact | None:
    kind = _KIND[mention.table]
    if sentence.section in _AHEAD and kind in ("position", "preparation", "urgency", "approach"):
        return None
    after = mention.last + 1
    if after < len(sentence.tokens) and sentence.tokens[after].norm in _NOT_BEFORE.get(kind, ()):
        return None
    if mention.id == "pressure-points-padded" and any(
        token.norm in _PADDED for token in sentence.tokens[after : after + 3]
    ):
        return None  # "a well padded splint was applied"
    if kind == "prophylaxis" and sentence.tokens[min(after, len(sentence.tokens) - 1)].norm in _NO_DOSE:
        return None  # "antibiotic associated diarrhoea"
    if kind == "preparation" and (
        _no_setting.is_none_of_skin(sentence, mention) or sentence.tokens[mention.last].norm.endswith("soaked")
        or sentence.tokens[min(after, len(sentence.tokens) - 1)].norm in ("soaked", "impregnated")
    ):
        return None  # "iodine soaked gauze"
    near = [token.norm for token in sentence.tokens[max(0, mention.first - 1) : after + 2]]
    called = near[:1] == ["the"] and near[2:3] in (["with"], ["and"], ["by"], ["where"])
    if kind == "urgency" and (called or story.is_risk_talk(sentence)):
        return None  # "seen in the Emergency with a deformed elbow"
    if kind == "prophylaxis" and (_HOLDS_IT & set(near) or _no_setting.is_in_cement(sentence, mention)):
        return None  # "irrigated with antibiotic containing solution", "an antibiotic soaked sponge"
    if kind == "prophylaxis" and (near[:1] == ["previous"] or any(norm in _TREATED for norm in near)):
        return None  # "placed on previous antibiotic treatment"
    if kind == "prophylaxis" and _no_setting.goes_on(sentence, mention):
        return None
    if kind == "prophylaxis" and sentence.tokens[mention.first].norm in ("iv", "intravenous") and not (
        _WAS_GIVEN & {token.norm for token in sentence.tokens[max(0, mention.first - 4) : after + 4]}
    ):
        return None  # a course on the ward is none
    if kind == "guidance" and (sentence.section in _AHEAD or _no_setting.at_a_visit(sentence, mention)):
        return None  # "clinic in two weeks with an x-ray"
    if kind in ("guidance", "prophylaxis") and sentence.section in _BEFORE:
        return None  # pictures and antibiotics that led here
    if kind == "guidance" and _AWAITED & {token.norm for token in sentence.tokens[after : after + 4]}:
        return None  # "a chest x-ray is pending"
    if kind == "guidance" and pictures.tells(sentence) and sentence.index < _EARLY:
        return None  # "the ultrasound showed free fluid", told before the work
    if kind == "anaesthesia" and not _means_anaesthesia(sentence, mention):
        return None
    if mention.id == "endotracheal-tube" and _no_setting.is_other_passage(sentence, mention):
        return None
    if sentence.section in _BEFORE and (kind == "approach" or mention.id in ("laryngeal-mask", "endotracheal-tube")):
        return None  # "hoarse since an intubation", "she had had fasciotomies through two incisions"
    if kind == "approach" and mention.id in ("incision", "portal") and _no_setting.is_no_way_in(sentence, mention):
        return None
    row = grammar.tables[mention.table][mention.id]
    group = row.group if isinstance(row, Concept) else ""
    kind = _BY_GROUP.get((kind, group), kind)
    certainty = base.scope_at(sentence, "certainty", mention.first, "affirmed")
    if kind == "anaesthesia" and group == "local" and certainty == "negated":
        return None  # "no local anaesthetic into the joint" is about a medicine
    if kind == "position" and (_no_setting.kept_for_days(sentence, mention) or near[0] in ("rom", "motion") or (
        _no_setting.is_of_tool(sentence, mention) or _no_setting.sits(sentence, mention)
    )):  # fmt: skip
        return None
    fields: dict[str, str | None] = {} if kind in _SIDED else {"laterality": None, "body_site": None}
    if kind == "position":
        fields["body_site"] = None
    if kind == "anaesthesia" and group not in ("regional", "local"):
        fields = {"laterality": None, "body_site": None}
    if kind == "approach" and _no_setting.is_taken_again(sentence, mention):
        fields["status"] = "performed"
    return base.named(kind, reading, sentence, mention, grammar, own_side=kind != "preparation", **fields)


_AWAITED = frozenset("pending ordered requested awaited outstanding tomorrow recovery".split())
_HOLDS_IT = frozenset(
    "containing solution irrigation impregnated beads soak soaked sponge sponges pledget pledgets dressing dressings "
    "envelope pouch gauze".split()
)
_PADDED = frozenset("dressing dressings splint cast slab bandage plaster boot tourniquet brace wrap".split())
_WAS_GIVEN = frozenset("given administered infused received started administration".split())
_TREATED = frozenset({"treated", "treatment", "course", "courses", "outpatient"})
_NO_DOSE = frozenset(
    "associated resistant induced related allergy allergies sensitivity sensitivities coated impregnated loaded "
    "irrigation ointment cream drops solution soaked cement beads spacer wash powder".split()
)
_INTO_THE_SPINE = frozenset({"spinal", "epidural", "caudal", "peribulbar", "retrobulbar"})
_TO_ITS_DRUG = 7  # tokens


def _with_a_drug(sentence: Sentence, index: int) -> bool:
    """ "Spinal ten milligrams of heavy bupivacaine": nothing but the amount stands before the drug."""
    first = min((m.first for m in base.mentions(sentence, "drugs") if m.first > index), default=None)
    if first is None or first - index > _TO_ITS_DRUG:
        return False
    between = sentence.tokens[index + 1 : first]
    return all(
        token.quantity is not None or token.norm in ("of", "with", "heavy", "plain", "hyperbaric", "isobaric", ",", ":")
        for token in between
    )


_INTRATHECAL = frozenset({"heavy", "hyperbaric", "intrathecal", "intrathecally", "csf"})


def _means_anaesthesia(sentence: Sentence, mention: Mention) -> bool:
    """Whether a bare word such as "general" or "spinal" stands where it can only mean the anaesthesia."""
    words = [token.norm for token in sentence.tokens[mention.first : mention.last + 1]]
    if words[0] == "geta" or len(words) > 1 or words[0] not in _BARE or sentence.section == "anaesthesia":
        return True
    tokens = sentence.tokens
    before = tokens[mention.first - 1] if mention.first else None
    after = tokens[mention.last + 1] if mention.last + 1 < len(tokens) else None
    if words[0] == "spinal" and before is not None and before.norm == "#gauge" and not sentence.says(_INTRATHECAL):
        return False  # "25 gauge spinal, half a mil of contrast": the needle
    opens = before is None or before.punctuation or before.norm in _OPENS | _UNDONE or _is_age(before) or any(
        m.last == mention.first - 1 for m in base.mentions(sentence, "anaesthesia")
    )  # "spinal failed general given", "ankle block general no"
    if words[0] in ("general", "ga") and before is not None and before.norm != "in" and any(
        m.table == "positions" and m.first == mention.last + 1 for m in sentence.mentions
    ):
        return True  # "doctor Carrow general supine"
    lies = [token.norm for token in tokens[mention.last + 1 : mention.last + 4]]
    if words[0] in _INTO_THE_SPINE and lies[:1] == ["on"] and lies[1:2] in (["his"], ["her"]) and (
        lies[2:] in (["back"], ["side"], ["front"])
    ):
        return True  # "epidural on his back"
    if words[0] in _INTO_THE_SPINE and after is not None and after.norm in ("on", "in") and any(
        m.table == "positions" and mention.last < m.first <= mention.last + 3 for m in sentence.mentions
    ):
        return True  # "spinal on the traction table"
    if words[0] in _INTO_THE_SPINE and after is not None and _is_sited(sentence, mention.last + 1):
        return True
    if words[0] == "sedation" and before is not None and before.norm in _HOW_DEEP | {"no", "without"}:
        return True  # "bier block and a little sedation arm table"
    if opens and words[0] == "sedation" and any(m.table == "drugs" and m.first == mention.last + 1
                                                for m in sentence.mentions):  # fmt: skip
        return True  # "prone, sedation midazolam 2 mg"
    if opens and any(m.table == "positions" and m.first == mention.last + 1 for m in sentence.mentions):
        return True  # "thirty eight spinal lateral position"
    if _told_anaesthetic.is_called(sentence, mention) or _told_anaesthetic.among_others(sentence, mention, opens):
        return True
    told = after is not None and (
        after.norm in _told_anaesthetic.TOLD_OF or _told_anaesthetic.is_apart(sentence, mention.last + 1)
    )
    if told and words[0] in _INTO_THE_SPINE:
        return True  # "... arthritis spinal tried twice failed"
    if before is not None and before.norm in ("so", "then") and after is not None and any(
        m.table == "drugs" and m.first == mention.last + 1 for m in sentence.mentions
    ):  # fmt: skip
        return True  # "failed so general cefuroxime"
    if told and (opens or before is not None and before.norm in _DENIES):
        return True  # "GA planned, spinal given", "no sedation required"
    if before is not None and before.norm in _DENIES and (after is None or after.punctuation or any(
        m.first == mention.last + 1 and m.table in ("positions", "preparations", "tourniquet", "drugs")
        for m in sentence.mentions
    )):  # fmt: skip
        return True  # "no general supine"
    if after is not None and after.norm in ("with", "and", "plus", "+", "no") and words[0] in _INTO_THE_SPINE | {
        "sedation"} and any(m.table == "anaesthesia" and m.first == mention.last + 2 for m in sentence.mentions):
        return True  # "spinal with sedation no general"
    if words[0] in _INTO_THE_SPINE | {"sedation"} and _with_a_drug(sentence, mention.last):
        return True
    if before is not None and before.norm in ("to", "a") and _is_had(sentence, mention):
        return True  # "we converted to general", "a spinal was done"
    if after is None or after.punctuation or after.quantity is not None:
        return opens
    if after.norm in ("only", "alone"):  # "Local only."
        behind = tokens[mention.last + 2] if mention.last + 2 < len(tokens) else None
        if words[0] == "local" and any(m.first == mention.last + 2 for m in base.mentions(sentence, "drugs")):
            return True  # "local only lidocaine one percent"
        return opens and (behind is None or behind.punctuation or behind.quantity is not None)
    if words[0] in ("general", "ga") and after.norm in _BY_AIRWAY and (
        _told_anaesthetic.is_airway(sentence, mention.last + 2)
    ):
        return True  # "assistant henrik oates general with a tube", "GA oral RAE"
    if before is None and words[0] in _INTO_THE_SPINE and after.norm in ("with", "plus", "+"):
        return True  # "Spinal with a bit of something to make her drowsy"
    if after.norm == "with":
        ahead = range(mention.last + 1, mention.last + 7)
        return opens and any(
            (index < len(tokens) and tokens[index].quantity is not None)
            or any(m.table == "anaesthesia" and m.first == index for m in sentence.mentions)
            for index in ahead
        )
    if words[0] in _INTO_THE_SPINE and after.norm in ("and", "plus", "+"):
        first = before is None or before.punctuation
        return first or _more_of_it(sentence, mention.last + 2)  # no "a caudal and a cranial flap"
    return after.norm in _NEAR


def _is_had(sentence: Sentence, mention: Mention) -> bool:
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    if before[-1] == "to":
        return before[0] in ("converted", "changed", "switched", "over", "on", "went", "conversion", "proceeded")
    after = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 3]]
    return after[:1] in (["was"], ["is"]) and len(after) > 1 and after[1] in _GIVEN_SO


_HOW_DEEP = frozenset("light little mild some minimal".split())
_GIVEN_SO = frozenset("done given placed sited inserted used administered performed put chosen planned".split())


_BY_AIRWAY = frozenset({"with", "plus", "+", "through", "via", "by", "on", "oral", "nasal"})
_DENIES = frozenset({"no", "without", "->"})
_UNDONE = frozenset("none failed refused declined abandoned omitted unsuccessful".split())


def _is_age(token: Token | None) -> bool:
    """ "Mister Tarrant forty four years general with a laryngeal mask": what is said behind the age."""
    quantity = token.quantity if token is not None else None
    return quantity is not None and quantity.form == "number" and quantity.unit in (None, "a")


def _is_sited(sentence: Sentence, index: int) -> bool:
    """ "Spinal at L3/4", "epidural topped up", "spinal supine": where it was put, what came of it or followed."""
    tokens = sentence.tokens
    if tokens[index].norm in ("topped", "sited") or any(m.table == "positions" and m.first == index
                                                        for m in sentence.mentions):
        return True
    level = tokens[index + 1].quantity if index + 1 < len(tokens) else None
    return tokens[index].norm in ("at", "in") and level is not None and level.form == "level"


_MORE = _NEAR - {"with", "and", "by", "via", "tube", "mask"}


def _more_of_it(sentence: Sentence, first: int) -> bool:
    """Whether anaesthesia goes on within a few words: "spinal and some sedation"."""
    return any(
        token.norm in _BARE or token.norm in _MORE
        for token in sentence.tokens[first : first + 4]
    ) or any(m.table in ("anaesthesia", "drugs") and first <= m.first < first + 4 for m in sentence.mentions)
