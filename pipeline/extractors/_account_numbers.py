"""Which numbers of a harvest are amounts of it, and not of a drug or of what holds it, nor count something; and the
side, the part and the product that an amount's own words name."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _account_headed, _account_told, _beside_amount, _direction, _draws, base
from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount, plain, through_needle
from pipeline.grammar import Grammar
from pipeline.records import Laterality, Mention, Sentence
from pipeline.rows import Drug


def another(amount: Amount, grammar: Grammar) -> str:
    """"agent" or "drug" where a drug stands in the amount's own phrase, "vessel" for what a thing holds, else ""."""
    sentence, index = amount.sentence, amount.index
    tokens = sentence.tokens
    if amount.after[:1] and amount.after[0] in words.VESSELS | words.SIZED | {"kit", "kits", "cannula", "filter"}:
        return "vessel"
    rows = grammar.table("drugs", Drug)
    if _is_so_much(sentence, index):
        return "drug"
    for mention in base.mentions(sentence, "drugs", "fluids"):
        if mention.first == index + 1 and _tallied(amount):
            continue  # "the tally was thirty five millilitres heparin had been ..."
        if mention.first > index:
            at = index + 1
            while at < mention.first and (tokens[at].norm in ("of", "the", "plain", "some") or _strength(sentence, at)):
                at += 1
            own = at == mention.first
        else:
            at = index - 1
            while at > mention.last and (tokens[at].norm in (",", ":", "was", "about", "at", "-", "(", "each") or
                                         _strength(sentence, at)):
                at -= 1
            own = at == mention.last and not _owned_before(sentence, mention, grammar)
            own = own and not (
                amount.after[:1] and amount.after[0] in words.OUT and amount.after[1:2] not in (("up",), ("from",))
            )  # "rinsed with heparin, fifty four drawn"
            own = own and not (amount.after[:1] == ("of",) and amount.after[1:2] and amount.after[1] in _OWN)
        if own:
            agent = mention.table == "drugs" and "anticoagulant" in rows[mention.id].classes
            return "agent" if agent else "drug"
    if amount.quantity.form == "range" and amount.after[:2] == ("of", "marrow") and sentence.says({"citrate", "acd"}):
        return "agent"  # "ACD-A 8 mL to 52 mL of marrow"
    if {"each", "every"} & set(amount.after[:4]) and _in_vessels(amount) and any(
        m.last < index and "anticoagulant" in rows[m.id].classes for m in base.mentions(sentence, "drugs")
    ):
        return "agent"  # "heparin in the syringes, half a millilitre in each"
    if agent_summed(amount, grammar) is not None:
        return "agent"
    if plain(amount.before)[-1:] == ("anticoagulant",) and amount.before[-1:] != (",",):
        return "agent"
    spoken = amount.after[:2] == ("of", "anticoagulant") or amount.after[:1] == ("anticoagulant",)
    return "agent" if spoken else ""


_OWN = words.PRODUCTS | {"marrow", "blood", "fat", "microfat", "nanofat", "plasma", "lipoaspirate", "aspirate"}


def _tallied(amount: Amount) -> bool:
    """Whether the drug behind an amount is of the next number: "that's seventy mils heparin two thousand units"."""
    if amount.before[-1:] in (("that's",), ("thats",), ("so",), ("makes",)) or amount.before[-2:] == ("that", "is"):
        return True
    return bool({"total", "tally", "sum"} & set(amount.before[-3:])) and amount.before[-1:] in (("was",), ("is",))


def _is_so_much(sentence: Sentence, index: int) -> bool:
    """ "2 mL (20 mg) at the knee": what has a dose is a drug, named or not."""
    behind = sentence.tokens[index + 1 : index + 3]
    dose = behind[1].quantity if len(behind) > 1 and behind[0].norm == "(" else None
    return dose is not None and dose.unit in ("mg", "ug", "g")


def _in_vessels(amount: Amount) -> bool:
    said = [token.norm for token in amount.sentence.tokens[max(0, amount.first - 12) : amount.last + 6]]
    held = bool(words.VESSELS & set(said)) and not {"drawn", "drew", "aspirated", "pulled"} & set(amount.after)
    return held and not words.DREW & set(said[-(len(amount.after) + 6) :])


