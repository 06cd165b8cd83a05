"""The account of a harvest: what of it was drawn, made, given, thrown away, kept.

Read once over the whole narration, where marrow, blood products or fat are told of. Every amount gets one answer
(`_account_roles.py`) by the words of its own part (`_account_parts.py`), by what was told last before it
(`_account_told.py`), and by what the amounts before it come to (`_account_sums.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from pipeline import cues, laterality, phases, sidewise
from pipeline.extractors import (
    _account_asides,
    _account_headed,
    _account_lost,
    _account_numbers,
    _account_parts,
    _account_places,
    _account_roles,
    _account_sums,
    _account_told,
    _amount_lists,
    _beside_amount,
    _direction,
    _draws,
    base,
)
from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount
from pipeline.extractors._account_told import Told
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Scale

KINDS = ("draw", "draw_count", "harvest_total", "discarded_volume", "product_volume", "injection_volume",
         "injection_total", "injection", "injection_needle", "fluid_out", "medication_volume")  # fmt: skip

_STORIES = frozenset({"history", "indication", "imaging", "consent", "aftercare", "follow-up", "preop-diagnosis"})
_SURE, _LIKELY, _GAUGE = -12, 40, -2  # before any other claim; after those that stand right beside it


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    if not _account_parts.is_told(reading, grammar):
        return [fact for sentence in reading.sentences for fact in _account_lost.told(reading, sentence, grammar)]
    told = Told("named", fat=any(_account_parts.is_fat(sentence, grammar) for sentence in reading.sentences))
    told.at_once = not any(_account_parts.is_drawn(sentence) for sentence in reading.sentences)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        _account_told.head(told, sentence, grammar)
    for sentence in reading.sentences:
        if sentence.section in _STORIES:
            continue
        if told.state == "drug":
            told.state = told.before_drug
        amounts = {one.index: one for one in _account_asides.without_wholes(_account_parts.amounts(sentence))}
        gauges = list[int]()
        for at, token in enumerate(sentence.tokens):
            _account_told.move(told, sentence, grammar, at)
            if token.norm == "same" and told.state == "drawn":
                facts += _account_told.again(told, reading, sentence, at)
            if at in amounts:
                facts += _Entry(told, reading, amounts[at], grammar).facts()
            elif token.norm == "#gauge" and told.is_on() and not _account_numbers.of_trocar(sentence, at):
                gauges.append(at)
        if told.state == "given" or told.at_once:  # "US, 22G, 2.5 mL into the tendon"
            facts += [base.claim("injection_needle", reading, sentence, at, at, at, _GAUGE, unit="{gauge}")
                      for at in gauges]  # fmt: skip
    return [_account_told.without_doubt(fact) for fact in facts] if told.proved else facts


@dataclass(frozen=True, slots=True)
class _Entry:
    """One amount on its way into the account."""

    told: Told
    reading: Reading
    amount: Amount
    grammar: Grammar

    def facts(self) -> list[Fact]:
        amount, told = self.amount, self.told
        if _account_numbers.is_loss(amount, self.grammar):
            return []
        if _account_numbers.counts(amount) and not (told.at_once and amount.after[:1] == ("times",)):
            return self._counted()
        if not _account_numbers.is_amount(amount) or _direction.is_size_of_vessel(amount.sentence, amount.index):
            return []
        if (aside := self._aside()) is not None:
            return aside
        if (many := self._of_many()) is not None:
            return many
        role, sure = self._role()
        match role:
            case "draw" if sure or not amount.bare or _account_sums.lone(amount):
                return self._draw(sure)
            case "total":
                return self._total()
            case "spun":
                value = amount.quantity.value or 0
                before = told.fat or value in (*told.all, *told.sums) or 2 * value < max(told.row, default=Decimal(0))
                return [] if before else self._claim("harvest_total", scale="total", text=_draws.AS_SPUN)
            case "lost":
                told.lost += amount.quantity.value or 0
                told_so: dict[str, Any] = {} if {"no", "nothing", "none"} & set(amount.before) else {
                    "certainty": "affirmed"}  # "eight mils not needed and discarded"
                return self._claim("discarded_volume", **told_so,
                                   **_direction.as_ordered(amount.sentence, amount.index))  # fmt: skip
            case "made":
                told.state = "made"
                told.made += [amount.quantity.value] if amount.quantity.value is not None else []
                return self._claim("product_volume", name="autologous-fat" if told.fat else None)
            case "given in all":
                return self._claim("injection_total", scale="total")
            case "given" if sure and _account_sums.may_be_given(told.given_state, amount) or not amount.bare:
                return self._given(sure)
        return []

    def _claim(
        self, kind: str, sure: bool = True, about: tuple[int, int] | None = None, **fields: Any
    ) -> list[Fact]:
        index = self.amount.index
        first, last = about or (index, index)
        named: dict[str, Any] = {"unit": self.amount.quantity.unit, **fields}
        if not self._performed and _account_asides.is_done(self.amount):
            named.setdefault("status", "performed")  # "planned sixty, got forty eight"
        elif self._performed and _account_asides.is_planned(self.amount):
            named.setdefault("status", "planned")
        return [base.claim(kind, self.reading, self.amount.sentence, index, first, last, _SURE if sure else _LIKELY,
                           **named)]  # fmt: skip

    @property
    def _side(self) -> Laterality | None:
        """The side of the harvest, for an amount of it."""
        return _account_numbers.own_side(self.amount) or self.told.side

    @property
    def _performed(self) -> bool:
        return base.scope_at(self.amount.sentence, "status", self.amount.index, "performed") == "performed"

    def _counted(self) -> list[Fact]:
        """ "Six pulls", "6 x 8 mL", "8 mL x 6": so many draws."""
        told, amount = self.told, self.amount
        tokens, index = amount.sentence.tokens, amount.index
        each = tokens[index - 2].quantity if index > 1 and _draws.count_behind(amount.sentence, index - 2) else None
        if amount.after[:1] == ("times",):
            each = tokens[index - 1].quantity
        told.pair = [one.value for one in (amount.quantity, each) if one is not None and one.value is not None]
        told.counted = True
        if told.state not in ("drawn", "named") and not {"draws", "pulls", "aspirations"} & set(amount.after[:2]):
            return []
        told.side = _account_numbers.own_side(amount) or told.side
        told.state = "drawn"
        side = told.side or _draws.side_at(amount.sentence, self.grammar, index)
        return self._claim("draw_count", unit=None, laterality=side, scale=_draws.at_each(amount.sentence, index))

    def _aside(self) -> list[Fact] | None:
        """What is not of the account, and what is told by its own words alone; None for the others."""
        told, amount = self.told, self.amount
        sentence, index = amount.sentence, amount.index
        another = _account_numbers.another(amount, self.grammar)
        if (agent := _account_numbers.agent_summed(amount, self.grammar)) is not None:
            return self._claim("medication_volume", name=agent.id, role="anticoagulant", scale="total",
                               group=f"m{base.group_of(sentence, agent.first)}")  # fmt: skip
        if told.fat and not another and _account_numbers.is_wetting(amount):
            return self._claim("injection_volume", name="local-anaesthetic-mixture", laterality=None,
                               scale=cues.scale(sentence, index))  # fmt: skip
        if _amount_lists.in_proportion(sentence, index):
            return []  # "one mil to nine of marrow"
        if not another and _account_asides.is_beside(amount, (*told.all, *told.sums, *told.made)):
            return []
        poured = _beside_amount.is_decanted(sentence, index, (*amount.after[:3], "#", *amount.before[-3:]))
        if told.fat and poured and not words.LOST & set(amount.after):
            return self._claim("discarded_volume", doubts=("poured off or what was left was not said",))
        if _direction.thrown(sentence, index):
            return self._claim("discarded_volume", **_direction.as_ordered(sentence, index))
        if another == "agent" and self._performed:
            told.agents += amount.quantity.value or 0
        fluid = _direction.looks_like_fluid(sentence, index) and not _account_numbers.is_product(amount)
        if another or fluid or _direction.out_of_joint(sentence, index) is not None:
            return []
        if told.state == "drawn" and (_draws.holds_agent(sentence, index) or self._with_agent()):
            return self._claim("harvest_total", scale="total", text=_draws.WITH_AGENT)
        return [] if index in _amount_lists.by_depth(sentence).values() else None  # "five at two centimetres"

    def _with_agent(self) -> bool:
        """ "52 mL marrow, 58 mL with ACD": more than was drawn before it, with the anticoagulant."""
        told, amount = self.told, self.amount
        drawn = sum(told.row, Decimal(0)) or (told.sums[-1] if told.sums else Decimal(0))
        mixed = _account_numbers.names_mixture(amount) or _account_headed.role(amount) == "total"
        if told.agents and drawn and mixed and amount.quantity.value == drawn + told.agents:
            return True  # "fifty four of marrow with six of citrate, sixty in the bag"
        led = amount.after[:1] in (("with",), ("incl",), ("including",))
        return led and bool(drawn) and (amount.quantity.value or Decimal(0)) > drawn and any(
            0 < m.first - amount.index <= 3 for m in base.mentions(amount.sentence, "drugs")
        )

    def _of_many(self) -> list[Fact] | None:
        """So much of each of so many draws, and what they come to; None for the others."""
        told, amount = self.told, self.amount
        sentence, index, value = amount.sentence, amount.index, amount.quantity.value
        if told.state not in ("drawn", "named") or value is None:
            return None
        behind = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
        if behind == ["#number", "times"]:
            return self._claim("draw", scale="each", laterality=self._side)
        if _draws.count_behind(sentence, index):
            told.pair, told.state = [value], "drawn"
            return self._claim("draw", scale="each", laterality=self._side)
        if len(told.pair) == 1 and told.state == "drawn" and _account_sums.is_of_each(amount):
            if (parts := _account_sums.run_together(told, amount, value)) is not None:
                return self._run_together(*parts)
            told.each, told.products = value, [*told.products, told.pair[0] * value]
            told.pair.append(value)
            per_side = cues.scale(sentence, index) == "per_side"  # "twelve pulls of five on each side"
            return self._claim("draw", scale="per_side" if per_side else "each", laterality=self._side)
        if told.state == "drawn" and len(told.pair) != 1 and (
            parts := _account_sums.run_together(told, amount, value)
        ) is not None:
            return self._run_together(*parts)
        if len(told.pair) == 2 and self._performed and value - told.pair[0] * told.pair[1] in (0, sum(told.sums)):
            told.row, told.each, told.last = [], told.pair[1], (value, amount.quantity.unit)
            told.sums.append(value)
            told.pair = []
            unit, lent = _account_sums.unit_of_marrow(amount)
            return self._claim("harvest_total", scale="total", laterality=self._side, unit=unit, doubts=lent)
        return None

    def _run_together(self, each: Decimal, whole: Decimal) -> list[Fact]:
        """ "Twelve pulls of five sixty mils": both are sure by the count, so that the doubt of the number falls."""
        scale: Scale | None = "each" if self.told.pair else None
        self.told.sums.append(whole)
        self.told.all += [each] if scale is None else []
        self.told.pair, self.told.row = [], []
        index = self.amount.index
        draw = base.make("draw", self.reading, self.amount.sentence, index, index, scale=scale, value=each,
                         unit=self.amount.quantity.unit, laterality=self._side)  # fmt: skip
        summed = self._claim("harvest_total", scale="total", value=whole, laterality=self._side)
        return [replace(fact, doubts=()) for fact in (draw, *summed)]

    def _role(self) -> tuple[str, bool]:
        """What became of it, by its words and then by what the amounts before it come to; whether that is sure."""
        told, amount = self.told, self.amount
        sentence, index, value = amount.sentence, amount.index, amount.quantity.value
        drawing = told.state in ("drawn", "named")
        role, sure = _account_roles.role(amount, told.state)
        if role not in ("lost", "kept") and told.state and (headed := _account_headed.role(amount)):
            return headed, True
        if told.is_on() and role in ("", "made", "given") and not _account_numbers.is_at_donor(amount) and (
            _account_asides.is_for_side(amount, told.title)
        ):
            return "given", True
        if told.state == "drug" and (told.fluid or "then" in amount.before or value in told.made):
            given = _account_roles.role(amount, "given" if told.at_once else told.before_drug)
            if "then" in amount.before or given == ("given", True):
                role, sure = given  # "nine mils of effusion off, then five mils in"
        elif told.state == "drug" and role == "another" and sure and told.may_be_given(value) and (
            _account_roles.role(amount, "given") == ("given", True)
        ):
            role, told.doubt = "given", _account_told.of_drug(amount)
        if told.at_once and told.state == "named" and role in ("", "draw", "total"):
            role, sure = _account_roles.role(amount, "given")  # no harvest is told: all of it is what was given
        phase = phases.of(self.reading, self.grammar)[sentence.index][index]
        if role in ("draw", "") and drawing and value is not None:
            if _account_sums.is_whole(told, amount, value, self.grammar):
                role, sure = "total", True
            elif added := _amount_lists.added(sentence, index):
                role, sure = added.replace("harvest_", ""), True
            elif index in _amount_lists.by_depth(sentence):
                role, sure = "draw", True
        kept = {"kept", "retained"} & set(amount.after[:2]) and not words.BENCH & set(amount.after[:6])
        if role == "given" and value == told.given and {"all", "whole"} & set(amount.before[-2:]):
            return "given in all", True  # "2.5 mL into the cyst, 1.5 mL into the joint, all 4 mL in"
        if role == "kept" and told.state == "made" and not told.made and kept:
            role = "made"  # "spun, fifty four discarded, six kept"
        if role == "draw" and value is not None and _account_sums.is_yield(told, amount, value):
            role, sure = "made", True
        if role == "spun" and not told.all and not told.sums:
            role, sure = "draw", True
        if role in ("", "given") and not sure and told.state == "made" and len(told.made) > 1 and (
            value == sum(told.made, Decimal(0))
        ):
            role, sure = "made", True  # "five of concentrate and six of PRP, mixed, eleven"
        if role == "made" and told.state != "made" and not told.all and not told.sums and (
            (phase == "injection" and _account_asides.given_before_harvest(amount))
            or _account_asides.heads_given(amount)
        ):
            role = "given"
        if role in ("draw", "") and told.state == "drawn" and value is not None and (
            _account_sums.sums_up(told, amount, value)
        ):
            role, sure = "total", True
        led = amount.before[:-1] if amount.before[-2:-1] and amount.before[-2] in words.MADE else amount.before
        alone = not amount.bare and not amount.after and (led != amount.before or set(led) <= {",", ":"})
        if role == "" and told.state == "made" and not told.made and alone:
            return "made", False  # "spun for 14 minutes, 6 mL"
        to_part = amount.after[:1] == ("to",) and _account_numbers.site_of(amount) is not None
        if role == "draw" and not sure and told.sums and to_part:
            return "given", True  # "four mils to the ankle", behind the sum of a harvest
        if role == "draw" and amount.before[-1:] == ("from",) and value in told.all:
            return "", False  # "four mils of it from sixty of blood": told again
        nothing = told.state == "named" and amount.bare and not (told.all or told.sums or told.products)
        if role == "total" and (nothing or not self._performed):
            return "", False  # "which should have been sixty"
        if role == "draw" and not sure and amount.before[-1:] == ("so",):
            return "", False  # "sixty, how much citrate, six, so six": no draw, and no sum of them
        if role == "draw" and not sure and phase == "injection" and {"through", "via"} & set(amount.after[:2]):
            role, sure = "given", True
        if role == "total" and told.state in ("made", "given"):
            return _account_sums.total_behind(told, amount)
        if role in ("draw", "total") and amount.bare and _account_sums.goes_up(told, amount):
            return "", False  # "four, a turn, eight, a turn, twelve": what had come so far
        if role == "draw" and amount.bare and _account_sums.runs_up(amount):
            told.state = "named"
            return "", False  # "five, ten, fifteen": each, or what had come so far
        return role, sure

    def _draw(self, sure: bool) -> list[Fact]:
        told, amount = self.told, self.amount
        sentence, index, value = amount.sentence, amount.index, amount.quantity.value
        vein = _account_places.of_the_vein(self.reading, {*amount.before, *amount.after})
        own = None if vein else self._told_side()
        if value is not None and self._performed:
            told.row.append(value)
            told.all.append(value)
            told.last = value, amount.quantity.unit
        told.state = "drawn"
        if told.fat:
            side = own or (told.side if _account_numbers.is_at_donor(amount) else None)
            each: Scale | None = "each" if amount.after[:1] == ("each",) else None
            return self._claim("fluid_out", sure, name="lipoaspirate", laterality=side, scale=each)
        named = _draws.ordinal(sentence, index)
        last = "last" in amount.before[-4:]
        doubts = ("more than one number was said for the last draw",) if last and told.each is not None else ()
        if not amount.bare and _account_sums.runs_up(amount):
            doubts = (*doubts, "a draw of so much, or what had come so far")  # "five, then ten, then fifteen mils"
        scale: Scale | None = cues.scale(sentence, index)
        if amount.after[:1] and amount.after[0] in words.COUNTED and amount.after[0].endswith("s"):
            scale = "each"  # "5 mL pulls"
        return self._claim("draw", sure, (named[1], named[1]) if named else None,
                           name=named[0] if named else "last" if last else None, doubts=doubts,
                           laterality=own or told.side, scale=scale if scale != "total" else None)  # fmt: skip

    def _total(self) -> list[Fact]:
        told, value = self.told, self.amount.quantity.value
        whole = value is not None and (
            value == sum(told.all, Decimal(0)) != sum(told.row, Decimal(0))
            or (len(told.sums) > 1 and value == sum(told.sums, Decimal(0)))
        )
        both = _draws.sums_both(self.reading, self.amount.sentence, self.amount.index)
        side = None if whole else self._told_side() or (None if told.vein or both else told.side)
        unsure = _account_sums.is_bare_sum(told, self.amount, value)
        told.sums += [value] if value is not None else []
        told.proved = told.proved or value == sum(told.row, Decimal(0))
        told.row, told.pair = [], []
        doubts = ("one more draw, or the sum of the two before it",) if unsure else ()
        unit, lent = _account_sums.unit_of_marrow(self.amount)
        return self._claim("harvest_total", scale="total", laterality=side, doubts=(*doubts, *lent), unit=unit)

    def _given(self, sure: bool) -> list[Fact]:
        told, amount = self.told, self.amount
        sentence, state = amount.sentence, told.state
        site = _account_numbers.site_of(amount)
        each = _account_sums.is_at_each(amount) or _beside_amount.at_each_spot(sentence, amount.index)
        per_side = cues.scale(sentence, amount.index) == "per_side"  # "three along the jawline on either side"
        scale: Scale | None = "each" if each else "per_side" if per_side else None
        side = self._told_side()
        if side is None and not scale and not _beside_amount.at_level(sentence, amount.index):
            if site is not None:
                side = laterality.side_for(sentence, site.first, site.last, self.grammar)[0] or told.known.get(site.id)
            if side is None and state == "given":
                side = told.target[0]
            if side is None and len(told.title) == 1 and told.target[0] in (None, *told.title):
                side = "left" if "left" in told.title else "right"
        if sure and (state in ("made", "drawn", "named") or told.fluid):
            told.state = "given"
        where = site.id if site is not None else None
        doubts = (told.doubt,) if told.doubt else ()
        told.doubt = ""
        told.given += amount.quantity.value or 0
        own = _account_numbers.product_of(amount)
        name = own.id if own is not None else "autologous-fat" if told.fat else told.name
        facts = self._claim("injection_volume", sure, name=name, body_site=where, laterality=side, scale=scale,
                            doubts=doubts)  # fmt: skip
        if own is not None and not cues.has(sentence, self.grammar, "injected"):
            facts.append(base.make("injection", self.reading, sentence, own.first, own.last, name=own.id,
                                   laterality=side, body_site=where))  # fmt: skip
        return facts

    def _told_side(self) -> Laterality | None:
        if (side := _account_places.paired(self.amount.sentence, self.amount.index)) is not None:
            return side
        row = sidewise.parallel(self.amount.sentence, self.grammar).get(self.amount.index)
        if row is not None:
            return row[0]  # "into the left knee five into the right four and a half"
        amount = self.amount
        own = _account_numbers.own_side(amount) or sidewise.side_of(amount.sentence, amount.index, self.grammar)
        return None if own == "bilateral" else own
