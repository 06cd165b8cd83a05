"""Blood loss: a volume, "minimal", or none. A count without a unit stays without a unit."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from pipeline import counted_things, cues, laterality
from pipeline.extractors import _plain_loss, _suction_and_swabs, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence

KINDS = ("blood_loss",)

_BESIDE = 4  # "blood loss was minimal"
_REACH = 40  # a word of amount stands near the cue
_BARE = 16  # a number without a unit must stand right beside it
_IN_ALL = 60  # a total stands behind its parts
_WRONG = ("length", "mass", "pressure")  # kept as heard right behind the words, for the checks to ask about


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if cues.has(sentence, grammar, "blood-loss") and not _is_aspirated(sentence):
            facts += (_sentence(reading, sentence, grammar) or _in_short(reading, sentence)
                      or _plain_loss.told(reading, sentence))
        else:
            facts += (_bleeding(reading, sentence, grammar) or _bare_loss(reading, sentence, grammar)
                      or _was_lost(reading, sentence) or _suction_and_swabs.lost(reading, sentence)
                      or _blood_alone(reading, sentence)
                      or _plain_loss.told(reading, sentence))  # fmt: skip
    return facts


def _blood_alone(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Blood three hundred.", all of a sentence: what was lost, as a rule; it may have been given."""
    tokens = [token for token in sentence.tokens if not token.punctuation]
    quantity = tokens[1].quantity if len(tokens) == _ALONE and tokens[0].norm == "blood" else None
    if quantity is None or quantity.value is None or quantity.dimension not in ("", "volume"):
        return []
    if not quantity.unit and not _LEAST <= quantity.value <= _MOST:
        return []
    at = sentence.tokens.index(tokens[1])
    return [base.claim("blood_loss", reading, sentence, at, 0, at, _BESIDE, status="performed", certainty="affirmed",
                       doubts=("only “blood” was said; taken as what was lost",))]  # fmt: skip


_ALONE = 2  # words


