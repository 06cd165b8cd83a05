"""How often an amount of a drug was given: "0.5 mg times three", "three doses of ephedrine six milligrams"."""

from __future__ import annotations

from pipeline.records import Mention, Sentence


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_TIMES = {"twice": "two", "thrice": "three"}
_ROUNDS = _words("doses boluses times occasions aliquots increments injections shots rounds")
_DAILY = _words("a per daily day each every weekly week nightly hourly")


def repeated(sentence: Sentence, index: int, drug: Mention) -> str | None:
    """How often the number at `index` was given, in words, where that is said right beside it: "0.5 mg times three",
    "fifty micrograms twice", "three doses of ephedrine six milligrams"; not how often a day."""
    tokens = sentence.tokens
    end = min(len(tokens), max(index, drug.last) + 1 + 6)
    for at in range(index + 1, end):
        token = tokens[at]
        if token.punctuation and token.norm not in (",", "(") or token.norm in ("then", "and", "but"):
            break
        after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
        if token.norm in _TIMES and after not in _DAILY:
            return _TIMES[token.norm]
        quantity = token.quantity
        counted = tokens[at - 1].norm in ("times", "x", "\u00d7")
        if counted and quantity is not None and quantity.form == "number" and quantity.unit is None and (
            after not in _DAILY and quantity.value is not None
        ):  # fmt: skip
            return str(quantity.value)
        if quantity is None:
            if any(m.table == "drugs" and m.first == at and m != drug for m in sentence.mentions):
                break
            continue
        if quantity.form == "times" and after not in _DAILY:
            return quantity.text
        further = tokens[at + 2].norm if at + 2 < len(tokens) else ""
        if quantity.dimension in ("", "count") and quantity.value is not None and quantity.value > 1 and (
            after in _ROUNDS and further not in _DAILY and tokens[at - 1].norm not in ("in", "over", "as")
        ):  # fmt: skip
            return str(quantity.value)
        if quantity.dimension not in ("fraction", "concentration", "mass_concentration"):
            break
    low = min(index, drug.first)
    lead = tokens[max(0, low - 3) : low]
    for at, token in enumerate(lead[:-1]):
        quantity = token.quantity
        if quantity is not None and quantity.value is not None and quantity.dimension in ("", "count") and (
            quantity.value > 1 and lead[at + 1].norm in _ROUNDS and not {one.norm for one in lead[at + 2 :]} & _DAILY
        ):  # fmt: skip
            return str(quantity.value)
    return None
