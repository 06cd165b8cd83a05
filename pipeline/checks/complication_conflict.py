"""A complication told in the description while complications were said to be none."""

from __future__ import annotations

import re

from pipeline.checks import _harmed
from pipeline.checks._asides import before_work
from pipeline.checks._words import matches
from pipeline.checks.base import beside, called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Severity
from pipeline.signout import ALL_OF_THEM

MEANING = "Complications were said to be none, but one was told; or one was suspected and never settled."

# Words for complications that are also said of what is usual in an operation ("bleeding was seen from the holes").
_EVERYDAY = frozenset({"bleeding", "numbness", "stiffness", "persistent-pain", "recurrence", "hypotension"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    known = grammar.tables.get("complications", {})
    none = [fact for fact in note.of("complication") if fact.certainty == "negated" and _general(fact)
            and not _but_one(note, fact)]  # fmt: skip
    before = {fact.name for fact in note.of("preop_diagnosis", "postop_diagnosis", "diagnosis", "indication")}
    told = [
        fact
        for fact in note.of("complication", "finding")
        if fact.status == "performed"
        and fact.certainty == "affirmed"
        and not _general(fact)
        and (fact.kind == "complication" or fact.name in known)
        and fact.name not in before
        and not any((name or "").endswith(f"-{fact.name}") for name in before)
    ]
    if not none:
        return []
    worded = _mucosa(note, none[0]) + _in_words(note, none[0], told)
    worded += _slipped(note, none[0], told) + _torn(note, none[0], told)
    if all(one.severity == "note" for one in worded):
        worded = _mended(note, none[0], told) or worded
    return (worded or _lost(note, none[0], told)) + [
        finding(
            "complication_conflict",
            _severity(note, fact, grammar),
            f"Complications were said to be none, but {called(fact, grammar)} was told.",
            [none[0], fact],
            ask="Say whether it is a complication, or that it was there before.",
        )
        for fact in told
    ]


_ORGANS = (
    r"(?:spleen|liver|bladder|bowel|colon|rectum|stomach|duodenum|ureter|urethra|uterus|vagina|artery|vein|aorta|vena "
    r"cava|nerve|dura|tendon|pleura|diaphragm|kidney|pancreas|gallbladder|(?:common )?bile duct|oesophagus|esophagus|"
    r"trachea|lung|cornea|retina|lens capsule|posterior capsule|cortex|femur|tibia|calcar|skin|cartilage|meniscus|"
    r"vessel)"
)
_HARM = (
    r"(?:tore|broke|burned|injured|lacerated|perforated|torn|nicked|transected|punctured|breached|burn(?:t|ed)|avulsed|damaged|cracked|"
    r"broken|fractured|scuffed|ruptured|entered|opened|divided|cut)"
)
_ACCIDENT = re.compile(
    r"\b(?:by accident|accidental(?:ly)?|inadvertent(?:ly)?|unintentional(?:ly)?|unintended|iatrogenic(?:ally)?|"
    r"by mistake|"
    r"by the (?:retractor|trocar|drill|saw|needle|scope|shaver|forceps|clamp|burr|blade|scissors|sheath|wire))\b", re.I,
)  # fmt: skip
_HARMED = re.compile(
    rf"\b{_ORGANS}(?: \w+)? (?:was|were|got|has been|had been) (?:\w+ly )?{_HARM}\b|"
    rf"\b{_HARM} (?:the |a |an )(?:\w+ ){{0,2}}{_ORGANS}\b", re.I,
)  # fmt: skip
# An injury that is named by what made it needs no further word: "a dissection injury to the crus".
_BY_THE_WORK = re.compile(
    r"\b(?:dissection|thermal|retraction|traction|cautery|diathermy|trocar|needle|drill|saw|instrument|surgical|"
    r"guide ?wire|screw) injur(?:y|ies) (?:to|of|in)\b", re.I,
)  # fmt: skip
_MEANT = ("acciden", "inadverten", "unintend", "unintention", "iatrogenic", "by mistake", "by the ")
_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "preop-diagnosis", "diagnosis"})


def _in_words(note: OperativeNote, none: Fact, told: list[Fact]) -> list[Finding]:
    """Harm told as an accident, in words of which no complication is made: "the bladder was opened by accident"."""
    found: list[Finding] = []
    injury = note.says("injur")
    for passage in note.sections.description if injury or note.says(*_MEANT) else ():
        happened = _ACCIDENT.search(passage.text)
        made_so = _BY_THE_WORK.search(passage.text) if injury else None
        if (made_so is None and happened is None) or passage.section in _ELSEWHERE:
            continue
        harmed = _HARMED.search(passage.text)
        if made_so is None and harmed is None:
            continue
        words = made_so[0] if made_so else f"{harmed[0]} ... {happened[0]}" if harmed and happened else ""
        start = min(one.start() for one in (made_so, harmed, happened) if one is not None)
        if _denied(passage.text[:start]) or _denied(words) or any(passage.holds(fact) for fact in told):
            continue
        made = finding(
            "complication_conflict", "warning",
            f"Complications were said to be none, but harm was told: “{words}”.",
            [none], ask="Say whether it is a complication.", about=f"w{passage.evidence.first}",
        )  # fmt: skip
        found.append(beside(made, passage.evidence))
    return found


