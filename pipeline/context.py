"""Status and certainty: which words of a sentence are negated, suspected, planned, conditional, historical.

Cues are rows of grammars/context.toml, found with spaCy's PhraseMatcher; the longest cue wins, and a "pseudo"
cue ("no change") only hides the shorter one inside it. What a cue governs is cut at clause borders and at "stop"
cues, so that "no purulence, some fibrin" negates one of two things. Speech often has no punctuation: a negation
then reaches the next named thing and what is joined to it, never the whole stream of words.
"""

from __future__ import annotations

from typing import Literal

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit
from pipeline.context_cues import hits as cue_hits
from pipeline.grammar import Grammar
from pipeline.records import Mention, Scope, Sentence, Token
from pipeline.rows import ContextRule, SectionCue

# Function words of English (closed classes; grammars/ holds what is medical).
_JOINING = frozenset({"or", "nor", "and", ",", "/", "either", "neither"})
_THIN = _words(
    "a an the any of in on at to into within from around about along over under near by for with this that "
    "these those its his her their our it he she they we i there was were is are be been being had has have "
    "did and then but or also again still further other such either both all each as up out down noted seen "
    "found identified present"
)
# Words of making ready: "was prepared but not given" says of the drug before them that it was not given.
_READY = _words("prepared drawn made ready opened available offered considered attempted tried kept placed")
_AFRESH = frozenset({"a", "an", "the", "some", "mild", "moderate", "severe", "good", "normal", "intact"})
_BORDER = frozenset({";", ":", ".", "?", "!", "—", "...", "…"})
_BACK = 8  # tokens that a status reaches back in such a stream
_RUN_ON = 40  # tokens; a longer sentence is a stream of speech without full stops [chosen on own narrations]


def scopes(sentence: Sentence, grammar: Grammar) -> Sentence:
    """The sentence with its scopes: those of its section (the whole sentence) and those of its cues."""
    if not sentence.tokens:
        return sentence
    found = _section_scopes(sentence, grammar)
    hits = cue_hits(sentence, grammar)
    stops = {hit.first for hit in hits if hit.rule.direction == "stop"}
    for hit in hits:
        if hit.rule.axis != "none":
            found += _governed(sentence, hit, hits, stops)
    found += _years(sentence)
    found += [Scope("status", "planned", first, last, "to-come") for first, last in clauses.to_come(sentence)]
    kept = tuple(scope for scope in found if not _overruled(scope, found))
    return Sentence(
        sentence.index, sentence.tokens, sentence.strikes, sentence.section, sentence.mentions, kept
    )  # fmt: skip


def _overruled(scope: Scope, found: list[Scope]) -> bool:
    """A suspicion that the same sentence settles, and a plan that hangs on an "if"."""
    for other in found:
        holds = other.axis == scope.axis and other.first <= scope.first and scope.last <= other.last
        meets = other.axis == scope.axis and other.first <= scope.last and scope.first <= other.last
        later = other.first > scope.first or other.last > scope.last
        if meets and scope.value == "suspected" and other.value == "negated" and later:
            return True
        if holds and scope.value == "planned" and other.value == "conditional" and other.rule == "conditional":
            return True
    return False


def _years(sentence: Sentence) -> list[Scope]:
    """What is said with a year ("lumpectomy in 2015", "done in twenty eleven") was before this operation."""
    tokens = sentence.tokens
    found = []
    dated = {m.last + ahead: m.first for m in sentence.mentions if m.table in ("procedures", "diagnoses")
             for ahead in (1, 2) if ahead == 1 or tokens[min(m.last + 1, len(tokens) - 1)].norm == "("}  # fmt: skip
    for index in range(1, len(tokens)):
        if tokens[index - 1].norm in ("in", "since") and clauses.is_year(tokens[index]):
            rule = ContextRule(id="year", axis="status", value="historical", direction="before", reach=12, source="own")
            first = _behind(sentence, CueHit(rule, index - 1, index))
            found.append(Scope("status", "historical", first, index, "year"))
        elif index in dated and _is_bare_year(tokens[index]):  # "MI 2018", "appendicectomy (2010)"
            found.append(Scope("status", "historical", dated[index], index, "year"))
        elif _is_past_month(sentence, index):
            first = max(0, index - 12, clauses.bounds(sentence, index)[0])
            found.append(Scope("status", "historical", first, index, "month"))
        elif tokens[index - 1].norm in ("from", "of") and (clauses.is_year(tokens[index]) or _in_two(sentence, index)):
            held = [at for at in range(max(0, index - 8), index - 2) if tokens[at].norm in ("has", "had", "have")]
            if held:  # "the left hip has a hemiarthroplasty from 2019"
                found.append(Scope("status", "historical", clauses.bounds(sentence, held[0])[0], index, "year"))
    return found


