"""Required elements of the profile that were never said."""

from __future__ import annotations

import re

from pipeline.checks._words import ELSEWHERE, SENT_AWAY
from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.signout import answered, spoken_of

MEANING = "An element that the chosen profile requires was never said, or was spoken of and not understood."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    seldom = grammar.family(note.family).seldom if note.family is not None else _of_injection(note)
    found: list[Finding] = []
    for element in elements(grammar, note.profile):
        if element.if_any or answered(note, element)[0] != "not said":
            continue
        wanted = f" (wanted by {element.source})" if element.source else ""
        passage = spoken_of(note, element)
        message = (
            f"Never said: {element.label}{wanted}."
            if passage is None
            else f"Spoken of but not understood: {element.label}; heard: {passage.text.strip()[:80].rstrip('.')}."
        )
        found.append(
            finding(
                "completeness",
                "note" if (passage is None and element.id in seldom) or _in_other_words(note, element.id)
                else element.severity,
                message,
                about=element.id,
                ask=element.ask or f"Say the {element.label}, or that there is none.",
            )
        )  # fmt: skip
    return found


def _of_injection(note: OperativeNote) -> tuple[str, ...]:
    """What is seldom told of an injection that is the whole operation, where no family has its name ("injection of the
    left hip"): no blood is lost and nothing is sent. Common practice, no source."""
    done = note.of("procedure", given=True)
    only = bool(done) and all(re.search(r"\binject", fact.text or "", re.I) for fact in done)
    return ("specimens", "blood_loss") if only and not note.of("suture", "incision_length") else ()


# "BP fell to 80/45 at cementing, treated with metaraminol; recovered": what happened is told, and not called by a name.
_HAPPENED = re.compile(
    r"\b(?:bp|blood pressure|pressure|saturations?|sats?|heart rate|pulse) (?:fell|dropped|dipped|went down|went to)\b"
    r".{0,90}\b(?:treated|recovered|settled|responded|corrected|came back)\b", re.IGNORECASE
)  # fmt: skip


_UNNUMBED = re.compile(
    r"\bno (?:local |general )?(?:ana?esthe\w+|sedation)\b|\b(?:cold|cryo|ethyl chloride) ?spray\b", re.I
)
_STATE = re.compile(
    r"\b(?:worn|torn|frayed|gone|absent|retracted|loose|thin|soft|swollen|inflamed|thick(?:ened)?|flat(?:tened)?|tight|"
    r"intact|whole|clean|healthy|normal|unstable|displaced|bone on bone|eburnated|degenerate\w*|arthritic|scarred|"
    r"full of)\b", re.I,
)
_BLED = re.compile(r"\bblood loss\b[^.;]{0,20}\b(?:few|drops?|hardly|next to|trivial|little|not worth)\b", re.I)


def _in_other_words(note: OperativeNote, asked: str) -> bool:
    if asked == "anaesthesia":  # "skin: 3 mL lidocaine 1 %", "topical oxybuprocaine": a local anaesthetic was given
        return any(fact.role == "local_anaesthetic" for fact in note.of("medication", given=True)) or any(
            _UNNUMBED.search(one.text) for one in note.sections.description
        )
    if asked == "findings":  # "head worn through, cuff gone"; an injection finds what was diagnosed
        told = note.of("postop_diagnosis")
        return bool(told) and (bool(_of_injection(note)) or any(
            _STATE.search(one.text) for one in note.sections.description if one.section not in ELSEWHERE
        ))
    if asked == "blood_loss":
        return any(_BLED.search(one.text) for one in note.sections.description)
    if asked == "specimens":
        return any(SENT_AWAY.search(one.text) for one in note.sections.description)
    return asked == "complications" and any(_HAPPENED.search(one.text) for one in note.sections.description)
