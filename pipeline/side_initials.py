"""Whether an initial is a side: "Knee arthroscopy (R).", "L: 5 cm incision", "stent R for 2 weeks", but "R
Castellanos", "1 L", "L iliac fossa"."""

from __future__ import annotations

from itertools import pairwise

from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.records import Sentence, Token
from pipeline.side_names import BREAKS, is_sided, names

_SIDED = _words("procedures diagnoses sites")


def beside_sided(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether an initial stands right before a thing that has two sides, or closes its phrase ("TKR, R")."""
    tokens = sentence.tokens
    before = tokens[at - 1].quantity if at else None
    if before is not None and before.unit is None and _measures(tokens[at - 1]):  # "1 L", not "32 mm R lower pole mass"
        return False
    opened = at and tokens[at - 1].norm == "("
    shut = at + 1 < len(tokens) and tokens[at + 1].norm in (")", ".")
    first, last = (at - 1 if opened else at), (at + 1 if shut else at)
    if not shut and at + 1 < len(tokens) and tokens[at + 1].norm in _PAIRED:
        return True
    for mention in sentence.mentions:
        if mention.table not in _SIDED or not is_sided(mention, grammar):
            continue
        if 0 < mention.first - last <= 3 and not any(token.punctuation for token in tokens[last + 1 : mention.first]):
            return True
        gap = tokens[mention.last + 1 : first]
        if 0 < first - mention.last <= 2 and all(token.punctuation for token in gap) and (
            last + 1 >= len(tokens) or shut or tokens[last + 1].punctuation or tokens[last + 1].norm in BREAKS
        ):
            return True
    return False


_PAIRED = _words("tube tubes side stent cord hemithorax iliac pleural")
_BESIDE = frozenset({"procedures", "diagnoses", "acts", "anaesthesia", "tourniquet", "drains", "sites"})


def stands_alone(sentence: Sentence, at: int) -> bool:
    """Whether an initial is a side by how it is written: "(L)", "L: 5 cm incision", "side L", "tourniquet L 250 mmHg",
    "L 52 min, R 24 min"."""
    tokens = sentence.tokens
    before = tokens[at - 1] if at else None
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if after is not None and after.norm == "#level" and (before is None or before.norm in _OPENS_LEVELS):
        return True  # "L L3, L4 medial branch", "Procedure: L L4/5 facet injections"
    if before is not None and _measures(before):
        return _ends_grade(sentence, at)
    if _is_wave(after):
        return False
    if before is not None and before.norm == "(":
        return after is not None and after.norm == ")" and (at < 2 or tokens[at - 2].quantity is None)
    if before is None and (after is None or not after.norm.isalpha()):
        return after is not None and (after.norm == ":" or (_number(after) and _both_initials(sentence)))
    if after is not None and (after.quantity is not None or after.norm == ":") and _both_initials(sentence):
        return True
    if after is not None and _opens(sentence, at) and after.norm.isalpha() and len(after.norm) > 1 and (
        {"L", "R"} <= {token.text for one, token in enumerate(tokens) if _opens(sentence, one)}
        and not any(m.table == "team" for m in sentence.mentions) and sentence.section not in ("team", "identity")
    ):  # "L Rutherford 4, R claudication", but "assistants L Brown, R Green"
        return True
    if before is None:
        return False
    led = tokens[at - 2].norm if before.norm == ":" and at > 1 else before.norm
    if led in ("side", "laterality"):
        return True
    shut = after is None or after.punctuation or after.norm in BREAKS or _amount(after)
    return shut and any(m.table in _BESIDE and m.last == at - 1 for m in sentence.mentions)


_OPENS_LEVELS = frozenset({":", ",", ";", "(", "and", "&", "+"})


def _ends_grade(sentence: Sentence, at: int) -> bool:
    """ "(KL 3 L, KL 2 R)": whether an initial ends an item of grades."""
    tokens = sentence.tokens
    shut = at + 1 >= len(tokens) or tokens[at + 1].punctuation
    return shut and any(m.table == "grades" and m.last == at - 2 for m in sentence.mentions)


def in_short(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether an initial is a side as notes are written in short: "nodule R lobe", "L orifice", "stent R for 2 weeks",
    "EBL 300 mL R, 250 mL L". No initial of a name, no letter of an abbreviation, no name of a kind ("type R")."""
    tokens = sentence.tokens
    before, after = (tokens[at - 1] if at else None), (tokens[at + 1] if at + 1 < len(tokens) else None)
    if (before is None and after is None) or sentence.section in ("team", "identity") or (
        any(m.table == "team" for m in sentence.mentions)
    ):  # fmt: skip
        return False
    if _is_wave(after):
        return False
    if before is not None and (
        (len(before.norm) == 1 and before.norm.isalpha()) or before.norm in _NOT_BEFORE or (
            before.quantity is not None and _measures(before) and (
                before.quantity.unit is None or not _both_behind(sentence)
            )
        )
    ):  # fmt: skip
        return False
    if after is not None and _amount(after) and before is not None and before.norm in (",", ";"):
        return {"L", "R"} <= {token.text for token in tokens}  # "R upper pole 60 mL, L 45 mL"
    counted = after is not None and after.quantity is not None and after.quantity.form != "ordinal"  # "L 4th MC"
    if after is None or counted or after.norm in BREAKS or after.norm in (",", ";", ")", ":"):
        return before is not None and (before.quantity is not None or before.norm.isalpha() or before.norm == "#level")
    if after.punctuation:
        return after.norm == "." and at + 2 == len(tokens) and before is not None and not before.punctuation
    if not after.norm.isalpha() or len(after.norm) == 1 or after.norm in _NOT_AFTER:
        return False
    name = after.text.istitle()  # "R Castellanos"
    name = name and sentence.section not in _TOLD_OF
    return not name or any(m.first == at + 1 and m.table in _NOUNS for m in sentence.mentions)


def opens_name(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether a name with a side in it begins with an initial: "L iliac fossa", "R atrium", "L lateral"."""
    after = (token.norm for token in sentence.tokens[at + 1 : at + _WORDS])
    norms = ["left" if sentence.tokens[at].norm == "l" else "right", *after]
    return bool(names(grammar).at(norms, 0))


# Sections in which nobody is named: "Dx: L Dupuytren".
_TOLD_OF = frozenset({"diagnosis", "preop-diagnosis", "postop-diagnosis", "both-diagnoses", "procedure"})
_WORDS = 6  # of the longest name with a side in it
_NOUNS = frozenset({"sites", "procedures", "diagnoses", "findings", "acts", "devices", "drains"})
_NOT_BEFORE = _words(
    "mr mrs ms miss dr doctor prof professor pt patient by with assistant consultant surgeon nurse lot ref model type "
    "group vitamin hepatitis zone size grade pot jar bottle code room bay level lead . /"
)
_NOT_AFTER = _words("shaped shape plate plates spine wave waves form o b")


def _both_behind(sentence: Sentence) -> bool:
    """Whether L and R each stand behind an amount: "300 mL R, 250 mL L"."""
    return {"L", "R"} <= {
        after.text for one, after in pairwise(sentence.tokens) if _amount(one)
    }


def _is_wave(after: Token | None) -> bool:
    """ "RV lead septum R 11 mV": the R wave."""
    return after is not None and after.quantity is not None and after.quantity.unit == "mV"


def _opens(sentence: Sentence, at: int) -> bool:
    """Whether a part of a list begins with a token."""
    return at == 0 or sentence.tokens[at - 1].norm in (",", ";", ":", "and", "+", "&")


def _measures(token: Token) -> bool:
    """Whether a letter behind a token may be its unit: not behind a time of day or a level ("TO 0812 L shoulder")."""
    return token.quantity is not None and token.quantity.form not in ("clock", "level")


def _amount(token: Token) -> bool:
    return token.quantity is not None and token.quantity.unit is not None


def _both_initials(sentence: Sentence) -> bool:
    """Whether L and R stand in a sentence, each before an amount or a colon."""
    return {"L", "R"} <= {
        one.text for one, after in pairwise(sentence.tokens) if _number(after) or after.norm == ":"
    }  # fmt: skip


def _number(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form == "number"
