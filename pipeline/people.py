"""Names of people in a sentence: what follows a title, an initial, or "the patient is"."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.clauses import word_set as _words
from pipeline.records import Mention, Sentence, Token

DOCTORS = _words("doctor dr dr. professor prof prof. consultant")
LAY = _words("mister mr mr. missus mrs mrs. miss ms ms. master madam sister nurse")
_TITLES = DOCTORS | LAY
_CREDENTIALS = _words("md m.d. do d.o. frcs mbbs phd rn crna pa pa-c dpm facs mrcs msc bsc jr sr")
_PARTICLES = _words("van von de der den del della di da la le el al bin ibn mac mc o st st. ter ten dos du")
# Words that no spoken name holds: they end it where speech has no capitals and no commas.
_ENDS = _words(
    "the a an and or of in on at to for with by from is was were are has had have will would who which this that he "
    "she they i we his her their as not no first second assisting assisted assistant surgeon anesthetist "
    "anaesthetist anesthesiologist anaesthesiologist anesthesia anaesthesia scrub nurse resident fellow registrar "
    "mrn nhs dob present performed operating dictating speaking age aged year years old male female man woman patient "
    "under "
    "supine prone lateral position general spinal local left right bilateral procedure operation diagnosis indication "
    "today admitted date born hospital record number allergic allergy consent consented brought taken weight "
    "positioned placed underwent presented presents came comes then after before during she's he's weighs hand"
)
_MOST = 3


@dataclass(frozen=True, slots=True)
class Person:
    """A name at tokens first..last. `title`: as said; `name`: without the title."""

    first: int
    last: int
    title: str
    name: str

# What is measured in French: "Foley 3-way 22F" tells neither an age nor a sex.
CALIBRED = frozenset("sheath sheaths catheter catheters fr french foley foleys cannula cannulas drain tube introducer "
                     "correction upsized upsize tract tracts amplatz dilator dilators stent stents "
                     "resectoscope dlt".split())  # fmt: skip


def is_calibre(sentence: Sentence, index: int) -> bool:
    """ "L: 14F, gate cannulated", "Foley 22F": a size in French, and nobody of that age and sex."""
    ahead = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    sided = ahead[1:] == [":"] and ahead[0] in ("l", "r", "left", "right")
    return sided or sentence.says(CALIBRED)


def persons(sentence: Sentence) -> list[Person]:
    """Names that follow a title, in order."""
    known: list[Person] | None = sentence.memo.get("persons")
    if known is None:
        known = sentence.memo["persons"] = _persons(sentence) if sentence.says(_TITLES) else []
    return known


def _persons(sentence: Sentence) -> list[Person]:
    tokens = sentence.tokens
    found: list[Person] = []
    covered = {m.first: m for m in sentence.mentions if m.table not in ("team", "sex")}
    index = 0
    while index < len(tokens):
        title = tokens[index].norm
        muscle = tokens[index].text in ("MR", "MS") and index + 1 < len(tokens) and tokens[index + 1].text.islower()
        if (title in DOCTORS or title in LAY) and not muscle:  # "MR recession" is of the medial rectus
            start = index + 1
            while start < len(tokens) and (tokens[start].norm in DOCTORS or tokens[start].norm == "."):
                start += 1
            end = name_end(tokens, start, covered)
            if end > start:
                found.append(Person(index, end - 1, title, joined(tokens[start:end])))
                index = end
                continue
        index += 1
    return found


_LEADS = (("this", "is"), ("dictating", "on"), ("dictating", "for"), ("dictation", "on"), ("dictation", "for"),
          ("note", "for"), ("note", "on"), ("record", "for"), ("case", "of"), ("we", "have"))  # fmt: skip
_OPENING = 2  # sentences
_SPEAKERS = _words("dictating speaking operating surgeon consultant registrar assisting here recording md frcs")


def introduced(sentence: Sentence) -> tuple[int, int] | None:
    """Tokens first..last of a patient named without a title as the note opens: "this is Ruth Calloway, sixty-eight",
    "dictating on David Marsh". Two or three words with capitals, and nobody who says that he speaks."""
    tokens = sentence.tokens
    if sentence.index >= _OPENING:
        return None
    acts = {m.last + 2 for m in sentence.mentions if m.table == "procedures" and m.last + 1 < len(tokens)
            and tokens[m.last + 1].norm in ("on", "for")}  # fmt: skip
    leads = {at + 2 for at in range(len(tokens) - 3) if (tokens[at].norm, tokens[at + 1].norm) in _LEADS}
    for start in sorted(leads | acts):
        end = name_end(tokens, start, {m.first: m for m in sentence.mentions if m.table not in ("team", "sex")})
        after = tokens[end].norm if end < len(tokens) else "."
        capitals = all(token.text[:1].isupper() and len(token.text) > 1 for token in tokens[start:end]
                       if not token.punctuation)  # fmt: skip
        named = any(m.first < end and start <= m.last and m.table not in ("grades", "sex") for m in sentence.mentions)
        if 2 <= end - start <= _MOST and capitals and not named and after not in _SPEAKERS and (
            tokens[end + 1 : end + 2] == () or tokens[end + 1].norm not in _SPEAKERS
        ):
            return start, end - 1
    return None


def is_name(sentence: Sentence, mention: Mention) -> bool:
    """Whether a thing is no thing but somebody's name: "mister Kofi Blake"."""
    if any(person.first < mention.first and mention.last <= person.last for person in persons(sentence)):
        return True
    tokens, at = sentence.tokens, mention.first - 1  # "Pt Orson Blake M 29"
    while at > 0 and mention.first - at < _MOST and tokens[at].text.istitle() and tokens[at].norm not in _PATIENT:
        at -= 1
    told = at >= 0 and (tokens[at].norm in _PATIENT or _ends_person(tokens, at))  # "22 yo M, Ilario Stent"
    return told and at < mention.first - 1 and tokens[mention.first].text.istitle()


