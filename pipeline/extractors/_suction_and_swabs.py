"""Blood loss told by where it went, with no word for a loss: "four hundred in the suction, two hundred on the swabs, so
six hundred"."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.records import Fact, Reading, Sentence

_SUCKED = frozenset({"suction", "sucker", "canister", "aspirator", "cellsaver"})
_SOAKED = frozenset({"swabs", "swab", "sponges", "laps", "drapes", "packs", "inco", "linen"})
_TO_NUMBER = frozenset("in the on weighed : of was were about roughly another plus and weighing bottle a".split())
_SUMS = frozenset("so total = together makes making in all altogether".split())
_NEAR, _TO_SUM, _APART = 5, 8, 12  # tokens
_COST = 0


def lost(reading: Reading, sentence: Sentence) -> list[Fact]:
    """The whole where it is said, else both parts."""
    if not (sentence.says(_SUCKED) and sentence.says(_SOAKED)):
        return []
    tokens = sentence.tokens
    sucked = [number for at, token in enumerate(tokens) if token.norm in _SUCKED
              and (number := _amount(sentence, at)) is not None]  # fmt: skip
    soaked = [number for at, token in enumerate(tokens) if token.norm in _SOAKED
              and (number := _amount(sentence, at)) is not None]  # fmt: skip
    pair = next(((one, other) for one in sucked for other in soaked if one != other and abs(one - other) <= _APART),
                None)  # fmt: skip
    if pair is None:
        return []
    first, last = sorted(pair)
    whole = next((at for at in range(last + 1, min(len(tokens), last + _TO_SUM)) if _is_amount(sentence, at)
                  and any(token.norm in _SUMS for token in tokens[last + 1 : at + 4])), None)  # fmt: skip
    told = [whole] if whole is not None else [first, last]
    return [
        base.claim("blood_loss", reading, sentence, at, first, last, _COST, status="performed", certainty="affirmed",
                   scale="total" if at == whole else None, places=(at,)) for at in told
    ]  # fmt: skip


def _is_amount(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity
    return quantity is not None and quantity.form == "number" and quantity.value is not None and (
        quantity.dimension == "volume" or (quantity.dimension == "" and quantity.value >= 10)
    )


def _amount(sentence: Sentence, at: int) -> int | None:
    """The number of a place: before it ("400 in the suction"), else behind it ("suction 400")."""
    tokens = sentence.tokens
    back = at - 1
    while back >= 0 and at - back < _NEAR and tokens[back].norm in _TO_NUMBER and tokens[back].norm not in (":", "and"):
        back -= 1
    led = back < at - 1 and {"in", "on"} & {token.norm for token in tokens[back + 1 : at]}
    if back >= 0 and led and _is_amount(sentence, back):
        return back
    ahead = at + 1
    while ahead < len(tokens) and ahead - at < _NEAR and tokens[ahead].norm in _TO_NUMBER:
        ahead += 1
    return ahead if ahead < len(tokens) and _is_amount(sentence, ahead) else None
