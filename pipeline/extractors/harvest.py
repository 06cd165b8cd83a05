"""Marrow and graft harvest: draws, their count and total, what became of them, and how the needle moved.

A harvest is told over several sentences, so every number is read in its phase: a phase begins with a word of the
harvest (marrow, crest, draw, donor site) and ends with a word of the injection or of the closure.
"""

from __future__ import annotations

from typing import Any

from pipeline import cues, phases
from pipeline.extractors import _amount_lists, _beside_amount, _direction, _draw_counts, _draws, _processing, base
from pipeline.extractors import _amount_words as words
from pipeline.extractors._draws import ordinal, side_at
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence
from pipeline.rows import Drug

KINDS = (
    "draw", "draw_count", "harvest_total", "discarded_volume", "anticoagulant_share", "product_volume", "processing",
)  # fmt: skip

_THROWN = -6  # before any other claim
_TOTAL_REACH, _DRAW_REACH, _PRODUCT_REACH, _DISCARD_REACH = 24, 45, 30, 24


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence, parts in zip(reading.sentences, phases.of(reading, grammar), strict=True):
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None and quantity.form in ("number", "range", "fraction") and (
                not _direction.is_size_of_vessel(sentence, index)
            ):
                facts += _number(reading, sentence, grammar, index, quantity, parts[index])
        facts += _processing.told(reading, sentence, parts)
    return facts


