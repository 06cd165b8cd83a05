"""Notes made by hand for tests, fact by fact: no recogniser and no extractor has a part in them.

    told = Telling()
    told.say("blood_loss", value="20", unit="mL")
    note = told.note()

`NOTES` names all of them; the people are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from itertools import product
from typing import Any

from pipeline import grammar
from pipeline.assemble import assemble
from pipeline.note import OperativeNote, Passage, Signature, Source
from pipeline.records import Evidence, Fact, Finding, Reading, Revision
from pipeline.rows import Kind

ARABIC, HEBREW, EMOJI = "أحمد بن يوسف", "נועה לוי-כהן", "🩹👩🏽‍⚕️ splint 🦴"
CONTROL = "tab\tbell\x07null\x00 escape\x1b[31m separator\x1f delete\x7f next\x85 lone\ud800 last\uffff"
MARKUP = 'less < than & more > than "quoted" <script>alert(1)</script> ]]> <!-- --> &amp; {{ braces }} | ^ ~ \\ #'


class Telling:
    """Collects facts in the order said; word ids and times go up by themselves."""

    def __init__(self) -> None:
        self.facts: list[Fact] = []
        self.passages: list[Passage] = []

    def say(self, kind: str, heard: str = "", **fields: Any) -> Fact:
        """A fact; numbers may be given as text ("2.50"). Gives the fact with its id."""
        for name in ("value", "low", "high"):
            if isinstance(fields.get(name), str):
                fields[name] = Decimal(fields[name])
        first = 10 * len(self.facts)
        heard = heard or " ".join(str(fields[name]) for name in ("value", "unit", "name", "text") if fields.get(name))
        evidence = Evidence(first, first + 3, float(first), first + 2.5, heard or kind, 0.91)
        fact = Fact(kind, fields.pop("evidence", evidence), id=f"f{len(self.facts) + 1:03d}", **fields)
        self.facts.append(fact)
        return fact

    def tell(self, text: str) -> None:
        """A sentence of the description."""
        self.passages.append(Passage(text=text, evidence=Evidence(0, 3, 0.0, 2.5, text)))

    def note(self, **fields: Any) -> OperativeNote:
        sections = assemble(self.facts, Reading((), ()), grammar.load())
        sections.description.extend(self.passages)
        given: dict[str, Any] = {
            "id": "3f0c8a52-7a0e-5c7e-9a65-0d1e2f3a4b5c",
            "made_at": "2026-03-02T11:40:00+00:00",
            "profile": "us",
            "source": Source(kind="text", name="told.txt", sha256="ab" * 32, engine="typed"),
            "facts": self.facts,
            "sections": sections,
        }
        return OperativeNote(**{**given, **fields})


def empty() -> OperativeNote:
    """Nothing was said that became a fact."""
    return Telling().note()


def hip() -> OperativeNote:
    """A whole operation: marrow into a left femoral head, taken from the right iliac crest, with a talking surgeon."""
    told = Telling()
    say = told.say
    say("patient_name", text="Tobias Lind")
    say("patient_age", value="58", unit="a")
    say("patient_sex", name="male")
    say("patient_weight", value="81.0", unit="kg")
    say("team_member", name="surgeon", text="Doctor Amara Obi")
    say("team_member", name="assistant", text="Doctor Pell")
    say("team_member", name="anaesthetist", text="Doctor Quist")
    say("date", text="2026-03-02")
    say("clock_time", name="in_room", text="08:10")
    say("clock_time", name="incision", text="08:42")
    say("clock_time", name="closure", text="09:31")
    say("duration", name="fluoroscopy", value="48", unit="s")
    say("indication", text="pain in the groin for a year")
    say("consent", text="written consent")
    say("preop_diagnosis", name="avascular-necrosis", text="avascular necrosis", laterality="left", body_site="hip")
    say("postop_diagnosis", name="same", text="same")
    say("procedure", name="core-decompression", text="core decompression", laterality="left", body_site="hip")
    say("procedure", name="total-hip-replacement", text="hip replacement", laterality="left", status="conditional")
    say("act", name="drilling", text="drilling", laterality="left", body_site="hip")
    say("anaesthesia", name="general", text="general anaesthesia")
    say("position", name="supine", text="supine")
    say("medication", name="cefazolin", group="g1", role="prophylaxis")
    say("medication_dose", name="cefazolin", group="g1", value="2", unit="g", role="prophylaxis")
    say("medication_route", name="cefazolin", group="g1", text="intravenous")
    say("clock_time", name="antibiotic", text="08:20", group="g1")
    say("medication", name="bupivacaine", group="g2", role="local_anaesthetic")
    say("medication_concentration", name="bupivacaine", group="g2", value="0.25", unit="%")
    say("medication_volume", name="bupivacaine", group="g2", value="20.0", unit="mL")
    say("medication_dose", name="bupivacaine", group="g2", value="50", unit="mg")
    say("adrenaline_ratio", name="bupivacaine", group="g2", value="200000", unit="1")
    say("medication", name="heparin", group="g3", role="anticoagulant")
    say("medication_concentration", name="heparin", group="g3", value="1000", unit="[USP'U]/mL")
    say("medication_volume", name="heparin", group="g3", value="2", unit="mL")
    say("medication", name="tranexamic-acid", group="g4", certainty="negated")
    say("medication", name="ketorolac", group="g5", role="prepared")
    say("medication_dose", name="ketorolac", group="g5", value="30", unit="mg", role="prepared")
    say("harvest_site", name="iliac-crest", text="iliac crest", laterality="right")
    say("harvest_needle", value="11", unit="{gauge}")
    say("draw", name="first", value="4.50", unit="mL", group="g6")
    say("harvest_depth", value="1", unit="cm", group="g6")
    say("draw", name="second", value="5", unit="mL")
    say("draw_count", value="2")
    say("harvest_total", value="9.50", unit="mL")
    say("processing", name="filtration", text="filtered")
    say("injection", name="bone-marrow-aspirate", laterality="left", body_site="hip", group="g7")
    say("injection_volume", name="bone-marrow-aspirate", value="8", unit="mL", laterality="left", group="g7")
    say("discarded_volume", value="1.50", unit="mL")
    say("finding", name="sclerotic-bone", text="sclerotic bone", laterality="left", body_site="hip")
    say("finding", name="collapse", text="collapse", certainty="negated")
    say("finding", name="soft-spot", text="soft spot", certainty="suspected")
    say("grade", name="ficat", text="II", value="2")
    say("measurement", name="tip-apex-distance", low="8", high="10", unit="mm")
    say("device", name="kirschner-wire", text="guide wire", group="g8", role="used")
    say("device_size", name="kirschner-wire", value="2.0", unit="mm", group="g8")
    say(
        "device",
        name="cannulated-screw",
        text="screw",
        group="g9",
        role="implanted",
        laterality="left",
        body_site="hip",
    )
    say("device_size", name="cannulated-screw", value="6.50", unit="mm", group="g9")
    say("device_count", name="cannulated-screw", value="1", group="g9")
    say("device_lot", name="cannulated-screw", text="LX-2094", group="g9")
    say("device_serial", name="cannulated-screw", text="000712", group="g9")
    say("device_udi", name="cannulated-screw", text="(01)09501101530003(17)280131(10)LX-2094", group="g9")
    say("device_expiry", name="cannulated-screw", text="2028-01-31", group="g9")
    say("suture", name="nylon", text="3-0", body_site="skin")
    say("specimen", name="bone", text="bone core to pathology", laterality="left", group="g10")
    say("specimen_count", name="bone", value="1", group="g10")
    say("drain", name="none", text="none", certainty="negated")
    say("blood_loss", value="20.50", unit="mL", comparator="~")
    say("count", name="needle", text="correct")
    say("complication", name="none", text="none", certainty="negated")
    say("disposition", name="recovery-room", text="recovery room")
    say("aftercare", name="crutches", text="crutches", value="6", unit="wk", status="planned")
    say("aftercare", name="avoid-impact", text="running", role="avoid", value="3", unit="mo", status="planned")
    say("medication", name="ibuprofen", group="g11", role="avoid", status="planned")
    say("duration", name="ibuprofen", group="g11", value="4", unit="wk", role="avoid", status="planned")
    say("follow_up", value="2", unit="wk", status="planned")
    say("warning_sign", text="fever or calf pain", status="planned")
    say("next_step", text="repeat the MRI if pain lasts", status="conditional")
    told.tell("The left hip was prepared and draped.")
    told.tell("The needle went to a depth of less than 3 cm & the flow was > 1 mL/s.")
    return told.note(
        family=None,
        findings=[
            Finding("totals", "warning", "The volumes do not add up.", key="totals:1", arithmetic="8 + 1.5 = 9.5"),
            Finding("completeness", "note", "Settled.", key="c", settled="said on paper"),
        ],
    )


def every_kind() -> OperativeNote:
    """Every kind of fact in every status, certainty and side, with a value of each shape its kind may have."""
    told = Telling()
    rules = grammar.load()
    shapes: list[dict[str, Any]] = [
        {"value": "2.50"}, {"low": "2.0", "high": "3.50"}, {"value": "20", "comparator": "<"},
        {"value": "20", "comparator": "~"}, {"value": "0.005", "unit": None}, {"text": "minimal"}, {},
    ]  # fmt: skip
    statuses = ("performed", "planned", "conditional", "historical", "other_person")
    certainties = ("affirmed", "negated", "suspected")
    sides = (None, "left", "right", "bilateral")
    combinations = list(product(statuses, certainties, sides))
    for position, (ident, kind) in enumerate(rules.table("kinds", Kind).items()):
        names = sorted(rules.tables.get(kind.table, {})) or [None]
        unit = _unit(kind)
        for turn in range(12):
            status, certainty, side = combinations[(position * 7 + turn * 5) % len(combinations)]
            shape = dict(shapes[turn % len(shapes)]) if kind.value in ("quantity", "count") else {"text": "as said"}
            if "value" in shape or "low" in shape:
                shape.setdefault("unit", unit)
            if kind.value == "clock":
                shape = {"text": ("14:05", "2026-03-02", "in the morning")[turn % 3]}
            told.say(
                ident, name=names[turn % len(names)], status=status, certainty=certainty, laterality=side,
                group=f"g{position}-{turn % 4}" if turn % 2 else None,
                doubts=("the recording was noisy",) if turn % 5 == 0 else (),
                alternatives=("fifteen",) if turn % 6 == 0 else (),
                scale=("each", "per_side", "total", None)[turn % 4], **shape,
            )  # fmt: skip
    return told.note()


def _unit(kind: Kind) -> str | None:
    usual = {"time": "min", "mass": "mg", "amount": "[USP'U]", "volume": "mL", "length": "mm", "gauge": "{gauge}",
             "pressure": "mm[Hg]", "fraction": "%", "ratio": "1", "rate": "mL/h", "concentration": "[USP'U]/mL",
             "french": "[Ch]", "turns": "{turn}", "angle": "deg", "area": "cm2"}  # fmt: skip
    return next((usual[dimension] for dimension in kind.dimensions if dimension in usual), None)


def doubtful() -> OperativeNote:
    """Side, drug, dose, volume, count and time each unsure."""
    told = Telling()
    unsure = {"doubts": ("two readings of the sound",)}
    told.say("procedure", name="hernia-repair", text="hernia repair", laterality="left", alternatives=("right",))
    told.say("medication", name="heparin", group="g1", **unsure)
    told.say("medication_dose", name="heparin", group="g1", value="5000", unit="[USP'U]", alternatives=("50000",))
    told.say("blood_loss", low="15", high="50", unit="mL", **unsure)
    told.say("count", name="swab", text="correct", **unsure)
    told.say("clock_time", name="incision", text="08:15", alternatives=("08:50",))
    told.say("preop_diagnosis", name="hernia", text="hernia", certainty="suspected")
    told.say("complication", name="bleeding", text="bleeding", certainty="suspected")
    told.say("harvest_total", value="15", unit=None, taken_back=(Evidence(1, 2, 1.0, 2.0, "fifty"),))
    return told.note()


def odd_text() -> OperativeNote:
    """Right-to-left names, emoji, control characters, markup, and sentences without end."""
    told = Telling()
    told.say("patient_name", text=ARABIC)
    told.say("team_member", name="surgeon", text=f"{HEBREW} {EMOJI}")
    told.say("team_member", name="assistant", text=MARKUP)
    told.say("procedure", text=MARKUP, laterality="left", body_site=CONTROL.replace("\ud800", ""))
    told.say("finding", text=EMOJI + " finding")
    told.say("complication", text=CONTROL.replace("\ud800", ""))
    told.say("aftercare", text=MARKUP, status="planned")
    told.say("device_lot", text="\u202eRTL\u202c 12&34|5^6")
    told.say("history", text="and then " * 20000)
    told.say("blood_loss", text="\x00\x07")
    told.tell(MARKUP * 3)
    told.tell(f"{ARABIC} {CONTROL.replace(chr(0xD800), '')} {HEBREW}")
    told.tell("The narration went on and on. " * 4000)
    return told.note()


def many_draws(count: int = 200) -> OperativeNote:
    """A harvest of very many draws."""
    told = Telling()
    told.say("procedure", name="bone-marrow-aspiration", text="bone marrow aspiration", laterality="right")
    for index in range(count):
        group = f"g{index}"
        told.say("draw", name=str(index + 1), value=f"{1 + index % 4}.{index % 10}0", unit="mL", group=group)
        told.say("harvest_depth", value=str(index % 5 + 1), unit="cm", group=group)
    told.say("draw_count", value=str(count))
    return told.note()


def signed(note: OperativeNote) -> OperativeNote:
    return note.model_copy(
        update={
            "state": "signed",
            "signature": Signature(by="Dr Amara Obi", at="2026-03-02T12:05:00+00:00", statement="Read and correct."),
        }
    )


def amended(note: OperativeNote) -> OperativeNote:
    decision = Revision("f001", "correct", "Dr Amara Obi", "2026-03-03T09:00:00+00:00", "text", "a", "b", "misheard")
    return signed(note).model_copy(update={"state": "amended", "version": 2, "decisions": [decision]})


def reviewed(note: OperativeNote) -> OperativeNote:
    """Signed by the surgeon after somebody else had decided."""
    decision = Revision("f001", "accept", "Cem Aydin", "2026-03-02T11:05:00+00:00", "text", "a", "a", "")
    return signed(note).model_copy(update={"decisions": [decision]})


def with_facts(note: OperativeNote, **changes: Any) -> OperativeNote:
    """The note with fields of every fact changed."""
    return note.model_copy(update={"facts": [replace(fact, **changes) for fact in note.facts]})


NOTES: dict[str, Callable[[], OperativeNote]] = {
    "empty": empty,
    "hip": hip,
    "every_kind": every_kind,
    "doubtful": doubtful,
    "odd_text": odd_text,
    "many_draws": many_draws,
}
