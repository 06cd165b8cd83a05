"""Sutures (material, USP size, layer), other closures, dressings."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import clauses, cues, laterality, people
from pipeline.extractors import _skin_clips, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence, replace
from pipeline.rows import Concept

KINDS = ("suture", "closure", "dressing")

_UNNAMED = 60
_SIZE_REACH, _LAYER_REACH = 16, 40


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    sites = grammar.table("sites", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        sutures = [one for one in base.mentions(sentence, "sutures") if not people.is_name(sentence, one)]
        taken: set[int] = set()
        for mention in sutures:
            suture = _suture(reading, sentence, sites, mention, sutures, taken)
            if suture is not None:
                tagged = suture.status == "planned" and sentence.says(_TAGGED)  # "tagged with Ethibond for later"
                facts.append(replace(suture, status="performed") if tagged else suture)
        facts += _unnamed(reading, sentence, sutures, taken)
        facts += _skin_clips.behind_sutures(reading, sentence)
        for mention in base.mentions(sentence, "closures"):
            if mention.id == "closure" or _runs(sentence, mention) or _holds_a_graft(sentence, mention) or any(
                mention.first <= side.first <= mention.last for side in laterality.sides(sentence, grammar)
            ):
                continue
            facts.append(
                base.make("closure", reading, sentence, mention.first, mention.last, name=mention.id,
                          body_site=_layer(sentence, sites, mention))
            )  # fmt: skip
        for mention in base.mentions(sentence, "dressings"):
            if sentence.section in ("indication", "history", "imaging"):
                break  # what was worn before the operation
            if base.scope_at(sentence, "status", mention.first, "performed") == "historical":
                continue
            if _is_for_use(sentence, mention):
                continue
            side, _ = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=True)
            facts.append(
                base.make("dressing", reading, sentence, mention.first, mention.last, name=mention.id, laterality=side)
            )
    return facts


def _holds_a_graft(sentence: Sentence, mention: Mention) -> bool:
    """ "LET done, one staple", "gracilis allograft four millimetres figure of eight": no closure of a wound."""
    if sentence.tokens[mention.last].norm == "staple":
        return True
    near = (token.norm for token in sentence.tokens[max(0, mention.first - _TO_TOOL) : mention.first])
    return mention.id == "figure-of-eight" and any(norm.endswith(("graft", "grafts")) for norm in near)


_CLEANED = frozenset("cleansed cleaned wiped swabbed blotted dabbed dried scrubbed painted washed held grasped".split())
_PROPS = frozenset({"bolster", "bolsters", "roll", "wedge", "pad", "pillow", "sandbag"})
_ON = frozenset({"over", "on", "under", "beneath", "behind", "across", "against"})
_TO_TOOL = 6  # tokens


_PASSIVE = frozenset("was were then is first carefully gently all".split())


def _is_for_use(sentence: Sentence, mention: Mention) -> bool:
    """ "A tourniquet over cast padding", "cleaned with moist gauze": what was used on the way, no dressing."""
    low, high = clauses.bounds(sentence, mention.first)
    tokens = sentence.tokens
    behind = [token.norm for token in tokens[mention.last + 1 : mention.last + 6] if token.norm not in _PASSIVE]
    if behind[:1] in (["removed"], ["change"], ["changes"]) or behind[:2] in (["taken", "down"], ["taken", "off"]):
        return True  # "the dressing was removed, showing a wound of 3 cm"
    ahead = {token.norm for token in tokens[max(0, mention.first - 3) : mention.first]}
    if tokens[mention.last].norm in _PROPS and ahead & _ON:
        return True  # "the right arm over the bolster": how the patient lies
    norms = [token.norm for token in tokens]
    later = "tourniquet" in norms[high:] and "over" in norms[high:]  # "padding was applied and a tourniquet over it"
    if mention.id == "cast-padding" and (later or {"tourniquet", "cuff"} & set(norms[low:high])):
        return not {"cast", "splint", "dressing", "slab"} & {token.norm for token in tokens[mention.last + 1 : high]}
    lead = [token.norm for token in tokens[max(low, mention.first - _TO_TOOL) : mention.first]]
    return any(
        norm in ("with", "using", "by") and bool(_CLEANED & set(lead[:at])) for at, norm in enumerate(lead)
    )


def _runs(sentence: Sentence, mention: Mention) -> bool:
    """ "Remifentanil running at ...", "saline is running": an infusion, where no suture is near."""
    tokens = sentence.tokens
    if tokens[mention.first].norm != "running" or mention.first != mention.last:
        return False
    after = tokens[mention.last + 1] if mention.last + 1 < len(tokens) else None
    if after is not None and after.norm in _SPORT:
        return True
    flows = after is not None and (after.norm in _FLOWS or after.quantity is not None)
    before = tokens[mention.first - 1].norm if mention.first else ""
    flows = flows or before in ("is", "was", "are", "were", "already", "still") or before in _STREAMS or any(
        m.last == mention.first - 1 and m.table in _INFUSED for m in sentence.mentions
    )  # "neuromonitoring running"
    flows = flows or mention.first > 0 and tokens[mention.first - 1].quantity is not None  # "another gram running"
    return flows and not any(abs(one.first - mention.first) <= _NEAR for one in base.mentions(sentence, "sutures"))


_INFUSED = frozenset({"guidance", "drugs", "fluids", "irrigation"})
_STREAMS = frozenset({"wash", "irrigation", "water", "urine", "drip", "infusion", "pump", "saline", "bypass", "tap"})
_SPORT = frozenset("after again from allowed sports and or cycling jumping permitted".split())
_FLOWS = frozenset("at in fine freely well through into slowly on".split())
_NEAR = 6  # tokens


def _unnamed(reading: Reading, sentence: Sentence, sutures: list[Mention], taken: set[int]) -> list[Fact]:
    """A USP size with a material that no table names ("4-0 Lactomer"): the size, its words as the evidence."""
    return [
        base.claim("suture", reading, sentence, index, index, min(index + 1, len(sentence.tokens) - 1), _UNNAMED,
                   text=quantity.text, value=None, low=None, high=None, unit=None,
                   name=_shared_material(sentence, index, sutures))
        for index, quantity in base.quantities(sentence)
        if quantity.form == "suture" and index not in taken and not _of_a_screw(sentence, index)
    ]  # fmt: skip


def _shared_material(sentence: Sentence, index: int, sutures: list[Mention]) -> str | None:
    """The material of "8-0 and 7-0 Prolene" and "Vicryl two oh and three oh" for the size that has none beside it."""

    def is_size(at: int) -> bool:
        quantity = sentence.tokens[at].quantity if 0 <= at < len(sentence.tokens) else None
        return quantity is not None and quantity.form == "suture"

    tokens = sentence.tokens
    if is_size(index + 2) and tokens[index + 1].norm in ("and", "&", "/", "or", "+"):
        return next((one.id for one in sutures if one.first == index + 3), None)
    if is_size(index - 2) and tokens[index - 1].norm in ("and", "&", "/", "+"):
        return next((one.id for one in sutures if one.last == index - 3), None)
    return None


def _of_a_screw(sentence: Sentence, index: int) -> bool:
    """ "A #4-0 mm cannulated screw": no thread is so measured; the number is left over and shown."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 6]]
    named = {"screw", "screws", "pin", "pins"} & set(after) and not {"and", ","} & set(after)
    return after[:1] in (["mm"], ["by"], ["x"]) or bool(named)