def _strength(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity
    return quantity is not None and quantity.dimension not in ("volume", "")


def agent_summed(amount: Amount, grammar: Grammar) -> Mention | None:
    """The anticoagulant that a sum is of: "heparin, half a millilitre per syringe, 12 syringes = 6 mL"."""
    sentence, rows = amount.sentence, grammar.table("drugs", Drug)
    told = sentence.tokens[: amount.index]
    if not _account_headed.is_sum(amount) or words.SOURCES & {token.norm for token in told}:
        return None
    return next((m for m in base.mentions(sentence, "drugs") if m.last < amount.index - 1
                 and "anticoagulant" in rows[m.id].classes
                 and not any(token.quantity is not None for token in told[: m.first])
                 and any(token.quantity is not None for token in told[m.last + 1 :])), None)  # fmt: skip


def _owned_before(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "Six mils of ACD, fifty four of marrow": the drug has its amount before it."""
    at = mention.first - 1
    while at >= 0 and (sentence.tokens[at].norm in ("of", "the") or _strength(sentence, at)):
        at -= 1
    return at >= 0 and sentence.tokens[at].norm in ("#volume", "#number")


def counts(amount: Amount) -> bool:
    """ "Six pulls", "6 draws x 8 mL", "6 x 8 mL", "8 mL x 6": so many draws."""
    sentence, index = amount.sentence, amount.index
    if not amount.bare or amount.quantity.form != "number":
        return False
    if amount.after[:1] and amount.after[0] in words.COUNTED | {"aspirations", "aspiration"}:
        return not _beside_amount.is_drilled(sentence, index + 1)
    if amount.after[:1] == ("times",) and index and amount.sentence.tokens[index - 1].norm == "#volume":
        return True  # "six millilitres eight times"
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    if behind[1:] and behind[1] in words.COUNTED and behind[0] in ("more", "further", "small"):
        return True
    if behind == ["more", "of"] and sentence.tokens[index + 3 : index + 4] and (
        sentence.tokens[index + 3].norm in ("#number", "#volume")
    ):
        return True  # "four more of six"
    if amount.before[-1:] in (("another",), ("further",)) and amount.after == ("of",) and (
        sentence.tokens[index + 2 : index + 3] and sentence.tokens[index + 2].norm in ("#number", "#volume")
    ):
        return True  # "another three of ten"
    of_each = amount.after[:1] and amount.after[0] in words.COUNTED_VESSELS and (
        [token.norm for token in sentence.tokens[index + 2 : index + 3]] in (["of"], ["x"], ["\u00d7"])
    )
    if of_each and index + 3 < len(sentence.tokens) and sentence.tokens[index + 3].norm in ("#volume", "#number"):
        return True
    if index + 2 < len(sentence.tokens) and _draws.times(sentence, index + 2):
        return not _direction.is_vessel(sentence, index + 3)
    return index > 1 and _draws.count_behind(sentence, index - 2)


def is_amount(amount: Amount) -> bool:
    """Whether a number may be an amount: no part, no pace, and of a bare one that no noun follows that it counts."""
    tokens, index = amount.sentence.tokens, amount.index
    led = tokens[index - 1].norm if index else ""
    if led == "every" or amount.quantity.comparator in ("<", ">", "<=", ">="):
        return False  # "a quarter turn every two mils", "drains out when below thirty"
    if amount.after[:2] in (("is", "what"), ("was", "what")) or _draws.is_part(amount.sentence, index):
        return False  # "eighteen is what I had planned"
    if amount.bare and amount.sentence.says(_VISITS) and any(
        quantity.unit in ("wk", "mo") for _, quantity in base.quantities(amount.sentence, "time")
    ):
        return False  # "shoe six weeks, film at two and six"
    if amount.bare and any(m.last == index - 1 for m in base.mentions(amount.sentence, "grades")):
        return False  # "KL 3"
    if not amount.bare:
        return amount.quantity.form in ("number", "range", "fraction")
    pair = index + 2 < len(tokens) and tokens[index + 1].norm == "by" and tokens[index + 2].quantity is not None
    if led == "by" or pair:
        return False  # "grade four medial condyle twelve by ten": a size
    if index + 2 < len(tokens) and tokens[index + 1].norm == "of" and tokens[index + 2].norm == "#number" and (
        led in words.PRODUCTS | {"injection", "session", "treatment"}
    ):
        return False  # "PRP 3 of 3": one of a series
    if index + 1 < len(tokens) and (weight := tokens[index + 1].quantity) is not None and weight.dimension == "mass":
        return False  # "sixty one, seventy four kilos": an age
    out_at = index > 1 and tokens[index - 2].norm in ("out", "back")
    if (led == "at" and not out_at) or led == "for" or _COUNTS & set(amount.before[-5:]):
        return False  # "first draw at one and a half", "the blood for five", "platelet count in the blood 210"
    counted = index > 1 and (
        tokens[index - 2].norm in ("a", "another", "full", "half", "quarter", "#number", "#volume", ".", ",")
    )  # "a turn, five more", "three turn three"
    again = index > 1 and led == "needle" and tokens[index - 2].norm == "same"  # "same needle five"
    if (led in words.TURNED and not counted) or led in {"within", "every", "x", "needle", "number"} and not again or (
        led == "#gauge" and not {"into", "in"} & set(amount.after[:1])
    ):
        return False
    moved = words.MOVES | {"out", "in", "further", "deeper", "more"}
    if led == "#length" and not moved & {token.norm for token in tokens[max(0, index - 4) : index - 1]}:
        return False  # "8 mm 2", but "back one centimetre five"
    if led in ("next", "last") and amount.after[:1] in (("at",), ("of",)):
        return False  # "next two at one and a half"
    behind = tokens[index + 1] if index + 1 < len(tokens) else None
    if behind is not None and amount.quantity.value == 1 and behind.norm in words.MADE:
        return False  # "one spin of five minutes"
    if behind is None or behind.punctuation:
        return amount.quantity.form == "number" or not behind
    if behind.quantity is not None and behind.quantity.form != "ordinal":
        sized = tokens[index + 2].norm if index + 2 < len(tokens) else ""
        return behind.quantity.dimension != "gauge" and sized not in words.VESSELS  # "four ten mil syringes"
    if amount.quantity.form == "fraction":
        return behind.norm in ("was", "left", "stays", "of")
    sited = amount.quantity.value != 1 and not behind.norm.endswith("s") and any(
        m.first == index + 1 for m in base.mentions(amount.sentence, "sites", "processing")
    )
    return sited or behind.norm in _MAY_FOLLOW or behind.quantity is not None or through_needle(amount)


def names_mixture(amount: Amount) -> bool:
    """Whether the sentence of an amount tells that it holds what the marrow was mixed with, or names the vessel of
    both: "total aspirate, twenty two" after twenty and a kit primed with two does not."""
    return amount.sentence.says(_MIXED) or any(m.table == "drugs" for m in amount.sentence.mentions)


_MIXED = frozenset("with citrate acd acda heparin anticoagulant bag bags mixed mixture together syringe syringes incl "
                   "including plus cup bowl tube tubes".split())  # fmt: skip
_VISITS = frozenset("film films xray x-ray xrays review clinic visit boot shoe crutches brace sling follow-up "
                    "appointment".split())  # fmt: skip
_COUNTS = frozenset("count platelets platelet ficat arco grade stage speed rpm minutes weeks age number".split())
_MAY_FOLLOW = (words.PREPOSITIONS - {"per", "through"}) | words.OPENS | words.DOES | words.MADE | words.COUNTED
_MAY_FOLLOW |= words.ROUTES | words.GIVEN | words.LOST | words.IS | frozenset(
    "left right l r total altogether each all more back went came together combined out made discarded again both "
    "third fourth superolateral not threw".split()
)


def product_of(amount: Amount) -> Mention | None:
    """What is given, named in the amount's own words."""
    named = base.mentions(amount.sentence, "injectates")
    return next((m for m in named if amount.first <= m.first <= amount.last), None)


def site_of(amount: Amount) -> Mention | None:
    """The part of the body that an amount's own words name, behind it before those that lead to it."""
    sites = [m for m in base.mentions(amount.sentence, "sites") if "crest" not in m.id and m.id != "skin"]
    behind = [m for m in sites if amount.index < m.first <= amount.last and _NOTHING.isdisjoint(
        token.norm for token in amount.sentence.tokens[amount.index : m.first]
    )]  # fmt: skip
    ahead = [m for m in sites if amount.first <= m.first < amount.index]
    return behind[0] if behind else ahead[-1] if ahead else None


def own_side(amount: Amount) -> Laterality | None:
    """ "From the left", "on the right", "left knee first four mils"."""
    after = amount.after[:_SIDE_REACH]
    after = after[: next((at for at, word in enumerate(after) if word in _NOTHING), None)]
    for at, word in enumerate(after):
        if word in ("left", "right") and set(after[max(0, at - _LED_BY) : at]) & _TO:
            return "left" if word == "left" else "right"
    short = next((at for at, word in enumerate(after[:-1]) if word in _SHORT and after[at + 1] in _DONORS), None)
    if short is not None and not _SAME_AGAIN & set(after[short + 2 : short + 4]):
        return _SHORT[after[short]]  # "18 mL blood R arm"; not "fifty mils left crest the same again"
    before = [word for word in amount.before[-6:] if word in ("left", "right", "l", "r")]
    if before and amount.before[-1] != "left":
        return "left" if before[-1] in ("left", "l") else "right"
    return None


_SAME_AGAIN = frozenset({"same", "again", "likewise", "identical"})
_NOTHING = frozenset({"nothing", "none"})  # "all of it into the joint, nothing went into the left knee"
_SHORT: dict[str, Laterality] = {"l": "left", "r": "right", "left": "left", "right": "right"}
_DONORS = frozenset("arm acf forearm psis asis crest iliac flank thigh abdomen".split())
_SIDE_REACH, _LED_BY = 9, 4
_TO = frozenset({"from", "on", "into", "in", "to", "the"})


def is_at_donor(amount: Amount) -> bool:
    """Whether a part that fat is taken from stands among an amount's own words."""
    return any(amount.first <= m.first <= amount.last and m.id in _account_told.DONOR
               for m in base.mentions(amount.sentence, "sites"))  # fmt: skip


def is_loss(amount: Amount, grammar: Grammar) -> bool:
    """Whether an amount is of blood that was lost, not of blood that was taken: "thirty mils of blood from the arm"."""
    for hit in cues.hits(amount.sentence, grammar, "blood-loss"):
        if _has_number(amount, hit.last) and hit.first > amount.index + 1:
            continue  # "the whole five mils in, blood loss ten"
        if amount.first <= hit.first <= amount.last + 1 and not (
            hit.first == amount.index + 1 and _TAKEN & {*amount.before[-6:], *amount.after}
        ):
            return True
    return False


def _has_number(amount: Amount, last: int) -> bool:
    """Whether a number of its own follows the words of blood loss that end at `last`."""
    behind = [token for token in amount.sentence.tokens[last + 1 : last + 4] if token.norm not in _TO_LOSS]
    return bool(behind) and behind[0].quantity is not None


_TO_LOSS = frozenset("was is : of about".split())
_TAKEN = frozenset({"took", "take", "drew", "drawn", "from", "aspirated", "venous"})


def of_trocar(sentence: Sentence, at: int) -> bool:
    """Whether a gauge is of what draws or drills, or of a needle by its name, whose words tell its side too."""
    near = {token.norm for token in sentence.tokens[max(0, at - 3) : at + 5]}
    behind = {token.norm for token in sentence.tokens[at + 1 : at + 3]}
    return bool(near & _TROCARS or behind & {"spinal", "block", "tuohy"})


_TROCARS = frozenset("trocar jamshidi trephine wire cannula reamer crest".split())


def is_product(amount: Amount) -> bool:
    """Whether the product is named right behind an amount: "five mils of PRP"."""
    return bool(set(amount.after[:3]) & words.ALL_PRODUCTS)


def is_wetting(amount: Amount) -> bool:
    """ "Tumescent 250 mL", "200 mL of Klein infiltrated": what the donor site was filled with."""
    said = {*amount.before[-4:], *amount.after[:5]}
    return not amount.bare and bool(said & {"tumescent", "klein", "tumescence", "wetting"} or (
        {"infiltrated", "infiltration"} & said and not said & words.ALL_PRODUCTS
    ))
