"""Decisions laid over a note: pure, in order, nothing changed that no decision names.

The note as made is never touched. `apply` gives the note as it stands after the decisions: a corrected fact has its
new value and keeps its words; a rejected one is gone from facts and sections and stands in `decisions` only;
an accepted or corrected one is no longer unsure, since a person has heard it. The findings are to be made anew by
who calls (`run.recheck`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from pipeline.assemble import assemble, line
from pipeline.errors import BadDecision
from pipeline.grammar import Grammar
from pipeline.note import Code, OperativeNote
from pipeline.records import Evidence, Fact, Reading, Revision
from pipeline.review import values

# Word ids of what was added: after those of any recording.
ADDED_FROM = 1_000_000


@dataclass(frozen=True, slots=True)
class Step:
    """One recorded decision. `kind`: "revision", "added", "code", "code-removed" or "undo" (of the step `undoes`).

    `facts`: what a reviewer added. `together`: steps made at once share it, and are undone at once."""

    id: int
    kind: str
    revision: Revision | None = None
    code: Code | None = None
    undoes: int = 0
    together: str = ""
    facts: tuple[Fact, ...] = ()


def standing(steps: Iterable[Step]) -> list[Step]:
    """The steps that were not undone, in order; an undo itself is none of them."""
    listed = list(steps)
    undone = {step.undoes for step in listed if step.kind == "undo"}
    return [step for step in listed if step.kind != "undo" and step.id not in undone]


def last_to_undo(steps: Iterable[Step]) -> list[Step]:
    """The steps that the next undo takes back: the last standing one and those made together with it."""
    left = standing(steps)
    if not left:
        return []
    last = left[-1]
    return [step for step in left if step is last or (last.together and step.together == last.together)]


def apply(note: OperativeNote, steps: Iterable[Step], grammar: Grammar) -> OperativeNote:
    """The note as it stands after these steps. Raises BadDecision for a step that does not fit the note."""
    facts = {fact.id: fact for fact in note.facts}
    revisions: list[Revision] = []
    codes = list(note.codes)
    for step in standing(steps):
        if step.revision is not None:
            revisions.append(step.revision)
            facts |= {fact.id: fact for fact in step.facts}
            _lay(facts, step.revision, grammar)
        elif step.code is not None:
            same = [code for code in codes if (code.system, code.code) == (step.code.system, step.code.code)]
            codes = [code for code in codes if code not in same]
            if step.kind == "code":
                codes.append(step.code)
    kept = list(facts.values())
    sections = assemble(kept, Reading((), ()), grammar).model_copy(update={"description": note.sections.description})
    return note.model_copy(
        update={"facts": kept, "sections": sections, "codes": codes, "decisions": [*note.decisions, *revisions]}
    )


def _lay(facts: dict[str, Fact], revision: Revision, grammar: Grammar) -> None:
    if revision.action in ("settle", "reopen", "ask", "answer", "add"):
        return
    fact = facts.get(revision.target)
    if fact is None:
        raise BadDecision(f"There is no fact {revision.target} any more.", "Load the page anew.")
    if revision.action == "reject":
        del facts[fact.id]
        return
    if revision.action == "correct":
        made = values.corrected(fact, revision.attribute, revision.after, grammar)
        _share(facts, fact, made, revision.attribute)
        fact = made
    facts[fact.id] = _heard(fact)


def _share(facts: dict[str, Fact], old: Fact, new: Fact, attribute: str) -> None:
    """The facts of one event have one drug, one side, one status: what was like the old value follows it."""
    if old.group is None or attribute not in ("name", "laterality", "status", "certainty"):
        return
    for other in list(facts.values()):
        if other.group == old.group and getattr(other, attribute) == getattr(old, attribute):
            facts[other.id] = replace(other, **{attribute: getattr(new, attribute)})


def _heard(fact: Fact) -> Fact:
    """The fact without the doubts of the machine: a person has decided on it."""
    return replace(fact, doubts=(), alternatives=(), evidence=replace(fact.evidence, confidence=None))


def accept(fact: Fact, grammar: Grammar, *, by: str, at: str, reason: str = "") -> Revision:
    """The value stands as it is. What was unsure about it is kept in `before`."""
    unsure = [*fact.doubts, *(f"also heard as {other}" for other in fact.alternatives)]
    if fact.evidence.confidence is not None:
        unsure.append(f"confidence {fact.evidence.confidence:.2f}")
    return Revision(target=fact.id, action="accept", by=by, at=at, before=_told(fact, grammar, unsure),
                    after=line(fact, grammar), reason=reason.strip())  # fmt: skip


def correct(
    fact: Fact, attribute: str, typed: str, grammar: Grammar, *, by: str, at: str, reason: str = ""
) -> Revision:  # fmt: skip
    """Another value. `after` is what was typed, so that it reads the same again. Raises BadDecision."""
    values.corrected(fact, attribute, typed, grammar)
    return Revision(target=fact.id, action="correct", by=by, at=at, attribute=attribute,
                    before=values.shown(fact, attribute, grammar), after=" ".join(typed.split()),
                    reason=reason.strip())  # fmt: skip


def reject(fact: Fact, grammar: Grammar, *, by: str, at: str, reason: str) -> Revision:
    """The fact does not stand. Raises BadDecision without a reason."""
    if not reason.strip():
        raise BadDecision("A fact is rejected only with a reason.", "Say why it is wrong.")
    return Revision(target=fact.id, action="reject", by=by, at=at, before=line(fact, grammar), reason=reason.strip())


def ask(target: str, about: str, question: str, *, by: str, at: str, to: str = "") -> Revision:
    """A question to a surgeon (`to`: user name, "" for any) on a fact or finding. Raises BadDecision without one."""
    if not question.strip():
        raise BadDecision("There is no question yet.", "Write what the surgeon should answer.")
    return Revision(target=target, action="ask", by=by, at=at, attribute=to, before=about,
                    reason=question.strip())  # fmt: skip


def answer(question: Revision, text: str, *, by: str, at: str) -> Revision:
    """The answer to a question, which is open no more. Raises BadDecision without words."""
    if not text.strip():
        raise BadDecision("There is no answer yet.", "Write what you know, or that you do not know.")
    return Revision(target=question.target, action="answer", by=by, at=at, before=question.reason, reason=text.strip())


def added(
    read: Sequence[Fact], typed: str, number: int, *, name: str, by: str, at: str, reason: str
) -> tuple[Revision, tuple[Fact, ...]]:  # fmt: skip
    """What was never said, as read from `typed` (`read`): marked as put in by a reviewer, without sound.

    `number`: of this addition in the note, so that ids are new; `name`: the reviewer's full name. Raises BadDecision
    without a reason, and when nothing was understood.
    """
    if not reason.strip():
        raise BadDecision("What was not said is added only with a reason.", "Say where it is known from.")
    if not read:
        raise BadDecision(f"No value was understood in '{typed}'.", "Write it as it would be said: Cefazolin 2 g was "
                          "given intravenously.")  # fmt: skip
    told = f"added by {name}, {at[:16].replace('T', ' ')}: {reason.strip()}"
    place = ADDED_FROM + 1000 * number
    facts = []
    for fact in read:
        where = Evidence(place + fact.evidence.first, place + fact.evidence.last, None, None, f"not said; {told}")
        plain = fact.evidence.heard if fact.name is None and fact.value is None and fact.low is None else None
        facts.append(replace(
            fact, id=f"a{number:02d}-{fact.id}", group=f"a{number:02d}-{fact.group}" if fact.group else None,
            evidence=where, also=(), taken_back=(), added=told, text=fact.text if fact.text is not None else plain,
        ))  # fmt: skip
    return Revision(target=facts[0].id, action="add", by=by, at=at, after=typed, reason=reason.strip()), tuple(facts)

def decided(note: OperativeNote) -> dict[str, Revision]:
    """The last decision on each fact or finding, by its id or key."""
    return {revision.target: revision for revision in note.decisions}


def questions(note: OperativeNote) -> list[Revision]:
    """The questions that no later decision on the same thing has answered."""
    last = decided(note)
    return [revision for revision in last.values() if revision.action == "ask"]


def _told(fact: Fact, grammar: Grammar, unsure: Sequence[str]) -> str:
    return line(fact, grammar) + (f" ({'; '.join(unsure)})" if unsure else "")