def _suture(
    reading: Reading, sentence: Sentence, sites: Mapping[str, Concept], mention: Mention, sutures: list[Mention],
    taken: set[int],
) -> Fact | None:  # fmt: skip
    best: tuple[int, int, str] | None = None
    doubts: tuple[str, ...] = ()
    for index, quantity in base.quantities(sentence):
        if index in taken:
            continue
        labelled = quantity.form == "label" and index in (mention.last + 1, mention.first - 1)  # "PDS number one"
        if quantity.form != "suture" and not labelled and not (quantity.form == "number" and quantity.dimension == ""):
            continue
        if quantity.form == "number" and mention.id == "suture" and quantity.value != 0 and (
            _is_plural(sentence, mention.last) or index < mention.first
        ):
            continue  # "four sutures", "one stitch": how many
        named = sentence.tokens[index].text.lower().startswith(("number", "#", "no"))  # "number one Vicryl two oh"
        bare = quantity.form == "number" or quantity.text.isdigit() and not named
        if bare and index < mention.first and _has_size_behind(sentence, mention):
            taken.update({index} if index == mention.first - 1 else ())
            continue  # "three Vicryl 1", "2 nylon 4-0": how many
        if quantity.form == "number" and index < mention.first and sentence.tokens[mention.last].norm == "wires":
            continue  # "seven steel wires": how many
        if any(other is not mention and other.first == index + 1 for other in sutures):
            continue  # "sutures of 2-0 Vicryl"
        price = cues.cost(sentence, index, mention.first, mention.last, postfix=1)
        reach = _SIZE_REACH if quantity.form == "suture" else 1
        if any(
            cues.cost(sentence, index, other.first, other.last, postfix=1) < price
            for other in sutures if other is not mention
        ):  # fmt: skip
            continue
        text = quantity.text if quantity.form == "suture" else _thick(quantity)
        if text and price <= reach and (best is None or price < best[0]):
            best = (price, index, text)
            doubts = _unsure_size(sentence, mention, quantity, text)
    layer = _layer(sentence, sites, mention)
    if best is None and mention.id == "suture":
        return None  # "a stitch": neither material nor size
    if best is None:
        return base.make("suture", reading, sentence, mention.first, mention.last, name=mention.id, body_site=layer)
    price, index, text = best
    taken.add(index)
    return base.claim("suture", reading, sentence, index, mention.first, mention.last, price, name=mention.id,
                      text=text, value=None, low=None, high=None, unit=None, body_site=layer,
                      doubts=doubts)  # fmt: skip