_OF_SKIN = frozenset({"dermatome", "epidermal", "autografts", "split-thickness", "stsg", "ssg"})


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, phase: str
) -> list[Fact]:
    spun = _spun(sentence, grammar, index)
    if quantity.dimension == "volume" and index and sentence.tokens[index - 1].norm == "every":
        return []  # "a quarter turn every two mils"
    if sentence.says(_OF_SKIN):
        return []  # "autografts were harvested at 8 thousandths of an inch"

    def claim(kind: str, near: tuple[int, cues.Hit], **fields: Any) -> Fact:
        price, hit = near
        if kind in _SIDED:
            both = kind == "harvest_total" and _draws.sums_both(reading, sentence, index)
            fields["laterality"] = None if both else side  # "thirty left, thirty right, sixty in all"
        fields = {"unit": quantity.unit, **fields}
        return base.claim(kind, reading, sentence, index, hit.first, hit.last, price, **fields)

    facts: list[Fact] = []
    if quantity.dimension == "volume":
        near = cues.nearest(sentence, grammar, index, "discarded")
        if near is not None and near[0] <= _DISCARD_REACH and not (
            _parted(sentence, index, near) or _beside_amount.goes_on_then(sentence, index, near[1].last)
        ):
            facts.append(claim("discarded_volume", (max(0, near[0] - 6), near[1])))
    if quantity.dimension == "volume" and _direction.thrown(sentence, index):
        return [base.claim("discarded_volume", reading, sentence, index, index, index, _THROWN, unit=quantity.unit,
                           **_direction.as_ordered(sentence, index))]  # fmt: skip
    if quantity.dimension == "volume" and phase:
        product = cues.nearest(sentence, grammar, index, "product")
        given = cues.nearest(sentence, grammar, index, "injected", "given")
        injected = given is not None and given[0] <= _DRAW_REACH and not _parted(sentence, index, given)
        if product is not None and _direction.given_product(sentence, index, product[1].first, phase):
            product = None
        injected = injected or _direction.led_in(sentence, index) or _direction.all_in(sentence, index)
        injected = injected or _direction.to_part(sentence, index) or _beside_amount.product_in(sentence, index)
        if _direction.held_in(sentence, index) and _draws.counts_before(sentence, grammar, index):
            product = None  # "eight pulls, forty mils in the syringes, spun"
        if sentence.says(_OF) and _direction.names_drug(sentence, index):
            product = None  # "five millilitres of ACD-A, spun twelve minutes"
        part_of = product is not None and product[1].first < index and (
            not _beside_amount.but_side(sentence, index, (sentence.tokens[product[1].last].norm,))
        )
        part_of = part_of or (product is not None and product[1].first < index and _direction.to_bench(sentence, index))
        if product is not None and (part_of or _beside_amount.is_placed(sentence, index)):
            product = None  # "BMAC 2 mL under fibrin at the plug"
        if product is not None and (injected or _goes_in(sentence, grammar, index, product[1])):
            product = None
        if spun != "from" and _direction.from_bone(sentence, index, grammar):
            product = None
        if product is not None and product[0] <= _PRODUCT_REACH and spun != "from":
            facts.append(claim("product_volume", product))
    if (spun == "to" or _draws.got_back(sentence, index)) and quantity.dimension in ("volume", "") and phase:
        facts.append(base.claim("product_volume", reading, sentence, index, index - 1, index, 2, unit=quantity.unit))
    if quantity.dimension == "fraction":
        share = cues.nearest(sentence, grammar, index, "share")
        said = cues.nearest(sentence, grammar, index, "share-of")
        near_word = said is not None and said[0] <= 3
        reach = _SHARE_OF_REACH if near_word and phase else _SHARE_REACH if phase else _SHARE_BESIDE
        if share is not None and share[0] <= reach:
            facts.append(claim("anticoagulant_share", (0 if near_word else share[0] + 8, share[1])))
    if spun == "from" and phase and quantity.dimension in ("volume", "") and _is_spun(sentence, index):
        facts.append(base.claim("harvest_total", reading, sentence, index, index, index + 1, 2, unit=quantity.unit,
                                scale="total", text=_draws.AS_SPUN))  # fmt: skip
    if phase != "harvest" or spun:
        return facts
    side = None if _of_both(sentence, index) else side_at(sentence, grammar, index)
    if quantity.dimension in ("volume", "") and _draws.holds_agent(sentence, index):
        return [*facts, base.claim("harvest_total", reading, sentence, index, index, index + 1, -1, unit=quantity.unit,
                                   scale="total", text=_draws.WITH_AGENT)]  # fmt: skip
    if quantity.dimension in ("volume", "") and (
        _draws.is_product(sentence, grammar, index) or _draws.sums_so(sentence, index)
    ):
        return [base.claim("harvest_total", reading, sentence, index, index, index, 0, unit=quantity.unit,
                           scale="total", laterality=side)]  # fmt: skip
    if quantity.dimension == "volume" and (
        _draw_counts.follows_counted(sentence, index) or _draw_counts.in_draws(sentence, grammar, index)
        or (_direction.held_in(sentence, index) and not _direction.into_one(sentence, index) and (
            sentence.tokens[index + 1].norm == "into" or _draws.counts_before(sentence, grammar, index)
        ))
        or _draws.behind_count(sentence, grammar, index)
    ):
        facts.append(
            base.claim("harvest_total", reading, sentence, index, index, index, 4, unit=quantity.unit, scale="total",
                       laterality=side)
        )  # fmt: skip
    if quantity.dimension in ("volume", ""):
        total = cues.nearest(sentence, grammar, index, "total")
        if total is not None and not cues.sums(sentence, total[1], index):
            total = None
        if total is not None and any(m.last < index and m.first >= total[1].first - 2
                                     for m in base.mentions(sentence, "drugs")):  # fmt: skip
            total = None  # "total lidocaine includes ten mils"
        if total is not None and _direction.after_giving(sentence, index):
            total = None
        summed = _is_summed_up(sentence, index)
        if total is not None and not quantity.dimension and _direction.is_vessel(sentence, index + 1):
            total = None  # "ninety altogether in two bags"
        if total is not None and total[1].last < index and not summed and _direction.of_other(sentence, index):
            total = None  # "fifty eight total, six mils of ACD"
        cement = [mention.last for mention in base.mentions(sentence, "devices") if mention.id == "bone-cement"]
        if any(0 <= index - last <= _CEMENT_REACH for last in cement):
            total = None
        if not quantity.dimension and _direction.is_vessel(sentence, index + 1):
            total = None  # "total 30 mL in 2 syr"
        if not quantity.dimension and not cues.around(sentence, grammar, index, index, "draw", "draw-noun"):
            total = total if any(at < index for at, _ in base.quantities(sentence, "volume")) else None
        if total is not None and total[0] <= (_TOTAL_REACH if quantity.dimension else 6):
            price = -1 if summed else max(0, total[0] - 8)
            facts.append(claim("harvest_total", (price, total[1]), scale="total"))
    if quantity.dimension == "volume":
        facts += _draw(reading, sentence, grammar, index, quantity)
    elif quantity.dimension == "" and quantity.form == "number":
        facts += (
            _bare_draw(reading, sentence, grammar, index, side)
            or _listed_draw(reading, sentence, grammar, index, side)
            or _short_draw(reading, sentence, grammar, index, side)
        )
        if _draws.times(sentence, index + 2) and not _direction.is_vessel(sentence, index + 3):
            facts.append(base.claim("draw_count", reading, sentence, index, index, index + 2, 4, unit=None,
                                    laterality=side))  # fmt: skip
        if index > 1 and _draws.count_behind(sentence, index - 2) and (
            cues.around(sentence, grammar, index - 2, index, "draw", "draw-noun")
        ):
            facts.append(base.claim("draw_count", reading, sentence, index, index - 2, index, 4, unit=None,
                                    laterality=side))  # fmt: skip
        noun = cues.nearest(sentence, grammar, index, "draw-noun")
        every = noun is not None and sentence.tokens[noun[1].first - 1].norm in ("a", "every", "per")  # "at a time"
        drilled = noun is not None and _beside_amount.is_drilled(sentence, noun[1].first)
        if noun is not None and noun[1].first > index and noun[0] <= 8 and not every and not drilled:
            facts.append(claim("draw_count", noun, scale=_draws.at_each(sentence, index)))
    return facts


