"""The anaesthetic in plain words: "she was asleep with a laryngeal mask", "put to sleep", "top up of the epidural",
"awake under a deep and superficial block", "numbed up with a bit of local"."""

from __future__ import annotations

import re

from pipeline import story
from pipeline.extractors import _in_norms, base
from pipeline.records import Fact, Reading, Sentence

_ASLEEP = re.compile(
    r"\b(?:(?:put|sent|went|gone|drifted) (?:off |straight off |nicely )?to sleep|"
    r"(?:was|were|is|he's|she's|all|fully|now|soundly|nicely|deeply|properly|patient|then|so) asleep|"
    r"asleep(?= (?:with|on|under|for|by|and|throughout)\b| [,.]))"
)
_EPIDURAL = re.compile(r"\b(?:top ?-?up|topped up|topping up)(?: of| to)?(?: the| her| his| an existing)? epidural\b|"
                       r"\bepidural (?:was |that was |already in |in situ |in )*(?:topped|top) ?-?up\b")  # fmt: skip
_SEDATED = re.compile(r"\bsedated(?= (?:with|by|on|using)\b)|\b(?:lightly|well|heavily|deeply) sedated\b")
_GAS = re.compile(r"\bgas (?:and|by|via|through|on|with) (?:a |the )?(?:mask|tube)\b|\bgas induction\b")
_BLOCK = re.compile(r"\b(?:under|with|had|by|using) (?:an? |the |just )?(?:[a-z-]+ ){1,4}?blocks?\b")
_NUMBED = re.compile(r"\b(?:numbed|froze|frozen)(?: up)?(?: it)?(?= with\b)|\bnumbed(?: up)? the (?:skin|area|"
                     r"wound|finger|toe|gum|lip|lid|ear)\b|"
                     r"\b(?:a |some |bit of |drop of |jab of |plenty of |more )+local(?: only| alone)?\b"
                     r"(?! (?:flap|tissue|recurrence|hospital|clinic|swelling|infection|spread|excision|"
                     r"wound))")  # fmt: skip
_OPENERS = frozenset("asleep gas sedated sleep epidural block blocks numbed froze frozen local".split())
# "Fingers that fall asleep at night": a complaint; "no sleep" and "sleep study" are none either.
_LIMBS = frozenset("hand hands finger fingers arm arms leg legs foot feet toe toes thumb falls fall falling fell goes "
                   "go going".split())  # fmt: skip
_AIRWAY = frozenset({"mask", "tube", "lma", "igel", "i-gel", "intubated", "ett", "airway", "tiva", "gas"})
_UNMEANT = frozenset("epidural no not without before after previous power bite tooth heart nerve wood bone butter gel "
                     "foam buffer building conduction bundle".split())  # fmt: skip
_NEAR, _BEFORE = 8, 4  # tokens


def told(reading: Reading, sentence: Sentence) -> list[Fact]:
    """The anaesthetic of a sentence that names none in another way; its name only where the words leave no choice."""
    if not sentence.says(_OPENERS):
        return []
    norms = [token.norm for token in sentence.tokens]
    for first, last in _in_norms.found(sentence, _ASLEEP):
        beside = set(norms[max(0, first - _BEFORE) : first])
        if beside & _LIMBS or beside & {"not", "never", "if"} or not _is_now(sentence, last, ("performed", "planned")):
            continue  # "asleep with an epidural for afterwards"
        known = set(norms[last + 1 : last + 1 + _NEAR]) & _AIRWAY
        said = {"name": "general"} if known else {"text": story.words(sentence, first, last)}
        return [base.make("anaesthesia", reading, sentence, first, last, status="performed", **said)]
    for pattern, name in ((_EPIDURAL, "epidural"), (_GAS, "general"), (_SEDATED, "sedation"), (_NUMBED, "local")):
        for first, last in _in_norms.found(sentence, pattern):
            if _is_now(sentence, last) and "no" not in norms[max(0, first - 1) : first]:
                return [base.make("anaesthesia", reading, sentence, first, last, name=name)]
    for first, last in _in_norms.found(sentence, _BLOCK):
        if not set(norms[first:last]) & _UNMEANT and _is_now(sentence, last):
            begin = first + 1 + (norms[first + 1] in ("a", "an", "the", "just"))
            return [base.make("anaesthesia", reading, sentence, begin, last, text=story.words(sentence, begin, last))]
    return []


def _is_now(sentence: Sentence, at: int, held: tuple[str, ...] = ("performed",)) -> bool:
    return base.scope_at(sentence, "status", at, "performed") in held and (
        base.scope_at(sentence, "certainty", at, "affirmed") == "affirmed"
    )
