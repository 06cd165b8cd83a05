"""Word documents: what every document of ours needs and python-docx does not do by itself.

Observed of the format (python-docx 1.2.0, Word and LibreOffice):
- The default template brings customXml/item1.xml, docProps/thumbnail.jpeg and word/stylesWithEffects.xml; the last two
  make Word offer a repair, and a second item1.xml would be a duplicate zip entry. They are dropped here.
- `w:tblHeader` stands without `w:val`; a table caption is `w:tblCaption` in `w:tblPr`, after `w:tblLook`.
- A bound content control needs a custom XML part with its itemProps part; the GUID is written with braces.
- Characters that XML 1.0 forbids raise ValueError in lxml; they are shown as U+FFFD.
- Zip time stamps and docProps/core.xml times are the only bytes that change between runs; both are fixed.
"""

from __future__ import annotations

import io
import re
import uuid
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from docx import Document
from docx.document import Document as DocumentObject
from docx.enum.table import WD_TABLE_ALIGNMENT
from docx.opc.packuri import PackURI
from docx.opc.part import Part
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Cm, Pt, RGBColor
from lxml import etree

NAMESPACE = "urn:vox-operandi:values:1"
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_RTL = re.compile("([\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff][\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff\\s]*)")
_CUSTOM_XML = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/customXml"
_CUSTOM_PROPS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/customXmlProps"
_DROPPED = ("stylesWithEffects", "customXml", "thumbnail")


def clean(text: str) -> str:
    """Text that XML can hold; each forbidden character becomes U+FFFD, so that nothing vanishes unseen."""
    return _FORBIDDEN.sub("\ufffd", text)


def new(title: str, *, language: str = "en-GB", size: int = 10) -> DocumentObject:
    """An empty document: clean package, title and language set, plain sans-serif styles of `size` points."""
    document = Document()
    _drop_ballast(document)
    document.core_properties.title = clean(title)[:255]  # the most that python-docx takes
    document.core_properties.language = language
    document.core_properties.author = "Vox Operandi"
    document.core_properties.comments = ""
    for name in ("Normal", "Title", "Heading 1", "Heading 2", "Header", "Footer"):
        font = document.styles[name].font
        font.name = "Liberation Sans"
        properties = document.styles[name].element.get_or_add_rPr()
        fonts = properties.get_or_add_rFonts()
        for theme in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
            fonts.attrib.pop(qn(f"w:{theme}"), None)
        for kind in ("ascii", "hAnsi", "cs", "eastAsia"):
            fonts.set(qn(f"w:{kind}"), "Liberation Sans")
        font.color.rgb = RGBColor(0, 0, 0)
    document.styles["Normal"].font.size = Pt(size)
    document.styles["Normal"].paragraph_format.space_after = Pt(3)
    document.styles["Title"].font.size = Pt(size * 2)
    document.styles["Heading 1"].font.size = Pt(size * 1.3)
    document.styles["Heading 1"].paragraph_format.space_before = Pt(size)
    document.styles["Heading 1"].paragraph_format.space_after = Pt(2)
    document.styles["Heading 1"].paragraph_format.keep_with_next = True
    set_language(document, language)
    section = document.sections[0]
    section.page_width, section.page_height = Cm(21), Cm(29.7)
    section.left_margin = section.right_margin = Cm(2)
    section.top_margin = section.bottom_margin = Cm(2)
    section.header_distance = section.footer_distance = Cm(1)
    section.header.paragraphs[0].paragraph_format.space_after = Pt(size)
    return document


def set_language(document: DocumentObject, language: str) -> None:
    """The language of the document's default run, for screen readers and spelling."""
    for lang in document.styles.element.iter(qn("w:lang")):
        lang.set(qn("w:val"), language)


def _drop_ballast(document: DocumentObject) -> None:
    for holder in (document.part, document.part.package):
        for ident, relation in list(holder.rels.items()):
            if any(word in relation.reltype for word in _DROPPED):
                del holder.rels[ident]


