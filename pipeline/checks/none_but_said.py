"""Said that there was none, and said that there was one."""

from __future__ import annotations

import re

from pipeline.checks._words import matches
from pipeline.checks.base import called, finding, given, placed, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Drains, specimens, implants or a tourniquet were said not to be there, and told elsewhere in the note."

# What says "none", and the kinds that say otherwise.
_PAIRS = {
    "drain": ("drain", "drain_size"),
    "specimen": ("specimen", "specimen_count"),
    "device": ("device",),
    "tourniquet": ("tourniquet_pressure", "tourniquet_time"),
    "suture": ("suture",),
}
# Rows of drains.toml that nobody means with "no drain".
_NO_WOUND_DRAIN = frozenset({"urinary-catheter", "suprapubic-catheter", "nasogastric-tube", "pain-catheter", "t-tube",
                             "nephrostomy", "chest-tube", "external-ventricular-drain", "lumbar-drain"})  # fmt: skip
_WORDS = frozenset({"none", "nil", "no", ""})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for kind, others in _PAIRS.items():
        none = next((fact for fact in note.of(kind) if fact.certainty == "negated" and _wholly(note, fact, kind)), None)
        if none is None:
            continue
        against = [fact for fact in given(note, *others) if _stands(fact) and not _taken_back(note, fact, kind)]
        sent = _sent(note, none) if kind == "specimen" and not against else None
        if against or sent:
            what = sent or called(against[0], grammar) or shown(against[0])
            found.append(
                finding(
                    "none_but_said",
                    "warning",
                    f"No {kind} was said, but also: {what}.",
                    [none, *against],
                    ask="Say which is right.",
                )
            )
    return found + _packed(note)


_NO_PACK = re.compile(r"\bno (?:nasal |vaginal |wound )?pack(?:s|ing)?\b(?! (?:in|out|removed))", re.I)
_PACK = re.compile(
    r"(?<!throat )\b(?:nasopore|merocel|rapid rhino|(?:vaginal |nasal |ribbon |gauze )?pack(?:s|ing)?|tampons?) "
    r"(?:was |were |is |are )?(?:left|placed|inserted|put|introduced)\b(?! out)", re.I,
)  # fmt: skip
_DENIED = re.compile(r"\b(?:no|not|without|throat|removed)\b[^.,;]{0,20}$", re.I)


def _packed(note: OperativeNote) -> list[Finding]:
    """ "Nasopore left in both middle meatuses ... no packing left"."""
    none = next(((passage, match) for passage, match in matches(note, _NO_PACK, ("pack",))), None)
    if none is None:
        return []
    for passage in note.sections.description:
        for match in _PACK.finditer(passage.text):
            inside = passage is none[0] and none[1].start() - 1 <= match.start() <= none[1].end()
            if inside or _DENIED.search(passage.text[: match.start()]):
                continue
            made = finding(
                "none_but_said", "warning", f"No packing was said, but also: “{match[0]}”.",
                ask="Say which is right.", about="packing",
            )  # fmt: skip
            return [placed(made, passage.evidence)]
    return []


# "Skin of both lids sent to pathology", where no entry holds it; not "nothing was sent", "will be sent if needed". In
# short the verb is left out: "thyroid to path".
_SENT = re.compile(
    r"\b(?:sent|submitted|went|gone|forwarded)(?: \w+)? (?:to|for) (?:the )?(?:patholog\w*|histolog\w*|histopath\w*|"
    r"cytolog\w*|microbiolog\w*|cultures?|lab(?:oratory)?|frozen section|analysis)\b|"
    r"(?:\bto|->|\u2192) (?:path|patholog[iy]\w*|histo|histolog[iy]\w*|histopath\w*|cyto|cytology|micro|"
    r"microbiology)\b", re.IGNORECASE,
)  # fmt: skip
_NOT_SENT = re.compile(
    r"\b(?:no|not|nothing|none|never|neither|nor|without|will|would|if|previous\w*|before|ago|earlier|(?:19|20)\d\d)\b",
    re.IGNORECASE,
)
_NOT_BEHIND = re.compile(
    r"[ :-]*(?:not?|nil|none|if|declined|later)\b|,\s*(?:not|nil|none|if|declined|later)\b|"
    r"[.,]?\s*(?:(?:no,?\s*)?(?:scratch|strike|delete|cancel) that|correction|no,? (?:wait|sorry)|sorry|wait)\b"
    r"[.,]?\s*(?:nothing|none|not|no|nil|it was not|we did not)\b|,\s*no,?\s*(?:it was|we did) not\b", re.IGNORECASE
)  # not "loose bodies to pathology, no specimens sent"; "to histology, scratch that, nothing sent"
# What goes on with "no specimen": "no specimens to pathology", "no specimen of the wall was sent to pathology".
_SAME = re.compile(
    r"(?:of|from|for|was|were|is|are|has|had|been|to|or|and|sent|taken|needed|required|went|that|which)\b",
    re.IGNORECASE,
)
_ANSWER = re.compile(r"(?: (?:none|nil)\b)?", re.IGNORECASE)
_NAMED = re.compile(r"[a-z]{3}", re.IGNORECASE)
_LEAD = 60  # characters before the verb


