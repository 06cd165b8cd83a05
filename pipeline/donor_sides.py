"""Sides that tell where something was taken and not what was operated on: the crest that marrow came from, the groin
that gave a graft, the arm that blood was drawn from or that the drip is in.

A leaf, so that every module of sides can ask it.
"""

from __future__ import annotations

from collections.abc import Set

from pipeline.clauses import word_set as _words
from pipeline.records import Mention, Sentence
from pipeline.sidewords import Side

_HARVEST = _words("harvest harvested harvesting donor aspirated aspirate autograft marrow")
_CRESTS = frozenset({"crest", "crests"})
_CREST = _CRESTS | {"psis", "asis", "iliac"}
_GRAFTS = frozenset({"graft", "grafts", "flap", "autograft", "skin"})
_FROM = 7  # tokens from a graft to where it was taken
_BLOOD = _words("blood venous venepuncture venipuncture phlebotomy citrated drip cannula line iv cuff")
_VEINS = _words("arm antecubital cubital forearm hand elbow vein acf fossa wrist median")
_DRAWN = 8  # tokens from blood to the vein that it came out of


def is_harvest(sentence: Sentence, site: Mention) -> bool:
    """Whether a site is where marrow or graft was taken, not where the operation was done."""
    if "iliac-crest" in site.id:
        return True
    near = {token.norm for token in sentence.tokens[max(0, site.first - 8) : site.first]}
    wide = {token.norm for token in sentence.tokens[max(0, site.first - 14) : site.first]}
    return "from" in near and bool(wide & _HARVEST)


def of_crest(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    """ "Marrow out of the left crest": where it was taken, by a word that is no name of a site; not where the phrase at
    first..last is the crest itself."""
    at = side.last + 1
    crest = at < len(sentence.tokens) and sentence.tokens[at].norm in _CRESTS
    return crest and not first <= at <= last


def of_bone(sentence: Sentence, side: Side, site: Mention | None) -> bool:
    """Whether a side, with the part that it belongs to, tells where marrow or bone was taken."""
    return of_crest(sentence, side, 0, -1) or (site is not None and is_harvest(sentence, site))


def leads_crest(sentence: Sentence, side: Side) -> bool:
    """ "Prone first, left posterior crest": where marrow or bone is taken from, and not what is operated on."""
    return not _CREST.isdisjoint(token.norm for token in sentence.tokens[side.last + 1 : side.last + 5])


def leaves_crest(sentence: Sentence, operated: Set[str]) -> bool:
    """Whether a sentence tells of what comes after a harvest: how the marrow was processed, a fluid of the joint, the
    part that is operated on."""
    if sentence.says(_AFTER_HARVEST):
        return True
    return any(m.table == "processing" or (m.table == "sites" and m.id in operated and "iliac" not in m.id)
               for m in sentence.mentions)  # fmt: skip


_AFTER_HARVEST = _words("effusion synovial joint synovitis supine portal portals arthroscope arthroscopy scope")


def of_graft(sentence: Sentence, at: int) -> bool:
    """ "Margin 6 mm, full thickness graft from the left groin": the side at a token tells where it was taken."""
    before = [token.norm for token in sentence.tokens[max(0, at - _FROM) : at]]
    return "from" in before[-2:] and not _GRAFTS.isdisjoint(before)


def of_other_tissue(sentence: Sentence, at: int) -> bool:
    """Whether the side at a token tells where a graft or blood was taken."""
    return of_graft(sentence, at) or of_vein(sentence, at) or of_donor(sentence, at)


def of_donor(sentence: Sentence, at: int) -> bool:
    """ "It is a left kidney", "the kidney was a right one": which one the donor gave; it lies where it was put."""
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, at - 3) : at]]
    after = [token.norm for token in tokens[at + 1 : at + 3]]
    if "donor" in before[-2:] or after[:1] == ["donor"]:
        return bool(_GIVEN & set(after + before))
    if before[-1:] == ["a"] and after[:1] == ["one"]:
        return any(token.norm in _GIVEN for token in tokens[: at - 1])
    return before[-1:] == ["a"] and bool(after) and after[0] in _GIVEN


_GIVEN = frozenset({"kidney", "lung", "graft", "allograft"})


def of_vein(sentence: Sentence, at: int, first: int = 0, last: int = -1) -> bool:
    """ "Fifteen mils of blood from the left arm", "drip in the right hand": the side at a token tells where blood was
    drawn or a drip went; not where the phrase at first..last is of that blood."""
    tokens = sentence.tokens
    if not sentence.says(_BLOOD):
        return False
    led = False
    for index in range(at - 1, max(-1, at - _DRAWN), -1):
        token = tokens[index]
        if token.norm in (".", ";") or token.norm in ("left", "right"):
            return False
        led = led or token.norm in ("from", "of")
        if token.norm not in _BLOOD or (token.norm == "blood" and tokens[index + 1].norm in _LOST):
            continue
        led = led and any(one.norm == "from" for one in tokens[index + 1 : at])
        if not led and _VEINS.isdisjoint(one.norm for one in tokens[at + 1 : at + 4]):
            return False
        return last < 0 or not (index - _PHRASE <= last and first <= at)
    return False


_LOST = frozenset({"loss", "lost", "pressure", "less", "patch", "supply", "flow", "in", "was"})
_PHRASE = 2  # tokens of "fifteen mils of" before the blood


def taken_from(sentence: Sentence, sides: list[Side], last: int) -> Side | None:
    """The side that an amount ending at a token was taken from: "20 mL of effusion drained from the right", "40 mL of
    fat from both thighs"."""
    tokens = sentence.tokens
    for at in range(last + 1, min(last + 1 + _TAKEN_NEAR, len(tokens))):
        if tokens[at].punctuation or tokens[at].quantity is not None or tokens[at].norm in _ANOTHER:
            return None
        if tokens[at].norm == "from" or (tokens[at].norm == "of" and tokens[at - 1].norm in ("out", "off")):
            behind = at + 1
            while behind < len(tokens) and tokens[behind].norm in ("the", "his", "her"):
                behind += 1
            return next((one for one in sides if one.first == behind), None)
    return None


_TAKEN_NEAR = 7  # tokens
_ANOTHER = _words("and but then while with no not into in")