def _has_size_behind(sentence: Sentence, mention: Mention) -> bool:
    tokens = sentence.tokens
    if mention.last + 1 < len(tokens) and tokens[mention.last + 1].norm in ("each", "apiece", "per"):
        return tokens[mention.first - 1].text.isalpha()  # "four portals two nylon each": how many
    if tokens[mention.last].norm in ("nylons", "vicryls", "prolenes", "monocryls"):
        return True  # "three portals, three nylons"
    behind = tokens[mention.last + 1].quantity if mention.last + 1 < len(tokens) else None
    if behind is None or (behind.form == "number" and (behind.dimension or not _thick(behind))):
        return False
    ends = mention.last + 2 == len(tokens) or tokens[mention.last + 2].punctuation
    return behind.form == "suture" or (behind.form == "number" and ends)


def _is_plural(sentence: Sentence, index: int) -> bool:
    return index < len(sentence.tokens) and sentence.tokens[index].norm in ("sutures", "stitches", "ties", "ligatures")


def _unsure_size(sentence: Sentence, mention: Mention, quantity: Quantity, text: str) -> tuple[str, ...]:
    """A bare number before a material: written otherwise than a size, or as likely how many of them."""
    if quantity.form == "suture":
        return ()
    if text != str(quantity.value):
        return (f"'{quantity.value}' was read as the suture size {text}",)
    if quantity.value in (3, 4, 6, 7):
        return (f"'{quantity.value}' was read as the suture size; it may be {quantity.value}-0, or how many",)
    if quantity.value is not None and quantity.value > 1 and any(
        _is_plural(sentence, at) for at in (mention.last, mention.last + 1)
    ):
        return (f"'{quantity.value}' was read as the suture size; it may be how many",)
    return ()


def _thick(quantity: Quantity) -> str:
    """A bare number as a USP size: up to 7 as said, "30" as 3-0; "" for what is no size (USP <861>)."""
    value = quantity.value
    if value is None or value != int(value):
        return ""
    said = quantity.text.lower().split()
    if len(said) == 3 and said[-1] in ("oh", "o", "zero") and 100 < value < 1000:
        return f"{value // 10 % 10:.0f}-0"  # "two three oh": two of 3-0
    if value <= 7:
        return str(value)
    return f"{value / 10:.0f}-0" if value % 10 == 0 and 20 <= value <= 110 else ""


