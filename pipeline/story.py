"""Where things stand in a sentence: the site of a thing, whether it was seen, what follows a heading."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from operator import attrgetter

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.records import Mention, Reading, Sentence, Word
from pipeline.rows import Concept

_ID, _LAST = attrgetter("id"), attrgetter("last")


def words_between(reading: Reading, first: int, last: int) -> list[Word]:
    """The words that hold original word ids first..last (inclusive); words are in the order of their ids."""
    words = reading.words
    plain = 0 <= first <= last < len(words) and words[first].id == first and words[last].id == last  # one word an id
    start, end = (first, last + 1) if plain else (
        bisect_left(words, first, key=_LAST), bisect_right(words, last, key=_ID)
    )  # fmt: skip
    return list(words[start:end])


# What may stand between a thing and the site that it is in ("tear in the posterior horn of the meniscus").
_TO_SITE = _words("of the in at on over to from within into through a an left right his her both bilateral was seen "
                  "noted found along involving around side")  # fmt: skip
_AND = _words("and or nor but")
_ON_A_WAY = frozenset("incision opening dilatation cannulation injection approximation cauterization haemostasis "
                      "exposure inspection repair drainage excision".split())  # what is done to a portal itself
_NOT_IN_A_WAY = frozenset({"diagnoses", "findings", "procedures", "grades"})  # what lies in a joint, not in its portals
_WITHOUT_SITE = frozenset({"anaesthesia", "approaches", "positions", "guidance"})


def _site_beside(sentence: Sentence, mention: Mention, sites: list[Mention]) -> str | None:
    """The site said right before a thing, the nearest of several ("knee medial compartment grade three")."""
    site = max((one for one in sites if one.last < mention.first), key=lambda one: one.last, default=None)
    if site is None or mention.first - site.last - 1 > 2 or _told_there(sentence, site, mention) or any(
        token.punctuation or token.norm in ("and", "or", "was", "is", "of", "with", "on", "over")
        or (token.norm.endswith("ed") and (mention.table in _ANEW or _is_noun(sentence, mention)))
        for token in sentence.tokens[site.last + 1 : mention.first]
    ):
        return None
    return site.id


_WORN = _words("torn worn thin split broken burnt cut gone")
_ANEW = frozenset({"procedures", "approaches"})  # "capsule released ulnar nerve release"


def _is_noun(sentence: Sentence, mention: Mention) -> bool:
    """ "Conjoint tendon preserved Hill-Sachs": a new thing, and nothing more of the part."""
    last = sentence.tokens[mention.last].norm
    return mention.table in ("findings", "diagnoses") and not last.endswith("ed") and last not in _STATES | _WORN


_SIDED = _words("left right both bilateral")
_STATES = _words("fine normal intact ok okay good clean healthy clear unremarkable pristine untouched stable tight lax "
                 "thick smooth")
_AT = _words("at on in to into onto from over behind under near")
_OPENS = _words("and then but , ; : . also so next now")


def _told_there(sentence: Sentence, site: Mention, mention: Mention) -> bool:
    """ "One anchor at the lesser tuberosity supraspinatus tear three centimetres": the place ends what was told before
    it, and a noun begins anew; "on the patella grade three" and "on the condyle a lesion" open with the place."""
    tokens = sentence.tokens
    if site.last + 1 < mention.first and tokens[site.last + 1].norm in _STATES:
        return True  # "menisci fine chondroplasty with the shaver"
    lead = site.first - 1
    while lead >= 0 and (tokens[lead].norm in ("the", "left", "right", "both") or any(
        m.table == "sides" and m.first <= lead <= m.last for m in sentence.mentions
    )):
        lead -= 1
    return (
        mention.table in _ANEW | {"findings", "diagnoses"} and mention.first == site.last + 1 and lead > 0
        and tokens[lead].norm in _AT and tokens[lead - 1].norm not in _OPENS
    )  # fmt: skip


def site_of(sentence: Sentence, mention: Mention, grammar: Grammar) -> str | None:
    """Where a named thing is: a site said in its own phrase, else the one that its row implies, else None."""
    low, end = clauses.bounds(sentence, mention.first)
    sites = [other for other in sentence.mentions
             if other.table == "sites" and other != mention and low <= other.first < end
             and (other.id != "portal" or mention.table not in _NOT_IN_A_WAY and (
                 mention.table != "acts" or mention.id in _ON_A_WAY))]  # fmt: skip
    row = grammar.tables.get(mention.table, {}).get(mention.id)
    implied = row.site if isinstance(row, Concept) and row.site else None
    subject = _subject_site(sentence, mention, sites)
    if subject is not None:
        return subject.id
    ahead = {site.first: site for site in sites}
    beside = _site_beside(sentence, mention, sites)
    for index in range(mention.last + 1, min(mention.last + 9, len(sentence.tokens))):
        if index in ahead:
            denied = mention.table == "acts" and "not" in [t.norm for t in sentence.tokens[mention.first - 1 : index]]
            told = denied or mention.table in ("grades", "findings") or _ends_its_part(sentence, mention)
            if index == mention.last + 1 and told and _is_told_of(sentence, ahead[index]):
                break  # "posterior grade one labrum detached", "not repaired capsule tight": the next thing begins
            if mention.table in _WITHOUT_SITE and index == mention.last + 1:
                break  # "interscalene block supraspinatus torn": the next thing begins
            between = {token.norm for token in sentence.tokens[mention.last + 1 : index]}
            if mention.table == "procedures" and between & _FASTENED:
                break
            if implied and mention.table == "procedures" and (between - _SIDED).isdisjoint(_TO_SITE):
                return implied  # "elbow arthroscopy capsule released": likewise
            # "condyle grade three lateral compartment normal", "patella grade two centrally trochlea grade one": a site
            # that no word joins on belongs to what follows
            joined = index > mention.last + 1 and not between.isdisjoint(_TO_SITE)
            return ahead[index].id if beside is None or joined else beside
        token = sentence.tokens[index]
        if token.norm not in _TO_SITE and index > mention.last + 1 and sentence.tokens[index - 1].norm not in _TO_SITE:
            break
        if token.punctuation or token.norm in _AND or any(other.first == index for other in sentence.mentions):
            break
    if beside is not None:
        return beside
    return implied


def _ends_its_part(sentence: Sentence, mention: Mention) -> bool:
    """ "Bursa thick debrided acromion flat": what was done is told behind the state of a part."""
    at = mention.first
    return mention.table == "acts" and at > 1 and sentence.tokens[at].norm.endswith("ed") and (
        clauses.is_state(sentence, at - 1) or sentence.tokens[at - 1].norm in _STATES
    )


def _is_told_of(sentence: Sentence, site: Mention) -> bool:
    """Whether something is told of a part right behind it ("labrum detached"), not of the next ("normal trochlea")."""
    at = site.last + 1
    norm = sentence.tokens[at].norm if at < len(sentence.tokens) else ""
    parts = {other.first for other in sentence.mentions if other.table == "sites"}
    return norm.endswith("ed") or (norm in _STATES | {"torn", "flat"} and at + 1 not in parts)


_COPULA = _words("was were is are looked appeared seemed been being")
_LIGHT = _words("and then also now not")


def _subject_site(sentence: Sentence, mention: Mention, sites: list[Mention]) -> Mention | None:
    """The part that a verb or an adjective is said of: "the labrum was torn", "the nerve was divided and repaired"."""
    ends = {site.last: site for site in sites}
    tokens = sentence.tokens
    at = mention.first
    if mention.table == "grades" and at and tokens[at - 1].norm in ("had", "has", "showed"):
        return ends.get(at - 2)  # "condyle had grade two only left alone meniscus ..."
    if tokens[at].norm not in _COPULA:
        at -= 1
        verb = tokens[mention.last].norm.endswith("ed")
        while at > 0 and (tokens[at].norm in _LIGHT or tokens[at].norm.endswith(("ly", "ed") if verb else "ly")):
            at -= 1
    if at < 1 or tokens[at].norm not in _COPULA:
        return None
    return ends.get(at - 1) or (ends.get(at - 2) if tokens[at - 1].norm.endswith("ly") else None)


def site_before(sentence: Sentence, mention: Mention) -> str | None:
    """The last site said before a thing in the same sentence ("Medial compartment: grade two changes")."""
    low, _ = clauses.bounds(sentence, mention.first)
    before = [site for site in sentence.mentions
              if site.table == "sites" and site.last < mention.first and site.id != "portal"
              and not any(token.norm in _CUFF for token in sentence.tokens[max(0, site.first - 4) : site.first])]
    if len(sentence.tokens) > 40:
        before = [site for site in before if site.first >= low]
    if not before or any(ends(sentence, before[-1], mention) for ends in (_told_there, _has_its_own, _of_another)):
        return None
    return before[-1].id


def _of_another(sentence: Sentence, site: Mention, mention: Mention) -> bool:
    """ "Talar dome shaved; syndesmotic ligament intact": a part that no row has, or a semicolon, stands between."""
    between = sentence.tokens[site.last + 1 : mention.first]
    if any(token.norm == ";" for token in between):
        return True
    last = [token.norm for token in between if token.norm not in _COPULA][-1:]
    ahead = {token.norm for token in between[-3:]}
    if {"away", "from"} <= ahead or (ahead & _UPON and any(token.norm in _LAID for token in between)):
        return True  # "the cerebellum was retracted away from the tumour", "fascia was laid over the defect"
    if len(between) > 1 and clauses.is_state(sentence, site.last + 1) and between[1].norm not in _TO_STATE:
        return True  # "lateral compartment normal patellofemoral grade one"
    if mention.table != "grades" and between and between[0].norm.endswith("ed") and (
        len(between) == 1 or between[1].norm not in _TO_STATE - {",", "but"}
    ):
        return True  # "conjoint tendon preserved hill sachs", "meniscus trimmed, plica excised": the next thing
    return len(between) > 1 and bool(last) and last[0] in _PARTS | _OTHER_PART


_CUFF = _words("tourniquet tq cuff")  # "tourniquet left thigh two fifty ... tibial spur": where it lies, and no more
_FASTENED = _words("secured sutured anchored stitched fastened taped")  # "the gastrostomy was secured to the skin"
_UPON = frozenset({"over", "onto", "across", "into", "around"})
_LAID = _words("laid placed put sutured draped packed inserted")
_TO_STATE = _words("with and but to in on at apart except , . ;")
_OTHER_PART = _words("medial lateral anterior posterior superior inferior proximal distal upper lower other")
_PARTS = _words("lig ligs ligament ligaments tendon tendons nerve nerves muscle muscles artery vein membrane gland "
                "duct root horn cuff side compartment plateau retinaculum plica septum process band bundle sheath "
                "pulley flap vessel vessels pedicle")  # fmt: skip


def _has_its_own(sentence: Sentence, site: Mention, mention: Mention) -> bool:
    """ "Cruciate intact, no loose bodies": the site was told of already, and a comma closes it."""
    tokens = sentence.tokens
    told = [other for other in sentence.mentions if other.table == "findings"
            and (0 <= other.first - site.last - 1 <= 1 or _of_it(sentence, site.last + 1, other.first))
            and other.last < mention.first]  # fmt: skip
    if any(token.quantity is not None and token.quantity.unit for other in told
           for token in tokens[other.last + 1 : mention.first]):
        return True  # "acl intact eighty percent of the plica resected"
    return any(
        any(token.norm == "," for token in tokens[other.last + 1 : other.last + 1 + (1 if near else 3)])
        for other in told for near in (other.first - site.last - 1 <= 1,)
    )


def _of_it(sentence: Sentence, first: int, last: int) -> bool:
    """ "A uterus that was of normal size": what stands between a part and what is told of it."""
    between = sentence.tokens[first:last]
    return 1 < len(between) <= 4 and between[0].norm in ("that", "which") and any(
        token.norm in _COPULA for token in between
    )


_SEEN = _words("seen found noted identified showed revealed visualized visualised encountered there appreciated "
               "observed confirmed demonstrated evident palpated")  # fmt: skip


def is_seen(sentence: Sentence, mention: Mention) -> bool:
    """Whether the words around a thing tell that it was looked at: "there was", "was found", "showed"."""
    near = sentence.tokens[max(0, mention.first - 8) : mention.last + 6]
    return any(token.norm in _SEEN for token in near)


_HEADING_MARKS = frozenset({":", ",", ".", "-", "—", "–"})


_HEADINGS = _words(
    "pre post preoperative postoperative preop postop op operative operation operations procedure procedures "
    "performed title name of diagnosis diagnoses dx indication indications for surgery the history past medical "
    "surgical present illness background imaging findings complications complication intraoperative plan aftercare "
    "reason clinical summary and final preprocedure postprocedure done is was are / 1 2 a"
)


def _first_word(sentence: Sentence) -> int:
    """The first token after marks and list numbers."""
    return next((index for index, token in enumerate(sentence.tokens)
                 if not token.punctuation and any(letter.isalpha() for letter in token.text)), 0)  # fmt: skip


def after_heading(sentence: Sentence) -> int | None:
    """The first token after the heading of a sentence ("Indication: ..."), None where nothing follows it.

    A sentence without a heading begins at its first word.
    """
    start = _first_word(sentence)
    for index in range(start, min(start + 8, len(sentence.tokens))):
        norm = sentence.tokens[index].norm
        if index > start and (norm in _HEADING_MARKS or norm in ("is", "was", "are", "were")):
            rest = [at for at in range(index + 1, len(sentence.tokens))
                    if any(letter.isalpha() for letter in sentence.tokens[at].text)]  # fmt: skip
            return rest[0] if rest else None
        if norm not in _HEADINGS:
            break
    return start


def words(sentence: Sentence, first: int, last: int) -> str:
    """The words of tokens first..last as read, marks attached."""
    text = ""
    for token in sentence.tokens[max(first, 0) : last + 1]:
        text += token.text if token.punctuation or not text else f" {token.text}"
    return text.strip(" ,;:.")


_RISKS = _words("risk risks benefits complications hazards dangers")
_WARNED, _TOLD_OF, _SIGNED = 40, _words("told warned aware talked spoke know knows"), _words(
    "signed agreed accepted accepts agrees happy consents")  # fmt: skip
_TALKED = _words("discussed explained understood reviewed including include included limited consent consented")


def is_risk_talk(sentence: Sentence) -> bool:
    """ "The risks were discussed, including, but not limited to infection, stiffness, arthritis, fracture": none of it
    was found."""
    if len(sentence.tokens) <= 90 and sentence.says(_RISKS) and sentence.says(_TALKED):
        return True
    # "He was told about infection, clots and non-union and signed"
    return len(sentence.tokens) <= _WARNED and (
        sentence.says(_TOLD_OF) and sentence.says(_SIGNED) or is_named_to_patient(sentence))


_NAMED = _words("discussed explained mentioned outlined named")
_TO_WHOM = _words("him her them patient family parents mother father husband wife son daughter")
_KNOWS, _COPULAS = _words("knows understands appreciates understood"), _words("was were been have had all also again")


def is_named_to_patient(sentence: Sentence) -> bool:
    """ "Hoarseness and nonunion were discussed", "he understands that sepsis can happen": what may come; not "a hernia
    was found and discussed", nor "discussed with radiology"."""
    norms = [token.norm for token in sentence.tokens]
    if any(norm in _KNOWS for norm in norms[1:3]) and norms[0] in ("he", "she", "they", "patient"):
        return True
    at = next((place for place, norm in enumerate(norms) if norm in _NAMED), None)
    if at is None or norms[at + 1 : at + 2] == ["with"] and not _TO_WHOM & set(norms[at + 2 : at + 5]):
        return False
    before = [norm for place, norm in enumerate(norms[:at]) if not (norm in _COPULAS and place >= at - 3)]
    return bool(before) and not (clauses.VERBS | _SEEN) & set(before)
