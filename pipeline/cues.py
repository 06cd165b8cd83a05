"""What a number is about: cue phrases (grammars/cues.toml) and the distance between a number and a phrase.

A cue is no concept of its own; it only tells what the number beside it measures ("blood loss", "set at").
Cues are found apart from mentions, so that a cue inside a longer phrase of another table is still found.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate

from pipeline import enumerations, scales
from pipeline.grammar import Grammar
from pipeline.mentions import folded as folded
from pipeline.mentions import split_phrase
from pipeline.records import Quantity, Sentence, Token, quick

# What words between a number and its phrase cost. Common practice, no source: tuned on narrations of our own.
_GLUE = frozenset((
    "of", "was", "is", "are", "were", "at", "to", "the", "a", "an", "with", "approximately", "about", "roughly",
    "around", "set", "up", "in", "measured", "measuring", "estimated", "total", "totaling", "totalling", "size",
    "sized", "number", "as", "be", "been", "being", "for", "by", "it", "its", "from", "#", "only", "just", "say",
    "some", "per", "plus", "had", "has", "have", "came", "used", "using", "this", "that", "there", "then", "also",
    "another", "additional", "further",
))  # fmt: skip
_MARK_COST = {",": 12, ":": 0, "-": 2, "—": 10, "/": 6, "(": 2, ")": 4, ";": 60, ".": 60, "?": 60, "!": 60}
_WORD_COST = {"and": 16, "or": 16, "but": 60, "while": 40, "whereas": 60, "then": 20, "which": 14, "after": 20,
              "before": 20, "until": 20}  # fmt: skip
_GLUE_COST, _WORD, _SAME, _OTHER = 1, 7, 30, 4
FAR = 1000


@quick
@dataclass(frozen=True, slots=True)
class Hit:
    """A cue found at tokens first..last (inclusive)."""

    id: str
    first: int
    last: int


@lru_cache(maxsize=4)
def _index(grammar: Grammar) -> dict[str, list[tuple[tuple[str, ...], str]]]:
    """First folded word -> [(all folded words, cue id)], longest first; made once for a grammar."""
    index: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    for ident, row in grammar.tables.get("cues", {}).items():
        for phrase in row.say:
            words = tuple(split_phrase(phrase))
            if words:
                index.setdefault(words[0], []).append((words, ident))
    for entries in index.values():
        entries.sort(key=lambda entry: (-len(entry[0]), entry))
    return index


def _by_id(sentence: Sentence, grammar: Grammar) -> dict[str, list[Hit]]:
    """{cue id: its places}. This and the like are kept per sentence, since every extractor asks for them."""
    known: tuple[Grammar, dict[str, list[Hit]]] | None = sentence.memo.get("cues")
    return known[1] if known is not None and known[0] is grammar else _found(sentence, grammar)


_CREST = ("crest",)
_OTHER_CRESTS = frozenset("lacrimal tibial alveolar neural supinator intertrochanteric nasal turbinate".split())


def _found(sentence: Sentence, grammar: Grammar) -> dict[str, list[Hit]]:
    hits: dict[str, list[Hit]] = {}
    index, words = _index(grammar), folded(sentence)
    for first, word in enumerate(words):
        for phrase, ident in index.get(word, ()):
            if words[first : first + len(phrase)] == phrase:
                if phrase == _CREST and first and words[first - 1] in _OTHER_CRESTS:
                    continue  # "the lacrimal crest": no marrow comes from there
                hit = Hit(ident, first, first + len(phrase) - 1)
                kept = hits.setdefault(ident, [])
                if not any(other.first <= hit.first and other.last >= hit.last for other in kept):
                    kept.append(hit)
    sentence.memo["cues"] = grammar, hits
    return hits


def numbers(sentence: Sentence) -> tuple[tuple[int, Quantity], ...]:
    """(token index, quantity) of every number of the sentence, in order."""
    found: tuple[tuple[int, Quantity], ...] | None = sentence.memo.get("numbers")
    if found is None:
        found = sentence.memo["numbers"] = tuple(
            (at, token.quantity) for at, token in enumerate(sentence.tokens) if token.quantity is not None
        )
    return found


def hits(sentence: Sentence, grammar: Grammar, *ids: str) -> list[Hit]:
    """Cues of these ids (all when none is named), in order; of one id the longest at a place."""
    known = _by_id(sentence, grammar)
    if len(ids) == 1:
        return known.get(ids[0], [])
    if not known or (ids and known.keys().isdisjoint(ids)):
        return []
    chosen = [hit for ident in (ids or known) if ident in known for hit in known[ident]]
    return sorted(chosen, key=lambda hit: (hit.first, -hit.last, hit.id)) if len(chosen) > 1 else chosen


def has(sentence: Sentence, grammar: Grammar, *ids: str) -> bool:
    """Whether the sentence holds one of these cues."""
    return not _by_id(sentence, grammar).keys().isdisjoint(ids)


def listed(sentence: Sentence, index: int) -> tuple[int, ...]:
    """The indexes of the enumeration that the number at `index` belongs to, itself included, in order.

    "five, five, four and five millilitres": joined by commas and "and", all but the last bare, or at least three (two
    joined by "and") of the same unit.
    """
    known: dict[int, tuple[int, ...]] = sentence.memo.setdefault("listed", {})
    if index not in known:
        known[index] = enumerations.members(sentence.tokens, index)
    return known[index]


def unit_of(sentence: Sentence, index: int) -> Quantity | None:
    """The quantity at `index`; a bare member of a list takes the unit said at the list's end."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.unit is not None:
        return quantity
    last = sentence.tokens[listed(sentence, index)[-1]].quantity
    if last is None or last.unit is None:
        return quantity
    return Quantity(
        quantity.value, quantity.low, quantity.high, last.unit, last.said_unit, last.dimension,
        quantity.comparator, quantity.form, quantity.text,
    )  # fmt: skip


