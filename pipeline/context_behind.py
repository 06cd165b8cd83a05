"""How far a cue of status or certainty reaches back: to where its clause begins, or over the nearest named thing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline import clauses, context_ends
from pipeline.context_cues import CueHit
from pipeline.context_reach import BY_THE_WAY, JOINING, READY, RUN_ON, SETTING, THIN
from pipeline.records import Mention, Sentence, Token

_APART, _BACK = 2, 8  # words between a thing and a "none" of another; tokens that a status reaches back in a stream
_TOLD = 12  # tokens


def _told_already(tokens: Sequence[Token], first: int) -> bool:
    """ "The wound was packed and will be left open": what was done stands before the "and"."""
    if not first or tokens[first - 1].norm != "and":
        return False
    before = [token.norm for token in tokens[max(0, first - _TOLD) : first - 1]]
    return any(norm in ("was", "were") and after.endswith("ed") for norm, after in pairwise(before))


_THINGS = frozenset({"devices", "drains", "dressings", "tourniquet"})  # what is used in an operation
_TOLD_ALONE = _THINGS | {"findings", "diagnoses"}  # "hip scope pincer not real": not the scope


def start_behind(sentence: Sentence, hit: CueHit) -> int:
    """First token of the clause before a cue: the nearest stretch that holds more than thin words. A certainty cue
    takes the nearest named thing of it and those joined to that one, no more, and the "another" that counts it."""
    opens = context_ends.before_brackets(sentence.tokens, hit.first) if hit.rule.axis == "certainty" else 0
    first = _start(sentence, replace(hit, first=opens) if opens else hit)
    before = sentence.tokens[first - 1] if first and (hit.rule.axis == "certainty" or hit.rule.id in _PLANNED) else None
    number = before.quantity if before is not None and hit.rule.id in _PLANNED else None
    return first - (before is not None and (before.norm in ANOTHER or number is not None and not number.dimension))


def _start(sentence: Sentence, hit: CueHit) -> int:
    tokens = sentence.tokens
    stream = len(tokens) > RUN_ON
    certainty = hit.rule.axis == "certainty"
    if certainty and hit.first and tokens[hit.first - 1].norm == ":":
        return clauses.heading(sentence, hit.first - 1)
    if certainty and hit.first > 1 and tokens[hit.first - 1].norm == "then" and (
        (until := tokens[hit.first - 2].quantity) is not None and until.dimension == "time"
    ):
        return hit.first  # "crutches two weeks then none"
    if certainty and (subject := context_ends.before_aside(sentence, hit.first)) is not None:
        return _with_article(tokens, subject)
    if certainty and context_ends.is_other_deed(sentence, hit):
        return hit.first
    if certainty and hit.first and tokens[hit.first - 1].norm == "so":
        return hit.first  # "tilt corrected after the plication, so not needed": of what was said before that
    if hit.rule.id == "planned-before" and hit.first > 1 and tokens[hit.first - 1].quantity is not None and (
        tokens[hit.first - 2].norm in (",", ";", "and")
    ):
        return hit.first - 1  # "washed with nine litres, six were planned"
    if hit.rule.value == "planned" and _told_already(tokens, hit.first):
        return hit.first
    if hit.rule.value == "historical" and (own := _of_a_test(sentence, hit)) is not None:
        return own
    floor = max(0, hit.first - (min(hit.rule.reach, _BACK) if stream and not certainty else hit.rule.reach))
    ends = {m.last: m for m in sentence.mentions if m.table not in BY_THE_WAY}
    settings = {m.last for m in sentence.mentions if m.table in SETTING}
    people = {at for m in sentence.mentions if m.table == "team" for at in range(m.first, m.last + 1)}
    opened = clauses.starts(sentence)
    verbs = ("was", "were")
    bare = hit.rule.id in _BARE_NOUN and not {t.norm for t in tokens[max(0, hit.first - 1) : hit.first + 1]} & {*verbs}
    thick, named, finite, past, done, first, loose_words = False, False, False, -1, -1, -1, 0
    parts = {m.last: m.first for m in sentence.mentions if m.table == "sites"} if certainty else {}
    index = hit.first - 1
    while index >= floor:
        token = tokens[index]
        if certainty and token.norm in ("tried", "trialled") and index and tokens[index - 1].norm in ("we", "i"):
            return index  # "glenosphere thirty six, we tried a thirty nine but couldn't close"
        if certainty and not named and token.norm in ANOTHER:
            return index  # "one gram a second gram not given"
        sort = bare and named and _ends_sort(tokens, ends.get(index - token.punctuation))
        begun = certainty and index + 1 in opened and not sort and not _goes_on(tokens, index + 1)
        if thick and (begun or token.norm == "("):
            return index + 1
        if certainty and thick and token.norm == "yes":
            return index + 1  # "patella yes trochlea no"
        if certainty and thick and token.norm in ("none", "nil") and index:
            return index + 1  # "pvr none oil not used"
        if bare and thick and token.norm in clauses.FINITE:
            return index + 1  # "a tissue valve was implanted paravalvular leak none"
        if token.norm in (".", ";", "?", "!") or (token.norm in ("which", "who") and thick):
            return index + 1
        if certainty and token.norm == ":" and thick and not named:
            return clauses.heading(sentence, index)  # "drain: Robinson planned, omitted"
        listed = sort or (named and _list_before(tokens, index))
        if hit.rule.value == "historical" and (like := context_ends.like_before(sentence, index)) is not None:
            index = like - 1
            continue
        if token.norm in (",", "and", "but", ":") and thick and not listed and not (
            certainty and not named and _is_joint(sentence, index, hit)
        ):
            return index + 1
        if not certainty and thick and token.norm in ("she", "he", "they", "we", "i"):
            return index
        if certainty and not thick and token.quantity is not None and token.quantity.form == "ordinal" and index and (
            tokens[index - 1].norm in ("the", "a") or tokens[index - 1].punctuation
        ):
            return index - (not tokens[index - 1].punctuation)  # "three anchors, the fourth was not needed"
        if not named and token.norm == "one" and index and tokens[index - 1].norm in _WHICH:
            return _with_article(tokens, index - 1)  # "right TKR today left one is planned"
        verb = hit.rule.value == "historical" or tokens[hit.first].norm in clauses.FINITE
        told = sort or verb and index == hit.first - 1  # "biopsies last year", "seven stitches were planned"
        if index in settings and (stream or hit.rule.value != "planned") and (thick or not certainty) and not told:
            return index + 1
        if certainty and thick and token.quantity is not None:
            sized = named and index + 1 == first and index and tokens[index - 1].norm in ("a", "an", "the")
            return index - 1 if sized else index + 1  # "a 10 mm screw had been opened by mistake"
        if hit.rule.value == "historical" and thick and token.quantity is not None and (
            token.quantity.dimension in ("mass", "volume", "amount", "fraction") and tokens[index + 1].norm != "of"
        ):
            return index + 1  # "gentamicin 240 mg apixaban stopped three days ago", not "40 mg of Kenalog last year"
        if (certainty or hit.rule.id in _PLANNED) and not named and token.norm in _INTO_THE_SPINE:
            return ends[index].first if index in ends else index  # "mother arthritis spinal tried twice failed"
        if not named and index in parts and not thick and _is_subject(sentence, parts[index]):
            return _with_article(tokens, parts[index])
        finite = finite or token.norm in clauses.FINITE
        mention = ends.get(index)
        if mention is not None and mention.table == "acts" and mention.first == index and token.norm in READY:
            mention = None  # "third opened not used"
        if mention is not None and certainty and not named and _is_apart(
            tokens, mention, index, bare, 0 if finite and not bare else loose_words
        ):
            return index + 1
        if mention is not None and certainty and mention.table != "preparations":
            done = mention.table == "procedures" and any(
                m.first == first and m.table in _TOLD_ALONE for m in ends.values()
            )
            deed = mention.table == "acts" and tokens[index].norm.endswith("ed")
            if named and index + 1 == first and (mention.table == "drugs" or bare or done or deed):
                return index + 1  # "ropivacaine heparin was drawn up and never given", "ankle scope brace not used"
            if named and not _joins(sentence, mention.last + 1, first):
                return _with_article(tokens, first)  # "carotid endarterectomy right shunt ready not used"
            head = None if named else _head(sentence, mention.first)
            named, first = True, mention.first if head is None else head
            thick = True
            index = first - 1
            continue
        if mention is not None and hit.rule.value == "planned" and thick and mention.table == "procedures" and (
            not sentence.index and mention.first <= _TITLE and any(
                mention.last < m.first < hit.first and m.table in _CARE for m in sentence.mentions
            )
        ):  # fmt: skip
            return index + 1  # "knee scope physio next week"
        if named and hit.rule.id in _PLANNED and mention is None and token.norm not in JOINING and not (
            token.norm in _BEFORE_NAME | _OF or any(m.first <= index <= m.last for m in sentence.mentions)
        ) and index + 1 == first:
            return first  # "steroid failed trapeziectomy is plan b"
        if mention is not None and hit.rule.id in _PLANNED and mention.table in _OPERATIONS:
            if named and not any(one.norm in JOINING for one in tokens[mention.last + 1 : first]):
                return first  # "shoulder arthroscopy ... cuff repair was planned": the nearer one
            named_at = mention.first
            named, first, thick, index = True, named_at, True, mention.first - 1
            continue
        if mention is not None and hit.rule.value == "historical" and thick and mention.table == "drugs" and any(
            token.quantity is not None for token in tokens[max(0, mention.first - 2) : mention.first]
        ) and not _only_where(tokens[mention.last + 1 : hit.first]):
            return index + 1  # "two of lidocaine tear on the scan a year ago"
        if mention is not None and hit.rule.value == "historical" and done > 0 and _is_title(sentence, mention, done):
            return done  # "knee arthroscopy acl reconstruction twelve years ago": the nearer one
        if mention is not None and hit.rule.value == "historical":
            past = mention.first
            done = past if mention.table in ("procedures", "acts") else done
        elif index < past and tokens[hit.first].norm not in ("by", "from") and (
            token.norm in _ANSWERS | _DONE or token.norm.endswith("ed") or mention is not None
            and mention.table in ("drugs", "injectates") and not _joined_on(tokens, mention.last + 1, past)
        ):
            return index + 1  # "pinning skipped vitamin d deficiency treated last year", "drug given quinsy ..."
        thin = token.quantity is not None or token.punctuation or token.norm in THIN or token.norm in READY
        thin = thin or (token.norm in ("x", "\u00d7") and tokens[index - 1].quantity is not None)  # "10 x 60 mm"
        thin = thin or (certainty and (token.norm.endswith("ly") or index in people))
        loose = token.norm not in JOINING and token.norm not in _BEFORE_NAME and token.norm != "/"
        if certainty and named and loose and not _modifies(sentence, index):
            return index + 1
        joined = index - 1 in ends and not tokens[index - 1].norm.endswith("ed") and not (
            _is_counted(tokens, ends[index - 1].first) or clauses.is_state(sentence, index - 1)
        )  # "bone graft material none"; not "three anchors spur none"
        if bare and tokens[hit.first].norm in _BARE_NOUN and index == hit.first - 1 and not (
            named or thin or joined
        ) and _is_noun(tokens, index) and not _is_place(tokens, index, ends):  # fmt: skip
            return index  # "anchors placed loss nil": of a noun that no table holds
        thick = thick or not thin
        loose_words += not thin and token.norm not in _OF_DOUBT and not (
            certainty and any(m.first <= index <= m.last and m.table == "sites" for m in sentence.mentions)
        )
        if certainty and not named and thick and token.norm == "the" and _opens_subject(sentence, index):
            return index  # "... preserved the inferior one not found"
        index -= 1
    return min(max(floor, 0), first) if certainty and named else max(floor, 0)


def _only_where(between: tuple[Token, ...]) -> bool:
    """ "A gram of vancomycin on the ward last night", "given by the crew": nothing but the place or the verb."""
    said = [token.norm for token in between]
    placed = said[:1] in (["on"], ["in"], ["at"]) and said[1:2] and said[1] in _PLACE_LED
    return len(said) <= _PLACED and (bool(placed) or said == ["given"])


_PLACED, _PLACE_LED = 4, ("the", "a", "another", "hospital", "casualty")


def _joined_on(tokens: tuple[Token, ...], first: int, end: int) -> bool:
    """Whether a joining word stands between two things."""
    return any(token.norm in JOINING | _OF | {"with", "in", "by", "then"} for token in tokens[first:end])


_DONE = frozenset("given done seen taken sent withheld".split())


def _is_title(sentence: Sentence, mention: Mention, past: int) -> bool:
    """Whether an operation opens the narration and nothing joins it to the one behind it, which is of the past."""
    if sentence.index or mention.table != "procedures" or mention.first > _TITLE:
        return False
    between = [token.norm for token in sentence.tokens[mention.last + 1 : past]]
    return clauses.FINITE.isdisjoint(between) and not (
        JOINING | _OF | {"with", "after", "following"}
    ).intersection(between[-2:]) and any(
        m.first == past and m.table in ("procedures", "acts") for m in sentence.mentions
    )


_CARE = frozenset({"aftercare", "dressings", "dispositions", "drugs"})
_TITLE = 2  # tokens before the name: a side


def _of_a_test(sentence: Sentence, hit: CueHit) -> int | None:
    """ "Ulnar nerve release emg last spring showed slowing": when the nerve was tested, and nothing else."""
    at = hit.first - 1 - (sentence.tokens[hit.first - 1].norm in ("from", "of", "done", "taken"))
    return at if at >= 0 and sentence.tokens[at].norm in _TESTS else None


_TESTS = frozenset("emg ncs mri ct xray x-ray radiograph radiographs films scan ultrasound uss dexa arthrogram mrcp "
                   "angiogram echo biopsy bloods pet".split())  # fmt: skip


_WHICH = frozenset({"left", "right", "other"})


def _joins(sentence: Sentence, first: int, end: int) -> bool:
    """Whether a joining word or mark, a preposition or an overlap ties two named things: nothing but a side between
    them leaves them apart, the second being a subject of its own."""
    between = [token.norm for token in sentence.tokens[first:end]]
    return not between or not _OF_A_SIDE.issuperset(between)


def _ends_sort(tokens: tuple[Token, ...], mention: Mention | None) -> bool:
    """ "Drains, specimens none", "drain/spec none": a sort of things by its bare name, before a mark and "none"."""
    before = tokens[mention.first - 1] if mention is not None and mention.first else None
    return mention is not None and mention.table in _SORTS and (before is None or before.punctuation)


_SORTS = frozenset({"drains", "specimens", "complications"})


def _is_subject(sentence: Sentence, first: int) -> bool:
    """ "Subscapularis intact ac joint not touched": a part right before a denial is what was left alone, unless a
    preposition or a list joins it to what stands before it ("a tear of the ac joint not seen")."""
    at = first - 1
    while at >= 0 and (sentence.tokens[at].norm in _BEFORE_NAME or sentence.tokens[at].norm in _OF_A_SIDE):
        at -= 1
    if at >= 0 and any(m.last == at and m.table == "guidance" for m in sentence.mentions):
        return True  # "tear excluded on ultrasound biceps sheath not entered"
    if at < 0 or not any(m.last == at and m.table == "findings" for m in sentence.mentions):
        return False
    return clauses.is_state(sentence, at)


def _opens_subject(sentence: Sentence, index: int) -> bool:
    """Whether an article opens what is denied: a participle or a state before it ends what was told."""
    if not index or any(m.first == index + 1 and m.table == "sites" for m in sentence.mentions):
        return False
    before = sentence.tokens[index - 1].norm
    return clauses.is_state(sentence, index - 1) or (before.endswith("ed") and len(before) > _LEAST_PARTICIPLE)


_LEAST_PARTICIPLE = 4


def _with_article(tokens: tuple[Token, ...], first: int) -> int:
    while first and tokens[first - 1].norm in _BEFORE_NAME:
        first -= 1
    return first


_OF_A_SIDE = frozenset({"left", "right", "medial", "lateral", "anterior", "posterior", "superior", "inferior"})


def _goes_on(tokens: tuple[Token, ...], start: int) -> bool:
    """Whether a clause begins with a word that joins it to what is before."""
    return tokens[start].norm in ("and", "or", "nor") or (start > 0 and tokens[start - 1].norm in ("and", "or", ","))


_PLANNED = frozenset({"planned-before", "planned-after", "told-ahead", "talked-of"})
_OPERATIONS = frozenset({"procedures", "acts", "drugs", "injectates", "devices", "drains", "anaesthesia"})
# Words for one more dose or thing, which is denied and leaves the one before it as it was.
ANOTHER = frozenset({"second", "third", "further", "another", "repeat", "redose", "redosing", "top-up", "extra"})


def _is_apart(tokens: tuple[Token, ...], mention: Mention, index: int, bare: bool, words: int) -> bool:
    """Whether words between a named thing and a denial make them two statements: "protamine full dose transfused none",
    "capsule released posterior not needed"."""
    deed = mention.table == "acts" and mention.first == index and tokens[index].norm.endswith("ed")
    return words >= (_APART if bare else _FAR_APART) or deed and words > 0


_FAR_APART = 3


_ANSWERS = frozenset({"none", "nil", "no", "not", "never", "yes"})
_OF_DOUBT = frozenset(
    "suspected queried expected feared possible probable preop pre-op pre op preoperatively scan mri ct xray".split()
)


def _is_counted(tokens: tuple[Token, ...], first: int) -> bool:
    """Whether a number stands before a name, which is told with it."""
    return first > 0 and tokens[first - 1].quantity is not None


def _is_noun(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether a word right before "none" may be what there was none of, and no participle ("packs used none")."""
    norm = tokens[index].norm
    return norm.isalpha() and not norm.endswith("ed") and norm not in _PARTICIPLES


