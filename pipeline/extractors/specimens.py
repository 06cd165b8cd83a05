"""Specimens: what was sent, where it went, how many, or that there was none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

from pipeline import cues, sidewise
from pipeline.extractors import _plain_specimens, _pots, _specimen_sent, base
from pipeline.extractors._specimen_sent import DENIALS, NO_THINGS, WHERE, before_comma, make, nothing_to, sent
from pipeline.extractors._specimen_words import OTHER_WAY, STOPS, VESSELS, joined_to
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, Token

KINDS = ("specimen", "specimen_count")

_SENT_TO = ("sent", "pathology", "microbiology", "cytology", "laboratory")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    plain: list[Fact] = []
    pots = _pots.pots(reading)
    for sentence in reading.sentences:
        if sentence.index in pots:
            facts += _pots.facts(reading, sentence, pots[sentence.index], grammar)
            continue
        facts += _counts(reading, sentence, grammar)
        none = _none(reading, sentence, grammar)
        facts += none
        if not none or none[0].name is not None:  # "no biopsy, culture sent": only the biopsy was not
            told = (
                _listed(reading, sentence, grammar) or sent(reading, sentence, grammar)
                or _taken(reading, sentence, grammar) or _sent_off(reading, sentence, grammar)
                or _plain_specimens.own_pot(reading, sentence, grammar)
            )  # fmt: skip
            facts += told
            plain += [] if told or none else _plain_specimens.told(reading, sentence, grammar)
    sent_off = any(fact.kind == "specimen" and fact.certainty == "affirmed" for fact in facts)
    return facts + [fact for fact in plain if not (sent_off and fact.text == "none")]


def _counts(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for hit in cues.hits(sentence, grammar, "specimen"):
        for index, quantity in base.quantities(sentence, "", "count"):
            price = cues.cost(sentence, index, hit.first, hit.last, postfix=3)
            if any(token.norm in _NOT_OF for token in sentence.tokens[index + 1 : hit.first]):
                continue  # "two kept for cultures"
            if quantity.value == 0 or (quantity.value or 0) > _MOST:
                continue  # "specimens: 0" is none; "blood loss zero specimens none": the zero is what was lost
            if quantity.form == "number" and quantity.value is not None and price <= 9 and _whole(quantity.value):
                facts.append(
                    base.claim("specimen_count", reading, sentence, index, hit.first, hit.last, price,
                               scale=cues.scale(sentence, index))
                )  # fmt: skip
    by_side = _by_side(reading, sentence, grammar)
    placed = bool(by_side) or any(
        sentence.tokens[hit.last + 1].norm == "from"
        for hit in cues.hits(sentence, grammar, "specimen-piece") if hit.last + 1 < len(sentence.tokens)
    )  # fmt: skip
    if (placed or sentence.says(_PIECE_VERBS)) and sentence.section not in _TOLD:
        for hit in cues.hits(sentence, grammar, "specimen-piece"):
            for index, quantity in base.quantities(sentence, ""):
                between = sentence.tokens[index + 1 : hit.first]
                if sentence.tokens[hit.first].norm in ("swab", "swabs") and sentence.says(_OF_COUNTS):
                    continue  # "two swabs missing at the first count"
                told = index == hit.last + 1 and sentence.tokens[hit.last].norm.endswith("s") and (
                    index + 1 >= len(sentence.tokens) or sentence.tokens[index + 1].punctuation
                )  # "sentinel nodes three, both blue"
                if told and quantity.form == "number" and _whole(quantity.value or Decimal(0)):
                    facts.append(base.claim("specimen_count", reading, sentence, index, hit.first, hit.last,
                                            _PIECE_COST))  # fmt: skip
                if quantity.form == "number" and index < hit.first and len(between) <= _PIECE and all(
                    token.norm.isalpha() and token.quantity is None and token.norm not in _NOT_OF | {"of", "and"}
                    for token in between
                ):  # fmt: skip
                    facts.append(
                        base.claim("specimen_count", reading, sentence, index, hit.first, hit.last, _PIECE_COST,
                                   scale=cues.scale(sentence, index),
                                   laterality=sidewise.side_of(sentence, index, grammar))
                    )  # fmt: skip
    return facts + by_side


_OF_COUNTS = frozenset({"count", "counts", "counted", "missing", "correct", "tray", "bin", "soaked", "pack", "packs"})


_MOST = 200  # "antibiotic after samples 1148": a time of day


def _whole(value: Decimal) -> bool:
    """ "For the lab and culture, seven and a half into the cuff": nobody sends half a specimen."""
    return value == int(value)


def _by_side(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Twelve cores, six from each side", "two cores from the left and four from the right": a number with the place
    that it was taken from and no noun of its own."""
    facts: list[Fact] = []
    for hit in cues.hits(sentence, grammar, "specimen-piece", "specimen"):
        for index, quantity in base.quantities(sentence, ""):
            after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
            placed = after[:1] in (["from"], ["on"], ["per"]) and bool(_PLACES & set(after[1:]))
            if quantity.form != "number" or not placed or not 0 < index - hit.last <= _FROM_NOUN:
                continue
            facts.append(
                base.claim("specimen_count", reading, sentence, index, index, min(index + 3, len(sentence.tokens) - 1),
                           _PIECE_COST, scale=cues.scale(sentence, index),
                           laterality=sidewise.side_of(sentence, index, grammar))
            )  # fmt: skip
    return facts