_TAGGED = frozenset({"tagged", "passed", "placed"})


def _in_order(sentence: Sentence, sites: list[Mention], mention: Mention) -> str | None:
    """ "Fascia and skin closed with 3-0 Vicryl and 4-0 Monocryl respectively": the layer that has its place."""
    sutures = list(base.mentions(sentence, "sutures"))
    before = [site for site in sites if site.last < sutures[0].first] if mention in sutures else []
    return before[sutures.index(mention)].id if before and len(before) == len(sutures) else None


def _has_layer_behind(sentence: Sentence, mention: Mention, site: Mention) -> bool:
    """ "2-0 Vicryl subcutaneous tissue and then a 4-0 Monocryl": the layer right behind a thread, at the end of its
    part; not where a layer stands right before it as well."""
    end = sentence.tokens[site.last + 1 : site.last + 2]
    shut = not end or end[0].norm in ("and", "then", ",", ";", ".")
    return site.first == mention.last + 1 and shut and not _is_right_behind(sentence, mention)


def _layer(sentence: Sentence, sites: Mapping[str, Concept], mention: Mention) -> str | None:
    ranked: list[tuple[int, int, str]] = []
    if sentence.says({"respectively"}) and mention.table == "sutures" and (
        told := _in_order(sentence, list(base.mentions(sentence, "sites")), mention)
    ):
        return told
    skin = [
        Mention("sites", "skin", index, index)
        for index, token in enumerate(sentence.tokens)
        if token.norm == "skin" and "skin" in sites
    ]  # inside a longer phrase ("skin closed") too
    for site in (*base.mentions(sentence, "sites"), *skin):
        if _is_finding(sentence, mention, site):
            continue
        if _of_next(sentence, mention, site) or (mention.table == "sutures" and _of_closure(sentence, site)):
            continue
        before, after = sorted((site, mention), key=lambda item: item.first)
        price = cues.gap(sentence, before.last, after.first)
        if any(token.norm == "," for token in sentence.tokens[before.last + 1 : after.first]):
            price += 10
        if sites[site.id].group != "skin-layer":
            price += 3
        ranked.append((price, site.first, site.id))
    return min(ranked)[2] if ranked and min(ranked)[0] <= _LAYER_REACH else None


_LEADS = frozenset({"to", "for", "in", "on", "into", "of", "at", "over", "through"})
_CLOSING = frozenset({"with", "using", "closed", "was", "were", "sutured", "approximated", "repaired", "then", "by"})


_STATES = frozenset({"stable", "intact", "normal", "clean", "unremarkable", "healthy", "fine", "torn", "frayed"})


def _is_finding(sentence: Sentence, mention: Mention, site: Mention) -> bool:
    """ "Repaired with 2-0 PDS, the joint stable": a part behind a comma whose state is told was not sewn there."""
    between = sentence.tokens[mention.last + 1 : site.first]
    after = sentence.tokens[site.last + 1 : site.last + 3]
    return any(token.norm in (",", ";") for token in between) and any(token.norm in _STATES for token in after)


def _leads_to(sentence: Sentence, mention: Mention, site: Mention) -> bool:
    """ "Two oh Vicryl to the fascia": a preposition behind a suture binds it to the layer ahead."""
    between = [token.norm for token in sentence.tokens[mention.last + 1 : site.first]]
    return bool(set(between) & _LEADS) and len(between) <= _FEW


_FEW = 5  # tokens
_NEXT_LEAD = frozenset({"and", ",", "then", "the", "finally", "lastly", "sutures", "suture"})
_SHUTS = frozenset({"closed", "approximated", "reapproximated", "re-approximated", "stapled", "sutured", "glued", "was",
                    "were", "with", "using", "by"})  # fmt: skip


