"""The patient's age and weight.

An age is said with its word ("sixty years old", "aged 44", "57 y/o", "58F") or right behind the name ("Missus Ilse
Vandermeer, forty four"). An age said without a unit is in years: that is what the bare number means in English.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from pipeline import cues, people
from pipeline.extractors import _weights, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("patient_age", "patient_weight")

_TITLES = frozenset({"mr", "mister", "mrs", "missus", "miss", "ms", "master", "mr.", "mrs.", "ms.", "madam"})
_LABELS = frozenset({"pt", "patient", "name"})
_WITH_SEX = re.compile(r"^(\d{1,3})(?:[-/]?(?:y|yo|yrs?)[-/]?[mf]?|[-/]?[mf])$")
_SEX = frozenset({"m", "f", "male", "female", "man", "woman", "boy", "girl", "gentleman", "lady", "yo", "y", "yrs"})
_VERBS = frozenset({"is", "was", "has", "had", "with", "the", "who", "underwent", "a", "an", "next", "in", "at",
                    "after", "from", "for", "today", "tomorrow", "call", "daily", "week", "to", "on",
                    "all", "both", "these", "those", "his", "her", "by", "that", "there"})
_DONE_THEN = frozenset({"procedures", "acts", "diagnoses"})
_PERSONS = _SEX | frozenset({"infant", "baby", "child", "patient", "newborn", "neonate", "toddler", "twin"})
_NAME_WORDS = 4
_OLDEST = 115
_AGE_UNITS = ("a", "mo", "wk", "d")
_WEIGHT_UNITS = ("kg", "[lb_av]")
_OTHER_WEIGHTS = frozenset({"bearing", "traction", "lift", "lifting", "specimen", "gland", "loss", "limit", "birth"})


_JOINING = frozenset({"and", "plus", "&", "+", "x"})  # "PT and two injections had not helped": no name
_FIRST = 5  # tokens: "INDICATIONS: 44M with ten weeks of pain"
_COUNTED = ("day ", "week ", "month ")
_SURE: dict[str, Any] = {"status": "performed", "certainty": "affirmed"}  # whatever else the sentence says


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        named = _after_name(sentence)
        for index, token in enumerate(sentence.tokens):
            if token.quantity is None and token.norm.isalpha():
                continue
            early = sentence.index < _OPENING or index < _FIRST and sentence.section == "indication"
            sexed = _WITH_SEX.match(token.norm) if token.quantity is None and early else None
            if sexed and int(sexed[1]) <= _OLDEST and not people.is_calibre(sentence, index) and (
                token.norm[-1] in "mf" or _is_years(sentence, index)
            ):
                facts.append(
                    base.make("patient_age", reading, sentence, index, index, value=Decimal(sexed[1]), unit="a",
                              **_SURE)
                )
            if token.quantity is None or token.quantity.form not in ("number", "range", "fraction"):
                continue
            if token.quantity.dimension == "mass":
                facts += _weight(reading, sentence, grammar, index, named)
            elif token.quantity.dimension in ("time", ""):
                facts += _age(reading, sentence, grammar, index, named)
                facts += _bare_weight(reading, sentence, index)
    return facts


def _is_years(sentence: Sentence, index: int) -> bool:
    """ "Nell Okafor-Dean, 6y", "(66y)": right behind a name or mark; not "pain for 3y", "3y of pain"."""
    before = sentence.tokens[index - 1] if index else None
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else "."
    named = before is not None and people.is_capital(before.text) and people.named_and_aged(sentence) is not None
    return (before is None or before.norm in (",", "(", ":", "/") or named) and after not in _NO_YEARS


_NO_YEARS = frozenset({"of", "ago", "hx", "history", "post", "after", "fu", "follow", "since", "later"})


def _age(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, named: int | None) -> list[Fact]:
    quantity = sentence.tokens[index].quantity
    assert quantity is not None
    value = quantity.value
    if value is None or value > _OLDEST or (quantity.unit is not None and quantity.unit not in _AGE_UNITS):
        return []
    if sentence.tokens[index].text.lower().startswith(_COUNTED):
        return []  # "PT from day 2"
    if _is_then(sentence, index):
        return []
    unit = quantity.unit or "a"
    lead = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    if lead in (["at", "age"], ["since", "age"], ["from", "age"]) or "like" in lead:
        return []  # "esotropia since age 2", "she had grommets at age three", "cartilage like a twenty year old"
    near = cues.nearest(sentence, grammar, index, "age")
    if near is not None and near[1].first > index and sentence.tokens[near[1].first - 1].norm in _OF_A_THING:
        near = None  # "plus twenty one from the old operation"
    if near is not None and near[1].first < index and any(
        m.table in _DONE_THEN and m.last == near[1].first - 1 for m in sentence.mentions
    ):
        return []  # "appendicectomy aged 12": when that was
    if near is not None and any(m.table == "devices" and m.first == near[1].last + 1 for m in sentence.mentions):
        near = None  # "2 old screws removed"
    if near is not None and near[1].last < index and sentence.tokens[near[1].first].norm in ("old", "year"):
        near = None  # "the old two were left in place"
    persons = {token.norm for token in sentence.tokens[max(0, index - 4) : index + 6]} & _PERSONS
    if near is not None and near[0] <= (6 if quantity.unit else 2) and (persons or quantity.unit in (None, "a")):
        price, hit = near
        return [base.claim("patient_age", reading, sentence, index, hit.first, hit.last, price, unit=unit, **_SURE)]
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if named is not None and index == named and sentence.tokens[index - 1].norm not in _JOINING:
        scored = sentence.tokens[index - 1].norm in ("pain", "score", "vas", "nrs") or after[:2] == ["out", "of"]
        if scored:
            return []  # "patient tolerated it well pain two out of ten"
        if quantity.unit is None and value != int(value):
            return []
        return [base.claim("patient_age", reading, sentence, index, index, index, 1, unit=unit, **_SURE)]
    if quantity.unit == "a" and quantity.said_unit in _IN_SHORT and sentence.index < _OPENING:
        return [base.claim("patient_age", reading, sentence, index, index, index, 1, unit=unit, **_SURE)]
    if quantity.unit == "a" and after and after[0] in _SEX:
        return [base.claim("patient_age", reading, sentence, index, index, index + 1, 1, unit=unit, **_SURE)]
    if quantity.unit in _AGE_UNITS and sentence.index < _OPENING and _before_weight(sentence, index):
        return [base.claim("patient_age", reading, sentence, index, index, index, 1, unit=unit, **_SURE)]
    if _is_of_subject(reading, sentence, index):
        return [base.claim("patient_age", reading, sentence, index, index - 2, index, 2, unit=unit, **_SURE)]
    ahead = index > 0 and sentence.tokens[index - 1].norm in _TO_COME
    if quantity.unit is None and not ahead and (after[:1] == ["y"] or after[:1] == ["yo"] or _sexed(sentence, index)):
        return [base.claim("patient_age", reading, sentence, index, index, index + 1, 1, unit=unit, **_SURE)]
    return []


_WHEN = frozenset("when since before until after from while once as at".split())


def _is_then(sentence: Sentence, index: int) -> bool:
    """ "When she was eleven", "at the age of two", "since he was 30": how old somebody was on another day."""
    lead = [token.norm for token in sentence.tokens[max(0, index - 4) : index]]
    if lead[-3:-2] != [] and lead[-3] in _WHEN and lead[-2] in ("he", "she", "they") and lead[-1] in ("was", "were"):
        return True
    return len(lead) > 2 and lead[-3:] == ["the", "age", "of"] and lead[0] in _WHEN or (
        len(lead) > 2 and lead[-2:] == ["age", "of"] and lead[-3] in _WHEN
    )


def _before_weight(sentence: Sentence, index: int) -> bool:
    """ "Arlo Fenwick, 27 months, 13.2 kg", "11 months old, weight 9 kg", "9 kg at 11 months"."""
    ahead = sentence.tokens[index - 2].quantity if index > 1 and sentence.tokens[index - 1].norm == "at" else None
    if ahead is not None and ahead.unit == "kg":
        return True
    if index and sentence.tokens[index - 1].norm in ("for", "x", "in", "after", "to", "until", "at"):
        return False  # "15 kg for 2/52, 30 kg for 3/52"
    behind = [one for one in sentence.tokens[index + 1 : index + 5] if one.norm not in (",", "old", "weight", "wt")]
    weight = behind[0].quantity if behind else None
    if behind[1:] and behind[1].norm in _OTHER_WEIGHTS | {"load", "partial", "max"}:
        return False  # "crutches six weeks fifteen kilogram load left leg"
    return weight is not None and weight.unit == "kg"


def _is_of_subject(reading: Reading, sentence: Sentence, index: int) -> bool:
    """ "She is sixty one osteoarthritis of the hip": told of the patient before anything was done."""
    tokens = sentence.tokens
    quantity = tokens[index].quantity
    if index < 2 or quantity is None or quantity.unit is not None or quantity.form != "number" or quantity.comparator:
        return False
    short = tokens[index - 1].norm in ("she's", "he's")
    spoken_of = tokens[index - 1].norm in ("is", "was") and tokens[index - 2].norm in ("he", "she", "who")
    if not short and not spoken_of:
        return False
    after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
    whole = quantity.value is not None and quantity.value == int(quantity.value) and quantity.value >= 1
    return whole and after not in _NO_AGE and _presents(reading, sentence)


_NO_AGE = frozenset("out of percent to over point / hours days weeks months para gravida post cm".split())


def _sexed(sentence: Sentence, index: int) -> bool:
    """ "Roe, 71 F.": a whole number at the head of the note before a lone M or F."""
    tokens = sentence.tokens
    quantity, after = tokens[index].quantity, tokens[index + 1 : index + 3]
    return (
        bool(after) and after[0].text in ("M", "F") and quantity is not None and quantity.form == "number"
        and quantity.value is not None and quantity.value == int(quantity.value) and sentence.index < _OPENING
        and (index == 0 or tokens[index - 1].norm in (",", ":", "(", "pt", "patient", "aged", "age"))
        and (len(after) == 1 or after[1].punctuation or after[1].norm in ("with", "who", "for", "presenting"))
    )


def _weight(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, named: int | None) -> list[Fact]:
    quantity = sentence.tokens[index].quantity
    if quantity is not None and quantity.unit == "g":
        return _in_grams(reading, sentence, grammar, index)
    if quantity is None or quantity.unit not in _WEIGHT_UNITS:
        return []
    if _weights.is_of_one_born(reading, sentence, grammar, quantity):
        return []  # "a 3.1 kg baby boy delivered": of the child, which is not the one operated on
    around = {token.norm for token in sentence.tokens[max(0, index - 2) : index + 3]}
    if around & _OTHER_WEIGHTS or _is_load(sentence, index) or _is_pull(reading, sentence, index):
        return []
    if _in_brackets(sentence, index + 2):
        return []  # "less than 5 kg (4.1 kg)": the one in brackets is the weight
    near = cues.nearest(sentence, grammar, index - 2 if _in_brackets(sentence, index) else index, "weight")
    if near is not None and near[0] <= 12:
        price, hit = near
        return [base.claim("patient_weight", reading, sentence, index, hit.first, hit.last, price, **_SURE)]
    if named is not None and 0 < index - named <= 6:  # "Mrs. Blix, 88 y, 52 kg"
        return [base.claim("patient_weight", reading, sentence, index, index, index, 10, **_SURE)]
    ages = [at for at, other in base.quantities(sentence, "time") if other.unit in ("a", "mo") and 0 < index - at <= 8]
    ages += [hit.last for hit in cues.hits(sentence, grammar, "age") if 0 < index - hit.last <= 8]
    if any(mention.table == "drugs" for mention in sentence.mentions if ages and ages[0] < mention.first < index):
        return []
    sexed = any(_WITH_SEX.match(token.norm) for token in sentence.tokens[max(0, index - 4) : index])
    if (ages or sexed) and quantity.unit == "kg":  # "four years old, sixteen kilos"
        told = ages[-1] if ages else index
        price = 0 if index and sentence.tokens[index - 1].norm == "old" else 12
        return [base.claim("patient_weight", reading, sentence, index, told, told, price, **_SURE)]
    first_word = sentence.tokens[0].norm in _LABELS
    if first_word and index <= 10:
        return [base.claim("patient_weight", reading, sentence, index, index, index, 10, **_SURE)]
    if any(token.norm in _GROWN for token in sentence.tokens[index + 1 : index + 3]):  # "a 60 kg man"
        return [base.claim("patient_weight", reading, sentence, index, index, index + 1, 10, **_SURE)]
    if index and sentence.tokens[index - 1].norm in _HE_IS:
        return [base.claim("patient_weight", reading, sentence, index, index - 1, index, 2, **_SURE)]
    if index > 1 and sentence.tokens[index - 1].norm in _IS and sentence.tokens[index - 2].norm in _SUBJECTS:
        return [base.claim("patient_weight", reading, sentence, index, index - 2, index, 2, **_SURE)]
    lead = [token.norm for token in sentence.tokens[:index]]
    if lead[-2:] == ["and", "is"] and lead[0] in ("the", "this", "he", "she") and set(lead[:3]) & _SUBJECTS:
        return [base.claim("patient_weight", reading, sentence, index, index - 1, index, 4, **_SURE)]  # "obese and is"
    if quantity.unit == "kg" and any((other.unit or "").endswith("/kg") and 0 < index - at <= _TO_RATE
                                     for at, other in base.quantities(sentence)):  # fmt: skip
        return [base.claim("patient_weight", reading, sentence, index, index, index, 12, **_SURE)]
    if quantity.unit == "kg" and _alone(sentence, index):
        doubts = ("taken as the weight of the patient; what weighs so much was not said",)
        return [base.claim("patient_weight", reading, sentence, index, index, index, _STANDS_ALONE, doubts=doubts,
                           **_SURE)]  # fmt: skip
    return []


def _is_pull(reading: Reading, sentence: Sentence, index: int) -> bool:
    """ "Traction with a finger trap, five kilos", "Traction tower. Four kilos."."""
    norms = [token.norm for token in sentence.tokens[max(0, index - _PULLED) : index]]
    if not norms and sentence.index:
        norms = [token.norm for token in reading.sentences[sentence.index - 1].tokens[-_PULLED:-1]]
    return bool({"traction", "distraction", "tower"} & set(norms)) and "." not in norms


_PULLED = 9  # tokens


def _is_load(sentence: Sentence, index: int) -> bool:
    """ "Partial weight, twenty kilos": what a limb may carry."""
    before = [token.norm for token in sentence.tokens[max(0, index - 8) : index]]
    after = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    if _LOAD_WORDS & set(before[-4:]) or after in (["of", "weight"], ["of", "load"]):
        return True  # "TTWB (10 kg)", "twenty kilos of weight for two weeks"
    behind = [token for token in sentence.tokens[index + 1 : index + 3] if token.norm not in ("for", "x")]
    time = behind[0].quantity if behind else None
    if time is not None and time.unit in ("d", "wk", "mo"):
        return True  # "twenty kilos for four weeks"
    at = before.index("weight") if "weight" in before else 0
    return at > 0 and before[at - 1] in _LOADS


_OF_A_THING = frozenset({"the", "an", "a", "from", "this", "of", "her", "his", "its"})
_IN_SHORT = frozenset({"yo", "y/o", "y.o.", "y.o", "yr/o"})  # "32 yo, P0"
_LOAD_WORDS = frozenset({"ttwb", "pwb", "fwb", "nwb", "wb", "tdwb", "ffwb"})
_LOADS = frozenset("partial touch toe full half limited protected no reduced some".split())


def _bare_weight(reading: Reading, sentence: Sentence, index: int) -> list[Fact]:
    """ "Weight is fifty eight", "he weighs eighty two": the unit was left out, and stays so."""
    tokens = sentence.tokens
    quantity = tokens[index].quantity
    at = index - 1
    while at > 0 and tokens[at].norm in _TO_WEIGHT:
        at -= 1
    if quantity is None or quantity.unit is not None or quantity.form != "number" or at < 0:
        return []
    before = {token.norm for token in tokens[max(0, at - 2) : at]}
    if tokens[at].norm not in _WEIGHS and not (tokens[at].norm == "weight" and not before & _OTHER_WEIGHTS):
        return []
    if tokens[at].norm in _WEIGHS and not before & _SUBJECTS:
        return []
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if after is not None and after.norm.isalpha() and after.norm not in _GOES_ON:
        return []
    if any(token.norm in _OTHER_WEIGHTS for token in tokens[at + 1 : index + 3]):
        return []
    return [base.claim("patient_weight", reading, sentence, index, at, index, 2, **_SURE)]


_TO_COME = frozenset({"out", "in", "at", "after", "for", "x", "removal", "fu", "review", "mri", "ct",
                     "repeat", "recall"})  # fmt: skip
_IS = frozenset({"is", "was", "weighs", "weighing", "'s"})
_HE_IS = frozenset({"she's", "he's", "shes", "hes"})
_TO_WEIGHT = frozenset({"is", "was", ":", "about", "around", "of"})
_WEIGHS = frozenset({"weighs", "weighed", "weighing"})
_GOES_ON = frozenset("he she the we i so and with no but then today patient height bmi asa age".split())
_STANDS_ALONE = 60
_TO_RATE = 5  # tokens: "five milligrams a kilo at eighty kilos"
_GROWN = _PERSONS - {"m", "f", "y", "yo", "yrs"}
_MARKS = frozenset({",", ";", ".", "("})
_SUBJECTS = frozenset({"he", "she", "patient", "pt", "his", "her", "patient's", "man", "woman", "body"})


def _alone(sentence: Sentence, index: int) -> bool:
    """ "...; 60 kg.": a part of a sentence of its own."""
    tokens = sentence.tokens
    ahead = index == 0 or tokens[index - 1].norm in _MARKS
    return ahead and (index + 1 == len(tokens) or tokens[index + 1].norm in _MARKS | {")"})


def _in_grams(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    """ "The patient weighs seventy grams": kept as said, so that it is asked about; a specimen or a newborn may."""
    tokens = sentence.tokens
    for hit in cues.hits(sentence, grammar, "weight"):
        if not 0 < index - hit.last <= 3 or any(token.norm in _NEWBORN for token in tokens):
            continue
        if any(token.quantity is not None for token in tokens[hit.last + 1 : index]):
            continue  # "weight ninety one kilos cefazolin two grams"
        before = {token.norm for token in tokens[max(0, hit.first - 3) : hit.first]}
        led = (hit.first == 0 or tokens[hit.first - 1].norm in _MARKS) and _presents(reading, sentence)
        if before & _SUBJECTS or (led and not cues.has(sentence, grammar, "specimen", "sent")):
            return [base.claim("patient_weight", reading, sentence, index, hit.first, hit.last, 0, **_SURE)]
    return []


def _presents(reading: Reading, sentence: Sentence) -> bool:
    """Whether nothing was done or taken out so far: the patient is presented, and a weight can be of nothing else."""
    return sentence.index < _OPENING or not any(
        mention.table in ("acts", "procedures", "specimens")
        for earlier in reading.sentences[: sentence.index] for mention in earlier.mentions
    )


_OPENING = 3  # sentences
_NEWBORN = frozenset({"infant", "baby", "newborn", "neonate", "twin", "boy", "girl", "apgar", "apgars", "preterm"})


def _in_brackets(sentence: Sentence, index: int) -> bool:
    """Whether a weight in brackets stands at `index`, right behind a weight that is no exact one."""
    tokens = sentence.tokens
    if index < 2 or index >= len(tokens) or tokens[index - 1].norm != "(":
        return False
    rough, exact = tokens[index - 2].quantity, tokens[index].quantity
    return rough is not None and exact is not None and rough.comparator is not None and (
        rough.unit in _WEIGHT_UNITS and exact.unit in _WEIGHT_UNITS and exact.comparator is None
    )


def _after_name(sentence: Sentence) -> int | None:
    """The number right behind "Mister Otto Lindgren," or "Patient: Nils Averyanov,"."""
    tokens = sentence.tokens
    for start, token in enumerate(tokens):
        label = token.norm in _LABELS and start + 1 < len(tokens) and (tokens[start + 1].norm == ":" or start == 0)
        if token.norm == "patient" and (behind := _behind_plain_name(sentence, start)) is not None:
            return behind
        if not label and token.norm not in _TITLES:
            continue
        at = start + 1
        words = 0
        while at < len(tokens) and words <= _NAME_WORDS:
            norm = tokens[at].norm
            if tokens[at].quantity is not None:
                return at if words >= 1 else None
            if norm.replace("'", "").isalpha() and norm not in _VERBS:
                words += norm not in _TITLES
            elif norm not in (",", ":", ".", "mr.", "mrs.", "ms.", "dr."):
                break
            at += 1
    opened = people.opened_with(sentence)
    if opened is None:
        return None
    at = opened[1] + 1
    at += at < len(tokens) and tokens[at].norm in (",", "aged", "age")
    quantity = tokens[at].quantity if at < len(tokens) else None
    return at if quantity is not None and quantity.form == "number" else None


def _behind_plain_name(sentence: Sentence, start: int) -> int | None:
    """The bare number right behind "patient is marek dvorsky", a name of two words without a title."""
    tokens, first = sentence.tokens, start + 2
    if first >= len(tokens) or tokens[start + 1].norm != "is":
        return None
    end = people.name_end(tokens, first, {m.first: m for m in sentence.mentions if m.table not in ("team", "sex")})
    quantity = tokens[end].quantity if end < len(tokens) else None
    plain = all(len(token.norm) > 2 and not token.norm.endswith(_FORMS) for token in tokens[first:end])
    return end if end - first == 2 and plain and quantity is not None and quantity.unit in (None, "a") else None


_FORMS = ("ing", "ed", "ly", "able")
