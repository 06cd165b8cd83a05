"""Words of side in a sentence: rows of grammars/sides.toml, without their look-alikes; the longest phrase wins."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline import body_parts
from pipeline.clauses import word_set as _words
from pipeline.compared_sides import PAIRS, compared, tells_degree
from pipeline.grammar import Grammar
from pipeline.left_as_side import WRITTEN, is_ligament, is_none, is_side, is_talk, turns_to
from pipeline.mentions import folded
from pipeline.records import Laterality, Sentence
from pipeline.rows import Concept
from pipeline.side_initials import beside_sided, in_short, opens_name, stands_alone
from pipeline.side_names import BREAKS, is_sided, names, of_sided_part, phrases, site_rows


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
    if known.openers.isdisjoint(folded(sentence)) and not sentence.says(WRITTEN.keys() | PAIRS):
        return found
    norms = [WRITTEN.get(token.norm, word) for token, word in zip(sentence.tokens, folded(sentence), strict=True)]
    at = 0
    while at < len(norms):
        together = compared(norms, at)
        if together is not None:
            if sentence.says(_SPINE):  # "lumbar radiculopathy, right worse than left": of what lies in the middle
                astray = sentence.memo.get("no-sides", frozenset())
                sentence.memo["no-sides"] = astray | set(range(at, together + 1))
                sentence.memo["compared"] = (at, together)
            else:
                found.append(Side(at, together, "bilateral"))
            at = together + 1
            continue
        said = known.at(norms, at) if not is_ligament(sentence, at) else []
        if not said:
            at += 1
            continue
        words, row = said[-1] if said[0][1].id == "left-behind" and is_side(sentence, at) else said[0]
        each = _one_each(sentence, at, at + len(words) - 1) if row.id == "bilateral" else None
        if each is not None:
            found += each
            at += len(words)
            continue
        side = _read(sentence, grammar, at, at + len(words) - 1, row)
        if side is not None and not _inside_name(sentence, side, grammar):
            if is_none(sentence, norms, at) or tells_degree(norms, at):
                sentence.memo["no-sides"] = sentence.memo.get("no-sides", frozenset()) | set(range(at, side.last + 1))
            else:
                found.append(side)
        at += len(words)
    return found


def _one_each(sentence: Sentence, first: int, last: int) -> list[Side] | None:
    """The two sides of "varicocele left and right hydrocele": the first ends one name of an illness or an operation and
    the second leads another. None where they are the two sides of one thing."""
    said = [sentence.tokens[at].norm for at in (first, last)]
    if {*said} != {"left", "right"} or last == first + 1 and sentence.tokens[last].norm != "right":
        return None
    ends = {m.table: m.id for m in sentence.mentions if m.last == first - 1 and m.table in _NAMES_OF_THINGS}
    leads = {m.table: m.id for m in sentence.mentions if m.first == last + 1 and m.table in _NAMES_OF_THINGS}
    unnamed = not any(m.first == last + 1 for m in sentence.mentions) and last + 1 < len(sentence.tokens) and (
        _ILLNESS.search(sentence.tokens[last + 1].norm) is not None
    )
    if not any(leads.get(table, ident) != ident or unnamed for table, ident in ends.items()):
        return None
    return [Side(first, first, "left" if said[0] == "left" else "right"),
            Side(last, last, "left" if said[1] == "left" else "right")]  # fmt: skip


_NAMES_OF_THINGS = frozenset({"diagnoses", "procedures"})
_ILLNESS = re.compile(r"(?:cele|oma|itis|osis|cyst|pathy|plasty|ectomy|otomy|pexy)$")


def _is_about_a_thing(sentence: Sentence, grammar: Grammar, last: int) -> bool:
    """ "Three screws on either side of the fracture": beyond it and before it, and no side of the body. "Both sides of
    the neck", "of the midline" are."""
    tokens = sentence.tokens
    if tokens[last].norm not in ("side", "sides") or last + 1 >= len(tokens) or tokens[last + 1].norm != "of":
        return False
    at = last + 2
    while at < len(tokens) and tokens[at].norm in ("the", "a", "this", "that", "his", "her", "each"):
        at += 1
    rows = site_rows(grammar)
    part = next((rows[m.id] for m in sentence.mentions if m.table == "sites" and m.first == at and m.id in rows), None)
    if part is not None:
        return part.sided or part.group in _TISSUES
    return at < len(tokens) and tokens[at].norm not in _BODY


_TISSUES = frozenset({"skin-layer", "muscle-tendon-ligament", "bone", "digit", "joint", "vessel", "nerve"})
_BODY = _words("body midline patient table neck face chest spine spinous mouth jaw back abdomen trunk pelvis jaws")
_SPINE = _words("#level lumbar cervical thoracic spinal spine radiculopathy sciatica facet disc back neck")
_SIDED, _AGREED = _words("procedures diagnoses sites"), _words("consent consented mark marked")