def _in_short(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "EBL min": not minutes, for which a number would stand before it."""
    tokens = sentence.tokens
    for at, token in enumerate(tokens[:-1]):
        place = at + 1 + (tokens[at + 1].norm in (":", "=", "-"))
        if token.norm not in ("ebl", "loss") or place >= len(tokens) or tokens[place].norm != "min":
            continue
        if place + 1 >= len(tokens) or tokens[place + 1].punctuation:
            return [base.make("blood_loss", reading, sentence, at, place, text="minimal", status="performed",
                              certainty="affirmed")]  # fmt: skip
    return []


def _was_lost(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "One or two hundred mils were lost", "lost 300 mL over the case", "he bled about 200 mL": the verb alone, where
    nothing else is named that could be spilt."""
    if any(mention.table in _SPILT for mention in sentence.mentions) or sentence.says(_KEPT):
        return []
    for index, quantity in base.quantities(sentence, "volume", ""):
        behind = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
        before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
        active = before[-1:] in (["lost"], ["bled"]) and "was" not in before
        bare = quantity.dimension == ""
        if bare and not (before[-1:] == ["bled"] and (not behind or not behind[0].isalpha())):
            continue
        if behind[:2] in (["was", "lost"], ["were", "lost"]) or active:
            return [base.claim("blood_loss", reading, sentence, index, index, index, 0, status="performed",
                               certainty="affirmed")]  # fmt: skip
    return []


_SPILT = frozenset({"drugs", "injectates"})
_KEPT = frozenset({"marrow", "aspirate", "prp", "bmac", "graft", "fat", "product", "syringe", "csf", "saline", "bag"})


def _is_aspirated(sentence: Sentence) -> bool:
    """ "No aspiration of blood before the injection": of the needle, and no loss."""
    norms = [token.norm for token in sentence.tokens]
    return not sentence.says({"loss", "ebl", "lost"}) and any(
        before in _ASPIRATED and (of, blood) == ("of", "blood")
        for before, of, blood in zip(norms, norms[1:], norms[2:], strict=False)
    )


_ASPIRATED = frozenset({"aspiration", "aspirate", "return", "flashback", "withdrawal", "backflow"})


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    words = _words(sentence, grammar)
    if words and words[0][0] <= _BESIDE:
        return [_amount(reading, sentence, words[0])]
    facts: list[Fact] = []
    volumes = any(True for _ in base.quantities(sentence, "volume"))
    for index, found in base.quantities(sentence, "volume", "", *_WRONG):
        if facts and not found.dimension and _counts_things(sentence, index):
            continue  # "blood loss five millilitres ten swabs out and ten back"
        if volumes and found.dimension in _WRONG and not any(
            hit.last < index <= hit.last + 2 for hit in cues.hits(sentence, grammar, "blood-loss")
        ):
            continue  # of something else, beside a volume
        quantity = cues.unit_of(sentence, index)
        near = cues.nearest(sentence, grammar, index, "blood-loss", prefix=4)
        if near is None or quantity is None or quantity.form not in ("number", "range", "fraction"):
            continue
        price, hit = near
        scale = cues.scale(sentence, index)
        between = sentence.tokens[hit.last + 1 : index]
        if any(token.norm == "including" for token in between) and not any(token.quantity for token in between):
            price = 0  # "blood loss including the hemoperitoneum 850 mL"
        if facts and _splits(sentence, index, facts):
            continue
        if _part_of(sentence, index) or _was_found(sentence, hit) or (index < hit.first and _has_own(sentence, hit)):
            continue
        if scale == "total" and facts:
            price = min(price, _IN_ALL)
        elif found.dimension == "" and facts and _beside_place(sentence, index):
            price = min(price, _BARE)  # "six hundred mL in the suction and one hundred and fifty on swabs"
        bare = index < hit.first and not _lost_behind(sentence, index, hit)
        if found.dimension != "volume" and (price > (_IN_ALL if scale == "total" else _BARE) or bare):
            continue
        pair = _from_to(sentence, index)
        if pair is not None and index == pair[0]:
            continue
        fields = {} if pair is None else _range(sentence, *pair)
        doubts = (*_side_by_side(sentence, index), *((_TWO_SAID,) if pair is not None else ()))
        facts.append(
            base.claim("blood_loss", reading, sentence, index, hit.first, hit.last, price, unit=quantity.unit, **fields,
                       status="performed", certainty="affirmed", doubts=doubts, scale=scale,
                       laterality=_side(sentence, index, grammar))
        )  # fmt: skip
    if not facts and words and words[0][0] <= _REACH:
        facts.append(_amount(reading, sentence, words[0]))
    return facts


def _counts_things(sentence: Sentence, index: int) -> bool:
    """Whether a bare number stands right before what theatre counts, and no "on" or "in" leads to it."""
    return counted_things.begins([token.norm for token in sentence.tokens[index + 1 : index + 2]], 0)


def _has_own(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Five mils went in, blood loss fifty millimetres": the loss has its number right behind it."""
    own = sentence.tokens[hit.last + 1].quantity if hit.last + 1 < len(sentence.tokens) else None
    return own is not None and own.dimension in ("volume", *_WRONG)


def _lost_behind(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """ "About one fifty of blood lost": the loss right behind its number."""
    said = [token.norm for token in sentence.tokens[hit.first : hit.last + 2]]
    return hit.first == index + 1 and said[:1] == ["of"] and "lost" in said


_TWO_SAID = "two numbers were said side by side: taken as from the first to the second"


def _from_to(sentence: Sentence, index: int) -> tuple[int, int] | None:
    """Both numbers of "ten, fifteen millilitres": how people say from ten to fifteen."""
    for first in (index, index - 2):
        pair = sentence.tokens[max(0, first) : first + 3]
        if len(pair) < 3 or first < 0 or pair[1].norm not in (",", "maybe", "perhaps"):
            continue
        if first + 2 in cues.listed(sentence, first)[2:]:
            continue
        low, high = pair[0].quantity, pair[2].quantity
        if low is None or high is None or low.form != "number" or high.form != "number" or low.unit is not None:
            continue
        spoken = not any(token.text[:1].isdigit() for token in pair)  # "ten, fifteen" and no more
        if low.value is None or high.value is None or low.value >= high.value:
            continue
        if high.unit is not None or spoken:
            return first, first + 2
    return None


def _range(sentence: Sentence, first: int, last: int) -> dict[str, Any]:
    low, high = sentence.tokens[first].quantity, sentence.tokens[last].quantity
    assert low is not None
    assert high is not None
    token = sentence.tokens[first]
    rest = ((token.first, token.last),)
    return {"value": None, "low": low.value, "high": high.value, "comparator": None, "rest": rest}


def _part_of(sentence: Sentence, index: int) -> bool:
    """ "200 mL, of which 50 mL on swabs", "680 mL (520 suction + 160 lap)": a part of what was lost, said already."""
    if index > 1 and sentence.tokens[index - 1].norm == "(" and sentence.tokens[index].quantity is not None:
        whole, part = sentence.tokens[index - 2].quantity, sentence.tokens[index].quantity
        return whole is not None and whole.dimension == "volume" and part is not None and (
            part.dimension in ("", "volume")
        )
    return [token.norm for token in sentence.tokens[max(0, index - 2) : index]] in (["of", "which"], ["of", "that"])


def _splits(sentence: Sentence, index: int, told: list[Fact]) -> bool:
    """ "Blood loss 600, that is 400 in the sucker and 200 weighed": the parts of the whole that was told first."""
    start = next((at for at, token in enumerate(sentence.tokens) if token.first > told[0].evidence.last), index)
    between = [token.norm for token in sentence.tokens[start:index]]
    pairs = set(pairwise(between))
    led = pairs & {("that", "is"), ("made", "up"), ("which", "is")}
    return bool(led or {"namely", "being", "i.e"} & set(between))


_FOUND = frozenset({"found", "evacuated", "encountered", "hemoperitoneum", "haemoperitoneum", "hemothorax",
                    "haemothorax", "cavity", "aspirated", "drained", "transfused", "given", "drawn", "draw", "venous",
                    "withdrawn", "collected", "spun", "centrifuged", "taken", "syringe", "syringes", "acd", "acd-a",
                    "citrate", "prp", "platelet", "patch",
                    "aspiration", "aspirate", "tapped", "sucked", "suctioned"})  # fmt: skip


def _was_found(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "A litre of blood was found in the abdomen": it had bled before; "sixty mils of blood were drawn for PRP"."""
    said = [token.norm for token in sentence.tokens[hit.first : hit.last + 1]]
    near = {token.norm for token in sentence.tokens[max(0, hit.first - 8) : hit.last + 9]}
    stained = {token.norm for token in sentence.tokens[hit.last + 1 : hit.last + 2]} & _STAINED
    return said == ["of", "blood"] and bool(near & _FOUND or stained)


_STAINED = frozenset({"stained", "tinged", "streaked", "coloured", "colored"})


def _beside_place(sentence: Sentence, index: int) -> bool:
    """Whether the number is of what was found in one place, or on top of what was said before."""
    after = {token.norm for token in sentence.tokens[index + 1 : index + 4]}
    before = {token.norm for token in sentence.tokens[max(0, index - 2) : index]}
    return bool(after & _PLACES) or bool(before & {"another", "further", "plus"})


_PLACES = frozenset({"swabs", "sponges", "suction", "sucker", "canister", "drapes", "floor", "packs", "laps"})


def _side(sentence: Sentence, index: int, grammar: Grammar) -> Laterality | None:
    """The side said right behind the number, where a loss is told for each side."""
    near = [one for one in laterality.sides(sentence, grammar) if 0 < one.first - index <= 3]
    between = sentence.tokens[index + 1 : near[0].first] if near else ()
    return near[0].value if near and not any(token.punctuation or token.quantity for token in between) else None


def _side_by_side(sentence: Sentence, index: int) -> tuple[str, ...]:
    """ "Blood loss ten fifteen": two numbers with no word between may be two values, a range or one number. A unit
    closes the first ("nine hundred millilitres two units of red cells")."""
    for low in (index - 1, index):
        pair = sentence.tokens[max(0, low) : low + 2]
        numbers = [token.quantity for token in pair if token.quantity is not None and token.quantity.form == "number"]
        if len(numbers) == 2 and numbers[0].unit is None:
            return (f"'{pair[0].text} {pair[1].text}' may be two values, a range or one number",)
    return ()


def _words(sentence: Sentence, grammar: Grammar) -> list[tuple[int, cues.Hit, cues.Hit]]:
    """(distance, word of amount, cue), the nearest first."""
    found = [
        (cues.apart(sentence, word, hit.first, hit.last), word, hit)
        for hit in cues.hits(sentence, grammar, "blood-loss")
        for word in cues.hits(sentence, grammar, "minimal", "none")
        if _is_amount(sentence, word, hit)
    ]
    return sorted(found, key=lambda item: (item[0], item[1].first))


def _is_amount(sentence: Sentence, word: cues.Hit, hit: cues.Hit) -> bool:
    """ "No blood loss" and "blood loss none", but not "blood loss three cc, no drain"."""
    low, high = min(word.last, hit.last), max(word.first, hit.first)
    if any(token.norm in ("except", "besides", "than") for token in sentence.tokens[low + 1 : high]):
        return False  # "no complications except blood loss"
    if any(token.quantity is not None for token in sentence.tokens[low + 1 : high]):
        return False
    return word.first < hit.first or sentence.tokens[word.first].norm not in ("no", "nothing")


def _amount(reading: Reading, sentence: Sentence, found: tuple[int, cues.Hit, cues.Hit]) -> Fact:
    _, word, hit = found
    text = "none" if word.id == "none" else cues.words(sentence, word.first, word.last).lower()
    return base.make("blood_loss", reading, sentence, min(hit.first, word.first), max(hit.last, word.last), text=text,
                     status="performed", certainty="affirmed")  # fmt: skip


# Losses of something else.
_OTHER_LOSS = frozenset(
    "bone cartilage hair hearing vision visual sight weight sensory tissue fluid field csf muscle motor power volume "
    "pregnancy attachment tooth teeth enamel signal substance height no any without heat memory hemorrhage".split()
)


def _bare_loss(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Counts correct, loss minimal", "loss 30 mL": the amount right behind the word."""
    tokens = sentence.tokens
    if not sentence.says(_LOST):
        return []
    for at, token in enumerate(tokens):
        before = tokens[at - 1].quantity if at else None
        after = tokens[at + 1] if at + 1 < len(tokens) else None
        ends = after is None or after.punctuation or after.norm in _BEHIND_LOSS | {"measured", "cell"}
        if token.norm in _LOST and before is not None and before.dimension == "volume" and before.unit and ends:
            return [base.claim("blood_loss", reading, sentence, at - 1, at, at, _BESIDE, status="performed",
                               certainty="affirmed")]  # fmt: skip
    for at, token in enumerate(tokens[:-1]):
        if token.norm not in ("loss", "losses") or (at and tokens[at - 1].norm in _OTHER_LOSS):
            continue
        word = next((hit for hit in cues.hits(sentence, grammar, "minimal") if hit.first == at + 1), None)
        if word is not None:
            text = cues.words(sentence, word.first, word.last).lower()
            return [base.make("blood_loss", reading, sentence, at, word.last, text=text, status="performed",
                              certainty="affirmed")]  # fmt: skip
        index = at + 1 + (tokens[at + 1].norm in _TO_AMOUNT)
        quantity = tokens[index].quantity if index < len(tokens) else None
        first = at == 0 or tokens[at - 1].punctuation or tokens[at - 1].norm in _BEFORE_LOSS
        if first and quantity is not None and quantity.form == "number" and not quantity.dimension:
            return _bare_numbers(reading, sentence, at, index, quantity)
        if quantity is not None and quantity.dimension == "volume":
            return [base.claim("blood_loss", reading, sentence, index, at, at, _BESIDE, status="performed",
                               certainty="affirmed")]  # fmt: skip
    return []


_TO_AMOUNT = frozenset({"about", "maybe", "approximately", ":", "weighed", "measured", "estimated", "was"})
_LOST = frozenset({"loss", "losses", "lost"})
_LEAST, _MOST = 20, 9000  # mL that are said so without a unit; common practice, no source


def _bare_numbers(reading: Reading, sentence: Sentence, at: int, index: int, quantity: Quantity) -> list[Fact]:
    """ "Loss three fifty"; of "loss four hundred in the suction plus one hundred on swabs, five hundred in all" the
    whole. The unit was not said, and is asked for."""
    tokens = sentence.tokens
    value = quantity.value
    if value is None or value != int(value) or not _LEAST <= value <= _MOST:
        return []
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if after is not None and not after.punctuation and after.norm not in _BEHIND_LOSS:
        return []
    whole = next((place for place in range(index + 1, len(tokens)) if tokens[place].quantity is not None
                  and cues.scale(sentence, place) == "total"), index)  # fmt: skip
    return [base.claim("blood_loss", reading, sentence, whole, at, at, _BESIDE, status="performed",
                       certainty="affirmed", scale="total" if whole != index else None)]  # fmt: skip


_BEHIND_LOSS = frozenset("in on and plus with so swabs counts count drain no all total closed closure".split())
# "swabs correct twice loss about a hundred and fifty closed at noon"
_BEFORE_LOSS = frozenset("total measured estimated correct twice right complete drain drains none nil ok okay".split())


def _bleeding(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Bleeding minimal", "bleeding none": the amount right behind the word; "no bleeding" is a finding."""
    for hit in cues.hits(sentence, grammar, "bleeding"):
        for word in cues.hits(sentence, grammar, "minimal", "none"):
            if word.first == hit.last + 1 and sentence.tokens[word.first].norm not in ("no", "nothing"):
                text = "none" if word.id == "none" else sentence.tokens[word.first].norm
                return [
                    base.make("blood_loss", reading, sentence, hit.first, word.last, text=text, status="performed",
                              certainty="affirmed")
                ]  # fmt: skip
    return []
