"""Two versions of a note side by side."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import SequenceMatcher

from pipeline.note import OperativeNote


@dataclass(frozen=True, slots=True)
class Row:
    """A line of a section in the older and the newer version; "" where it is not there. `what`: "same", "changed",
    "added" or "removed"."""

    section: str
    before: str
    after: str
    what: str


def compare(before: OperativeNote, after: OperativeNote) -> list[Row]:
    """All lines of both versions, section by section, matched in order."""
    rows: list[Row] = []
    old, new = dict(before.sections.items()), dict(after.sections.items())
    for section in old:
        left, right = [entry.text for entry in old[section]], [entry.text for entry in new[section]]
        for code, a, b, c, d in SequenceMatcher(a=left, b=right, autojunk=False).get_opcodes():
            rows += _rows(section, left[a:b], right[c:d], same=code == "equal")
    rows += _codes(before, after)
    return rows


def changes(before: OperativeNote, after: OperativeNote) -> list[str]:
    """What differs, one plain sentence each."""
    told = []
    for row in compare(before, after):
        section = row.section.replace("_", " ").capitalize()
        if row.what == "changed":
            told.append(f"{section}: was '{row.before}', now '{row.after}'.")
        elif row.what == "added":
            told.append(f"{section}: added '{row.after}'.")
        elif row.what == "removed":
            told.append(f"{section}: removed '{row.before}'.")
    return told


def _rows(section: str, left: list[str], right: list[str], *, same: bool) -> list[Row]:
    if same:
        return [Row(section, one, one, "same") for one in left]
    paired = [Row(section, one, two, "changed") for one, two in zip(left, right, strict=False)]
    both = len(paired)
    return [*paired, *(Row(section, one, "", "removed") for one in left[both:]),
            *(Row(section, "", one, "added") for one in right[both:])]  # fmt: skip


def _codes(before: OperativeNote, after: OperativeNote) -> list[Row]:
    old, new = ([f"{code.code} {code.display}".strip() for code in note.codes] for note in (before, after))
    listed = [Row("codes", one, one if one in new else "", "same" if one in new else "removed") for one in old]
    return listed + [Row("codes", "", one, "added") for one in new if one not in old]