def _of_next(sentence: Sentence, mention: Mention, site: Mention) -> bool:
    """ "Fascia one Vicryl, skin three oh Prolene": a layer behind the comma is that of the suture behind it; so is one
    that its own suture follows with "with", and without any words where the layers are told first."""
    tokens = sentence.tokens
    sutures = list(base.mentions(sentence, "sutures"))
    if site.last < mention.first:
        other = [one for one in sutures if one.last < site.first]
        under = {token.norm for token in tokens[site.last + 1 : mention.first]} & {"on", "over"}
        if other and (under and other[-1].last == site.first - 1 or _has_layer_behind(sentence, other[-1], site)):
            return True  # "monocryl subcuticular on three oh vicryl"
        return any(site.last < one.first < mention.first for one in sutures) or (
            bool(other) and _leads_to(sentence, other[-1], site)
        )
    if mention.table == "sutures" and _has_layer_behind(sentence, mention, site):
        return False
    lead = {token.norm for token in tokens[mention.last + 1 : site.first]}
    if lead & {"and", ",", "then"} and lead <= _NEXT_LEAD and any(
        token.norm in _SHUTS for token in tokens[site.last + 1 : site.last + 4]
    ):
        return True  # "with 2-0 Vicryl and skin approximated with staples"
    later = [one for one in sutures if one.first > site.last]
    if later and _is_introduced(sentence, mention) and not _leads_to(sentence, mention, site):
        return True  # "abductors repaired with five Ethibond fascia one Vicryl"
    if any(mention.last < one.first < site.first for one in sutures):
        return True
    if later and not _leads_to(sentence, mention, site) and _is_right_behind(sentence, mention) and (
        _is_right_behind(sentence, later[0])
    ):  # fmt: skip
        return True  # "external oblique two oh Vicryl skin three oh Monocryl"
    if later and not _leads_to(sentence, mention, site):
        ahead = [token.norm for token in tokens[site.last + 1 : later[0].first]]
        near = tokens[site.last + 1 : later[0].first]
        bound = bool(set(ahead) & _CLOSING) and len(near) <= _FEW
        if bound or (len(near) <= _FEW and _layer_first(sentence, sutures)):
            return True
    comma = next((at for at in range(mention.last + 1, site.first) if tokens[at].norm in (",", ";")), None)
    if comma is None:
        return False
    end = next((at for at in range(site.last + 1, len(tokens)) if tokens[at].punctuation), len(tokens))
    return any(site.last < other.first < end for other in base.mentions(sentence, "sutures"))


def _is_right_behind(sentence: Sentence, mention: Mention) -> bool:
    """Whether a named part stands right before a suture and its size."""
    at = mention.first - 1
    while at >= 0 and sentence.tokens[at].quantity is not None:
        at -= 1
    return any(site.last == at for site in base.mentions(sentence, "sites"))


def _is_introduced(sentence: Sentence, mention: Mention) -> bool:
    """Whether "with" or "using" stands before a suture and its size: what it closed was said before."""
    at = mention.first - 1
    while at >= 0 and (sentence.tokens[at].quantity is not None or sentence.tokens[at].norm in _SEWN):
        at -= 1
    return at > 0 and sentence.tokens[at].norm in ("with", "using")


_SEWN = frozenset({"a", "some", "interrupted", "running", "continuous"})


def _of_closure(sentence: Sentence, site: Mention) -> bool:
    """ "Skin clips": the layer is that of the clips."""
    return any(
        one.first <= site.first and site.last < one.last and one.id != "closure"  # "nylon for skin closure"
        for one in base.mentions(sentence, "closures")
    )


def _layer_first(sentence: Sentence, sutures: list[Mention]) -> bool:
    """Whether the layers go before their sutures: one word that is none of the function words, or a named part, stands
    right before the first suture and its size."""
    at = sutures[0].first - 1
    while at >= 0 and (sentence.tokens[at].quantity is not None or sentence.tokens[at].norm in _CLOSING):
        at -= 1
    if at < 0 or sentence.tokens[at].punctuation:
        return False
    named = any(m.table == "sites" and m.last == at for m in sentence.mentions)
    return named or sentence.tokens[at].norm in _UNNAMED_LAYERS


_UNNAMED_LAYERS = frozenset(
    "fat layer layers cuff gap defect dura tendon sheath capsule arthrotomy uterus bowel".split()
)
