"""How far a cue of status or certainty reaches: ahead to the end of its clause or to the next named thing, and back."""

from __future__ import annotations

from itertools import pairwise

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit
from pipeline.records import Mention, Sentence, Token

# Function words of English (closed classes; grammars/ holds what is medical).
_JOINING = frozenset({"or", "nor", "and", ",", "/", "either", "neither"})
THIN = _words(
    "a an the any of in on at to into within from around about along over under near by for with this that "
    "these those its his her their our it he she they we i there was were is are be been being had has have "
    "did and then but or also again still further other such either both all each as up out down noted seen "
    "found identified present"
)
# Words of making ready: "was prepared but not given" says of the drug before them that it was not given.
READY = _words(
    "prepared drawn made ready opened available offered considered attempted tried kept placed applied fitted "
    "positioned set mounted planned intended scheduled"
)
_AFRESH = frozenset({"a", "an", "the", "some", "mild", "moderate", "severe", "good", "normal", "intact"})
_PAST = frozenset({"was", "were", "had"})
_BORDER = frozenset({";", ":", ".", "?", "!", "—", "...", "…"})
_BACK = 8  # tokens that a status reaches back in such a stream
RUN_ON = 40  # tokens; a longer sentence is a stream of speech without full stops [chosen on own narrations]