def _ends_person(tokens: Sequence[Token], at: int) -> bool:
    """Whether age or sex stand right before a name, or a comma behind them."""
    at -= tokens[at].norm == "," and at > 0
    quantity = tokens[at].quantity
    return tokens[at].norm in _PERSON or (quantity is not None and quantity.unit in ("a", "mo") and at > 0)


_PATIENT = frozenset({"pt", "patient", "name"})
_PERSON = frozenset({"m", "f", "yo", "old", "man", "woman", "boy", "girl", "male", "female", "gentleman", "lady"})


def name_end(tokens: Sequence[Token], start: int, covered: Mapping[int, Mention]) -> int:
    """Index after the name that begins at `start` (`start` itself where none does)."""
    index, taken = start, 0
    while index < len(tokens) and taken < _MOST + 1:
        token = tokens[index]
        if token.norm == "." and index > start and len(tokens[index - 1].text) == 1:
            index += 1  # the full stop of an initial
            continue
        initial = token.text == "A" and tokens[index + 1 : index + 2] and tokens[index + 1].norm == "."
        if token.punctuation or token.quantity is not None or token.norm in _CREDENTIALS or (
            token.norm in _ENDS and not initial
        ):
            break
        if taken and token.norm in _TITLES - {"m", "f"}:
            break  # "surgeon Doctor Farrant Doctor Bly assisted"
        if index in covered and not token.text[:1].isupper() and not _is_surname(covered[index], taken):
            break
        if token.norm in _PARTICLES or len(token.norm) == 1:
            index += 1
            continue
        if taken and tokens[start].text[:1].isupper() and not token.text[:1].isupper():
            break
        if taken == _MOST - 1 and not token.text[:1].isupper():
            break
        index, taken = index + 1, taken + 1
    while index > start and (tokens[index - 1].norm in _PARTICLES or tokens[index - 1].punctuation):
        index -= 1
    return index if taken else start


def _is_surname(mention: Mention, taken: int) -> bool:
    """Whether a word of the grammars is here a person's name (Weber, Mason, Hartmann): after a title or first name."""
    if mention.first != mention.last:
        return False
    return mention.table == "grades" or (taken > 0 and mention.table in ("procedures", "devices", "drains"))


def joined(tokens: Sequence[Token]) -> str:
    """The name as written; a name without capitals (speech) gets them."""
    text = ""
    for token in tokens:
        text += token.text if token.punctuation or not text else f" {token.text}"
    text = text.removesuffix("'s")  # "Mrs Adeyinka's left hip"
    text = text.strip(" .,;:") if not text.endswith(".") or len(text) < 3 else text.rstrip(" ,;:.")
    if text.islower():
        text = " ".join(
            word if word in _PARTICLES and word not in ("mac", "mc", "o") else word[:1].upper() + word[1:]
            for word in text.split()
        )
    return text


def beside(
    sentence: Sentence, first: int, last: int, found: Sequence[Person], reach: int, taken: set[int]
) -> Person | None:
    """The person after a role, else before it, within `reach` tokens and not across a full stop or another person.

    "Doctor Marchetti surgeon, doctor Dube helping": before it, where the next name has a word of its own behind it.
    """
    leading = next((one for one in found if one.last == first - 1 and one.first not in taken), None)
    for person in found:
        if person.first in taken or (leading is not None and person.first > last and _has_role(sentence, person)):
            continue
        if first <= person.first <= last:
            return person  # "scrub nurse Lindqvist": the role ends in the title
        if 0 <= person.first - last - 1 <= reach and not _split(sentence, last + 1, person.first):
            return person
    for person in reversed(found):
        if person.first in taken:
            continue
        if 0 <= first - person.last - 1 <= 2 and not _split(sentence, person.last + 1, first):
            parted = any(token.punctuation for token in sentence.tokens[person.last + 1 : first])
            own = _untitled(sentence, last, taken) if parted else None
            return own or person  # "doctor Petra Sinclair, radiographer Joss"
    return _untitled(sentence, last, taken)