def write_text(paragraph: Any, text: str, *, bold: bool = False, italic: bool = False) -> list[Any]:
    """Appends cleaned text; stretches of a right-to-left script are runs of their own, marked so. Gives the runs."""
    runs = []
    for index, part in enumerate(_RTL.split(clean(text))):
        if not part and text:
            continue
        run = paragraph.add_run(part)
        run.bold, run.italic = bold or None, italic or None
        if index % 2:
            run.font.rtl = True
        runs.append(run)
    return runs


class Values:
    """The values of a document as a custom XML part, and content controls bound to them."""

    def __init__(self, document: DocumentObject, ident: str) -> None:
        self._document = document
        self._root = etree.Element(f"{{{NAMESPACE}}}values", nsmap={None: NAMESPACE})  # type: ignore[dict-item]
        self._guid = "{" + str(uuid.uuid5(uuid.NAMESPACE_URL, f"{NAMESPACE}:{ident}")).upper() + "}"
        self._count = 0

    def write(self, paragraph: Any, tag: str, alias: str, text: str) -> None:
        """Appends a plain-text content control that shows `text` and is bound to it."""
        self._count += 1
        value = etree.SubElement(self._root, f"{{{NAMESPACE}}}value", n=str(self._count), tag=clean(tag))
        value.text = clean(text)
        control = OxmlElement("w:sdt")
        properties = OxmlElement("w:sdtPr")
        for name, content in (("w:alias", alias[:60]), ("w:tag", tag[:60]), ("w:id", str(1000 + self._count))):
            element = OxmlElement(name)
            element.set(qn("w:val"), clean(content))
            properties.append(element)
        binding = OxmlElement("w:dataBinding")
        binding.set(qn("w:prefixMappings"), f"xmlns:v='{NAMESPACE}'")
        binding.set(qn("w:xpath"), f"/v:values[1]/v:value[{self._count}]")
        binding.set(qn("w:storeItemID"), self._guid)
        properties.append(binding)
        properties.append(OxmlElement("w:text"))
        control.append(properties)
        content_element = OxmlElement("w:sdtContent")
        for run in write_text(paragraph, text):
            content_element.append(run._r)
        control.append(content_element)
        paragraph._p.append(control)

    def attach(self) -> None:
        """Adds the custom XML part to the package; call once, at the end."""
        package = self._document.part.package
        store = etree.Element(
            "{http://schemas.openxmlformats.org/officeDocument/2006/customXml}datastoreItem",
            nsmap={"ds": "http://schemas.openxmlformats.org/officeDocument/2006/customXml"},
        )
        store.set("{http://schemas.openxmlformats.org/officeDocument/2006/customXml}itemID", self._guid)
        references = etree.SubElement(
            store, "{http://schemas.openxmlformats.org/officeDocument/2006/customXml}schemaRefs"
        )
        etree.SubElement(
            references, "{http://schemas.openxmlformats.org/officeDocument/2006/customXml}schemaRef"
        ).set("{http://schemas.openxmlformats.org/officeDocument/2006/customXml}uri", NAMESPACE)
        item = Part(PackURI("/customXml/item1.xml"), "application/xml", _xml(self._root), package)
        properties = Part(
            PackURI("/customXml/itemProps1.xml"),
            "application/vnd.openxmlformats-officedocument.customXmlProperties+xml",
            _xml(store),
            package,
        )
        item.relate_to(properties, _CUSTOM_PROPS)
        self._document.part.relate_to(item, _CUSTOM_XML)


def _xml(root: Any) -> bytes:
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True))


