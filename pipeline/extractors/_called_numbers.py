"""Numbers called out without "hundred", which may be two numbers: "rods two sixty", "a flat one twenty five"."""

from __future__ import annotations

from pipeline.records import Sentence

_DIGITS = {word: value for value, word in enumerate(
    "one two three four five six seven eight nine".split(), 1)}  # fmt: skip
_REST = frozenset("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty thirty forty "
                  "fifty sixty seventy eighty ninety".split())  # fmt: skip
_UNITS = frozenset({"mm", "cm", "millimetres", "millimeters", "centimetres", "centimeters", "millimetre", "centimetre"})
_LEADS = frozenset({"a", "an", "the", "another"})
_NOT_LED = frozenset({"of", "is", "was", "about", "size", "length", "total", "width", "depth"})


def maybe_counted(sentence: Sentence, index: int, noun: str) -> tuple[str, ...]:
    """The doubt of "rods two sixty millimetres": 260, or two of 60."""
    parts = _parts(sentence, index)
    if parts is None or not noun.endswith("s"):
        return ()
    value = sentence.tokens[index].quantity
    return (f"read as {value.value if value else ''}; it could be {_DIGITS[parts[0]]} of {' '.join(parts[1:])}",)


def _closes(sentence: Sentence, index: int, first: int) -> bool:
    """ "Shortening osteotomy two point five millimetres plate six holes": before a noun that it describes, a unit is
    said in the singular, so that one in the plural may close what stands before it."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or first != index + 1 or not (quantity.said_unit or "").lower().endswith(("metres", "meters")):
        return False
    before = sentence.tokens[index - 1] if index else None
    return before is not None and before.norm.isalpha() and before.norm not in _LEADS_ON


_LEADS_ON = frozenset("a an the of and with by x two three four five six to or our one each".split())


def maybe_how_many(sentence: Sentence, index: int, first: int = -1) -> tuple[str, ...]:
    """The doubt of "2 x 4.5 mm": 2 mm, or two of 4.5 mm; anchors, screws and wires are 1 to 8 mm wide (common
    practice, no source). `first`: the token of the thing; see also `_closes`."""
    tokens = sentence.tokens
    if _closes(sentence, index, first):
        return ("its unit was said in the plural; it may be of what was told before it",)
    value = tokens[index].quantity
    width = tokens[index + 2].quantity if index + 2 < len(tokens) else None
    if value is None or width is None or value.value is None or width.value is None or width.unit != "mm":
        return ()
    pair = tokens[index + 1].norm in ("x", "\u00d7") and (index == 0 or tokens[index - 1].norm not in ("x", "\u00d7"))
    noun = tokens[index + 3].norm if index + 3 < len(tokens) else ""
    crossed = pair and tokens[index].text.isdigit() and ("." in tokens[index + 2].text or noun in _BORED)
    if not crossed or not 1 < value.value <= _SEVERAL or not 1 <= width.value <= _WIDEST:
        return ()
    return (f"may be how many there were of {width.value} mm",)


_SEVERAL, _WIDEST = 6, 8
_BORED = frozenset({"tunnels", "holes", "sockets"})


def maybe_pronoun(sentence: Sentence, index: int) -> tuple[str, ...]:
    """The doubt of "a flat one twenty five millimetres": 125, or a flat one of 25."""
    parts = _parts(sentence, index)
    led = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    if parts is None or parts[0] != "one" or len(led) < 2 or led[0] not in _LEADS or not led[1].isalpha() or (
        led[1] in _NOT_LED
    ):  # fmt: skip
        return ()
    value = sentence.tokens[index].quantity
    return (f"read as {value.value if value else ''}; it could be {' '.join(parts[1:])}",)


def cut_in_two(sentence: Sentence, group: str, index: int) -> tuple[str, ...]:
    """The doubt of "haemoglobin thirteen one": a number right behind a result, as decimals are said without "point"."""
    after = sentence.tokens[index + 1].quantity if index + 1 < len(sentence.tokens) else None
    bare = after is not None and not after.dimension and not sentence.tokens[index].text[:1].isdigit()
    return ("a number follows at once, and may be a part of it",) if bare and group == "laboratory" else ()


def _parts(sentence: Sentence, index: int) -> list[str] | None:
    """The words of a number that is said as a digit and a number of two digits."""
    words = [word for word in sentence.tokens[index].text.lower().replace("-", " ").split() if word not in _UNITS]
    return words if 2 <= len(words) <= 3 and words[0] in _DIGITS and words[1] in _REST else None