def gap(sentence: Sentence, low: int, high: int, dimension: str | None = None) -> int:
    """What the tokens between low and high (both exclusive) cost."""
    if high <= low + 1:
        return 0
    sums: list[int] | None = sentence.memo.get("prices")
    if sums is None:
        sums = sentence.memo["prices"] = [*accumulate(map(_price, sentence.tokens), initial=0)]
    price = sums[min(high, len(sentence.tokens))] - sums[low + 1]
    if dimension is None:
        return price
    same = [at for at, quantity in numbers(sentence) if low < at < high and quantity.dimension == dimension]
    return price + len(same) * (_SAME - _OTHER)


def _price(token: Token) -> int:
    """What one token between a number and its phrase costs; a number as if it measured something else."""
    if token.quantity is not None:
        return _OTHER
    if token.norm in _GLUE:
        return _GLUE_COST
    return _MARK_COST.get(token.norm, 4) if token.punctuation else _WORD_COST.get(token.norm, _WORD)


def cost(sentence: Sentence, index: int, first: int, last: int, *, prefix: int = 0, postfix: int = 0) -> int:
    """How far the number at `index` stands from the phrase at first..last. FAR when it lies inside it.

    `prefix` is added when the number comes before the phrase ("5 mm screw"), `postfix` when it comes after
    ("blood loss 50 mL"). "of" right behind the number binds it to what follows.
    """
    members = listed(sentence, index)
    quantity = unit_of(sentence, index)
    dimension = quantity.dimension if quantity is not None else ""
    if members[-1] < first:
        price = gap(sentence, members[-1], first, dimension) + prefix
        if _of_other(sentence, members[-1], first) or _is_of_near(sentence, members[-1], first):
            return FAR
        if _has_its_own(sentence, members[0], first, last) or _is_of_before(sentence, members, first):
            price += _TAKEN
        binds = members[-1] + 1 < first and sentence.tokens[members[-1] + 1].norm == "of"
        return max(0, price - 3) if binds else price
    if last < members[0]:
        price = gap(sentence, last, members[0], dimension) + postfix
        if members[0] == last + 2 and sentence.tokens[last + 1].norm == "of":
            price = 0  # "a tear of two centimetres"
        following = members[-1] + 1
        if following < len(sentence.tokens) and sentence.tokens[following].norm == "of":
            price += 10
        return price + (_TAKEN if _led_by_its_own(sentence, members, first, last) else 0)
    return FAR