def table(
    document: Any, caption: str, header: Sequence[str], widths: Sequence[float], numeric: Iterable[int] = ()
) -> Any:
    """An empty table with a repeated header row and a caption for screen readers. `widths` in cm."""
    made = document.add_table(rows=1, cols=len(header))
    made.style = "Table Grid"
    made.alignment = WD_TABLE_ALIGNMENT.LEFT
    made.autofit = False
    for index, (title, width) in enumerate(zip(header, widths, strict=True)):
        made.columns[index].width = Cm(width)
        cell = made.rows[0].cells[index]
        cell.width = Cm(width)
        write_text(cell.paragraphs[0], title, bold=True)
        shade(cell, "E7E7E7")
    row = made.rows[0]._tr.get_or_add_trPr()
    row.append(OxmlElement("w:cantSplit"))
    row.append(OxmlElement("w:tblHeader"))
    describe(made, caption)
    return made


def describe(made: Any, caption: str) -> None:
    """The caption of a table, read by screen readers."""
    element = OxmlElement("w:tblCaption")
    element.set(qn("w:val"), clean(caption))
    made._tbl.tblPr.append(element)


def add_row(made: Any, widths: Sequence[float]) -> list[Any]:
    """A row that does not break across pages; returns its cells' first paragraphs."""
    row = made.add_row()
    row._tr.get_or_add_trPr().append(OxmlElement("w:cantSplit"))
    for cell, width in zip(row.cells, widths, strict=True):
        cell.width = Cm(width)
    return [cell.paragraphs[0] for cell in row.cells]


def shade(cell: Any, colour: str) -> None:
    properties = cell._tc.get_or_add_tcPr()
    shading = OxmlElement("w:shd")
    for name, value in (("val", "clear"), ("color", "auto"), ("fill", colour)):
        shading.set(qn(f"w:{name}"), value)
    properties.append(shading)


def box(document: Any, caption: str) -> Any:
    """A framed single cell for what must be seen first; returns the cell."""
    made = document.add_table(rows=1, cols=1)
    made.style = "Table Grid"
    describe(made, caption)
    properties = made._tbl.tblPr
    borders = OxmlElement("w:tblBorders")
    for side in ("top", "left", "bottom", "right"):
        border = OxmlElement(f"w:{side}")
        for name, value in (("val", "single"), ("sz", "18"), ("space", "0"), ("color", "000000")):
            border.set(qn(f"w:{name}"), value)
        borders.append(border)
    layout = properties.find(qn("w:tblLayout"))
    look = properties.find(qn("w:tblLook"))
    anchor = layout if layout is not None else look
    if anchor is not None:
        anchor.addprevious(borders)
    else:
        properties.append(borders)
    return made.rows[0].cells[0]


def page_number(paragraph: Any, field: str) -> None:
    """A PAGE or NUMPAGES field."""
    simple = OxmlElement("w:fldSimple")
    simple.set(qn("w:instr"), field)
    run = OxmlElement("w:r")
    text = OxmlElement("w:t")
    text.text = "1"
    run.append(text)
    simple.append(run)
    paragraph._p.append(simple)


def to_bytes(document: DocumentObject, made_at: str) -> bytes:
    """The package with fixed time stamps: the same document gives the same bytes."""
    moment = datetime.fromisoformat(made_at).astimezone(UTC).replace(tzinfo=None)
    for name in ("created", "modified"):
        setattr(document.core_properties, name, moment)
    document.core_properties.last_modified_by = "Vox Operandi"
    document.core_properties.revision = 1
    raw = io.BytesIO()
    document.save(raw)
    return repack(raw.getvalue())


def repack(content: bytes) -> bytes:
    """The same zip members in the same order with a fixed date."""
    fixed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new_zip:
        members: Mapping[str, bytes] = {name: old.read(name) for name in old.namelist()}
        for name in sorted(members, key=lambda item: (item != "[Content_Types].xml", item)):
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            new_zip.writestr(info, members[name])
    return fixed.getvalue()


__all__ = [
    "Values", "add_row", "box", "clean", "describe", "new", "page_number", "repack",
    "set_language", "shade", "table", "to_bytes", "write_text",
]  # fmt: skip
