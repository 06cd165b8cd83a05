"""What a year, a month or an age tells to have been before this operation: "lumpectomy in 2015", "grommets at 3"."""

from __future__ import annotations

from pipeline import clauses
from pipeline.context_behind import start_behind
from pipeline.context_cues import CueHit
from pipeline.records import Scope, Sentence, Token
from pipeline.rows import ContextRule

_DATED = frozenset({"procedures", "diagnoses", "complications"})
_LASTING = frozenset({"stent", "coronary-stent", "pacemaker", "icd", "drug-eluting-stent"})  # devices that people have


def years(sentence: Sentence) -> list[Scope]:
    """What is said with a year ("lumpectomy in 2015", "done in twenty eleven") was before this operation."""
    tokens = sentence.tokens
    found = []
    dated = {m.last + ahead: m.first for m in sentence.mentions if m.table in _DATED or m.id in _LASTING
             for ahead in (1, 2) if ahead == 1 or tokens[min(m.last + 1, len(tokens) - 1)].norm == "("}  # fmt: skip
    for index in range(1, len(tokens)):
        if _is_early(tokens[index]):
            continue  # "scope in 0911"
        if tokens[index - 1].norm in ("in", "since") and (
            clauses.is_year(tokens[index]) or _in_short(sentence, index) or in_two(sentence, index)
        ):
            rule = ContextRule(id="year", axis="status", value="historical", direction="before", reach=12, source="own")
            first = since(sentence, start_behind(sentence, CueHit(rule, index - 1, index)), index)
            found.append(Scope("status", "historical", first, _its_reason(sentence, index), "year"))
        elif tokens[index - 1].norm == "age" and index > 2 and tokens[index - 2].norm == "at" and (
            tokens[index - 3].norm.endswith("ed") or tokens[index - 3].norm in ("done", "out")
        ):
            found.append(Scope("status", "historical", clauses.bounds(sentence, index)[0], index, "age"))
        elif tokens[index - 1].norm in ("at", "age") and (had := _had_at_age(sentence, index)) is not None:
            found.append(Scope("status", "historical", had, index, "age"))
        elif _is_bare_year(tokens[index]) and (at_place := _at_another_place(sentence, index)) is not None:
            found.append(Scope("status", "historical", at_place, index, "year"))
        elif index in dated and _is_bare_year(tokens[index]):  # "MI 2018", "appendicectomy (2010)"
            found.append(Scope("status", "historical", dated[index], index, "year"))
        elif tokens[index].norm == "before" and (had := _had_been(sentence, index)) is not None:
            found.append(Scope("status", "historical", had, index, "before"))
        elif tokens[index].norm in ("preop", "preoperative") and (led := next(
            (m for m in sentence.mentions if m.first == index + 1 and m.table == "procedures"), None
        )) is not None:
            found.append(Scope("status", "historical", led.first, led.last, "preop"))  # "preop embolisation"
        elif tokens[index].norm in _MONTHS and (had := _had_in_month(sentence, index)) is not None:
            found.append(Scope("status", "historical", index, had, "month"))
        elif tokens[index].norm in _MONTHS and _is_past_month(sentence, index):
            first = max(0, index - 12, clauses.bounds(sentence, index)[0])
            found.append(Scope("status", "historical", first, index, "month"))
        elif tokens[index - 1].norm in ("from", "of") and (clauses.is_year(tokens[index]) or in_two(sentence, index)):
            held = [at for at in range(max(0, index - 8), index - 2) if tokens[at].norm in ("has", "had", "have")]
            if held:  # "the left hip has a hemiarthroplasty from 2019"
                found.append(Scope("status", "historical", clauses.bounds(sentence, held[0])[0], index, "year"))
    return found


def _at_another_place(sentence: Sentence, year: int) -> int | None:
    """ "Ossification after the other hip 2019", "needle fasciotomy same finger 2017": the first token of what is dated
    over the words for where it was."""
    parts = {at for m in sentence.mentions if m.table == "sites" for at in range(m.first, m.last + 1)}
    at = year - 1
    while at > 0 and (at in parts or sentence.tokens[at].norm in _OTHER_PLACE):
        at -= 1
    if at == year - 1:
        return None
    return next((m.first for m in sentence.mentions if m.last == at and m.table in _DATED | {"findings", "acts"}), None)


_OTHER_PLACE = frozenset("after of in on at the same other left right contralateral opposite side done first his her "
                         "finger joint".split())  # fmt: skip


def _is_early(token: Token) -> bool:
    """A time of day whose hour no year begins with ("scope in 0911", "in fourteen thirty eight")."""
    quantity = token.quantity
    return quantity is not None and quantity.form == "clock" and quantity.text[:2] not in ("19", "20")


def _had_been(sentence: Sentence, index: int) -> int | None:
    """ "The meniscus had been resected by about half before": the first token of a clause that ends so."""
    tokens = sentence.tokens
    if index + 1 < len(tokens) and not tokens[index + 1].punctuation:
        return None
    first = clauses.bounds(sentence, index)[0]
    norms = [token.norm for token in tokens[first:index]]
    return first if ["had", "been"] in [norms[at : at + 2] for at in range(len(norms))] else None


def _had_in_month(sentence: Sentence, index: int) -> int | None:
    """ "In March he had a radiofrequency of L4": the last token of the clause that tells what somebody had then."""
    tokens = sentence.tokens
    norms = [token.norm for token in tokens[index + 1 : index + 4]]
    if tokens[index - 1].norm not in ("in", "last", "since", "back"):
        return None
    who = norms[1:] if norms[:1] == ["the"] else norms
    if who[:1] not in (["he"], ["she"], ["patient"], ["they"]) or who[1:2] not in (["had"], ["received"], ["got"]):
        return None
    return clauses.bounds(sentence, index + 2)[1] - 1


