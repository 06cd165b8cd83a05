"""What became of an amount of a harvest, by the words of its own part, then by what was told before it.

One answer for each amount: "draw", "count" (so many draws), "total", "lost", "made", "given", "given in all", "kept"
(sent, saved, left over: not given), "another" (of a drug, a vessel, a fluid), or "" where nothing tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.extractors import _account_headed, _beside_amount, _direction, _draws, base
from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount, plain, through_needle

_PRODUCTS = words.ALL_PRODUCTS
_SOURCES = words.SOURCES
_POURED, _AWAY = frozenset("away poured binned".split()), frozenset("bin bucket waste sharps sink".split())
_STAYS = frozenset("stays stayed remains remained left stuck over unused".split())
_TAKEN = frozenset("harvest harvested drawn aspirated aspirate crest crests marrow blood".split())
_OUT_OF_IT = frozenset("drawn aspirated collected harvested taken pulled".split())
_VEINS = frozenset("vein arm forearm antecubital acf cubital".split())
_CREST = frozenset("crest crests psis asis iliac side bone humerus tibia calcaneus femur".split())
_WAYS = words.ROUTES | frozenset("medial lateral anterior posterior superficial deep medially laterally anteriorly "
                                 "posteriorly superiorly inferiorly superficially deeply centrally proximally distally "
                                 "superolaterally".split())  # fmt: skip
_PLACES = frozenset("medial lateral anterior posterior anterolateral anteromedial posterolateral posteromedial "
                    "proximal distal superior inferior superficial deep".split())  # fmt: skip
_INTO = frozenset("into to in under beneath around along over inside onto through beside within".split())
_ORDINALS = frozenset("first second third fourth fifth sixth seventh eighth".split())
_HELD = words.VESSELS | words.SIZED | _ORDINALS | set("centrifuge cup kit filter it which them there each".split())
_ON_BENCH = words.BENCH - {"tube", "centrifuge", "filter", "count"} | {"cell", "cells"}  # while it is drawn
_GAINED = frozenset("left leaves leaving yield yielded yielding got gave obtained came ended end gives back makes made "
                    "product volume yields get have had keep".split())  # fmt: skip
_WHERE_FROM = _CREST | _VEINS | {"left", "right"}
_FAT_FROM = frozenset("abd abdomen abdominal flank flanks thigh thighs".split())
_OF_BLOOD = frozenset("the bone venous whole peripheral autologous his her".split())
_TURN = words.COUNTED | words.TURNED | _ORDINALS | {"another", "again", "last", "next", "syringe"}


def role(amount: Amount, state: str) -> tuple[str, bool]:
    """(what became of it, whether its own words tell). `state`: "named", "drawn", "made", "given", "drug" or ""."""
    before, after = plain(amount.before), amount.after
    own = _fate(amount, state, before, after)
    if own and (own != "kept" or not _account_headed.is_sum(amount)):
        return own, True
    if _account_headed.is_sum(amount):
        taken = bool(_TAKEN & {*before[-3:], *after[:5]})
        given = state == "given" and not taken or bool({"injected", "given"} & {*before[-3:], *after[:3]})
        return ("given in all" if given else "total" if state != "drug" else "another"), True
    fat = "from" in after[:6] and bool(_FAT_FROM & set(after))
    headed = state == "named" and after[:1] in (("harvested",), ("aspirated",))  # "BMAC: 60 mL harvested"
    if fat or headed or any(one in _OUT_OF_IT and two == "from" for one, two in pairwise(after[:6])):
        return "draw", True  # "forty five mils of fat drawn from the abdomen"
    if _is_of_source(after):
        return "draw", True
    if state != "drawn" and _is_for_each(amount):
        return "given", True
    if made := _is_made(amount, state, before, after):
        return made, True
    if _is_headed_blood(before, after):
        return "draw", True
    if _is_given(amount, state, before, after):
        return ("given" if state != "drug" or set(after[:4]) & _PRODUCTS else "another"), True
    if state == "drug" and not set(after[:3]) & (_SOURCES | _PRODUCTS):
        return "another", False
    if _is_drawn(amount, state, before, after):
        return "draw", True
    if state == "drawn":
        return ("draw", False)
    return ("given" if state == "given" else "", False)


def _is_of_source(after: Sequence[str]) -> bool:
    """ "60 mL of venous blood from the arm", "30 mL blood drawn": by its own words, under whatever heading."""
    head = [word for word in after if word not in _OF_BLOOD and word != "of"]
    return bool(head) and head[0] in _SOURCES and bool({"from", *_OUT_OF_IT, "withdrawn", "obtained"} & set(head[1:3]))


def is_lost(amount: Amount) -> bool:
    """Whether an amount was thrown away, of whatever it is."""
    return _fate(amount, "", plain(amount.before), amount.after) == "lost"


def _fate(amount: Amount, state: str, before: tuple[str, ...], after: tuple[str, ...]) -> str:
    """ "lost" or "kept" where the words say that it went neither in nor on."""
    tail = set(after[:5])
    for at in range(len(before) - 1, -1, -1):
        if before[at] in ("then", "and", "now", "next", ",") or before[at] in _ORDINALS:
            before = before[at + 1 :]
            break
    lead = after[1:] if after[:1] and after[0] in words.IS else after
    lost = tail & words.LOST and not tail & words.PUT and not tail & {"no", "nothing", "none"}
    if lost or (lead[:1] and lead[0] in words.LOST):
        return "lost"
    binned = tail & _AWAY and tail & {"in", "into", "to"} or tail & _POURED
    if binned or _beside_amount.is_decanted(amount.sentence, amount.index, after):
        return "lost"
    ending = set(before[-3:])
    if ending & (words.LOST | {"threw", "throw", "discard", "discarding", "binned"}) and not ending & words.PUT:
        whole = any(word in _IT and before[at - 1 : at] != ("of",) for at, word in enumerate(before))
        return "" if whole else "lost"  # "discarded it, ten", but "a fifth of it discarded, ten"
    if _thrown_behind(amount) or _threw(before):
        return "lost"
    if ("put" in lead[:2] and "back" in lead[:3] and not _placed(lead[2:])) or state == "given" and (
            after[:2] == ("came", "back")):  # fmt: skip
        return "kept"
    if state != "drawn" and _direction.to_bench(amount.sentence, amount.index):
        return "kept"
    if state == "drawn" and (lead[:1] == ("used",) or before[-1:] == ("which",)):
        return "kept"  # "fifty drawn, thirty used"
    if after[:2] in (("given", "back"), ("returned",)) or after[:1] == ("retransfused",):
        return "kept"  # "450 mL given back": into a vein
    if "not" in lead[:2] and {"used", "needed", "given", "injected"} & set(lead[:3]):
        return "kept"
    stays = lead[:1] and lead[0] in _STAYS and (lead[0] != "over" or len(lead) == 1 or not lead[1].isalpha())
    stays = stays and not (lead == ("over",) and words.is_counted_behind(amount.sentence, amount.index + 2))
    if lead[:1] and (lead[0] in words.KEPT or stays) and not _is_side(amount, lead):
        if state == "made" and lead[0] == "left" and {"syringes", "#number"} & set(lead[2:4]):
            return "made"
        if set(lead) & _PRODUCTS:
            return "made"  # "four millilitres left over as product"
        return "kept" if lead[0] != "left" or set(lead[1:]) & {"in", "over", "behind"} else ""
    bench = _ON_BENCH if state == "drawn" else words.BENCH
    if bench & set(after[1:6]) and {"to", "for", "in"} & set(after[:3]):
        return "kept"
    return ""


_IT, _THEN = frozenset("it them those these".split()), frozenset("and so we i which that was were ,".split())


def _thrown_behind(amount: Amount) -> bool:
    """ "The five were bloody and we threw them away": what follows tells of it by a pronoun."""
    said = [token.norm for token in amount.sentence.tokens[amount.last + 1 : amount.last + 7]]
    joined = said[:1] == ["and"]
    while said and said[0] in _THEN:
        said.pop(0)
    if joined and said[:1] and (said[0] in ("discarded", "wasted", "binned") or said[:2] == ["thrown", "away"]):
        return not any(norm in ("#volume", "#number", "the") for norm in said[1:3])
    return said[:1] in (["threw"], ["discarded"], ["binned"]) and bool(_IT & set(said[1:2]))


def _threw(before: tuple[str, ...]) -> bool:
    return bool({"away", "out"} & set(before[-2:]) and {"threw", "throw", "throwing", "poured"} & set(before))


def _is_side(amount: Amount, lead: Sequence[str]) -> bool:
    return lead[0] == "left" and (len(lead) == 1 or lead[1] in ("knee", "hip", "side", "and"))


def _placed(after: Sequence[str]) -> bool:
    """Whether a preposition leads to a place, to nothing that holds it and to no bench."""
    into = next((at for at, norm in enumerate(after[:8]) if norm in _INTO), None)
    behind = set(after[into + 1 : into + 5]) if into is not None else set[str]()
    if behind & _JOINTS:
        behind -= {"each"}  # "into each knee"
    return bool(behind) and not behind & (_HELD | words.BENCH | {"all", "total"})


_JOINTS = frozenset("knee hip shoulder ankle elbow wrist thumb joint side heel".split())
_KINDS = frozenset("lr lp leukocyte leucocyte pure purified processed clean washed the".split())


def _is_made(amount: Amount, state: str, before: tuple[str, ...], after: tuple[str, ...]) -> str:
    """ "made" for what the product came to, "spun" for what went into the centrifuge, else ""."""
    head = tuple([word for word in after if word not in _KINDS])
    head = head[1:] if head[:1] == ("of",) else head
    lead = head[1:] if head[:1] and head[0] in words.IS else head
    if lead[:1] and lead[0] in words.SPUN and amount.sentence.tokens[amount.index - 1].norm not in ("each", "every"):
        return "spun"
    if before[-1:] and before[-1] in ("held", "holds") and "syringe" in before[-3:] and state in ("named", "made"):
        return "made"
    if before[-1:] in (("->",), ("=>",), ("\u2192",)):
        return "made" if state in ("made", "drawn", "named") else ""
    if after[:1] == ("made",) or _is_at_hand(amount, state, before, lead):
        return "made"
    if state in ("drawn", "named") and word_behind(amount) == "->":
        return "spun"
    if _draws.got_back(amount.sentence, amount.index) or after[:1] == ("back",) and set(before[-3:]) & words.HAVE:
        return "made"
    if set(after[:5]) & {"obtained", "yielded", "recovered"} and head[:1] and head[0] in _PRODUCTS:
        return "made"
    if after[:1] == ("purified",) or (after[:1] == ("left",) and state == "made" and not _is_side(amount, after)):
        return "made"
    gives = set(before[-6:])
    put = bool(gives & words.PUT or set(after) & (words.PUT | words.GIVEN) or after[:1] == ("injection",))
    put = put or ("gave" in before[-3:] and bool(_INTO & set(after)))
    to_part = bool(set(after) & ({"into"} | _WAYS)) and not set(after) & _HELD
    said = {token.norm for token in amount.sentence.tokens[max(0, amount.index - 9) : amount.index]}
    if before[-1:] == ("to",) and said & (words.MADE | _REDUCED):
        return "made"
    if _goes_in(amount):
        return ""
    named = head[:1] and (head[0] in _PRODUCTS or "concentrate" in head[:4] or "rich" in head[:3])
    if named and not put and not to_part:
        some = state == "made" and after[:2] == ("of", "the") and _placed(after)  # "of the concentrate onto the defect"
        given = (state == "named" and _placed(after)) or some or "from" in head[:3]
        return "made" if not given and state != "given" else ""
    noun = before[:-1] if before[-1:] and before[-1] in words.IS else before
    told = noun[-1:] and noun[-1] in _PRODUCTS | {"concentrate", "coat"} and not to_part and not set(after) & _INTO
    told = told and (after[:1] != ("from",) or len(after) == 1) and not _sited(amount)
    if state in ("named", "drawn") and (told or after[:1] == ("yield",) or gives & {"yield", "yielded", "yields"}):
        return "made"
    if state != "made":
        return ""
    held = after[:1] in (("in",), ("into",)) and bool(set(after[1:4]) & words.VESSELS)
    back = set(after[:1]) & words.HAD or after[:1] == ("came",) and set(after[1:2]) & words.OFF or after == ("left",)
    put = put or after[:1] == ("in",) and not held
    return "made" if told or held or back or (gives & _GAINED and not put and not to_part) else ""


def _is_for_each(amount: Amount) -> bool:
    """ "PRP both knees, 6 mL each": so much into each of the parts that the sentence names; "0.5 mL PRP each"."""
    after = amount.after[1:] if amount.after[:1] and amount.after[0] in _PRODUCTS else amount.after
    own = len(after) < len(amount.after)
    after = after[1:] if after[:2] == ("in", "each") and own else after
    if after[:1] != ("each",) or set(after[1:4]) & (words.VESSELS | {"of"}):
        return False
    if own and not amount.sentence.says(words.VESSELS | words.CRESTS):
        return True
    return amount.sentence.says(_BOTH) and not amount.sentence.says(words.CRESTS)


def _is_headed_blood(before: tuple[str, ...], after: Sequence[str]) -> bool:
    """ "Blood 60 mL", told behind what was made of it or given."""
    headed = before[-1:] in (("blood",), ("bma",)) and set(before) <= _OF_BLOOD | _SOURCES
    return headed and not _placed(after) and not set(after[:3]) & (words.LOST | words.GIVEN)


_BOTH = frozenset("both bilateral bilaterally bilat knees hips shoulders elbows ankles wrists thumbs heels".split())
_REDUCED = frozenset({"down", "reduced", "processed", "came", "decanted", "washed", "strained", "purified"})
_READY = frozenset("prepared ready available usable supplied provided thawed".split())
_VOLUMES = frozenset("volume product yield".split())
_IN_HAND = (("drawn", "up"), ("handed", "to"), ("handed", "over"), ("in", "the", "syringe"), ("in", "syringe"))
_OFF_TOP = (("drawn", "off"), ("off", "the"), ("out",), ("skimmed",), ("skimmed", "off"), ("from", "the", "spin"))


def _is_at_hand(amount: Amount, state: str, before: tuple[str, ...], lead: tuple[str, ...]) -> bool:
    """ "Six mils ready for injection", "final volume six", "spun, six drawn off the top": what there was to give."""
    if lead[:1] in (("not",), ("no",)):
        return False
    if lead[:1] and lead[0] in _READY or lead[:2] == ("left", "usable"):
        return True
    hand = state in ("made", "given") or lead[:1] != ("in",) and state == "named"
    if hand and any(lead[: len(said)] == said for said in _IN_HAND) and not words.GIVEN & set(lead):
        return True
    if state == "made" and (any(lead[: len(said)] == said for said in _OFF_TOP) or (
        lead[:1] in (("after",), ("following",)) and bool({"spin", "first", "second", "spinning"} & set(lead[1:4]))
    )):  # fmt: skip
        return True
    named = before[:-1] if before[-1:] and before[-1] in words.IS else before
    if named[-1:] and named[-1] in _VOLUMES and {"final", "end", "resulting", "product"} & set(named[-3:]):
        return True
    return (
        bool(before[-3:])
        and before[-1] in words.MADE
        and "after" in before[-3:-1]
        or (state == "made" and bool({"kept", "retained"} & set(before[-3:])) and not set(lead[:2]) & words.BENCH)
    )


def _is_given(amount: Amount, state: str, before: tuple[str, ...], after: tuple[str, ...]) -> bool:
    """Whether it went into the patient."""
    sentence, index = amount.sentence, amount.index
    if _direction.led_in(sentence, index) or _goes_in(amount):
        return True
    inside = after[:1] == ("in",) and _beside_amount.stops(sentence, index + 2)
    if state in ("made", "given") and (inside or _beside_amount.went(sentence, index)):
        return True
    if state == "named" and (set(after[:4]) & _PRODUCTS and _placed(after) or (
        before[-1:] and before[-1] in _PRODUCTS and _sited(amount))):  # fmt: skip
        return True  # "PRP four mils left knee"
    if before[-1:] and before[-1] in _PRODUCTS | {"concentrate"} and after[:1] == ("in",) and (
        set(after[1:2]) <= {",", "and", "then", "now"}
    ):
        return True  # "marrow concentrate six mils in"
    on = state in ("made", "given")
    if on and _direction.all_in(sentence, index):
        return True
    sited = any(index < m.first <= amount.last and "crest" not in m.id for m in base.mentions(sentence, "sites"))
    if state == "named" and sited and "from" not in after and _placed(after):
        return True  # "fat graft three millilitres under each cheek"
    if on and sited and set(after[:4]) & _INTO and not _direction.held_in(sentence, index):
        return True
    if on and before[-1:] and before[-1] in _PLACES:
        return True  # "anterior four, medial three"
    if set(before[-5:]) & {"from", "aspirated", "drawn"} and "into" not in after:
        return False
    if through_needle(amount) and not words.DREW & set(before):
        return True
    way = after[1:] if after[:1] and after[0] in words.WENT | words.IS else after
    if state in ("named", "drug") and way[:1] and way[0] in words.ROUTES or on and before[-1:] == ("+",):
        return True  # "PRP four mils intra-articular", "two mils went subchondrally"
    if words.GAVE & set(before[-2:]) and _placed(after):
        return True  # "gave thirty mils to the hip"
    lead = after[1:] if after[:1] and after[0] in words.IS else after
    held = {norm for at, norm in enumerate(lead) if norm in ("put", "placed") and _HELD & set(lead[at + 2 : at + 5])}
    if words.GIVEN & set(lead[:10]) - held or lead[:1] == ("injection",):  # "75 mL inj via 11G"
        return True
    if on and after[:1] == ("each",) and set(after[1:2]) & {"at", "in", "into", "to", "side", "knee", "hip"}:
        return True  # "2.5 mL each at 3 sites"
    if "from" in after[:2]:
        return False
    into = next((norm for norm in after[:8] if norm in _INTO), None)
    behind = set(after[after.index(into) + 1 :][:4]) if into is not None else set[str]()
    if into in ("around", "beside", "along") and behind & {"it", "them"}:
        return on
    if _placed(after) and (on or state == "drug" or (into == "into" and state in ("named", "drawn"))):
        return True
    if on and (_beside_amount.at_level(sentence, index) or before[-2:] == ("same", "needle")):
        return True
    if into == "over" and behind & {"repair", "graft", "footprint", "defect"}:
        return True  # "seven mils over the repair"
    if on and after[-1:] == ("in",) and "from" not in before[-2:]:
        return True  # "five and a half mils in"
    if lead[:1] and lead[0] in words.WENT and {"in", "into", "through", "down"} & set(lead[:4]):
        return True
    if {"drained", "removed"} & set(before[-2:]):
        return False
    received = bool(set(before[-4:]) & words.RECEIVED) and (bool({"left", "right"} & set(before)) or any(
        amount.first <= m.last < index for m in base.mentions(sentence, "sites")
    ))  # fmt: skip
    put = received or bool(set(before[-4:]) & (words.PUT | {"inj", "injection"})) or "into" in before
    if put and (on or state == "named"):
        return True
    return on and (bool(set(after[:2]) & (_WAYS | _PLACES | {"down"})) or _at_site(amount))


def _sited(amount: Amount) -> bool:
    """Whether a part of the body stands right behind an amount, its side between: no crest, no "from"."""
    behind = range(amount.index + 1, amount.index + 3)
    return not {"from", "of"} & set(amount.after[:1]) and any(
        m.first in behind and "crest" not in m.id for m in base.mentions(amount.sentence, "sites")
    )


def _goes_in(amount: Amount) -> bool:
    """ "Four mils of concentrate in", unless the place leads to another amount: "into the left knee five"."""
    ways = {"in", "into", "via", "through"} & set(amount.after)
    return bool(ways) and _beside_amount.product_in(amount.sentence, amount.index)


def _at_site(amount: Amount) -> bool:
    """ "Left knee first four mils", "R knee 9 mL": a part of the body leads to it, no crest."""
    for site in base.mentions(amount.sentence, "sites"):
        if site.id == "hand" and "me" in amount.before:
            continue  # "they hand me back six"
        if amount.first <= site.first <= site.last < amount.index and "crest" not in site.id and (
            amount.index - site.last <= 3
        ):
            return True
        if site.first == amount.index + 1 and "crest" not in site.id:
            return True
    return False


def _is_drawn(amount: Amount, state: str, before: tuple[str, ...], after: tuple[str, ...]) -> bool:
    """Whether it came out of the bone or the vein."""
    if "from" in after[:3] and set(after) & _WHERE_FROM:
        return True
    head = after[1:] if after[:1] == ("of",) else after
    while head[:1] and head[0] in _OF_BLOOD:
        head = head[1:]
    if head[:1] and head[0] in _SOURCES:
        return True
    drawing = state in ("drawn", "named")
    if drawing and _beside_amount.lettered(amount.sentence, amount.index):
        return True
    lead = after[1:] if after[:1] and after[0] in words.IS else after
    if drawing and lead[:1] in (("net",), ("without",), ("excluding",), ("before",)) and lead[1:2] != ("that",):
        return True  # "sixty net of citrate"
    if drawing and lead[:1] and lead[0] in _OUT_OF_IT and lead[1:2] != ("up",):
        return True  # "sixty mils drawn with eight of citrate"
    if drawing and set(before[-3:]) & (words.DREW | words.STARTS - {"got", "harvest"}):
        return True
    if drawing and before[-1:] and before[-1] in _SOURCES | {"crest", "psis", "asis", "crests"}:
        return True
    if state == "named" and set(before[-4:]) & _SOURCES:
        return True
    return state == "drawn" and bool(set(before[-4:]) & _TURN)


def word_behind(amount: Amount) -> str:
    """The word right behind an amount."""
    return next((token.norm for token in amount.sentence.tokens[amount.index + 1 : amount.index + 2]), "")
