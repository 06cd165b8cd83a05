"""Who the patient is: name, record number, sex, handedness, allergies. Age and weight are numbers (person.py)."""

from __future__ import annotations

from pipeline import people, story
from pipeline.extractors import _reactions, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, Token

KINDS = ("patient_name", "patient_identifier", "patient_sex", "handedness", "allergy")

_RECORD = (("hospital", "number"), ("record", "number"), ("patient", "number"), ("nhs", "number"), ("case", "number"),
           ("unit", "number"), ("patient", "id"), ("patient", "identifier"), ("mrn",), ("chart", "number"))  # fmt: skip
_RECORD_BY_WORD = {cue[0]: tuple(other for other in _RECORD if other[0] == cue[0]) for cue in _RECORD}
_COUNTED = frozenset({"case", "patient", "unit"})  # "case number two today": of a list
_LEAST_DIGITS = 3
_SKIPPED = frozenset({":", "is", "number", "#", "no", ".", ",", "are"})
_SEX = {"m": "male", "f": "female"}
_HANDED = {"rhd": "right", "lhd": "left"}
_HEAD = 8  # sentences in which a patient is told of: "14F" is a sheath later on
_NONE = frozenset({"none", "nil", "nkda", "nkma", "nka", "unknown"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        facts += _name(reading, sentence)
        facts += _record(reading, sentence)
        facts += _sex(reading, sentence, grammar)
        facts += _allergy(reading, sentence)
        for mention in base.mentions(sentence, "handedness"):
            if {"i", "i'm"} & {token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]}:
                continue  # "from the right side, as I am right handed": the surgeon is
            facts.append(base.make("handedness", reading, sentence, mention.first, mention.last, name=mention.id,
                                   status="performed", certainty="affirmed"))  # fmt: skip
        for index, token in enumerate(sentence.tokens if sentence.says(_HANDED.keys()) else ()):
            if token.norm in _HANDED:
                facts.append(base.make("handedness", reading, sentence, index, index, name=_HANDED[token.norm],
                                       status="performed", certainty="affirmed"))  # fmt: skip
    return facts


def _name(reading: Reading, sentence: Sentence) -> list[Fact]:
    roles = list(base.mentions(sentence, "team"))
    found = people.persons(sentence)
    for person in found:
        if person.title not in people.LAY or person.title in ("sister", "nurse"):
            continue
        if person.first and sentence.tokens[person.first - 1].norm in ("with", "by") and sentence.index:
            continue  # "turned over to the cornea service with Mrs. Jun"
        if person.first and sentence.tokens[person.first - 1].norm == "(":
            continue  # "laparoscopy last week (Ms Harding)": who did it
        if any(people.beside(sentence, role.first, role.last, [person], 3, set()) == person for role in roles):
            continue
        return [base.make("patient_name", reading, sentence, person.first, person.last, text=person.name,
                          status="performed", certainty="affirmed")]  # fmt: skip
    told = _after_patient(reading, sentence) or _after_sex(reading, sentence) or _before_record(reading, sentence)
    opened = None if told else people.opened_with(sentence)
    if opened is None:
        return told
    said = story.words_between(reading, sentence.tokens[opened[0]].first, sentence.tokens[opened[1]].last)
    return [base.make("patient_name", reading, sentence, *opened, status="performed", certainty="affirmed",
                      text=" ".join(word.text for word in said).strip(" ,.;:"))]  # fmt: skip


def _after_sex(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "six year old boy lucas hartmann twenty two kilograms", "Boy of four, Elias Moreno, sixteen kilograms"."""
    tokens = sentence.tokens
    starts = [mention.last + 1 for mention in base.mentions(sentence, "sex")]
    starts += [index + 2 for index, token in enumerate(tokens[:-2])
               if token.norm == "patient" and tokens[index + 1].norm == "is"]  # fmt: skip
    covered = {mention.first: mention for mention in sentence.mentions}
    for start in starts:
        while start < len(tokens) and (tokens[start].norm in (",", "of") or tokens[start].quantity is not None):
            start += 1
        end = people.name_end(tokens, start, covered)
        if end - start != 2 or end >= len(tokens) or any(len(token.norm) < 3 for token in tokens[start:end]):
            continue
        number = tokens[end].quantity is not None or (tokens[end].norm == "," and tokens[start].text[:1].isupper())
        if number and tokens[start].text[:1].isupper() == tokens[end - 1].text[:1].isupper():
            return [base.make("patient_name", reading, sentence, start, end - 1, status="performed",
                              text=people.joined(tokens[start:end]), certainty="affirmed")]  # fmt: skip
    return []


def _after_patient(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Patient: Ada Moss", "patient name is ada moss", "Pt J. Okonkwo": a written name needs its capitals."""
    tokens = sentence.tokens
    if not sentence.says({"patient", "pt", "name"}):
        return []
    for index, token in enumerate(tokens[:-1]):
        if token.norm not in ("patient", "pt") and (token.norm != "name" or not index):
            continue
        if token.norm == "name" and tokens[index - 1].norm not in ("patient", "patient's"):
            continue
        start = index + 1
        cued = token.norm == "name" and index > 0 and tokens[index - 1].norm in ("patient", "patient's")
        while start < len(tokens) and tokens[start].norm in (":", "is", "name", "'s", "-", "called", "named"):
            cued = cued or tokens[start].norm in ("name", "called", "named", ":")
            start += 1
        if start >= len(tokens):
            return []
        if not cued and token.norm == "patient" and tokens[start - 1].norm in ("is", "patient"):
            cued = _stands_alone(sentence, start)
        capital = tokens[start].text[:1].isupper() and not tokens[start].text.isupper() or (
            len(tokens[start].text) == 1 and tokens[start].text.isupper()
        )
        spoken_name = cued and token.norm == "name"
        if not (spoken_name or (capital and (cued or token.norm == "pt"))):
            continue
        covered = {mention.first: mention for mention in sentence.mentions}
        end = people.name_end(tokens, start, covered)
        if end > start:
            return [base.make("patient_name", reading, sentence, start, end - 1,
                              text=people.joined(tokens[start:end]), status="performed",
                              certainty="affirmed")]  # fmt: skip
    return []


def _before_record(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Operative dictation, Yusuf Amari, record number 88201": the name between the marks before the number."""
    tokens = sentence.tokens
    if sentence.index > 1 or not sentence.says(_RECORD_BY_WORD.keys()):
        return []
    at = next((at for at in range(2, len(tokens)) if any(
        _at(sentence, at, cue) for cue in _RECORD_BY_WORD.get(tokens[at].norm, ())
    )), None)
    if at is None or tokens[at - 1].norm != ",":
        return []
    first = at - 1
    while first and at - 1 - first < _MOST_NAMES and people.is_capital(tokens[first - 1].text):
        first -= 1
    led = not first or tokens[first - 1].punctuation
    if not led or at - 1 - first < 2 or any(m.first < at - 1 and first <= m.last for m in sentence.mentions):
        return []
    return [base.make("patient_name", reading, sentence, first, at - 2, text=people.joined(tokens[first : at - 1]),
                      status="performed", certainty="affirmed")]  # fmt: skip


def _stands_alone(sentence: Sentence, start: int) -> bool:
    """ "Patient is Delphine Okonjo MRN 44129": two words in capitals that no row names, and then something else."""
    tokens = sentence.tokens
    end = start
    while end < len(tokens) and end - start < _MOST_NAMES and people.is_capital(tokens[end].text):
        end += 1
    named = any(m.first < end and start <= m.last for m in sentence.mentions)
    return end - start > 1 and not named


_MOST_NAMES = 4


def _record(reading: Reading, sentence: Sentence) -> list[Fact]:
    """The record number as said: digits and letters run together."""
    tokens = sentence.tokens
    if not sentence.says(_RECORD_BY_WORD.keys()):
        return []
    for index, token in enumerate(tokens):
        if token.norm not in _RECORD_BY_WORD:
            continue
        cue = next((cue for cue in _RECORD_BY_WORD[token.norm] if _at(sentence, index, cue)), None)
        if cue is None:
            continue
        start = index + len(cue)
        if tokens[start - 1].quantity is not None:  # "number four four seven" is read as one label
            start -= 1
        while start < len(tokens) and tokens[start].norm in _SKIPPED:
            start += 1
        end, text = start, ""
        while end < len(tokens) and (piece := _piece(sentence, end)):
            text += piece
            end += 1
        digits = sum(letter.isdigit() for letter in text)
        if digits and (cue[0] not in _COUNTED or digits >= _LEAST_DIGITS):
            return [base.make("patient_identifier", reading, sentence, index, end - 1, text=text.upper(),
                              status="performed")]  # fmt: skip
    return []


def _at(sentence: Sentence, index: int, cue: tuple[str, ...]) -> bool:
    for offset, word in enumerate(cue):
        if index + offset >= len(sentence.tokens):
            return False
        token = sentence.tokens[index + offset]
        if token.norm != word and not (offset and token.text.lower().startswith(f"{word} ")):
            return False
    return True


def _piece(sentence: Sentence, index: int) -> str:
    token = sentence.tokens[index]
    if token.quantity is not None and token.quantity.unit is None:
        return token.quantity.text if token.quantity.form in ("code", "label") else "".join(
            letter for letter in format(token.quantity.value or "", "") if letter.isalnum()
        )
    if len(token.norm) == 1 and token.norm.isalpha() and token.norm not in ("a", "i"):
        return token.norm
    if any(letter.isdigit() for letter in token.norm) and token.quantity is None and not token.punctuation:
        return token.text
    return ""


_AGED = frozenset({"old", "patient", "pt", "yo", "aged"})


def _sex(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """A word of sex beside an age or the patient; "59F", "33 M"."""
    tokens = sentence.tokens
    old = sentence.says(_AGED) or any(quantity.unit == "a" for _, quantity in base.quantities(sentence))
    for mention in base.mentions(sentence, "sex"):
        if old and mention.first < 25:
            return [base.make("patient_sex", reading, sentence, mention.first, mention.last, name=mention.id,
                              status="performed", certainty="affirmed")]  # fmt: skip
    for index, token in enumerate(tokens[:25] if sentence.index < _HEAD else ()):
        low = token.norm
        if len(low) in (2, 3, 4) and low[-1] in _SEX and low[:-1].isdigit() and token.text[-1].isupper() and not (
            people.is_calibre(sentence, index)
        ):
            return [base.make("patient_sex", reading, sentence, index, index, name=_SEX[low[-1]])]
        if low in _SEX and token.text.isupper() and index and _is_age(sentence, index - 1):
            return [base.make("patient_sex", reading, sentence, index, index, name=_SEX[low])]
    return []


def _is_age(sentence: Sentence, index: int) -> bool:
    token = sentence.tokens[index]
    if token.norm in ("old", "yo", "y", "o", "yr", "y/o"):
        return True
    quantity = token.quantity
    return quantity is not None and (quantity.unit == "a" or (quantity.unit is None and quantity.form == "number"))


def _allergy(reading: Reading, sentence: Sentence) -> list[Fact]:
    tokens = sentence.tokens
    for drug in base.mentions(sentence, "drugs"):
        if _reactions.is_told_as_reaction(sentence, drug):
            return [base.make("allergy", reading, sentence, drug.first, drug.last, status="performed",
                              certainty="affirmed", text=story.words(sentence, drug.first, drug.last))]  # fmt: skip
    for first, last in _reactions.known(sentence):
        return [base.make("allergy", reading, sentence, first - 2, last, status="performed", certainty="affirmed",
                          text=story.words(sentence, first, last))]  # fmt: skip
    if not sentence.says({"nkda", "nka", "allergic", "allergy", "allergies", "allergic-to"}):
        return []
    for index, token in enumerate(tokens):
        if token.norm in ("nkda", "nka"):
            return [_no_allergy(reading, sentence, index, index)]
        if token.norm in ("allergic", "allergy", "allergies", "allergic-to", "anaphylaxis"):
            if token.norm == "anaphylaxis":
                continue
            if base.scope_at(sentence, "status", index, "performed") != "performed":
                continue
            negated = base.scope_at(sentence, "certainty", index, "affirmed") == "negated"
            if negated or any(other.norm in _NONE for other in tokens[index + 1 : index + 4]):
                return [_no_allergy(reading, sentence, index, index)]
            return _to_what(reading, sentence, index)
    return []


def _no_allergy(reading: Reading, sentence: Sentence, first: int, last: int) -> Fact:
    return base.make("allergy", reading, sentence, first, last, text="none", certainty="negated", status="performed")


# What no allergy is against: where one of these is named behind it, something else begins.
_NO_ALLERGEN = ("procedures", "positions", "anaesthesia", "team", "events", "tourniquet", "counts", "approaches")


def _to_what(reading: Reading, sentence: Sentence, index: int) -> list[Fact]:
    tokens = sentence.tokens
    start = index + 1
    led = start < len(tokens) and tokens[start].norm in ("to", ":", "is", "are", "include", "includes")
    while led and start < len(tokens) and tokens[start].norm in ("to", ":", "is", "are", "include", "includes", ","):
        start += 1
    end = start if led else len(tokens)
    start = start if led else end
    while end < len(tokens) and end < start + 8 and tokens[end].norm not in (
        ".", ";", "with", "which", "so", "but", "she", "he", "causing", "the", "was", "were", "tourniquet", "who",
        "her", "his", "their", "our", "previous", "known", "takes", "consent", "past", "history", "has", "had",
        "makes", "gives", "causes", "caused", "gets", "got", "develops", "developed", "no", "not", "nil", "weight",
        "weighs", "weighing", "asa", "bmi", *_REFUTED,
    ):  # fmt: skip
        end += 1
    given = [
        m.first for m in base.mentions(sentence, "drugs") if start < m.first < end and m.last + 1 < len(tokens)
        and (tokens[m.last + 1].quantity is not None or tokens[m.last + 1].norm in ("given", "instead"))
    ]  # fmt: skip
    given += [m.first for m in base.mentions(sentence, *_NO_ALLERGEN) if start < m.first]
    given += [at for at in range(start + 1, end) if _used_instead(sentence, at)]
    end = min([end, *given])  # "allergic to penicillin clindamycin six hundred given"
    if end == start:
        drug = [m for m in base.mentions(sentence, "drugs") if m.last < index and index - m.last <= 2]
        if not drug and not _is_named_before(tokens, index):
            return []
        start, end = (drug[-1].first, drug[-1].last + 1) if drug else (index - 1, index)
    text = story.words(sentence, start, end - 1)
    said = sentence.says(_DENIES) and not any(token.norm in _DENIES for token in tokens[start:end])
    if end < len(tokens) and tokens[end].norm in _REFUTED:  # "allergy to latex denied"
        return [base.make("allergy", reading, sentence, min(start, index), end, text=text, at=start,
                          status="performed", certainty="negated")] if text else []  # fmt: skip
    doubts = ("it was also said to be denied",) if said else ()
    return [base.make("allergy", reading, sentence, min(start, index), max(end - 1, index), text=text, at=start,
                      status="performed", certainty="affirmed", doubts=doubts)] if text else []  # fmt: skip


_REFUTED = frozenset({"denied", "excluded", "disproved", "refuted"})


def _used_instead(sentence: Sentence, at: int) -> bool:
    """ "Allergy to latex, chlorhexidine prep": what begins at `at` is what was used, nothing that is not borne."""
    tokens = sentence.tokens
    if not tokens[at - 1].punctuation and tokens[at - 1].norm != "and":
        return False
    used = next((one for one in range(at, min(at + 4, len(tokens))) if tokens[one].norm in _USES), None)
    return used is not None and not any(token.punctuation or token.norm == "and" for token in tokens[at:used])


_USES = frozenset("prep prepped used preparation painted instead given wash washed".split())


def _is_named_before(tokens: tuple[Token, ...], index: int) -> bool:
    """ "Sulfa allergy": one word that no table holds, right before the word for an allergy."""
    if tokens[index].norm not in ("allergy", "allergies") or not index:
        return False
    word = tokens[index - 1]
    return word.quantity is None and not word.punctuation and word.norm.isalpha() and word.norm not in _NO_THING


_NO_THING = frozenset(
    "no not known drug drugs any food seasonal other further the a an this that his her their patient patient's for of "
    "to with and or about her had has have is was severe true new many multiple several medication medications "
    "medicine medicines our relevant checked confirmed including include past prior previous old allergy "
    "allergies these".split()
)
_DENIES = frozenset({"denies", "denied", "disputes", "disputed", "untrue", "refuted", "delabelled"})
