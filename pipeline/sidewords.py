"""Words of side in a sentence: rows of grammars/sides.toml, without their look-alikes; the longest phrase wins."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from pipeline import body_parts
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.left_as_side import WRITTEN, is_ligament, is_none, is_side, is_talk, turns_to
from pipeline.mentions import folded
from pipeline.records import Laterality, Sentence, Token
from pipeline.rows import Concept
from pipeline.side_names import is_sided, names, of_sided_part, phrases, site_rows

# What ends a noun phrase to the left.
BREAKS = _words(
    "of in on at to from with for by and or nor but was were is are be been being had has have did then which who "
    "that than through over under into onto around between no not without we i he she they it performed done "
    "presented presents underwent via using after before during while as"
)


@dataclass(frozen=True, slots=True)
class Side:
    """A word of side at tokens first..last. `value` None: relative ("contralateral")."""

    first: int
    last: int
    value: Laterality | None


def sides(sentence: Sentence, grammar: Grammar) -> list[Side]:
    """Words of side in order, without look-alikes. Kept per sentence, since every extractor asks for them."""
    kept: tuple[Grammar, list[Side]] | None = sentence.memo.get("sides")
    if kept is None or kept[0] is not grammar:
        kept = sentence.memo["sides"] = grammar, _sides(sentence, grammar)
    return kept[1]


def named(sentence: Sentence, grammar: Grammar) -> frozenset[int]:
    """Tokens of side that are part of a name ("left colon", "right lateral decubitus") or of a place that is no side of
    the operation ("right iliac fossa"), and no "to the left" alone."""
    kept: tuple[Grammar, frozenset[int]] | None = sentence.memo.get("side-names")
    if kept is None or kept[0] is not grammar:
        said = {at for side in sides(sentence, grammar) for at in range(side.first, side.last + 1)}
        found: set[int] = set()
        norms = folded(sentence)
        for at in range(len(norms) if sentence.says(_SAID) else 0):
            words = next((words for words, _ in names(grammar).at(norms, at) if not _PLAIN.issuperset(words)), ())
            found.update(range(at, at + len(words)))
        astray: frozenset[int] = sentence.memo.get("no-sides", frozenset())
        kept = sentence.memo["side-names"] = grammar, frozenset(found - said) | astray
    return kept[1]


def drop(sentence: Sentence, grammar: Grammar, side: Side) -> None:
    """Takes a word of side for none, from here on: it was said as something else."""
    sentence.memo["sides"] = grammar, [one for one in sides(sentence, grammar) if one != side]
    sentence.memo["no-sides"] = sentence.memo.get("no-sides", frozenset()) | set(range(side.first, side.last + 1))
    sentence.memo.pop("side-names", None)


_SAID = frozenset({"left", "right"})
_PLAIN = frozenset({"left", "right", "from", "to", "the"})


def _sides(sentence: Sentence, grammar: Grammar) -> list[Side]:
    known = phrases(grammar)
    found: list[Side] = []
    if known.openers.isdisjoint(folded(sentence)) and not sentence.says(WRITTEN.keys()):
        return found
    norms = [WRITTEN.get(token.norm, word) for token, word in zip(sentence.tokens, folded(sentence), strict=True)]
    at = 0
    while at < len(norms):
        said = known.at(norms, at) if not is_ligament(sentence, at) else []
        if not said:
            at += 1
            continue
        words, row = said[-1] if said[0][1].id == "left-behind" and is_side(sentence, at) else said[0]
        side = _read(sentence, grammar, at, at + len(words) - 1, row)
        if side is not None and not _inside_name(sentence, side, grammar):
            if is_none(sentence, norms, at):
                sentence.memo["no-sides"] = sentence.memo.get("no-sides", frozenset()) | set(range(at, side.last + 1))
            else:
                found.append(side)
        at += len(words)
    return found


_SIDED, _AGREED = _words("procedures diagnoses sites"), _words("consent consented mark marked")


def _read(sentence: Sentence, grammar: Grammar, first: int, last: int, row: Concept) -> Side | None:
    if row.group == "eye":
        heads = first == 0 and len(sentence.tokens) > 1 and sentence.tokens[1].norm == ":" and row.say[0] == (
            sentence.tokens[0].norm
        )  # not "RE: the letter of the second"
        heads |= any(m.table == "events" and m.id == "time_out" for m in sentence.mentions) or sentence.says(_AGREED)
        behind = sentence.tokens[last + 1].norm if last + 1 < len(sentence.tokens) else ""
        heads |= behind in ("prepped", "draped", "prepared", "dilated")  # "OS prepped with Betadine 5 %"
        if not sentence.tokens[first].text.isupper() or not (heads or body_parts.about_an_eye(sentence, grammar)):
            return None
        return Side(first, last, row.side)
    if row.group == "initial":
        name = _opens_name(sentence, grammar, first) and not _before_sided(sentence, grammar, first)
        alone = sentence.tokens[first].text.isupper() and not name and (
            _beside_sided(sentence, grammar, first) or _stands_alone(sentence, first)
            or _in_short(sentence, grammar, first)
        )
        wide = last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm in ("side", "sided")
        return Side(first, last + wide, row.side) if alone else None
    if row.side is not None:
        sided = {m: is_sided(m, grammar) for m in sentence.mentions if m.table in _SIDED} if not last else {}
        return None if last == 0 and is_talk(sentence, sided) else Side(first, last, row.side)
    if row.group == "relative":
        return Side(first, last, None)
    if row.group == "with-sided-site":
        if first and sentence.tokens[first - 1].quantity is not None and not any(
            token.norm.endswith("s") for token in sentence.tokens[last + 1 : last + 4]
        ):
            return None  # "now twelve both patella twenty one": two gaps of twelve
        return Side(first, last, "bilateral") if _before_sided(sentence, grammar, last, of_part=True) else None
    norms = [token.norm for token in sentence.tokens[max(0, first - 2) : last + 1]]
    if norms[-2:] == ["right", "angle"] and sentence.says(_JAW) and not {"a", "at"} & set(norms[:-2]):
        return Side(last - 1, last - 1, "right")  # "fracture of the right angle and left parasymphysis"
    if row.id == "left-behind" and _LEFT_SO & {token.norm for token in sentence.tokens[last : last + 2]}:
        return None  # "one more was left behind the popliteus", "left alone acl intact"
    if row.id in _NO_NOUN and first and sentence.tokens[first - 1].norm == "the" and (
        sentence.tokens[first + 1].norm in _OPENERS
    ):
        # "on the left a sac", "on the right in the recess": what looks like a verb is a noun behind "the"
        return Side(first, first, "left" if sentence.tokens[first].norm == "left" else "right")
    if norms[-3:-1] == ["from", "the"] and first and sentence.tokens[first - 1].norm in _TAKEN:
        return Side(last, last, "left" if sentence.tokens[last].norm == "left" else "right")
    # "turned to the left", "is right": a side after all where a paired part of the body follows at once
    if sentence.tokens[first].norm in ("left", "right") and sentence.tokens[last].norm in _AFTER_TITLE and any(
        m.last == _before_levels(sentence, first) and m.table in ("procedures", "diagnoses") for m in sentence.mentions
    ):
        return Side(first, first, "left" if sentence.tokens[first].norm == "left" else "right")
    if turns_to(sentence, last):
        wide = last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm == "side"
        return Side(last, last + wide, "left" if sentence.tokens[last].norm == "left" else "right")
    if row.id == "side-of-position" and norms[-1] == "side" and first + 2 < last:
        return None  # "she lies on her right side, left hip up"
    loose = norms[-1] not in _OF_VERB and row.id != "right-size"  # "left open ray", but no "left the plica alone"
    ends = [index for index in (last, last - 1)[: 1 + loose]
            if index >= first and sentence.tokens[index].norm in ("left", "right")
            and sentence.tokens[min(index + 1, len(sentence.tokens) - 1)].norm not in _OF_VERB]  # fmt: skip
    if ends and (_before_sided(sentence, grammar, ends[0]) or any(  # "the side is left"
        token.norm in ("side", "laterality") for token in sentence.tokens[max(0, first - 2) : first])):
        return Side(ends[0], ends[0], "left" if sentence.tokens[ends[0]].norm == "left" else "right")
    return None


def _before_levels(sentence: Sentence, at: int) -> int:
    """The token before another one, over the levels of a spine: "microdiscectomy L4/5 left for sciatica"."""
    at -= 1
    while at > 0 and (sentence.tokens[at].norm == "#level" or (
        sentence.tokens[at].norm in (",", "and", "at") and sentence.tokens[at - 1].norm == "#level"
    )):
        at -= 1
    return at


_JAW = _words("mandible mandibular parasymphysis symphysis jaw champy ramus condyle condylar splint occlusion")
_OF_VERB = _words(
    "a an the it some them him her us behind against across beside near next along beneath above below past"
)
_LEFT_SO = _words("behind alone untreated unrepaired undisturbed untouched undone")
_NO_NOUN = frozenset({"left-behind", "right-size"})
# "Taken from the left" is no direction.
_TAKEN = _words("taken harvested obtained aspirated procured drained drawn tapped evacuated")
_OPENERS = _words("a an the no some it at in into over under to with as for only after before from again was is had")


def _beside_sided(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether an initial stands right before a thing that has two sides, or closes its phrase ("TKR, R")."""
    tokens = sentence.tokens
    before = tokens[at - 1].quantity if at else None
    if before is not None and before.unit is None and _measures(tokens[at - 1]):  # "1 L", not "32 mm R lower pole mass"
        return False
    opened = at and tokens[at - 1].norm == "("
    shut = at + 1 < len(tokens) and tokens[at + 1].norm in (")", ".")
    first, last = (at - 1 if opened else at), (at + 1 if shut else at)
    if not shut and at + 1 < len(tokens) and tokens[at + 1].norm in _PAIRED:
        return True
    for mention in sentence.mentions:
        if mention.table not in _SIDED or not is_sided(mention, grammar):
            continue
        if 0 < mention.first - last <= 3 and not any(token.punctuation for token in tokens[last + 1 : mention.first]):
            return True
        gap = tokens[mention.last + 1 : first]
        if 0 < first - mention.last <= 2 and all(token.punctuation for token in gap) and (
            last + 1 >= len(tokens) or shut or tokens[last + 1].punctuation or tokens[last + 1].norm in BREAKS
        ):
            return True
    return False


