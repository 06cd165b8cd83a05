"""Injections of what is no medicine: what, how deep, which needle; and how much of it, where it is not taken from the
patient (cement, contrast): amounts of marrow, blood products and fat are in `account.py`."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline import cues, laterality, owners, phases, sidewise
from pipeline.extractors import _account_parts, _beside_amount, _direction, _drug_mixture, _put_in, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Quantity, Reading, Sentence

KINDS = ("injection", "injection_volume", "injection_total", "injection_depth", "injection_needle", "measurement")

_NAMING = frozenset({"bone-marrow-injection", "platelet-rich-plasma-injection"})  # they name what is injected
_UNNAMED = "what was injected was not said"
_REACH = 45
_NOT_INJECTED = frozenset(
    {"sent", "kept", "left", "remained", "remaining", "stored", "retained", "discarded", "frozen", "saved"}
)
_INTO = 12
_INJECTION_NEEDLES = ("spinal-needle", "block-needle", "tuohy-needle")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    named = False  # whether anything that can be injected has been said so far
    for sentence, parts in zip(reading.sentences, phases.of(reading, grammar), strict=True):
        named = named or any(True for _ in base.mentions(sentence, "injectates", "drugs", "fluids"))
        named = named or any(m.id in _NAMING for m in base.mentions(sentence, "procedures", "acts"))
        # marrow that was drawn is what goes in, by whatever word
        named = named or (cues.has(sentence, grammar, "marrow") and cues.has(sentence, grammar, "draw", "draw-noun"))
        first = len(facts)
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None and quantity.form in ("number", "range", "fraction"):
                facts += _number(reading, sentence, grammar, index, quantity, parts[index])
        if not named:
            facts[first:] = [replace(fact, doubts=(*fact.doubts, _UNNAMED)) if fact.kind == "injection_volume" else fact
                             for fact in facts[first:]]  # fmt: skip
        facts += _injectates(reading, sentence, grammar)
    return facts


def _injectates(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    verbs = cues.hits(sentence, grammar, "injected")
    for mention in base.mentions(sentence, "injectates"):
        near = [
            hit for hit in verbs
            if cues.gap(sentence, min(hit.last, mention.last), max(hit.first, mention.first)) <= _REACH
        ]  # fmt: skip
        if near:
            facts.append(
                base.make("injection", reading, sentence, mention.first, mention.last, name=mention.id,
                          laterality=_side(sentence, mention, near[0], grammar),
                          body_site=_where(sentence, near[0]),
                          group=f"i{base.group_of(sentence, near[0].first)}")
            )  # fmt: skip
    return facts


def _side(sentence: Sentence, mention: Mention, verb: cues.Hit, grammar: Grammar) -> Laterality | None:
    """The side right at what was injected ("steroid to the left heel, PRP right Achilles"), else that of the verb."""
    own, _ = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=True)
    return own or laterality.side_for(sentence, verb.first, verb.last, grammar)[0]


def _where(sentence: Sentence, verb: cues.Hit) -> str | None:
    """The first site after "into", "in" or "to" behind the verb."""
    for site in base.mentions(sentence, "sites"):
        between = [token.norm for token in sentence.tokens[verb.last + 1 : site.first]]
        if site.first > verb.last and len(between) <= 6 and {"into", "in", "to", "around", "at"} & set(between):
            return site.id
    return None


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, phase: str
) -> list[Fact]:
    told = _account_parts.is_told(reading, grammar)
    if quantity.dimension in ("", "volume") and told:
        return []  # `account.py` has them
    if told and phase != "harvest" and quantity.dimension == "length" and (deep := _deep(sentence, index)) is not None:
        return [base.claim("injection_depth", reading, sentence, index, index, deep, _BELOW_COST, unit=quantity.unit)]
    verb = cues.nearest(sentence, grammar, index, "injected")
    if verb is None and phase == "":
        return _put_in.cement(reading, sentence, index, quantity) or _put_in.put_into(
            reading, sentence, grammar, index, quantity
        )

    def claim(kind: str, near: tuple[int, cues.Hit], **fields: Any) -> Fact:
        price, hit = near
        group = f"i{base.group_of(sentence, verb[1].first if verb is not None else hit.first)}"
        if kind in ("injection_volume", "injection_total"):
            said = any(side.first < index for side in laterality.sides(sentence, grammar))
            both = said and fields.get("scale") == "total" and (
                laterality.only_side(sentence, 0, index, grammar, donors=False) is None
            )  # "into both thighs and the left calf for a total of 20 mL"
            fields.setdefault("laterality", None if both else sidewise.side_of(sentence, index, grammar) or (
                None if sidewise.told(sentence, grammar)
                else laterality.side_for(sentence, hit.first, hit.last, grammar)[0]))
        return base.claim(
            kind, reading, sentence, index, hit.first, hit.last, price,
            **{"unit": quantity.unit, "group": group, **fields},
        )  # fmt: skip

    facts: list[Fact] = []
    if verb is not None and _leads_another(sentence, index, verb[1]):
        return []
    elsewhere = _goes_elsewhere(sentence, index) or _is_distance(sentence, index, quantity)
    elsewhere = elsewhere or owners.is_whole_of_share(sentence.tokens, index)
    elsewhere = elsewhere or _direction.to_bench(sentence, index) or _of_drug(sentence, index)
    elsewhere = elsewhere or _direction.from_bone(sentence, index, grammar)
    if phase == "injection" and quantity.dimension == "length" and _below_line(sentence, index):
        last = min(index + 4, len(sentence.tokens) - 1)
        return [base.claim("measurement", reading, sentence, index, index, last, _BELOW_COST, unit=quantity.unit,
                           text=cues.words(sentence, index + 1, last))]  # fmt: skip
    if quantity.dimension == "volume" and verb is not None and verb[0] <= _REACH and not elsewhere:
        facts.append(
            claim("injection_volume", (verb[0] + (_MEDICINE if _is_medicine(sentence, index, verb[1]) else 2), verb[1]),
                  name=_what(sentence, index), scale=cues.scale(sentence, index))
        )  # fmt: skip
    what = _what(sentence, index)
    ahead = range(index + 1, min(index + 4, len(sentence.tokens)))
    into = next((at for at in ahead if sentence.tokens[at].norm == "into"), None)
    if quantity.dimension == "volume" and not elsewhere and (verb is None or verb[0] > _INTO):
        if into is not None and phase in ("injection", "harvest"):
            scale = cues.scale(sentence, index)
            sided = {"laterality": None} if scale == "each" else {}  # "from the left arm ... five mils into each knee"
            facts.append(claim("injection_volume", (8, cues.Hit("into", into, into)), name=what, scale=scale, **sided))
        given = cues.nearest(sentence, grammar, index, "given")
        if what is not None and given is not None and given[0] <= 16:
            facts.append(claim("injection_volume", (given[0], given[1]), name=what, scale=cues.scale(sentence, index)))
    if not facts and not elsewhere and (led := _led_on(sentence, grammar, index, quantity)) is not None:
        facts.append(claim("injection_volume", (_LED_ON, led), name=what, scale=cues.scale(sentence, index)))
    given_before = phase == "harvest" and _direction.after_giving(sentence, index)
    if quantity.dimension in ("volume", "") and (phase == "injection" or given_before):
        total = cues.nearest(sentence, grammar, index, "total")
        if total is not None and (
            total[1].last < index and _closes(sentence, total[1].first) or _direction.is_drawn(sentence, index)
        ):
            total = None
        if total is not None and total[1].last == index - 1 and _drug_mixture.is_own_share(sentence, index):
            total = None  # "combined 3 mL of lidocaine with 3 mL of bupivacaine"
        if total is not None and cues.sums(sentence, total[1], index) and total[0] <= (20 if quantity.dimension else 4):
            facts.append(claim("injection_total", (max(0, total[0] - 6), total[1]), scale="total"))
    if phase != "harvest" and quantity.dimension in ("gauge", "length") and _is_injection(sentence, grammar, index):
        needle = cues.nearest(sentence, grammar, index, "injection-needle")
        if needle is not None and needle[0] <= (20 if quantity.dimension == "gauge" else 10):
            own = quantity.dimension == "length" and _beside_gauge(sentence, index)
            facts.append(claim("injection_needle", (_OWN if own else needle[0], needle[1])))
    if phase != "injection":
        return facts
    if quantity.dimension == "length":
        depth = cues.nearest(sentence, grammar, index, "depth")
        if depth is not None and depth[0] <= 20:
            facts.append(claim("injection_depth", depth))
    return facts


def _leads_another(sentence: Sentence, index: int, verb: cues.Hit) -> bool:
    """ "Yield 5 mL, inj 4.5 mL": the word behind a comma has the amount right behind it."""
    tokens = sentence.tokens
    if verb.first != index + 2 or tokens[index + 1].norm not in (",", ";") or verb.last + 1 >= len(tokens):
        return False
    own = tokens[verb.last + 1].quantity
    return own is not None and own.dimension == "volume"


def _is_distance(sentence: Sentence, index: int, quantity: Quantity) -> bool:
    """ "To within five of the joint line": how near, where no unit says otherwise."""
    return quantity.dimension == "" and any(
        token.norm in ("within", "short") for token in sentence.tokens[max(0, index - 1) : index + 2]
    )


def _beside_gauge(sentence: Sentence, index: int) -> bool:
    """ "A 22 gauge spinal needle 3.5 inch": the length of the needle whose gauge was just said."""
    for token in reversed(sentence.tokens[max(0, index - _GAUGE_REACH) : index]):
        if token.quantity is not None:
            return token.quantity.dimension == "gauge"
        if token.norm not in _OF_NEEDLE:
            return False
    return False


_OWN, _GAUGE_REACH = -1, 5
_OF_NEEDLE = frozenset({",", "spinal", "needle", "long", "of", "x", "by", "a", "block"})


def _of_drug(sentence: Sentence, index: int) -> bool:
    """ "Four mils of half percent ropivacaine": the amount of a medicine, whatever else was injected."""
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    if after != "of" or any(index < m.first <= index + 3 for m in base.mentions(sentence, "injectates")):
        return False
    named = any(True for _ in base.mentions(sentence, "injectates"))
    return named and any(index < m.first <= index + 4 for m in base.mentions(sentence, "drugs"))


def _below_line(sentence: Sentence, index: int) -> bool:
    """ "A 13 gauge trocar 10 mm below the joint line": where it went in, and not how long it is."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 5]]
    return after[:1] in (["below"], ["above"], ["from"]) and bool({"line", "cartilage", "joint"} & set(after))