def _led_by_its_own(sentence: Sentence, members: tuple[int, ...], first: int, last: int) -> bool:
    """ "Three centimetre incision eight millimetre trephine": where numbers lead their names, one between two names is
    of the second."""
    if len(members) > 1 or members[0] != last + 1 or not first:
        return False
    lead, own = sentence.tokens[first - 1].quantity, sentence.tokens[members[0]].quantity
    if lead is None or own is None or not own.dimension or lead.dimension != own.dimension:
        return False
    if "kg" in (lead.unit, own.unit):
        return False  # "one hundred milligrams weight ninety one kilos cefazolin": nothing is given by the kilogram
    if any(mention.last == first - 2 and mention.table in _NAMED for mention in sentence.mentions):
        return False  # the number before the first name is of the one before it
    names = [mention for mention in sentence.mentions if mention.first == members[0] + 1 and mention.table in _NAMED]
    return bool(names) and not any(_measured_behind(sentence, mention.last, own) for mention in names)


def _is_of_before(sentence: Sentence, members: tuple[int, ...], first: int) -> bool:
    """ "Sphincterotomy ten millimetres, balloon", "shifted 5 mm, 2 screws": a comma parts a length from what is named
    behind it, and a word right before it has none of its own."""
    tokens, low, last = sentence.tokens, members[0], members[-1]
    quantity = tokens[low].quantity
    mark = last + 2 if tokens[last + 1].norm.endswith("ly") and last + 2 < first else last + 1
    if low == 0 or quantity is None or quantity.dimension != "length" or tokens[mark].norm != ",":
        return False
    lead = tokens[low - 1]
    return lead.quantity is None and lead.norm[:1].isalpha() and lead.norm not in _GLUE and lead.norm not in _WORD_COST


def _measured_behind(sentence: Sentence, last: int, own: Quantity) -> bool:
    """ "Dexamethasone 10 mg levetiracetam 1 g ancef 2 g": the second name has a number of its own sort behind it."""
    behind = sentence.tokens[last + 1].quantity if last + 1 < len(sentence.tokens) else None
    return behind is not None and behind.dimension == own.dimension


_TAKEN = 40
_JOINED = frozenset({"+", "plus", "and", "/"})
_FORMS = frozenset({"gel", "cream", "spray", "solution", "powder", "drops", "ointment", "jelly", "paste"})
_NAMED = frozenset({"drugs", "fluids", "injectates", "devices"})


def _has_its_own(sentence: Sentence, index: int, first: int, last: int) -> bool:
    """ "Ropivacaine 0.375 % teicoplanin 400 mg": where every name is followed by its number, a number right between two
    names is that of the first."""
    tokens = sentence.tokens
    if first - index == 2 and tokens[index + 1].norm in ("+", "plus") and any(
        mention.last == index - 1 and mention.table == "drugs" for mention in sentence.mentions
    ):
        return True  # "ketorolac 30 mg + epinephrine": the sign parts what is mixed
    behind = tokens[last + 1].quantity if last + 1 < len(tokens) else None
    if behind is None or behind.form not in ("number", "range", "fraction"):
        return False
    if first - index == 2 and tokens[index + 1].norm in _JOINED:  # "lidocaine 10 mL + bicarbonate 1 mL"
        return any(mention.last < index and mention.table == "drugs" for mention in sentence.mentions)
    if first - index > 1:
        return False
    if index and tokens[index - 1].norm in _SUMS:
        return True  # "together forty millilitres citrate four millilitres"
    shaped = index > 1 and tokens[index - 1].norm in _FORMS  # "lidocaine gel ten mils washout five hundred mils"
    return any(mention.last == index - 1 - shaped and mention.table in _NAMED for mention in sentence.mentions)


_SUMS = frozenset({"together", "total", "altogether"})


def _of_other(sentence: Sentence, index: int, first: int) -> bool:
    """ "One litre of hartmanns and two units of red cells": "of" binds the number to what comes before the "and"."""
    between = sentence.tokens[index + 1 : first]
    if not between or between[0].norm != "of":
        return False
    joined = next((at for at, token in enumerate(between) if token.norm in (",", "and", "then")), 0)
    return joined > 1 and any(token.quantity is not None for token in between[joined:])


def _is_of_near(sentence: Sentence, index: int, first: int) -> bool:
    """ "Ten mils of local bone two rods seventy millimetres cell saver": "of" binds a number to what stands before the
    next number; a strength is no such number."""
    if sentence.tokens[index + 1].norm != "of" or any(
        token.norm in ("mix", "mixture", "blend", "ratio") for token in sentence.tokens[index + 2 : first]
    ):
        return False  # "forty mils of a one to one mix of two percent lidocaine": shares
    return any(
        quantity.form == "number" and quantity.dimension in _COUNTS_OR_SIZES
        for at, quantity in numbers(sentence) if index + 2 < at < first
    )


