"""Takes out full stops that recognisers set where nothing ends: inside a dose, or between a thing and its state."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import numerals
from pipeline.clocks import is_number_word
from pipeline.records import Token
from pipeline.units import is_unit_word

# Nothing ends behind one of these.
_NEVER = frozenset("of by with the a an is was were are from per than between into about approximately and or "
                   "if as until because".split())
_NO_UNITS = frozenset({"in", "second", "seconds", "foot", "feet", "am", "pm", "times", "a", "each"})
# What is said of a bare subject before it, and what a tourniquet or clamp does.
_STATES = frozenset({"not", "correct", "complete", "none", "nil"})
_MOVES = frozenset({"up", "down", "on", "off", "released", "deflated", "inflated"})
_AGAIN = frozenset({"back", "again", "seen", "review", "reviewed", "out"})
_OFTEN = frozenset({"daily", "bd", "od", "tds", "qds", "tid", "bid", "nightly", "hourly"})
_EVERY = re.compile(r"q\.?\d{1,2}(?:-\d{1,2})?h|q\.?(?:d|hs|am|pm)|[bt]\.?i\.?d|p\.?r\.?n|p\.?o")
_OF_WHAT_IS_NOT = frozenset({"because", "since", "needed", "required", "necessary"})
_A_DAY = frozenset({"daily", "a", "per", "each", "every"})
_SUBJECT = 2  # words of a bare subject


def drop(tokens: Sequence[Token]) -> list[Token]:
    """The tokens without such stops; every stop shares its word with the token before it. Pure."""
    out: list[Token] = []
    began = 0  # place in `out` at which the sentence began
    for index, token in enumerate(tokens):
        if token.norm == "." and token.punctuation and index + 1 < len(tokens) and out:
            if _is_stray(tokens, index, out[began:]):
                continue
            out.append(token)
            began = len(out)
            continue
        out.append(token)
        if token.norm in ("?", "!"):
            began = len(out)
    return out


def _is_stray(tokens: Sequence[Token], index: int, said: Sequence[Token]) -> bool:
    before, after = tokens[index - 1], tokens[index + 1]
    if not said or before.punctuation or after.punctuation:
        return False
    if before.norm in _NEVER and before.text.islower():
        return True
    if _EVERY.match(before.norm) and after.text[:1].islower():
        return True  # "every 6 hours" in short: "900 mg IV q.6h. along with"
    if before.norm in ("for", "at", "day", "week") and is_number_word(after.norm):
        return True
    led = after.norm == "for" and index + 2 < len(tokens) and is_number_word(tokens[index + 2].norm)
    if led and (len(said) <= _SHORT or said[-1].norm in _OFTEN):
        return True  # "Twice daily. For ten days."
    if after.norm == "with" and any(word.norm in _OFTEN for word in said):
        return True  # "... twice daily for ten days. With omeprazole"
    named = len(said) == 1 and before.norm.isalpha() and before.norm not in _NO_THING
    if named and _is_amount_alone(tokens, index + 1):
        return True  # "Irrigation. Four litres.", "Naproxen. Five hundred milligrams."
    if before.norm in _MOVES and is_number_word(after.norm) and any(word.norm in _TIMED for word in said):
        return True  # "Tourniquet down. Ten oh two."
    if after.norm in ("of", "per", "x") and (after.text.islower() or _is_amount(said)):
        return True  # "Ten mils. Of levobupivacaine"
    if is_number_word(before.norm) and index + 2 < len(tokens) and tokens[index + 2].norm == "." and (
        len(after.norm) > 1 and is_unit_word(after.norm) and after.norm not in _NO_UNITS
    ):
        return True  # "Released four. Centimetres. Tendon ..."
    if is_number_word(before.norm) and after.text.islower() and len(after.norm) > 1:
        return is_unit_word(after.norm) and after.norm not in _NO_UNITS
    if any(word.norm in _TIMED for word in said) and is_number_word(before.norm) and _is_how_long(tokens, index + 1):
        return True  # "Traction off at fourteen twelve. Sixty seven minutes."
    if before.norm.endswith("%") and index > 1 and tokens[index - 2].norm == "of":
        return True  # "25 ml of 0.375%. Ropivacaine"
    if before.norm == "%" and index > 2 and tokens[index - 3].norm == "of":
        return True
    if before.norm == "in" and index > 1 and tokens[index - 2].norm in _AGAIN and is_number_word(after.norm):
        return True  # "back in. 12 days"
    if after.norm in _OFTEN and any(word.norm[:1].isdigit() or is_number_word(word.norm) for word in said[-2:]):
        return True  # "Aspirin 75 mg. Daily for 2 weeks"
    ahead = [token.norm for token in tokens[index + 1 : index + 4]]
    times = is_number_word(after.norm) and ahead[1:2] == ["times"] and ahead[2:] and ahead[2] in _A_DAY
    if times or (after.norm in ("once", "twice") and ahead[1:2] and ahead[1] in _A_DAY):
        # "Four times daily."
        return any(is_number_word(word.norm) or word.norm in numerals.SCALES for word in said[-2:])
    if len(said) <= _SUBJECT and said[-1].norm in _LASTS and _is_span(tokens, index + 1):
        return True  # "Walking boot. Two weeks.", "Stitches out. Day twelve."
    goes_on = tokens[index + 2].norm if index + 2 < len(tokens) else "."
    if after.norm == "complete" and goes_on[:1].isalpha() and goes_on not in ("and", "at", "with", "then"):
        return False  # "Biceps intact. Complete tear of supraspinatus."
    bare = len(said) <= _SUBJECT and all(word.norm.isalpha() for word in said)
    behind = tokens[index + 2] if index + 2 < len(tokens) else None
    if bare and after.norm in _STATES and said[-1].norm not in ("no", "yes"):
        return True
    if bare and after.norm in _MOVES and behind is not None:
        return behind.norm == "at" or is_number_word(behind.norm)
    whole = behind is not None and (behind.norm == "." or behind.norm in _OF_WHAT_IS_NOT)
    alone = whole and after.norm.isalpha() and after.text[:1].isupper()
    asked = index > 1 and tokens[index - 2].norm == "?"
    if [word.norm for word in said] != ["no"] or asked:
        return False
    return alone or _is_noun_alone(tokens, index + 1)  # "No. Complications.", "No. Loose bodies."


def _is_noun_alone(tokens: Sequence[Token], at: int) -> bool:
    """Whether a sentence is two or three words, and none of them a verb or a number."""
    end = next((n for n in range(at, min(at + 4, len(tokens))) if tokens[n].norm == "."), at)
    words = [token.norm for token in tokens[at:end]]
    return len(words) > 1 and all(word.isalpha() for word in words) and not any(
        word in _SAYS or word.endswith("ed") or is_number_word(word) for word in words
    )


_SAYS = frozenset("we i it he she they the that this was were is are yes no then left right done used given correct "
                  "normal intact none nil".split())  # fmt: skip


def _is_amount_alone(tokens: Sequence[Token], at: int) -> bool:
    """Whether a sentence is nothing but a number and its unit, and nothing goes on from it."""
    end = at
    while end < len(tokens) and (is_number_word(tokens[end].norm) or tokens[end].norm in numerals.SCALES):
        end += 1
    if end == at or end >= len(tokens) or not is_unit_word(tokens[end].norm) or tokens[end].norm in _NO_UNITS:
        return False
    closed = end + 1 >= len(tokens) or tokens[end + 1].norm == "."
    return closed and (end + 2 >= len(tokens) or tokens[end + 2].norm != "of")


_SHORT = 4  # tokens
_NO_THING = frozenset({"yes", "no", "ok", "okay", "right", "left", "correct", "done", "good", "thanks"})


def _is_amount(said: Sequence[Token]) -> bool:
    """Whether a sentence is nothing but a number and its unit so far."""
    return len(said) > 1 and is_unit_word(said[-1].norm) and all(is_number_word(word.norm) for word in said[:-1])


def _is_span(tokens: Sequence[Token], at: int) -> bool:
    """Whether a sentence is nothing but days, weeks or months."""
    end = at + (tokens[at].norm == "day")
    first = end
    while end < len(tokens) and is_number_word(tokens[end].norm):
        end += 1
    end += end < len(tokens) and first == at and tokens[end].norm in _SPANS
    ends = end >= len(tokens) or tokens[end].norm == "."
    return end > first and ends and (first > at or tokens[end - 1].norm in _SPANS)


_SPANS = frozenset({"days", "weeks", "months", "day", "week", "month"})
# What is told to last or to be done then, by a word alone.
_LASTS = frozenset("boot splint brace sling cast clinic review crutches collar out physiotherapy".split())


def _is_how_long(tokens: Sequence[Token], at: int) -> bool:
    """Whether a sentence is nothing but a number of minutes."""
    end = at
    while end < len(tokens) and is_number_word(tokens[end].norm):
        end += 1
    end += end + 1 < len(tokens) and tokens[end].norm == "."  # "Forty two. Minutes."
    closed = end + 1 >= len(tokens) or tokens[end + 1].punctuation
    return end > at and end < len(tokens) and tokens[end].norm in _MINUTES and closed


_TIMED = frozenset({"traction", "tourniquet", "tq", "cuff", "clamp"})
_MINUTES = frozenset({"minutes", "minute", "min", "mins"})


