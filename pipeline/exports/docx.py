"""The operative note as a Word document (`note.docx`), in the usual order of sections.

Prose comes from the note's sections; numbers with units stand aligned in tables (medicines, draws, devices, times).
While the note is unsigned, a framed box on top lists what must be settled. Doubt is said in words ("[unsure: ...]"),
never by colour alone. Every value is a content control bound to a custom XML part. What was never said is listed as
such; nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pipeline import word
from pipeline.assemble import display
from pipeline.grammar import Grammar
from pipeline.note import Entry, OperativeNote, Passage
from pipeline.records import Fact
from pipeline.site import Site
from pipeline.wording import CAUTION, MARKS, STATES, asides, doubts, patient_line, procedure_line, state

FILE = "note.docx"
MEANING = "The operative note as a Word document, with a findings box on top while unsigned."
NEEDS: tuple[str, ...] = ()

# (heading, sections under it, in the usual order of an operative note)
_ORDER: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Patient and team", ("identity", "team")),
    ("Diagnoses", ("diagnoses",)),
    ("Procedures", ("procedures",)),
    ("Indication and consent", ("indication", "consent")),
    ("Anaesthesia, position and approach", ("anaesthesia", "position", "preparation", "approach")),
    ("Findings", ("findings", "measurements")),
    ("Description of the procedure", ("description",)),
    ("Medicines and fluids", ("medicines", "fluids")),
    ("Marrow or graft harvest", ("harvest",)),
    ("Injection", ("injection",)),
    ("Devices, sutures and closure", ("devices", "sutures")),
    ("Blood loss", ("blood_loss",)),
    ("Specimens and drains", ("specimens", "drains")),
    ("Times and tourniquet", ("times", "tourniquet")),
    ("Counts and complications", ("counts", "complications")),
    ("Disposition", ("disposition",)),
    ("Aftercare", ("aftercare",)),
)
_Column = tuple[str, tuple[str, ...], float]
# Tables: section -> (caption, columns of (title, kinds, width in cm), the kind that anchors a row)
_TABLES: dict[str, tuple[str, tuple[_Column, ...]]] = {
    "medicines": ("Medicines given, with strength, dose and volume", (
        ("Medicine", ("medication",), 4.2), ("Strength", ("medication_concentration", "adrenaline_ratio"), 3.2),
        ("Dose", ("medication_dose", "medication_rate"), 2.6), ("Volume", ("medication_volume",), 2.2),
        ("Route", ("medication_route",), 2.4), ("State", (), 2.4))),
    "harvest": ("Draws of the harvest", (
        ("Draw", (), 4.2), ("Volume", ("draw",), 3.2), ("Depth", ("harvest_depth",), 3.2), ("State", (), 2.4))),
    "devices": ("Devices and implants", (
        ("Device", ("device",), 4.2), ("Size", ("device_size",), 2.6), ("Count", ("device_count",), 1.6),
        ("Lot, serial, UDI, expiry", ("device_lot", "device_serial", "device_udi", "device_expiry"), 6.2),
        ("State", (), 2.4))),
    "times": ("Times", (("Event", (), 6.0), ("Time", ("clock_time", "date", "duration"), 4.0), ("State", (), 2.4))),
}  # fmt: skip
_ANCHORS = {
    "medicines": ("medication",),
    "harvest": ("draw",),
    "devices": ("device",),
    "times": ("clock_time", "date", "duration"),
}


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """The DOCX bytes; the same note and site give the same bytes. Raises BadTemplate for a bad template."""
    if site.template is not None:
        from pipeline import word_template

        return word_template.fill(note, grammar, site)
    return _Writer(note, grammar, site).write()


class _Writer:
    def __init__(self, note: OperativeNote, grammar: Grammar, site: Site) -> None:
        self.note, self.grammar, self.site = note, grammar, site
        self.document = word.new(f"Operative note: {procedure_line(note, grammar) or 'procedure not said'}")
        self.values = word.Values(self.document, note.id)
        self.facts = {fact.id: fact for fact in note.facts}

    def write(self) -> bytes:
        self._margins()
        self._head()
        sections = dict(self.note.sections.items())
        empty: list[str] = []
        for heading, names in _ORDER:
            filled = [name for name in names if sections[name]]
            if not filled:
                empty.append(heading)
                continue
            self.document.add_heading(heading, level=1)
            for name in filled:
                self._section(name, sections[name], labelled=len(names) > 1)
        if empty:
            self.document.add_heading("Not said", level=1)
            word.write_text(self.document.add_paragraph(), "; ".join(empty) + ".")
        self._signature()
        self.values.attach()
        return word.to_bytes(self.document, self.note.made_at)

    def _margins(self) -> None:
        section = self.document.sections[0]
        word.write_text(section.header.paragraphs[0], patient_line(self.site, self.note))
        footer = section.footer.paragraphs[0]
        state_line = f"{STATES[self.note.state]} · version {self.note.version}"
        word.write_text(footer, f"{state_line} · note {self.note.id} · page ")
        word.page_number(footer, "PAGE")
        word.write_text(footer, " of ")
        word.page_number(footer, "NUMPAGES")

    def _head(self) -> None:
        self.document.add_paragraph(style="Title")
        word.write_text(self.document.paragraphs[-1], "Operative note")
        line = self.document.add_paragraph()
        word.write_text(line, f"{STATES[self.note.state]} · version {self.note.version}", bold=True)
        word.write_text(line, f" · made {self.note.made_at} from {self.note.source.name} ({self.note.source.engine})")
        word.write_text(self.document.add_paragraph(), CAUTION, italic=True)
        amendment = self.note.amendment
        if amendment is not None:
            line = self.document.add_paragraph()
            word.write_text(line, f"Amends version {amendment.version}", bold=True)
            word.write_text(line, f": {amendment.reason} ({amendment.by}, {amendment.at}). ")
            word.write_text(line, "; ".join(amendment.changes))
        if self.note.signature is None:
            self._box()

    def _box(self) -> None:
        findings = self.note.open_findings()
        cell = word.box(self.document, "What must be settled before signing")
        word.write_text(cell.paragraphs[0], "To settle before signing" if findings else "Nothing open", bold=True)
        for finding in findings:
            paragraph = cell.add_paragraph()
            word.write_text(paragraph, f"[{MARKS[finding.severity]}] ", bold=True)
            word.write_text(paragraph, finding.message)
            if finding.arithmetic:
                word.write_text(paragraph, f" ({finding.arithmetic})")
            if finding.ask:
                word.write_text(paragraph, f" {finding.ask}", italic=True)

    def _section(self, name: str, entries: Sequence[Entry | Passage], labelled: bool) -> None:
        shown = self._table(name) if name in _TABLES else frozenset()
        paragraph, under = None, ""
        for entry in entries:
            if isinstance(entry, Passage):
                if paragraph is None or entry.section != under:
                    paragraph, under = self.document.add_paragraph(), entry.section
                self._passage(paragraph, entry)
            elif not shown.issuperset(entry.facts):
                self._entry(entry)

    def _entry(self, entry: Entry) -> None:
        paragraph = self.document.add_paragraph(style="List Bullet")
        self.values.write(paragraph, "+".join(entry.facts), self._alias(entry.facts), entry.text)
        self._doubt(paragraph, [*entry.doubts, *doubts([self.facts[ident] for ident in entry.facts])])
        for ident in entry.facts:
            for piece in self.facts[ident].taken_back:
                word.write_text(paragraph, f" [corrected while speaking; taken back: “{piece.heard}”]", italic=True)

    def _passage(self, paragraph: Any, passage: Passage) -> None:
        word.write_text(paragraph, passage.text)
        for aside in asides(passage):
            word.write_text(paragraph, f" [{aside}]", italic=True)
        word.write_text(paragraph, " ")

    def _alias(self, idents: Iterable[str]) -> str:
        return self.grammar.label("kinds", self.facts[next(iter(idents))].kind)

    def _doubt(self, paragraph: Any, doubts: Iterable[str]) -> None:
        reasons = list(dict.fromkeys(doubts))
        if reasons:
            word.write_text(paragraph, f" [unsure: {'; '.join(reasons)}]", bold=True)

    def _table(self, name: str) -> frozenset[str]:
        """Writes the table of a section; gives the ids of the facts that it shows."""
        caption, columns = _TABLES[name]
        rows = self.note.of(*_ANCHORS[name])
        if not rows:
            return frozenset()
        widths = [width for _, _, width in columns]
        made = word.table(self.document, caption, [title for title, _, _ in columns], widths)
        shown: set[str] = set()
        for row in rows:
            group = self.note.group(row)
            cells = word.add_row(made, widths)
            for index, (title, kinds, _) in enumerate(columns):
                if title == "State":
                    word.write_text(cells[index], state(group))
                    self._doubt(cells[index], doubts(group))
                elif not kinds:
                    name = row.name or self._alias([row.id])
                    word.write_text(cells[index], name.replace("-", " ").replace("_", " "))
                else:
                    here = [row] if row.kind in kinds else [fact for fact in group if fact.kind in kinds]
                    self._cell(cells[index], here)
                    shown.update(fact.id for fact in here)
        word.write_text(self.document.add_paragraph(), "")
        return frozenset(shown)

    def _cell(self, paragraph: Any, facts: Sequence[Fact]) -> None:
        for position, fact in enumerate(facts):
            if position:
                word.write_text(paragraph, ", ")
            self.values.write(paragraph, fact.id, self._alias([fact.id]), display(fact, self.grammar))

    def _signature(self) -> None:
        self.document.add_heading("Signature", level=1)
        paragraph = self.document.add_paragraph()
        if self.note.signature is None:
            word.write_text(paragraph, "Not signed. Name: ____________________  Time: ____________________")
        else:
            signed = self.note.signature
            word.write_text(paragraph, f"{signed.statement} Signed by {signed.by}, {signed.at}.")