_NOT = re.compile(r"\b(?:not|without|avoid(?:ing)?|prevent|no|nor|never)\b", re.I)
_BACK = 6  # words before that may deny


def _denied(text: str) -> bool:
    last = re.split(r"[.;]", text)[-1]
    return _NOT.search(" ".join(last.split()[-_BACK:])) is not None


# Told by the surgeon as done, where nobody does it on purpose: "I nicked the hepatic artery", "the vein was nicked".
_SLIP = re.compile(
    r"\b(?:i|we|assistant|registrar|resident|fellow|trocar|drill|saw|needle|wire|retractor|scope|burr|blade|shaver|clamp)"
    r" (?:had |have |just |slightly |unfortunately |then |must have |accidentally |slipped and |went and )*"
    r"(?:nicked|tore|lacerated|injured|damaged|avulsed|cracked|scuffed|skived|perforated|punctured|buttonholed|"
    r"burn(?:t|ed)|chipped|loosened|knocked out) (?:into |through )?"
    rf"(?:the |a |an |his |her |one of the )(?:\w+ ){{0,3}}(?:{_ORGANS}s?|ligament|branch|muscle|graft|tuberosity|"
    r"tooth|crown|lip|labrum|cuff|retinaculum|capsule|condyle|plateau|talus|"
    r"glenoid|head|trochlea|patella|malleolus|acetabulum|lamina|pedicle)\b|"
    rf"\b{_ORGANS} (?:(?:was|were|got|had been) )?(?:\w+ly |just )?(?:nicked|skived|scuffed|buttonholed)\b", re.I,
)  # fmt: skip


_SLIPS = ("nicked", "chipped", "loosened", "knocked out", "tore ", "lacerated",
          "injured", "damaged", "avulsed", "cracked", "scuffed", "skived", "perforated",
          "punctured", "buttonholed", "burnt", "burned")  # fmt: skip


def _but_told(none: Fact, passage: Passage, words: str) -> Finding:
    made = finding(
        "complication_conflict", "warning", f"Complications were said to be none, but “{words}” was told.",
        [none], ask="Say whether it is a complication.", about=f"w{passage.evidence.first}",
    )  # fmt: skip
    return beside(made, passage.evidence)


def _slipped(note: OperativeNote, none: Fact, told: list[Fact]) -> list[Finding]:
    found: list[Finding] = []
    for passage, match in matches(note, _SLIP, _SLIPS):
        if passage.section in _ELSEWHERE or any(passage.holds(fact) and fact.name not in _EVERYDAY for fact in told):
            continue
        found.append(_but_told(none, passage, match[0]))
    return found


_MUCOSA = re.compile(
    r"\bmucosa (?:was |got |had been )?(?:\w+ly )?(?:opened|perforated|breached|entered|buttonholed|torn)\b", re.I
)  # fmt: skip


def _mucosa(note: OperativeNote, none: Fact) -> list[Finding]:
    """ "Mucosa opened at the duodenal end and repaired" in a myotomy, which leaves it closed."""
    if "myotomy" not in _ill(note):
        return []
    found: list[Finding] = []
    for passage, match in matches(note, _MUCOSA, ("mucosa",)):
        if passage.section in _ELSEWHERE or _denied(re.split("[,:]", passage.text[: match.start()])[-1]):
            continue
        found.append(_but_told(none, passage, match[0]))
    return found


_INNER = (
    r"(?:(?:small |large )?bowel|spleen|liver|bladder|colon|rectum|stomach|duodenum|ureter|urethra|artery|vein|aorta|"
    r"vena cava|dura|pleura|diaphragm|bile duct|oesophagus|esophagus|trachea|lung|serosa|peritoneum)"
)
_TEAR = re.compile(
    r"\b(?:tear|laceration|perforation|rent|hole|breach|injury|puncture|nick) (?:of|to|in|into) (?:the )?(?:\w+ )?"
    rf"{_INNER}\b|\b{_INNER} (?:injury|tear|laceration|perforation|leak)\b|\bserosal (?:tear|injury)\b|\basystole\b|"
    r"\bventricular fibrillation\b|\bcardiopulmonary resuscitation\b|\b(?:was|were|be) resuscitated\b|"
    r"\banaphyla\w+\b(?! (?:to|with|from)\b)", re.I,
)  # fmt: skip


