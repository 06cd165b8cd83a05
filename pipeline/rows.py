"""The typed rows of grammars/. A table without a model of its own here holds `Concept` rows.

Every row carries `source` (where its content is from; "common practice, no source" is a source) and
`examples`, sentences in which the row must be found, run by tests/test_grammars.py; `not_examples` are
sentences in which it must not be found.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class Row(BaseModel):
    """What every row has. `say`: phrases as spoken, lower case; `label`: as written in a note. `short`: those of `say`
    that mean the row only in a narration of operations of the groups `told_in` (of procedures.toml): "cup"."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9_.-]*$")
    label: str = ""
    meaning: str = ""
    say: tuple[str, ...] = ()
    source: str = Field(min_length=3)
    examples: tuple[str, ...] = ()
    not_examples: tuple[str, ...] = ()
    decided_by: str = ""
    short: tuple[str, ...] = ()
    told_in: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return self.label or self.id.replace("-", " ").replace("_", " ")


class Concept(Row):
    """A thing with a name. `group`: a coarser class; `sided`: it has a left and a right; `within`: parent id;
    `site`: row of sites.toml that the words imply (carpal tunnel release -> carpal-tunnel); `capitals`: short names
    of one word, lower case here, that count only where they are written in capitals ("SAD")."""

    group: str = ""
    sided: bool = False
    side: Literal["left", "right", "bilateral"] | None = None
    within: str = ""
    site: str = ""
    capitals: tuple[str, ...] = ()
    codes: dict[str, str] = {}


class Kind(Row):
    """A kind of fact. `dimensions`: what its unit may measure; `value`: what its value is."""

    section: str
    value: Literal["quantity", "count", "concept", "text", "clock", "code", "grade"]
    dimensions: tuple[str, ...] = ()
    table: str = ""


class Drug(Row):
    """`dose_units`: usual UCUM units of a dose; `strengths`: usual concentrations ("1000 [USP'U]/mL", "0.5 %")."""

    classes: tuple[str, ...]
    dose_units: tuple[str, ...] = ()
    strengths: tuple[str, ...] = ()
    routes: tuple[str, ...] = ()


class Unit(Row):
    """`ucum`: code in the note; `dimension`: what it measures; `written`: abbreviations as typed (case kept)."""

    ucum: str
    dimension: str
    written: tuple[str, ...] = ()


class Suture(Row):
    """`usual_sizes`: USP sizes as sold ("3-0"); `absorbable`: None where it depends."""

    absorbable: bool | None = None
    usual_sizes: tuple[str, ...] = ()


class Device(Row):
    """`implant`: stays in the patient; `sizes`: UCUM units or "Fr", "gauge" of its usual size."""

    group: str = ""
    implant: bool = False
    sizes: tuple[str, ...] = ()


class Grade(Row):
    """A named grading system. `levels`: canonical levels in order; `of`: what it grades; `sites`: the only parts of
    the body that it is said of (rows of sites.toml)."""

    levels: tuple[str, ...]
    of: str = ""
    sites: tuple[str, ...] = ()


class ContextRule(Row):
    """A cue that changes status or certainty. `direction`: the words it governs lie after, before or both;
    "pseudo" cues look like a cue and are none; "stop" cues end the reach of another. `reach`: tokens at most; `tables`:
    of what the thing right before it must be, if that matters."""

    axis: Literal["status", "certainty", "none"]
    value: str = ""
    direction: Literal["after", "before", "both", "sentence", "pseudo", "stop"]
    reach: int = 12
    tables: tuple[str, ...] = ()


class SectionCue(Row):
    """Words that open a section. `heading`: words that do so only as a heading (before a mark, in capitals, alone).
    `status`, `certainty`: the default inside it. `holds`: until the next cue, or for one sentence."""

    section: str
    heading: tuple[str, ...] = ()
    status: str = ""
    certainty: str = ""
    holds: Literal["narration", "sentence"] = "narration"


class Correction(Row):
    """A spoken correction. `action`: replace the like value before it, take back the last sentence, ..."""

    action: Literal["replace", "strike_last", "strike_sentence", "strike_named"]