def _is_summed_up(sentence: Sentence, index: int) -> bool:
    """ "The tally was thirty five millilitres heparin had been ...": the sum, whatever stands behind it."""
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    return len(before) == 2 and before[0] in ("tally", "total", "sum") and before[1] in ("was", "is", ":")


def _of_both(sentence: Sentence, index: int) -> bool:
    """ "Left crest four pulls, right crest four, so that makes eight draws, eighty": what both sides come to."""
    before = {token.norm for token in sentence.tokens[max(0, index - 5) : index]}
    return bool({"makes", "make", "altogether", "total", "all"} & before) and _draws.both_told(sentence, index)


_SIDED = ("draw_count", "harvest_total")
_CEMENT_REACH = 16  # tokens: "cement four millilitres left and right, together five and a half"
_SHARE_OF_REACH, _SHARE_REACH, _SHARE_BESIDE = 90, 40, 16


def _draw(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> list[Fact]:
    if cues.around(sentence, grammar, index, index, "blood-loss") or _draw_counts.in_draws(sentence, grammar, index):
        return []
    if _draws.behind_count(sentence, grammar, index) or _draws.is_concentrate(sentence, index) or (
        _draws.is_part(sentence, index)
    ):
        return []
    if index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm in words.PRODUCTS | {"product", "buffy"}:
        return []  # "we ended up with 6 mL concentrate"
    if _direction.held_in(sentence, index) and _draws.counts_before(sentence, grammar, index):
        return []
    if index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm == "of" and (
        _direction.of_other(sentence, index)
    ):
        return []  # "twenty mils of half percent lidocaine at the crest"
    if _amount_lists.in_proportion(sentence, index):
        return []  # "so six mils for fifty four"
    if any(mention.last == index - 1 for mention in base.mentions(sentence, "drugs")):
        return []  # "ten pulls citrate five mils"
    if _direction.goes_on_about_drug(sentence, index) and not _is_of_agent(sentence, grammar, index):
        return []  # "lidocaine 3 mL skin at harvest, 2 mL at the knee"
    if any(m.id in _MADE and 0 < m.first - index <= 3 for m in base.mentions(sentence, "injectates")):
        return []  # "eight mils of bone marrow concentrate were drawn up": no draw from the bone
    if _direction.received(sentence, index):
        return []  # "the right hip got four mils"
    if _direction.goes_in(sentence, index) or _direction.looks_like_fluid(sentence, index) or (
        _direction.out_of_joint(sentence, index) is not None
    ):
        return []
    ahead = sentence.tokens[index + 1 : index + 5]
    if len(ahead) == 4 and ahead[0].norm == "to" and ahead[1].quantity is not None and ahead[2].norm == "of":
        return []  # "citrate, eight mils to fifty two of marrow"
    near = cues.nearest(sentence, grammar, index, "draw", "draw-noun", "marrow")
    if (near is None or near[0] > _DRAW_REACH) and _draws.times(sentence, index):
        near = _TIMES, cues.Hit("draw", index - 2, index - 1)  # "L: 5 x 10 mL; R: 5 x 10 mL", where marrow was named
    side = side_at(sentence, grammar, index)
    told = ordinal(sentence, index)
    if told is not None:
        name, at, price = told
        return [
            base.claim("draw", reading, sentence, index, at, at, price, name=name, unit=quantity.unit, laterality=side,
                       scale=cues.scale(sentence, index))
        ]  # fmt: skip
    if near is None or near[0] > _DRAW_REACH:
        return []
    named = [range(m.first, m.last + 1) for m in base.mentions(sentence, "injectates")]
    drawn = min(
        ((cues.cost(sentence, index, verb.first, verb.last), verb.first)
         for verb in cues.hits(sentence, grammar, "draw") if not any(verb.first in span for span in named)),
        default=None,
    )  # fmt: skip
    rows = grammar.table("drugs", Drug)
    others = any("anticoagulant" not in rows[m.id].classes for m in base.mentions(sentence, "drugs"))
    if drawn is None and near[1].id == "marrow" and others:
        return []  # "lidocaine, ten mils at the crest"
    given = cues.nearest(sentence, grammar, index, "injected")
    if given is not None and given[0] <= _DRAW_REACH and (drawn is None or given[0] <= drawn[0]):
        return []  # "six millilitres of marrow concentrate were injected"
    price, hit = near
    scale = cues.scale(sentence, index)
    counted = scale is None and _draw_counts.counted(sentence, index) and not _draw_counts.more_follow(sentence, index)
    counted = counted or _draws.times(sentence, index) or _draws.count_behind(sentence, index)
    if counted or _draws.of_many(sentence, grammar, index):
        scale = "each"
    if scale == "total":
        return []
    return [
        base.claim("draw", reading, sentence, index, hit.first, hit.last, price, unit=quantity.unit, scale=scale,
                   laterality=side)
    ]  # fmt: skip


def _is_of_agent(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """Whether the drug told last before a number is an anticoagulant, or marrow was drawn since."""
    drugs = [m for m in base.mentions(sentence, "drugs") if m.last < index]
    since = {token.norm for token in sentence.tokens[drugs[-1].last + 1 : index]}
    return "anticoagulant" in grammar.table("drugs", Drug)[drugs[-1].id].classes or bool(since & words.OUT)


def _spun(sentence: Sentence, grammar: Grammar, index: int) -> str:
    """ "Fifty mils filtered down to eight": "from" for what went in, "to" for what was left, "" for any other number.
    """
    tokens = sentence.tokens
    if _is_spun(sentence, index):
        return "from"
    for hit in cues.hits(sentence, grammar, "reduced-to"):
        if hit.last == index - 1:
            return "to"
        led = not any(token.punctuation for token in tokens[index + 1 : hit.first])
        if 0 < hit.first - index <= 3 and led and hit.last + 1 < len(tokens) and tokens[hit.last + 1].quantity:
            return "from"
    return ""


def _is_spun(sentence: Sentence, index: int) -> bool:
    """ "60 mL spun", "sixty mils were spun for fourteen minutes": what went into the centrifuge."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 3] if token.norm not in ("was", "were")]
    of_drug = any(drug.last == index - 1 for drug in base.mentions(sentence, "drugs"))  # "citrate six mils spun to two"
    return behind[:1] in (["spun"], ["centrifuged"]) and not of_drug


def _goes_in(sentence: Sentence, grammar: Grammar, index: int, product: cues.Hit) -> bool:
    """ "We injected six millilitres, the right with four mils of concentrate": what follows the verb went in too."""
    if sentence.tokens[product.last].norm not in _PRODUCT_NOUNS:
        return False
    verbs = [hit for hit in cues.hits(sentence, grammar, "injected") if hit.last < index]
    return bool(verbs) and not cues.around(sentence, grammar, index, index, "discarded")


_OF = frozenset({"of"})
_PRODUCT_NOUNS = frozenset({"concentrate", "product", "bmac"})
_MADE = frozenset({"bone-marrow-concentrate", "platelet-rich-plasma"})


def _parted(sentence: Sentence, index: int, near: tuple[int, cues.Hit]) -> bool:
    """Whether another number stands before a later word and takes it: "eight were made, six were injected"."""
    return any(token.quantity is not None for token in sentence.tokens[index + 1 : near[1].first])


def _bare_draw(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, side: Laterality | None
) -> list[Fact]:
    """ "First draw five, second draw six", "four draws of five": a draw whose unit was not said."""
    noun = cues.nearest(sentence, grammar, index, "draw-noun")
    if _draw_counts.counted(sentence, index) and noun is not None and noun[1].last == index - 2:
        return [base.claim("draw", reading, sentence, index, noun[1].first, noun[1].last, 4, unit=None, scale="each",
                           laterality=side)]  # fmt: skip
    told = ordinal(sentence, index)
    if told is None or told[2] > _BARE_REACH or not cues.has(sentence, grammar, "draw", "draw-noun"):
        return []
    after = sentence.tokens[index + 1 : index + 2]
    if after and not after[0].punctuation and after[0].norm not in _AFTER_BARE and after[0].quantity is None:
        return []
    name, at, price = told
    return [base.claim("draw", reading, sentence, index, at, at, price, name=name, unit=None, laterality=side)]


def _listed_draw(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, side: Laterality | None
) -> list[Fact]:
    """ "In four draws, fifteen, fifteen, ten and ten": at least two bare numbers in a row after the word for a draw."""
    first = last = index
    while first > 0 and _draw_counts.goes_on(sentence, first - 1):
        first -= 1
    while last + 1 < len(sentence.tokens) and _draw_counts.goes_on(sentence, last + 1):
        last += 1
    listed = [at for at in range(first, last + 1) if sentence.tokens[at].quantity is not None]
    nouns = [hit for hit in cues.hits(sentence, grammar, "draw-noun", "draw") if 0 < first - hit.last <= 2]
    if len(listed) < 2 or not nouns or any(h.first == last + 1 for h in cues.hits(sentence, grammar, "draw-noun")):
        return []
    return [
        base.claim("draw", reading, sentence, index, nouns[-1].first, nouns[-1].last, 12, unit=None, laterality=side)
    ]


def _short_draw(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, side: Laterality | None
) -> list[Fact]:
    """ "Thirty mils from the left and thirty from the right", "the last one was twelve": the unit is left out."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[index + 1 : index + 5]]
    volume = any(at < index for at, _ in base.quantities(sentence, "volume"))
    if volume and after[:1] == ["from"] and {"left", "right", "second", "other"} & set(after):
        return [base.claim("draw", reading, sentence, index, index, index, 10, unit=None, laterality=side)]
    if _amount_lists.in_proportion(sentence, index):
        return []  # "one mil to nine of marrow"
    if after[:2] == ["of", "marrow"] and set(after[2:4]) & {"altogether", "total", "together"}:
        return [base.claim("harvest_total", reading, sentence, index, index, index + 2, 2, unit=None, scale="total")]
    if after[:2] == ["of", "marrow"] or after[:3] == ["of", "bone", "marrow"]:
        before = [token.norm for token in tokens[max(0, index - 2) : index]]
        if before in (["that", "is"], ["which", "is"]) or before[-1:] in (["that's"], ["so"], ["makes"]):
            unit = next((one.unit for at, one in base.quantities(sentence, "volume") if at < index), None)
            lent = f"the unit of {tokens[index].text} was not said; taken as that of the draws before it"
            return [base.claim("harvest_total", reading, sentence, index, index, index + 2, 3, unit=unit,
                               scale="total", doubts=(lent,) if unit else ())]  # fmt: skip
        return [base.claim("draw", reading, sentence, index, index, index + 2, 10, unit=None, laterality=side)]
    last = next((hit for hit in cues.hits(sentence, grammar, "last-draw") if 0 < index - hit.last <= 2), None)
    if last is None or (index - last.last == 2 and tokens[index - 1].norm not in _IS):
        return []
    listed = any(at < last.first for at, _ in base.quantities(sentence, "volume", ""))
    doubts = ("more than one number was said for the last draw",) if listed else ()
    return [base.claim("draw", reading, sentence, index, last.first, last.last, 3, name="last", unit=None,
                       laterality=side, doubts=doubts)]  # fmt: skip


_TIMES = 12
_IS = frozenset({"was", "were", "gave", "yielded", ",", ":", "only", "of"})


_BARE_REACH = 20
_AFTER_BARE = frozenset({"and", "then", "total", "in", "for", "was", "were", "filtered", "discarded"})