def _is_bare_year(token: Token) -> bool:
    """A year that needs no "in" before it, so that no time of day ("hernia repair 0805") is taken for one."""
    return clauses.is_year(token) and token.quantity is not None and token.quantity.form in ("number", "year")


def _in_two(sentence: Sentence, index: int) -> bool:
    """ "Twenty eleven", "nineteen ninety eight": a year said as two numbers."""
    values = [token.quantity.value if token.quantity is not None and not token.quantity.unit else None
              for token in sentence.tokens[index : index + 2]]  # fmt: skip
    return len(values) == 2 and values[0] in (19, 20) and values[1] is not None and 10 <= values[1] <= 99


_MONTHS = frozenset(
    ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
     "december", "spring", "summer", "autumn", "winter")
)  # fmt: skip
_TO_COME = frozenset({"will", "would", "planned", "scheduled", "booked", "follow", "return", "review", "again", "next",
                      "should", "can", "could"})  # fmt: skip


def _is_past_month(sentence: Sentence, index: int) -> bool:
    """ "The right knee was replaced in May": a finite past before a month, and nothing of what is to come."""
    tokens = sentence.tokens
    at = index - 1 - (tokens[index - 1].norm == "the")
    if tokens[index].norm not in _MONTHS or tokens[at].norm not in ("in", "since", "last"):
        return False
    start, end = clauses.bounds(sentence, index)
    norms = {token.norm for token in tokens[start:end]}
    return bool(norms & {"was", "were", "had", "been"}) and not norms & _TO_COME


def _section_scopes(sentence: Sentence, grammar: Grammar) -> list[Scope]:
    row = grammar.table("sections", SectionCue).get(sentence.section)
    if row is None:
        return []
    last = len(sentence.tokens) - 1
    found = []
    if row.status:
        found.append(Scope("status", row.status, 0, last, f"section:{row.id}"))
    if row.certainty:
        found.append(Scope("certainty", row.certainty, 0, last, f"section:{row.id}"))
    return found


