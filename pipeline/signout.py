"""The list that a surgeon can still answer before the patient leaves: said, not said, or said that there is none."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact
from pipeline.rows import Drug, Element

State = Literal["said", "not said", "none"]
_NONE = frozenset({"none", "nil", "no"})

# What was explained to the patient beforehand answers no question of the sign-out.
_TALK = re.compile(r"\b(?:risks?|benefits|alternatives|discussed|explained|consent(?:ed)?)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class SignOutItem:
    """One line of the sign-out list. `state`: "none" where it was said that there is none. `facts`: ids behind it."""

    element: Element
    state: State
    facts: tuple[str, ...]
    required_by: str


def signout(note: OperativeNote, grammar: Grammar) -> list[SignOutItem]:
    """Everything that the profile and the procedure family want said, with its state, in the order of the files.

    Raises UnknownName for an unknown profile or family.
    """
    wanted = [(element, "profile") for element in elements(grammar, note.profile)]
    if note.family is not None:
        known = {element.id for element, _ in wanted}
        family = grammar.family(note.family)
        wanted += [(element, "family") for element in family.elements if element.id not in known]
    return [SignOutItem(element, *answered(note, element, grammar), required_by) for element, required_by in wanted]


def answered(note: OperativeNote, element: Element, grammar: Grammar) -> tuple[State, tuple[str, ...]]:
    """(state, ids of the facts behind it) of one element."""
    about = [fact for fact in note.of(*element.kinds) if _counts(fact, element)]
    if "prophylaxis" in element.kinds:  # "paracetamol and ibuprofen at home" guard against nothing
        about = [fact for fact in about if fact.kind == "prophylaxis" or _guards(fact, grammar)]
    if "aftercare" in element.kinds:  # drops and tablets to take at home are aftercare too
        about += [fact for fact in note.of("medication") if fact.role == "aftercare" and fact.certainty == "affirmed"]
    if "guidance" in element.kinds:  # "fluoroscopy 28 seconds", "screening nineteen seconds"
        about += [fact for fact in note.of("duration", given=True) if fact.name == "fluoroscopy"]
    if not about:
        return ("none", ()) if "device" in element.kinds and _denied(note) else ("not said", ())
    none = all(fact.certainty == "negated" or (fact.text or "").lower() in _NONE for fact in about)
    return ("none" if none else "said"), tuple(fact.id for fact in about)


def _guards(fact: Fact, grammar: Grammar) -> bool:
    """Whether a medicine is given against infection or thrombosis: an antibiotic, or what thins the blood afterwards;
    the heparin of a clamped artery is none."""
    row = grammar.table("drugs", Drug).get(fact.name or "")
    classes = row.classes if row is not None else ()
    return ("antibiotic" in classes and not _ON_SKIN.search(fact.name or "")) or (
        "anticoagulant" in classes
        and (fact.name in _LOW_WEIGHT or fact.status == "planned" or fact.role == "aftercare")
    )


_ON_SKIN = re.compile(r"ointment|chloramphenicol|polymyxin|bacitracin")
_LOW_WEIGHT = frozenset({"enoxaparin", "dalteparin", "tinzaparin", "nadroparin", "fondaparinux"})


# "No implants": what was not put in makes no entry of its own.
_NO_IMPLANT = re.compile(
    r"\b(?:no|without)(?: \w+)? (?:implants?|hardware|prosthes[ie]s|lens)\b|\bimplants?:? (?:none|nil)\b", re.IGNORECASE
)


def _denied(note: OperativeNote) -> bool:
    return any(_NO_IMPLANT.search(passage.text) for passage in note.sections.description)


def _counts(fact: Fact, element: Element) -> bool:
    if fact.status in ("historical", "other_person") or _denies_one(fact):
        return False
    names = {name.replace("-", "_") for name in element.names}
    return not names or (fact.name or "").replace("-", "_") in names


# Names under which all complications are denied.
ALL_OF_THEM = frozenset({"", "none", "any", "complication", "complications", "uneventful"})


def _denies_one(fact: Fact) -> bool:
    """ "No dural tear" leaves open whether there was another complication."""
    return fact.kind == "complication" and fact.certainty == "negated" and (fact.name or "") not in ALL_OF_THEM


@lru_cache(maxsize=256)
def _any_of(cues: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(r"(?<!\w)(?:" + "|".join(re.escape(cue) for cue in cues) + r")(?!\w)", re.IGNORECASE)


def spoken_of(note: OperativeNote, element: Element) -> Passage | None:
    """The first sentence that has a word of the element, where no fact came of it."""
    if not note.says(*[cue.lower() for cue in element.cues]):
        return None
    words = _any_of(tuple(element.cues))
    return next(
        (one for one in note.sections.description if words.search(one.text) and not _TALK.search(one.text)), None
    )
