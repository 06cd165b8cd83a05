"""Cues of status and certainty that govern less than their clause: what is told anew behind an "and", and where
something was looked for."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit
from pipeline.records import Mention, Sentence, Token


def before_clause(sentence: Sentence, hit: CueHit, last: int) -> int:
    """The last token that a cue governs, where `last` is that of its clause."""
    if hit.rule.value == "historical" and hit.rule.direction == "after":
        return _up_to_today(sentence, hit, last)
    if hit.rule.id in ("no", "without"):
        last = _up_to_its_place(sentence, hit, last)
    if sentence.tokens[hit.first].norm in _CLEARED:  # "suctioned free of blood and clots and irrigated"
        done = [m.first - 1 for m in sentence.mentions if m.table in _DONE and hit.last < m.first <= last]
        return min([last, *done])
    return last


def turned_out(sentence: Sentence, index: int) -> bool:
    """ "We planned a repair and did a resection", "planned repair, converted to a resection", "consent for both knees,
    only the left injected": what was done of it in the end."""
    norms = [token.norm for token in sentence.tokens[index : index + _TO_DEED]]
    if norms[0] == "only":
        return not {"left", "right", "one"}.isdisjoint(norms[1:3])
    deed = next((norm for norm in norms[1:] if norm not in _TURNS_TO), "")
    return norms[0] in _TURNS_TO and deed in _DID


_TURNS_TO = _words(", and but then however instead we i in the end finally actually only have had")
_DID, _TO_DEED = _words("did performed converted ended opted undertook proceeded chose changed switched"), 7


def _up_to_its_place(sentence: Sentence, hit: CueHit, last: int) -> int:
    """ "No evidence of a leak from the new anastomosis": what is denied was to be seen there, and the act was done."""
    tokens = sentence.tokens
    for at in range(hit.last + 2, last):
        if tokens[at].norm in ("from", "at") and tokens[at + 1].norm in _DETERMINED and any(
            m.table in ("acts", "procedures") and at < m.first <= at + _PLACE for m in sentence.mentions
        ):
            return at - 1
    return last


_PLACE = 4  # tokens


def _up_to_today(sentence: Sentence, hit: CueHit, last: int) -> int:
    """ "A history of keloid and 1 mL of triamcinolone was injected": an amount that was given is of today."""
    norms = [token.norm for token in sentence.tokens]
    given = [at for at in range(hit.last + 1, last + 1) if norms[at] in ("was", "were")]
    joined = [at for at in range(hit.last + 1, given[0]) if norms[at] == "and"] if given else []
    amount = joined and any(
        token.quantity is not None and token.quantity.dimension in ("volume", "mass")
        for token in sentence.tokens[joined[-1] : given[0]]
    )
    return joined[-1] - 1 if amount else last


_DONE = frozenset({"acts", "procedures", "irrigation"})
_CLEARED = frozenset({"free", "clear", "devoid"})


def describes(sentence: Sentence, hit: CueHit) -> bool:
    """ "Beside a failed dental implant": an adjective of what is named right behind it, and nothing was tried."""
    if hit.first != hit.last or sentence.tokens[hit.first].norm != "failed" or not hit.first:
        return False
    named = any(0 < m.first - hit.last <= _CLOSE and m.table in _MADE for m in sentence.mentions)
    return named and (sentence.tokens[hit.first - 1].norm in _DETERMINED or sentence.tokens[hit.first - 1].punctuation)


_CLOSE = 2  # tokens
_MADE = frozenset({"devices", "procedures", "drains"})
_DETERMINED = _words("a an the of his her this that old previous prior for")


def given_before(sentence: Sentence, today: int) -> int:
    """ "Cortisone last time gave relief forty mg triamcinolone five mil bupivacaine today": the first token of the
    amounts right before "today", which are of today where none stands behind it."""
    behind = sentence.tokens[today + 1 : today + 4]
    if any(token.quantity is not None for token in behind):
        return today
    drugs = {at for m in sentence.mentions if m.table in ("drugs", "injectates") for at in range(m.first, m.last + 1)}
    at = today
    while at and (at - 1 in drugs or sentence.tokens[at - 1].quantity is not None
                  or sentence.tokens[at - 1].norm in ("of", "and", "with")):  # fmt: skip
        at -= 1
    return at if any(token.quantity is not None for token in sentence.tokens[at:today]) else today


