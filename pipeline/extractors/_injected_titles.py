"""Titles that only name what was injected, and where: "PRP left elbow.", "right knee bone marrow concentrate"."""

from __future__ import annotations

from pipeline import laterality
from pipeline.extractors import base
from pipeline.extractors._titles import HEADING, JOINS, OF_PLACE
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence
from pipeline.rows import Concept

_INJECTED = {
    "platelet-rich-plasma": "platelet-rich-plasma-injection", "bone-marrow-concentrate": "bone-marrow-injection",
    "bone-marrow-aspirate": "bone-marrow-injection", "autologous-fat": "fat-grafting",
    "hyaluronate": "viscosupplementation",
}  # fmt: skip


def injected(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "PRP left elbow.", "BMAC right hip": what was injected and where, as the title of the narration."""
    if sentence.index > 1 and sentence.section != "procedure":
        return []
    named = any(True for _ in base.mentions(sentence, "procedures"))
    if sentence.section not in ("", "procedure"):
        return []
    facts: list[Fact] = []
    end = -1  # the last token of what was read
    guided = {at for m in base.mentions(sentence, "guidance") for at in range(m.first, m.last + 2)}
    for mention in sorted(base.mentions(sentence, "injectates", "drugs"), key=lambda one: one.first):
        before = sentence.tokens[end + 1 : mention.first]
        led = all(token.punctuation or token.norm in HEADING | _TALK or at in guided
                  for at, token in enumerate(before, end + 1))  # fmt: skip
        led = led or bool(facts) and before[-1:] != () and before[-1].norm in JOINS | {",", ";"}
        ahead = _part_ahead(sentence, mention, grammar) if not facts and mention.id in _INJECTED else None
        if ahead is not None:
            facts.append(base.make("procedure", reading, sentence, ahead[0], mention.last, name=_INJECTED[mention.id],
                                   laterality=ahead[1], body_site=ahead[2]))  # fmt: skip
            end = mention.last
            continue
        if named and mention.id in _INJECTED and (part := _added(sentence, mention, grammar)) is not None:
            facts.append(base.make("procedure", reading, sentence, mention.first, mention.last, laterality=part[0],
                                   name=_INJECTED[mention.id], body_site=part[1]))  # fmt: skip
        if mention.id not in _INJECTED or not led or named:
            continue
        made = _injected_at(reading, sentence, mention, grammar)
        facts += made
        if made:
            end = max(at for at, token in enumerate(sentence.tokens) if token.last <= made[-1].evidence.last
                      and token.norm not in (",", ";"))  # fmt: skip
    return facts


def _part_ahead(sentence: Sentence, mention: Mention, grammar: Grammar) -> tuple[int, Laterality | None, str] | None:
    """ "Right knee bone marrow concentrate": the first token, the side and the part of a title that names the part of
    the body before what was injected there."""
    tokens = sentence.tokens
    site = next((m for m in base.mentions(sentence, "sites") if m.last == mention.first - 1), None)
    side = next((one for one in laterality.sides(sentence, grammar) if site and one.last == site.first - 1), None)
    after = tokens[mention.last + 1].norm if mention.last + 1 < len(tokens) else "."
    if site is None or side is None or side.value is None or after in _TELLS_OF_IT or not all(
        token.punctuation or token.norm in HEADING | _TALK for token in tokens[: side.first]
    ):
        return None
    return side.first, side.value, site.id


def _added(sentence: Sentence, mention: Mention, grammar: Grammar) -> tuple[Laterality | None, str | None] | None:
    """ "R ankle scope + BMAC": the side and the part of the operation that an injection is added to in a title, by a
    "+" or an "and" and with nothing behind it."""
    tokens = sentence.tokens
    before = next((m for m in base.mentions(sentence, "procedures") if m.last == mention.first - 2), None)
    behind = tokens[mention.last + 1].norm if mention.last + 1 < len(tokens) else "."
    ends = mention.last + 1 >= len(tokens) or tokens[mention.last + 1].punctuation or behind in _SHUTS
    if before is None or tokens[mention.first - 1].norm not in JOINS | {","} or not ends:
        return None
    row = grammar.tables["procedures"].get(before.id)
    side, doubt = laterality.side_for(sentence, before.first, before.last, grammar)
    return (None if doubt else side), (row.site or None) if isinstance(row, Concept) else None


_SHUTS = frozenset({"for", "under", "today"})
_TELLS_OF_IT = frozenset({"is", "was", "next", "not", "later", "planned", "given", "went", "?"})


def _injected_at(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar) -> list[Fact]:
    site = next((m for m in base.mentions(sentence, "sites") if 0 < m.first - mention.last <= _TO_SITE), None)
    between = sentence.tokens[mention.last + 1 : site.first] if site is not None else ()
    if site is None or not all(
        token.norm in OF_PLACE | {"r", "l", "to", "into", "in", "for", ":"} for token in between
    ):  # fmt: skip
        side = next((one for one in laterality.sides(sentence, grammar) if one.first == mention.last + 1), None)
        if side is None or side.value is None:
            return []
        return [base.make("procedure", reading, sentence, mention.first, side.last, name=_INJECTED[mention.id],
                          laterality=side.value)]  # fmt: skip
    parts = [(mention.first, site), *_joined_parts(sentence, site, grammar)]
    return [
        base.make("procedure", reading, sentence, first, part.last, name=_INJECTED[mention.id],
                  laterality=laterality.side_for(sentence, part.first, part.last, grammar)[0], body_site=part.id)
        for first, part in parts
    ]  # fmt: skip


def _joined_parts(sentence: Sentence, site: Mention, grammar: Grammar) -> list[tuple[int, Mention]]:
    """The parts that "and" joins to one with a side, each with its own and the token of that: "... for the left elbow
    and the right hip"."""
    tokens = sentence.tokens
    found: list[tuple[int, Mention]] = []
    for side in laterality.sides(sentence, grammar):
        end = found[-1][1].last if found else site.last
        part = laterality.own_noun(sentence, side)
        between = {token.norm for token in tokens[end + 1 : side.first]}
        if part is not None and side.first > end and between & {"and", "&", "+", ","} and between <= _PART_JOINS:
            found.append((side.first, part))
    return found


_PART_JOINS = frozenset({"and", "&", "+", ",", "the", "also", "then", "in", "into", "to", "for"})


_TALK = frozenset({"the", "a", "ok", "okay", "so", "right", "today"})
_TO_SITE = 5  # tokens


def injected_into(reading: Reading, grammar: Grammar) -> list[Fact]:
    """ "We injected bone marrow concentrate into the right elbow": the operation where no other words name it."""
    for sentence in reading.sentences:
        for mention in base.mentions(sentence, "injectates"):
            ahead = {token.norm for token in sentence.tokens[max(0, mention.first - _VERB) : mention.first]}
            site = next((m for m in base.mentions(sentence, "sites") if 0 < m.first - mention.last <= _INTO), None)
            if mention.id not in _INJECTED or site is None or "injected" not in ahead or sentence.section in _NOT_NOW:
                continue
            between = {token.norm for token in sentence.tokens[mention.last + 1 : site.first]}
            done = base.scope_at(sentence, "status", mention.first, "performed") == "performed"
            if done and between & {"into", "in", "to"} and (
                base.scope_at(sentence, "certainty", mention.first, "affirmed") == "affirmed"
            ):
                whole = [m for m in base.mentions(sentence, "sites") if site.first <= m.first <= site.last + _TO_SITE]
                side, doubt = laterality.side_for(sentence, site.first, whole[-1].last, grammar)
                return [base.make("procedure", reading, sentence, mention.first, whole[-1].last, laterality=side,
                                  name=_INJECTED[mention.id], body_site=site.id,
                                  doubts=(doubt,) if doubt else ())]  # fmt: skip
    return []


_VERB, _INTO = 6, 6  # tokens
_NOT_NOW = frozenset({"history", "indication", "imaging", "consent", "aftercare", "follow-up"})
