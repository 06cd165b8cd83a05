"""Whether a number was said for each, per side or in total."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.mentions import fold
from pipeline.records import Scale, Sentence, Token

# Whole words only: "beach chair" and "the upper side" hold none of these.
_EACH = re.compile(r"\b(?:each|apiece|respectively|per (?:site|level|port|needle|portal))\b")
_SIDES = re.compile(r"\b(?:(?:per|each|either|both) side|per (?:knee|hip|shoulder|ankle|elbow|wrist|joint|crest))\b")
# "Five millilitres a draw", "two millilitres at a place" (folded); "5 mL pulls".
_EVERY = re.compile(r"(?:at |from |with |in )?(?:a|per|every) (?:draw|pull|pas|aliquot|aspirate|place|spot|go|time|"
                    r"syringe|turn|hole)\b")  # fmt: skip
_AT = frozenset({"at", "in", "from", "into", "on", "with"})
_DRAWS = frozenset({"draws", "pulls", "aliquots", "aspirates"})
_TOTAL = frozenset({"total", "altogether", "combined", "overall", "totaling", "totalling"})


_VESSELS, _TO_VESSEL = frozenset({"syringe", "syringes", "tube", "tubes"}), 9  # tokens back


def _in_each_vessel(tokens: Sequence[Token], index: int) -> bool:
    """ "Each syringe was pre-loaded with 1 mL", "all syringes were primed with one mil"."""
    for at in range(index - 1, max(0, index - _TO_VESSEL), -1):
        if tokens[at].punctuation or tokens[at].quantity is not None:
            return False
        if tokens[at].norm in _VESSELS:
            lead = {token.norm for token in tokens[max(0, at - 2) : at]}
            return bool(lead & {"each", "every"}) or "all" in lead and tokens[at].norm.endswith("s")
    return False


_STRENGTHS = frozenset({"fraction", "concentration", "mass_concentration"})
# "nine screws in total", "sixteen millilitres together"; "together with" joins.
_IN_TOTAL = re.compile(
    r"(?:[^\s,]+ ){0,2}(?:, )?"
    r"(?:in total|altogether|in all|all together|all told|all up|together(?! with)|total(?= *$))\b"
)


_ALL_OF_BOTH = re.compile(r"(?:in all|in total|altogether|total),? (?:on |from |for )?both side\b")


def scale(sentence: Sentence, index: int) -> Scale | None:
    """Whether the number at `index` was said for each, per side or in total; None when nothing was said.

    Looks at up to three words before the number and eight after it, no further than the next number.
    """
    known: dict[int, Scale | None] = sentence.memo.setdefault("scales", {})
    if index not in known:
        known[index] = _scale(sentence, index)
    return known[index]


def _scale(sentence: Sentence, index: int) -> Scale | None:
    tokens = sentence.tokens
    if (piece := _of_pieces(tokens, index)) is not None:
        return piece
    if index > 2 and tokens[index - 1].norm == "(" and _of_both(sentence, index):
        return "total"
    own = tokens[index].quantity
    if own is not None and own.dimension == "volume" and _in_each_vessel(tokens, index):
        return "each"
    if index > 1 and tokens[index - 1].norm == "all" and own is not None and own.dimension == "volume" and (
        _said_before(tokens, index)
    ):
        return "total"  # "2.5 mL into the cyst, 1.5 mL into the joint, all 4 mL in"
    before: list[str] = []
    for at in range(index - 1, max(-1, index - 4), -1):
        token = tokens[at]
        if token.quantity is not None or token.punctuation or (at < index - 1 and _sums_up(tokens, at)):
            break
        before.insert(0, fold(token.norm))
    last = index - 1 - len(before)
    if before[:2] == ["each", "side"] and len(before) > 2 and last >= 0 and tokens[last].quantity is not None:
        del before[:2]  # "nylon two each side bupivacaine half percent": of the number before it
    after: list[str] = []
    for token in tokens[index + 1 : index + 9]:
        if token.quantity is not None and token.quantity.dimension in _STRENGTHS:
            continue  # "eight millilitres of one percent lidocaine per side"
        if token.quantity is not None or (token.punctuation and token.norm != ","):
            break
        after.append(fold(token.norm))
        if token.norm == "each" and after[-3:-2] == ["and"] and after[-2] in _AT:
            del after[-3:]
            break  # "two centimetres out and at each place I pulled": another statement
    joined = _joined(tokens, index)
    if _SIDES.search(joined):
        return "per_side"
    behind, ahead = " ".join(before), " ".join(after)
    sided = None if _ALL_OF_BOTH.match(ahead) else _SIDES.search(ahead)  # "a hundred mils in all both sides"
    if not sided and (sum_ := _IN_TOTAL.match(ahead)) and "," not in sum_[0] and _SIDES.search(behind):
        return "total"  # "two millilitres on each side four mils in all"
    named = index + 1 < len(tokens) and tokens[index + 1].norm in ("left", "right")  # "both sides thirty mils left"
    if sided or (_SIDES.search(behind) and not named):
        each = [ahead.find(phrase) for phrase in ("per needle", "each needle", "per port", "per level", "each level")]
        side = sided.start() if sided else -1
        return "each" if any(0 <= at < side for at in each) else "per_side"  # "through each needle, both sides"
    if ahead.startswith("a side"):
        return "per_side"
    plural = index + 1 < len(tokens) and tokens[index + 1].norm in _DRAWS
    if plural or _repeated(tokens, index) or _EVERY.match(ahead):
        return "each"
    led = "each" in before and not any(word.endswith("ed") for word in before[before.index("each") :])
    led = (led or _each_of(tokens, index)) and not ("each" in before[:-1] and before[-1] == "so")  # "each so eight"
    whole = None if _of_the_next(tokens, index) else _IN_TOTAL.match(ahead)
    every = _EACH.search(ahead)
    if whole and every and every.end() < whole.end():
        return "each"  # "half a mil each of one percent, total four mils"
    if led and whole and _each_closes(tokens, index):
        led, every = False, None  # "1.5 mils of 0.25 percent at each site four and a half mils in all"
    if whole and "," not in whole[0] and not led and "respectively" not in ahead:
        return "total"  # "eighty milligrams in all, half through each needle"
    if every or led:  # not "left in each syringe injected four millilitres"
        return "each"
    if whole and whole[0].rstrip().endswith(", total") and index + 1 + len(after) == len(tokens):
        whole = None  # "after it 200 mL, total EBL 700 mL", cut before a heading: of what comes next
    summed, opens = whole, ahead.startswith("total") and not _leads_on(tokens, index + 1)
    opens = opens and not _of_the_next(tokens, index)
    if summed and "," in summed[0] and summed.end() == len(ahead) and index + 1 + len(after) < len(tokens):
        summed = None if tokens[index + 1 + len(after)].quantity is not None else summed  # ", in total 750"
    makes = behind.endswith(("that make", "which make"))  # "makes", folded
    makes = makes and tokens[index].quantity is not None and _said_before(tokens, index)
    led_by_sum = bool(_TOTAL & set(before)) and not _combines(tokens, index)
    return "total" if led_by_sum or opens or summed or makes else None


def _combines(tokens: tuple[Token, ...], index: int) -> bool:
    """ "We combined 20 mL of ropivacaine with 20 mL of saline": what was done, and no sum."""
    if index < 1 or tokens[index - 1].norm != "combined":
        return False
    return "with" in [token.norm for token in tokens[index + 1 : index + 8]]


def _of_both(sentence: Sentence, index: int) -> bool:
    """ "Triamcinolone 40 mg each (80 mg)", "10 mL per side (20 mL)": the amount in brackets is that of all of them."""
    tokens, own = sentence.tokens, sentence.tokens[index].quantity
    for at in range(index - 2, max(-1, index - _TO_BRACKET), -1):
        before = tokens[at].quantity
        if tokens[at].punctuation:
            return False
        if before is not None:
            more = before.value is not None and own is not None and own.value is not None and own.value > before.value
            same = own is not None and own.unit == before.unit and bool(before.dimension)
            return more and same and scale(sentence, at) in ("each", "per_side")
    return False


_TO_BRACKET = 7  # tokens
_MOST_PIECES = 20


def _of_pieces(tokens: tuple[Token, ...], index: int) -> Scale | None:
    """ "Four cartridges of 1.7 mL = 6.8 mL": the first is of each of them, the second of all."""
    own = tokens[index].quantity
    if own is None or own.dimension not in ("volume", "mass") or index < 2:
        return None
    count = tokens[index - 2].quantity
    if tokens[index - 1].norm == "x" and count is not None and count.form == "number" and not count.dimension and (
        count.value is not None and 1 < count.value <= _MOST_PIECES and own.unit
    ):
        return "each"  # "lidocaine 2 % 4 x 2.2 mL"
    if tokens[index - 1].norm == "of" and count is not None and (count.unit or "").startswith("{") and count.value:
        return "each" if count.value > 1 else None
    one = tokens[index - 2].quantity
    if tokens[index - 1].norm not in ("=", "so") or one is None or _of_pieces(tokens, index - 2) != "each":
        return None
    return "total" if one.dimension == own.dimension else None


def _each_closes(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether the "each" before an amount belongs to a smaller amount of the same unit, told before it."""
    own = tokens[index].quantity
    at = next((at for at in range(index - 1, max(0, index - 4), -1) if tokens[at].norm == "each"), None)
    if at is None or own is None or own.value is None or tokens[at - 1].punctuation:
        return False
    before = [one.quantity for one in tokens[max(0, at - _SUMMED) : at] if one.quantity is not None]
    same = [one for one in before if one.unit == own.unit and one.dimension == own.dimension]
    return bool(same) and same[-1].value is not None and same[-1].value < own.value