_BELOW_COST = -5


def _deep(sentence: Sentence, index: int) -> int | None:
    """ "Forty centimetres under the cortex", "two centimetres deep": the last token of what tells that it is a depth
    of what went in; None for a lesion, and for how near to the joint."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[index + 1 : index + 5]]
    if after[:1] == ["deep"] and not _beside_amount.of_a_lesion(sentence, index):
        return index + 1
    if after[:1] and after[0] in ("under", "below", "beneath", "past") and set(after[1:3]) & _SURFACES:
        return index + 1
    return None


_SURFACES = frozenset({"cortex", "skin", "surface", "bone", "periosteum"})


def _closes(sentence: Sentence, total: int) -> bool:
    """ "Sixty millilitres in total, turned supine, five millilitres into the tear": the total is of what stands before.
    """
    before = sentence.tokens[total - 1].quantity if total else None
    return before is not None and before.dimension == "volume"


def _is_medicine(sentence: Sentence, index: int, verb: cues.Hit) -> bool:
    """ "Lidocaine 1 %, 4 x 3 mL, was infiltrated": a drug is what was injected, and nothing else is named."""
    drugs = [mention.last for mention in base.mentions(sentence, "drugs") if mention.last < index]
    if not drugs or any(True for _ in base.mentions(sentence, "injectates")):
        return False
    return verb.first > index or verb.last < drugs[-1]


_MEDICINE = 70
_LED_ON = 12


def _led_on(sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity) -> cues.Hit | None:
    """The verb of a number that goes on about an injection: "injected four mils into the joint and two beside it",
    "six mils, the right with four and the left with two", "four mL PRP and two mL BMAC were injected"."""
    verbs = cues.hits(sentence, grammar, "injected")
    before = [hit for hit in verbs if hit.last < index]
    volumes = [at for at, _ in base.quantities(sentence, "volume")]
    bare = quantity.dimension == "" and quantity.form == "number"
    if bare and [token.norm[:9] for token in sentence.tokens[index + 1 : index + 2]] == ["injection"]:
        return None  # "in 30 mL, 20 injection sites"
    if bare and volumes and volumes[0] < index:  # "eight mils, six were injected and two kept"
        beside = next((hit for hit in verbs if 0 < hit.first - index <= 2), None)
        if beside is not None and all(t.norm in _PASSIVE for t in sentence.tokens[index + 1 : beside.first]):
            return beside
    if before and bare and index in sidewise.parallel(sentence, grammar) and any(
        before[-1].last < mention.first < index for mention in base.mentions(sentence, "injectates")
    ) and not _others(sentence, before[-1], index):
        return before[-1]  # "injected with prp, five into the left, four and a half into the right"
    if before and (quantity.dimension == "volume" or (bare and sidewise.side_of(sentence, index, grammar) is not None)):
        first = next((at for at in volumes if before[-1].last < at < index), None)
        started = first is not None or (before[-1].first > 0 and any(at < before[-1].first for at in volumes))
        inside = sentence.tokens[before[-1].last + 1 : index]
        if started and not any(token.norm in _ENDS for token in inside) and not _others(sentence, before[-1], index):
            return before[-1]
    after = next((hit for hit in verbs if hit.first > index), None)
    if after is None or quantity.dimension != "volume":
        return None
    named = any(mention.first > index and cues.cost(sentence, index, mention.first, mention.last) <= _BESIDE
                for mention in base.mentions(sentence, "injectates"))  # fmt: skip
    inside = sentence.tokens[index + 1 : after.first]
    return after if named and not any(token.norm in _ENDS or token.norm in _NOT_INJECTED for token in inside) else None


def _others(sentence: Sentence, verb: cues.Hit, index: int) -> bool:
    """Whether a drug, a fluid or a device that may own the number is named behind the verb."""
    return any(mention.first > verb.last and abs(mention.first - index) <= _NEAR
               for mention in base.mentions(sentence, "drugs", "fluids", "devices"))  # fmt: skip


_ENDS = frozenset({";", ".", "aspirated", "drawn", "removed", "drained", "lavage", "irrigated", "counts"})
_PASSIVE = frozenset({"were", "was", "of"})
_BESIDE, _NEAR = 6, 6


def _goes_elsewhere(sentence: Sentence, index: int) -> bool:
    """ "Two millilitres were left": no injection; "four millilitres into the left hip" is one."""
    norms: list[str] = []
    for token in sentence.tokens[index + 1 : index + 4]:
        if token.punctuation or token.quantity is not None:
            break
        norms.append(token.norm)
    if "left" in norms and {"the", "into", "to", "in"} & set(norms[: norms.index("left")]):
        norms.remove("left")
    if ("put" in norms and "back" in norms) or (index and sentence.tokens[index - 1].norm == "from"):
        return True  # "concentrate that was made from fifty eight mils"
    return bool(_NOT_INJECTED & set(norms)) or _only_drawn_up(sentence, index) or _direction.held_in(sentence, index)


def _only_drawn_up(sentence: Sentence, index: int) -> bool:
    """ "Ten mils drawn up, six injected": made ready, and what was given is told with a number of its own."""
    told: list[str] = []
    for token in sentence.tokens[index + 1 : index + 12]:
        if token.quantity is not None or token.norm in (",", ";"):
            break
        told.append(token.norm)
    return ("prepared" in told[:4] or ["drawn", "up"] in (told[:2], told[1:3])) and not any(
        norm.startswith(("inject", "infiltrat", "given", "instill")) for norm in told
    )


_OTHER_NEEDLES = frozenset(
    {"cryo", "cryoneedles", "cryosurgical", "cryoablation", "freezing", "frozen", "seed", "seeds", "biopsy", "core",
     "localization", "portal", "portals"}
)  # fmt: skip


def _is_injection(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    if any("needle" in mention.id and -_GAUGE_REACH < mention.first - index <= 4 and mention.id in _INJECTION_NEEDLES
           for mention in base.mentions(sentence, "devices")):  # fmt: skip
        return True
    injects = any(True for _ in base.mentions(sentence, "drugs", "injectates"))
    if not injects and _OTHER_NEEDLES & {token.norm for token in sentence.tokens}:
        return False  # "17-gauge needles into the prostate, frozen": they inject nothing
    return bool(cues.around(sentence, grammar, index, index, "injected", "depth")) or any(
        abs(mention.first - index) <= 14 for mention in base.mentions(sentence, "drugs", "injectates")
    )


def _what(sentence: Sentence, index: int) -> str | None:
    ranked = [
        (cues.cost(sentence, index, mention.first, mention.last), mention.id)
        for mention in base.mentions(sentence, "injectates")
        if base.scope_at(sentence, "certainty", mention.first, "affirmed") != "negated"  # "ten mils in, no contrast"
    ]
    if len({ident for _, ident in ranked}) == 1:
        return ranked[0][1]  # "four mils of concentrate into the left hip and three into the right"
    return min(ranked)[1] if ranked and min(ranked)[0] <= _REACH else None
