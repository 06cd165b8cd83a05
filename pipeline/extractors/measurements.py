"""Measured values: pressures, incision length, sizes of what was found, angles and other named measures."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import cues
from pipeline.extractors import _care_words, _incisions, _noun_sizes, _number_sides, _whose_measure, base
from pipeline.extractors._called_numbers import cut_in_two, maybe_how_many, maybe_pronoun
from pipeline.extractors._weights import weighed
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence, Token
from pipeline.rows import Concept

KINDS = ("measurement", "pressure", "incision_length")

_ANGLE_REACH = 75  # "dorsiflexion 5 degrees before, 20 degrees after"
_NAMED_REACH, _LESION_REACH, _SHARE_REACH, _INCISION_REACH, _PRESSURE_REACH, _BARE_REACH = 22, 16, 9, 24, 45, 4
_NOUNS = ("findings", "diagnoses", "specimens")
_GUESS, _SITE_EXTRA = 6, 9  # a noun beside a length says less than a named measure, a place only where they touch
_LENGTHS, _OTHER_KINDS = ("length", "area"), frozenset({"weight"})  # patient_weight
_OF_A_STRENGTH = ("preparations", "drugs", "injectates", "irrigation")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("measures", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None and quantity.form in _FORMS and not _whose_measure.is_risk(sentence, quantity):
                told = _number(reading, sentence, grammar, rows, index, quantity)
                facts += _whose_measure.as_limit(sentence, index, told)
    return facts


_FULL_TURN, _FORMS = 360, frozenset({"number", "range", "fraction", "size"})  # degrees


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, rows: Mapping[str, Concept], index: int, quantity: Quantity
) -> list[Fact]:
    facts = [fact for fact in _named(reading, sentence, grammar, rows, index, quantity)
             if rows[fact.name or ""].group != "angle" or (fact.value or 0) <= _FULL_TURN]  # "alpha seven seven three"
    if quantity.dimension == "pressure" and not cues.has(sentence, grammar, "tourniquet", "cuff"):
        for cue, name in (("insufflation", "insufflation-pressure"), ("pump", "pump-pressure")):
            near = cues.nearest(sentence, grammar, index, cue)
            if near is not None and near[0] <= _PRESSURE_REACH and (
                not cues.leads_its_own(sentence, index, near[1].last)
            ):  # fmt: skip
                price, hit = near
                facts.append(
                    base.claim("pressure", reading, sentence, index, hit.first, hit.last, price, name=name)
                )
    if quantity.dimension == "" and quantity.form == "number" and quantity.value is not None and not facts:
        near = cues.nearest(sentence, grammar, index, "insufflation")
        if near is not None and near[1].last < index and near[0] <= _BARE_REACH and 5 <= quantity.value <= 25:
            price, hit = near  # "pneumoperitoneum at twelve": 5 to 25 mmHg, common practice, no source
            facts.append(
                base.claim("pressure", reading, sentence, index, hit.first, hit.last, price,
                           name="insufflation-pressure")
            )  # fmt: skip
    if quantity.dimension == "mass" and quantity.unit == "kg" and any(
        token.norm == "traction" for token in sentence.tokens[max(0, index - 4) : index]
    ):  # fmt: skip
        facts += _by_words(reading, sentence, grammar, index, quantity)
    if quantity.dimension in _ALWAYS_MEASURED and not facts:
        facts += _by_words(reading, sentence, grammar, index, quantity)
    if not facts and quantity.unit in _FLOWS and not any(
        abs(m.first - index) <= _DRUG_BESIDE for m in base.mentions(sentence, "drugs", "fluids")
    ):  # fmt: skip
        facts += _by_words(reading, sentence, grammar, index, quantity)
    if not facts and (quantity.dimension == "other" or quantity.unit in _SPEEDS):
        energy = (quantity.unit or "").startswith(("J/", "mJ/", "kJ/"))
        if energy or not any(True for _ in base.mentions(sentence, "drugs", "injectates")):
            facts += _by_words(reading, sentence, grammar, index, quantity)
    if quantity.dimension == "mass":
        facts += weighed(reading, sentence, grammar, index)
    blood = quantity.dimension == "mass_concentration" and quantity.unit in ("g/dL", "g/L")
    if (quantity.dimension == "angle" or blood) and not facts:
        facts += _by_words(reading, sentence, grammar, index, quantity)
    if quantity.dimension == "fraction":
        if any(m.last == index - 1 for m in base.mentions(sentence, *_OF_A_STRENGTH)):
            return facts  # "povidone iodine five percent to the wound": its strength
        facts += _noun(reading, sentence, grammar, index, quantity)
        return facts or _share(reading, sentence, grammar, index, quantity)
    if quantity.dimension not in _LENGTHS:
        return facts
    near = cues.nearest(sentence, grammar, index, "incision")
    if near is not None and _incisions.is_none(sentence, near[1], quantity):
        near = None
    told = _incisions.told_long(sentence, grammar, index) or _incisions.right_behind(sentence, index, quantity)
    near = told or near or _incisions.behind_approach(sentence, index, quantity)
    bound = near is not None and near[1].last < index - 1 and all(
        token.norm in ("of", "was", "measuring", "about") for token in sentence.tokens[near[1].last + 1 : index]
    )
    if cues.is_place(sentence, grammar, index) and not bound:
        return facts + _place(reading, sentence, index, quantity)
    if not facts:
        facts += _by_words(reading, sentence, grammar, index, quantity)
    if near is not None and near[0] <= _INCISION_REACH and _incisions.is_its_length(sentence, index, near[1]):
        facts += [base.claim("incision_length", reading, sentence, index, near[1].first, near[1].last, near[0],
                             unit=quantity.unit)]  # fmt: skip
    return facts if told is not None else facts + _noun(reading, sentence, grammar, index, quantity)


def _named(
    reading: Reading, sentence: Sentence, grammar: Grammar, rows: Mapping[str, Concept], index: int, quantity: Quantity
) -> list[Fact]:
    if quantity.dimension == "angle" and _noun_sizes.is_of_what_is_worn(sentence, index):
        return []
    ranked = [
        (cues.cost(sentence, index, mention.first, mention.last, prefix=2), mention.first, mention)
        for mention in base.mentions(sentence, "measures")
        if mention.id not in _OTHER_KINDS
        and not (mention.id == "insufflation-pressure" and cues.has(sentence, grammar, "tourniquet", "cuff"))
        and mention.id != "apgar" and not (mention.id == "blood-ph" and quantity.unit)  # births.py reads the scores
        and not (mention.id == "blood-ph" and not 6 <= (quantity.value or 7) <= 8)  # "PH tear, 2 sutures"
        and not (mention.id == "height" and quantity.dimension not in ("", "length"))
        and not (mention.id == "extension" and _whose_measure.is_far_end(sentence, mention, index, quantity))
        and not (mention.id == "bmi" and quantity.unit in ("kg", "g", "[lb_av]"))
        and not (mention.id in ("diameter", "height", "width") and _whose_measure.is_length(sentence, index))
        and not (rows[mention.id].group == "angle" and sentence.tokens[index - 1].norm == "for")
        and not (rows[mention.id].group == "tally" and (quantity.form == "fraction" or index > mention.last + 2))
        and not _has_own(sentence, rows, index, mention) and not _of_other(sentence, index, mention, quantity)
        and not _whose_measure.told_since(sentence, index, mention)
        and not _whose_measure.has_a_thing_behind(sentence, index)
        and _fits(rows[mention.id].group, quantity.dimension, mention.id)
    ]
    if not ranked:
        return []
    price, _, mention = min(ranked, key=lambda item: item[:2])
    root = _root(sentence, index, quantity)
    if root != index:
        price = min(price, 4 + cues.cost(sentence, root, mention.first, mention.last, prefix=2))
    reach = {"": 8, "angle": _ANGLE_REACH}.get(quantity.dimension, _NAMED_REACH)
    if root != index and quantity.dimension == "":
        reach += _GONE_ON
    elif rows[mention.id].group == "laboratory" and mention.last < index and not _between(sentence, mention, index):
        reach = _NAMED_REACH  # "the haemoglobin on the gas eleven point two"
    this = mention.id == "holes" and sentence.tokens[mention.last].norm == "hole"  # "twelve from this hole"
    if this or price > reach or (mention.id in _PARTS and _of_device(sentence, grammar, mention)):
        return []
    pressed = quantity.dimension == "pressure" or rows[mention.id].group == "pressure"
    kind = "pressure" if pressed else "measurement"
    side = _number_sides.of_measure(sentence, index, (mention.first, mention.last), grammar)
    later = sentence.section == "aftercare" and rows[mention.id].group == "angle"
    ahead = {"status": "planned"} if later or _care_words.allowed(sentence, index) else {}
    return [base.claim(kind, reading, sentence, index, mention.first, mention.last, price, name=mention.id,
                       unit=quantity.unit, laterality=side,
                       doubts=cut_in_two(sentence, rows[mention.id].group, index), **ahead)]  # fmt: skip


def _of_other(sentence: Sentence, index: int, mention: Mention, quantity: Quantity) -> bool:
    """ "Flexion to 120 degrees, varus four degrees": a comma parts them; "21 in flexion": where it was measured."""
    tokens = sentence.tokens
    if mention.last < index and mention.id != "holes" and index + 1 < len(tokens) and tokens[index + 1].norm == "hole":
        return True  # "ten dorsiflexion with a four hole plate"
    if index < mention.first and mention.id == "flow" and not quantity.unit:
        return True  # "pressure eight flow three litres"
    if index < mention.first:
        led = tokens[index + 1].norm == "in" and (mention.first == index + 2 or tokens[index + 2].quantity is not None)
        return not quantity.unit and led  # "stem ten in thirty degrees of retroversion"
    if any(token.norm in ("lacks", "lacking") for token in tokens[mention.last + 1 : index]):
        return True  # "extension lacks ten": so far from straight
    marks = [at for at in range(mention.last + 1, index) if tokens[at].punctuation and tokens[at].norm != ":"]
    if not marks or quantity.dimension not in ("angle", "length"):
        return False
    own = [token.norm for token in tokens[marks[-1] + 1 : index] if token.quantity is None]
    return len(own) == 1 and own[0].isalpha() and len(own[0]) > 4 and own[0] not in _GOES_ON | _STOPS


_GONE_ON = 4  # "from thirteen point one to twelve point four"


def _between(sentence: Sentence, mention: Mention, index: int) -> bool:
    """Whether a number or something named stands between a measure and a number."""
    return any(token.quantity is not None for token in sentence.tokens[mention.last + 1 : index]) or any(
        mention.last < other.first < index and other.table not in ("sites", "sides") for other in sentence.mentions
    )


def _has_own(sentence: Sentence, rows: Mapping[str, Concept], index: int, mention: Mention) -> bool:
    """ "Tumour at 40 cm, margins 5 cm", "up at 300 mmHg pump pressure was 60": a measure that has a number of its own
    behind it, after a comma or where the number before it is led to by a word of its own."""
    if mention.first < index:
        return False
    tokens = sentence.tokens
    parted = any(token.punctuation for token in tokens[index + 1 : mention.first])
    joined = mention.first == index + 1 + (tokens[index + 1].norm == "and")  # "at 0 degrees and flexion of 120"
    led = index > 0 and tokens[index - 1].norm in ("at", "to") and joined
    after = tokens[mention.last + 1 : mention.last + 3]
    own = [token.quantity for token in after if token.quantity is not None]
    said = tokens[index].quantity
    bare = bool(own) and after[0].quantity is own[0] and said is not None and not said.unit and not own[0].unit
    return bool(own) and (parted or bare or (led and _fits(rows[mention.id].group, own[0].dimension)))


def _root(sentence: Sentence, index: int, quantity: Quantity) -> int:
    """The first of the numbers that go on about one measure: "27 mmHg left, 17 mmHg right", "13.2 -> 11.9 g/dL"."""
    for at in range(index - 1, max(-1, index - 7), -1):
        other = sentence.tokens[at].quantity
        if other is None and sentence.tokens[at].norm not in _GOES_ON:
            break
        if other is not None:
            led = any(token.norm in ("->", "→") for token in sentence.tokens[at + 1 : index])
            pair = (other.dimension, quantity.dimension)
            alike = pair[0] == pair[1] or ("" in pair and (led or "mass_concentration" in pair))
            return _root(sentence, at, other) if alike and other.form == quantity.form else index
    return index


_GOES_ON = frozenset(
    ", / -> → to and os od ou left right before after then versus vs preop postop preoperatively postoperatively on "
    "the now from with in arterial we i it is was at about later dropped lowered reduced turned raised increased fell "
    "came brought put up down went rose please".split()
)


_PARTS = ("holes", "diameter")


def _of_device(sentence: Sentence, grammar: Grammar, mention: Mention) -> bool:
    """ "an eight hole plate", "6.5 mm diameter screws": part of the name of the device."""
    starts = [device.first for device in base.mentions(sentence, "devices")]
    starts += [hit.first for hit in cues.hits(sentence, grammar, "instrument")]
    return any(0 < start - mention.last <= 3 for start in starts)


_FITS = {
    "length": ("length", "area"), "angle": ("angle",), "pressure": ("pressure",), "share": ("fraction",),
    "count": ("", "count", "volume", "fraction", "rate"), "tally": ("", "count"),
    "body": ("mass", "length", "temperature", "frequency", "fraction", "", "time", "count", "mass_concentration"),
    "time": ("time",), "clotting": ("", "time"), "laboratory": ("", "mass_concentration", "fraction"),
}  # fmt: skip


def _fits(group: str, dimension: str, named: str = "") -> bool:
    strength = named == "electrolytes" and dimension == "fraction"  # "bicarb 8.4%"
    if named == "axial-length" and dimension == "":
        return True  # told in millimetres, of which nobody speaks
    return not strength and (dimension in _FITS.get(group, ()) or dimension == "" and group in ("angle", "pressure"))


_ALWAYS_MEASURED = (  # nothing but a measurement has these units
    "pressure", "torque", "current", "power", "energy", "voltage", "frequency", "radiation", "activity", "force",
    "refraction", "resistance", "temperature", "area", "density",
)
_FLOWS, _DRUG_BESIDE = ("mL/min", "L/min", "mL/s", "L/h"), 10  # "an air leak of fifty mils a minute"
_SPEEDS = ("m/s", "cm/s", "mm/s")
_FALLBACK = 70
_LATER = ("aftercare", "follow-up", "history")
_WORDS_BEFORE, _BACK = 3, 9
_STOPS = frozenset("the a an to at of in with was is were set and then for on by up x through over".split())


def _by_words(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> list[Fact]:
    """What no row of measures names: the words before the number tell what it is, also over a number of another kind
    ("balloon six by eighty millimetres at ten atmospheres")."""
    if sentence.section in _LATER:
        return []
    behind = _said_behind(sentence, index, quantity)
    if behind is not None:
        return [base.claim("measurement", reading, sentence, index, *behind, _FALLBACK, unit=quantity.unit,
                           text=cues.words(sentence, *behind))]  # fmt: skip
    root = _list_start(sentence, index)
    first, at, skipped = root, root - 1, False
    while at >= max(0, index - _BACK):
        token = sentence.tokens[at]
        if token.quantity is not None and first == root and token.quantity.dimension != quantity.dimension:
            skipped = True
        elif token.quantity is not None or (token.punctuation and token.norm != ":") or (skipped and _is_new(token)):
            break
        elif token.norm not in _STOPS and not token.punctuation:
            if first != root and root - at > _WORDS_BEFORE + 2 and not skipped:
                break
            first = at
            if skipped:
                break
        at -= 1
    last = next((at for at in range(first, root) if sentence.tokens[at].quantity is not None), root) - 1
    text = cues.words(sentence, first, last)
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    nameless = not any(len(word) > 2 for word in text.split())
    drains = [cues.words(sentence, m.first, m.last) for m in base.mentions(sentence, "drains") if m.last < index]
    said = after if after == "suction" else next(iter(drains), "")
    if nameless and quantity.dimension == "pressure" and said:
        return [base.claim("pressure", reading, sentence, index, index, index, _FALLBACK, text=said,
                           unit=quantity.unit)]  # fmt: skip
    if nameless:
        if quantity.dimension not in _ALWAYS_MEASURED or quantity.dimension in ("pressure", "area"):
            return []
        first, text = index, ""
    kind = "pressure" if quantity.dimension == "pressure" else "measurement"
    side = _number_sides.of_measure(sentence, index, (first, last), grammar) if last >= first else None
    return [base.claim(kind, reading, sentence, index, first, index, _FALLBACK, text=text or None,
                       unit=quantity.unit, laterality=side,
                       doubts=maybe_pronoun(sentence, index) + maybe_how_many(sentence, index))]  # fmt: skip


def _said_behind(sentence: Sentence, index: int, quantity: Quantity) -> tuple[int, int] | None:
    """ "Twelve degrees of valgus", "thirty cm of bowel": what it is, where nothing before the number tells it."""
    tokens = sentence.tokens
    tilted = next((m for m in base.mentions(sentence, "positions") if m.first == index + 1), None)
    if quantity.dimension == "angle" and tilted is not None:
        return tilted.first, tilted.last  # "25 degrees head down"
    opens = index == 0 or tokens[index - 1].punctuation or tokens[index - 1].norm in ("with", "had", "was", "and", "in")
    lead = [token.norm for token in tokens[index + 1 : index + 3]]
    if quantity.dimension not in ("angle", "length") or not opens or len(lead) < 2 or lead[0] != "of":
        return None
    last = index + 1
    while last + 1 < len(tokens) and last - index < _WORDS_BEFORE and tokens[last + 1].norm.isalpha() and (
        tokens[last + 1].norm not in _STOPS
    ):  # fmt: skip
        last += 1
    return (index + 2, last) if last > index + 1 else None


def _list_start(sentence: Sentence, index: int) -> int:
    """The first of the lengths that "by" joins ("right lobe four by three centimetres"), and of what an arrow leads on
    from ("varus 9 -> 1 deg")."""
    tokens = sentence.tokens
    while index >= 2 and tokens[index - 1].norm in ("x", "by", "->"):
        one, other = tokens[index].quantity, tokens[index - 2].quantity
        arrow = tokens[index - 1].norm == "->" and other is not None and not other.dimension
        if one is None or other is None or (one.dimension != other.dimension and not arrow):
            break
        index -= 2
    return index


def _is_new(token: Token) -> bool:
    """Whether a word begins something else, so that a number after it is not of what stands before."""
    return token.norm in ("with", "and", "then", "a", "an")


def _place(reading: Reading, sentence: Sentence, index: int, quantity: Quantity) -> list[Fact]:
    """ "2 cm below the umbilicus": a distance, named by the place."""
    if sentence.section in _LATER:
        return []
    last = min(len(sentence.tokens) - 1, index + 5)
    for at in range(index + 2, last + 1):
        if sentence.tokens[at].punctuation or sentence.tokens[at].quantity is not None:
            last = at - 1
            break
    return [base.claim("measurement", reading, sentence, index, index, last, _FALLBACK, unit=quantity.unit,
                       text=cues.words(sentence, index + 1, last))]  # fmt: skip


def _share(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity) -> list[Fact]:
    """ "Phaco power eighteen percent": nothing follows that the percent could be of."""
    after = sentence.tokens[index + 1 : index + 2]
    ends = not after or after[0].punctuation or after[0].norm == "and"
    ends = ends or any(m.last == index - 1 for m in base.mentions(sentence, "acts"))  # "resected thirty percent"
    if not ends or any(True for _ in base.mentions(sentence, "drugs", "injectates", "irrigation", "fluids")):
        return []
    return _by_words(reading, sentence, grammar, index, quantity)


_LIMIT = frozenset("over larger bigger greater longer than more above of > < under exceeding beyond any".split())


def _noun(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> list[Fact]:
    """A length beside a lesion or a structure: its size. "Polyp at 40 cm" tells where it is."""
    start = cues.listed(sentence, index)[0]
    if start and sentence.tokens[start - 1].norm == "at" and quantity.dimension == "length":
        return []
    ranked = [
        (cues.cost(sentence, index, hit.first, hit.last, postfix=1), hit.first, hit.last)
        for hit in cues.hits(sentence, grammar, "lesion")
    ] + [
        (cues.cost(sentence, index, mention.first, mention.last, postfix=1) + 1, mention.first, mention.last)
        for mention in base.mentions(sentence, *_NOUNS)
    ] + [
        (cues.cost(sentence, index, mention.first, mention.last, postfix=1) + _SITE_EXTRA, mention.first, mention.last)
        for mention in base.mentions(sentence, "sites")
    ]
    ranked = _noun_sizes.kept(sentence, index, quantity, ranked)
    graded = cues.after_grade(sentence, _list_start(sentence, index))
    reach = _SHARE_REACH if quantity.dimension == "fraction" else _LESION_REACH * (1 + graded)
    if quantity.dimension == "fraction" and [t.norm for t in sentence.tokens[index + 1 : index + 2]] != ["of"]:
        places = {at for m in base.mentions(sentence, "sites") for at in range(m.first, m.last + 1)}
        ranked = [one for one in ranked if one[1] < index or one[1] not in places]  # "thirty percent lateral meniscus"
    if not ranked or min(ranked)[0] > reach:
        return []
    price, first, last = min(ranked)
    side = _number_sides.of_measure(sentence, index, (first, last), grammar)
    unseen = last < index and base.scope_at(sentence, "certainty", first, "") == "negated"  # "no fragment over 2 mm"
    if unseen and not _LIMIT.issuperset(token.norm for token in sentence.tokens[last + 1 : index]):
        return []  # "no perforation piece was thirty four by twenty six millimetres"
    return [
        base.claim("measurement", reading, sentence, index, first, last, price + _GUESS, name="size",
                   text=" ".join(token.text for token in sentence.tokens[first : last + 1]),
                   unit=quantity.unit, laterality=side, **({"certainty": "negated"} if unseen else {}),
                   doubts=maybe_pronoun(sentence, index) + maybe_how_many(sentence, index))
    ]  # fmt: skip