_COUNTS_OR_SIZES = frozenset({"", "count", "length", "french", "gauge"})
scale = scales.scale


def nearest(
    sentence: Sentence, grammar: Grammar, index: int, *ids: str, prefix: int = 0, postfix: int = 0
) -> tuple[int, Hit] | None:
    """(cost, cue) of the nearest cue of these ids to the number at `index`; None when there is none."""
    ranked = [
        (cost(sentence, index, hit.first, hit.last, prefix=prefix, postfix=postfix), hit.first, hit)
        for hit in hits(sentence, grammar, *ids)
    ]
    if not ranked:
        return None
    price, _, hit = min(ranked, key=lambda item: item[:2])
    return (price, hit) if price < FAR else None


def sums(sentence: Sentence, hit: Hit, index: int) -> bool:
    """ "that makes six" sums what was said before it; only "in total" and the like may follow their number."""
    said = words(sentence, hit.first, hit.last).lower()
    if hit.first < index:  # "forty eight in total spun twelve minutes six millilitres left": of what stands before
        closes = hit.first > 0 and sentence.tokens[hit.first - 1].quantity is not None and said in _BEHIND
        return not (closes and index - hit.last > 1)
    for token in sentence.tokens[hit.last + 1 : hit.last + 4]:  # "four millilitres total aspirate 22 millilitres"
        if token.quantity is not None:
            return False
        if token.punctuation:
            break
    if any(token.quantity is not None for token in sentence.tokens[index + 1 : hit.first]):
        return False  # "ten draws of five millilitres fifty altogether": of the nearer one
    return hit.first - index <= 2 and said in _BEHIND | {"total"}


_BEHIND = frozenset({"in total", "altogether", "in all", "all together", "all told", "all up"})
_LONG = 40  # tokens; a longer sentence is a stream of speech without full stops
_WINDOW = 14


def around(sentence: Sentence, grammar: Grammar, first: int, last: int, *ids: str) -> set[str]:
    """Ids of the cues that are said near tokens first..last: in the sentence, or near by in a stream of speech."""
    found = hits(sentence, grammar, *ids)
    if len(sentence.tokens) > _LONG:
        found = [hit for hit in found if hit.first - last <= _WINDOW and first - hit.last <= _WINDOW]
    return {hit.id for hit in found}


def apart(sentence: Sentence, hit: Hit, first: int, last: int) -> int:
    """What lies between a cue and tokens first..last, as `gap` counts it; 0 when they touch or overlap."""
    if hit.first > last:
        return gap(sentence, last, hit.first)
    return gap(sentence, hit.last, first) if hit.last < first else 0


def distance(sentence: Sentence, grammar: Grammar, first: int, last: int, *ids: str) -> int:
    """`apart` of the nearest cue of these ids; FAR when there is none."""
    return min((apart(sentence, hit, first, last) for hit in hits(sentence, grammar, *ids)), default=FAR)


def is_place(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """Whether the number tells where something is ("2 cm below the umbilicus") and not how large it is."""
    last = listed(sentence, index)[-1]
    return any(hit.first == last + 1 for hit in hits(sentence, grammar, "elsewhere"))


def words(sentence: Sentence, first: int, last: int) -> str:
    """The words of tokens first..last as read, without marks at the ends."""
    return " ".join(token.text for token in sentence.tokens[max(first, 0) : last + 1]).strip(" ,;:.")


_FILLED = frozenset("filled inflated blown up with to of by using was and it".split())


def fills_balloon(sentence: Sentence, index: int) -> bool:
    """ "Balloon filled with thirty mils": the number tells how much is in the balloon or cuff of a tube."""
    for token in reversed(sentence.tokens[max(0, index - 4) : index]):
        if token.norm in ("balloon", "cuff"):
            return True
        if token.norm not in _FILLED:
            return False
    return False


def after_grade(sentence: Sentence, index: int) -> bool:
    """ "Lesion grade 3, 8 by 6 mm": a grade and a comma stand before the number."""
    before = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    return before[:1] in (["grade"], ["stage"], ["type"]) and before[-1] == ","


def leads_its_own(sentence: Sentence, index: int, last: int) -> bool:
    """ "Mean pressure 65 mmHg, pump 50": the pump behind a number has one of its own."""
    behind = sentence.tokens[last + 1 : last + 2]
    return last > index and bool(behind) and behind[0].quantity is not None