def _split(sentence: Sentence, first: int, end: int) -> bool:
    if any(m.table == "team" and first <= m.first < end for m in sentence.mentions):
        return True  # "surgeon Lindgren assistant doctor Abara"
    return any(token.norm in (";", ".", "for") for token in sentence.tokens[first:end])


def _has_role(sentence: Sentence, person: Person) -> bool:
    """Whether what a person did is said right behind the name."""
    after = sentence.tokens[person.last + 1].norm if person.last + 1 < len(sentence.tokens) else ""
    return after in DOING or any(m.table == "team" and m.first == person.last + 1 for m in sentence.mentions)


DOING = {"operating": "surgeon", "operated": "surgeon", "assisting": "assistant", "helping": "assistant",
         "assisted": "assistant", "helped": "assistant"}  # fmt: skip


def _untitled(sentence: Sentence, last: int, taken: set[int]) -> Person | None:
    """A written name after "Surgeon:" that has no title but capitals or initials; without a mark before it, one that
    a mark or the next role ends."""
    tokens = sentence.tokens
    start = last + 1
    while start < len(tokens) and tokens[start].norm in (":", "is", "was", "-", "by"):
        start += 1
    if start >= len(tokens) or start in taken or not tokens[start].text[:1].isupper():
        return None
    end = name_end(tokens, start, {})
    if start == last + 1:
        ended = end >= len(tokens) or tokens[end].punctuation or any(
            m.table == "team" and m.first == end for m in sentence.mentions
        )
        named = any(m.first < end and start <= m.last for m in sentence.mentions)
        capitals = all(is_capital(token.text) for token in tokens[start:end]
                       if not token.punctuation and (len(token.text) > 1 or not token.text.isupper()))  # fmt: skip
        if named or not ended or not capitals:
            return None
    return Person(start, end - 1, "", joined(tokens[start:end])) if end > start else None


_YOUNGEST, _OLDEST = 1, 110  # years
_EARLY = 4  # sentences


def named_and_aged(sentence: Sentence) -> tuple[int, int] | None:
    """Tokens first..last of "Petra Lindqvist, twenty nine, ...": two or three words in capitals that no grammar
    names, and a bare whole number behind their comma."""
    tokens = sentence.tokens
    for number in range(3, len(tokens)) if sentence.index < _EARLY else ():
        quantity, comma = tokens[number].quantity, tokens[number - 1].norm == ","
        short = _IN_YEARS.match(tokens[number].norm) is not None
        if not short and (
            quantity is None or quantity.unit not in (None, "a") or quantity.form != "number" or not comma
        ):
            continue
        value = quantity.value if quantity is not None else _YOUNGEST
        if not short and (value is None or value != int(value) or not _YOUNGEST <= value <= _OLDEST or (
            quantity is not None and quantity.comparator
        )):
            continue
        behind = tokens[number + 1].norm if number + 1 < len(tokens) else "."
        if not short and behind[0].isalpha() and behind not in _AGES:
            continue
        first = number - comma
        while first and number - first <= _LONG_NAME and is_capital(tokens[first - 1].text) and (
            tokens[first - 1].norm not in _WHO
        ):
            first -= 1
        if first and tokens[first - 1].norm in _WHO:
            return None if number - comma - first < 2 else (first, number - 1 - comma)
        if number - comma - first < 2 or any(m.first < number and m.last >= first and m.table != "grades"
                                             for m in sentence.mentions):  # fmt: skip
            continue
        if first and short and tokens[number].quantity is None:
            continue  # "Pain Team 2y": no note opens so
        if first and not tokens[first - 1].punctuation and tokens[first - 1].norm not in _LED_BY:
            continue
        return first, number - 1 - comma
    return None


_IN_YEARS = re.compile(r"\d{1,3}(?:[-/]?(?:y|yo|yrs?)[-/]?[mf]?|[-/]?[mf])$")  # "6y", "45M", "58yoF"
_LED_BY = frozenset({"for", "is", "of", "on", "in"})
_LONG_NAME = 4  # words


_WHO = frozenset({"patient", "recipient", "little", "young", "baby", "child", "donor"})


def opened_with(sentence: Sentence) -> tuple[int, int] | None:
    """Tokens first..last of the patient whom a note opens with by a bare name."""
    return introduced(sentence) or named_and_aged(sentence)


_AGES = _words("years year old who with and yo y rhd lhd m f male female")


def is_capital(text: str) -> bool:
    """Whether a word is written as names are: "Weil", and neither "GA" nor "to"."""
    return len(text) > 2 and text[0].isupper() and text[1:].replace("-", "").replace("'", "").islower()


def is_credential(token: Token) -> bool:
    """Whether a word tells what a person is: "MD", "PA-C"."""
    return token.norm in _CREDENTIALS
