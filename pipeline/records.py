"""The records that travel through the pipeline: frozen, typed, times in seconds, quantities in Decimals.

Word ids number the words as the recogniser (or typist) gave them, from 0, and never change: repair,
agreement and spoken corrections keep them, so evidence is always a range of original word ids.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Set
from dataclasses import MISSING, dataclass, field, fields, make_dataclass
from decimal import Decimal
from operator import attrgetter
from typing import TYPE_CHECKING, Any, Literal, TypeVar

_T = TypeVar("_T")

Laterality = Literal["left", "right", "bilateral"]
Status = Literal["performed", "planned", "conditional", "historical", "other_person"]
Certainty = Literal["affirmed", "negated", "suspected"]
Severity = Literal["blocking", "warning", "note"]
Comparator = Literal["<", ">", "<=", ">=", "~"]
Scale = Literal["each", "per_side", "total"]


if TYPE_CHECKING:
    from dataclasses import replace as replace  # so that the names of the fields are checked
else:

    def replace(record: _T, **changes: Any) -> _T:
        """`dataclasses.replace` in a third of the time, for records all of whose fields are given by their place."""
        cls = type(record)
        places, values = _SHAPES.get(cls) or _shape(cls)
        made = list(values(record))
        for name, value in changes.items():
            made[places[name]] = value
        return cls(*made)


_SHAPES: dict[type, tuple[dict[str, int], Callable[[Any], tuple[Any, ...]]]] = {}


def _shape(cls: type) -> tuple[dict[str, int], Callable[[Any], tuple[Any, ...]]]:
    names = [one.name for one in fields(cls) if one.init]
    _SHAPES[cls] = {name: at for at, name in enumerate(names)}, attrgetter(*names)
    return _SHAPES[cls]


def quick(cls: type[_T]) -> type[_T]:
    """A frozen dataclass made in a third of the time, for the records that are made by the hundred.

    `frozen=True` fills a record through `object.__setattr__`, field by field, to get past its own guard. Here the guard
    goes: type checking alone keeps such a record from being changed. Equality, hash and `replace` stay as they are.
    """
    open_fields: list[tuple[str, Any, Any]] = [
        (one.name, one.type, field(init=one.init, default_factory=one.default_factory)
         if one.default_factory is not MISSING else field(init=one.init, default=one.default))
        for one in fields(cls)  # type: ignore[arg-type]
    ]  # fmt: skip
    kept = {name: cls.__dict__[name] for name in ("__post_init__",) if name in cls.__dict__}
    cls.__init__ = make_dataclass(cls.__name__, open_fields, namespace=kept).__init__  # type: ignore[misc, method-assign]
    del cls.__setattr__, cls.__delattr__
    return cls


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of speech. `start`, `end`: seconds from the start of the recording."""

    index: int
    start: float
    end: float


@quick
@dataclass(frozen=True, slots=True)
class Word:
    """One word, or one repaired term that stands for a run of words.

    `id`..`last`: original word ids (inclusive). `start`, `end`: seconds, None for typed text.
    `confidence`: 0..1 or None where the engine gives none. `heard_by`: engine name.
    `heard`: what was heard where `text` differs from it. `others`: disagreeing readings of other decodes.
    `opinions`: what a second recogniser finds likelier here (`agreement.py`).
    """

    id: int
    text: str
    last: int = -1
    start: float | None = None
    end: float | None = None
    confidence: float | None = None
    heard_by: str = "typed"
    heard: str | None = None
    segment: int = 0
    others: tuple[str, ...] = ()
    opinions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.last < self.id:
            object.__setattr__(self, "last", self.id)


