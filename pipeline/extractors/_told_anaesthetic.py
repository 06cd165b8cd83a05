"""Bare words of anaesthesia that are told of, or told beside another one: "spinal failed general given"."""

from __future__ import annotations

from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.records import Mention, Sentence

TOLD_OF = _words(
    "given planned avoided nil none declined refused topped instead abandoned failed attempted unnecessary converted "
    "omitted not needed required requested tried used no good worked"
)


def is_apart(sentence: Sentence, index: int) -> bool:
    """ "Sedation was not wanted", "block failed so general as well"."""
    norms = [token.norm for token in sentence.tokens[index : index + 2]]
    return norms == ["as", "well"] or norms[:1] in (["was"], ["were"]) and set(norms[1:]) <= TOLD_OF | {"never"}


def among_others(sentence: Sentence, mention: Mention, opens: bool) -> bool:
    """Whether a word other than "local" is denied by itself ("... her mind general not needed"), or stands beside
    another anaesthetic or the position ("seventy nine spinal general not needed", "prone general no spinal")."""
    norms = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 3]]
    word = sentence.tokens[mention.first].norm
    if word == "sedation" and norms and norms[0] in TOLD_OF - {"not", "no"}:
        return True  # "spinal good sedation none"
    if word != "local":
        if len(norms) > 1 and norms[0] == "not" and norms[1] in TOLD_OF:
            return True
        if opens and any(m.first == mention.last + 1 for m in base.mentions(sentence, "anaesthesia", "positions")):
            return True
    return norms[:1] == ["no"] and any(
        m.last == mention.first - 1 for m in base.mentions(sentence, "anaesthesia", "positions")
    )


_CALLED = _words("anaesthesia anesthesia anaesthetic anesthetic")
_IS = _words("was is were type technique used chosen a of choice under changed to became then :")


def is_called(sentence: Sentence, mention: Mention) -> bool:
    """ "The anaesthetic was spinal", "anaesthesia used was a general": the word behind the noun and a verb."""
    at, tokens = mention.first - 1, sentence.tokens
    while at > 0 and tokens[at].norm in _IS:
        at -= 1
    after = tokens[mention.last + 1] if mention.last + 1 < len(tokens) else None
    ends = after is None or not after.norm.isalpha() or after.norm in _GOES_ON
    apart = at < mention.first - 1 or tokens[mention.first].norm != "local"
    return at >= 0 and tokens[at].norm in _CALLED and ends and apart


_GOES_ON = _words("with and plus by via at for no then we the only alone throughout left right bilateral supine prone")


_AIRWAYS = frozenset({"tube", "lma", "mask", "ett", "igel", "i-gel", "supraglottic", "rae", "line", "lines"})


def is_airway(sentence: Sentence, first: int) -> bool:
    """Whether an airway or a block is told from a token on, behind an article at most."""
    first += sentence.tokens[first].norm in ("a", "an", "the", "rapid") if first < len(sentence.tokens) else 0
    if sentence.tokens[first - 1 : first] and sentence.tokens[first - 1].norm == "rapid":
        return True  # "general with rapid sequence induction"
    return any(token.norm in _AIRWAYS for token in sentence.tokens[first : first + 2]) or any(
        m.table == "anaesthesia" and m.first == first for m in sentence.mentions
    )
