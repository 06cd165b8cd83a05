"""Words to tokens, and typed text to words.

Punctuation leaves the words, hyphens between letters split (as `mentions.split_phrase` does), and strings that
look like numbers stay whole for the number reader: "3-0", "1:100,000", "L4-L5", "5-10", "4x4", "10mL", "#2".
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

from pipeline.records import Token, Word

_OPENING = "([{\"'“‘<>~≤≥«"
_CLOSING = ")]}\"'”’,;:!?.…>»"
_DOTTED = re.compile(r"^(?:[A-Za-z]\.){2,}$")
# Abbreviations that keep their full stop; "no." is one only before a number, so it is not here.
_ABBREVIATED = frozenset({"dr.", "mr.", "mrs.", "ms.", "prof.", "st.", "vs.", "approx.", "mod.", "e.g.", "i.e.", "etc.",
                          "ca."})  # fmt: skip
_SIMPLE = re.compile(r"^[a-z']+$")
# What stays whole although it holds a hyphen or a slash: digits on both sides, or a spinal level on the left.
_NUMBERISH = re.compile(
    r"^#?(?:[\d.,/:½¼¾⅓⅔⅛⅜⅝⅞%]+(?:[-–][\d.,/:½¼¾⅛⅜⅝⅞%]+)+|\d{1,2}[-–][Oo0]|[CTLScltls]\d{1,2}(?:[-–/][CTLScltls]?\d{1,2})+)"
    r"[%A-Za-z\"°µμ]*$"
)
# "0910-1025", "8:10-9:05", "1407-1445": two times of day; "1000-1200" and "1150-1200" may be amounts.
_TIMES = re.compile(
    r"^(0\d[0-5]\d|(?:[01]?\d|2[0-3]):[0-5]\d|(?:1\d|2[0-3])[0-5][1-9]|(?:1\d|2[0-3])[0-5]0(?=[-–]\d{3}[1-9]))[-–]"
    r"((?:[01]\d|2[0-3])[0-5]\d|(?:[01]?\d|2[0-3]):[0-5]\d)$"
)
# "TO 0812", "T/O 13:10": the time-out, in capitals, at the head of what is told or behind a mark or a number.
_PAUSES = frozenset({"TO", "TO:", "T/O", "T/O:", "TO,", "TO-"})
_TIME = re.compile(r"^@?(?:[01]?\d|2[0-3])[:.]?[0-5]\d[,.;:]?$")
_LETTERED_END = re.compile(r"[A-Za-z]$")
# "x4/52", "x6wks": for how long.
_TIMES_LONG = re.compile(
    r"^[xX\u00d7](\d{1,3}(?:[-\u2013]\d{1,3})?(?:/(?:7|12|52)|h|d|days?|wk?s?|weeks?|mo|months?|mins?))$"
)
_OH = re.compile(r"^\d{1,2}[oO]$")
# "Nine oh five" as a recogniser writes it: "nine o'five", "nine-o'five".
_OH_DIGIT = re.compile(r"(?<![a-z])(o)['’](?=(?:one|two|three|four|five|six|seven|eight|nine)(?![a-z]))", re.I)
_NAMED = re.compile(r"^[A-Z][A-Za-z]*[-–]\d[\dA-Za-z.]*$")  # GIA-80, TIMI-3: a name, not a number
_JOINED = re.compile(r"(?<=[A-Za-z]{2})([+=&])(?=[A-Za-z]{2})")
_GLUED = re.compile(r"(->|=>|→)|(?<=[A-Za-z0-9])(=)(?=\d)")
_LABELLED = re.compile(r"^(.*\d.*)/(exp|lot|sn|ref)$", re.I)
_SPLIT_SLASH = re.compile(r"(?<=[A-Za-zµμ%])/(?=[A-Za-zµμ]|\d{1,4}(?:\.\d+)?$)")
_ASKED = re.compile(r"^(\?{1,2})([A-Za-z].*)$")  # "?stone": query stone
# Words of clinical shorthand with a mark inside them, and what they are said as.
_SHORT = {
    "-ve": "negative", "–ve": "negative", "+ve": "positive", "w/o": "without", "w/out": "without", "w/": "with",
    "a/scope": "arthroscopy", "a'scope": "arthroscopy", "c/w": "consistent", "c/o": "complains", "req'd": "required",
    "reqd": "required",
    "comps": "complications", "compls": "complications", "bx": "biopsy", "histo": "histology", "spec": "specimen",
    "specs": "specimens", "@": "at", "proph": "prophylaxis", "ppx": "prophylaxis",
    "inj": "injection", "ea": "each",
}  # fmt: skip
_CELLS = re.compile(r"\||\s;\s|\t")  # a line of a table is one of its own
_LIST_MARK = re.compile(r"^\(?\d{1,2}[.)]$")


# "Diagnosis(es):", "Procedure (s):" of a template: the heading, and its colon.
_PLURAL = re.compile(r"^([A-Za-z]*)\(e?s\):$", re.I)
_NOT_ASKED = re.compile(r"^n/a[.,;]+$", re.I)  # the mark ends a sentence, and "a." is no artery


def _pieces(text: str) -> tuple[tuple[str, str, bool], ...]:
    """(text, norm, is punctuation) of the tokens of one written word, in order."""
    if _SIMPLE.match(text) and text[:2] != "o'":
        return ((text, _SHORT.get(text, text), False),)
    text = _OH_DIGIT.sub(r"\1-", text).replace("’", "'").replace("‐", "-").replace("‑", "-").replace("−", "-")
    plural = _PLURAL.match(text)
    if plural:
        return (*(_pieces(plural[1]) if plural[1] else ()), (text[plural.end(1) :], ":", True))
    if _NOT_ASKED.match(text):
        return (*_pieces(text[:3]), *((mark, mark, True) for mark in text[3:]))
    if text in ("->", "→", "=>"):
        return ((text, "->", True),)
    glued = [part for part in _GLUED.split(text) if part]
    if len(glued) > 1:  # "12min->", "ea=40ml"
        return tuple(piece for part in glued for piece in (
            ((part, "=", True),) if part == "=" else _pieces(part)
        ))  # fmt: skip
    if text == "??":
        return ((text, "query", False),)
    asked = _ASKED.match(text)
    if asked:
        return ((asked[1], "query", False), *_pieces(asked[2]))
    head: list[tuple[str, str, bool]] = []
    tail: list[tuple[str, str, bool]] = []
    while text and text[0] in _OPENING:
        head.append((text[0], text[0], True))
        text = text[1:]
    while text and text[-1] in _CLOSING:
        if text[-1] == "." and (_DOTTED.match(text) or text.lower() in _ABBREVIATED):
            break
        if text[-1] == '"' and len(text) > 1 and (text[-2].isdigit() or text[-2] in "½¼¾"):
            break  # 2": inches
        if text.endswith("..."):
            tail.insert(0, ("...", "...", True))
            text = text[:-3]
            continue
        tail.insert(0, (text[-1], text[-1], True))
        text = text[:-1]
    return (*head, *_core(text), *tail)


def _core(text: str) -> list[tuple[str, str, bool]]:
    if not text:
        return []
    short = _SHORT.get(text.lower())
    if short is not None:
        return [(text, short, False)]
    if text[0] == "@" and text[1:2].isdigit():
        return [("@", "at", False), *_core(text[1:])]  # "5cc @1cm"
    if text[0] in "qQ" and (text[1:2] == "." or text[1:2].isdigit()):
        return [(text, _norm(text), False)]  # "q.4-6h": how often, no quantity
    lasting = _TIMES_LONG.match(text)
    if lasting:
        return [(text[0], "x", False), (lasting[1], lasting[1].lower(), False)]
    if _OH.match(text):
        return [(text[:-1], text[:-1], False), (text[-1], "o", False)]  # "2o Vicryl": two oh
    labelled = _LABELLED.match(text)
    if labelled:  # "lot 10254/exp 2027-03"
        return [*_core(labelled[1]), ("/", "/", True), (labelled[2], labelled[2].lower(), False)]
    parts = _JOINED.split(text)
    if len(parts) > 1:  # "AL+AM portals", "pre=post"
        return [piece for part in parts for piece in ([(part, part, False)] if part in "+=&" else _core(part))]
    if not any(mark in text for mark in "-–—/…,"):
        if not any(letter.isalnum() or letter in "½¼¾⅓⅔⅛⅜⅝⅞%°#&+<>~=±×" for letter in text):
            return [(text, text, True)]
        return [(text, _norm(text), False)]
    times = _TIMES.match(text)
    if times:
        return [(times[1], times[1], False), ("-", "-", True), (times[2], times[2], False)]
    if _NUMBERISH.match(text) or _NAMED.match(text):
        return [(text, text.lower().replace("–", "-"), False)]
    if text[0] in "-–" and len(text) > 1 and (text[1].isdigit() or text[1] == "."):
        return [(text, text.lower().replace("–", "-"), False)]
    pieces: list[tuple[str, str, bool]] = []
    for part in re.split(r"(—|–|--+|-|…|,(?=[A-Za-z]))", text):
        if part in ("—", "…", ",") or part.startswith("--") or (part == "–" and len(text) == 1):
            pieces.append((part, part, True))
        elif part and part not in "-–":
            # a range or suture size followed by a word: "3-0-Vicryl", "18-20-mm"
            for index, side in enumerate(_SPLIT_SLASH.split(part)):
                if index:
                    pieces.append(("/", "/", True))
                pieces.append((side, _SHORT.get(side.lower()) or _norm(side), False))
    joined = re.match(r"^(#?\d+(?:[.,]\d+)?[-–][\d./]+)[-–]([A-Za-z].*)$", text)
    if joined:
        return [(joined[1], joined[1].lower().replace("–", "-"), False), *_core(joined[2])]
    if not pieces:
        return [(text, text, True)]
    return pieces


def _norm(text: str) -> str:
    low = text.lower()
    return low.replace(".", "") if _DOTTED.match(text) else low


@lru_cache(maxsize=16384)
def _cut(text: str) -> tuple[tuple[str, str, bool], ...]:
    return tuple(piece for part in text.split() for piece in _pieces(part))


def tokenize(words: Sequence[Word]) -> list[Token]:
    """One token a word or punctuation mark, with the ids of the words it came from. A repaired term of several words
    ("tourniquet down") gives a token each, so that every phrase is still found in it."""
    return _around([
        Token(text, norm, word.id, word.last, None, punctuation)
        for at, word in enumerate(words)
        for text, norm, punctuation in (
            _PAUSE if word.text in _PAUSES and _is_pause(words, at) else _cut(word.text)
        )
    ])  # fmt: skip


def _around(tokens: list[Token]) -> list[Token]:
    """ "Ten mils round the portals": as people say "around"; not "the round ligament"."""
    for at, (token, behind) in enumerate(pairwise(tokens)):
        if token.norm == "round" and behind.norm in _POINTING:
            tokens[at] = replace(token, norm="around")
    return tokens


_POINTING = frozenset("the his her it its them their this that these those both each all".split())


def of_parts(parts: Sequence[str]) -> list[Token]:
    """`tokenize` of written words that are numbered from 0."""
    if not _PAUSES.isdisjoint(parts):
        return tokenize([Word(at, part, at) for at, part in enumerate(parts)])
    return [Token(text, norm, at, at, None, punctuation)
            for at, part in enumerate(parts) for text, norm, punctuation in _cut(part)]  # fmt: skip


_PAUSE = (("TO", "timeout", False),)


def _is_pause(words: Sequence[Word], at: int) -> bool:
    """Whether the letters stand for the time-out: a time of day follows, and no word or time stands right before."""
    before = words[at - 1].text if at and words[at - 1].segment == words[at].segment else ""
    follows = at + 1 < len(words) and _TIME.match(words[at + 1].text)
    return bool(follows) and not _LETTERED_END.search(before) and not (before[-1:].isdigit() and _TIME.match(before))


def words_from_text(text: str) -> list[Word]:
    """Typed narration as words, punctuation left on them. `segment` counts the lines that end a sentence:
    a line that was only wrapped for width goes on in the same segment. Times are None."""
    words: list[Word] = []
    for segment, line in enumerate(_lines(text)):
        words += [Word(at, part, at, segment=segment) for at, part in enumerate(line.split(), len(words))]
    return words


_NEARLY = 0.85  # of the widest line
_WANTS_MORE = frozenset("of the a an with from into and or by for his her".split())  # not "tourniquet on", "drain in"


def _lines(text: str) -> Iterable[str]:
    """Logical lines: wrapped ones are put together again (a line is taken as wrapped when the first word of the
    next would not have fitted into the widest line of its paragraph, of 50 characters or more; when it ends in a word
    that wants another; or when it is nearly as wide and the next line goes on in small letters)."""
    for paragraph in re.split(r"\n[ \t]*\n", text.replace("\r\n", "\n").replace("\r", "\n")):
        rows = [row.strip() for row in paragraph.split("\n") if row.strip()]
        width = max((len(row) for row in rows), default=0)
        held = ""
        for index, row in enumerate(rows):
            held = f"{held} {row}" if held else row
            following = rows[index + 1] if index + 1 < len(rows) else ""
            full = bool(following) and (
                len(row) + 1 + len(following.split()[0]) > width
                or (following[0].islower() and len(row) >= _NEARLY * width)
            )
            wrapped = (
                bool(following)
                and row[-1] not in ".:;!?"
                and not row.isupper()
                and ((width >= 50 and full) or row.split()[-1] in _WANTS_MORE)
                and not _LIST_MARK.match(following.split()[0])
                and not (_CELLS.search(row) and _CELLS.search(following))
            )
            if not wrapped:
                yield held
                held = ""
        if held:
            yield held
