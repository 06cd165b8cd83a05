"""Blood loss in plain words: "hardly a drop lost", "next to no bleeding", "about six hundred lost", "fifteen mils in
the
sucker". A number without a unit keeps none; what only stood in the sucker is in doubt."""

from __future__ import annotations

import re

from pipeline import cues
from pipeline.extractors import _in_norms, base
from pipeline.records import Fact, Quantity, Reading, Sentence

_FEW = (r"(?:(?:hardly|barely|scarcely|not) (?:a drop|any|anything|much|anything much)|"
        r"(?:next to|almost|practically|virtually|pretty much|as good as) (?:nothing|none|no|nil)|"
        r"(?:only |just |maybe |perhaps )?(?:a few|a couple of|a handful of|few|(?:two|#number) or (?:three|#number)) "
        r"(?:drops|spots)|(?:a )?drop or (?:two|#number)|"
        r"(?:hardly|not|barely) worth (?:measuring|mentioning|counting|speaking of)|too little to measure|"
        r"(?:a )?(?:tea ?spoon(?:ful)?|thimbleful)|very little|little|not a lot|a trickle|nothing (?:much|to speak "
        r"of))")
_LOST = r"(?:blood loss|blood|bleeding|ebl|loss|bled|lost)"
# The amount before the blood ("hardly any bleeding") or behind it ("lost next to nothing").
_SMALL = re.compile(
    rf"\b{_FEW}(?: of| in the way of)?(?: the)? (?:blood loss|bleeding|blood|ooze|bled|lost)\b(?: (?:was )?lost)?"
    rf"(?! (?:return|back|on|pressure|supply|flow|from the|in the (?:urine|joint|aspirate|syringe|chest)))|"
    r"\b(?:hardly|barely|scarcely) bled\b|\bnot enough blood to (?:count|measure|mention|speak of)\b|"
    r"\b(?:trivial|minimal|negligible|scant|tiny|insignificant) loss\b(?! of)|^bloodless(?= [.,])|"
    rf"\b{_LOST}(?: was| were| is|:)? {_FEW}(?! (?:more|else|from|back|to do))"
)
_AMOUNT = re.compile(rf"\b{_FEW}")
_WHOLE = re.compile(r"\w+ bled$|not enough blood.*|bloodless|(?:trivial|minimal|negligible|scant|tiny|"
                    r"insignificant)(?= )")
_OPENERS = frozenset("bleeding blood bled lost loss ebl drop drops bloodless".split())
_ELSEWHERE = frozenset({"history", "indication", "imaging", "consent", "aftercare", "follow-up"})
_LEAST, _MOST = 20, 9000  # mL that are said so without a unit; common practice, no source
_APPROX = frozenset("about around roughly maybe perhaps probably some say approximately only just under over".split())
_SUCKER = frozenset({"sucker", "suction", "bottle", "canister"})
_WASHED = frozenset("irrigation irrigated washout washed saline lavage litres liters pump water washing rinse ringer's "
                    "cyst fluid pus ascites urine amniotic liquor effusion haematoma hematoma "
                    "clot".split())  # fmt: skip
_PART = frozenset("weight hearing vision sight feeling tooth teeth bone cartilage hair needle screw swab grip heat "
                  "height kilos kilograms kg pounds days hours minutes follow contact".split())  # fmt: skip
_WHERE_ONLY = "told by the suction only; that all of it is blood was not said"


def told(reading: Reading, sentence: Sentence) -> list[Fact]:
    """The loss of a sentence that has no other words for it."""
    if sentence.section in _ELSEWHERE:
        return []
    if sentence.says(_OPENERS):
        for first, last in _in_norms.found(sentence, _SMALL):
            if base.scope_at(sentence, "status", first, "performed") in ("performed", "planned"):
                text = " ".join([token.norm for token in sentence.tokens[first : last + 1]])
                said = _WHOLE.match(text) or _AMOUNT.search(text)
                at = first + (text[: said.start()].count(" ") if said else 0)
                end = at + (said[0].count(" ") if said else last - first)
                return [base.make("blood_loss", reading, sentence, first, last, status="performed",
                                  text=cues.words(sentence, at, end).lower(), certainty="affirmed")]  # fmt: skip
    return _number_lost(reading, sentence) or _in_the_sucker(reading, sentence) or _oozed(reading, sentence)


