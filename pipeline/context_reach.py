"""How far a cue of status or certainty reaches ahead: to the end of its clause, or to the next named thing."""

from __future__ import annotations

from itertools import pairwise

from pipeline import clauses, context_ends, kin
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit
from pipeline.records import Mention, Sentence

# Function words of English (closed classes; grammars/ holds what is medical).
JOINING = frozenset({"or", "nor", "and", ",", "/", "either", "neither"})
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
_BORDER = frozenset({";", ":", ".", "?", "!", "—", "...", "…", "->", "→"})
RUN_ON = 40  # tokens; a longer sentence is a stream of speech without full stops [chosen on own narrations]


def ahead_clause(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> int:
    """Last token of the clause that follows a status cue."""
    tokens = sentence.tokens
    end = len(tokens) - 1
    limit = min(end, hit.last + hit.rule.reach)
    settings = {m.first for m in sentence.mentions if m.table in SETTING}
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
        if hit.rule.value == "planned" and index > hit.last + 1 and context_ends.turned_out(sentence, index):
            return index - 1
        if hit.rule.value == "conditional" and tokens[index].norm in _CHOSEN:
            return index - 1
        if index > hit.last + 1 and context_ends.is_at_work(sentence, hit, index):
            return index - 1
        if hit.rule.id == "purpose" and clauses.is_past_purpose(sentence, index):
            return index - 1
        if tokens[hit.last].norm in _ADJECTIVES and clauses.acted_on(sentence, index) and index > hit.last + 1:
            return index - 1  # "the previous osteotomy was resected": today
        if hit.rule.value == "historical" and index > hit.last + 1 and (
            clauses.names_operation(sentence, index) or (tokens[hit.first - 1].norm == "no" and index in starts)
        ):
            return index - 1  # "no prior surgery the right cuff was repaired in 2019"
        if tokens[hit.last].norm in _ADJECTIVES and bare and index > hit.last + 1 and (
            index in starts or (tokens[index - 1].norm in _LOOKED and tokens[index].norm not in ("in", "on", "before"))
        ):
            return index - 1  # "known lesion not found cartilage intact spur resected"
        if hit.rule.value == "historical" and context_ends.is_this_time(sentence, index):
            return index - 1
        if hit.rule.value == "conditional" and tokens[index].norm == "none" and context_ends.of_these(sentence, index):
            return index - 1  # "we had talked about an osteotomy none of that today just ..."
        if hit.rule.value in ("historical", "other_person") and tokens[index].norm in ("today", "now"):
            begins = clauses.bounds(sentence, index)[0]
            given = context_ends.given_before(sentence, index) if bare else index
            if given < index:
                return max(hit.last, given - 1)
            return max(hit.last, (begins if begins > hit.last + 1 else index) - 1)  # "last time 40 mg, today none"
        if hit.rule.value == "planned" and (clauses.told_next(sentence, index) or (
            tokens[hit.last].norm == "planned" and tokens[hit.first - 1].norm in ("the", "his", "her", "our", "this")
            and tokens[index].norm in ("was", "were") and index > hit.last + 1
        )):  # "the muscle within the planned approach was anaesthetised", "the planned repair was performed"
            done = {token.norm for token in tokens[index + 1 : index + 3]} & _CARRIED_OUT
            return hit.last if done and tokens[hit.last].norm == "planned" else index - 1
        if hit.rule.value == "planned" and clauses.told_done(sentence, index):
            return index - 1 if tokens[index].norm == "underwent" else hit.last
        if hit.rule.value == "planned" and len(tokens) <= RUN_ON:
            continue
        if hit.rule.value == "other_person" and tokens[index].norm in ("-", "–", "—") and _GIVEN & {
            token.norm for token in tokens[index + 1 : index + 5]
        }:
            return index - 1  # "son had malignant hyperthermia - spinal given"
        if hit.rule.value == "other_person" and index > hit.last + 1 and (
            kin.is_patient(sentence, index) or (len(tokens) > RUN_ON and index in clauses.starts(sentence))
        ):  # fmt: skip
            return index - 1
        if hit.rule.value == "other_person" and any(
            m.table == "drugs" and m.first == index and tokens[index - 1].norm not in ("to", "on", "with", "from")
            or m.last == index - 1 and m.table in ("procedures", "diagnoses") and tokens[index].norm in _NUMBS
            for m in sentence.mentions
        ):  # fmt: skip
            return index - 1  # "his mother had a hip replacement spinal with sedation"
        if hit.rule.value == "other_person" and index > hit.last + 1 and context_ends.is_measured(sentence, index):
            told = [m.first for m in sentence.mentions if m.last == index - 1 and m.first > hit.last + 1]
            return min([index, *told]) - 1
        feared = hit.rule.id in _FEARS and tokens[index - 1].norm in _STILL
        leads = hit.rule.value == "historical" and hit.first <= 1 and index == hit.last + 1  # "At the last time, ..."
        parts = tokens[index].norm == "," and clauses.opens_one(sentence, index + 1) and not leads
        if (index in settings and not feared and not _is_object(sentence, hit, index)) or parts:
            return index - 1
        if hit.rule.id in _FEARS and index in opened and clauses.is_main(sentence, index):
            return index - 1
    return limit


_THERE = frozenset({"there's", "theres", "there"})
_IS = frozenset({"is", "was", "are", "were"})
_TUBES = _words("drain drains tube catheter swab swabs specimen specimens")  # "no pelvic drain"


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


_GIVEN = _words("given used done performed spinal epidural ga local tiva avoided chosen")
_CARRIED_OUT = _words("performed done carried completed")
_LOOKED = _words("found seen confirmed identified visible")
_NUMBS = _words("spinal epidural general local ga la")
# Things of the operation itself: a history or a condition said before them does not reach over them.
SETTING = frozenset(
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
    if [token.norm for token in tokens[hit.last + 2 : hit.last + 4]] in (["in", "it"], ["inside", "it"], ["at", "all"]):
        over.append(hit.last + 3)  # "no bowel in it mesh ...", "no fluid at all sixty milligrams ..."
    if hit.last + 1 < len(tokens) and tokens[hit.last + 1].norm in ("->", "it's"):
        return hit.last  # "resurfacing? no -> THR", "it isn't it's frayed"
    index, named = max([hit.last, *over]) + 1, bool(over)
    place = _other_place(sentence, hit)
    if place is not None:
        return place
    routes = [m.last for m in sentence.mentions if m.table == "routes" and m.first == hit.last + 1]
    if routes and hit.rule.id == "not":
        return routes[0]  # "morphine, not intrathecal"
    people = [m.last for m in sentence.mentions if m.table == "team" and m.first == hit.last + 1]
    if people and hit.rule.id in _OF_NOUNS:
        return people[0]  # "no assistant spinal fifteen milligrams"
    parts = {m.first: m.last for m in sentence.mentions if m.table == "sites"}
    opened = clauses.starts(sentence)
    words = 0  # of a noun that no grammar names: "no injury to the bladder", "no known allergies"
    while index <= limit:
        index = index if named else context_ends.over_amount(sentence, index)
        norm = tokens[index].norm
        if not named and hit.rule.id in _OF_NOUNS:
            if words and (norm in _ENDS_NOUN or words == _MOST_WORDS or _in_a_good_state(sentence, index)):
                return index - 1
            if norm in _ALLERGY:
                return index
            if words and index in starts and not (words == 1 and norm in _TUBES) and (
                starts[index].table in SETTING or words > 1 and starts[index].table in _CARE
                or context_ends.is_told_itself(sentence, starts[index])
            ):
                return index - 1  # "no weakness back to the ward", "no shaving loose body one removed"
            if words > 1 and index in starts and starts[index].id in _STATES and tokens[index - 1].norm not in THIN:
                return index - 2  # "no graft in the gap hinge intact"
            if index in parts and words and tokens[index - 1].norm in _TO_A_PART:
                named, index = True, parts[index] + 1
                continue
            words += norm not in THIN and norm not in JOINING
        if norm in _BORDER or index in stops or (index in others and index > hit.last + 1):
            return index - 1
        if norm in _CLOSES or (index in opened and index > hit.last + 1 and norm not in ("or", "nor") and (
            not context_ends.are_absent(sentence, hit, index)
        )):  # fmt: skip
            return index - 1
        if norm == "," or norm in ("and", "/"):
            anew = clauses.opens_one(sentence, index + 1) or (norm == "and" and _affirms(sentence, index + 1))
            if anew and not context_ends.are_absent(sentence, hit, index):
                return index - 1
            if norm == "," and index > hit.last + 1 and (
                clauses.told_more(sentence, index + 1) or _is_some(sentence, index + 1) or _is_well(sentence, index + 1)
                or index + 1 in starts and context_ends.is_dealt_with(sentence, starts[index + 1])
            ):
                return index - 1
            index += 1
            continue
        if not named and tokens[index].quantity is not None and (index > hit.last + 2 or words):
            return index - 1
        mention = starts.get(index)
        if mention is not None:
            if not named and mention.table in SETTING and index > hit.last + 3 and not _is_object(sentence, hit, index):
                return index - 1
            part = hit.rule.id in _OF_NOUNS and (
                _listed_on(sentence, index, starts) or mention.table == "drugs" and _is_part(sentence, index)
            )
            if named and (
                mention.table in _OUTCOME or (not _joined(sentence, index, hit.last) and not part)
                or (mention.table in _WAYS and tokens[index - 1].norm not in JOINING)
            ):
                return index - 1
            named, index = not _is_of(mention, starts), mention.last + 1
            limit = max(limit, min(len(tokens) - 1, index + 6))
            continue
        if named and index in parts and tokens[index - 1].norm not in _TO_A_PART | JOINING:
            return index - 1  # "no cord round the neck placenta complete"
        if named and norm not in THIN and norm not in JOINING and not _leads_on(sentence, index, starts):
            return index if norm.endswith("ly") else index - 1
        index += 1
    return limit


def _is_of(mention: Mention, starts: dict[int, Mention]) -> bool:
    """ "No urine extravasation": what it would have been of, and not yet what is denied."""
    behind = starts.get(mention.last + 1)
    parts = mention.table in _SEEN and behind is not None and behind.id == "fragment"  # "no extruded disc fragments"
    return parts or mention.table in ("fluids", "drugs") and behind is not None and behind.table in _SEEN


def _is_object(sentence: Sentence, hit: CueHit, index: int) -> bool:
    """ "We won't be putting in a drain", "I don't think we need one": nothing but the verb is between."""
    between = [token.norm for token in sentence.tokens[hit.last + 1 : index]]
    return all(norm in THIN or norm in _DEEDS for norm in between)


_DEEDS = _words(
    "do doing put putting place placing use using give giving insert inserting leave leaving need needing think often "
    "believe feel want wanting require bother like wish intend plan going apply applying inflate inflating run "
    "running set setting used gave did tried placed inserted find any take taking send sending normally usually always"
)


_CARE = frozenset({"dressings", "aftercare"})  # "no surgery there before cast then splint"


def _other_place(sentence: Sentence, hit: CueHit) -> int | None:
    """ "Unstable to the front, not to the back": the noun of a place that is named only to be set apart."""
    tokens = sentence.tokens
    apart = next((n for n in range(hit.last + 2, min(hit.last + 4, len(tokens))) if tokens[n].norm in _PORTION), None)
    if hit.rule.id == "not" and apart is not None and tokens[hit.last + 1].norm == "the":
        return apart  # "from twelve to seven, not the inferior part manipulation after it"
    at = hit.last if tokens[hit.last].norm in _PLACES else hit.last + 1
    if hit.rule.id != "not" or at + 2 >= len(tokens) or tokens[at].norm not in _PLACES or tokens[at + 1].norm != "the":
        return None
    before = tokens[hit.first - 1].norm if hit.first else "."
    return None if before in clauses.FINITE or before in (".", "but") else at + 2


_PORTION = frozenset({"part", "portion", "half", "third", "pole", "aspect"})
_PLACES = frozenset({"to", "in", "at", "on", "into", "from"})


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


def _in_a_good_state(sentence: Sentence, index: int) -> bool:
    """ "Without any kinking in good position": how the thing was left, and nothing that is denied."""
    ahead = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    return sentence.tokens[index].norm == "in" and bool(_GOOD & set(ahead))


_GOOD = _words("good excellent satisfactory stable perfect proper correct place situ")


def _is_some(sentence: Sentence, start: int) -> bool:
    """ "No pooling, minimal spillage": a small amount is there. A list that ends in "or" goes on."""
    if start < len(sentence.tokens) and sentence.tokens[start].norm in ("a", "an"):
        start += 1  # "no pus, a little fibrin"
    if start >= len(sentence.tokens) or sentence.tokens[start].norm not in _SOME:
        return False
    for token in sentence.tokens[start:]:
        if token.norm in _BORDER:
            return True
        if token.norm in ("or", "nor"):
            return False
    return True


def _is_well(sentence: Sentence, start: int) -> bool:
    """ "No complications, neuro intact": what is told to be as it should be is not denied."""
    words = [token.norm for token in sentence.tokens[start : start + 4]]
    ends = next((at for at, word in enumerate(words) if word in _BORDER or word in (",", "or", "nor")), len(words))
    return bool(_WELL & set(words[1:ends]))


_WELL = _words("intact patent healthy unharmed undamaged preserved viable watertight")
_SOME = _words("minimal mild slight moderate small scant trace minor occasional scattered little some few tiny bit")
_SEEN = frozenset({"findings", "diagnoses", "complications"})
_CLOSES = frozenset({")", "nothing"})
_OF_NOUNS = frozenset({"no", "without", "denied", "nil"})
_ALLERGY = frozenset({"allergies", "allergy", "nkda"})
_ENDS_NOUN = frozenset({"by", "with", "today", "tomorrow", "tonight", "now"})
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
        if ahead in starts and starts[ahead].id in _STATES and sentence.tokens[ahead - 1].norm not in JOINING:
            return False  # "no graft in the gap hinge intact": how the next thing is
        if ahead in starts:
            return _joined(sentence, index, -1)
        if sentence.tokens[ahead].punctuation:
            return False
    return False


_STATES = frozenset({"intact", "normal", "stable", "well-fixed", "preserved"})


def _joined(sentence: Sentence, index: int, floor: int) -> bool:
    """Whether a joining word or mark stands before a token, with at most two words between."""
    return any(sentence.tokens[back].norm in JOINING for back in range(index - 1, max(floor, index - 4), -1))


def _affirms(sentence: Sentence, start: int) -> bool:
    """Whether what follows "and" starts afresh: an article, a number, a word of amount, a verb of its own ("could not
    be reduced and was resected", "could not wait and used the drain")."""
    tokens = sentence.tokens
    return start < len(tokens) and (
        tokens[start].norm in _AFRESH
        or tokens[start].norm in _PAST
        or tokens[start].quantity is not None
        or tokens[start].norm in clauses.DID and start + 1 < len(tokens) and _is_new_object(sentence, start + 1)
    )


def _is_new_object(sentence: Sentence, at: int) -> bool:
    token = sentence.tokens[at]
    opens = token.norm in _AFRESH or token.norm in ("another", "one") or token.quantity is not None
    return opens or any(mention.first == at for mention in sentence.mentions)