_KEPT_APART = re.compile(
    r"\b(?:micro\w*|cultures?|lab\w*|cytolog\w*)[,;]? (?:but |and )?(?:nothing|none|no \w+) (?:to|for) (?:path|histo)",
    re.I,
)  # fmt: skip


def _sent(note: OperativeNote, none: Fact) -> str | None:
    """The words that tell of something that was sent, in a clause that denies nothing."""
    for passage in note.sections.description:
        said = none.evidence.last + 1 - passage.evidence.first if passage.holds(none) else 0
        denied = len(" ".join(passage.text.split(" ")[:said]))
        answer = _ANSWER.match(passage.text, denied) if said else None
        denied = answer.end() if answer else denied
        for match in _SENT.finditer(passage.text):
            behind = 0 < denied <= match.start()
            first = max(denied if behind else 0, match.start() - _LEAD)
            lead = re.split(r"[.;:,]", passage.text[first : match.start()])[-1].strip()
            if said and not behind and _KEPT_APART.search(passage.text):
                continue  # "swab to microbiology, nothing to pathology": told beside one another
            if behind and _SAME.match(f"{lead} {match.group()}".strip()):
                continue
            verb = match.group()[:2].lower() not in ("to", "->") and match.group()[0] != "\u2192"
            if not _NOT_SENT.search(lead) and not _NOT_BEHIND.match(passage.text[match.end() :]) and (
                not passage.text[match.start() :].lower().startswith("sent if") and (verb or _NAMED.search(lead))
            ):  # fmt: skip
                return f"“{(lead + ' ' + match.group()).strip()}”"
    return None


def _wholly(note: OperativeNote, fact: Fact, kind: str) -> bool:
    """Whether a negation is about all of the kind ("no drains") and not about one ("no bile in the drain")."""
    if kind == "specimen" and _BUT.match(_behind(note, fact)):
        return False  # "nothing for the lab but one swab", "no specimens except the stone"
    if fact.role == "not_used" and fact.certainty == "negated" and _ANOTHER.search(_before(note, fact)):
        return False  # "a second drain was opened and not used"
    if kind == "drain" and _of_a_wound(note, fact):
        return False  # "the leg was closed over no drain"
    if fact.status != "performed" or fact.body_site or (fact.laterality and not _is_verb(note, fact)):
        return False
    return (fact.name or "") in _WORDS | {kind, "implant"} and (fact.text or "").lower() in _WORDS | {kind, f"{kind}s"}


_BUT = re.compile(r"[^.;:]{0,30}?\b(?:but|except|apart from|other than|besides|save for)\b", re.IGNORECASE)
_OVER = re.compile(r"\b(?:closed|sutured|stitched)\b[^.;]{0,20}\b(?:over|without|with) (?:no|a|any)? ?$", re.IGNORECASE)


_ANOTHER = re.compile(r"\b(?:second|third|2nd|3rd|another|other|further|spare|extra|larger|smaller)\b", re.IGNORECASE)


def _before(note: OperativeNote, fact: Fact) -> str:
    """The three words before a fact."""
    for passage in note.sections.description:
        if passage.holds(fact):
            at = fact.evidence.first - passage.evidence.first
            return " ".join(passage.text.split()[max(0, at - 3) : at])
    return ""


def _behind(note: OperativeNote, fact: Fact) -> str:
    """The words of the sentence behind a fact."""
    for passage in note.sections.description:
        if passage.holds(fact):
            return " ".join(passage.text.split()[fact.evidence.last + 1 - passage.evidence.first :])
    return ""


def _of_a_wound(note: OperativeNote, fact: Fact) -> bool:
    """Whether one wound was closed without a drain; others may have one."""
    for passage in note.sections.description:
        if passage.holds(fact):
            words = passage.text.split()[: fact.evidence.first - passage.evidence.first]
            return _OVER.search(" ".join(words) + " ") is not None
    return False


def _is_verb(note: OperativeNote, fact: Fact) -> bool:
    """ "No drain left", "no drains were left": no side."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    words = passage.text.lower().split() if passage is not None else []
    at = fact.evidence.last - passage.evidence.first if passage is not None else 0
    behind = [word.strip(".,;:") for word in words[at : at + 4]]
    return fact.laterality == "left" and "left" in behind and not {"on", "the", "side"} & set(behind)


def _taken_back(note: OperativeNote, fact: Fact, kind: str) -> bool:
    """ "One drain, no, we agreed no drain.": denied in the same breath."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return False
    behind = " ".join(passage.text.lower().split()[fact.evidence.last - passage.evidence.first :])
    return re.search(rf"[,.]? no,? (?:\w+ ){{0,4}}(?:no|without an?) {kind}s?\b", behind.split(".")[0]) is not None


def _stands(fact: Fact) -> bool:
    if fact.name in _NO_WOUND_DRAIN:
        return False
    return fact.kind != "device" or fact.role == "implanted"
