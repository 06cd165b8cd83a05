"""What was said to be attempted, and not whether it succeeded: "attempted closed reduction and pinning"."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_TRIED = frozenset({"attempted", "attempt", "attempts", "attempting", "tried", "trying"})
_BETWEEN = frozenset(
    "and , the a an of at to left right bilateral / or plus with for our two three several multiple repeated".split()
)
_NAMES = frozenset({"procedures", "acts", "sites", "devices", "guidance", "approaches", "anaesthesia", "diagnoses"})
_BACK, _AFTER = 12, 5  # tokens
_DONE = frozenset({"successful", "successfully", "succeeded", "success", "achieved", "accomplished", "completed"})

DOUBT = "said to be attempted; not said whether it succeeded"


def doubt(sentence: Sentence, mention: Mention) -> str | None:
    """What is unsure of an act that was attempted, alone or in a list, or None."""
    tokens = sentence.tokens
    if any(token.norm in _DONE for token in tokens[max(0, mention.first - 4) : mention.last + 8]):
        return None
    after = [token.norm for token in tokens[mention.last + 1 : mention.last + 1 + _AFTER]]
    if after[:2] in (["was", "attempted"], ["were", "attempted"], ["was", "tried"], ["were", "tried"]):
        return DOUBT
    named = {at for m in sentence.mentions if m.table in _NAMES for at in range(m.first, m.last + 1)}
    for at in range(mention.first - 1, max(-1, mention.first - 1 - _BACK), -1):
        if tokens[at].norm in _TRIED:
            return DOUBT if not at or tokens[at - 1].norm not in ("not", "no", "never", "without") else None
        if at not in named and tokens[at].norm not in _BETWEEN:
            return None
    return None