@quick
@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as said, with its unit.

    `value`, or `low` and `high` for a range; neither for the shapes that are no number ("level", "suture", "clock",
    "clock_face", "date", "code", "size", "parity", "pair"), for a fraction without finite decimal (a third) and for
    mixtures ("50:50"). `text`: the canonical form of such a shape ("L4-L5", "3-0", "14:05", "3 o'clock",
    "2024-03-26", "4x4", "1:200000", "1/3", "III"), else the words as said.
    `unit`: UCUM code, None when no unit was said (it is never inferred). `said_unit`: the words of the unit.
    `dimension`: as in grammars/units.toml ("volume", "length", "mass", "time", "ratio", "count" ...), "" when there
    is no unit. `comparator`: "<" for "less than", "~" for "about".
    `form`: "number", "range", "fraction" (three eighths), "ordinal", "ratio" (1:200000, value = the second term),
    "label" (names and does not count: "#15", "zone 2", "grade 3", "ten blade"), "roman" (a grade; value is set),
    "times" ("x2", "times two"), or one of the shapes above. `doubts`: other readings, in plain words;
    `extractors.base.make` hands them to the fact.
    """

    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str | None = None
    said_unit: str | None = None
    dimension: str = ""
    comparator: Comparator | None = None
    form: str = "number"
    text: str = ""
    doubts: tuple[str, ...] = ()


@quick
@dataclass(frozen=True, slots=True)
class Token:
    """What matching sees: a word, a punctuation mark, or a whole number-with-unit as one token.

    `norm`: lower case form; for a quantity "#" + dimension ("#volume"), "#number" without a unit, or "#" + form for
    the other forms ("#clock", "#suture", "#level", "#label" ...). Ordinals keep their word ("first"), so that
    "first metatarsal" is found as a phrase. "x" and "by" between numbers are "x". `first`..`last`: word ids.
    """

    text: str
    norm: str
    first: int
    last: int
    quantity: Quantity | None = None
    punctuation: bool = False


@quick
@dataclass(frozen=True, slots=True)
class Mention:
    """A phrase of grammars/ found in a sentence. `first`..`last`: token indexes, inclusive."""

    table: str
    id: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Scope:
    """A stretch of tokens over which a status or certainty other than the default holds.

    `axis`: "status" or "certainty". `rule`: id of the row of grammars/context.toml that fired.
    """

    axis: Literal["status", "certainty"]
    value: str
    first: int
    last: int
    rule: str


@quick
@dataclass(frozen=True, slots=True)
class Evidence:
    """Where something was said: original word ids (inclusive), seconds, the words as heard, confidence."""

    first: int
    last: int
    start: float | None
    end: float | None
    heard: str
    confidence: float | None = None


@dataclass(frozen=True, slots=True)
class Strike:
    """Words taken back by a spoken correction. `at`: index of the token where what replaces them begins.

    `clear` is False when a correction was said but not what it takes back: nothing was removed, `taken_back` is
    what it may have meant, and every fact of the sentence is doubtful (`extractors.base.make` says so on the fact).
    """

    taken_back: Evidence
    cue: Evidence
    at: int
    clear: bool = True


@quick
@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence as read. `tokens` no longer hold what was taken back; `strikes` tell what it was.

    `section`: id of the row of grammars/sections.toml in force, "" before any cue. `memo`: what was found out about
    this very sentence and is asked for again and again (its clauses, its cues), by the name of what found it; a
    sentence made of it with `replace` begins without any.
    """

    index: int
    tokens: tuple[Token, ...]
    strikes: tuple[Strike, ...] = ()
    section: str = ""
    mentions: tuple[Mention, ...] = ()
    scopes: tuple[Scope, ...] = ()
    memo: dict[str, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def says(self, norms: Set[str]) -> bool:
        """Whether one of these norms is in the sentence: a look before its tokens are gone through one by one."""
        held: frozenset[str] | None = self.memo.get("norms")
        if held is None:
            held = self.memo["norms"] = frozenset([token.norm for token in self.tokens])
        return not held.isdisjoint(norms)


@dataclass(frozen=True, slots=True)
class Reading:
    """A whole narration as read: the words (repaired, nothing discarded) and the sentences."""

    words: tuple[Word, ...]
    sentences: tuple[Sentence, ...]
    memo: dict[str, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def speaks_of(self, *tables: str) -> bool:
        """Whether a phrase of these tables is anywhere: a look before the sentences are gone through one by one."""
        held: frozenset[str] | None = self.memo.get("tables")
        if held is None:
            held = self.memo["tables"] = frozenset([one.table for said in self.sentences for one in said.mentions])
        return not held.isdisjoint(tables)

    def sentence_at(self, word: int) -> Sentence | None:
        """The sentence that a word id lies in; None for one that was taken back with all of its sentence."""
        held: list[Sentence] | None = self.memo.get("spans")
        if held is None:
            held = self.memo["spans"] = [sentence for sentence in self.sentences if sentence.tokens]
            self.memo["starts"] = [sentence.tokens[0].first for sentence in held]
        at = bisect_right(self.memo["starts"], word) - 1
        if at >= 0 and held[at].tokens[0].first <= word <= held[at].tokens[-1].last:
            return held[at]
        return next((one for one in held if one.tokens[0].first <= word <= one.tokens[-1].last), None)


# Roles of things that were there but did not go into, or stay in, the patient.
NOT_GIVEN = frozenset({"prepared", "discarded", "held", "avoid", "trial", "explanted", "not_given", "not_used"})


@quick
@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that was said, with the words it came from.

    `kind`: row of grammars/kinds.toml. `name`: id of the concept it is about (the drug of a dose, the event of
    a time, the procedure). `text`: the value in words, where the value is not a number. `value` or `low`/`high`:
    exact decimals; `unit`: UCUM code or None if none was said. `group`: facts of one event share it (a drug with
    its dose, volume and route; a draw with its depth). `role`: what it was for ("anticoagulant", "prophylaxis",
    "aftercare", "avoid" ...). `scale`: whether a number holds for each, per side or in total.
    `also`: the other places where the same was said. `taken_back`: what a spoken correction replaced.
    `alternatives`: other readings of the sound. `doubts`: why this is unsure, in plain words. `added`: by whom, when
    and why it was put in by a reviewer, "" for what was said; its evidence has no sound then.
    """

    kind: str
    evidence: Evidence
    id: str = ""
    name: str | None = None
    text: str | None = None
    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    comparator: Comparator | None = None
    unit: str | None = None
    laterality: Laterality | None = None
    body_site: str | None = None
    status: Status = "performed"
    certainty: Certainty = "affirmed"
    group: str | None = None
    role: str | None = None
    scale: Scale | None = None
    also: tuple[Evidence, ...] = ()
    taken_back: tuple[Evidence, ...] = ()
    alternatives: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    added: str = ""

    @property
    def numeric(self) -> bool:
        """Whether it is a number or a range."""
        return self.value is not None or self.low is not None or self.high is not None

    @property
    def done(self) -> bool:
        """Whether it stands as done, given or there: performed and affirmed."""
        return (self.status, self.certainty) == ("performed", "affirmed")


_FACT = [one.name for one in fields(Fact)]
_ID, _GROUP = _FACT.index("id"), _FACT.index("group")
_HEAD, _BODY, _TAIL = (attrgetter(*names) for names in (_FACT[:_ID], _FACT[_ID + 1 : _GROUP], _FACT[_GROUP + 1 :]))


def renumbered(fact: Fact, ident: str, group: str | None) -> Fact:
    """The fact with another id and group: what `replace` does, in a quarter of the time."""
    return Fact(*_HEAD(fact), ident, *_BODY(fact), group, *_TAIL(fact))  # type: ignore[call-arg]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is missing, doubtful or does not add up. Data, never an exception.

    `check`: name of the module in checks/. `key`: stable within a note, so that a decision can refer to it.
    `message`: plain words; `arithmetic`: the sum as worked ("5 + 5 + 4 = 14 mL, said: 15 mL"); `ask`: what to
    say or do. `facts`: ids of the facts concerned. `settled`: the recorded reason that silenced it.
    """

    check: str
    severity: Severity
    message: str
    key: str = ""
    ask: str = ""
    arithmetic: str = ""
    facts: tuple[str, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    settled: str = ""


@dataclass(frozen=True, slots=True)
class Revision:
    """A reviewer's decision on a fact or a finding. `before`, `after`: field values as text.

    For "ask", `attribute` is the user who is asked ("" for every surgeon), `reason` the question; for "answer",
    `reason` the answer; for "add", `after` what was typed.
    """

    target: str
    action: Literal["accept", "correct", "reject", "ask", "answer", "settle", "reopen", "add"]
    by: str
    at: str
    attribute: str = ""
    before: str = ""
    after: str = ""
    reason: str = ""