class Control(Row):
    """A spoken control phrase. `action`: begin or end the note, take the last sentence back, mark this place; show the
    read-back, confirm it. `when`: it counts always, on a screen only, or only while the read-back is shown; `unless`:
    phrases that keep it from counting when they are said in the same utterance."""

    action: Literal["begin", "end", "take_back", "mark", "read_back", "confirm"]
    when: Literal["always", "screen", "read-back"] = "always"
    unless: tuple[str, ...] = ()


class Confusion(Row):
    """Two readings that recognisers take for each other. `pair`: the two spoken forms."""

    pair: tuple[str, str]
    what: Literal["number", "unit", "side", "negation", "other"]


class LookAlike(Row):
    """Two drugs whose names are taken for each other. `pair`: rows of drugs.toml."""

    pair: tuple[str, str]


class DoseTalk(Row):
    """What is said of a dose that may not have been given, or of what may not have been seen or done (`of`).
    `reason`: the doubt; `way`: where the words stand from the thing; `near`: tokens between at most; `settled`: a word
    of giving beside it leaves no doubt."""

    of: Literal["dose", "seen", "done", "put"] = "dose"
    reason: str
    way: Literal["before", "behind", "both"] = "both"
    near: int = 6
    settled: bool = True


class Limit(Row):
    """A configured limit. `profile`: "" for every profile; `value`/`low`/`high` with `unit` (UCUM).

    `what`: "plausible", "typical", "maximum", "window" ...; `name_of`: the concept of the kind that it holds for
    ("operation" of a duration), "" for any; `outside`: families of operations in which it does not hold."""

    kind: str = ""
    name_of: str = ""
    outside: tuple[str, ...] = ()
    drug: str = ""
    what: str
    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    profile: str = ""
    note: str = ""


class Element(BaseModel):
    """One required element of a profile or family. `kinds`: any one of them satisfies it. `severity` if missing.
    `cues`: words that show that it was spoken of even where nothing of it was understood."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    label: str
    kinds: tuple[str, ...]
    names: tuple[str, ...] = ()
    cues: tuple[str, ...] = ()
    if_any: bool = False
    severity: Literal["blocking", "warning", "note"] = "warning"
    ask: str = ""
    source: str = ""


class Profile(Row):
    """Rules of a country or site: one file grammars/profiles/<id>.toml.

    `includes`: profiles whose elements and limits hold too; what stands here beats what is included."""

    includes: tuple[str, ...] = ()
    elements: tuple[Element, ...] = ()
    settings: dict[str, str] = {}


class Family(Row):
    """A procedure family: one file grammars/families/<id>.toml.

    `procedures`: ids of grammars/procedures.toml that belong to it; `bias`: words offered to the recogniser,
    ranked (never numbers, doses or sizes); `elements`: what such a note is expected to say; `seldom`: elements of the
    profile that such an operation seldom has (no specimen of a joint injection): asked for as a note."""

    procedures: tuple[str, ...]
    bias: tuple[str, ...] = ()
    elements: tuple[Element, ...] = ()
    seldom: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()


class Loinc(Row):
    """A LOINC code. `use`: what it names; `holds`: sections of the note, or kinds of fact (observation);
    `kinds`, `statuses`: of a section, only these; `order`: its place;
    `required`: stands even when empty."""

    code: str = Field(pattern=r"^[0-9]{1,5}-[0-9]$")
    display: str = ""
    use: Literal["document", "section", "observation"]
    order: int = 0
    holds: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    statuses: tuple[str, ...] = ()
    required: bool = False


TABLES: dict[str, type[Row]] = {
    "loinc": Loinc,
    "kinds": Kind,
    "drugs": Drug,
    "units": Unit,
    "sutures": Suture,
    "devices": Device,
    "grades": Grade,
    "context": ContextRule,
    "sections": SectionCue,
    "corrections": Correction,
    "control": Control,
    "confusions": Confusion,
    "look_alikes": LookAlike,
    "dose_talk": DoseTalk,
    "limits": Limit,
    "profiles": Profile,
    "families": Family,
}