def _oozed(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Oozed a bit from the bed, perhaps fifty mils": an amount behind the verb, in doubt whether it is all of it."""
    tokens = sentence.tokens
    verb = next((at for at, token in enumerate(tokens) if token.norm in _OOZES), None)
    if verb is not None and tokens[verb].norm == "bled" and tokens[verb + 1 : verb + 2] and (
        tokens[verb + 1].norm in ("her", "him", "them", "the")
    ):
        return []  # "we bled her, six mils of citrate in the syringe": blood was drawn
    if verb is None or any(token.norm in ("no", "not") for token in tokens[max(0, verb - 2) : verb]):
        return []
    for index, quantity in base.quantities(sentence, "volume"):
        led = [token.norm for token in tokens[verb + 1 : index]]
        if 0 < index - verb <= _FROM_VERB and led and led[-1] in _APPROX | {","} and quantity.form == "number":
            return [base.claim("blood_loss", reading, sentence, index, verb, index, 0, status="performed",
                               certainty="affirmed", doubts=(_OF_PLACE,))]  # fmt: skip
    return []


_OOZES = frozenset({"oozed", "ooze", "oozing", "bled"})
_FROM_VERB = 9  # tokens
_OF_PLACE = "told of what oozed at one place; that it is the whole loss was not said"


def _number_lost(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "About six hundred lost", "lost about three hundred", "we lost fifty, if that"."""
    tokens = sentence.tokens
    for at, token in enumerate(tokens if sentence.says({"lost"}) else ()):
        if token.norm != "lost":
            continue
        before = at - 1
        ahead = at + 1
        while ahead < len(tokens) and tokens[ahead].norm in _APPROX:
            ahead += 1
        for place in (before, ahead):
            quantity = tokens[place].quantity if 0 <= place < len(tokens) else None
            if quantity is None or not _may_be_loss(quantity) or _is_of_other(sentence, at, place):
                continue
            first, last = sorted((at, place))
            return [base.claim("blood_loss", reading, sentence, place, first, last, 0, status="performed",
                               certainty="affirmed")]  # fmt: skip
    return []


def _may_be_loss(quantity: Quantity) -> bool:
    if quantity.form not in ("number", "range"):
        return False
    if quantity.dimension == "volume":
        return True
    value = quantity.value if quantity.value is not None else quantity.high
    return quantity.dimension == "" and value is not None and value == int(value) and _LEAST <= value <= _MOST


def _is_of_other(sentence: Sentence, verb: int, place: int) -> bool:
    """ "Lost thirty kilos", "two needles lost", "he lost 40 last year": of something else than blood."""
    tokens = sentence.tokens
    low, high = sorted((verb, place))
    after = tokens[high + 1].norm if high + 1 < len(tokens) else "."
    before = {token.norm for token in tokens[max(0, low - 4) : low]}
    named = any(m.first == high + 1 and m.table in ("devices", "drugs", "injectates", "units") for m in
                sentence.mentions)  # fmt: skip
    return named or after in _PART or bool(before & (_PART | {"he", "she", "has", "had"}))


def _in_the_sucker(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "About fifteen mils in the sucker", where nothing else is told that it could have sucked up."""
    if not sentence.says(_SUCKER) or any(one.says(_WASHED) for one in reading.sentences):
        return []
    tokens = sentence.tokens
    for at, token in enumerate(tokens[:-2]):  # "sucker had about a hundred and fifty in it"
        index = at + 2 + (tokens[at + 2].norm in _APPROX)
        quantity = tokens[index].quantity if token.norm in _SUCKER and index < len(tokens) else None
        if quantity is not None and tokens[at + 1].norm in ("had", "has", "holds", "shows") and _may_be_loss(quantity):
            return [base.claim("blood_loss", reading, sentence, index, at, index, 0, status="performed",
                               certainty="affirmed", doubts=(_WHERE_ONLY,))]  # fmt: skip
    for index, quantity in base.quantities(sentence, "volume"):
        behind = [token.norm for token in tokens[index + 1 : index + 4]]
        if quantity.form in ("number", "range") and behind[:2] == ["in", "the"] and behind[2:] and behind[2] in _SUCKER:
            return [base.claim("blood_loss", reading, sentence, index, index, index + 3, 0, status="performed",
                               certainty="affirmed", doubts=(_WHERE_ONLY,))]  # fmt: skip
    return []