_TEARS = ("tear", "laceration", "perforation", "rent ", "hole ", "breach ", "injury", "puncture ", "nick ", "leak",
          "asystole", "fibrillation", "resuscitat", "anaphyla")  # fmt: skip


_VESSELS = frozenset({"artery", "vein"})  # mostly torn before the operation, and mended by it
_HARMS = ("torn", "lacerated", "perforated", "punctured", "nicked", "holed", "breached", "injured", "avulsed", "cut",
          "transected", "severed")  # fmt: skip
# Harm of today that was mended at once: "the bladder was torn and repaired in two layers".
_MENDED = re.compile(
    rf"\b{_INNER} (?:was|were|got|had been) (?:\w+ly )?(?:torn|lacerated|perforated|punctured|nicked|holed|breached|"
    r"injured|avulsed)(?: at| near| over)?(?: the \w+)?,? (?:and|then|so|but) (?:\w+ ){0,3}(?:repaired|closed|sutured|"
    r"oversewn|stitched|patched|sewn|clipped|packed)\b|"
    r"\b(?:ureter|bladder|bile duct|urethra) (?:was|were|got|had been) (?:cut|transected|severed)(?: \w+){0,2} "
    r"(?:and|then|so) (?:\w+ ){0,3}(?:repaired|closed|sutured|re-?implanted|re-?anastomosed|rejoined|stented|sewn)\b",
    re.I,
)  # fmt: skip


def _torn(note: OperativeNote, none: Fact, told: list[Fact]) -> list[Finding]:
    """ "A tear of the dura that was closed with two stitches": it happened today, unless the operation was for it."""
    ill = _ill(note)
    for passage, match in (*matches(note, _MENDED, _HARMS), *matches(note, _TEAR, _TEARS)):
        organ = re.search(_INNER, match[0], re.I)
        if any(passage.holds(fact) for fact in told) or (organ is not None and organ[0].lower() in ill):
            continue
        sure = organ is None or (match.re is _MENDED and organ[0].lower() not in _VESSELS)
        made = finding(
            "complication_conflict", "warning" if sure else "note",
            f"Complications were said to be none, but “{match[0]}” was told.",
            [none], ask="Say whether it is a complication, or that it was there before.",
            about=f"w{passage.evidence.first}",
        )  # fmt: skip
        return [beside(made, passage.evidence)]
    return []


def _mended(note: OperativeNote, none: Fact, told: list[Fact]) -> list[Finding]:
    """ "The popliteal artery was lacerated and repaired": in an operation for something else."""
    opens = next((one.text for one in note.sections.description), "")  # "Glass injury right forearm."
    for passage, match in matches(note, _harmed.HARMED_AND_MENDED, _harmed.WORDS):
        ill = _ill(note) + opens.replace(match[0], "").lower()
        known = any(passage.holds(fact) and fact.kind == "complication" for fact in told)
        denied = _denied(passage.text[: match.start()]) or _denied(match[0]) or _harmed.came_so(passage.text)
        if passage.section in _ELSEWHERE or denied or known or _harmed.is_illness(ill, match[0]):
            continue
        return [_but_told(none, passage, match[0])]
    return []


# A nerve that nobody meant to cut, and what is lost after the operation.
_LOST = re.compile(
    r"\b(?:facial|recurrent(?: laryngeal)?|accessory|hypoglossal|lingual|obturator|phrenic|vagus) nerve (?:\w+ly )?"
    r"(?:cut|transected|severed|lacerated)\b|"
    r"\b(?:\w+ )?nerve (?:was|got|had been|is) (?:\w+ly )?(?:cut|transected|severed|lacerated|injured|damaged|"
    r"crushed)\b|"
    r"\b(?:transient |new |temporary |partial |complete )?(?:foot|wrist) drop\b|"
    r"\b(?:new|transient|postoperative|post-op) (?:numbness|palsy|weakness|deficit)\b|"
    r"\b(?:numb|weak|pulseless|dead)\b[^.;]{0,30}\b(?:after (?:the )?(?:traction|block|tourniquet)|in recovery|"
    r"on waking|when (?:he|she) woke)\b|"
    r"\b(?:re-?intubated|cardiac arrest|arrested|had a (?:seizure|fit))\b", re.I,
)  # fmt: skip


_WORRY = re.compile(
    r"\b(?:call|ring|phone|contact|returns?|come back|report|worry|worrying|watch(?:ing)?|look out|seek|beware|if)\b"
    r"[^.;]{0,60}$", re.I,
)
_LOSSES = ("nerve", "drop", "numb", "palsy", "weak", "deficit", "pulseless", "dead", "intubated", "arrest", "seizure",
           "fit")  # fmt: skip


