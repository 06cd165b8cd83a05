"""The amounts of a harvest, each with the words that are its own: those behind it up to where something new is told,
and those before it that the amount before it has not taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from pipeline import cues
from pipeline.extractors import _account_places, _draws, base
from pipeline.extractors import _amount_words as words
from pipeline.grammar import Grammar
from pipeline.records import Quantity, Reading, Sentence, Token

PRODUCTS = frozenset("bone-marrow-concentrate bone-marrow-aspirate platelet-rich-plasma platelet-lysate "
                     "autologous-blood autologous-fat stem-cells".split())  # fmt: skip
_DRAW = frozenset("draw draws pull pulls aspirate".split())  # "the second draw"
_DRAWN = frozenset("drawn drew aspirated".split())
_FATS = frozenset({"microfat", "nanofat", "lipoaspirate", "lipoaspirated"})
_PELVIS = frozenset({"ilium", "ilia", "pelvis"})  # where marrow is drawn from, by no word for it
_CITRATES = frozenset({"acd-a", "sodium-citrate"})  # what blood is drawn into that goes back in
_OPERATIONS = ("bone-marrow", "platelet", "prp", "lipofill", "fat-graft", "autologous-blood")


def is_told(reading: Reading, grammar: Grammar) -> bool:
    """Whether a narration tells of marrow, a blood product or fat that is taken and given: then the account
    (`account.py`) has its amounts."""
    known: bool | None = reading.memo.get("account-told")
    if known is None:
        known = reading.memo["account-told"] = any(
            _names_product(sentence, grammar) or is_fat(sentence, grammar) for sentence in reading.sentences
        ) or _of_own_blood(reading)
    return known


def _of_own_blood(reading: Reading) -> bool:
    """ "I took nine mils of blood from her left arm. Three mils of it were injected": blood out of a vein that goes in
    again, by no name of a product, and for no laboratory."""
    spun = any(sentence.says(_SPUN) for sentence in reading.sentences)  # "60 mL blood drawn, double spin"
    drawn = any(
        sentence.says({"blood"}) and sentence.says(_TAKEN) and (spun or sentence.says(_VEINS))
        and not sentence.says(_TESTED)
        and not any(one.norm == "blood" and two.norm == "pressure" for one, two in pairwise(sentence.tokens))
        for sentence in reading.sentences
    )
    return drawn and any(sentence.says(_PUT_IN) for sentence in reading.sentences)


_TAKEN = frozenset({"took", "taken", "drew", "drawn"})
_SPUN = frozenset("spun spin spins centrifuged centrifuge".split())
_VEINS = frozenset({"arm", "vein", "antecubital", "acf", "cubital", "forearm"})
_TESTED = frozenset("gas gases culture cultures count group match sample test tests lab laboratory".split())
_PUT_IN = frozenset({"injected", "instilled"})


def _names_product(sentence: Sentence, grammar: Grammar) -> bool:
    known: bool | None = sentence.memo.get("account-product")
    if known is None:
        spun = sentence.says({"platelets", "concentrate"}) and sentence.says({"spun", "spin", "centrifuged"})
        known = spun or _is_concentrate(sentence) or cues.has(sentence, grammar, "marrow") or any(
            m.id in PRODUCTS for m in base.mentions(sentence, "injectates")
        ) or any(sentence.tokens[hit.last].norm in _DRAW for hit in cues.hits(sentence, grammar, "harvest")) or any(
            m.id.startswith(_OPERATIONS) for m in base.mentions(sentence, "procedures", "acts")
        ) or sentence.says(_HARVESTS) and sentence.says(_VOLUMES) or sentence.says(_DRAWN) and (
            sentence.says(_PELVIS) or any(m.id in _CITRATES for m in base.mentions(sentence, "drugs"))
        )
        sentence.memo["account-product"] = known
    return known


def _is_concentrate(sentence: Sentence) -> bool:
    """ "The concentrate", "six mils of concentrate", by no other word of what: the product of a harvest."""
    return sentence.says({"concentrate"}) and any(
        one.norm in ("the", "of", "our", "this") and two.norm == "concentrate"
        for one, two in pairwise(sentence.tokens)
    )


_HARVESTS, _VOLUMES = frozenset({"harvest", "harvested"}), frozenset({"volume", "vol"})


def is_fat(sentence: Sentence, grammar: Grammar) -> bool:
    """Whether a sentence names fat that is grafted."""
    named = base.mentions(sentence, "injectates", "procedures", "acts", "processing")
    return sentence.says(_FATS) or any("fat" in m.id or "lipofill" in m.id or m.id == "emulsification" for m in named)


def is_drawn(sentence: Sentence) -> bool:
    """Whether a sentence tells that something was drawn or made of what was drawn: else all amounts are of what was
    given."""
    if not sentence.says(_DRAWING):
        return False
    products = {at for m in base.mentions(sentence, "injectates") if m.id in PRODUCTS
                for at in range(m.first, m.last + 1)}  # fmt: skip
    return any(token.norm in _DRAWING and (token.norm != "marrow" or at not in products)
               and (at + 1 == len(sentence.tokens) or sentence.tokens[at + 1].norm != "up")
               for at, token in enumerate(sentence.tokens))  # fmt: skip


_DRAWING = (
    words.DREW
    | words.CRESTS
    | words.MADE - {"concentrate"}
    | frozenset(
        "blood venous vein harvest harvested collected lipoaspirate iliac jamshidi trephine centrifuge aspiration "
        "fraction ilium pelvis marrow sac".split()
    )
)


@dataclass(frozen=True, slots=True)
class Amount:
    """A volume, or a bare number that may be one. `before` ends with the word next to it, `after` begins with it;
    `first` and `last` are the token indexes of the part that is its own."""

    sentence: Sentence
    index: int
    quantity: Quantity
    before: tuple[str, ...]
    after: tuple[str, ...]
    first: int
    last: int

    @property
    def bare(self) -> bool:
        return not self.quantity.dimension


def through_needle(amount: Amount) -> bool:
    """ "Eighty through each needle", "four through the first needle and four through the second"."""
    which = amount.after[1:2] == ("each",) or (amount.after[1:2] == ("the",) and amount.after[2:3] in _WHICH)
    named = bool(_NEEDLES & set(amount.after[1:6])) or (which and amount.sentence.says(_NEEDLES))
    return amount.after[:1] == ("through",) and named


_NEEDLES = frozenset("needle needles cannula cannulae cannulas".split())
_WHICH = (("first",), ("second",), ("third",), ("other",), ("#ordinal",))


def amounts(sentence: Sentence) -> list[Amount]:
    """The amounts of a sentence, in order."""
    found = [one for one in _amounts(sentence) if not _adds_things(sentence, one.index) and not _rinses(one.quantity)]
    for at in range(len(found) - 1):  # "four mL PRP and two mL BMAC were injected"
        one, other = found[at : at + 2]
        verbs = [place for place, norm in enumerate(other.after) if norm in words.IS]
        if other.before == ("and",) and verbs and words.GIVEN & set(other.after) and not words.IS & set(one.after) and (
            not words.PREPOSITIONS & set(one.after) - {"of"}
        ):
            found[at] = replace(one, after=one.after + other.after[verbs[0] :])
    for first in range(len(found)):
        last = first
        while last + 1 < len(found) and _leads(found[last], found[last + 1]):
            last += 1
        if last > first and _places_lead(found[first : last + 1]):
            for at in range(last, first, -1):
                found[at] = _with_place(found[at - 1], found[at])
            for at in range(first, last):
                cut = found[at].after.index("into")
                found[at] = replace(found[at], after=found[at].after[:cut], last=found[at].index + cut)
    return found


def _rinses(quantity: Quantity) -> bool:
    """Litres: no marrow or blood is drawn by them, a joint is washed with them."""
    return quantity.unit == "L" and quantity.value is not None and quantity.value >= 1


def _adds_things(sentence: Sentence, index: int) -> bool:
    """ "2 + 1 = 3 screws": counts that a sign adds, and what they come to."""
    tokens = sentence.tokens
    end = index
    while end + 2 < len(tokens) and tokens[end + 1].norm in ("+", "=") and tokens[end + 2].norm == "#number":
        end += 2
    noun = tokens[end + 1].norm if end + 1 < len(tokens) else ""
    return end > index and tokens[index].norm == "#number" and len(noun) > _NOUN and noun.endswith("s")


_NOUN = 3  # letters


def _leads(one: Amount, other: Amount) -> bool:
    """Whether nothing but a place stands between two amounts: "concentrate into the left knee five"."""
    return "into" in one.after and not other.before and one.index + len(one.after) + 1 == other.index


def _places_lead(run: Sequence[Amount]) -> bool:
    """ "Eight and a half of concentrate into the left knee five into the right three and a half": each place stands
    before its amount, since none stands behind the last."""
    if set(run[-1].after[:1]) & {"into", "in", "to"}:
        return False
    whole, parts = run[0].quantity.value, [one.quantity.value or Decimal(0) for one in run[1:]]
    return run[0].after[:1] == ("of",) or run[0].before[-1:] == ("to",) or whole == sum(parts, Decimal(0))


def _with_place(before: Amount, amount: Amount) -> Amount:
    place = before.after[before.after.index("into") :]
    return replace(amount, before=place, first=amount.index - len(place))


def _amounts(sentence: Sentence) -> Iterator[Amount]:
    tokens = sentence.tokens
    numbers = [at for at, _ in cues.numbers(sentence) if not _names(sentence, at)]
    for place, index in enumerate(numbers):
        quantity = cues.unit_of(sentence, index)
        if quantity is None or quantity.dimension not in ("", "volume") or quantity.form not in _FORMS:
            continue
        low = numbers[place - 1] if place else -1
        high = numbers[place + 1] if place + 1 < len(numbers) else len(tokens)
        first = _split(sentence, low, index) if low >= 0 else 0
        last = _split(sentence, index, high) - 1
        row = cues.listed(sentence, index)
        if len(row) > 1 and row[-1] != index and last == index:  # "five, four and five millilitres of marrow"
            low, end = row[-1], next((at for at in numbers if at > row[-1]), len(tokens))
            after = _norms(tokens[low + 1 : _split(sentence, low, end)])
            after = after if after[:1] == ("of",) else ()
        else:
            after = _norms(tokens[index + 1 : last + 1])
        while after[:1] in ((",",), ("(",), ("-",)):
            after = after[1:]
        yield Amount(sentence, index, quantity, _norms(tokens[first:index]), after, first, last)


_FORMS = ("number", "range", "fraction")


def _norms(tokens: tuple[Token, ...] | list[Token]) -> tuple[str, ...]:
    return tuple([token.norm for token in tokens])


def _names(sentence: Sentence, at: int) -> bool:
    """Whether a number names something: "the second", "draw two nine mils", "the last one five"."""
    quantity = sentence.tokens[at].quantity
    if quantity is None or quantity.form == "ordinal" or _draws.is_label(sentence, at, quantity):
        return True
    before = sentence.tokens[at - 1].norm if at else ""
    if before in words.COUNTED and not quantity.dimension and [
        token.norm for token in sentence.tokens[at + 1 : at + 2]
    ] == [":"]:
        return True  # "pass 1: 10 mL"
    if before in words.COUNTED_VESSELS | _PLACES and not quantity.dimension and (quantity.value or 99) <= _MOST and (
        at + 1 < len(sentence.tokens) and (behind := sentence.tokens[at + 1].quantity) is not None
        and behind.form != "ordinal"
    ):
        return True  # "syringe one ten mils"
    return quantity.value == 1 and not quantity.dimension and before in ("last", "this", "that", "first", "next") and (
        sentence.tokens[at].text.lower() == "one"
    )


_PLACES = frozenset({"hole", "track", "puncture", "site"})  # "hole one ten mils"
_MOST = 12  # syringes of one harvest


def _split(sentence: Sentence, low: int, high: int) -> int:
    """Where the words between two numbers go over from the first to the second."""
    known: dict[tuple[int, int], int] = sentence.memo.setdefault("account-splits", {})
    if (low, high) not in known:
        known[low, high] = _where_split(sentence, low, high)
    return known[low, high]


def _where_split(sentence: Sentence, low: int, high: int) -> int:
    tokens = sentence.tokens
    at = low + 1
    if at < high and tokens[low].norm == "#number" and tokens[at].norm in words.COUNTED_ALL:
        return at + 1
    if _opens_total(sentence, low, high):
        return low + 1
    if (place := _account_places.leading(sentence, low, high)) is not None:
        return place  # "of PRP right knee seven left knee five"
    own = tokens[low].quantity
    if own is not None and own.dimension not in ("", "volume") and high - low <= _NEAR_NEXT:
        return low + 1  # "spun for fifteen minutes to seven millilitres"
    while at < high:
        token = tokens[at]
        if token.norm in (",", "(", "-") and (end := _fate_behind(sentence, at + 1, high)) > at:
            at = end
            continue
        if (token.punctuation and token.norm != "/") or (token.quantity is not None and not _led(sentence, at)):
            break
        if token.norm == "and" and _goes_on(sentence, at + 1, high):
            at += 2
            continue
        if token.norm in words.OPENS and not _led(sentence, at):
            break
        if at == low + 2 and _account_places.ends_in(sentence, low, high):
            break  # "right knee six mils in, left knee eleven"
        if at > low + 1 and (token.norm == "ebl" or token.norm == "blood" and tokens[at + 1].norm == "loss"):
            break  # "the whole five mils in blood loss ten"
        if token.norm in words.COUNTED and tokens[at + 1 : at + 2] and tokens[at + 1].quantity is not None:
            break  # "ten mils draw three only six"
        if at > low + 1 and token.norm in _HEADS and _heads(sentence, at, high):
            break  # "sixty mils drawn final product six mils"
        if token.norm in ("with", "to") and high - at <= 2 and high < len(tokens) and at > low + 1:
            break  # "sixty mils in all with six of citrate", "thirty mils spun to nine"
        if at > low + 1 and token.norm in words.DOES and tokens[at - 1].norm not in words.IS and _leads_to(
            sentence, at, high
        ):
            break
        at += 1
    ends = high == len(tokens)
    if at == high and not ends and tokens[low + 1].norm not in words.TRAILS:
        return low + 1
    return at


def _heads(sentence: Sentence, at: int, high: int) -> bool:
    """Whether a word for what was made is the name of the number at `high`, and none of what goes before it."""
    tokens = sentence.tokens
    if high >= len(tokens) or tokens[at - 1].norm in words.PREPOSITIONS | _ARTICLES or high - at > _NEAR_NEXT:
        return False
    return all(token.norm in _HEADS | words.IS | {":", "of"} for token in tokens[at:high])


_HEADS = frozenset("final product volume concentrate concentrated bmac prp yield yields result end".split())
_NEAR_NEXT = 3  # tokens


def _opens_total(sentence: Sentence, low: int, high: int) -> bool:
    """ "Third pull four mils total fifteen", "four millilitres, total aspirate 22": the word is of the greater number
    behind it."""
    tokens = sentence.tokens
    if high >= len(tokens) or tokens[low + 1].norm != "total" or high - low > _TO_TOTAL:
        return False
    if not all(token.norm in _OF_TOTAL for token in tokens[low + 2 : high]):
        return False
    one, whole = tokens[low].quantity, tokens[high].quantity
    return one is not None and whole is not None and (one.value or 0) < (whole.value or 0)


_TO_TOTAL = 5
_OF_TOTAL = frozenset("aspirate marrow volume of is was : harvest blood".split())


def _goes_on(sentence: Sentence, at: int, high: int) -> bool:
    """ "Drawn up and injected into the hip", "left in the syringe and discarded": what further became of the amount."""
    tokens = sentence.tokens
    if at >= high or tokens[at].norm not in words.GIVEN | words.LOST:
        return False
    after = at + 1
    while after < high and tokens[after].norm in _PARTICLES:
        after += 1
    if after == high and after > at + 1 and high < len(tokens):
        return False  # "and put in twenty five": the verb of the next
    behind = tokens[at + 1] if at + 1 < len(tokens) else None
    return behind is None or (behind.quantity is None and behind.norm != "the")


_PARTICLES = frozenset({"in", "back", "about", "only", "out", "all"})


def _leads_to(sentence: Sentence, at: int, high: int) -> bool:
    """Whether a verb leads to the number at `high`."""
    ahead = sentence.tokens[at:high]
    return high < len(sentence.tokens) and high - at <= _SOON and not any(token.punctuation for token in ahead)


def _fate_behind(sentence: Sentence, at: int, high: int) -> int:
    """ "Twenty mils, discarded", "(total)": the end of a word behind a mark that tells of the amount before it."""
    tokens = sentence.tokens
    end = at
    if at + 1 < high and tokens[at].norm in words.IS and tokens[at + 1].norm in words.GIVEN | words.LOST | words.KEPT:
        while end < high and not tokens[end].punctuation and tokens[end].norm not in words.OPENS:
            end += 1
        return end
    while end < high and end - at < 4 and tokens[end].norm in words.FATE:
        end += 1
    done = end == high == len(tokens) or (end < high and tokens[end].punctuation)
    done = done or (end < high and tokens[end].norm in words.OPENS)
    return end if end > at and done else -1


_SOON = 4  # tokens from a verb to the amount that it leads to


def _led(sentence: Sentence, at: int) -> bool:
    """ "Seventeen on that side", "into the second syringe": a preposition leads to the word."""
    before = [token.norm for token in sentence.tokens[max(0, at - 2) : at]]
    return bool(before) and (
        before[-1] in words.PREPOSITIONS or (before[-1] == "the" and before[0] in words.PREPOSITIONS)
    )


def plain(before: Sequence[str]) -> tuple[str, ...]:
    """The words before an amount without articles and the like at their end."""
    told = list(before)
    while told and (told[-1] in _ARTICLES or told[-1] in (":", ",")):
        told.pop()
    return tuple(told)


_ARTICLES = frozenset("the a an of it about around roughly approximately only just some say nearly almost".split())
