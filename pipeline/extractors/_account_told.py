"""What was told so far of a harvest: drawing, making the product, giving it; from where, and what it came to."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise

from pipeline import cues, donor_sides, laterality
from pipeline.extractors import _account_parts, _direction, _draws, base
from pipeline.extractors import _amount_words as words
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence
from pipeline.rows import Drug


@dataclass
class Told:
    """What was told so far."""

    state: str = ""
    before_drug: str = ""
    side: Laterality | None = None  # of the harvest
    sides: set[str] = field(default_factory=set)
    target: tuple[Laterality | None, str | None] = (None, None)
    row: list[Decimal] = field(default_factory=list)  # draws since the last sum
    all: list[Decimal] = field(default_factory=list)  # every draw
    sums: list[Decimal] = field(default_factory=list)
    pair: list[Decimal] = field(default_factory=list)  # so many, of so much
    fat: bool = False  # fat is what is taken and given
    last: tuple[Decimal, str | None] | None = None  # what was drawn last, or a row's sum
    each: Decimal | None = None  # of so many draws, told last
    products: list[Decimal] = field(default_factory=list)  # what so many of so much come to
    counted: bool = False  # draws were counted
    vein: bool = False  # blood of a vein, and no marrow
    made: list[Decimal] = field(default_factory=list)
    known: dict[str, Laterality | None] = field(default_factory=dict)  # the side each part was said with
    title: set[str] = field(default_factory=set)  # sides of what is operated on
    name: str | None = None
    agents: Decimal = Decimal(0)  # of anticoagulant, together
    fluid: bool = False  # what stands for a drug is a fluid that came out of a joint
    at_once: bool = False  # no harvest is told, only what was given
    given: Decimal = Decimal(0)
    lost: Decimal = Decimal(0)
    proved: bool = False  # a sum was told that the draws before it come to, with those told as "the same again"
    doubt: str = ""  # of the amount that is being told

    def is_on(self) -> bool:
        """Whether the harvest is over, or none is told."""
        return self.at_once or self.state in ("made", "given")

    @property
    def given_state(self) -> str:
        """The state that an amount that went in is told in: where no harvest is told, naming the product is enough."""
        return "given" if self.at_once and self.state == "named" else self.state

    def may_be_given(self, value: Decimal | None) -> bool:
        """Whether so much is left of what was made; where no harvest is told, whether nothing was given yet."""
        left = sum(self.made, Decimal(0)) - self.given
        return value is not None and (value <= left or self.at_once and not self.given and not self.made)


def again(told: Told, reading: Reading, sentence: Sentence, at: int) -> list[Fact]:
    """ "Second syringe the same", "turn it, second the same", "the same again": as much again as what was drawn right
    before it, with a doubt; of a row that was summed up ("ten draws of three, thirty") the sum."""
    tokens = sentence.tokens
    first = next((one for one in range(at - 1, max(-1, at - _SAME_REACH), -1)
                  if (other := tokens[one].quantity) is not None and other.form == "ordinal"), None)  # fmt: skip
    behind = tokens[at + 1] if at + 1 < len(tokens) else None
    ends = behind is None or behind.punctuation or behind.quantity is not None or behind.norm in _AFTER_SAME
    value = told.last[0] if told.last else None
    if value is not None and (count := _same_draws(told, sentence, at)):
        values, before = told.row[-count:], len(told.all)
        told.row += values
        told.all += values
        return [base.make("draw", reading, sentence, at, at + 1, value=one, unit=told.last[1] if told.last else None,
                          name=_draws.nth(before + place), laterality=told.side, doubts=(AGAIN,),
                          text=cues.words(sentence, at, at + 2))
                for place, one in enumerate(values, 1)]  # fmt: skip
    if first is None and at and tokens[at - 1].norm in ("the", "and", ",", "then") and (
        behind is not None and behind.norm == "again" and (at + 2 == len(tokens) or tokens[at + 2].quantity is None)
    ):
        first = at - 1
    if first is None or not ends or value is None:
        return []
    told.row.append(value)
    told.all.append(value)
    return [base.make("draw", reading, sentence, first, at, name=_draws.name_of(tokens[first]), value=value,
                      unit=told.last[1] if told.last else None, laterality=told.side,
                      doubts=(AGAIN,))]  # fmt: skip


def _same_draws(told: Told, sentence: Sentence, at: int) -> int:
    """ "And the same four again": how many draws are told to be done once more, behind as many; 0 for none."""
    tokens = sentence.tokens
    count = tokens[at + 1].quantity if at + 2 < len(tokens) else None
    if count is None or count.dimension or tokens[at + 2].norm != "again" or count.value != len(told.row):
        return 0
    return len(told.row)


AGAIN = "said as the same as what was drawn before it"


def without_doubt(fact: Fact) -> Fact:
    """A draw told as "the same again", where the sum told behind it proves it."""
    return replace(fact, doubts=tuple(one for one in fact.doubts if one != AGAIN)) if AGAIN in fact.doubts else fact


_SAME_REACH = 4
_AFTER_SAME = frozenset("again and then so now amount volume turn rotate".split())


def head(told: Told, sentence: Sentence, grammar: Grammar) -> None:
    """The sides of what is operated on, said anywhere but of the harvest: "PRP R LE", "Knee PRP 2 of 3 R:"."""
    sides = {str(side.value) for side in laterality.sides(sentence, grammar)}
    tokens = sentence.tokens
    sides |= {"left" if one.norm == "l" else "right" for one, mark in pairwise(tokens)
              if one.norm in ("l", "r") and mark.norm == ":"}  # fmt: skip
    if not sentence.says({"crest", "psis", "asis", "arm", "acf", "from", "crests"}):
        told.title |= {"left", "right"} if "bilateral" in sides else sides


def _marks(sentence: Sentence, grammar: Grammar) -> dict[int, Mention]:
    known: dict[int, Mention] | None = sentence.memo.get("account-marks")
    if known is None:
        tables = ("drugs", "fluids", "injectates", "processing", "sites", "routes")
        known = sentence.memo["account-marks"] = {m.first: m for m in base.mentions(sentence, *tables)}
    return known


def move(told: Told, sentence: Sentence, grammar: Grammar, at: int) -> None:
    """Goes on by one word."""
    if sentence.tokens[at].norm == "#gauge" and told.state == "drug" and told.before_drug == "drawn":
        told.state = "drawn"  # "crest, lido 1% 8 mL, 11G, 10 x 5 mL": behind the needle come the draws
    tokens = sentence.tokens
    norm = tokens[at].norm
    mention = _marks(sentence, grammar).get(at)
    if mention is not None:
        _move_to(told, sentence, grammar, mention)
        return
    follows = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    inside = any(m.first < at <= m.last for m in _marks(sentence, grammar).values())
    if inside:
        return
    quantity = tokens[at].quantity
    if quantity is not None:
        if _direction.is_spin(sentence, at, quantity) and told.state in ("drawn", "named"):
            told.state = "made"
        return
    if norm in ("l", "r") and follows == ":" and told.state in ("drawn", "named"):
        told.side = "left" if norm == "l" else "right"
        told.sides.add(told.side)
    if norm in words.DREW and follows not in ("up", "off", "over"):
        begun = told.state in ("made", "given") or _of_joint(sentence, at)
        told.state = "drawn" if not begun or _of_bone(sentence, at) else told.state
    elif norm in ("psis", "asis", "crest", "crests", "ilium") or (
        norm in ("took", "take", "taken", "collected") and told.state in ("", "named", "drug")
    ):
        if follows not in _CLOSED:
            told.state = "drawn" if told.state != "given" or norm in ("psis", "asis") else told.state
        told.side = _side_before(sentence, at) or told.side
    elif told.fat and norm in _FAT_WORDS:
        told.state = _FAT_WORDS[norm]
    elif norm in words.MADE and at and tokens[at - 1].norm in ("no", "not", "without"):
        return  # "no spin"
    elif (norm in words.MADE and (norm != "concentrate" or told.state == "drawn")) or (
        norm in ("processing", "emulsified")
    ):
        told.state = "made"
    elif norm in words.PUT and told.state in ("made", "given", "drawn", "named"):
        told.state = "given"
    elif _direction.went_in(sentence, at) and told.state != "drug":
        told.state = "given"
    elif norm == "marrow" and told.state == "drug":
        told.state = told.before_drug
    elif norm in ("effusion", "synovial", "straw") and not {"no", "without"} & {
        token.norm for token in tokens[max(0, at - 2) : at]
    }:
        told.before_drug, told.state = told.state if told.state != "drug" else told.before_drug, "drug"
        told.fluid = True
    if norm in ("left", "right") and told.state == "drawn" and _is_side(sentence, grammar, at) and not any(
        0 < m.first - at <= 2 and m.table == "sites" and "crest" not in m.id for m in _marks(sentence, grammar).values()
    ):
        told.side = "left" if norm == "left" else "right"
        told.sides.add(norm)


def _move_to(told: Told, sentence: Sentence, grammar: Grammar, mention: Mention) -> None:
    rows = grammar.table("drugs", Drug)
    if mention.table in ("drugs", "fluids"):
        if mention.table == "drugs" and "anticoagulant" in rows[mention.id].classes:
            return
        if told.state != "drug":
            told.before_drug = told.state
        told.state, told.fluid = "drug", False
    elif mention.table == "injectates" and mention.id in _account_parts.PRODUCTS:
        told.name = mention.id
        if told.state == "named":
            side = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=True)[0]
            if side in ("left", "right"):
                told.title.add(side)
        state = told.before_drug if told.state == "drug" else told.state
        told.state = "made" if state in ("drawn", "made") else state or "named"
        if state == "given":
            told.state = "given"
    elif mention.table == "processing":
        rinsed = sentence.tokens[mention.first].norm in _RINSED and not (told.all or told.sums or told.fat)
        denied = mention.first and sentence.tokens[mention.first - 1].norm in ("no", "not", "without")
        if told.state in ("drawn", "named", "made", "drug") and not rinsed and not denied:
            told.state = "made"
    elif mention.table == "routes" and told.state == "made":
        told.state = "given" if mention.id == "intra-articular" else told.state
    elif mention.table == "sites":
        led = {token.norm for token in sentence.tokens[max(0, mention.first - 4) : mention.first]}
        side = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=True)[0]
        side = _side_before(sentence, mention.first) or side
        told.known[mention.id] = side or told.known.get(mention.id)
        if told.fat and mention.id in DONOR:
            told.state = "drawn" if "from" in led or told.state == "drawn" else told.state
            told.side = side or told.side
        elif mention.id == "hand" and {"me", "us", "it", "back", "over"} & {
            token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 2]
        }:
            return  # "they hand me back six"
        elif led & {"harvest", "harvested"} or "iliac-crest" in mention.id or donor_sides.is_harvest(sentence, mention):
            begun = bool(told.all or told.sums or told.made)
            closed = sentence.tokens[min(mention.last + 1, len(sentence.tokens) - 1)].norm in _CLOSED
            if told.state != "given" and not closed or not begun or led & {"from", "harvest", "harvested", "marrow"}:
                told.state = "drawn"
            told.side = side or told.side
            if side in ("left", "right"):
                told.sides.add(side)
        elif "from" in led and mention.id not in ("skin", "cortex"):
            told.state = "drawn" if told.state in ("named", "drawn", "") else told.state
            if told.state == "drawn":
                told.side = side or told.side
                told.vein = told.vein or "arm" in mention.id or "elbow" in mention.id
        elif told.state == "named" and side in ("left", "right"):
            told.title.add(side)
        elif told.state in ("made", "given") or {
            token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 2]
        } & words.RECEIVED:
            told.state = "given"
            told.target = side, mention.id


_RINSED = frozenset({"rinsed", "rinse", "washed", "wash", "flushed"})
_CLOSED = frozenset("closed dressed plaster pressure compressed sealed".split())


def _of_joint(sentence: Sentence, at: int) -> bool:
    """ "Effusion 12 mL aspirated"."""
    near = {token.norm for token in sentence.tokens[max(0, at - 6) : at + 7]}
    return bool(near & {"effusion", "fluid", "straw", "synovial", "joint", "haemarthrosis", "dry"})


def _of_bone(sentence: Sentence, at: int) -> bool:
    """Whether what is drawn, after a product was made, is marrow or blood again, and not an effusion."""
    near = {token.norm for token in sentence.tokens[max(0, at - 6) : at + 7]}
    return bool(near & {"marrow", "blood", "crest", "psis", "asis", "vein", "arm", "first", "second"})


_FAT_WORDS = {"lipoaspirate": "drawn", "harvested": "drawn", "suctioned": "drawn", "washed": "made", "wash": "made",
              "decanted": "made", "device": "made", "emulsified": "made", "purified": "made"}
DONOR = frozenset("abdomen flank thigh buttock abdominal-wall".split())  # where fat is taken from


def _side_before(sentence: Sentence, at: int) -> Laterality | None:
    for back in range(at - 1, max(-1, at - 4), -1):
        norm = sentence.tokens[back].norm
        if norm in ("left", "l", "lt"):
            return "left"
        if norm in ("right", "r", "rt"):
            return "right"
    return None


def _is_side(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    return any(side.first <= at <= side.last for side in laterality.sides(sentence, grammar))


def of_drug(amount: _account_parts.Amount) -> str:
    """The doubt of an amount that is told behind a medicine; none of "the last millilitre into the joint", which is of
    what was made."""
    said = {amount.sentence.tokens[amount.index].text.lower().split()[0], *amount.before[-1:]}
    rest = said & {"last", "remaining", "final", "rest"}
    return "" if rest else "it may be of the medicine told before it"