def _governed(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> list[Scope]:
    rule = hit.rule
    axis: Literal["status", "certainty"] = "status" if rule.axis == "status" else "certainty"
    spans: list[tuple[int, int]] = []
    if rule.direction == "sentence":
        spans.append(_whole(sentence, hit))
    else:
        behind = _behind(sentence, hit)
        if axis == "status":
            behind = max(behind, clauses.bounds(sentence, hit.first)[0])
        # what comes before such a cue is its subject ("a tear was not seen"): then it governs nothing ahead
        subject = axis == "certainty" and rule.direction == "both" and _is_thick(sentence, behind, hit.first)
        if _denies_its_verb(sentence, hit, behind):
            spans.append((behind, hit.last + 1))
        elif rule.direction in ("after", "both") and not subject:
            ahead = _ahead_named if axis == "certainty" else _ahead_clause
            spans.append((hit.first, ahead(sentence, hit, hits, stops)))
        if rule.direction in ("before", "both"):
            spans.append((behind, hit.last))
        if rule.value == "historical" and rule.direction == "before" and not _is_thick(sentence, behind, hit.first):
            spans.append((hit.first, _ahead_clause(sentence, hit, hits, stops)))  # "ten years ago a hysterectomy"
    first = min(span[0] for span in spans)
    last = max(span[1] for span in spans)
    if rule.id == "unable" and sentence.tokens[min(hit.last + 1, last)].norm in _OVERCOME:
        last = min([last, *(m.first - 1 for m in sentence.mentions if m.table in _SEEN and m.first > hit.last)])
    if rule.id in _AT_HOME:  # "is on metformin and had two grams of cefazolin"
        told = range(hit.last + 1, last + 1)
        last = next((at - 1 for at in told if sentence.tokens[at].norm in clauses.FINITE), last)
    if rule.value == "affirmed":
        return [
            Scope(axis, "affirmed", m.first, m.last, rule.id)
            for m in sentence.mentions
            if first <= m.first and m.last <= last
        ]
    if rule.id == "prescribed" and sentence.section in ("indication", "history", "imaging"):
        return [Scope(axis, "historical", first, last, rule.id)]  # "was sent home with tablets and came back today"
    return [Scope(axis, rule.value, first, last, rule.id)]


_AT_HOME = frozenset({"taken-at-home", "and-takes"})
# "Unable to cross the stenosis": what could not be overcome is there.
_OVERCOME = _words("cross pass traverse negotiate reach remove reduce relieve clear treat correct control close")
_SEEN = frozenset({"findings", "diagnoses", "complications"})


def _stands_by_itself(sentence: Sentence, hit: CueHit) -> bool:
    """ "Patella not resurfaced two mixes of cement": subject, "not", participle, and then a number or another thing."""
    tokens, after = sentence.tokens, hit.last + 1
    if after + 1 >= len(tokens) or not tokens[after].norm.endswith("ed"):
        return False
    subject = any(mention.last == hit.first - 1 for mention in sentence.mentions)
    number = tokens[after + 1].quantity
    counted = number is not None and number.form != "ordinal"
    named = any(m.first == after + 1 and m.table not in _BY_THE_WAY for m in sentence.mentions)
    return subject and (counted or named)


def _denies_its_verb(sentence: Sentence, hit: CueHit, behind: int) -> bool:
    """ "The other side was not touched gentamicin ...": a passive has its subject before it, and a named thing right
    behind its verb begins something new."""
    tokens = sentence.tokens
    after = hit.last + 1
    if hit.rule.id == "not" and _stands_by_itself(sentence, hit):
        return True
    return (
        hit.rule.id == "not" and hit.first > 0 and after + 1 < len(tokens) and tokens[after].norm.endswith("ed")
        and tokens[hit.first - 1].norm in ("was", "were", "is", "are", "been")
        and _is_thick(sentence, behind, hit.first)
        and any(mention.first == after + 1 and mention.table not in _BY_THE_WAY for mention in sentence.mentions)
    )  # fmt: skip


def _is_thick(sentence: Sentence, first: int, end: int) -> bool:
    """Whether tokens first..end-1 hold more than function words."""
    return any(
        not token.punctuation and token.quantity is None and token.norm not in _THIN and token.norm not in _READY
        for token in sentence.tokens[first:end]
    )


def _whole(sentence: Sentence, hit: CueHit) -> tuple[int, int]:
    last = len(sentence.tokens) - 1
    if hit.rule.value == "conditional":
        return clauses.hangs_on(sentence, hit.first, hit.last, hit.rule.reach)
    return (0, last) if last < _RUN_ON else (max(0, _behind(sentence, hit)), min(last, hit.last + hit.rule.reach))


def _ahead_clause(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> int:
    """Last token of the clause that follows a status cue."""
    tokens = sentence.tokens
    end = len(tokens) - 1
    limit = min(end, hit.last + hit.rule.reach)
    settings = {m.first for m in sentence.mentions if m.table in _SETTING}
    opened = clauses.starts(sentence) if hit.rule.id in _FEARS else ()
    for index in range(hit.last + 1, limit + 1):
        if tokens[index].norm == "." and tokens[index - 1].norm in _SHORT:
            continue
        if tokens[index].norm in (".", ";", "?", "!") or (index in stops and tokens[index].norm in _TURNS):
            return index - 1
        if hit.rule.id == "aimed" and tokens[index].norm == ",":
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
        if hit.rule.value == "historical" and index > hit.last + 1 and clauses.names_operation(sentence, index):
            return index - 1
        if hit.rule.value in ("historical", "other_person") and tokens[index].norm in ("today", "now"):
            return max(hit.last, min(index, max(clauses.bounds(sentence, index)[0], hit.last + 1)) - 1)
        if hit.rule.value == "planned" and clauses.told_done(sentence, index):
            return index - 1 if tokens[index].norm == "underwent" else hit.last
        if hit.rule.value == "planned" and len(tokens) <= _RUN_ON:
            continue
        if hit.rule.value == "other_person" and any(m.table == "drugs" and m.first == index for m in sentence.mentions):
            return index - 1
        if index in settings or (tokens[index].norm == "," and clauses.opens_one(sentence, index + 1)):
            return index - 1
        if hit.rule.id in _FEARS and index in opened and clauses.is_main(sentence, index):
            return index - 1
    return limit


# Things of the operation itself: a history or a condition said before them does not reach over them.
_SETTING = frozenset(
    {"anaesthesia", "positions", "preparations", "counts", "sutures", "closures", "handedness", "sex", "team", "events",
     "conditions", "dispositions", "tourniquet", "grades", "drains", "specimens"}
)
_ADJECTIVES = frozenset({"previous", "prior", "old", "preexisting", "existing", "longstanding", "standing", "known"})
_SHORT = frozenset({"incl", "rt", "lt", "approx"})
# What is feared or aimed at is told in a phrase: the clause behind it tells what was done.
_FEARS = frozenset({"risks", "purpose"})
# What was chosen after the options and risks were told is no option any more.
_CHOSEN = frozenset({"chose", "chosen", "elected", "opted", "decided", "proceeded"})
_TURNS = frozenset({"but", "however", "although", "though", "therefore", "so", "then", "next", "please"})


def _ahead_named(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> int:
    """Last token that a certainty cue governs ahead: the next named thing and those joined to it."""
    tokens = sentence.tokens
    limit = min(len(tokens) - 1, hit.last + hit.rule.reach)
    starts = {mention.first: mention for mention in sentence.mentions if mention.table not in _BY_THE_WAY}
    others = {other.first for other in hits if other is not hit and other.rule.axis == "certainty"}
    over = [m.last for m in sentence.mentions if m.first <= hit.first and m.last > hit.last]
    if [token.norm for token in tokens[hit.last + 2 : hit.last + 4]] in (["in", "it"], ["inside", "it"]):
        over.append(hit.last + 3)  # "no bowel in it mesh ..."
    index, named = max([hit.last, *over]) + 1, bool(over)
    while index <= limit:
        norm = tokens[index].norm
        if norm in _BORDER or index in stops or (index in others and index > hit.last + 1):
            return index - 1
        if norm == "," or norm in ("and", "/"):
            if clauses.opens_one(sentence, index + 1) or (norm == "and" and _affirms(sentence, index + 1)):
                return index - 1
            if norm == "," and index > hit.last + 1 and clauses.told_more(sentence, index + 1):
                return index - 1
            index += 1
            continue
        if not named and tokens[index].quantity is not None and index > hit.last + 2:
            return index - 1
        mention = starts.get(index)
        if mention is not None:
            if not named and mention.table in _SETTING and index > hit.last + 3:
                return index - 1
            if named and (mention.table in _OUTCOME or not _joined(sentence, index, hit.last)):
                return index - 1
            named, index = True, mention.last + 1
            limit = max(limit, min(len(tokens) - 1, index + 6))
            continue
        if named and norm not in _THIN and norm not in _JOINING and not _leads_on(sentence, index, starts):
            return index - 1 if norm in clauses.VERBS or tokens[index].quantity is not None else index
        index += 1
    return limit


# "No complications, to the ward in good condition"
_OUTCOME = frozenset({"dispositions", "conditions"})
# Mentions of these tables tell how, where or how much, and do not use up the reach of a negation.
_BY_THE_WAY = frozenset({"sides", "sites", "guidance", "team", "events", "routes"})


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
    """Whether what follows "and" starts afresh: an article, a number, a word of amount."""
    return start < len(sentence.tokens) and (
        sentence.tokens[start].norm in _AFRESH
        or sentence.tokens[start].quantity is not None
    )


def _behind(sentence: Sentence, hit: CueHit) -> int:
    """First token of the clause before a cue: the nearest stretch that holds more than thin words.

    A certainty cue takes the nearest named thing of it and those joined to that one, no more.
    """
    tokens = sentence.tokens
    stream = len(tokens) > _RUN_ON
    certainty = hit.rule.axis == "certainty"
    if certainty and hit.first and tokens[hit.first - 1].norm == ":":
        return clauses.heading(sentence, hit.first - 1)
    floor = max(0, hit.first - (min(hit.rule.reach, _BACK) if stream and not certainty else hit.rule.reach))
    ends = {m.last: m for m in sentence.mentions if m.table not in _BY_THE_WAY}
    settings = {m.last for m in sentence.mentions if m.table in _SETTING}
    thick, named = False, False
    index = hit.first - 1
    while index >= floor:
        token = tokens[index]
        if token.norm in (".", ";", "?", "!") or (token.norm in ("which", "who") and thick):
            return index + 1
        if token.norm in (",", "and", "but", ":") and thick and not (named and _list_before(tokens, index)):
            return index + 1
        if not certainty and thick and token.norm in ("she", "he", "they", "we", "i"):
            return index
        if index in settings and (stream or hit.rule.value != "planned") and (thick or not certainty):
            return index + 1
        if certainty and thick and token.quantity is not None:
            return index + 1
        if hit.rule.value == "historical" and thick and token.quantity is not None and (
            token.quantity.dimension in ("mass", "volume", "amount", "fraction")
        ):
            return index + 1  # "gentamicin 240 mg apixaban stopped three days ago"
        mention = ends.get(index)
        if mention is not None and certainty:
            named = thick = True
            index = mention.first - 1
            continue
        thin = token.quantity is not None or token.punctuation or token.norm in _THIN or token.norm in _READY
        if named and token.norm not in _JOINING and token.norm not in _BEFORE_NAME and not _modifies(sentence, index):
            return index + 1
        thick = thick or not thin
        index -= 1
    return max(floor, 0)


# Words that belong to the named thing right after them.
_BEFORE_NAME = frozenset({"a", "an", "the", "any", "this", "that", "his", "her", "left", "right", "further", "other"})


def _modifies(sentence: Sentence, index: int) -> bool:
    """Whether a word is an adjective of a list ("chondral or meniscal damage"): "or"/"and" stands close before it."""
    return any(token.norm in ("or", "and", "nor") for token in sentence.tokens[max(0, index - 2) : index])


def _list_before(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether a mark or "and" before a named thing goes on a list ("a tear and loose bodies were not seen")."""
    return tokens[index].norm == "and" or any(token.norm in ("and", "or") for token in tokens[index + 1 : index + 6])