def is_at_work(sentence: Sentence, hit: CueHit, index: int) -> bool:
    """ "... prior repair we consented him for a release at arthroscopy the cuff was intact": what was before and what
    was planned are over where the work begins."""
    norm, after = sentence.tokens[index].norm, sentence.tokens[index + 1 : index + 2]
    if norm == "at" and after and after[0].norm in _AT_WORK:
        return hit.rule.value in ("planned", "historical", "other_person")
    return hit.rule.value in ("historical", "other_person") and norm in ("we", "i") and bool(after) and (
        after[0].norm in clauses.DID or after[0].norm == "consented"
    )


def is_measured(sentence: Sentence, index: int) -> bool:
    """ "His brother had the same torn supraspinatus two centimetres three anchors": nobody measures what a relative
    has, nor counts what was put in."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.form != "number":
        return False
    counted = any(m.table == "devices" and m.first == index + 1 for m in sentence.mentions)
    return quantity.dimension in ("length", "volume") or (not quantity.dimension and counted)


def is_this_time(sentence: Sentence, index: int) -> bool:
    """ "The right one was done in March with four anchors, this time only two"."""
    norms = [token.norm for token in sentence.tokens[index : index + 2]]
    return norms in (["this", "time"], ["this", "side"], ["this", "one"])


def of_these(sentence: Sentence, index: int) -> bool:
    """ "None of that today": what was said before is denied."""
    norms = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    return norms[:1] == ["of"] and norms[-1] in ("that", "this", "those", "these", "them", "it", "which")


_AT_WORK = _words("arthroscopy scope surgery laparoscopy laparotomy exploration opening theatre")


def is_told_itself(sentence: Sentence, mention: Mention) -> bool:
    """ "No clot heparin two thousand": what has its number or what was done with it right behind begins anew."""
    after = mention.last + 1
    if after >= len(sentence.tokens):
        return False
    quantity, norm = sentence.tokens[after].quantity, sentence.tokens[after].norm
    if norm == "yes" or any(m.first == after and m.table == "sites" and sentence.tokens[m.last + 1 : m.last + 2] and (
        sentence.tokens[m.last + 1].norm == "yes"
    ) for m in sentence.mentions):  # fmt: skip
        return True  # "no tear chondroplasty patella yes"
    if quantity is not None:
        return quantity.form in ("number", "range") and mention.table in _NUMBERED
    sized = sentence.tokens[after + 1].quantity if norm == "of" and after + 1 < len(sentence.tokens) else None
    if sized is not None and sized.dimension == "length" and sized.comparator is None and mention.table in _FOUND:
        return True  # "no varices hiatal hernia of three centimetres"
    return mention.table in _WITH_A_NUMBER and norm in clauses.ACTED or mention.table == "drugs" and norm == "given"


def is_dealt_with(sentence: Sentence, mention: Mention) -> bool:
    """ "Displaced without reduction, adhesions lysed": what something was done to is there."""
    after = mention.last + 1
    return mention.table in _FOUND and any(
        m.table == "acts" and m.first == m.last == after and sentence.tokens[after].norm.endswith("ed")
        for m in sentence.mentions
    )


_NUMBERED = frozenset({"drugs", "injectates", "devices", "drains", "findings", "diagnoses", "specimens", "sutures",
                       "dressings"})  # fmt: skip
_WITH_A_NUMBER = _NUMBERED | {"approaches", "procedures", "acts"}
_FOUND = frozenset({"findings", "diagnoses", "complications"})


def before_aside(sentence: Sentence, first: int) -> int | None:
    """ "The third anchor, which we had opened, wasn't needed": the thing before what is told by the way."""
    tokens = sentence.tokens
    made = first - 1 - (first > 0 and tokens[first - 1].norm in ("was", "were"))
    if made > _SAID_BY and tokens[made].norm in _MADE_READY and tokens[made - 1].norm in ("had", "have", "'d"):
        at = made - 3 - (tokens[made - 3].norm in ("which", "that"))  # "the two FasT-Fix we had opened were not used"
        ours = tokens[made - 2].norm in ("we", "i", "they")
        return next((m.first for m in sentence.mentions if m.last == at and ours), None)
    if not first or tokens[first - 1].norm != ",":
        return None
    for at in range(first - 2, max(1, first - _ASIDE), -1):
        if tokens[at].punctuation:
            return None
        if tokens[at].norm in ("which", "that", "who") and tokens[at - 1].norm == ",":
            thing = next((m for m in sentence.mentions if m.last == at - 2), None)
            return None if thing is None else thing.first
    return None


_ASIDE, _SAID_BY = 10, 3  # tokens
_MADE_READY = _words("opened prepared planned ordered drawn ready unpacked brought asked mixed thawed")


_OF_IT = frozenset({"of", "a", "an", "the"})


def over_amount(sentence: Sentence, start: int) -> int:
    """Where the drug stands whose amount begins at a token ("no ten millilitres of quarter percent bupivacaine"), or
    the token itself."""
    at = start
    for token in sentence.tokens[start:]:
        if token.quantity is None and token.norm not in _OF_IT:
            break
        at += 1
    dosed = any(token.quantity is not None for token in sentence.tokens[start:at])
    named = any(m.first == at and m.table in ("drugs", "injectates", "devices") for m in sentence.mentions)
    return at if dosed and named else start


def are_absent(sentence: Sentence, hit: CueHit, index: int) -> bool:
    """ "Absence of a plica and a loose body": both have an article, and neither is there."""
    tokens = sentence.tokens
    behind = {tokens[at + 1].norm for at in (hit.last, index) if at + 1 < len(tokens)}
    return tokens[hit.first].norm in ("absence", "lack") and behind <= {"a", "an", "any"}


def like_before(sentence: Sentence, index: int) -> int | None:
    """ "Cefuroxime 1.5 g and gentamicin in the emergency room": the first token of the drug before the joint at a
    token, where another one follows it."""
    behind = next((m for m in sentence.mentions if m.table in _DRUGS and m.first == index + 1), None)
    if behind is None or sentence.tokens[index].norm not in (",", "and"):
        return None
    at = index - 1
    while at > 0 and sentence.tokens[at].quantity is not None:
        at -= 1
    return next((m.first for m in sentence.mentions if m.table in _DRUGS and m.last == at), None)


_DRUGS = frozenset({"drugs", "fluids"})


def left_out_before(sentence: Sentence, hit: CueHit) -> tuple[int, int] | None:
    """ "On edoxaban 60 mg (omitted this am)", "aspirin held for five days": the drug that is taken at home, and was
    left out before the operation."""
    ahead = [token for token in sentence.tokens[hit.last + 1 : hit.last + 3]]
    if sentence.tokens[hit.last].norm not in ("omitted", "held", "withheld", "skipped", "paused") or not ahead:
        return None
    at_home = ahead[0].norm == "this" and ahead[1:] and ahead[1].norm in ("am", "morning")
    if not at_home and ahead[0].norm not in ("preop", "preoperatively", "pre-op"):
        return None
    drugs = [m for m in sentence.mentions if m.table == "drugs" and m.last < hit.first]
    return (drugs[-1].first, hit.last) if drugs else None


def is_other_deed(sentence: Sentence, hit: CueHit) -> bool:
    """ "The nerve was seen and protected, not transposed": another deed, which says nothing of the one before it."""
    tokens = sentence.tokens
    at = hit.first - 1
    own = tokens[hit.last].norm
    if at > 1 and tokens[at].norm in ("was", "were") and tokens[at - 1].norm in ("and", "but"):
        return own.endswith("ed") and own not in _OF_ANY  # "decompressed in situ, and was not transposed"
    if at < 1 or tokens[at].norm not in (",", "and", "but") or tokens[hit.first].norm != "not":
        return False
    at -= tokens[at].norm != "," and tokens[at - 1].norm == ","
    return own.endswith("ed") and own not in _OF_ANY and tokens[at - 1].norm.endswith("ed") and any(
        mention.table == "acts" and mention.last == at - 1 for mention in sentence.mentions
    )


_OF_ANY = frozenset(
    "performed used needed required indicated attempted wanted planned inserted placed implanted administered "
    "confirmed identified visualised visualized completed achieved included injected infused".split()
)


def before_brackets(tokens: Sequence[Token], at: int) -> int:
    """ "Injection of the left wrist (CTS) not done": where the brackets right before a token open, 0 where there are
    none, or a number stands in them."""
    if at < 2 or tokens[at - 1].norm != ")":
        return 0
    opens = next((place for place in range(at - 2, 0, -1) if tokens[place].norm == "("), 0)
    return 0 if any(token.quantity for token in tokens[opens:at]) else opens
