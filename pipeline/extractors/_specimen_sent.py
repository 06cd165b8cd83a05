"""Where a specimen went: "the tissue was sent for histology and culture", "a swab of the root to microbiology"."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline import cues, laterality
from pipeline.extractors import base
from pipeline.extractors._specimen_words import STOPS, answered_no, parted, whole_part
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

WHERE = frozenset({
    "pathology", "frozen-section", "microbiology", "cytology", "laboratory", "gross-examination", "crystal-analysis",
    "cell-viability", "stone-analysis",
})  # fmt: skip
_THINGS = ("sites", "findings", "diagnoses", "specimens", "injectates", "fluids")
_PHRASE = 6  # words of a thing that no table names
NO_THINGS = frozenset(
    ("also", "collected", "obtained", "then", "this", "that", "of", "all", "some", "portions", "half", "excised",
     "isolated", "trap", "off", "sucked", "out", "kept", "fresh", "separately", "apart", "without", "difficulty")
)  # fmt: skip
_SHORT = 25  # tokens
_MADE_THERE = frozenset({"bench", "table", "spinning", "processing", "centrifuge", "spin", "centrifuging", "kit"})


def make(reading: Reading, sentence: Sentence, first: int, last: int, **fields: Any) -> Fact:
    """A specimen with the side that its phrase or its short sentence has."""
    side, _ = laterality.side_for(sentence, first, last, fields.pop("grammar"), own_only=len(sentence.tokens) > _SHORT)
    return base.make("specimen", reading, sentence, first, last, laterality=side, **fields)


def sent(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    places = [mention for mention in base.mentions(sentence, "specimens") if mention.id in WHERE]
    places += [
        Mention("specimens", "microbiology", at, at)
        for at in range(1, len(sentence.tokens) if sentence.says(SHORT_PLACES) else 0)
        if sentence.tokens[at].norm in SHORT_PLACES and sentence.tokens[at - 1].norm in ("->", "\u2192", "to", "for")
    ]  # fmt: skip
    verbs = cues.hits(sentence, grammar, "sent")
    facts: list[Fact] = []
    taken: set[int] = set()
    joined: set[int] = set()
    for place in places:
        verb = next((hit for hit in verbs if 0 <= place.first - hit.last <= 6
                     and not parted(sentence, hit.last, place.first)), None)  # fmt: skip
        before = sentence.tokens[place.first - 1].norm if place.first else ""
        led_by = place.first - 1
        if before == "the" and place.first > 1 and sentence.tokens[place.first - 2].norm == "to":
            before, led_by = "to", place.first - 2  # "the gallbladder, to the lab"
        if verb is not None and verb.first and sentence.tokens[verb.first - 1].norm in DENIALS and (
            sentence.tokens[verb.last + 1].norm in ("specimen", "specimens")
        ):  # fmt: skip
            verb = None  # "frozen section not sent specimen to pathology"
        if verb is not None and before in ("to", "for") and any(verb.last < one.first < place.first for one in places):
            verb = None  # "sent for microbiology, two for histology"
        led = sentence.tokens[place.first].norm in ("for", "to") and place.last > place.first
        if verb is None and before not in ("to", "for", "->", "\u2192") and not led:
            continue
        denied = led_by > 0 and sentence.tokens[led_by - 1].norm in DENIALS
        if verb is None and denied and led_by > 1 and sentence.tokens[led_by - 2].punctuation:
            continue  # "the screws to the sterile bag, not to the lab"
        if {token.norm for token in sentence.tokens[place.last + 1 : place.last + 4]} & _MADE_THERE:
            continue  # "down to the lab bench", "to the lab table for spinning": where it is made
        if place.first in joined or before == "by" or answered_no(sentence, place.last):
            continue  # "for histology and culture": one specimen for both
        end = (verb.first if verb is not None else place.first if led else led_by) - 1
        if verb is None and before in ("->", "\u2192") and (part := whole_part(sentence, end)) is not None:
            facts += _of_part(reading, sentence, grammar, part, place)
            continue
        while end > 0 and sentence.tokens[end].norm in _GOING:
            end -= 1
        thing = _counted_again(sentence, end, facts) or _before_side(sentence, end) or _thing(sentence, end)
        if thing is None and verb is not None and any(
            token.norm in _PRONOUNS for token in sentence.tokens[max(0, verb.first - 4) : verb.first]
        ):
            named = [m for m in base.mentions(sentence, *_THINGS, "devices") if m.last < verb.first]
            # "the old mesh was loose, it goes to microbiology"; else what it was, the sentence before says
            thing = (named[-1].first, named[-1].last) if named else (verb.first, verb.last)
        if thing is None or thing[0] in taken:
            continue
        if verb is None or thing[0] != verb.first:
            thing = _taken_from(sentence, (_whole_noun(sentence, thing[0]), thing[1]))
        taken.add(thing[0])
        last = _last_joined(sentence, place, places)
        joined.update(other.first for other in places if place.first < other.first <= last)
        said = cues.words(sentence, place.first, last)
        way = said if said.lower().startswith(("for ", "to ")) else f"{'for' if before == 'for' else 'to'} {said}"
        text = way if verb is not None and thing[0] == verb.first else f"{cues.words(sentence, *thing)} {way}"
        made = make(reading, sentence, thing[0], last, grammar=grammar, at=thing[0], text=text)
        if (named_so := _only_amount(reading, sentence, thing)) is not None:
            made = replace(made, name=named_so)
        only = sentence.tokens[thing[1]].norm
        if only in ("left", "right"):  # "the left ovary for frozen section, the right to histology"
            made = replace(made, laterality="left" if only == "left" else "right")
        if verb is not None and _denied(sentence, verb.last + 2, place.first):
            facts.append(replace(made, certainty="negated"))  # "sent for crystals, not for culture"
            continue
        if not any(token.punctuation for token in sentence.tokens[thing[1] + 1 : place.first]):
            facts += _numbered(reading, sentence, thing)
        facts.append(made if _denied(sentence, thing[0], place.first) else replace(made, certainty="affirmed"))
    return facts


def _taken_from(sentence: Sentence, thing: tuple[int, int]) -> tuple[int, int]:
    """ "One loose body five millimetres from the dorsal recess sent": what it was, and not where it lay."""
    at = thing[0] - 1
    while at > 0 and sentence.tokens[at].norm in ("the", "left", "right"):
        at -= 1
    if at < 1 or sentence.tokens[at].norm != "from":
        return thing
    last = at - 1
    while last > 0 and sentence.tokens[last].quantity is not None:
        last -= 1
    named = [m for m in base.mentions(sentence, "findings", "diagnoses") if m.last == last]
    sample = sentence.tokens[last].norm in _SAMPLES  # "cultures times three from the gap sent"
    return (last, last) if sample else (named[0].first, named[0].last) if named else thing


_SAMPLES = frozenset("culture cultures tissue fluid swab swabs sample samples biopsy biopsies".split())

def _only_amount(reading: Reading, sentence: Sentence, thing: tuple[int, int]) -> str | None:
    """ "Half a mil to the lab": the product that was spoken of last."""
    inside = sentence.tokens[thing[0] : thing[1] + 1]
    if not any(token.quantity is not None and token.quantity.dimension == "volume" for token in inside) or any(
        thing[0] <= m.first <= thing[1] for m in sentence.mentions
    ):
        return None
    for one in reversed(reading.sentences[max(0, sentence.index - _BACK) : sentence.index + 1]):
        named = [m.id for m in base.mentions(one, "injectates") if m.id not in _NO_SAMPLE]
        if named:
            return named[-1]
    return None


_GOING = frozenset({"went", "goes", "go", "gone"})
def _numbered(reading: Reading, sentence: Sentence, thing: tuple[int, int]) -> list[Fact]:
    """ "Two placentas to pathology": how many of what was sent."""
    quantity = sentence.tokens[thing[0] - 1].quantity if thing[0] else None
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return []
    plural = any(token.norm.endswith("s") for token in sentence.tokens[thing[0] : thing[1] + 1])
    if quantity.value % 1 or not 1 < quantity.value <= _MOST_SENT or not plural:
        return []
    return [base.claim("specimen_count", reading, sentence, thing[0] - 1, *thing, 2, unit=None)]


_MOST_SENT = 40


def _of_part(
    reading: Reading, sentence: Sentence, grammar: Grammar, part: tuple[int, int], place: Mention
) -> list[Fact]:
    first, last = part
    tokens = sentence.tokens
    said = " ".join(token.text for token in tokens[first : last + 1] if token.quantity is None and token.norm != "x")
    facts = [make(reading, sentence, first, place.last, grammar=grammar, at=first,
                  text=f"{said} to {cues.words(sentence, place.first, place.last)}")]  # fmt: skip
    for at in range(max(0, first - 1), last + 1):
        quantity = tokens[at].quantity
        counts = quantity is not None and (quantity.form == "times" or (
            at == first - 1 and quantity.form == "number" and not quantity.dimension
        ))
        if counts:
            facts.append(base.claim("specimen_count", reading, sentence, at, first, last, 1, unit=None))
    return facts


SHORT_PLACES = frozenset({"analysis", "micro", "formalin", "histo", "cyto", "path", "lab"})
_BACK = 2  # sentences
_NO_SAMPLE = frozenset({"contrast", "air", "local-anaesthetic-mixture"})
_AND = frozenset({"and", ",", "&", "/", "+", "for", "to"})


def _last_joined(sentence: Sentence, place: Mention, places: list[Mention]) -> int:
    """The last token of the places that are joined to one ("for histology and culture")."""
    last = place.last
    for other in places:
        between = [token.norm for token in sentence.tokens[last + 1 : other.first]]
        joined = 0 < len(between) <= 3 and set(between) <= _AND and bool(set(between) & {"and", "&", "/", "+"})
        if other.first > last and joined:
            last = other.last
    return last


def _counted_again(sentence: Sentence, end: int, facts: list[Fact]) -> tuple[int, int] | None:
    """ "Five samples for microbiology, two for histology": the second number, its noun left out."""
    tokens = sentence.tokens
    quantity = tokens[end].quantity if end >= 1 else None
    if not facts or quantity is None or quantity.dimension:
        return None
    return (end, end) if tokens[end - 1].norm in (",", "and", ";") else None


def _before_side(sentence: Sentence, end: int) -> tuple[int, int] | None:
    """ "A lipoma of the cord from the right went for histology": what stands before where it was."""
    tokens = sentence.tokens
    the = end > 1 and tokens[end - 1].norm == "the"
    if end < 2 or tokens[end].norm not in ("left", "right") or tokens[end - 1 - the].norm not in ("from", "on"):
        return None
    found = _thing(sentence, end - 2 - the)
    if found is None:
        return None
    return min([found[0], *(m.first for m in sentence.mentions if m.first <= found[0] <= m.last)]), end


_PIECES = frozenset(
    "swab swabs biopsy biopsies culture cultures washing washings brushing brushings scraping scrapings aspirate "
    "sample samples piece pieces fragment fragments part parts core cores strip strips wedge segment segments portion "
    "urine fluid pus blood bile tissue csf bone muscle skin mucosa node nodes".split()
)


def _whole_noun(sentence: Sentence, first: int) -> int:
    """The first token of "a swab of the root", "urine from the kidney", where only the end of it was taken."""
    tokens = sentence.tokens
    at = first
    for _ in range(_OF_OF):
        at -= 1
        while at > 0 and tokens[at].norm in ("the", "a", "an", "left", "right"):
            at -= 1
        if at <= 0 or tokens[at].norm not in ("of", "from"):
            return first
        at -= 1
        if at > 0 and tokens[at].norm.endswith("ed"):
            at = next((place for place in range(at - 1, max(-1, at - 4), -1) if tokens[place].norm in _PIECES), at)
        if tokens[at].norm in _PIECES:
            return at
    return first


_OF_OF = 2  # "bone from the base of the ulcer"
_WEIGHED = frozenset({"weighed", "weighing", "weight", "measured", "measuring"})
_PRONOUNS = frozenset({"they", "these", "those", "it", "this", "them"})


def _denied(sentence: Sentence, first: int, place: int) -> bool:
    """Whether a word of denial stands right before the thing or between it and where it would go."""
    return any(token.norm in DENIALS for token in sentence.tokens[max(0, first - 1) : place])


DENIALS = frozenset({"no", "not", "none", "nor", "never", "without", "nothing"})


def _thing(sentence: Sentence, end: int) -> tuple[int, int] | None:
    """Tokens of the noun phrase that ends at or before `end`, within its clause."""
    while end >= 0 and sentence.tokens[end].norm in STOPS:
        end -= 1
    if end >= 0 and sentence.tokens[end].norm == ",":
        return before_comma(sentence, end)
    if end < 0 or sentence.tokens[end].punctuation:
        return None
    first = end
    while first > 0 and end - first < _PHRASE:
        before = sentence.tokens[first - 1]
        if before.punctuation or before.norm in STOPS or before.quantity is not None:
            break
        first -= 1
    denied = [at for at in range(first, end + 1) if sentence.tokens[at].norm in ("no", "not", "without", "nor")]
    if denied and denied[-1] + 2 <= end:  # "no ascites no endometriosis washings were sent": what was sent is the last
        first = denied[-1] + 2
    weighed = next((at for at in range(first, end + 1) if sentence.tokens[at].norm in _WEIGHED), None)
    if weighed is not None:  # "uterus out through the vagina weight 490 grams sent to histology"
        named = [m for m in base.mentions(sentence, "sites", "findings", "diagnoses") if m.last < weighed
                 and _is_thing(m) and not _is_way(sentence, m)]  # fmt: skip
        return (named[-1].first, named[-1].last) if named else None
    whole = next((at for at in range(end, first - 1, -1) if sentence.tokens[at].norm == "everything"), None)
    if whole is not None:
        return whole, whole  # "axilla soft everything dispatched to pathology"
    way = next((at for at in range(first - 1, max(0, first - 4), -1) if sentence.tokens[at].norm in _WAY), None)
    if way is not None and (came := _come_out(sentence, _part(sentence, way), way)) is not None:
        return came  # "bag out through the navel and off to the lab"
    inside = [m for m in base.mentions(sentence, *_THINGS) if first <= m.first and m.last <= end and _is_thing(m)]
    if inside:
        return inside[0].first, end
    phrase = {token.norm for token in sentence.tokens[first : end + 1]}
    if sentence.tokens[first].norm != "of":
        phrase -= {"of"}  # "cylinder of bone"; what "some of" and "all of" leave is caught by their other word
    tool = sentence.tokens[end].norm not in ("site", "sites", "track", "tract") and any(
        m.table == "devices" and first <= m.first <= end for m in sentence.mentions
    )
    verb = len(phrase) == 1 and next(iter(phrase)).endswith("ed")
    half = "half" in phrase and bool(phrase & {"other", "second"})  # "the other half was sent to microbiology"
    if not tool and not verb and (half or not phrase & NO_THINGS) and any(len(word) > 2 for word in phrase):
        return first, end
    # "the cyst was excised with scissors and sent": what was named last before in this sentence
    named = [m for m in base.mentions(sentence, *_THINGS) if m.last < first and _is_thing(m)]
    return (named[-1].first, named[-1].last) if named else _subject(sentence, first)


_WAY = frozenset({"through", "via"})


def _part(sentence: Sentence, at: int) -> int:
    """Where the part between two marks begins that holds a token."""
    while at > 0 and not sentence.tokens[at - 1].punctuation:
        at -= 1
    return at


def _subject(sentence: Sentence, end: int) -> tuple[int, int] | None:
    """ "The left tube was removed with the bipolar and sent": what the clause is about."""
    tokens = sentence.tokens
    verb = next((at for at in range(end - 1, 0, -1) if tokens[at].norm in ("was", "were")), None)
    if verb is None or tokens[verb + 1].norm not in _TAKEN_OUT:
        return None
    first = verb
    while first > max(0, verb - _PHRASE) and not (
        tokens[first - 1].punctuation or tokens[first - 1].norm in STOPS or tokens[first - 1].quantity is not None
    ):
        first -= 1
    return (first, verb - 1) if first < verb else None


_TAKEN_OUT = frozenset({"removed", "excised", "taken", "delivered", "resected", "extracted", "retrieved"})


def _is_way(sentence: Sentence, mention: Mention) -> bool:
    """ "Out through the vagina": the way that it took."""
    before = {token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]}
    return bool({"through", "via", "from"} & before)


def before_comma(sentence: Sentence, comma: int) -> tuple[int, int] | None:
    """ "Two nodes, both blue, sent for histology": the named thing in the part before the comma, or in the last but
    one."""
    parts = 0
    end = comma - 1
    while end >= 0 and parts < 2:
        first = end
        while first > 0 and not sentence.tokens[first - 1].punctuation:
            first -= 1
        bare = all(token.quantity is None for token in sentence.tokens[first : end + 1])
        tables = ("sites", "findings", "diagnoses", "specimens", *(("fluids",) if bare else ()))
        named = [m for m in base.mentions(sentence, *tables) if first <= m.first and m.last <= end and _is_thing(m)]
        if named:
            return named[0].first, named[0].last
        told = _of_weight(sentence, first, end) or _come_out(sentence, first, end)
        if told is not None:
            return told
        parts, end = parts + 1, first - 2
    return None


def _of_weight(sentence: Sentence, first: int, end: int) -> tuple[int, int] | None:
    """ "Weight of the chips 68 grams", "the chips weighed 68 grams": the words of what was weighed."""
    tokens = sentence.tokens
    at = next((at for at in range(first, end + 1) if tokens[at].norm in _WEIGHED), None)
    if at is None:
        return None
    if at < end and tokens[at + 1].norm == "of":
        first, last = at + 2, at + 2
        while last + 1 <= end and tokens[last + 1].norm.isalpha() and tokens[last + 1].quantity is None and (
            tokens[last + 1].norm not in STOPS
        ):
            last += 1
    else:
        last = at - 1
    while first <= last and tokens[first].norm in STOPS:
        first += 1
    named = range(first, min(last, end) + 1)
    plain = bool(named) and all(tokens[one].norm.isalpha() and tokens[one].quantity is None for one in named)
    return (first, last) if plain and not {tokens[one].norm for one in named} & _NO_SPECIMEN else None


def _come_out(sentence: Sentence, first: int, end: int) -> tuple[int, int] | None:
    """ "Gallbladder out in a bag, to the lab": the words before "out"."""
    tokens = sentence.tokens
    out = next((at for at in range(first, end + 1) if tokens[at].norm == "out"), None)
    while out is not None and first < out and tokens[first].norm in STOPS:
        first += 1
    if out is None or not 0 < out - first <= 3 or any(
        not token.norm.isalpha() or token.quantity is not None or token.norm in STOPS for token in tokens[first:out]
    ):
        return None
    return first, out - 1


_NO_SPECIMEN = frozenset("patient he she child baby him her you weight".split())


def nothing_to(sentence: Sentence) -> tuple[int, int] | None:
    """Tokens of "nothing to pathology", "nothing went for histology", also behind other words without a mark."""
    for at, token in enumerate(sentence.tokens):
        if token.norm != "nothing":
            continue
        for place in base.mentions(sentence, "specimens"):
            between = {one.norm for one in sentence.tokens[at + 1 : place.first]}
            if place.id in WHERE and 0 < place.first - at <= _NEAR and between <= _SENDING and between & {"to", "for"}:
                return at, place.last
    return None


_NEAR = 5  # tokens
_SENDING = frozenset("to for was is has been being went goes sent off the submitted needed".split())


def _is_thing(mention: Mention) -> bool:
    return mention.table != "devices" and not (mention.table == "specimens" and mention.id in WHERE)