def _joined(tokens: tuple[Token, ...], index: int) -> str:
    """The words behind a volume that is joined to a dose: "forty milligrams triamcinolone and four millilitres of
    lidocaine on each side"."""
    own = tokens[index].quantity
    mixed = own is not None and own.dimension in ("mass", "volume")
    ahead = range(index + 2, min(len(tokens), index + 5)) if mixed else range(0)
    joins = {"and", "with", "plus", "+"} if own is not None and own.dimension == "mass" else {"plus", "+"}
    volume = next((at for at in ahead if (one := tokens[at].quantity) is not None and one.dimension == "volume"), None)
    if volume is None or tokens[volume - 1].norm not in joins:
        return ""
    words: list[str] = []
    for token in tokens[volume + 1 : volume + 8]:
        if token.punctuation or (token.quantity is not None and token.quantity.dimension not in _STRENGTHS):
            break
        words.append(fold(token.norm))
    return " ".join(words)


def _repeated(tokens: tuple[Token, ...], index: int) -> bool:
    """ "Six millilitres eight times"; "twice daily" and "three times a day" tell how often a medicine is taken."""
    ahead = tokens[index - 2].quantity if index > 1 and tokens[index - 1].norm == "times" else None
    if ahead is not None and ahead.form == "number" and not ahead.dimension:
        return True  # "drawn four times five mils"
    count = tokens[index + 1].quantity if index + 2 < len(tokens) else None
    if count is None or count.dimension or tokens[index + 2].norm != "times":
        return False
    return index + 3 >= len(tokens) or tokens[index + 3].norm not in ("a", "daily", "per", "each", "every", "weekly")


