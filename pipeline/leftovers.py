"""Numbers and sides that were said and that no fact took, so that nothing said with them vanishes from view."""

from __future__ import annotations

import re
from collections.abc import Iterable

from pipeline import clauses, cues, donor_sides, laterality, numerals
from pipeline.extractors.base import evidence
from pipeline.grammar import Grammar
from pipeline.note import SaidSide
from pipeline.records import Evidence, Fact, Mention, Quantity, Reading, Sentence, Token, replace

_FORMS = frozenset({"number", "range", "fraction", "clock"})
_COUNTS = frozenset({"", "count"})
# What is told there of times is a story, and the facts of these sections hold it in words.
_STORIES = frozenset({"history", "indication", "imaging", "consent"})
_DRAWS = frozenset({"draw", "draws", "aspirated", "aspirate", "aspirates"})  # where a bare number is a volume
_BESIDE = 3  # tokens between a bare number and a drug
_WORDED = frozenset({
    "indication", "history", "imaging", "consent", "aftercare", "follow_up", "next_step", "warning_sign",
})  # fmt: skip


def numbers(facts: Iterable[Fact], reading: Reading) -> dict[int, list[Evidence]]:
    """Sentence index -> where numbers stand that no fact holds: those with a unit, and bare ones beside a drug.

    A number is held by a fact over its words that has its value (or tells it in its text), not by any fact whose
    words happen to lie around it. Levels, sizes of thread, labels, dates and the like are no quantities. Pure.
    """
    by_word: dict[int, list[Fact]] = {}
    for fact in facts:
        for piece in (fact.evidence, *fact.also):
            for word in range(piece.first, piece.last + 1):
                by_word.setdefault(word, []).append(fact)
    found: dict[int, list[Evidence]] = {}
    for sentence in reading.sentences:
        for index, token in enumerate(sentence.tokens):
            quantity = token.quantity
            if quantity is None and _is_code(sentence, token.text) and not any(
                fact.kind in _CODED for word in range(token.first, token.last + 1) for fact in by_word.get(word, ())
            ):
                found.setdefault(sentence.index, []).append(_evidence(reading, token.first, token.last))
            if quantity is None and token.first not in by_word and _is_short(token.text):
                found.setdefault(sentence.index, []).append(_evidence(reading, token.first, token.last))
            if quantity is not None and quantity.form == "pair" and _measures(sentence, index):
                found.setdefault(sentence.index, []).append(_evidence(reading, token.first, token.last))
            if quantity is None or not _counts(sentence, index, quantity) or _is_of_name(sentence, index):
                continue
            near = [fact for word in range(token.first, token.last + 1) for fact in by_word.get(word, ())]
            if not any(_holds(fact, quantity) for fact in near) and not _ends_held(near, quantity):
                found.setdefault(sentence.index, []).append(_evidence(reading, token.first, token.last))
    return found


def _measures(sentence: Sentence, index: int) -> bool:
    """ "Tq 300/74 min": two numbers over a stroke with a unit behind them; "PT 3/7": days, weeks or months."""
    lasting = sentence.section in ("aftercare", "follow-up") and _SPAN.match(sentence.tokens[index].text) is not None
    return lasting or index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm in _BEHIND_PAIR


_SPAN = re.compile(r"^\d{1,2}/(?:7|12|52)$")
_BEHIND_PAIR = frozenset({"min", "mins", "minutes", "ml", "cc", "mm", "cm", "mg"})


_IN_SHORT = re.compile(r"^\d+(?:\.\d+)?[DF]$")  # "21.5D ZCB00", "30F tract"


def _is_short(text: str) -> bool:
    return _IN_SHORT.match(text) is not None and text not in ("2D", "3D", "4D")


def _is_of_name(sentence: Sentence, index: int) -> bool:
    """ "C three F eight", "S F six": part of the name of a gas."""
    return any(m.table == "drugs" and m.last > m.first and m.first <= index <= m.last for m in sentence.mentions)


def _is_code(sentence: Sentence, text: str) -> bool:
    """ "Lot for the medial ones 88A21C": letters and digits in a sentence that speaks of lots or serial numbers."""
    return bool(_CODE.match(text)) and sentence.says(_CODE_WORDS)


_CODE = re.compile(r"^(?=.*[A-Za-z])(?=(?:.*\d){2})[A-Za-z0-9-]{5,}$")
_CODE_WORDS = frozenset({"lot", "lots", "serial", "batch"})
_CODED = frozenset({"device_lot", "device_serial", "device_udi", "device_expiry"})


