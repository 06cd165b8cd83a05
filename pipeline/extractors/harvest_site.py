"""Where marrow or a graft was taken. Its side is that of the harvest, never that of the operation."""

from __future__ import annotations

from pipeline import cues, laterality, phases
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence

KINDS = ("harvest_site",)

_TAKEN_ITSELF = "bone-marrow"  # what was taken, and not where
_REACH, _CREST_REACH = 24, 36
_ALLOGRAFT = frozenset({"allograft", "allografts", "allogeneic", "cadaveric"})
_TAKEN = frozenset({"harvest", "harvested", "harvesting", "aspirated", "aspirate", "taken", "autograft", "obtained"})
# The crest shows the level of the spine; nothing is taken there.
_LANDMARK = frozenset({"palpated", "palpation", "palpable", "landmark", "landmarks", "interspace", "interspaces"})
_PINNED = frozenset({"pin", "pins", "fixator", "ex-fix", "exfix", "frame"})
_AILS = frozenset({"pain", "pains", "painful", "tender", "tenderness", "ache"})
_BESIDE = frozenset({"underneath", "under", "behind", "beneath", "beside", "around", "over", "between"})
_AFTER = frozenset({"from", "of", "at", "in", "through", "on", "via"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence, parts in zip(reading.sentences, phases.of(reading, grammar), strict=True):
        harvest = cues.hits(sentence, grammar, "harvest", "marrow")
        sources = [site for site in base.mentions(sentence, "sites")
                   if site.id != _TAKEN_ITSELF and not _only_prepared(sentence, site)
                   and _is_harvest(sentence, site, harvest, grammar, parts[site.first])]  # fmt: skip
        taken = [site for site in sources if _was_harvested(sentence, site)]
        for site in sources:
            if any(_is_where(sentence, one, site) for one in taken):
                continue
            side, doubt = laterality.side_for(sentence, site.first, site.last, grammar, own_only=True)
            if side is None and site in taken:
                end = _end_of_from(sentence, site, [one for one in sources if one not in taken])
                side = laterality.own_side(sentence, site.first, end, grammar)
            facts.append(
                base.make("harvest_site", reading, sentence, site.first, site.last, name=site.id, body_site=site.id,
                          laterality=side, doubts=(doubt,) if doubt else ())
            )  # fmt: skip
        if not sources:
            facts += _bare_crest(reading, sentence, parts)
    return facts


def _only_prepared(sentence: Sentence, site: Mention) -> bool:
    """ "Both crests prepped", "the right crest was prepared but not used": nobody said that it was taken there."""
    ahead = []
    for token in sentence.tokens[site.last + 1 : site.last + _TO_VERB]:
        if token.punctuation or token.quantity is not None:
            break
        ahead.append(token.norm)
    return bool(_PREPARED & set(ahead)) and not _TAKEN & set(ahead)


_PREPARED = frozenset({"prepped", "prepared", "draped", "painted", "marked", "cleaned", "shaved"})
_TO_VERB = 5  # tokens


def _bare_crest(reading: Reading, sentence: Sentence, parts: list[str]) -> list[Fact]:
    """ "Crest right side, posterior", "left crest was used, posterior", "crest on the left": no name of a site, and
    while marrow is harvested there is one crest that it can be."""
    tokens = sentence.tokens
    named = {at for m in sentence.mentions for at in range(m.first, m.last + 1) if m.table in ("sites", "procedures")}
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        if token.norm not in ("crest", "crests") or at in named or parts[at] != "harvest":
            continue
        if sentence.says(_LANDMARK) or base.scope_at(sentence, "certainty", at, "affirmed") == "negated":
            continue
        near = range(max(0, at - 3), min(len(tokens), at + _CREST_NEAR))
        end = next((n for n in near if n > at and tokens[n].norm in (".", ";")), near.stop)
        inside = [n for n in range(near.start, end) if tokens[n].quantity is None]
        sides = [n for n in inside if tokens[n].norm in ("left", "right", "both")]
        ways = [n for n in inside if tokens[n].norm in ("anterior", "posterior")]
        if not sides or any(tokens[n].quantity is not None for n in range(min(at, sides[0]), max(at, sides[0]))):
            continue
        if any(token.norm in _PREPARED for token in tokens[at + 1 : at + _TO_VERB]):
            continue
        sided = min(sides, key=lambda n: abs(n - at))
        said = tokens[sided].norm
        side: Laterality = "bilateral" if said == "both" else "left" if said == "left" else "right"
        site = f"{tokens[ways[0]].norm}-iliac-crest" if len({tokens[n].norm for n in ways}) == 1 else "iliac-crest"
        first, last = min(at, sided, *ways), max(at, sided, *ways)
        facts.append(base.make("harvest_site", reading, sentence, first, last, at=at, name=site, body_site=site,
                               laterality=side))  # fmt: skip
    return facts


_CREST_NEAR = 8  # tokens


def _is_harvest(
    sentence: Sentence, site: Mention, harvest: list[cues.Hit], grammar: Grammar, phase: str
) -> bool:
    norms = {token.norm for token in sentence.tokens}
    if norms & _ALLOGRAFT and not norms & _TAKEN:
        return False  # bone of another person: "an allograft of iliac crest"
    if norms & _PINNED and not norms & _TAKEN and "marrow" not in norms:
        return False  # "two pins in each iliac crest"
    if _was_harvested(sentence, site):
        return True
    if not cues.around(sentence, grammar, site.first, site.last, "graft-word"):
        return phase == "harvest" and "iliac-crest" in site.id and not norms & (_LANDMARK | _AILS)
    if "iliac-crest" in site.id:
        near = cues.distance(sentence, grammar, site.first, site.last, "graft-word") <= _CREST_REACH
        return near or (phase == "harvest" and not norms & _LANDMARK)
    for hit in harvest:
        between = sentence.tokens[hit.last + 1 : site.first]
        if hit.first > site.last:
            continue
        sources = [at for at in range(hit.last, site.first) if sentence.tokens[at].norm == "from"]
        if sources and any(t.norm in ("to", "into", "onto", "for") for t in sentence.tokens[sources[-1] : site.first]):
            continue  # "a graft from the left groin to the right palm", "marrow from the left crest for the right knee"
        if sources and any(t.norm in _BESIDE for t in sentence.tokens[sources[-1] : site.first]):
            continue  # "graft from the head underneath the rotator interval"
        ends_from = sentence.tokens[hit.last].norm == "from"
        if (ends_from or any(token.norm in _AFTER for token in between)) and (
            cues.gap(sentence, hit.last, site.first) <= _REACH
        ):
            return ends_from or any(token.norm == "from" for token in between)
    return False


def _is_where(sentence: Sentence, taken: Mention, site: Mention) -> bool:
    """ "The long saphenous vein was harvested from the right leg": the leg is where the vein was, no second graft."""
    between = sentence.tokens[taken.last + 1 : site.first]
    return taken.last < site.first and any(token.norm == "from" for token in between) and not any(
        token.punctuation or token.norm in ("and", "then") for token in between
    )


def _end_of_from(sentence: Sentence, taken: Mention, sources: list[Mention]) -> int:
    """The "from" behind a part that was taken, so that what follows it tells where; else the end of the part."""
    last = min((one.first for one in sources if one.first > taken.last), default=len(sentence.tokens))
    return next((at for at in range(taken.last + 1, min(last, taken.last + _FROM)) if (
        sentence.tokens[at].norm == "from"
    )), taken.last)  # fmt: skip


_FROM = 6  # words


_TO_HARVESTED = frozenset({"was", "were", "is", "then", "also", "vein", "tendon", "tendons", "graft", "and", "both"})


def _was_harvested(sentence: Sentence, site: Mention) -> bool:
    """ "The left saphenous vein was harvested", "gracilis and semitendinosus taken from the left": the part itself was
    taken. "Taken from" says so of what grafts are made of."""
    others = {m.first for m in sentence.mentions if m.table == "sites" and m.id in _GRAFTS}
    for at in range(site.last + 1, min(site.last + 6, len(sentence.tokens))):
        norm = sentence.tokens[at].norm
        if norm == "harvested":
            return True
        if norm in ("taken", "procured") and site.id in _GRAFTS:
            return "from" in {token.norm for token in sentence.tokens[at + 1 : at + 4]}
        if norm not in _TO_HARVESTED and at not in others:
            return False
    return False


_GRAFTS = frozenset("gracilis semitendinosus hamstring saphenous-vein palmaris-longus plantaris".split())
