"""What the theatre screen shows of a note, as plain data: side and procedure, lines, what is open, sign-out, read-back.

Pure: note and words in, a dictionary of JSON values out; the page only draws it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from pipeline import checking, wording
from pipeline.assemble import display, line, number_text
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import Entry, OperativeNote, Passage
from pipeline.records import Fact, Finding, Word
from pipeline.review import worklist
from pipeline.rows import Drug, LookAlike
from pipeline.signout import SignOutItem
from pipeline.site import Site

WHO = "WHO"
SIDES = {"left": "LEFT", "right": "RIGHT", "bilateral": "BOTH SIDES"}
# Where a side may be said before the procedure has one of its own.
_TELL_SIDE = ("time_out", "site_marking", "consent", "preop_diagnosis", "postop_diagnosis", "diagnosis")
_NOT_SAID_CHECKS = ("completeness", "family_elements")
# Rows of the read-back: label, sections of the note, kinds (all of the section when empty), and whether it must be
# there even when nothing was said. WHO surgical safety checklist, sign-out; the totals and blood loss are our own.
_READ_BACK: tuple[tuple[str, tuple[str, ...], tuple[str, ...], bool], ...] = (
    ("Medicines given", ("medicines",), (), False),
    ("Harvested", ("harvest",), ("harvest_total",), False),
    ("Injected", ("injection",), (), False),
    ("Fluids", ("fluids",), (), False),
    ("Tourniquet", ("tourniquet",), (), False),
    ("Implants and devices", ("devices",), (), False),
    ("Drains", ("drains",), (), False),
    ("Blood loss", ("blood_loss",), (), True),
    ("Counts", ("counts",), (), True),
    ("Specimens", ("specimens",), (), True),
)
NOT_SAID = "NOT SAID"
# What an item of the sign-out is called on a wall: short enough for one line of large type.
_SHORT = {"procedure": "Procedure", "counts": "Counts", "specimens": "Specimens", "equipment": "Equipment",
          "recovery": "Recovery"}  # fmt: skip


def state(note: OperativeNote, rules: Grammar, site: Site) -> dict[str, Any]:
    """Everything of the screen that comes from the note."""
    signout = checking.signout(note, rules)
    return {
        "patient": wording.patient_line(site, note),
        "identified": bool(wording.known_patient(site)),
        "side": side(note),
        "procedures": procedures(note, rules),
        "sections": sections(note),
        "open": open_items(note, signout, known=bool(wording.known_patient(site)), alike=look_alikes(note, rules)),
        "signout": [_sign_out(note, item, rules) for item in signout if WHO in item.element.source],
        "readback": read_back(note, rules),
    }


def side(note: OperativeNote) -> dict[str, str]:
    """The side of the operation: `text`, and `how` it stands: "said", "unsure", "conflict", "missing", "" (none)."""
    operated = [fact for fact in note.of("procedure") if _counts(fact)]
    sided = [fact for fact in operated if fact.laterality]
    against = [one for one in note.open_findings() if one.check == "side_conflict" and one.severity == "blocking"]
    if against:
        return {"text": "LEFT or RIGHT?", "how": "conflict", "why": against[0].message}
    if sided:
        names = list(dict.fromkeys(SIDES[fact.laterality] for fact in sided if fact.laterality))
        doubts = [*wording.doubts(sided), *_unsure(note, sided)]
        text = " + ".join(names)
        return {"text": text, "how": "unsure" if doubts else "said", "why": doubts[0] if doubts else ""}
    if any(one.check == "side_missing" for one in note.open_findings()):
        return {"text": "NO SIDE SAID", "how": "missing", "why": "Say left, right or both."}
    told = [fact for fact in note.of(*_TELL_SIDE) if fact.laterality and _counts(fact)]
    if told and told[0].laterality:
        return {"text": SIDES[told[0].laterality], "how": "unsure", "why": "Not yet said with the procedure."}
    if operated:
        return {"text": "No side", "how": "", "why": "This operation has no left and right."}
    return {"text": "—", "how": "", "why": "Side: not said yet"}


def procedures(note: OperativeNote, rules: Grammar) -> list[str]:
    """The operations said, most important first, each with its own side when they differ."""
    told = [fact for fact in note.of("procedure") if _counts(fact)]
    several = len({fact.laterality for fact in told}) > 1
    named = [
        f"{display(fact, rules)}{f', {fact.laterality}' if several and fact.laterality else ''}"
        f"{' (planned)' if fact.status == 'planned' else ''}"
        for fact in told
    ]
    return list(dict.fromkeys(named))


def sections(note: OperativeNote) -> list[dict[str, Any]]:
    """The note by sections; a line that is unsure says why."""
    items = worklist.items(note)
    told = []
    for name, entries in note.sections.items():
        lines = [_line(entry, items) for entry in entries if not isinstance(entry, Passage)]
        if lines:
            told.append({"name": name.replace("_", " ").capitalize(), "lines": lines})
    return told


def _line(entry: Entry, items: dict[str, worklist.Item]) -> dict[str, Any]:
    about = [items[ident] for ident in entry.facts if ident in items]
    why = [*entry.doubts, *(one.message for item in about for one in item.findings)]
    unsure = any(item.standing == "decide" for item in about)
    return {"text": entry.text, "unsure": unsure, "why": why[0] if unsure and why else ""}


def look_alikes(note: OperativeNote, rules: Grammar) -> list[str]:
    """Which drugs of the note have a name that is taken for another one: "ADRENALINE, not ephedrine"."""
    drugs = rules.table("drugs", Drug)
    asked = []
    given = [fact.name for fact in note.of("medication", given=True) if fact.name and not fact.added]
    for name in dict.fromkeys(given):
        others = [other for row in rules.table("look_alikes", LookAlike).values() if name in row.pair
                  for other in row.pair if other != name and other in drugs]  # fmt: skip
        if name in drugs and others:
            unlike = " or ".join(drugs[other].name.lower() for other in others)
            asked.append(f"{drugs[name].name.upper()}, not {unlike}?")
    return asked


def open_items(
    note: OperativeNote, signout: Sequence[SignOutItem], *, known: bool, alike: Sequence[str] = ()
) -> list[dict[str, Any]]:  # fmt: skip
    """What is missing or does not add up: first what must be settled while the patient is here.

    The order: blocking; does not add up; is unsure; look-alike names; sign-out items not said; what else was not said;
    notes. What was not heard clearly, and what was not said, is one item each, so that a long list hides nothing.
    `known`: the patient's identity comes from the context, so that it need not be said. `alike`: drugs with a
    look-alike name.
    """
    wanted = {item.element.id for item in signout if WHO in item.element.source}
    listed = [(_rank(one, wanted), one) for one in note.open_findings()
              if not (known and one.key == "completeness:patient")]  # fmt: skip
    # What does not add up comes before what is only unsure.
    listed.sort(key=lambda pair: (pair[0], pair[1].check == "doubtful"))
    items = [_open(one, rank) for rank, one in listed if rank not in (_UNCLEAR, _NOT_SAID)]
    unclear = [found[1] for rank, one in listed if rank == _UNCLEAR if (found := _SOUND.match(one.message))]
    unsaid = [_short(one.message) for rank, one in listed if rank == _NOT_SAID]
    before = [item for item in items if item["now"]]
    if unclear:
        before.append(_together("unclear", "Not heard clearly", unclear, "Say it again."))
    if alike:
        message = f"Look-alike name: {' '.join(alike)}"
        before.append({"key": "look-alike", "severity": "note", "now": True, "message": message, "short": message,
                       "arithmetic": "", "ask": "Say it again if it was the other."})  # fmt: skip
    if unsaid:
        before.append(_together("unsaid", "Sign-out, not said yet", unsaid, "Say each, or that there is none."))
    return before + [item for item in items if not item["now"]]


_BLOCKING, _WRONG, _UNCLEAR, _NOT_SAID, _LATER, _TOLD = range(6)
_SOUND = re.compile(r"Unsure \((.+)\): heard with low confidence, the lowest [\d.]+\.$")


def _open(one: Finding, rank: int) -> dict[str, Any]:
    return {"key": one.key, "severity": one.severity, "now": rank <= _NOT_SAID, "message": _plain(one.message),
            "short": _short(one.message), "arithmetic": one.arithmetic, "ask": one.ask}  # fmt: skip


def _together(key: str, what: str, names: list[str], ask: str) -> dict[str, Any]:
    message = f"{what}: {', '.join(dict.fromkeys(names))}."
    return {"key": key, "severity": "warning", "now": True, "message": message, "short": message, "arithmetic": "",
            "ask": ask}  # fmt: skip


def _rank(one: Finding, wanted: set[str]) -> int:
    if one.severity == "blocking":
        return _BLOCKING
    if one.check in _NOT_SAID_CHECKS:
        about = one.key.partition(":")[2].partition("#")[0]
        return _NOT_SAID if about in wanted else _LATER if one.severity == "warning" else _TOLD
    if _SOUND.match(one.message):
        return _UNCLEAR  # whatever its severity: it can be said again now, and not later
    return _WRONG if one.severity == "warning" else _TOLD


def _short(message: str) -> str:
    return _plain(message).removeprefix("Never said: ").rstrip(".")


def _plain(message: str) -> str:
    """Without who wants it: that is of no use in theatre."""
    for tail in (" (wanted by ", " (usual for "):
        head, found, _ = message.partition(tail)
        if found:
            return f"{head}."
    return message


def _sign_out(note: OperativeNote, item: SignOutItem, rules: Grammar) -> dict[str, str]:
    values = [line(note.fact(ident), rules) for ident in item.facts]
    label = item.element.label
    full = label[:1].upper() + label[1:]
    return {"id": item.element.id, "label": _SHORT.get(item.element.id, full), "full": full, "state": item.state,
            "value": "; ".join(dict.fromkeys(values)) if item.state == "said" else ""}  # fmt: skip


def read_back(note: OperativeNote, rules: Grammar) -> list[dict[str, Any]]:
    """The rows that the team confirms aloud. `missing`: nothing was said of it; `unsure`, value by value:
    something stands against it."""
    where = side(note)
    named = procedures(note, rules)
    rows: list[dict[str, Any]] = [
        _row("Side", [where["text"]] if where["how"] else [], [where["how"] not in ("said", "")], always=True),
        _row("Procedure", named, [False] * len(named), always=True),
    ]
    items = worklist.items(note)
    for label, wanted, kinds, always in _READ_BACK:
        texts: list[str] = []
        unsure: list[bool] = []
        for entry in _entries(note, wanted):
            about = [note.fact(ident) for ident in entry.facts]
            if _given(about) and (not kinds or any(fact.kind in kinds for fact in about)):
                texts.append(entry.text)
                unsure.append(any(items[fact.id].standing == "decide" for fact in about))
        if label == "Harvested" and not texts:
            draws = [number_text(fact, rules) for fact in note.of("draw", given=True)]
            texts = [f"Draws {', '.join(draws)}; no total said"] if draws else []
            unsure = [False] * len(texts)
        rows.append(_row(label, texts, unsure, always=always))
    return [row for row in rows if row["values"] or row["missing"]]


def _row(label: str, values: list[str], unsure: list[bool], *, always: bool) -> dict[str, Any]:
    missing = always and not values
    return {"label": label, "values": [NOT_SAID] if missing else values, "missing": missing,
            "unsure": [False] if missing else unsure}  # fmt: skip


def _entries(note: OperativeNote, names: Iterable[str]) -> Iterable[Entry]:
    for name in names:
        for entry in getattr(note.sections, name):
            if isinstance(entry, Entry):
                yield entry


def _given(facts: Sequence[Fact]) -> bool:
    """Whether it is of this operation: not an instruction for later, not only prepared, held or avoided."""
    return all(fact.status == "performed" for fact in facts) and not any(
        fact.role in ("prepared", "discarded", "held", "avoid", "trial", "not_given", "not_used") for fact in facts
    )


def _counts(fact: Fact) -> bool:
    return fact.certainty != "negated" and fact.status in ("performed", "planned")


def _unsure(note: OperativeNote, facts: Sequence[Fact]) -> list[str]:
    ids = {fact.id for fact in facts}
    return [one.message for one in note.open_findings() if one.check == "doubtful" and ids & set(one.facts)]


def least_confidence(rules: Grammar, profile: str) -> float:
    """Below this a word is shown as doubtful: the limit that the check of doubtful facts uses; 0 without one."""
    row = limit(rules, profile, "confidence")
    return float(row.value) if row is not None and row.value is not None else 0.0


def runs(words: Sequence[Word], least: float) -> list[dict[str, str]]:
    """Words as runs of sure and of doubtful ones. `why` is "" for sure ones."""
    told: list[dict[str, str]] = []
    for word in words:
        why = _doubt(word, least)
        if told and told[-1]["why"] == why:
            told[-1]["text"] += f" {word.text}"
        else:
            told.append({"text": word.text, "why": why})
    return told


def _doubt(word: Word, least: float) -> str:
    if word.others:
        return f"also heard as {', '.join(word.others)}"
    if word.heard is not None and word.heard.casefold() != word.text.casefold():
        return f"heard as {word.heard}"
    if word.confidence is not None and word.confidence < least:
        return "not heard clearly"
    return ""