def _counts(sentence: Sentence, index: int, quantity: Quantity) -> bool:
    if quantity.form == "clock":
        before = sentence.tokens[index - 1].norm if index else ""
        year = quantity.text[:2] in ("19", "20") and before not in ("at", "by")  # "in twenty nineteen"
        return sentence.section not in _STORIES and not year
    if quantity.form == "label" and index and sentence.tokens[index - 1].norm in ("size", "sized"):
        return any(m.table == "devices" and 0 < m.first - index <= _BESIDE for m in sentence.mentions)
    if quantity.form not in _FORMS or (quantity.value is None and quantity.low is None):
        return False
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    if (quantity.dimension == "volume" and after in _HOLDING) or (
        after in _DAYS and index and sentence.tokens[index - 1].norm == "at"
    ):
        return False  # "a 20 mL vial of bupivacaine", "another gram at eight tonight"
    said = cues.unit_of(sentence, index) or quantity
    way = sentence.tokens[index - 1].quantity if index else None
    if said.dimension == "turns" and way is not None and way.dimension == "length":
        return False  # "half a centimetre a turn": of what the length is
    if said.dimension in _COUNTS:
        if any(token.norm in _DRAWS for token in sentence.tokens) or _acted_on(sentence, index):
            return True
        if sentence.section not in _STORIES and _stands_alone(sentence, index, quantity):
            return True
        return any(
            mention.table == "drugs" and (0 < mention.first - index <= _BESIDE or 0 < index - mention.last <= _BESIDE)
            and not _parted(sentence, index, mention.first)
            for mention in sentence.mentions
        )  # fmt: skip
    return not (said.dimension == "time" and sentence.section in _STORIES)


_HOLDING = frozenset("vial vials ampoule ampoules ampule ampules bottle bottles".split())
_DAYS = frozenset({"tonight", "tomorrow"})


def _stands_alone(sentence: Sentence, index: int, quantity: Quantity) -> bool:
    """ "Tunnel length forty on the femur": a bare number that counts no noun and is no label is an amount whose unit
    was left out. One, years and codes are none."""
    value = quantity.value if quantity.value is not None else quantity.high
    if quantity.form == "fraction" or value is None or not 1 < abs(value) < _CODES:
        return False
    if _FIRST_YEAR <= value <= _LAST_YEAR:
        return False
    pair = _by_another(sentence, index)
    if pair is not None or _is_size(sentence, index):
        return pair is not False
    before = sentence.tokens[index - 1].norm.rstrip(".") if index else ""
    after = sentence.tokens[index + 1] if index + 1 < len(sentence.tokens) else None
    if before in _LABELS or quantity.text.startswith("("):
        return False
    if value != int(value):
        return True  # "two knotless 5.5 laterally": nobody counts so
    if before in _MEASURED or _runs(sentence, index):
        return True  # "depth six cored", "lengths fourteen sixteen sixteen"
    if after is not None and after.quantity is not None and value > _MOST_COUNTED:
        return True  # "tourniquet two eighty seventy one minutes"
    return after is None or after.punctuation or after.norm in _AFTER_AMOUNT


_MEASURED = frozenset("depth length lengths width height diameter thickness".split())


def _runs(sentence: Sentence, index: int) -> bool:
    """Whether a number stands in a row of three or more bare ones: sizes, and no count."""
    tokens = sentence.tokens
    first, last = index, index
    while first > 0 and _is_bare(tokens[first - 1]):
        first -= 1
    while last + 1 < len(tokens) and _is_bare(tokens[last + 1]):
        last += 1
    return last - first >= _ROW - 1


_ROW = 3