_PAIRED = _words("tube tubes side stent cord hemithorax iliac pleural")
_BESIDE = frozenset({"procedures", "diagnoses", "acts", "anaesthesia", "tourniquet", "drains", "sites"})


def _stands_alone(sentence: Sentence, at: int) -> bool:
    """Whether an initial is a side by how it is written: "(L)", "L: 5 cm incision", "side L", "tourniquet L 250 mmHg",
    "L 52 min, R 24 min"."""
    tokens = sentence.tokens
    before = tokens[at - 1] if at else None
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if after is not None and after.norm == "#level" and (before is None or before.norm in _OPENS_LEVELS):
        return True  # "L L3, L4 medial branch", "Procedure: L L4/5 facet injections"
    if before is not None and _measures(before):
        return _ends_grade(sentence, at)
    if before is not None and before.norm == "(":
        return after is not None and after.norm == ")" and (at < 2 or tokens[at - 2].quantity is None)
    if before is None and (after is None or not after.norm.isalpha()):
        return after is not None and (after.norm == ":" or (_number(after) and _both_initials(sentence)))
    if after is not None and (after.quantity is not None or after.norm == ":") and _both_initials(sentence):
        return True
    if after is not None and _opens(sentence, at) and after.norm.isalpha() and len(after.norm) > 1 and (
        {"L", "R"} <= {token.text for one, token in enumerate(tokens) if _opens(sentence, one)}
        and not any(m.table == "team" for m in sentence.mentions) and sentence.section not in ("team", "identity")
    ):  # "L Rutherford 4, R claudication", but "assistants L Brown, R Green"
        return True
    if before is None:
        return False
    led = tokens[at - 2].norm if before.norm == ":" and at > 1 else before.norm
    if led in ("side", "laterality"):
        return True
    shut = after is None or after.punctuation or after.norm in BREAKS or _amount(after)
    return shut and any(m.table in _BESIDE and m.last == at - 1 for m in sentence.mentions)


