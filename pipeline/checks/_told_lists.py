"""Counts whose things are told as ways ("LIMA to LAD, vein to OM1, vein to PDA: three grafts") or by their lots."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks._spoken_counts import count, says_total
from pipeline.note import OperativeNote, Passage
from pipeline.numerals import ORDINALS
from pipeline.records import Token

_WAYS = frozenset({"grafts", "bypasses", "anastomoses", "conduits", "distals"})
_PIECES = frozenset({"pieces", "components", "parts", "modules", "implants"})
_LEADS = frozenset({":", "so", "=", "making", "makes", ","})
_ITEM = 6  # tokens of one way at most


def ways(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """(number, noun, arithmetic) of grafts that were told one by one, each from something to something."""
    for at in range(1, len(read) - 1):
        noun = read[at + 1].norm
        said = count(read[at]) if noun in _WAYS else None
        if said is None or read[at - 1].norm not in _LEADS:
            continue
        start = max((place + 1 for place in range(at - 1) if read[place].norm in (".", ";", ":")), default=0)
        items: list[list[str]] = [[]]
        for token in read[start : at - 1]:
            if token.norm in (",", "and"):
                items.append([])
            else:
                items[-1].append(token.norm)
        told = [item for item in items if item and item != ["so"]]
        if len(told) > 1 and all(_is_way(item) for item in told) and len(told) != said:
            return said, noun, f"{len(told)} named, said: {said}"
    return None


def _is_way(item: list[str]) -> bool:
    return len(item) <= _ITEM and item.count("to") == 1 and item[0] != "to" and item[-1] != "to"


_ROW_PLACES = frozenset({"medial", "lateral", "med", "lat"})
_ONE_MORE = frozenset({"one", "another", "single"})
_TO_COUNT = 3  # tokens from a row to its count
_MOST = 8  # anchors of one row


def rows(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Medial row 3 x 4.75, lateral row 2 x 4.75; 6 anchors": the anchors of the rows against all of them."""
    told: list[int] = []
    last = 0
    for at in range(1, len(read)):
        if not _names_row(read, at):
            continue
        found = next((place for place in range(at + 1, min(len(read), at + 1 + _TO_COUNT)) if count(read[place])), None)
        number = count(read[found]) if found is not None else None
        if found is None or number is None or number > _MOST:
            return None
        told.append(number)
        last = found
    if len(told) < _BOTH:
        return None
    for at in range(last + 1, len(read) - 1):
        said = count(read[at])
        if said is None or not (read[at + 1].norm == "anchors" or says_total(read, at)):
            continue
        spare = sum(token.norm in _ONE_MORE or count(token) == 1 for token in read)
        if not sum(told) <= said <= sum(told) + spare:
            return said, "anchors", f"{' + '.join(map(str, told))} = {sum(told)}, said: {said}"
    return None


def ordinals(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "First anchor at eleven, second at twelve, third at one, four anchors altogether": told off by their number."""
    for at in range(1, len(read) - 1):
        said = count(read[at])
        if said is None or not read[at + 1].norm.endswith("s"):
            continue
        whole = [token.norm for token in read[at + 2 : at + 3]] in (["altogether"], ["total"]) or says_total(read, at)
        if not whole and read[at - 1].norm not in ("so", "that's", "thats", "="):
            continue
        noun = read[at + 1].norm[:-1]
        told, start = 0, None
        for place in range(max(0, at - _TOLD_OFF), at - 1):
            number = _ordinal(read[place])
            if number == 1 and noun in (read[place + 1].norm, read[place - 1].norm):
                told, start = 1, place
            elif start is not None and number == told + 1:
                told += 1
        if told > 1 and said != told and "last" not in [token.norm for token in read[start or 0 : at]]:
            return said, read[at + 1].norm, f"{told} told off by their number, said: {said}"
    return None


_TOLD_OFF = 60  # tokens


def _ordinal(token: Token) -> int | None:
    """First, second ...; also the fourth of "third at one fourth at two", which may be heard as a quarter."""
    quantity = token.quantity
    if quantity is None or quantity.form not in ("ordinal", "fraction"):
        return None
    if quantity.form == "ordinal":
        return int(quantity.value) if quantity.value is not None else None
    return ORDINALS.get(token.text.lower().split()[-1])


def _names_row(read: Sequence[Token], at: int) -> bool:
    """ "Medial row 3 x 4.75", "medial 3 x 4.75 mm"."""
    if read[at].norm == "row":
        return read[at - 1].norm in _ROW_PLACES
    bare = read[at].norm in _ROW_PLACES and at + 2 < len(read) and count(read[at + 1]) is not None
    return bare and read[at + 2].norm in ("x", "\u00d7")


def signed(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Plate with 6 screws, lag screw x1, syndesmosis x2: 6 + 1 + 2 = 9 screws", "2 anchors patella + 1 screw femur =
    3 implants": counts that a sign adds, each at the head of its term, against their sum."""
    for at in range(2, len(read) - 1):
        said = count(read[at + 1]) if read[at].norm == "=" else None
        if said is None:
            continue
        start = max((place + 1 for place in range(at) if read[place].norm in (";", ":", ".", "(", "=")), default=0)
        signs = [place for place in range(start, at) if read[place].norm == "+"]
        heads = [_first_term(read, start, signs[0]), *(place + 1 for place in signs)] if signs else []
        told = [count(read[place]) for place in heads if place is not None]
        numbers = [number for number in told if number is not None]
        if len(numbers) != len(heads) or len(numbers) < _BOTH or sum(numbers) == said:
            continue
        noun = read[at + 2].norm if at + 2 < len(read) and read[at + 2].norm.isalpha() else "in all"
        return said, noun, f"{' + '.join(map(str, numbers))} = {sum(numbers)}, said: {said}"
    return None


def _first_term(read: Sequence[Token], start: int, sign: int) -> int | None:
    """The count that heads the first term: the only one behind the last comma before the sign."""
    comma = max((place + 1 for place in range(start, sign) if read[place].norm == ","), default=start)
    found = [place for place in range(comma, sign) if count(read[place]) is not None]
    return found[0] if found == [comma] else None


_BOTH = 2


def lots(note: OperativeNote, passage: Passage, read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Left limb, lot VX5518; right limb, lot VX5520; cuff, lot VX9001: four pieces in all": as many as there are
    lots in the sentence, or in the note up to it."""
    for at in range(len(read) - 1):
        said = count(read[at]) if read[at + 1].norm in _PIECES else None
        if said is None or not ((at > 0 and read[at - 1].norm == "so") or says_total(read, at)):
            continue
        before = [fact for fact in note.of("device_lot") if fact.text and fact.evidence.first <= passage.evidence.last]
        here = {fact.text for fact in before if passage.holds(fact)}
        if len(here) > 1 and said not in (len(here), len({fact.text for fact in before})):
            return said, read[at + 1].norm, f"{len({fact.text for fact in before})} lots, said: {said}"
    return None
