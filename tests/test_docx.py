"""The Word documents: well formed by an independent checker, readable, accessible, bound, the same bytes each time."""

from __future__ import annotations

import io
import shutil
import subprocess
import zipfile
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from docx import Document
from docx.oxml.ns import qn
from lxml import etree

from pipeline import grammar, plugins, run
from pipeline.errors import BadTemplate
from pipeline.note import Amendment, Code, OperativeNote, Signature
from pipeline.records import Fact
from pipeline.site import Site

EPOCH = "2026-03-04T10:00:00+01:00"
NARRATION = (
    "Left hip arthroscopy. Surgeon is doctor Harper. Cefazolin two grams intravenously. "
    "First draw five millilitres, second draw four millilitres, total ten millilitres. "
    "Tourniquet pressure two hundred and fifty, correction, two hundred and eighty millimetres of mercury. "
    "Aftercare. Crutches for three weeks. Avoid ibuprofen for six weeks. Follow up in two weeks."
)


@pytest.fixture(scope="module")
def note() -> OperativeNote:
    return run.note_from_text(NARRATION, made_at=EPOCH)


def made(note: OperativeNote, name: str = "docx", site: Site | None = None) -> bytes:
    module = plugins.find("pipeline.exports", name)
    return module.write(note, grammar.load(), site or Site(), {})


def text_of(content: bytes) -> str:
    """All text of the body, tables and content controls included, in order."""
    root = etree.fromstring(zipfile.ZipFile(io.BytesIO(content)).read("word/document.xml"))
    return "\n".join("".join(item.text or "" for item in line.iter(qn("w:t"))) for line in root.iter(qn("w:p")))


def nasty(note: OperativeNote) -> OperativeNote:
    """The note with what documents choke on: control characters, right-to-left names, emoji, 200 draws, long text."""
    evidence = note.facts[0].evidence
    name = "\u05d3\u05e0\u05d4 \u05db\u05d4\u05df \U0001f600\x00\x0b"
    extra = [Fact(kind="patient_name", id="x0", text=name, evidence=evidence)]
    extra += [Fact(kind="draw", id=f"x{n}", value=Decimal("2.50"), unit="mL", evidence=evidence) for n in range(1, 201)]
    first, *others = note.sections.description
    long = first.model_copy(update={"text": "word & <tag> \x01 " * 3000})
    sections = note.sections.model_copy(update={"description": [long, *others]})
    return note.model_copy(update={"facts": [*note.facts, *extra], "sections": sections})


@pytest.mark.parametrize("name", ["docx", "aftercare"])
@pytest.mark.parametrize("shape", ["plain", "nasty", "signed"])
def test_independent_checker_finds_nothing(note: OperativeNote, name: str, shape: str, tmp_path: Path) -> None:
    """openxml-audit 0.8.0, an independent checker of Open XML packages."""
    from openxml_audit import OpenXmlValidator

    signed = note.model_copy(
        update={"state": "signed", "signature": Signature(by="Dr. Harper", at=EPOCH, statement="Checked and signed.")}
    )
    path = tmp_path / "note.docx"
    path.write_bytes(made({"plain": note, "nasty": nasty(note), "signed": signed}[shape], name))
    result = OpenXmlValidator().validate(str(path))
    assert result.is_valid, [str(error) for error in result.errors]
    Document(str(path))


def test_checker_sees_a_planted_fault(note: OperativeNote, tmp_path: Path) -> None:
    from openxml_audit import OpenXmlValidator

    path = tmp_path / "broken.docx"
    with zipfile.ZipFile(io.BytesIO(made(note))) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "word/document.xml":
                content = content.replace(b"<w:tblHeader/>", b"<w:notAnElement/>", 1)
            new.writestr(name, content)
    assert not OpenXmlValidator().validate(str(path)).is_valid


def test_same_note_same_bytes(note: OperativeNote) -> None:
    for name in ("docx", "aftercare"):
        assert made(note, name) == made(note, name)
        again = OperativeNote.model_validate_json(note.to_json())
        assert made(again, name) == made(note, name)


def test_findings_stand_on_top_while_unsigned(note: OperativeNote) -> None:
    lines = text_of(made(note)).splitlines()
    box = next(index for index, line in enumerate(lines) if "To settle before signing" in line)
    assert "DRAFT, not signed" in "\n".join(lines[:box])
    assert box < next(index for index, line in enumerate(lines) if line.startswith("Description"))
    assert any("5 + 4 = 9 mL" in line for line in lines)
    signed = note.model_copy(
        update={"state": "signed", "signature": Signature(by="Dr. Harper", at=EPOCH, statement="Checked and signed.")}
    )
    text = text_of(made(signed))
    assert "To settle before signing" not in text
    assert "Signed by Dr. Harper" in text


def test_values_correction_and_doubt_are_shown(note: OperativeNote) -> None:
    text = text_of(made(note))
    for words in ("280 mmHg", "2 g", "5 mL", "10 mL"):
        assert words in text
    assert "taken back: “two hundred and fifty" in text
    doubtful = note.model_copy(
        update={"facts": [
            replace(fact, doubts=("heard as fifteen",)) for fact in note.facts
        ]}
    )  # fmt: skip
    assert "[unsure: heard as fifteen]" in text_of(made(doubtful))