def _is_bare(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form == "number" and not token.quantity.dimension


def _by_another(sentence: Sentence, index: int) -> bool | None:
    """ "A defect of about 4 x 3": whether one of two bare numbers measures something; gauze is named so. None for a
    number that stands in no such pair."""
    tokens = sentence.tokens
    for times in (index - 1, index + 1):
        other = 2 * times - index
        if not 0 <= other < len(tokens) or tokens[times].norm not in ("x", "by", "\u00d7"):
            continue
        pair = [tokens[at].quantity for at in (index, other)]
        behind = {token.norm for token in tokens[max(index, other) + 1 : max(index, other) + 3]}
        if all(one is not None and not one.dimension for one in pair):
            values = [one.value for one in pair if one is not None]
            return not behind & _SPONGES and values not in ([4, 4], [2, 2])  # gauze, its noun left out
    return None


def _is_size(sentence: Sentence, index: int) -> bool:
    """ "Reamed to a size of 11"."""
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    return before[-1:] == ["size"] or before == ["size", "of"]


_SPONGES = frozenset({"gauze", "gauzes", "sponge", "sponges", "s", "dressing", "dressings", "pad", "pads", "fluffs",
                      "swab", "swabs", "kerlix", "raytec", "hole", "holes"})  # fmt: skip
_MOST_COUNTED = 20  # "three 4.5 mm screws": a count before a size
_CODES, _FIRST_YEAR, _LAST_YEAR = 2500, 1900, 2100
_LABELS = frozenset(
    "grade stage type class number no asa level zone step day room page figure part case kellgren garland gartland "
    "outerbridge icrs tonnis gravida para score scale degree size t c l s station group bed row line model generation "
    "version x times g p v # / - ( times pot jar bottle container cassette specimen".split()
)
_AFTER_AMOUNT = frozenset(
    "+ of on at in for into to by and from then with or before after each per altogether together returned "
    "down along around beneath under through again apart out back bid tid qid daily od bd tds qds nocte prn twice "
    "nightly l r until till unlocked locked long wide deep thick given used injected went discarded wasted "
    "thrown".split()
)


def _acted_on(sentence: Sentence, index: int) -> bool:
    """ "Six were injected and two discarded": a bare number that something was done with is an amount."""
    near = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    return any(norm in _DONE and set(near[:at]) <= {"were", "was", "of", "it", "them"} for at, norm in enumerate(near))


def _parted(sentence: Sentence, one: int, other: int) -> bool:
    low, high = sorted((one, other))
    return any(token.punctuation or token.quantity is not None for token in sentence.tokens[low + 1 : high])


def _holds(fact: Fact, quantity: Quantity) -> bool:
    if fact.kind == "draw" and fact.name is not None and numerals.ORDINALS.get(fact.name) == quantity.value:
        return True  # "draw two, five millilitres"
    if fact.kind == "draw" and fact.text and quantity.text.lower() in fact.text.lower().split():
        return True  # "the same four again"
    if fact.kind == "count":
        return True  # "swabs ten in, ten out"
    if quantity.form == "clock" and fact.kind == "clock_time":
        return fact.text == quantity.text
    if fact.value is None and fact.low is None and fact.high is None:
        if fact.text is None:
            return fact.kind in _WORDED  # the note prints its words
        return quantity.text.lower() in fact.text.lower() or f"{quantity.value}" in fact.text
    if quantity.value is not None:
        return quantity.value in (fact.value, fact.low, fact.high)
    return (quantity.low, quantity.high) == (fact.low, fact.high)


def _ends_held(facts: Iterable[Fact], quantity: Quantity) -> bool:
    """ "ACD-A 6 mL to 54 mL of marrow": each end of what looks like a range is a fact of its own."""
    values = {fact.value for fact in facts}
    return quantity.value is None and quantity.low is not None and {quantity.low, quantity.high} <= values


def _evidence(reading: Reading, first: int, last: int) -> Evidence:
    told = evidence(reading, first, last)
    return replace(told, heard=told.heard.strip(" ,.;:"))


# How the patient lies, both sides of him.
_LAID = frozenset({"padded", "tucked", "strapped", "taped", "stirrup", "stirrups", "cushioned", "rolled", "bump"})
_PHRASE, _BEFORE = 6, 2  # tokens between a side and the part of the body after or before it


def sides(facts: Iterable[Fact], reading: Reading, grammar: Grammar) -> dict[int, list[SaidSide]]:
    """Sentence index -> where "left" or "right" stands and no fact of the sentence has that side.

    The side of a harvest, of what was before and of another person is none of the operation. Pure."""
    # A tool that was used is told where the work went on, and no check holds its side against the operation's.
    held = [(piece, fact.laterality) for fact in facts if fact.laterality and fact.role != "used"
            for piece in (fact.evidence, *fact.also)]  # fmt: skip
    found: dict[int, list[SaidSide]] = {}
    for sentence in reading.sentences:
        if not sentence.tokens or sentence.section in _STORIES:
            continue
        first, last = sentence.tokens[0].first, sentence.tokens[-1].last
        here = {side for piece, side in held if first <= piece.first <= last}
        for side in laterality.sides(sentence, grammar):
            if side.value not in ("left", "right") or {side.value, "bilateral"} & here:
                continue
            if _is_past(sentence, side.first) or any(token.norm in _LAID for token in sentence.tokens):
                continue
            site = _site(sentence, side.first, side.last)
            if site is not None and donor_sides.is_harvest(sentence, site):
                continue
            end = side.last if site is None else max(side.last, site.last)
            start = side.first if site is None else min(side.first, site.first)
            piece = _evidence(reading, sentence.tokens[start].first, sentence.tokens[end].last)
            said = SaidSide(side=side.value, site=site.id if site is not None else "", evidence=piece)
            found.setdefault(sentence.index, []).append(said)
    return found


def _is_past(sentence: Sentence, index: int) -> bool:
    first, last = clauses.bounds(sentence, index)
    if any(scope.value == "historical" and first <= scope.first < last for scope in sentence.scopes):
        return True  # "the left eye was done in March"
    alone = {token.norm for token in sentence.tokens[index:last]}
    if "not" in alone and not alone.isdisjoint(_DONE):
        return True  # "the right hip has not been touched"
    return any(
        scope.value in ("historical", "other_person", "conditional", "negated") and scope.first <= index <= scope.last
        for scope in sentence.scopes
    )


_DONE = frozenset({"touched", "done", "operated", "treated", "opened", "addressed", "explored"})


def _site(sentence: Sentence, first: int, last: int) -> Mention | None:
    """The part of the body in the same phrase: the next one behind a side, else the one right before it."""
    for index in range(last + 1, min(last + _PHRASE, len(sentence.tokens))):
        if sentence.tokens[index].punctuation:
            break
        for mention in sentence.mentions:
            if mention.table == "sites" and mention.first == index:
                return mention
    near = [m for m in sentence.mentions if m.table == "sites" and 0 < first - m.last <= _BEFORE]
    return near[-1] if near else None
