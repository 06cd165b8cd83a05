"""Lot, serial number, UDI and expiry of devices, as said: digits and letters put together, nothing completed."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, Token
from pipeline.spelled import DIGITS

KINDS = ("device_lot", "device_serial", "device_udi", "device_expiry")

_CODES = {"lot": "device_lot", "serial": "device_serial", "udi": "device_udi"}
_SKIPPED = frozenset({
    "is", "was", ":", "number", "no", "#", "code", "the", "of", "for", "reads", "again", "repeat", "repeated", "once",
    "more", "as", "above", ",", "confirmed", "checked", "rechecked", "verified", "read", "back", "[", "(", ".", "'",
    '"', "nr",
})
# The ICAO spelling alphabet.
_SPELLED = {
    word: word[0].upper()
    for word in (
        "alpha", "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett", "juliet",
        "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor",
        "whiskey", "xray", "yankee", "zulu",
    )
}  # fmt: skip
_LETTERS = {"dash": "-", "hyphen": "-", "slash": "/", "oh": "0", "point": ".", "dot": "."} | _SPELLED
_LONGEST_WORD = 12


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        hits = cues.hits(sentence, grammar, *_CODES)
        for hit in hits:
            fact = _code(reading, sentence, hit)
            if fact is not None and not _reads_no_code(sentence, hit, fact):
                doubts = tuple(doubt for doubt in fact.doubts if not doubt.endswith("from single digits"))
                facts.append(replace(fact, doubts=doubts, **_owner(sentence, hit, hits)))
                facts += _further(reading, sentence, hit, fact)
        facts += _listed(reading, sentence, {fact.evidence.last for fact in facts})
        facts += _unannounced(reading, sentence, {fact.evidence.last for fact in facts})
        for hit in cues.hits(sentence, grammar, "expiry"):
            facts += _expiry(reading, sentence, hit)
    return facts


def _unannounced(reading: Reading, sentence: Sentence, ends: set[int]) -> list[Fact]:
    """ "Screw (01)09501101530003(10)AB1": a GS1 element string without a word for it."""
    facts: list[Fact] = []
    for at, token in enumerate(sentence.tokens):
        code = token.quantity.text if token.quantity is not None and token.quantity.form == "code" else ""
        if _PRODUCT.match(code) and token.last not in ends:
            hit = cues.Hit("udi", at, at)
            fields = {"text": code.upper(), "value": None, "unit": None, **_owner(sentence, hit, [hit])}
            facts.append(base.claim("device_udi", reading, sentence, at, at, at, _SURE, **fields))
    return facts


_PRODUCT = re.compile(r"\(?01\)?\d{14}")


def _listed(reading: Reading, sentence: Sentence, ends: set[int]) -> list[Fact]:
    """ "Lots: femur K771, tibia K802", "lots baseplate four four one glenosphere four seven eight": a code behind the
    name of each thing."""
    tokens = sentence.tokens
    begin = next((at for at, token in enumerate(tokens) if token.norm == "lots"), len(tokens))
    facts: list[Fact] = []
    named = begin + 1
    for at in range(begin + 2, len(tokens)):
        token = tokens[at]
        code = token.quantity is not None and token.quantity.form == "code"
        written = token.quantity is None and _WRITTEN_LOT.match(token.text.strip(".,;")) is not None
        if token.norm in (".", ";") or at - named > _TO_CODE:
            break
        if not (code or written) or not tokens[at - 1].norm.isalpha():
            continue
        if token.last not in ends:
            letter = tokens[at - 1].text if len(tokens[at - 1].norm) == 1 and tokens[at - 1].norm != "a" else ""
            text = letter + (token.quantity.text if token.quantity is not None else token.text.strip(".,;"))
            own = [one for one in base.mentions(sentence, "devices") if named <= one.first and one.last < at]
            owner = {"name": own[0].id, "group": f"d{base.group_of(sentence, own[0].first)}"} if len(own) == 1 else {}
            facts.append(base.make("device_lot", reading, sentence, at, at, text=text.upper(), **owner) if written else
                         base.claim("device_lot", reading, sentence, at, at, at, _SURE, text=text.upper(), value=None,
                                    unit=None, **owner))  # fmt: skip
        named = at + 1
    return facts


_WRITTEN_LOT, _TO_CODE = re.compile(r"^[A-Z]{1,4}-?\d{2,}[A-Z]?$"), 5  # tokens


def _reads_no_code(sentence: Sentence, hit: cues.Hit, fact: Fact) -> bool:
    """ "The box reads 28 plus 3.5": letters and digits read from a label are a lot, numbers alone may be its size."""
    return sentence.tokens[hit.last].norm in ("says", "reads") and not _LETTERED.match(fact.text or "")


_LETTERED = re.compile(r"[A-Z]{1,4}-?\d{2}")


def _further(reading: Reading, sentence: Sentence, hit: cues.Hit, fact: Fact) -> list[Fact]:
    """ "Both lot numbers 441A and 662B": the second code."""
    tokens = sentence.tokens
    several = {token.norm for token in tokens[max(0, hit.first - 2) : hit.last + 2]} & _SEVERAL
    at = next((n for n, token in enumerate(tokens) if token.first > fact.evidence.last), len(tokens))
    if several and at + 2 < len(tokens) and tokens[at].norm == "(" and tokens[at + 2].norm == ")":
        at += 3  # "lots 4K120 (5.5), 7M330 (4.75)"
    if not several or at + 1 >= len(tokens) or tokens[at].norm not in ("and", "&", ","):
        return []
    second = _code(reading, sentence, cues.Hit(hit.id, at, at))
    if second is None or len(second.text or "") < _SHORTEST:
        return []
    return [replace(second, doubts=tuple(one for one in second.doubts if not one.endswith("from single digits")))]


_SEVERAL = frozenset({"both", "numbers", "lots", "nos", "batches"})
_SHORTEST = 3


def _code(reading: Reading, sentence: Sentence, hit: cues.Hit) -> Fact | None:
    tokens = sentence.tokens
    at = hit.last + 1
    while at < len(tokens) and tokens[at].norm in _SKIPPED:
        at += 1
    named = _named(sentence, at)
    if named is not None:
        at = named[1] + 1
        while at < len(tokens) and tokens[at].norm in _SKIPPED:
            at += 1
    first = at
    parts: list[str] = []
    numbers: list[tuple[int, int]] = []
    while at < len(tokens):
        token = tokens[at]
        if token.quantity is not None and token.quantity.dimension == "refraction":
            return None  # "SN T5 +18.5 D": the model and power of a lens
        if token.norm == ")" and "".join(parts).count("(") <= parts.count(")"):
            break  # "(lot 7781A)": the bracket is not of the code
        if parts and (token.norm in _LABELLED or _begins_size(sentence, at)):
            break  # "LOT 10254 EXP 2027-03", "lot 10254 8 x 25"
        if parts and token.norm == "(" and _is_size(sentence, at + 1):
            break  # "lot 4K120 (5.5)": which of the sizes it is of
        if parts and token.text[:1] == "+" and token.text[1:2].isdigit():
            break  # "SN T5 +18.5 D": the power of a lens
        if token.quantity is not None and token.quantity.dimension == "":
            parts.append(token.quantity.text if token.quantity.form == "code" else _digits(token))
            numbers.append((token.first, token.last))
        elif _explains(sentence, at):
            at += 2  # "B for bravo"
            continue
        elif token.norm in _LETTERS:
            parts.append(_LETTERS[token.norm])
        elif token.punctuation and token.norm in "-/()" and parts:
            parts.append(token.norm)
        elif not token.punctuation and _is_code_word(token.text):
            parts.append(token.text)
        else:
            break
        at += 1
    while parts and parts[-1] in ("/", "-", "("):
        parts.pop()
        at -= 1
    text = "".join(parts).removeprefix("#")
    if parts:
        text = _as_written(reading, tokens[first].first, tokens[at - 1].last, text)
    if text.count("(") != text.count(")"):
        text = text.strip("()")  # the bracket around "(lot R7719)"
    if not any(character.isdigit() for character in text):
        return None
    doubts = _maybe_counted(reading, sentence, at)
    fact = base.make(_CODES[hit.id], reading, sentence, hit.first, at - 1, at=first, text=text.upper(), doubts=doubts)
    if not numbers:
        return fact
    return base.claim(
        _CODES[hit.id], reading, sentence, _token_at(sentence, numbers[0]), hit.first, at - 1, _SURE, text=text.upper(),
        value=None, low=None, high=None, unit=None, rest=tuple(numbers[1:]), doubts=doubts,
    )  # fmt: skip


# What a label says beside a code (ISO 15223-1, from memory: batch, serial, catalogue number, use-by date).
_LABELLED = frozenset(
    "exp exp. expiry expires expiring sn s/n serial ref cat gtin udi lot batch qty size sz mfg mfd use di pi".split()
)
_BY = frozenset({"x", "by", "×"})
_WRITTEN = 4  # characters of a code that stands in one piece


def _begins_size(sentence: Sentence, at: int) -> bool:
    """Whether a size or a count begins at a token behind a code in figures: "8 x 25", "x 2", "two of them"."""
    norms = [token.norm for token in sentence.tokens[at : at + 2]]
    numbered = [token.quantity is not None for token in sentence.tokens[at : at + 2]]
    if not any(letter.isdigit() for letter in sentence.tokens[at - 1].text):
        return False
    first = sentence.tokens[at].quantity
    counted = first is not None and first.form in ("number", "times") and not sentence.tokens[at].text[-1:].isdigit()
    if (counted and len(sentence.tokens[at - 1].text) >= _WRITTEN) or (first is not None and first.form == "times"):
        return True
    return len(norms) == 2 and ((norms[0] in _BY and numbered[1]) or (numbered[0] and norms[1] in _BY))


def _explains(sentence: Sentence, at: int) -> bool:
    """Whether "for bravo", "as in mother" at a token says again the letter before it."""
    norms = [token.norm for token in sentence.tokens[at - 1 : at + 2]]
    return len(norms) == 3 and norms[1] == "for" and len(norms[0]) == 1 and norms[2].startswith(norms[0])


def _is_size(sentence: Sentence, at: int) -> bool:
    """Whether a size stands at a token: with a point, or with its unit."""
    token = sentence.tokens[at] if at < len(sentence.tokens) else None
    return token is not None and token.quantity is not None and (token.quantity.unit is not None or "." in token.text)


def _maybe_counted(reading: Reading, sentence: Sentence, end: int) -> tuple[str, ...]:
    """ "Lot a b one two three two spare implants": the last digit may count what is named right behind the code."""
    tokens = sentence.tokens
    last = reading.words[tokens[end - 1].last].text.lower() if tokens[end - 1].last < len(reading.words) else ""
    behind = tokens[end : end + _DESCRIBED + 1]
    noun = next((token for token in behind if not token.norm.isalpha() or token.norm in _GO_ON
                 or (token.norm.endswith("s") and token.norm not in _NO_PLURAL)), None)  # fmt: skip
    if last not in DIGITS or last == "one" or noun is None or not noun.norm.isalpha() or noun.norm in _GO_ON:
        return ()
    return (f"'{last}' at its end may be how many {noun.norm} there were",)


_DESCRIBED = 2  # words before the noun: "two spare all inside implants" has more
_GO_ON = frozenset("and serial expiry expires expiring lot number was is then size with the a in on at we".split())
_NO_PLURAL = frozenset("this his was is has as us plus across expires closes its plus minus previous".split())


def _as_written(reading: Reading, first: int, last: int, text: str) -> str:
    """A typed code with its hyphens ("77-A"), which words of speech do not keep."""
    raw = "".join(word.text for word in reading.words[first : last + 1]).strip(".,;:#'\"[]")
    forms = (raw, raw.strip("()"))
    return next((form for form in forms if form.replace("-", "").lower() == text.replace("-", "").lower()), text)


def _digits(token: Token) -> str:
    """A number inside a code: spoken digits one by one ("four oh nine" is 409), else as written."""
    words = token.text.lower().split()
    if all(word in DIGITS for word in words):
        return "".join(DIGITS[word] for word in words)
    value = token.quantity.value if token.quantity is not None else None
    whole = value is not None and value == int(value)
    return f"{int(value)}" if value is not None and whole and token.text[:1].isalpha() else token.text


def _named(sentence: Sentence, at: int) -> tuple[int, int] | None:
    """The thing of "lot of the nail 77K": its tokens, where "of" or "for" leads to it."""
    tokens = sentence.tokens
    if at < 1 or not any(token.norm in ("of", "for") for token in tokens[max(0, at - 2) : at]):
        return None
    end = at
    while end < len(tokens) and end - at < _NAME and tokens[end].norm.isalpha() and tokens[end].quantity is None and (
        tokens[end].norm not in _SPELLED and len(tokens[end].norm) > 1
    ):  # fmt: skip
        end += 1
    return (at, end - 1) if end > at and end < len(tokens) else None


_NAME, _SURE = 4, -5  # words; no other reader may take digits out of a code


def _owner(sentence: Sentence, hit: cues.Hit, hits: list[cues.Hit]) -> dict[str, Any]:
    """The one device whose code it can be: named behind it ("lot of the nail"), or alone between the code before it
    and this one."""
    since = max((other.last for other in hits if other.last < hit.first and other.id == hit.id), default=-1)
    after = _named(sentence, next((at for at in range(hit.last + 1, len(sentence.tokens))
                                   if sentence.tokens[at].norm not in _SKIPPED), len(sentence.tokens)))  # fmt: skip
    low, high = after if after is not None else (since + 1, hit.first - 1)
    own = [mention for mention in base.mentions(sentence, "devices") if low <= mention.first and mention.last <= high]
    if len(own) != 1:
        return {}
    return {"name": own[0].id, "group": f"d{base.group_of(sentence, own[0].first)}"}


def _token_at(sentence: Sentence, number: tuple[int, int]) -> int:
    return next(index for index, token in enumerate(sentence.tokens) if (token.first, token.last) == number)


def _is_code_word(text: str) -> bool:
    if len(text) > _LONGEST_WORD:
        return False
    return len(text) == 1 or any(character.isdigit() for character in text) or (text.isupper() and len(text) <= 4)


def _expiry(reading: Reading, sentence: Sentence, hit: cues.Hit) -> list[Fact]:
    for index, quantity in base.quantities(sentence):
        if quantity.form not in ("date", "pair", "code") or index < hit.last:
            continue
        if quantity.form != "date" and not _MONTH.match(quantity.text):
            continue
        price = cues.cost(sentence, index, hit.first, hit.last)
        if price <= 12:  # "expiry date": before the date of the operation
            return [
                base.claim("device_expiry", reading, sentence, index, hit.first, hit.last, price - 1,
                           text=quantity.text, value=None, unit=None, status="performed")
            ]  # fmt: skip
    return []


_MONTH = re.compile(r"^(?:\d{1,2}/20\d{2}|20\d{2}-\d{2})$")  # 03/2024, 2024-03