_REASON = 6  # tokens
_DONE_WITH = frozenset({"acts", "procedures", "devices"})


def since(sentence: Sentence, first: int, cue: int) -> int:
    """The first token of what a time of the past is said of: "scope of the elbow, previous transposition in 2016"."""
    tokens = sentence.tokens
    told = [at for at in range(first, cue) if tokens[at].norm in _OF_OLD or (
        tokens[at].norm in ("after", "following") and tokens[at - 1].quantity is not None and at > first
    )]  # "second look arthroscopy one year after the transplantation in 2025"
    return told[-1] if told else first


_OF_OLD = frozenset({"previous", "prior", "previously", "first", "initial", "original", "primary", "index"})


def _its_reason(sentence: Sentence, year: int) -> int:
    """The last token of what a thing of the past was done for: "put in in 2012 for complete heart block"."""
    norms = [token.norm for token in sentence.tokens]
    if (listed := _what_it_held(sentence, norms, year)) is not None:
        return listed
    if norms[year + 1 : year + 2] == ["with"]:  # "arthroscopy in 2017 with labral debridement"
        done = [m.last for m in sentence.mentions
                if m.table in _DONE_WITH and year + 1 < m.first <= year + 1 + _REASON]  # fmt: skip
        return done[0] if done and not set(norms[year : done[0]]) & clauses.FINITE else year
    if norms[year + 1 : year + 2] != ["for"]:
        return year
    named = [m.last for m in sentence.mentions
             if m.table in ("diagnoses", "findings") and year < m.first <= year + _REASON]  # fmt: skip
    return named[0] if named and not set(norms[year:named[0]]) & clauses.FINITE else year


def _what_it_held(sentence: Sentence, norms: list[str], year: int) -> int | None:
    """ "Left TKA in 2021, size 4 femur, size 3 tray, 10 mm insert": the last token of the sizes and things told
    off behind the year without a verb; None where there are none."""
    last, at = None, year + 1 + in_two(sentence, year)
    while at < len(norms) and norms[at] in (",", "(", "with"):
        end = next((place for place in range(at + 1, len(norms)) if norms[place] in (",", ";", ".", ")")), len(norms))
        piece = sentence.tokens[at + 1 : end]
        held = any(m.table == "devices" and at < m.first < end for m in sentence.mentions) or any(
            token.quantity is not None and token.quantity.form == "number" for token in piece
        )
        told = any(token.norm in clauses.FINITE or token.norm in _NOW for token in piece)
        if not piece or len(piece) > _REASON or not held or told:
            break
        last, at = end - 1, end
    return last


_NOW = frozenset({"today", "now", "here", "we", "i"})


def _had_at_age(sentence: Sentence, index: int) -> int | None:
    """ "Had an appendix out at twelve": the "had" of what was done at an age."""
    tokens, quantity = sentence.tokens, sentence.tokens[index].quantity
    if quantity is None or quantity.form != "number" or quantity.unit not in (None, "a") or quantity.value is None:
        return None
    if not 0 < quantity.value < _OLDEST:
        return None
    had = [at for at in range(max(0, index - 9), index - 1) if tokens[at].norm == "had"]
    named = [m for m in sentence.mentions if m.table == "procedures" and had and had[-1] < m.first and m.last < index]
    return had[-1] if named else None


_OLDEST = 100


def _is_bare_year(token: Token) -> bool:
    """A year that needs no "in" before it, so that no time of day ("hernia repair 0805") is taken for one."""
    return clauses.is_year(token) and token.quantity is not None and token.quantity.form in ("number", "year")


def _in_short(sentence: Sentence, index: int) -> bool:
    """ "She had a hysterectomy in ninety eight": a year of the last century without its first two digits."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.form != "number" or quantity.unit is not None or quantity.value is None:
        return False
    near = {token.norm for token in sentence.tokens[max(0, index - _HAD_NEAR) : index]}
    return _SHORT_FROM <= quantity.value <= 99 and bool(near & {"had", "done", "removed", "underwent"})


_SHORT_FROM, _HAD_NEAR = 60, 7


def in_two(sentence: Sentence, index: int) -> bool:
    """ "Twenty eleven", "nineteen ninety eight": a year said as two numbers."""
    values = [token.quantity.value if token.quantity is not None and not token.quantity.unit else None
              for token in sentence.tokens[index : index + 2]]  # fmt: skip
    return len(values) == 2 and values[0] in (19, 20) and values[1] is not None and 10 <= values[1] <= 99


_MONTHS = frozenset(
    ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
     "december", "spring", "summer", "autumn", "winter")
)  # fmt: skip
_ORDERS = frozenset({"aftercare", "follow-up"})
_TO_COME = frozenset({"will", "would", "planned", "scheduled", "booked", "follow", "return", "review", "again", "next",
                      "should", "can", "could"})  # fmt: skip


def _is_past_month(sentence: Sentence, index: int) -> bool:
    """ "The right knee was replaced in May": a finite past before a month, and nothing of what is to come."""
    tokens = sentence.tokens
    at = index - 1 - (tokens[index - 1].norm == "the")
    start, end = clauses.bounds(sentence, index)
    norms = {token.norm for token in tokens[start:end]}
    named = any(m.table == "procedures" and m.last in (index - 1, index - 2) for m in sentence.mentions)
    ends = at == index - 1 and index + 1 < len(tokens) and tokens[index + 1].punctuation
    if named and tokens[index].text.istitle() and (ends or tokens[at].norm == "in"):
        return sentence.section not in _ORDERS and not norms & _TO_COME  # "LE phaco March, good result"
    if tokens[at].norm not in ("in", "since", "last"):
        return False
    return bool(norms & {"was", "were", "had", "been"}) and not norms & _TO_COME