def _is_place(tokens: tuple[Token, ...], index: int, ends: Mapping[int, Mention]) -> bool:
    """ "Effusion in the joint none": a noun that tells where the thing before it would be."""
    at = index - 1
    while at > 0 and tokens[at].norm in ("the", "left", "right", "his", "her"):
        at -= 1
    return at > 0 and tokens[at].norm in ("in", "at", "of", "on") and at - 1 in ends


_PARTICIPLES = frozenset("seen found given taken put left sent made done drawn lost cut in there today felt".split())
_BARE_NOUN = frozenset({"none", "nil"})  # cues that are said right behind their noun, without a verb
# Words that belong to the named thing right after them.
_BEFORE_NAME = frozenset({"a", "an", "the", "any", "this", "that", "his", "her", "left", "right", "further", "other"})


def _modifies(sentence: Sentence, index: int) -> bool:
    """Whether a word is an adjective of a list ("chondral or meniscal damage"): "or"/"and" stands close before it."""
    return any(token.norm in ("or", "and", "nor") for token in sentence.tokens[max(0, index - 2) : index])


def _list_before(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether a mark or "and" before a named thing goes on a list ("a tear and loose bodies were not seen")."""
    return tokens[index].norm == "and" or any(token.norm in ("and", "or") for token in tokens[index + 1 : index + 6])


def _head(sentence: Sentence, first: int) -> int | None:
    """The first token of a specimen or step that a thing is said of: "a biopsy for cell culture was refused"."""
    at = first - 1
    while at >= max(1, first - _TO_HEAD) and sentence.tokens[at].norm.isalpha() and (
        sentence.tokens[at].norm not in _OF
    ):  # fmt: skip
        at -= 1
    if at < 1 or sentence.tokens[at].norm not in _OF:
        return None
    heads = [m.first for m in sentence.mentions if m.last == at - 1 and m.table in ("specimens", "acts", "procedures")]
    return heads[0] if heads else None


_TO_HEAD = 4  # tokens
_OF = frozenset({"for", "of", "from"})
_INTO_THE_SPINE = frozenset({"spinal", "epidural", "caudal"})


def _is_joint(sentence: Sentence, index: int, hit: CueHit) -> bool:
    """ "Mesh and implant were never considered": a noun in the singular before "were" is one half of a subject, the
    other half of which is the named thing before "and"."""
    behind = [token.norm for token in sentence.tokens[index + 1 : hit.last + 1]]
    behind = behind[1:] if behind[0] in _ARTICLES else behind
    halves = sentence.tokens[index].norm == "and" and behind[1:2] == ["were"] and not behind[0].endswith("s")
    return halves and any(m.last == index - 1 and m.table not in BY_THE_WAY for m in sentence.mentions)


_ARTICLES = frozenset({"the", "a", "an", "any"})
