"""Operations that no row names, in the words of their title: under a heading, or as the narration's first words."""

from __future__ import annotations

from pipeline import laterality, rephrased, story
from pipeline.extractors import _operation_words, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence
from pipeline.rows import Concept


def title(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """An operation that no row names: under its heading, or as the first words of the narration with an act in them."""
    if sentence.section != "procedure" and (sentence.section or sentence.index > LATEST):
        return []
    acts = [m for m in base.mentions(sentence, "acts") if _is_deed(m, grammar) and _is_noun(sentence, m)]
    acts = sorted([*acts, *_deeds(sentence)], key=lambda mention: mention.first)
    others = [m.first for m in base.mentions(sentence, "procedures") if m.first < 15]
    if others and not (acts and _goes_on(sentence, acts[0], others[0])):
        return []
    if sentence.section == "procedure":
        first = story.after_heading(sentence)
        while first is not None and _is_heading(sentence, first):
            first += 1  # "procedure two burr holes": no mark behind the heading
        if first is None or is_prose(sentence) or not sentence.tokens[first].text[:1].isalpha():
            return []
        if (not acts and _is_told(sentence)) or sentence.tokens[first].norm in _TELLING:
            return []
    elif sentence.section == "" and acts and (
        (sentence.index <= 1 and acts[0].first <= 6) or (sentence.index <= LATEST and acts[0].first <= 1)
    ):
        if any(token.norm in ("not", "no") for token in sentence.tokens[: acts[-1].last]):
            return []  # "labrum not repaired, debrided only"
        first = 0
        risky = base.scope_at(sentence, "status", acts[0].first, "performed") != "performed"
        risky = risky or base.scope_at(sentence, "certainty", acts[0].first, "affirmed") != "affirmed"
        if risky or sentence.tokens[0].norm in _TELLING or is_prose(sentence, acts[0].last + 6):
            return []
    else:
        return []
    first = _past_side(sentence, first)
    if first >= len(sentence.tokens) or any(m.first == first for m in base.mentions(sentence, "positions")):
        return []  # "supine on the fracture table, traction 40 pounds"
    last = first
    ends = _TITLE_ENDS | {"with", "and"} if others else _TITLE_ENDS
    while last + 1 < len(sentence.tokens) and last - first < _TITLE and not _ends_title(sentence, last + 1, ends):
        last += 1
    while last > first and sentence.tokens[last].norm in _LOOSE:
        last -= 1
    if sentence.tokens[first].norm in ("graft", "grafts", "autograft") and sentence.says({"from"}):
        return []  # "Graft from the opposite iliac crest."
    if all(token.norm in _NO_NAME or token.norm in _ORDINALS for token in sentence.tokens[first : last + 1]):
        return []  # "third of three injections", "L: stone 7 mm"
    if sentence.section == "" and not any(first <= act.first <= last for act in acts):
        return []  # "the right shoulder first, subacromial injection"
    if any(m.id in ("intact", "normal") and first <= m.first <= last for m in base.mentions(sentence, "findings")):
        return []  # "cruciate intact, plica resected": what was seen
    measured = sentence.section == "" and _is_measure(sentence, first, last)
    if measured or _operation_words.are_of_none(sentence, first, last):
        return []  # "resection time 42 minutes", "distraction 12 mm", "washout with one litre"
    return [_titled(reading, sentence, *part, grammar) for part in _parts(sentence, first, last)]


_TELLING = frozenset({"x", "after", "following", "once", "upon", "prior", "before", "cpt", "icd", "under", "when",
                      "timeout", "pt", "patient", "risk", "risks", "dr", "doctor", "mr", "mister", "mrs", "miss", "ms",
                      "prof", "professor", "asst", "assistant", "surg", "surgeon", "anaes", "anes"})


def _is_told(sentence: Sentence) -> bool:
    """ "Procedure: Neck extended. Incision 6 cm.": a part of the body and a participle tell what was done."""
    words = [token.norm for token in sentence.tokens if not token.punctuation]
    sited = any(m.last + 2 >= len(sentence.tokens) - 1 for m in base.mentions(sentence, "sites"))
    return len(words) <= _SHORT and words[-1].endswith("ed") and sited


_SHORT = 4  # words, the heading among them


def joined(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """What the title joins to an operation by "and", with a side and a part of its own, where no row names it: "carpal
    tunnel release of the right hand and a steroid injection of the left thumb", "... and left knee injection"."""
    if sentence.section != "procedure" and (sentence.section or sentence.index > 1):
        return []
    named = [m for m in base.mentions(sentence, "procedures") if m.first < _FIRST_WORDS]
    acts = [m for m in base.mentions(sentence, "acts") if named and m.first > named[0].last and m.first < _TITLE
            and _is_deed(m, grammar) and _is_noun(sentence, m)]  # fmt: skip
    facts: list[Fact] = []
    for act in acts:
        part = _own_part(sentence, act, grammar)
        if part is None or is_prose(sentence, act.last) or any(m.first <= act.first <= m.last for m in named):
            continue
        site, first, last = part
        side, doubt = laterality.side_for(sentence, site.first, site.last, grammar, own_only=True)
        done = base.scope_at(sentence, "status", act.first, "performed") == "performed" and (
            base.scope_at(sentence, "certainty", act.first, "affirmed") == "affirmed"
        )
        if side is not None and doubt is None and done:
            facts.append(base.make("procedure", reading, sentence, first, last, laterality=side, body_site=site.id,
                                   text=story.words(sentence, first, last)))  # fmt: skip
    return facts


_FIRST_WORDS = 15


def _own_part(sentence: Sentence, act: Mention, grammar: Grammar) -> tuple[Mention, int, int] | None:
    """The part of the body that an act behind "and" is done to, with the first and the last token of both."""
    tokens = sentence.tokens
    first = act.first
    while first and first > act.first - _DESCRIBED and tokens[first - 1].norm not in JOINS and not (
        tokens[first - 1].punctuation or tokens[first - 1].quantity is not None
    ):
        first -= 1
    if not first or tokens[first - 1].norm not in JOINS:
        return None
    before = [m for m in base.mentions(sentence, "sites") if first <= m.first and m.last == act.first - 1]
    if before:
        return before[0], first, act.last
    ahead = tokens[act.last + 1 : act.last + 2]
    site = next((m for m in base.mentions(sentence, "sites") if 0 < m.first - act.last <= _TO_PART), None)
    if site is None or not ahead or ahead[0].norm not in ("of", "to", "into", "in"):
        return None
    between = tokens[act.last + 1 : site.first]
    if any(token.punctuation or token.norm in JOINS | {"for", "with"} for token in between):
        return None
    return site, first, site.last


JOINS = frozenset({"and", "plus", "+", "&"})
_TO_PART = 7  # tokens
_DESCRIBED = 5  # words that tell what an act is: "left si joint injection"


_LED_BY = frozenset({"with", "of", "to", "at", "by", "in"})
_MEASURES = frozenset({"time", "distance", "pressure", "angle", "level", "margin", "depth", "length", "volume"})


def _is_measure(sentence: Sentence, first: int, last: int) -> bool:
    """Whether an act without a place only leads to an amount, or is one word: a step or a value, no operation."""
    if any(first <= m.first <= last for m in base.mentions(sentence, "sites", "diagnoses", "findings", "devices")):
        return False
    tokens = sentence.tokens
    while last > first and tokens[last].norm in _LED_BY:
        last -= 1
    ahead = tokens[last + 1 : last + 3]
    aged = bool(ahead) and ahead[0].punctuation  # "decompression on Beatrix Coyle, sixty four"
    amount = any(one is not None and one.form != "level" and (one.dimension or not aged)
                 for one in (token.quantity for token in ahead[:2] if not token.punctuation))  # fmt: skip
    short = last == first and tokens[first].norm not in _WHOLE
    return amount or short or tokens[last].norm in _MEASURES


def _is_heading(sentence: Sentence, index: int) -> bool:
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else "of"
    return sentence.tokens[index].norm in HEADING and after not in ("of", "on", "to", "for", "in", "at")


HEADING = frozenset({"procedure", "procedures", "operation", "operations", "op", "surgery", "title", "performed",
                      "note", "notes", "report", "record"})  # fmt: skip


def _deeds(sentence: Sentence) -> list[Mention]:
    """Nouns of what is done that no row of the acts has, with "of" or the place behind: "removal of", "fusion L4-5"."""
    places = {m.first for m in base.mentions(sentence, "sites")}
    return [
        Mention("acts", token.norm, index, index)
        for index, token in enumerate(sentence.tokens)
        if ((token.norm in rephrased.DONE
             and index + 1 < len(sentence.tokens)
             and (sentence.tokens[index + 1].norm in ("of", "left", "right", "#level") or index + 1 in places))
            or token.norm in _WHOLE)
        and not any(m.first <= index <= m.last for m in base.mentions(sentence, "procedures", "acts"))
    ]  # fmt: skip


def _ends_title(sentence: Sentence, index: int, ends: frozenset[str]) -> bool:
    """Whether a name ends before a token: at a mark, at how it was done, at an amount (not at a "third" molar)."""
    token = sentence.tokens[index]
    if token.norm == "," and _lists_on(sentence, index):
        return False
    if token.norm == "," and _is_place(sentence, index + 1) and not any(
        site.last < index for site in base.mentions(sentence, "sites")
    ):
        return False  # "removal of bone, left fourth metatarsal head"
    ordinal = token.quantity is not None and token.quantity.form == "ordinal"  # "2nd toe"
    amount = token.quantity is not None and not ordinal and token.text.lower() not in _ORDINALS and (
        token.quantity.form != "level"
    )
    if amount and _counts_things(sentence, index):
        amount = False  # "removal of five teeth"
    if token.norm == "on" and sentence.tokens[index + 1 : index + 2] and _is_person(sentence, index + 1):
        return True  # "decompression and fusion on Beatrix Coyle"
    return token.norm in ends or amount or any(
        mention.first == index and mention.table in ("anaesthesia", "positions") for mention in sentence.mentions
    )


def _counts_things(sentence: Sentence, index: int) -> bool:
    """Whether a bare number behind an act and "of" counts what stands behind it."""
    quantity = sentence.tokens[index].quantity
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    deed = any(m.last == index - 2 for m in (*_deeds(sentence), *base.mentions(sentence, "acts", "procedures")))
    return deed and sentence.tokens[index - 1].norm == "of" and after.isalpha() and len(after) > 2 and (
        quantity is not None and not quantity.dimension
    )


def _is_person(sentence: Sentence, index: int) -> bool:
    """Whether a name begins at a token that no table has: a capital, and no abbreviation."""
    text = sentence.tokens[index].text
    return text[:1].isupper() and text[1:].islower() and not any(m.first <= index <= m.last for m in sentence.mentions)


def _past_side(sentence: Sentence, first: int) -> int:
    """The first token behind a side in brackets: "(R) second toe arthrodesis"."""
    norms = [token.norm for token in sentence.tokens[first : first + 3]]
    if norms[:1] == ["("]:
        norms, first = norms[1:], first + 1
    bracketed = first and sentence.tokens[first - 1].norm == "(" and norms[1:2] == [")"]
    return first + 2 if bracketed else first


def _is_place(sentence: Sentence, first: int) -> bool:
    """Whether nothing but where it was done stands from a token on, up to the next mark."""
    sites = {at for m in base.mentions(sentence, "sites") for at in range(m.first, m.last + 1)}
    last = first
    while last < len(sentence.tokens) and (not sentence.tokens[last].punctuation or _lists_on(sentence, last)):
        last += 1
    here = range(first, last)
    return any(at in sites for at in here) and all(
        at in sites or sentence.tokens[at].norm in OF_PLACE or sentence.tokens[at].text.lower() in _ORDINALS
        for at in here
    )


def _lists_on(sentence: Sentence, comma: int) -> bool:
    """ "..., right second, third, and fourth toes": a comma before one more ordinal."""
    after = [token.text.lower() for token in sentence.tokens[comma + 1 : comma + 3]]
    return sentence.tokens[comma].norm == "," and any(
        word in _ORDINALS and (at == 0 or after[0] == "and") for at, word in enumerate(after)
    )


OF_PLACE = frozenset("left right bilateral both the of his her on and , side proximal distal lateral medial".split())
# What is an operation by itself as the title, and a step in the body of another.
_WHOLE = frozenset({"washout", "paracentesis", "stent", "stenting", "tap", "pericardiocentesis"})
# Words; sentences: a title behind what led to it ("Aching veins. Ablation of the long saphenous.")
_TITLE, LATEST = 24, 4
_NO_NAME = frozenset("l r left right side the a an and of last next final this is in series number".split())
_ORDINALS = frozenset({"first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth"})


def _parts(sentence: Sentence, first: int, last: int) -> list[tuple[int, int]]:
    """Two operations that "and" joins, each with what it is done to: "removal of one and extraction of another"."""
    tokens = sentence.tokens
    for at in range(first + 3, last - 1):
        named = [index for index in range(at + 1, min(at + 4, last)) if tokens[index + 1].norm == "of"]
        deed = bool(named) and (tokens[named[0]].norm in rephrased.DONE or any(
            m.last == named[0] for m in base.mentions(sentence, "acts")
        ))
        if tokens[at].norm == "and" and deed and "of" in [token.norm for token in tokens[first:at]]:
            return [(first, at - 1), *_parts(sentence, at + 1, last)]
    return [(first, last)]


def _titled(reading: Reading, sentence: Sentence, first: int, last: int, grammar: Grammar) -> Fact:
    text = story.words(sentence, first, last)
    side = laterality.only_side(sentence, first, last, grammar)
    mixed = side != "bilateral" and any(token.norm == "both" for token in sentence.tokens[first : last + 1])
    if mixed:
        side = None  # "both lower molars and the upper left premolar"
    elif side is None:
        side, _ = laterality.side_for(sentence, first, last, grammar)
    if side is None and not mixed:  # "Excision of the accessory navicular, right foot"
        side = laterality.only_side(sentence, first, len(sentence.tokens) - 1, grammar, donors=False)
    site = next((m.id for m in base.mentions(sentence, "sites") if first <= m.first <= last), None)
    if sum(token.text.lower() in _ORDINALS for token in sentence.tokens[first : last + 1]) > 1:
        site = None  # "second, third and fourth toes"
    return base.make("procedure", reading, sentence, first, last, text=text, laterality=side, body_site=site)


def _goes_on(sentence: Sentence, act: Mention, other: int) -> bool:
    """ "Excision of a carcinoma with a local flap": the named operation is joined to the one in other words."""
    tokens = sentence.tokens
    of = act.first <= 3 and act.last + 1 < other and tokens[act.last + 1].norm == "of"
    return of and any(token.norm in ("with", "and", ",") for token in tokens[act.last + 1 : other])


def _is_noun(sentence: Sentence, mention: Mention) -> bool:
    """Whether an act stands as a name ("resection"), not as a verb that tells of it ("reduced closed")."""
    return not sentence.tokens[mention.last].norm.endswith("ed")


def _is_deed(mention: Mention, grammar: Grammar) -> bool:
    """Whether an act is something done to the patient, not a check or the way in."""
    row = grammar.table("acts", Concept)[mention.id]
    return row.group not in ("assessment", "opening", "closing")


_LOOSE = frozenset({"on", "of", "in", "at", "the", "and", "with", "to"})
_TITLE_ENDS = frozenset({",", ".", ";", ":", "for", "mister", "missus", "miss", "mr", "mrs", "patient", "under",
                         "because", "today"})  # fmt: skip
PROSE = frozenset({"was", "were", "had", "has", "is", "are", "then", "we", "i"})


def is_prose(sentence: Sentence, end: int | None = None) -> bool:
    return any(token.norm in PROSE for token in sentence.tokens[:end])
