"""Amounts of a marrow harvest told in short: "we drew thirty, from the right another thirty, sixty all together, spun
it, eight left, four in each knee".

Only where marrow is spoken of. What a number is follows from the words right beside it and from what was told last:
drawing, making the product, giving it. A number that counts something, or that a drug, a device or another fluid stands
beside, is left to the other extractors. A unit that was not said stays empty, and a check asks for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from pipeline import laterality, owners, phases, sidewise
from pipeline.extractors import _amount_lists, _beside_amount, _direction, _draws, _marrow_told, base
from pipeline.extractors import _amount_words as words
from pipeline.extractors._marrow_told import CREST, ORDINALS
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence, Token

KINDS = ("draw", "draw_count", "harvest_total", "discarded_volume", "product_volume", "injection_volume")

_FILL = frozenset("of was were is about another only just roughly around some again a further out us me : back".split())
_SUMMED = (("in", "all"), ("in", "total"), ("total",), ("all", "together"), ("altogether",), ("all", "told"),
           ("together",), ("combined",), ("overall",))  # fmt: skip
_SUM_OF = frozenset("from of for on at were was then so which we i".split())  # not "together with", not "in all four"
_SUMS_UP = frozenset({"that's", "thats", "makes", "making", "totalling", "totaling", "total", "sum"})
_THROWN = frozenset({"discarded", "wasted", "spilled", "spilt"})
_WAYS = frozenset("anterior posterior medial lateral anterolateral anteromedial posterolateral posteromedial proximal "
                  "distal superior inferior".split())  # fmt: skip
_INTO = frozenset("into to along around beneath down through".split())


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    amounts, products = list[Decimal](), list[Decimal]()
    for passage in _marrow_told.passages(reading, grammar):
        sentence = passage.sentence
        same = [at for at, token in enumerate(sentence.tokens) if token.norm == "same"] if sentence.says(_SAME) else []
        for index, quantity in base.quantities(sentence, "volume", ""):
            while same and same[0] < index:
                facts += _again(reading, passage, same.pop(0), facts, amounts)
            state = passage.state(index)
            if quantity.form in ("number", "range", "fraction") and not _is_anothers(sentence, index):
                if state in ("drawn", "named") and _amount_lists.comes_to(sentence, index, products):
                    whose = _draws.crest_side(sentence, grammar, index) if quantity.value == products[-1] else None
                    facts.append(base.claim("harvest_total", reading, sentence, index, index, index, -2,
                                            unit=quantity.unit, scale="total", laterality=whose))  # fmt: skip
                else:
                    facts += _amount(reading, sentence, grammar, index, quantity, state, passage.side, amounts)
                products += _amount_lists.product(sentence, index)
                if quantity.value is not None and state in ("drawn", "named"):
                    amounts.append(quantity.value)
        for at in same:
            facts += _again(reading, passage, at, facts, amounts)
    return facts


_LED_BY_SIDE = (("r",), ("l",), ("left",), ("right",))
_WAYS_IN = frozenset("hole holes track tracks channel channels portal portals needles".split())
_SAME = frozenset({"same"})


def _again(
    reading: Reading, passage: _marrow_told.Passage, at: int, facts: Sequence[Fact], amounts: list[Decimal]
) -> list[Fact]:
    """ "Second syringe the same", "turn it, second the same": as much again as what was drawn right before it, with a
    doubt; of a row that was summed up ("ten draws of three, thirty") the sum."""
    tokens = passage.sentence.tokens
    near = range(at - 1, max(-1, at - _SAME_REACH), -1)
    first = next((one for one in near if tokens[one].norm in ORDINALS or _is_ordinal(tokens[one])), None)
    behind = tokens[at + 1] if at + 1 < len(tokens) else None
    ends = behind is None or behind.punctuation or behind.quantity is not None or behind.norm in _AFTER_SAME
    before = [fact for fact in facts if fact.kind in ("draw", "harvest_total", "draw_count")]
    if first is None or not ends or passage.state(at) != "drawn" or not before or before[-1].kind == "draw_count":
        return []
    last = before[-1]
    summed = last.scale == "each" and len(amounts) > 2 and amounts[-3] * amounts[-2] == amounts[-1]
    value = amounts[-1] if summed else last.value if last.scale != "each" else None
    if value is None:
        return []
    amounts.append(value)
    doubt = "said as the same as what was drawn before it"
    return [base.make("draw", reading, passage.sentence, first, at, name=_draws.name_of(tokens[first]), doubts=(doubt,),
                      value=value, unit=last.unit, laterality=passage.side or last.laterality)]  # fmt: skip


def _is_ordinal(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form == "ordinal"


_SAME_REACH = 4
_AFTER_SAME = frozenset("again and then so now amount volume turn rotate".split())


def _is_anothers(sentence: Sentence, index: int) -> bool:
    """Whether a drug, a device or another fluid stands right beside the number, or a noun that it counts."""
    tokens = sentence.tokens
    if index and tokens[index - 1].norm in words.TURNED and tokens[index].norm == "#number":
        return True  # "turned a quarter after each draw"
    if _beside_amount.turned_by(sentence, index):
        return True  # "turn the needle a quarter"
    ahead = tokens[index + 1].quantity if index + 1 < len(tokens) else None
    if ahead is not None and ahead.dimension == "gauge" and tokens[index].norm == "#number":
        return True  # "two eighteen gauge needles"
    if _amount_lists.in_proportion(sentence, index) or (index and tokens[index - 1].norm == "every"):
        return True  # "one mil of citrate to nine of marrow", "a quarter turn every two mils"
    if index and tokens[index - 1].norm == "within" or owners.is_whole_of_share(tokens, index) or (
        _direction.is_size_of_vessel(sentence, index)
    ):
        return True  # "drilled to within five of the joint line", "half of the six mils"
    for mention in base.mentions(sentence, "drugs", "fluids", "findings", "devices", "anaesthesia", "sutures"):
        if mention.table == "findings" and _direction.all_in(sentence, index):
            continue  # "no effusion all four mils in"
        between = tokens[index + 1 : mention.first] if mention.first > index else tokens[mention.last + 1 : index]
        near = all(not token.punctuation and token.quantity is None for token in between) and len(between) <= 2
        near = near and not (mention.last < index and {"we", "i"} & {token.norm for token in between})
        if near and not (mention.table == "devices" and tokens[mention.first].norm in words.COUNTED_VESSELS):
            return True  # but not "with an eight gauge trocar we take ten"
    return False


def _amount(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, state: str,
    side: Laterality | None, amounts: Sequence[Decimal],
) -> list[Fact]:  # fmt: skip
    tokens = sentence.tokens
    after = _words(sentence, index + 1, 5)
    before = _words_before(sentence, index)
    own = _draws.crest_side(sentence, grammar, index) if state == "drawn" else None
    own = own or sidewise.side_of(sentence, index, grammar) or _side_after(sentence, index)
    side = own or _draws.side_at(sentence, grammar, index) or side
    side = None if side == "bilateral" else side
    bare = not quantity.dimension

    def claim(kind: str, cost: int = 3, **fields: Any) -> list[Fact]:
        named: dict[str, Any] = {"unit": quantity.unit, **fields}
        return [base.claim(kind, reading, sentence, index, index, index, cost, **named)]

    if not state:
        return []
    if state in ("drawn", "named") and _beside_amount.product_in(sentence, index):
        state = "given"  # "clear fluid aspirated and thrown away then four mils of concentrate in"
    if state in ("drawn", "named") and (row := _amount_lists.added(sentence, index)):
        return claim(row, 2, scale="total" if row == "harvest_total" else None, laterality=side)
    if state in ("drawn", "named") and (by := _multiplied(sentence, index, amounts)) is not None:
        each = "each" if by == "draw" else "total" if by == "harvest_total" else None
        unit = None if by == "draw_count" else quantity.unit
        return claim(by, -1, unit=unit, scale=each, laterality=side)
    is_sum = _is_sum(after, before) and not _amount_lists.leads_to_total(sentence, index, amounts)
    if is_sum or _amount_lists.makes(sentence, index, before):
        both = _draws.sums_both(reading, sentence, index) or sidewise.told(sentence, grammar)
        whose = None if both else own
        return claim("harvest_total", scale="total", laterality=whose) if state in ("drawn", "named") else []
    if state == "drawn" and not _draws.is_label(sentence, index, quantity) and (
        _amount_lists.sums_up(sentence, index, amounts)
    ):
        return claim("harvest_total", scale="total", laterality=own)
    if bare and state in ("drawn", "named") and _amount_lists.counts_row(sentence, index):
        return claim("draw_count", laterality=side)
    lost = bool(set(after[:4]) & words.LOST) and bool(set(after[:3]) & {"of", "was", "were", "went", "had"})
    lost = lost or _direction.thrown(sentence, index)
    lost = lost or before[-1:] in (("lost",), ("wasted",), ("spilled",), ("spilt",))
    if lost or (set(after[:1]) & words.LOST and (not bare or after[0] in _THROWN)):
        return claim("discarded_volume", **_direction.as_ordered(sentence, index))
    if _direction.looks_like_fluid(sentence, index) or _direction.out_of_joint(sentence, index) is not None:
        return []
    if set(after[:3]) & words.KEPT or ("put" in after[:2] and "back" in after[:3]):
        return []
    if bare and after[:1] and (after[0] in words.COUNTED_PLACES or (
        state in ("made", "given") and set(after[:2]) & (words.COUNTED | _WAYS_IN)
    )):  # fmt: skip
        return []  # "in two portions of eight", "injected at four sites", "through two drill holes"
    held = _direction.held_in(sentence, index)
    of_it = after[:1] == ("of",) and bool({"marrow", "it"} & set(after[1:3]))
    many = held and not bare and state in ("drawn", "named") and _draws.counts_before(sentence, grammar, index)
    led = state == "drawn" and (held or of_it or not after)
    if many or (before[-1:] == ("so",) and (led or (state == "named" and held))):
        return claim("harvest_total", scale="total", laterality=own or (side if many else None))
    came_to = before[-1:] == ("to",) and before[-2:-1] in (("down",), ("spun",), ("concentrated",), ("reduced",))
    target = None if came_to else _direction.target(sentence, index)
    into = (after[:1] or ("",))[0] in _INTO or _is_route(sentence, index)
    named = not bare or any(at < index for at, _ in base.quantities(sentence, "volume"))  # else "one medial"
    into = into or (state == "given" and named and bool(({*after[:1]} | {*before[-1:]}) & _WAYS))
    into = into or _direction.all_in(sentence, index) or _beside_amount.product_in(sentence, index)
    into = into or _direction.led_in(sentence, index)
    into = into or (after == ("in",) and not bare and _beside_amount.stops(sentence, index + 2))
    into = into or (state == "given" and bare and after[:1] == ("in",) and set(after[1:2]) <= {"the", "each", "both"})
    into = into or _direction.went_in(sentence, index + 1) or (
        state in ("made", "given") and after[:1] == ("from",) and set(after[1:2]) <= _WAYS and not set(after) & CREST)
    into = into or after[:3] in (("in", "the", "joint"), ("in", "each", "joint"), ("in", "both", "joints"))
    summed = bool({"total", "altogether"} & set(before[-3:]))  # "total injected, six"
    into = into or (not summed and _direction.goes_in(sentence, index) and not _direction.of_other(sentence, index))
    into = into or (state == "given" and not bare and after[:1] == ("each",))  # "2.5 mL each at 3 sites"
    into = into or (not bare and bool(set(after[:1]) & words.GIVEN)) or _direction.headed(sentence, index) is not None
    into = into and not _direction.held_in(sentence, index) and not came_to
    into = into or (state in ("made", "given") and _direction.received(sentence, index))
    into = into or (after[:1] == ("went",) and bool({"in", "into", "through"} & set(after[1:4]))) or (
        after[:1] in (("were",), ("was",)) and bool(words.GIVEN & set(after[1:2])))  # fmt: skip
    if state in ("made", "given") and _direction.goes_on_about_drug(sentence, index):
        return []
    if state in ("made", "given") and not set(after) & words.BENCH and (target is not None or into):
        scale = "each" if "each" in after[:3] or "every" in after[:3] else None
        what = next((m.id for m in base.mentions(sentence, "injectates")
                     if base.scope_at(sentence, "certainty", m.first, "affirmed") != "negated"), None)  # fmt: skip
        site = _direction.place(sentence, index) or _direction.headed(sentence, index)
        where = laterality.side_for(sentence, site.first, site.last, grammar)[0] if site and not scale else None
        return claim("injection_volume", 0, name=what, body_site=site.id if site else None, laterality=own or where,
                     scale=scale)  # fmt: skip
    if state == "made" and not bare and _direction.from_bone(sentence, index, grammar):
        return claim("draw", 4, laterality=side)
    phase = phases.of(reading, grammar)[sentence.index][index]
    noun = next((m for m in base.mentions(sentence, "injectates") if 0 < m.first - index <= 2), None)
    if not bare and noun is not None and _direction.given_product(sentence, index, noun.first, phase):
        return claim("injection_volume", 0, name=noun.id)
    if state == "made":
        return claim("product_volume") if _is_made(sentence, index, after, before) else []
    if state not in ("drawn", "named"):
        return []
    if bare and after and before[-1:] in (("next",), ("last",)):
        return []  # "next two at one and a half": how many
    alone = bare and state == "drawn" and _amount_lists.alone(sentence, index)
    if alone and _amount_lists.is_product(sentence, index, amounts):
        return claim("harvest_total", scale="total", laterality=own)
    if bare and after[:1] and after[0] in words.COUNTED_ALL:
        behind = index + 4 if index + 3 < len(tokens) and tokens[index + 2].norm == "of" else index + 2
        here = next((word for word in _words(sentence, behind, 4) if word in ("left", "right")), None)
        there: Laterality | None = "left" if here == "left" else "right" if here else side
        return _counted(reading, sentence, index, there)
    if bare and after and not _ends_amount(sentence, index, after):
        return []
    of_each = index >= 3 and tokens[index - 1].norm == "of" and tokens[index - 2].norm in words.COUNTED_ALL
    counted = tokens[index - 3].quantity if of_each else None
    if of_each and counted is not None and not counted.dimension:
        return claim("draw", 2, scale="each", laterality=side)
    if after == ("in",) and index + 2 < len(tokens) and (count := tokens[index + 2].quantity) is not None:
        nouns = tokens[index + 3].norm if index + 3 < len(tokens) else "."
        if count.dimension or count.form != "number" or nouns not in words.COUNTED_ALL | {".", ","}:
            return []
        return claim("harvest_total", scale="total", laterality=side)
    if state == "drawn" and not bare and own is not None and before[-1:] in _LED_BY_SIDE and not after:
        return claim("harvest_total", scale="total", laterality=own)  # "R 32 mL, L 28 mL"
    taken = _direction.from_bone(sentence, index, grammar)
    if (state == "named" and not taken) or _draws.is_label(sentence, index, quantity):
        return []
    told = _draws.ordinal(sentence, index)
    ordinal = told[0] if told is not None else "last" if "last" in before[-4:] else None
    more = _amount_lists.once_more(sentence, index) or index in _amount_lists.by_depth(sentence)
    moved = not bare and (_direction.moved(sentence, index) or _joined(sentence, index))
    if not (alone or _led(before) or _lists_on(sentence, index) or more or moved or taken):
        return []
    return claim("draw", 6 if bare else 12, name=ordinal, laterality=side)


def _multiplied(sentence: Sentence, index: int, amounts: Sequence[Decimal]) -> str | None:
    """The kinds of the numbers of "5 mL x 12 -> 60 mL", so many draws of so much and what they come to."""
    if _draws.count_behind(sentence, index):
        return "draw"
    if index > 1 and _draws.count_behind(sentence, index - 2):
        return "draw_count"
    tokens = sentence.tokens
    led = index > 3 and tokens[index - 1].norm in ("->", "=", ",") and (
        _draws.count_behind(sentence, index - 4) or _draws.times(sentence, index - 2)
    )
    if led and _amount_lists.is_product(sentence, index, amounts):
        return "harvest_total"
    if index + 2 < len(tokens) and _draws.times(sentence, index + 2) and not _direction.is_vessel(sentence, index + 3):
        return "draw_count"
    return "draw" if _draws.times(sentence, index) and not _direction.is_vessel(sentence, index + 1) else None


def _joined(sentence: Sentence, index: int) -> bool:
    """ "Advance 1 cm, 5 mL and 5 mL": joined to an amount that was drawn after a move."""
    tokens = sentence.tokens
    if index < 2 or tokens[index - 1].norm not in ("and", ",") or tokens[index - 2].norm != "#volume":
        return False
    return _direction.moved(sentence, index - 2)


def _is_sum(after: tuple[str, ...], before: tuple[str, ...]) -> bool:
    """ "Sixty all together", "that's thirty five"."""
    told = any(after[: len(said)] == said and set(after[len(said) :][:1]) <= _SUM_OF | words.MADE for said in _SUMMED)
    thats = before[-2:] in (("that", "is"), ("which", "is"), ("this", "is"))
    return told or bool(before and before[-1] in _SUMS_UP) or (thats and after[:1] == ("total",))


def _words(sentence: Sentence, first: int, count: int) -> tuple[str, ...]:
    """Up to so many words from `first` on, up to a mark or a number."""
    found: list[str] = []
    for token in sentence.tokens[first : first + count]:
        if token.punctuation or token.quantity is not None:
            break
        found.append(token.norm)
    return tuple(found)


def _words_before(sentence: Sentence, index: int) -> tuple[str, ...]:
    """The words right before a number, up to a mark other than ":" or a number."""
    found: list[str] = []
    for token in reversed(sentence.tokens[max(0, index - 8) : index]):
        if token.norm in ORDINALS or _is_ordinal(token):
            found.append(token.text.lower())
            continue
        if (token.punctuation and token.norm != ":") or token.quantity is not None:
            break
        found.append(token.norm)
    return tuple(reversed(found))


def _side_after(sentence: Sentence, index: int) -> Laterality | None:
    """ "From the right another thirty", "thirty from the left"."""
    behind = _words(sentence, index + 1, 3)
    if behind[:2] in (("on", "the"), ("on", "that")) and behind[2:] in (("left",), ("right",)):
        return "left" if behind[2] == "left" else "right"
    near = [*_words_before(sentence, index)[-4:], *_words(sentence, index + 1, 4)]
    sides = [word for word in near if word in ("left", "right")]
    return ("left" if sides[0] == "left" else "right") if len(set(sides)) == 1 and "from" in near else None


def _ends_amount(sentence: Sentence, index: int, after: tuple[str, ...]) -> bool:
    """Whether a bare number may be an amount: no noun follows that it would count."""
    sided = after[0] in ("left", "right") and after[1:] in ((), ("and",), ("then",))
    of_marrow = after[0] == "of" and bool(set(after[1:4]) & {"marrow", "aspirate", "blood", "it"})
    return sided or after[0] in _AFTER or of_marrow


_AFTER = frozenset("from in at then and again out more back on by this after with before for total turn rotate".split())


def _led(before: tuple[str, ...]) -> bool:
    """ "We drew thirty", "the second gave four", "from the right another thirty": a verb of drawing leads to it."""
    trimmed = list(before)
    while trimmed and trimmed[-1] in _FILL and trimmed[-1] != "another":
        trimmed.pop()
    if not trimmed:
        return False
    if trimmed[-1] in words.DREW | words.GOT:
        return True
    return trimmed[-1] in ORDINALS or "from" in trimmed[-4:]


def _lists_on(sentence: Sentence, index: int) -> bool:
    """ "Draws: ten, ten, eight and seven": the numbers of a list whose first one a verb or noun of drawing leads to."""
    at = index
    while at > 0:
        token = sentence.tokens[at - 1]
        if token.quantity is not None and token.quantity.dimension in ("", "volume"):
            at -= 1
        elif token.norm in _BETWEEN and at > 1:
            at -= 1
        else:
            break
    while at < index and sentence.tokens[at].quantity is None:
        at += 1
    if at > 1 and sentence.tokens[at - 1].norm == "of" and sentence.tokens[at - 2].norm in words.COUNTED_ALL:
        return False  # "six draws of five millilitres, thirty": what they make
    crest = at > 0 and sentence.tokens[at - 1].norm in CREST - {"side", "marrow"} and at < index
    crest = crest and not _amount_lists.runs_up(sentence, at)
    crest = crest or _amount_lists.begins_row(sentence, at)
    return crest or _led(_words_before(sentence, at)) or (at > 1 and sentence.tokens[at - 1].norm == ":" and (
        sentence.tokens[at - 2].norm in words.DREW | CREST))  # fmt: skip


_BETWEEN = frozenset({",", "and", "then", "left", "right"})  # "thirty right and twenty eight left"


def _is_made(sentence: Sentence, index: int, after: tuple[str, ...], before: tuple[str, ...]) -> bool:
    """ "Spun it, eight left", "concentrated to twelve", "gave us seven mils back", "BMC six mils"."""
    if after in (("left",), ("back",)) or after[:2] == ("came", "back"):
        return True
    tail = _beside_amount.but_side(sentence, index, before[-4:])
    if tail[-2:-1] in (("the",), ("on",)) and tail[-1:] == ("left",):
        return False  # "on the left four"
    if tail[-1:] in (("of",), ("for",)):
        return False
    if tail and tail[-1] in words.REMAINS:
        return True
    if (words.REMAINS | words.GOT) & set(tail) and after[:1] in ((), ("back",), ("of",)):
        return True
    led = index and any(m.last == index - 1 for m in base.mentions(sentence, "injectates"))
    return bool(led) and not after


def _is_route(sentence: Sentence, index: int) -> bool:
    """ "Then four intra-articular": a way in stands right behind the amount."""
    return any(route.first == index + 1 for route in base.mentions(sentence, "routes"))


def _counted(reading: Reading, sentence: Sentence, index: int, side: Laterality | None) -> list[Fact]:
    """ "Six pulls of ten", "five syringes of twelve": so many draws."""
    tokens = sentence.tokens
    held = tokens[index + 1].norm in words.COUNTED_VESSELS
    if _beside_amount.is_drilled(sentence, index + 1):
        return []  # "3.2 mm drill two passes each"
    if held and not (index + 3 < len(tokens) and tokens[index + 2].norm == "of" and tokens[index + 3].quantity):
        return []
    doubts = ("syringes were counted, not draws",) if held else ()
    return [base.claim("draw_count", reading, sentence, index, index, index + 1, -1, unit=None, laterality=side,
                       scale=_draws.at_each(sentence, index), doubts=doubts)]  # fmt: skip