_PLACES = frozenset({"each", "either", "side", "left", "right", "lobe", "both"})
_FROM_NOUN = 10  # tokens


_NOTHING, _REST = 10, frozenset({"everything", "rest", "all"})  # tokens; "nothing felt, everything dispatched"
_PIECE, _PIECE_COST = 2, 12
_NOT_OF = frozenset({"for", "to", "kept", "sent", "in", "from", "with", "at", "on"})


def _none(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Specimens: none", "no specimen", "nothing was sent"."""
    if sentence.section in ("history", "indication", "imaging"):
        return []  # "Pipelle in clinic, no sample got"
    sent_to = cues.hits(sentence, grammar, *_SENT_TO) if sentence.tokens[0].norm == "nothing" else []
    if sent_to and sent_to[0].last < _NOTHING and not sentence.says(_REST):
        return [base.make("specimen", reading, sentence, 0, sent_to[0].last, text="none", certainty="negated")]
    place = nothing_to(sentence)
    if place is not None:
        return [base.make("specimen", reading, sentence, *place, text="none", certainty="negated")]
    for word in cues.hits(sentence, grammar, "none"):
        for hit in cues.hits(sentence, grammar, "specimen", "sent"):
            if hit.id == "specimen" and joined_to(sentence, word.last, hit.first, hit.last):
                return [base.make("specimen", reading, sentence, hit.first, hit.last, text="none",
                                  certainty="negated")]  # fmt: skip
            ahead = word.first > hit.last
            if hit.id == "sent" and (ahead or sentence.tokens[word.first].norm != "nothing"):
                continue
            if not ahead and sentence.tokens[word.first].norm in ("none", "nil"):
                continue  # it answers what stands before it: "blood loss none specimen urine"
            price = cues.gap(sentence, min(hit.last, word.last), max(hit.first, word.first))
            if price <= (8 if ahead else 5) and not (ahead and sentence.tokens[word.first].norm == "no"):
                first, last = min(hit.first, word.first), max(hit.last, word.last)
                only = "biopsy" if sentence.tokens[hit.first].norm in ("biopsy", "biopsies") else None
                return [
                    base.make("specimen", reading, sentence, first, last, name=only, text="none", certainty="negated")
                ]
    return []


def _listed(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Specimens: gallbladder and two stones": each thing of the list after the heading."""
    tokens = sentence.tokens
    marks = (":", "-")
    start = _behind_sent(tokens)
    headed = len(tokens) > 2 and (tokens[0].norm.startswith("specimen") or tokens[0].norm in ("pathology", "histology"))
    headed = headed or (tokens[:1] != () and tokens[0].norm == "sent" and ":" in [token.norm for token in tokens[1:4]])
    if start is None and not headed:
        return []
    if start is None:
        start = next((at for at in range(1, min(4, len(tokens))) if tokens[at].norm in marks), None)
    near = _NEAR_HEAD + 3 * (headed and tokens[1].norm in _SIDES)  # "specimens right and left breast"
    if start is None and tokens[0].norm.startswith("specimen") and any(
        0 < mention.first <= near and mention.table in ("sites", "specimens") for mention in sentence.mentions
    ):
        start = 0  # "Specimen sigmoid 22 cm."
    if start is None:
        return []
    facts: list[Fact] = []
    first = start + 1
    alone: int | None = None  # "right" of "right and left breast"
    for at in range(start + 1, len(tokens) + 1):
        if at == len(tokens) or tokens[at].norm in (",", ";", "and", "."):
            thing = [
                index for index in range(first, at)
                if tokens[index].norm not in STOPS | {"x"} and tokens[index].quantity is None
                and any(letter.isalpha() for letter in tokens[index].norm)
                and (index == first or "to" not in [token.norm for token in tokens[first:index]])
            ]  # fmt: skip
            if len(thing) == 1 and tokens[thing[0]].norm in _SIDES and at < len(tokens) and tokens[at].norm == "and":
                alone, first = thing[0], at + 1
                continue
            if alone is not None and len(thing) > 1 and tokens[thing[0]].norm in _SIDES:
                noun = cues.words(sentence, thing[1], thing[-1])
                facts += [
                    replace(make(reading, sentence, alone, thing[-1], grammar=grammar,
                                 text=f"{tokens[side].text} {noun}"),
                            laterality="left" if tokens[side].norm == "left" else "right")
                    for side in (alone, thing[0])
                ]  # fmt: skip
            elif thing and facts and tokens[thing[0]].norm in _KEPT:  # "hernia sac, discarded", "disc, not sent"
                facts[-1] = replace(facts[-1], certainty="negated")
            elif thing and not _only_place(sentence, thing):
                counted = next((index for index in range(thing[0], at) if tokens[index].quantity is not None), None)
                words = [tokens[index].text for index in thing if tokens[index].norm not in ("x", "\u00d7")]
                text = " ".join(words) if counted is not None else cues.words(sentence, thing[0], thing[-1])
                if any(tokens[index].norm in DENIALS for index in range(thing[0] + 1, at)):
                    first = at + 1
                    continue  # "the loose bodies were not sent"
                facts.append(make(reading, sentence, thing[0], thing[-1], grammar=grammar, text=text))
                ahead = thing[0] - 1 if counted is None and thing[0] > first else counted
                facts += _times(reading, sentence, thing[0], ahead)
            first, alone = at + 1, None
    return facts


_KEPT = DENIALS | {"discarded", "binned", "disposed", "destroyed", "thrown"}
_SIDES, _NEAR_HEAD = frozenset({"left", "right"}), 2


def _behind_sent(tokens: Sequence[Token]) -> int | None:
    """The colon of "two pots went off: the bowel and the doughnut": a list told in plain words."""
    norms = [token.norm for token in tokens[:_OPENING]]
    colon = norms.index(":") if ":" in norms else None
    said = set(norms[:colon])
    return colon if colon and said & VESSELS and said & _LEAVES and not said & DENIALS else None


_OPENING = 10  # tokens
_LEAVES = frozenset("went sent goes go gone handed passed submitted labelled labeled".split())


def _times(reading: Reading, sentence: Sentence, first: int, index: int | None) -> list[Fact]:
    """ "bone x2", "two stones": how many of a listed thing there are."""
    quantity = sentence.tokens[index].quantity if index is not None else None
    if index is None or quantity is None:
        return []
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    counts = quantity.form == "number" and index == first - 1 and not quantity.dimension and after.endswith("s")
    if quantity.form != "times" and not (counts and 1 < (quantity.value or 0) <= _MANY):
        return []
    return [base.claim("specimen_count", reading, sentence, index, first, first, 1)]


_MANY = 30  # pieces
_SAMPLES = frozenset(
    {"biopsy", "biopsies", "cultures", "culture", "washings", "brushings", "aspirate", "specimen", "specimens", "csf",
     "histology", "cores", "swab"}
)  # fmt: skip
_PUT_IN = frozenset({"formalin", "saline", "formaldehyde", "alcohol"})
_TAKEN = frozenset(
    {"taken", "obtained", "sent", "submitted", "collected", "sampled", "removed", "retrieved", "performed", "delivered",
     "passed", "handed", "bagged", "extracted"}
)  # fmt: skip
_PIECE_VERBS = _TAKEN | {"harvested", "excised", "dissected", "positive", "negative", "found"}
_TOLD = frozenset({"history", "indication", "imaging", "consent", "aftercare", "follow-up", "preop-diagnosis"})


def _taken(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Biopsies were taken", "ten mL of CSF sent", "the specimen was handed off": no word on where it went."""
    if sentence.section in _TOLD:
        return []
    tokens = sentence.tokens
    if len(tokens) > 1 and tokens[0].norm == "specimen" and tokens[1].quantity is not None:
        if tokens[1].quantity.dimension in ("length", "mass"):  # "Specimen 4 x 3 x 2 cm, oriented"
            return [make(reading, sentence, 0, 0, grammar=grammar, text=cues.words(sentence, 0, 0))]
    for index, token in enumerate(tokens):
        if token.norm not in _SAMPLES or _past(tokens, index):
            continue
        if index + 1 < len(tokens) and tokens[index + 1].norm in ("bag", "bags", "pouch", "retrieval"):
            continue  # "the specimen bag was removed"
        ahead = range(index + 1, min(index + 9, len(tokens)))
        stop = next((at for at in ahead if tokens[at].punctuation or tokens[at].norm in ("which", "that")), len(tokens))
        verb = next((at for at in ahead if at < stop and tokens[at].norm in _TAKEN), None)
        if verb is None:
            verb = _for_tests(sentence, index)
        if verb is None and "in" in [one.norm for one in tokens[index:]]:  # "three cores, in formalin"
            verb = next((at for at in range(index, len(tokens)) if tokens[at].norm in _PUT_IN), None)
        if verb is None and index <= 1 and not sentence.section and _bare(sentence):
            verb = index
        if verb is None or {one.norm for one in tokens[max(0, index - 2) : verb + 1]} & OTHER_WAY or (
            tokens[0].norm == "negative"
        ):
            continue
        if base.scope_at(sentence, "status", index, "performed") != "performed":
            continue
        behind = [one.norm for one in tokens[verb + 1 : verb + 5]]
        if any(pair in _KEPT_BACK for pair in pairwise(behind)):
            continue  # "washings taken, not sent"
        first = 0 if verb == index else index
        while first > 0 and index - first < 2 and not tokens[first - 1].punctuation and (
            tokens[first - 1].norm not in STOPS | {"of"} and tokens[first - 1].quantity is None
        ):
            first -= 1
        if verb == index and first == 0 and index and tokens[0].quantity is not None:
            first = index
        last = next((m.last for m in base.mentions(sentence, "sites") if index < m.first <= index + 3), index)
        between = {one.norm for one in tokens[index + 1 : last]}
        last = last if between & {"of", "from"} else index
        return [
            make(reading, sentence, first, max(verb, last), grammar=grammar, at=index,
                      text=cues.words(sentence, first, last))
        ]  # fmt: skip
    return []


_KEPT_BACK = frozenset({("not", "sent"), ("not", "submitted"), ("thrown", "away"), ("then", "discarded")})
_FINITE = frozenset({"was", "were", "is", "are", "had", "has", "showed", "confirmed", "will", "we", "i", "done"})


def _bare(sentence: Sentence) -> bool:
    """ "Two biopsies of the antrum for helicobacter.": what was taken from where, without a verb."""
    norms = {token.norm for token in sentence.tokens}
    return bool(norms & {"of", "from"}) and len(sentence.tokens) <= 14 and not norms & _FINITE


_SENT = frozenset({"sent", "submitted"})
_SENT_AS = _SENT | {"passed", "handed", "removed", "delivered", "taken"}
_SENT_HOW = frozenset({"apart", "separately", "off", "fresh", "away", ".", ",", ";", "and", "too", "also", "in"})
_SHORT_PART = 4  # tokens
_ENDS_NOUN = frozenset({"was", "were", "and", "in", "with", "from", "then", "out", "by", "of"})


def _as_specimen(sentence: Sentence, verb: int) -> bool:
    """ "The bone was passed out as specimen"."""
    after = [token.norm for token in sentence.tokens[verb + 1 : verb + 5]]
    return "as" in after and bool({"specimen", "specimens"} & set(after[after.index("as") : after.index("as") + 3]))


def _sent_off(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Muscle sent apart", "the plaque was removed in one piece and sent": no word on where it went."""
    tokens = sentence.tokens
    for index, token in enumerate(tokens if sentence.says(_SENT_AS) else ()):
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        as_such = token.norm in _SENT_AS and _as_specimen(sentence, index)
        if not as_such and (token.norm not in _SENT or after not in _SENT_HOW):
            continue
        if index == 0 or sentence.section in _TOLD:
            continue
        first = index
        while first > 0 and tokens[first - 1].norm not in (".", ";", ","):
            first -= 1
        while first < index and (tokens[first].norm in STOPS or tokens[first].quantity is not None):
            first += 1
        last = first
        while last + 1 < index and not tokens[last + 1].norm.endswith("ed") and (
            tokens[last + 1].norm not in STOPS | _ENDS_NOUN and tokens[last + 1].quantity is None
        ):
            last += 1
        named = before_comma(sentence, index - 1) if first == index and tokens[index - 1].norm == "," else None
        short = after == "." and named is not None and index - named[0] <= _SHORT_PART  # "trapezium piecemeal, sent."
        if named is not None and (after == "in" or short):  # "a cyst of 9 mm, sent in formalin"
            first, last = named
        noun = {one.norm for one in tokens[first : last + 1]}
        norms = {one.norm for one in tokens[max(0, first - 2) : index]}
        if first == index or last - first > 4 or noun & NO_THINGS or norms & (OTHER_WAY | DENIALS):
            continue
        if base.scope_at(sentence, "status", index, "performed") != "performed":
            continue
        said = cues.words(sentence, first, last)
        return [make(reading, sentence, first, index, grammar=grammar, at=index, text=said)]
    return []


def _for_tests(sentence: Sentence, index: int) -> int | None:
    """ "Stone for analysis + culture": the last word of a short sentence that says only that."""
    before = {token.norm for token in sentence.tokens[:index]}
    return index if index == _last_word(sentence) and "for" in before and index <= 5 else None


def _last_word(sentence: Sentence) -> int:
    return max((at for at, token in enumerate(sentence.tokens) if not token.punctuation), default=-1)


def _past(tokens: Sequence[Token], index: int) -> bool:
    return any(token.norm in ("ago", "last", "previously") for token in tokens[index : index + 9])


def _only_place(sentence: Sentence, indexes: list[int]) -> bool:
    """Whether a part of the list only says where it goes ("..., to pathology") or holds no word."""
    if all(sentence.tokens[index].quantity is not None or sentence.tokens[index].punctuation for index in indexes):
        return True
    if all(sentence.tokens[index].norm in _specimen_sent.SHORT_PLACES for index in indexes):
        return True  # "Specimens: pleura, micro and path"
    return any(
        mention.id in WHERE and mention.first <= indexes[0] and mention.last >= indexes[-1]
        for mention in base.mentions(sentence, "specimens")
    )