def ahead_clause(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> int:
    """Last token of the clause that follows a status cue."""
    tokens = sentence.tokens
    end = len(tokens) - 1
    limit = min(end, hit.last + hit.rule.reach)
    settings = {m.first for m in sentence.mentions if m.table in _SETTING}
    starts = clauses.starts(sentence)
    opened = starts if hit.rule.id in _FEARS else ()
    bare = not any(token.punctuation for token in tokens[hit.first : limit + 1])
    for index in range(hit.last + 1, limit + 1):
        if tokens[index].norm == "." and tokens[index - 1].norm in _SHORT:
            continue
        if tokens[index].norm in (".", ";", "?", "!") or (index in stops and tokens[index].norm in _TURNS):
            return index - 1
        prepared = tokens[hit.last].norm == "for" and tokens[hit.last - 1].norm == "preparation"
        if (hit.rule.id == "aimed" or prepared) and tokens[index].norm == ",":
            return index - 1  # "in preparation for the fusion, the endplates were burred"
        if bare and index > hit.last + 1 and index in starts and _is_over(sentence, hit, index):
            return index - 1
        if bare and hit.rule.value == "planned" and _is_under_way(sentence, hit, index):
            return index - 1
        dated = clauses.is_year(tokens[index]) and tokens[index - 1].norm in ("in", "since")
        if hit.rule.value == "historical" and dated:
            return index
        if hit.rule.value == "conditional" and tokens[index].norm in _CHOSEN:
            return index - 1
        if hit.rule.id == "purpose" and clauses.is_past_purpose(sentence, index):
            return index - 1
        if tokens[hit.last].norm in _ADJECTIVES and clauses.acted_on(sentence, index) and index > hit.last + 1:
            return index - 1  # "the previous osteotomy was resected": today
        if hit.rule.value == "historical" and index > hit.last + 1 and (
            clauses.names_operation(sentence, index) or (tokens[hit.first - 1].norm == "no" and index in starts)
        ):
            return index - 1  # "no prior surgery the right cuff was repaired in 2019"
        if hit.rule.value == "historical" and _is_this_time(sentence, index):
            return index - 1
        if hit.rule.value in ("historical", "other_person") and tokens[index].norm in ("today", "now"):
            return max(hit.last, min(index, max(clauses.bounds(sentence, index)[0], hit.last + 1)) - 1)
        if hit.rule.value == "planned" and clauses.told_next(sentence, index):
            return index - 1
        if hit.rule.value == "planned" and clauses.told_done(sentence, index):
            return index - 1 if tokens[index].norm == "underwent" else hit.last
        if hit.rule.value == "planned" and len(tokens) <= RUN_ON:
            continue
        if hit.rule.value == "other_person" and index > hit.last + 1 and (
            _is_patient(sentence, index) or (len(tokens) > RUN_ON and index in clauses.starts(sentence))
        ):  # fmt: skip
            return index - 1
        if hit.rule.value == "other_person" and any(m.table == "drugs" and m.first == index for m in sentence.mentions):
            return index - 1
        feared = hit.rule.id in _FEARS and tokens[index - 1].norm in _STILL
        if (index in settings and not feared) or (tokens[index].norm == "," and clauses.opens_one(sentence, index + 1)):
            return index - 1
        if hit.rule.id in _FEARS and index in opened and clauses.is_main(sentence, index):
            return index - 1
    return limit


def _is_this_time(sentence: Sentence, index: int) -> bool:
    """ "The right one was done in March with four anchors, this time only two"."""
    norms = [token.norm for token in sentence.tokens[index : index + 2]]
    return norms in (["this", "time"], ["this", "side"], ["this", "one"])


_THERE = frozenset({"there's", "theres", "there"})
_IS = frozenset({"is", "was", "are", "were"})


def _is_under_way(sentence: Sentence, hit: CueHit, index: int) -> bool:
    """ "Consent for the knee standard portals there's a tear": in speech without marks, ways in and what there is to be
    seen tell that the work has begun."""
    norm = sentence.tokens[index].norm
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    if norm in _THERE:
        return norm != "there" or after in _IS
    led = sentence.tokens[index - 1].norm in ("through", "via", "by", "with", "using", "the", "a")
    ways = any(m.table == "approaches" and m.first == index for m in sentence.mentions)
    return ways and not led and index > hit.last + 1


def _is_over(sentence: Sentence, hit: CueHit, start: int) -> bool:
    """Whether a clause that begins in speech without marks tells of something else than the status before it: of the
    past no more, of a plan where something is told as it was."""
    if hit.rule.value in ("historical", "other_person"):
        return len(sentence.tokens) > RUN_ON or hit.rule.value == "other_person"
    first, end = clauses.bounds(sentence, start)
    norms = [token.norm for token in sentence.tokens[first:end]]
    did = any(norm in ("we", "i") and after in clauses.DID for norm, after in pairwise(norms))
    if hit.rule.id == "would":
        return did or bool({"was", "were", "had"} & set(norms))
    return hit.rule.value == "planned" and (did or hit.rule.id == "aimed" and norms[0] not in ("to", "and"))


def _is_patient(sentence: Sentence, index: int) -> bool:
    """ "Her sister had a dystocia she has asthma": with the pronoun that opens a clause the patient is meant again."""
    norms = [token.norm for token in sentence.tokens[index : index + 2]]
    told = norms[-1] in clauses.FINITE or norms[-1] in _TOLD
    return norms[0] in ("she", "he", "patient") and told and (
        index in clauses.starts(sentence) or sentence.tokens[index - 1].norm in (",", "and", "but", "the")
        or norms[-1] in _TOLD
    )


_TOLD = _words("takes took uses used denies denied smokes smoked underwent never lives suffers suffered wants declined")
# Things of the operation itself: a history or a condition said before them does not reach over them.
_SETTING = frozenset(
    {"anaesthesia", "positions", "preparations", "counts", "sutures", "closures", "handedness", "sex", "team", "events",
     "conditions", "dispositions", "tourniquet", "grades", "drains", "specimens"}
)
_ADJECTIVES = frozenset({"previous", "prior", "old", "preexisting", "existing", "longstanding", "standing", "known"})
_SHORT = frozenset({"incl", "rt", "lt", "approx"})
# What is feared or aimed at is told in a phrase: the clause behind it tells what was done.
_FEARS = frozenset({"risks", "purpose"})
_STILL = frozenset({"a", "an", "the", "of", "for", "and", "or", "possible"})
# What was chosen after the options and risks were told is no option any more.
_CHOSEN = frozenset(
    {"chose", "chosen", "elected", "opted", "decided", "proceeded", "preferred", "wanted", "signed", "accepted",
     "agreed"}
)
_TURNS = frozenset({"but", "however", "although", "though", "therefore", "so", "then", "next", "please"})


def ahead_named(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> int:
    """Last token that a certainty cue governs ahead: the next named thing and those joined to it."""
    tokens = sentence.tokens
    limit = min(len(tokens) - 1, hit.last + hit.rule.reach)
    starts = {mention.first: mention for mention in sentence.mentions if mention.table not in BY_THE_WAY}
    others = {other.first for other in hits if other is not hit and other.rule.axis == "certainty"}
    over = [m.last for m in sentence.mentions if m.first <= hit.first and m.last > hit.last]
    if [token.norm for token in tokens[hit.last + 2 : hit.last + 4]] in (["in", "it"], ["inside", "it"]):
        over.append(hit.last + 3)  # "no bowel in it mesh ..."
    index, named = max([hit.last, *over]) + 1, bool(over)
    parts = {m.first: m.last for m in sentence.mentions if m.table == "sites"}
    opened = clauses.starts(sentence)
    words = 0  # of a noun that no grammar names: "no injury to the bladder", "no known allergies"
    while index <= limit:
        norm = tokens[index].norm
        if not named and hit.rule.id in _OF_NOUNS:
            if words and (norm in _ENDS_NOUN or words == _MOST_WORDS):
                return index - 1
            if norm in _ALLERGY:
                return index
            if words and index in starts and starts[index].table in _SETTING:
                return index - 1  # "no weakness back to the ward"
            if index in parts and words and tokens[index - 1].norm in _TO_A_PART:
                named, index = True, parts[index] + 1
                continue
            words += norm not in THIN and norm not in _JOINING
        if norm in _BORDER or index in stops or (index in others and index > hit.last + 1):
            return index - 1
        if norm in _CLOSES or (index in opened and index > hit.last + 1 and norm not in ("or", "nor")):
            return index - 1
        if norm == "," or norm in ("and", "/"):
            if clauses.opens_one(sentence, index + 1) or (norm == "and" and _affirms(sentence, index + 1)):
                return index - 1
            if norm == "," and index > hit.last + 1 and clauses.told_more(sentence, index + 1):
                return index - 1
            index += 1
            continue
        if not named and tokens[index].quantity is not None and (index > hit.last + 2 or words):
            return index - 1
        mention = starts.get(index)
        if mention is not None:
            if not named and mention.table in _SETTING and index > hit.last + 3:
                return index - 1
            part = hit.rule.id in _OF_NOUNS and (
                _listed_on(sentence, index, starts) or mention.table == "drugs" and _is_part(sentence, index)
            )
            if named and (
                mention.table in _OUTCOME or (not _joined(sentence, index, hit.last) and not part)
                or (mention.table in _WAYS and tokens[index - 1].norm not in _JOINING)
            ):
                return index - 1
            named, index = True, mention.last + 1
            limit = max(limit, min(len(tokens) - 1, index + 6))
            continue
        if named and index in parts and tokens[index - 1].norm not in _TO_A_PART | _JOINING:
            return index - 1  # "no cord round the neck placenta complete"
        if named and norm not in THIN and norm not in _JOINING and not _leads_on(sentence, index, starts):
            return index if norm.endswith("ly") else index - 1
        index += 1
    return limit


def _listed_on(sentence: Sentence, index: int, starts: dict[int, Mention]) -> bool:
    """ "No loose bodies synovitis or crystals": a list as it is spoken, whose last thing has the only "or"."""
    at = index
    while at in starts and starts[at].table in _SEEN:
        at = starts[at].last + 1
    return at > index and at < len(sentence.tokens) and sentence.tokens[at].norm in ("or", "nor")


def _is_part(sentence: Sentence, index: int) -> bool:
    """ "No local with adrenaline": what would have been in it was not given either."""
    return sentence.tokens[index - 1].norm == "with" and any(
        m.last == index - 2 and m.table in ("drugs", "anaesthesia", "injectates") for m in sentence.mentions
    )


_SEEN = frozenset({"findings", "diagnoses", "complications"})
_CLOSES = frozenset({")", "nothing"})
_OF_NOUNS = frozenset({"no", "without", "denied", "nil"})
_ALLERGY = frozenset({"allergies", "allergy", "nkda"})
_ENDS_NOUN = frozenset({"by", "with"})
_TO_A_PART = frozenset({"the", "to", "into", "of", "round", "around", "in", "his", "her", "either", "both"})
_MOST_WORDS = 4
# "No complications, to the ward in good condition"
_OUTCOME = frozenset({"dispositions", "conditions"})
# "No varus or valgus laxity anterolateral portal": of the way in, not of what was looked for.
_WAYS = frozenset({"approaches", "tourniquet", "positions", "anaesthesia", "closures"})
# Mentions of these tables tell how, where or how much, and do not use up the reach of a negation.
BY_THE_WAY = frozenset({"sides", "sites", "guidance", "team", "events", "routes"})


def _leads_on(sentence: Sentence, index: int, starts: dict[int, Mention]) -> bool:
    """Whether a word in a list is an adjective right before the next named thing ("or chondral damage")."""
    for ahead in range(index + 1, min(index + 3, len(sentence.tokens))):
        if ahead in starts:
            return _joined(sentence, index, -1)
        if sentence.tokens[ahead].punctuation:
            return False
    return False


def _joined(sentence: Sentence, index: int, floor: int) -> bool:
    """Whether a joining word or mark stands before a token, with at most two words between."""
    return any(sentence.tokens[back].norm in _JOINING for back in range(index - 1, max(floor, index - 4), -1))


def _affirms(sentence: Sentence, start: int) -> bool:
    """Whether what follows "and" starts afresh: an article, a number, a word of amount, a verb of its own ("could not
    be reduced and was resected")."""
    return start < len(sentence.tokens) and (
        sentence.tokens[start].norm in _AFRESH
        or sentence.tokens[start].norm in _PAST
        or sentence.tokens[start].quantity is not None
    )


def start_behind(sentence: Sentence, hit: CueHit) -> int:
    """First token of the clause before a cue: the nearest stretch that holds more than thin words.

    A certainty cue takes the nearest named thing of it and those joined to that one, no more.
    """
    tokens = sentence.tokens
    stream = len(tokens) > RUN_ON
    certainty = hit.rule.axis == "certainty"
    if certainty and hit.first and tokens[hit.first - 1].norm == ":":
        return clauses.heading(sentence, hit.first - 1)
    floor = max(0, hit.first - (min(hit.rule.reach, _BACK) if stream and not certainty else hit.rule.reach))
    ends = {m.last: m for m in sentence.mentions if m.table not in BY_THE_WAY}
    settings = {m.last for m in sentence.mentions if m.table in _SETTING}
    people = {at for m in sentence.mentions if m.table == "team" for at in range(m.first, m.last + 1)}
    opened = clauses.starts(sentence)
    bare = hit.rule.id in _BARE_NOUN and tokens[hit.first].norm not in ("was", "were")
    thick, named, first = False, False, -1
    parts = {m.last: m.first for m in sentence.mentions if m.table == "sites"} if certainty else {}
    index = hit.first - 1
    while index >= floor:
        token = tokens[index]
        if certainty and not named and token.norm in ANOTHER:
            return index  # "one gram a second gram not given"
        begun = certainty and index + 1 in opened and not _goes_on(tokens, index + 1)
        if thick and (begun or token.norm == "("):
            return index + 1
        if bare and thick and token.norm in clauses.FINITE:
            return index + 1  # "a tissue valve was implanted paravalvular leak none"
        if token.norm in (".", ";", "?", "!") or (token.norm in ("which", "who") and thick):
            return index + 1
        if token.norm in (",", "and", "but", ":") and thick and not (named and _list_before(tokens, index)) and not (
            certainty and not named and _is_joint(sentence, index, hit)
        ):
            return index + 1
        if not certainty and thick and token.norm in ("she", "he", "they", "we", "i"):
            return index
        if certainty and not thick and token.quantity is not None and token.quantity.form == "ordinal" and index and (
            tokens[index - 1].norm in ("the", "a")
        ):
            return index - 1  # "three anchors, the fourth was not needed": a subject of its own
        if index in settings and (stream or hit.rule.value != "planned") and (thick or not certainty):
            return index + 1
        if certainty and thick and token.quantity is not None:
            return index + 1
        if hit.rule.value == "historical" and thick and token.quantity is not None and (
            token.quantity.dimension in ("mass", "volume", "amount", "fraction")
        ):
            return index + 1  # "gentamicin 240 mg apixaban stopped three days ago"
        if not named and index in parts and not thick and _is_subject(sentence, parts[index]):
            return _with_article(tokens, parts[index])
        mention = ends.get(index)
        if mention is not None and certainty and mention.table != "preparations":
            if named and index + 1 == first and (mention.table == "drugs" or bare):
                return index + 1  # "ropivacaine heparin was drawn up and never given": two drugs, no list
            named, first = True, mention.first
            thick = True
            index = mention.first - 1
            continue
        if mention is not None and hit.rule.id == "planned-before" and mention.table in _OPERATIONS:
            if named and not any(one.norm in _JOINING for one in tokens[mention.last + 1 : first]):
                return first  # "shoulder arthroscopy ... cuff repair was planned": the nearer one
            named_at = mention.first
            named, first, thick, index = True, named_at, True, mention.first - 1
            continue
        thin = token.quantity is not None or token.punctuation or token.norm in THIN or token.norm in READY
        thin = thin or (certainty and (token.norm.endswith("ly") or index in people))
        loose = token.norm not in _JOINING and token.norm not in _BEFORE_NAME
        if certainty and named and loose and not _modifies(sentence, index):
            return index + 1
        thick = thick or not thin
        if certainty and not named and thick and token.norm == "the" and _opens_subject(sentence, index):
            return index  # "... preserved the inferior one not found"
        index -= 1
    return max(floor, 0)


def _is_subject(sentence: Sentence, first: int) -> bool:
    """ "Subscapularis intact ac joint not touched": a part right before a denial is what was left alone, unless a
    preposition or a list joins it to what stands before it ("a tear of the ac joint not seen")."""
    at = first - 1
    while at >= 0 and (sentence.tokens[at].norm in _BEFORE_NAME or sentence.tokens[at].norm in _OF_A_SIDE):
        at -= 1
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


def _is_joint(sentence: Sentence, index: int, hit: CueHit) -> bool:
    """ "Mesh and implant were never considered": a noun in the singular before "were" is one half of a subject, the
    other half of which is the named thing before "and"."""
    behind = [token.norm for token in sentence.tokens[index + 1 : hit.last + 1]]
    behind = behind[1:] if behind[0] in _ARTICLES else behind
    halves = sentence.tokens[index].norm == "and" and behind[1:2] == ["were"] and not behind[0].endswith("s")
    return halves and any(m.last == index - 1 and m.table not in BY_THE_WAY for m in sentence.mentions)


_ARTICLES = frozenset({"the", "a", "an", "any"})
_OPERATIONS = frozenset({"procedures", "acts"})
# Words for one more dose or thing, which is denied and leaves the one before it as it was.
ANOTHER = frozenset({"second", "third", "further", "another", "repeat", "redose", "redosing", "top-up", "extra"})
_BARE_NOUN = frozenset({"none", "nil"})  # cues that are said right behind their noun, without a verb
# Words that belong to the named thing right after them.
_BEFORE_NAME = frozenset({"a", "an", "the", "any", "this", "that", "his", "her", "left", "right", "further", "other"})


def _modifies(sentence: Sentence, index: int) -> bool:
    """Whether a word is an adjective of a list ("chondral or meniscal damage"): "or"/"and" stands close before it."""
    return any(token.norm in ("or", "and", "nor") for token in sentence.tokens[max(0, index - 2) : index])


def _list_before(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether a mark or "and" before a named thing goes on a list ("a tear and loose bodies were not seen")."""
    return tokens[index].norm == "and" or any(token.norm in ("and", "or") for token in tokens[index + 1 : index + 6])