def _read(sentence: Sentence, grammar: Grammar, first: int, last: int, row: Concept) -> Side | None:
    if row.group == "eye":
        heads = first == 0 and len(sentence.tokens) > 1 and sentence.tokens[1].norm == ":" and row.say[0] == (
            sentence.tokens[0].norm
        )  # not "RE: the letter of the second"
        heads |= first == 0 and len(sentence.tokens) > 2 and sentence.tokens[1].norm == ":" and (
            sentence.tokens[2].text.islower() and sentence.tokens[2].norm not in ("the", "your", "our", "a")
        )  # "RE: superotemporal, 3.5 mm"
        heads |= any(m.table == "events" and m.id == "time_out" for m in sentence.mentions) or sentence.says(_AGREED)
        behind = sentence.tokens[last + 1].norm if last + 1 < len(sentence.tokens) else ""
        heads |= behind in ("prepped", "draped", "prepared", "dilated")  # "OS prepped with Betadine 5 %"
        if not sentence.tokens[first].text.isupper() or not (heads or body_parts.about_an_eye(sentence, grammar)):
            return None
        return Side(first, last, row.side)
    if row.group == "initial":
        name = opens_name(sentence, grammar, first) and not _before_sided(sentence, grammar, first)
        alone = sentence.tokens[first].text.isupper() and not name and (
            beside_sided(sentence, grammar, first) or stands_alone(sentence, first)
            or in_short(sentence, grammar, first)
        )
        wide = last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm in ("side", "sided")
        return Side(first, last + wide, row.side) if alone else None
    if row.id == "bilateral" and _is_about_a_thing(sentence, grammar, last):
        return None
    if row.side is not None:
        sided = {m: is_sided(m, grammar) for m in sentence.mentions if m.table in _SIDED} if not last else {}
        return None if last == 0 and is_talk(sentence, sided) else Side(first, last, row.side)
    if row.group == "relative":
        return Side(first, last, None)
    if row.group == "with-sided-site" and _shuts_title(sentence, grammar, first, last):
        return Side(first, last, "bilateral")
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
    only = sentence.tokens[last].norm == "only"
    shut = only or sentence.tokens[last].norm in _AFTER_TITLE
    if sentence.tokens[first].norm in ("left", "right") and shut and any(
        m.last == _before_levels(sentence, first)
        and (m.table in ("procedures", "diagnoses") or (only and m.table == "acts")) for m in sentence.mentions
    ):  # fmt: skip
        return Side(first, first, "left" if sentence.tokens[first].norm == "left" else "right")
    if row.id == "right-size" and _is_cut_off(sentence, first + 1):
        return Side(first, first, "right")
    if turns_to(sentence, last):
        wide = last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm == "side"
        return Side(last, last + wide, "left" if sentence.tokens[last].norm == "left" else "right")
    if row.id == "side-of-position" and norms[-1] == "side" and first + 2 < last:
        return None  # "she lies on her right side, left hip up"
    loose = norms[-1] not in _OF_VERB and row.id != "right-size"  # "left open ray", but no "left the plica alone"
    ends = [index for index in (last, last - 1)[: 1 + loose]
            if index >= first and sentence.tokens[index].norm in ("left", "right") and not _is_head_turned(norms)
            and sentence.tokens[min(index + 1, len(sentence.tokens) - 1)].norm not in _OF_VERB]  # fmt: skip
    if ends and (_before_sided(sentence, grammar, ends[0]) or any(  # "the side is left"
        token.norm in ("side", "laterality") for token in sentence.tokens[max(0, first - 2) : first])):
        return Side(ends[0], ends[0], "left" if sentence.tokens[ends[0]].norm == "left" else "right")
    return None


def _shuts_title(sentence: Sentence, grammar: Grammar, first: int, last: int) -> bool:
    """ "Knee injection, both.": whether "both" stands alone behind a thing that has a left and a right."""
    tokens = sentence.tokens
    shut = last + 1 >= len(tokens) or tokens[last + 1].punctuation
    return shut and first > 1 and tokens[first - 1].norm in (",", "(") and any(
        m.last == first - 2 and m.table in _SIDED | {"acts"} and (is_sided(m, grammar) or any(
            part.table == "sites" and part.last == m.first - 1 and is_sided(part, grammar) for part in sentence.mentions
        )) for m in sentence.mentions
    )


def _is_head_turned(norms: list[str]) -> bool:
    """ "Head turned to the right facial nerve monitor on": which way the head lies, whatever comes next."""
    way = {"turned", "rotated", "to", "facing"}
    return not {"head", "neck", "face", "chin"}.isdisjoint(norms[:3]) and not way.isdisjoint(
        norms
    )


def _is_cut_off(sentence: Sentence, at: int) -> bool:
    """ "Right above knee amputation", "right below elbow stump": whether a level of a limb begins at a token."""
    if sentence.tokens[at].norm not in ("above", "below", "through"):
        return False
    return any(m.first == at and m.table == "procedures" for m in sentence.mentions) or any(
        m.first == at + 1 and m.table == "sites" for m in sentence.mentions
    )


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


def points_elsewhere(sentence: Sentence, found: list[Side], first: int, last: int) -> bool:
    """Whether the phrase has a direction of its own ("deviated to the left, spur on the right")."""
    sides = {index for side in found for index in range(side.first, side.last + 1)}
    for step, index in ((-1, first - 1), (1, last + 1)):
        while 0 <= index < len(sentence.tokens) and not sentence.tokens[index].punctuation:
            if sentence.tokens[index].norm in ("left", "right") and index not in sides:
                return sentence.tokens[index - 1].norm == "the"
            if index in sides:
                break
            index += step
    return False


_AND = frozenset({"and", "+", "&", "plus", "with", ","})
_SEEN = frozenset({"findings", "diagnoses", "complications"})
_PHRASE = 4  # tokens
