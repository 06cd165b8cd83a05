"""Questions that are answered with more than yes or no, written with their marks: "Swabs? All correct.", "How much went
in? Nine litres.". Question and answer become one sentence, as if a heading had been read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.restated import Draft

_LONGEST, _BARE, _ANSWER = 9, 4, 14  # tokens of a question, of one without a verb, and of an answer
_HOW = frozenset({"how", "what", "what's"})
_YES_NO = frozenset("yes yeah yep no nope not negative affirmative sure maybe".split())
_VERBS = frozenset("is are was were do does did have has had can could will would shall should got we i you".split())


def join(drafts: Sequence[Draft]) -> list[Draft]:
    """The drafts, a question with its answer in one; the question mark becomes a colon."""
    out: list[Draft] = []
    for draft in drafts:
        if out and _is_asked(out[-1]) and _answers(draft):
            held = out.pop()
            mark = replace(held.tokens[-1], text=":", norm=":")
            out.append(Draft([*held.tokens[:-1], mark, *draft.tokens], [*held.strikes, *draft.strikes]))
        else:
            out.append(draft)
    return out


def _is_asked(draft: Draft) -> bool:
    tokens = draft.tokens
    if len(tokens) < 2 or len(tokens) > _LONGEST or tokens[-1].norm != "?" or draft.strikes:
        return False
    words = [token.norm for token in tokens[:-1]]
    if any(token.quantity is not None or token.punctuation for token in tokens[:-1]) or words[0] in _VERBS:
        return False
    return words[0] in _HOW or len(words) <= _BARE and _VERBS.isdisjoint(words)


def _answers(draft: Draft) -> bool:
    """Whether a sentence may be an answer: short, begun anew, and no bare yes or no."""
    tokens = draft.tokens
    if not tokens or len(tokens) > _ANSWER or tokens[0].norm in _YES_NO or tokens[-1].norm == "?":
        return False
    return tokens[0].quantity is not None or tokens[0].text[:1].isupper()