_OPENS_LEVELS = frozenset({":", ",", ";", "(", "and", "&", "+"})


def _ends_grade(sentence: Sentence, at: int) -> bool:
    """ "(KL 3 L, KL 2 R)": whether an initial ends an item of grades."""
    tokens = sentence.tokens
    shut = at + 1 >= len(tokens) or tokens[at + 1].punctuation
    return shut and any(m.table == "grades" and m.last == at - 2 for m in sentence.mentions)


def _in_short(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether an initial is a side as notes are written in short: "nodule R lobe", "L orifice", "stent R for 2 weeks",
    "EBL 300 mL R, 250 mL L". No initial of a name, no letter of an abbreviation, no name of a kind ("type R")."""
    tokens = sentence.tokens
    before, after = (tokens[at - 1] if at else None), (tokens[at + 1] if at + 1 < len(tokens) else None)
    if (before is None and after is None) or sentence.section in ("team", "identity") or (
        any(m.table == "team" for m in sentence.mentions)
    ):  # fmt: skip
        return False
    if before is not None and (
        (len(before.norm) == 1 and before.norm.isalpha()) or before.norm in _NOT_BEFORE or (
            before.quantity is not None and _measures(before) and (
                before.quantity.unit is None or not _both_behind(sentence)
            )
        )
    ):  # fmt: skip
        return False
    if after is not None and _amount(after) and before is not None and before.norm in (",", ";"):
        return {"L", "R"} <= {token.text for token in tokens}  # "R upper pole 60 mL, L 45 mL"
    counted = after is not None and after.quantity is not None and after.quantity.form != "ordinal"  # "L 4th MC"
    if after is None or counted or after.norm in BREAKS or after.norm in (",", ";", ")", ":"):
        return before is not None and (before.quantity is not None or before.norm.isalpha() or before.norm == "#level")
    if after.punctuation:
        return after.norm == "." and at + 2 == len(tokens) and before is not None and not before.punctuation
    if not after.norm.isalpha() or len(after.norm) == 1 or after.norm in _NOT_AFTER:
        return False
    name = after.text.istitle()  # "R Castellanos"
    return not name or any(m.first == at + 1 and m.table in _NOUNS for m in sentence.mentions)


def _opens_name(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether a name with a side in it begins with an initial: "L iliac fossa", "R atrium", "L lateral"."""
    after = (token.norm for token in sentence.tokens[at + 1 : at + _WORDS])
    norms = ["left" if sentence.tokens[at].norm == "l" else "right", *after]
    return bool(names(grammar).at(norms, 0))


_WORDS = 6  # of the longest name with a side in it
_NOUNS = frozenset({"sites", "procedures", "diagnoses", "findings", "acts", "devices", "drains"})
_NOT_BEFORE = _words(
    "mr mrs ms miss dr doctor prof professor pt patient by with assistant consultant surgeon nurse lot ref model type "
    "group vitamin hepatitis zone size grade pot jar bottle code room bay level lead . /"
)
_NOT_AFTER = _words("shaped shape plate plates spine wave waves form o b")


def _both_behind(sentence: Sentence) -> bool:
    """Whether L and R each stand behind an amount: "300 mL R, 250 mL L"."""
    return {"L", "R"} <= {
        after.text for one, after in pairwise(sentence.tokens) if _amount(one)
    }


def _opens(sentence: Sentence, at: int) -> bool:
    """Whether a part of a list begins with a token."""
    return at == 0 or sentence.tokens[at - 1].norm in (",", ";", ":", "and", "+", "&")


def _measures(token: Token) -> bool:
    """Whether a letter behind a token may be its unit: not behind a time of day or a level ("TO 0812 L shoulder")."""
    return token.quantity is not None and token.quantity.form not in ("clock", "level")


def _amount(token: Token) -> bool:
    return token.quantity is not None and token.quantity.unit is not None


def _both_initials(sentence: Sentence) -> bool:
    """Whether L and R stand in a sentence, each before an amount or a colon."""
    return {"L", "R"} <= {
        one.text for one, after in pairwise(sentence.tokens) if _number(after) or after.norm == ":"
    }  # fmt: skip


def _number(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form == "number"


# "partial nephrectomy left for a mass": after the name of an operation it is its side, not the verb.
_AFTER_TITLE = frozenset({"for", "with", "at", "under", "on", "by", "after", "in"})


def _before_sided(sentence: Sentence, grammar: Grammar, at: int, *, of_part: bool = False) -> bool:
    """Whether a paired part of the body is named within three words after a token, in the same noun phrase.

    `of_part`: a disease or an operation is one only where of such a part: "both loose bodies" may lie in one knee.
    """
    rows = site_rows(grammar)
    for index in range(at + 1, min(at + 5, len(sentence.tokens))):
        token = sentence.tokens[index]
        if token.punctuation or (token.norm in BREAKS and token.norm != "of"):
            return False
        if token.norm in ("left", "right"):
            return False  # "left lateral, right hip replacement"
        if token.norm == "hand" and index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm == "side":
            return False
        for mention in sentence.mentions:
            if mention.first == index and mention.table == "sites" and mention.id in rows and rows[mention.id].sided:
                return True
            if of_part and mention.first == index and mention.table == "procedures" and token.norm in _PAIRS:
                return True  # "both knees PRP"
            inside = mention.first <= at < index <= mention.last  # "osteoarthritis of both knees" is one name
            if (mention.first == index or inside) and mention.table in ("diagnoses", "procedures") and (
                of_sided_part(mention, grammar) if of_part else is_sided(mention, grammar)
            ):  # fmt: skip
                return True
    return False


_PAIRS = _words("knees hips shoulders elbows wrists hands thumbs ankles feet heels eyes ears groins breasts legs arms")
_LIVER = frozenset({"liver", "hepatic"})


def _inside_name(sentence: Sentence, side: Side, grammar: Grammar) -> bool:
    """Whether the word is part of a longer name that is no paired thing ("right upper quadrant", "left lateral", "right
    hemicolectomy", "the left lobe" where the liver is spoken of)."""
    after = sentence.tokens[side.last + 1].norm if side.last + 1 < len(sentence.tokens) else ""
    if after in ("lobe", "lobes") and sentence.says(_LIVER):
        return True
    if any(
        mention.table == "procedures" and mention.first <= side.first and side.last < mention.last
        and not is_sided(mention, grammar)
        for mention in sentence.mentions
    ):  # fmt: skip
        return True
    return any(
        mention.first <= side.first
        and side.last <= mention.last
        and mention.last - mention.first > side.last - side.first
        and mention.table in ("sites", "positions", "handedness", "idioms", "events", "closures", "team")
        # "left open" is how a wound is left, but not in "left open ray amputation"
        and not (mention.table == "closures" and _before_sided(sentence, grammar, side.last))
        for mention in sentence.mentions
    )


def of_next_one(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    """ "An aortic aneurysm and a 2 cm left iliac aneurysm": of a thing that is told anew, with an article or a size."""
    tokens = sentence.tokens
    led = range(side.first - 1, max(last, side.first - _PHRASE), -1)
    joint = next((at for at in led if tokens[at].norm in _AND), -1)
    if joint < 0 or joint + 1 >= side.first or not (
        tokens[joint + 1].norm in ("a", "an") or tokens[joint + 1].quantity is not None
    ):
        return False
    seen = [m for m in sentence.mentions if m.table in _SEEN]
    return any(m.first <= last and m.last >= first for m in seen) and any(
        0 < m.first - side.last <= _PHRASE for m in seen
    )


_AND = frozenset({"and", "+", "&", "plus", "with", ","})
_SEEN = frozenset({"findings", "diagnoses", "complications"})
_PHRASE = 4  # tokens