def _lost(note: OperativeNote, none: Fact, told: list[Fact]) -> list[Finding]:
    """ "Transient foot drop in recovery", "the saphenous nerve was cut": unless the operation was for it."""
    ill = _ill(note)
    for passage, match in matches(note, _LOST, _LOSSES):
        about = next((word for word in ("nerve", "drop", "palsy", "numb", "weak") if word in match[0].lower()), "")
        if _WORRY.search(passage.text[: match.start()]) or before_work(note, passage):
            continue  # "call for fever, headache or new weakness"
        if any(passage.holds(fact) for fact in told) or "neurectomy" in ill or (
            about and re.search(rf"\b{about}", ill)
        ):
            continue
        made = finding(
            "complication_conflict", "warning", f"Complications were said to be none, but “{match[0]}” was told.",
            [none], ask="Say whether it is a complication, or that it was there before.",
            about=f"w{passage.evidence.first}",
        )  # fmt: skip
        return [beside(made, passage.evidence)]
    return []


def _ill(note: OperativeNote) -> str:
    """What the operation was for, and what was done, in one line of small letters."""
    return " ".join(f"{fact.name} {fact.text} {fact.evidence.heard}".lower() for fact in note.of(
        "preop_diagnosis", "postop_diagnosis", "diagnosis", "indication", "procedure", "imaging", "history"
    ))  # fmt: skip


_BUT = re.compile(
    r"\bcomplications?\b(?: \w+)?:? (?:none |nil |no )?(?:other than|apart from|except|besides|beyond|but)\b|"
    r"\bno (?:other|further|additional|more) complications?\b", re.I,
)  # fmt: skip


def _but_one(note: OperativeNote, fact: Fact) -> bool:
    """ "Complications none other than the tear", "no further complications": one was told, and is none of those."""
    return any(passage.holds(fact) and _BUT.search(passage.text) for passage in note.sections.description)


def _general(fact: Fact) -> bool:
    return (fact.name or "") in ALL_OF_THEM and (fact.text or "none").lower() in ("none", "nil", "no complications", "")


# Blood that was found and taken out: the fracture's, an old one, the one that the operation was for.
_FOUND = re.compile(
    r"\b(?:fracture|old|organi[sz]ed|liquefied|chronic|pre-?existing|known|clotted)\b|"
    r"\b(?:evacuat\w+|clear(?:ed)?|wash(?:ed)?|suck(?:ed)?|suction(?:ed)?|remov\w+|rins\w+|drain(?:ed)?|encountered|"
    r"came out)\b", re.I,
)  # fmt: skip
_NEW = re.compile(
    r"\b(?:form\w*|develop\w*|occur\w*|expand\w*|new|intra-?operative\w*|post-?operative\w*|caused|result\w*|from the "
    r"(?:trocar|needle|block|port)|enlarg\w*|injury|accident\w*|iatrogenic)\b", re.I,
)  # fmt: skip
_BLOOD = frozenset({"haematoma", "hematoma", "haemarthrosis", "haemothorax", "haemoperitoneum", "seroma"})
_NEAR = 6  # words


def _severity(note: OperativeNote, fact: Fact, grammar: Grammar) -> Severity:
    """A question only, where it may have been there before. Blood that formed anew was not."""
    words = _around(note, fact) if fact.name in _BLOOD else ""
    if _NEW.search(words):
        return "warning"
    if fact.name in _BROKEN and _happened(note, fact):
        return "warning"
    quiet = fact.name in _EVERYDAY or _may_be_disease(fact, grammar) or _FOUND.search(words) is not None
    return "note" if quiet else "warning"


_BROKEN = frozenset({"perforation", "laceration", "rupture"})
_WAS_DONE = re.compile(
    rf"\b{_INNER} (?:was|were|got|had been) (?:\w+ly )?(?:perforated|lacerated|ruptured|torn)\b", re.I
)  # fmt: skip


def _happened(note: OperativeNote, fact: Fact) -> bool:
    """ "The duodenum was perforated": in an operation for something else, on another organ."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    said = _WAS_DONE.search(passage.text) if passage is not None and passage.section not in _ELSEWHERE else None
    organ = re.search(_INNER, said[0], re.I) if said is not None else None
    ill = _ill(note)
    return organ is not None and organ[0].lower() not in ill and not re.search("perforat|ruptur|trauma", ill)


def _around(note: OperativeNote, fact: Fact) -> str:
    for passage in note.sections.description:
        if passage.holds(fact):
            words = passage.text.split()
            at = fact.evidence.first - passage.evidence.first
            return " ".join(words[max(0, at - _NEAR) : at + _NEAR + 1])
    return ""


def _may_be_disease(fact: Fact, grammar: Grammar) -> bool:
    """Whether a thing that was seen is one that people also have before an operation (a haematoma of the fracture):
    found is not the same as happened."""
    rows = (grammar.tables.get("findings", {}), grammar.tables.get("diagnoses", {}))
    return fact.kind == "finding" and any(fact.name in row for row in rows)
