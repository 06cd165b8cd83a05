"""What a medicine did to the patient before: "penicillin: rash as a child", "because of an anaphylaxis to latex"."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_REACTIONS = frozenset(
    "rash rashes hives urticaria anaphylaxis angioedema swelling itching itch bronchospasm reaction intolerance "
    "vomiting nausea collapse".split()
)
_STRONG = _REACTIONS - {"swelling", "vomiting", "nausea", "collapse", "bronchospasm"}
# What tells that it was before: "vancomycin, because of an anaphylaxis to cephalosporins".
_BEFORE = frozenset("because due owing known previous past history given as had has reports reported".split())
_TO = frozenset({"to", "with", "from", "after"})
_LEAD, _ALLERGENS = 6, 3  # tokens


def is_told_as_reaction(sentence: Sentence, drug: Mention) -> bool:
    """ "Penicillin: rash as a child", "codeine - vomiting", "a rash with penicillin": what the medicine did before, and
    it was not given."""
    after = sentence.tokens[drug.last + 1 : drug.last + 4]
    led = bool(after) and after[0].norm in (":", "-", "=", "causes", "caused", "gives", "gave")
    if led and any(token.norm in _REACTIONS for token in after[1:]):
        return True
    return any(first <= drug.first <= last for first, last in known(sentence))


def known(sentence: Sentence) -> list[tuple[int, int]]:
    """First and last tokens of what the patient is told to have reacted to before."""
    if not sentence.says(_STRONG):
        return []
    norms = [token.norm for token in sentence.tokens]
    found = []
    for at, norm in enumerate(norms):
        if norm not in _STRONG or norms[at + 1 : at + 2] == [] or norms[at + 1] not in _TO:
            continue
        lead = norms[max(0, at - _LEAD) : at]
        if _BEFORE.isdisjoint(lead) or {"no", "without", "not"} & set(lead):
            continue
        first = at + 2
        last = first
        while last + 2 < len(norms) and norms[last + 1] in ("and", "or") and last - first < _ALLERGENS and (
            sentence.tokens[last + 2].quantity is None
        ):
            last += 2
        if first < len(norms) and norms[first].isalpha():
            found.append((first, last))
    return found


def is_known(sentence: Sentence, at: int) -> bool:
    """Whether a token is the word of such a reaction, which is no complication of today."""
    return any(first - 2 == at for first, _ in known(sentence))
