"""Amounts that are sums, and those of a harvest that are named as a volume: "total harvest volume", "volume of BMA"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount, plain

_WHOLE = frozenset("total whole overall entire combined cumulative".split())
_SUM_BEFORE = frozenset(
    "together total totalling totaling totals sum makes making altogether tally overall combined".split()
)
_SUM_AFTER = (("in", "all"), ("in", "total"), ("total",), ("all", "together"), ("altogether",), ("all", "told"),
              ("all", "up"), ("together",), ("combined",), ("overall",))  # fmt: skip
_OF_IT = frozenset("marrow aspirate blood bma lipoaspirate of bone the".split())  # "fifty mils of marrow in all"
_VOLUME = frozenset("volume volumes vol amount quantity".split())
_OF_HARVEST = frozenset("harvest harvested aspirate aspirated aspiration marrow bma drawn withdrawn obtained collected "
                        "taken removed".split())  # fmt: skip
_PRODUCTS = words.ALL_PRODUCTS | {"concentrate"}
_HEADING = _WHOLE | _VOLUME | _OF_HARVEST | _PRODUCTS | {"of", "the", "bone", "blood", "our", "final"}
_ONE_OF = words.COUNTED | frozenset(
    "each per every this that first second third fourth fifth sixth seventh eighth ninth tenth".split()
)


def role(amount: Amount) -> str:
    """ "total" for the volume of a whole harvest, "made" for that of the product, "" for every other amount."""
    said = list(plain(amount.before))
    while said and said[-1] in words.IS:
        said.pop()
    name = set[str]()
    while said and said[-1] in _HEADING:
        name.add(said.pop())
    if said[-1:] and said[-1] in _ONE_OF:
        return ""
    if name & _PRODUCTS and name & _VOLUME and not _goes_on(amount.after):
        return "made"
    of_harvest = name & _OF_HARVEST and not name & _PRODUCTS
    return "total" if of_harvest and (name & _VOLUME or name & _WHOLE) else ""


def _goes_on(after: Sequence[str]) -> bool:
    """ "Volume of concentrate eight mils into the knee": where it went."""
    return bool({"into", "to", "in", "injected", "given"} & set(after[:2]))


def is_sum(amount: Amount) -> bool:
    """ "Sixty in all", "total of 60 mL", "that makes sixty"."""
    before, after = amount.before, amount.after
    lead = plain(before)
    behind = tuple(token.norm for token in amount.sentence.tokens[amount.index + 1 : amount.index + 3])
    done = after[:1] and after[0] in words.GIVEN | words.OUT  # "8 mL injected in total"
    after = after[1:] if done and after[1:3] in (("in", "total"), ("in", "all")) else after
    named = next((at for at, norm in enumerate(after) if norm not in _OF_IT), 0) if behind[:1] == ("of",) else 0
    after = after[named:] if any(after[named:][: len(said)] == said for said in _SUM_AFTER) else after
    if any(after[: len(said)] == said for said in _SUM_AFTER) or behind in (("so", "far"), ("by", "now")):
        return not set(after[1:3]) & {"knees", "hips", "joints", "four", "three"}
    equals = lead[-1:] == ("=",) and not amount.bare  # "12 per side = 24" counts
    if lead[-1:] and lead[-1] in _SUM_BEFORE or equals or lead[-2:] in _COMES_TO or lead[-3:] in _COMES_TO:
        return True
    return lead[-2:-1] in (("total",), ("sum",), ("altogether",), ("tally",)) and lead[-1] in (
        words.IS | {"harvest", "volume", "aspirate", "marrow", "injected", "given", "drawn"}
    )


_COMES_TO = (("comes", "to"), ("came", "to"), ("amounts", "to"), ("amounting", "to"), ("amounted", "to"), ("up", "to"),
             ("adding", "to"), ("sums", "to"), ("make", "that"), ("makes", "that"), ("make", "it"), ("makes", "it"),
             ("making", "it"), ("brings", "us", "to"), ("brings", "it", "to"), ("brought", "us", "to"), ("that",
              "should", "be"), ("that", "must", "be"))  # fmt: skip