def _of_the_next(tokens: tuple[Token, ...], index: int) -> bool:
    """ "Crystalloid two litres colloid one litre total three litres": behind an amount and right before another of the
    same sort, "total" is of the latter, where others were told before."""
    own, words = tokens[index].quantity, tokens[index + 1 : index + 3]
    if own is None or len(words) < 2 or words[0].norm != "total" or words[1].quantity is None:
        return False
    others = any(token.quantity is not None and token.quantity.dimension == own.dimension
                 for token in tokens[max(0, index - _SUMMED) : index])  # fmt: skip
    bare = words[1].quantity  # "second pull five mils third pull four mils total fifteen"
    more = not bare.dimension and bare.form == "number" and (bare.value or 0) > (own.value or 0)
    return others and (bare.dimension == own.dimension or more)


def _said_before(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether an amount of the same unit stands before: "twenty mL and then ten that makes thirty mL"; "twenty mL of
    one percent that makes 200 mg" sums nothing."""
    own = tokens[index].quantity
    return own is not None and any(
        token.quantity is not None and token.quantity.unit == own.unit and own.unit is not None
        for token in tokens[max(0, index - _SUMMED) : index]
    )


_SUMMED = 25  # tokens


def _sums_up(tokens: tuple[Token, ...], at: int) -> bool:
    """ "That makes five hundred in total tranexamic acid one gram": the word belongs to the number before it."""
    if tokens[at].norm not in ("total", "altogether", "together"):
        return False
    led = tokens[at - 1].norm == "in"
    first = at - led
    return first > 1 and (led or tokens[at].norm != "total") and tokens[first - 1].quantity is not None


def _each_of(tokens: tuple[Token, ...], index: int) -> bool:
    """ "Into each of the five levels two millilitres": said of each before the number, and not of a number before it
    ("four millilitres at each of five levels fifty milligrams")."""
    for at in range(index - 1, max(0, index - 8), -1):
        if tokens[at].punctuation or tokens[at].norm in ("and", "then"):
            return False
        if tokens[at].norm == "each" and any(token.quantity is not None for token in tokens[max(0, at - 3) : at]):
            return False
        if tokens[at].norm == "each" and tokens[at + 1].norm == "of":
            counted = [token for token in tokens[at:index] if token.quantity is not None]
            return len(counted) == 1 and counted[0].quantity is not None and not counted[0].quantity.dimension
    return False


def _leads_on(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether "total" at `index` names the number that follows it ("four millilitres, total aspirate 22 mL")."""
    for token in tokens[index + 1 : index + 5]:
        if token.quantity is not None:
            return True
        if token.norm in (".", ";"):
            return False
    return False