def test_accessible(note: OperativeNote) -> None:
    """Headings, repeated header rows, captions, language and title, as screen readers need them (ISO 29500 names)."""
    document = Document(io.BytesIO(made(note)))
    assert document.core_properties.title.startswith("Operative note")
    assert document.core_properties.language == "en-GB"
    headings = [paragraph.text for paragraph in document.paragraphs if paragraph.style.name == "Heading 1"]
    assert headings.index("Procedures") < headings.index("Description of the procedure") < headings.index("Signature")
    for table in document.tables:
        assert table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val"))
        if len(table.columns) > 1:
            header = table.rows[0]._tr.trPr.find(qn("w:tblHeader"))
            assert header is not None
            assert not header.attrib


def test_content_controls_are_bound_to_the_values(note: OperativeNote) -> None:
    package = zipfile.ZipFile(io.BytesIO(made(note)))
    assert len(package.namelist()) == len(set(package.namelist()))
    values = etree.fromstring(package.read("customXml/item1.xml"))
    store = etree.fromstring(package.read("customXml/itemProps1.xml"))
    (guid,) = [value for name, value in store.attrib.items() if name.endswith("itemID")]
    body = etree.fromstring(package.read("word/document.xml"))
    controls = list(body.iter(qn("w:sdt")))
    assert len(controls) > 5
    for control in controls:
        binding = control.find(f".//{qn('w:dataBinding')}")
        assert binding.get(qn("w:storeItemID")) == guid
        (bound,) = values.xpath(binding.get(qn("w:xpath")), namespaces={"v": values.nsmap[None]})
        assert bound.text == "".join(item.text or "" for item in control.iter(qn("w:t")))


def test_aftercare_holds_only_what_was_said(note: OperativeNote) -> None:
    text = text_of(made(note, "aftercare"))
    assert "3 weeks" in text
    assert "2 weeks" in text
    assert "buprofen" in text.split("What to avoid")[1].split("Medicines to take")[0]
    assert "Nothing was said about this" in text.split("Come back at once for")[1]
    assert "efazolin" not in text
    assert "A clinician must check this sheet" in text


def template(folder: Path, *lines: str) -> Site:
    document = Document()
    for line in lines:
        document.add_paragraph(line)
    document.save(str(folder / "own.docx"))
    return Site(template=folder / "own.docx")


def test_hospital_template(note: OperativeNote, tmp_path: Path) -> None:
    own = template(tmp_path, "St. Elsewhere", "Op: {{ procedure }}", "{{ section_medicines }}")
    text = text_of(made(note, site=own))
    assert text.index("To settle before signing") < text.index("St. Elsewhere") < text.index("efazolin")
    assert "arthroscopy" in text.lower()
    assert "280 mmHg" in text.split("without a place in the template")[1]


@pytest.mark.parametrize("line", ["{{ unknown_place }}", "{{ procedure", "{% for %}", "{{ procedure.__class__ }}"])
def test_bad_template_says_what_is_wrong(note: OperativeNote, tmp_path: Path, line: str) -> None:
    with pytest.raises(BadTemplate):
        made(note, site=template(tmp_path, line))


def test_template_that_is_no_docx(note: OperativeNote, tmp_path: Path) -> None:
    (tmp_path / "own.docx").write_bytes(b"no zip")
    with pytest.raises(BadTemplate):
        made(note, site=Site(template=tmp_path / "own.docx"))


@pytest.mark.slow
@pytest.mark.skipif(not (shutil.which("soffice") and shutil.which("pdftotext")), reason="needs LibreOffice and poppler")
@pytest.mark.parametrize("name", ["docx", "aftercare"])
def test_libreoffice_renders_it(note: OperativeNote, name: str, tmp_path: Path) -> None:
    (tmp_path / "note.docx").write_bytes(made(nasty(note), name))
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to", "pdf", "--outdir",
         str(tmp_path), str(tmp_path / "note.docx")], check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    shown = subprocess.run(["pdftotext", str(tmp_path / "note.pdf"), "-"], check=True, capture_output=True, text=True)
    assert ("Operative note" if name == "docx" else "After your operation") in shown.stdout
    if name == "docx":
        assert shown.stdout.count("2.50 mL") == 200


def test_amended_note_says_what_it_changes_and_carries_the_coder_s_codes(note: OperativeNote) -> None:
    from pipeline.fhir import bundle

    (procedure,) = note.of("procedure")
    amended = note.model_copy(
        update={
            "state": "amended",
            "version": 2,
            "amendment": Amendment(
                version=1, by="Dr. Harper", at=EPOCH, reason="dose misheard", changes=["2 g -> 1 g"]
            ),
            "codes": [Code(system="http://hl7.org/fhir/sid/icd-10-cm", code="M24.852", facts=[procedure.id])],
        }
    )
    text = text_of(made(amended))
    assert "Amends version 1: dose misheard (Dr. Harper" in text
    assert "2 g -> 1 g" in text
    document = bundle.to_bytes(bundle.document(amended, grammar.load(), Site(), None)).decode()
    assert '"M24.852"' in document
    assert "Amends version 1: dose misheard" in document
