"""Status and certainty: which words of a sentence are negated, suspected, planned, conditional, historical.

Cues are rows of grammars/context.toml, found with spaCy's PhraseMatcher; the longest cue wins, and a "pseudo"
cue ("no change") only hides the shorter one inside it. What a cue governs is cut at clause borders and at "stop"
cues, so that "no purulence, some fibrin" negates one of two things. Speech often has no punctuation: a negation
then reaches the next named thing and what is joined to it, never the whole stream of words.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pipeline import (
    changed_plans,
    clauses,
    conditions,
    context_ends,
    context_years,
    not_of_today,
    pictures,
    said_behind,
)
from pipeline.clauses import word_set as _words
from pipeline.context_behind import start_behind
from pipeline.context_cues import CueHit
from pipeline.context_cues import hits as cue_hits
from pipeline.context_reach import BY_THE_WAY, READY, RUN_ON, THIN, ahead_clause, ahead_named
from pipeline.grammar import Grammar
from pipeline.mentions import handed_on
from pipeline.records import Scope, Sentence
from pipeline.rows import SectionCue


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
    found += context_years.years(sentence)
    found += pictures.old(sentence)
    found += not_of_today.scopes(sentence)
    found += [Scope("certainty", "negated", m.first, m.last, "free") for m in sentence.mentions
              if m.table == "drugs" and [token.norm for token in sentence.tokens[m.last + 1 : m.last + 2]] == ["free"]
              ]  # fmt: skip
    found += [Scope("status", "planned", first, last, "to-come") for first, last in changed_plans.to_come(sentence)]
    tried = changed_plans.failed_attempts(sentence)
    found += [Scope("certainty", "negated", first, last, "attempt-failed") for first, last in tried]
    found = changed_plans.changed(sentence, found)
    kept = tuple(scope for scope in found if not _overruled(scope, found))
    kept += tuple(_given_up(sentence, found))
    return handed_on(sentence, Sentence(
        sentence.index, sentence.tokens, sentence.strikes, sentence.section, sentence.mentions, kept
    ))  # fmt: skip


def _overruled(scope: Scope, found: list[Scope]) -> bool:
    """A suspicion that the same sentence settles, a plan that it says was not done, and one that hangs on an "if"."""
    for other in found:
        holds = other.axis == scope.axis and other.first <= scope.first and scope.last <= other.last
        meets = other.axis == scope.axis and other.first <= scope.last and scope.first <= other.last
        later = other.first > scope.first or other.last > scope.last
        if meets and scope.value == "suspected" and other.value == "negated" and later:
            return True
        if scope.value == "historical" and other.value == "other_person" and meets and (
            other.first <= scope.first + 2 and not scope.rule.startswith("section")
        ):  # fmt: skip
            return True  # "his brother had one last year"
        if scope.rule in _INTENDED | _WEIGHED and other.rule in _UNDONE and scope.first <= other.last and (
            other.first <= scope.last
        ):  # fmt: skip
            return True  # "the planned sterilisation was not done", "mastectomy had been offered, declined"
        if scope.rule in _INTENDED and other.rule in ("no", "without") and scope.last <= other.last + 1 and _shares(
            scope, other
        ):
            return True  # "no sedation requested"
        if scope.rule == "attempt-failed" and other.value == "historical" and _shares(scope, other) and (
            other.first <= scope.first + 2
        ):
            return True  # "a septoplasty elsewhere that failed": it was done
        if holds and scope.value == "planned" and other.value == "conditional" and other.rule == "conditional":
            return True
    return False


def _given_up(sentence: Sentence, found: list[Scope]) -> Iterator[Scope]:
    """ "Septoplasty in the plan - septum straight, omitted": an operation that was planned and is denied by a word that
    reaches no further back than to the reason."""
    for scope in found:
        if scope.rule != "planned-before":
            continue
        named = [m for m in sentence.mentions if m.table == "procedures" and scope.first <= m.first <= scope.last]
        for other in found:
            over = other.rule in _UNDONE and other.first <= scope.last < other.last and other.first > scope.first
            if over and named and named[-1].last < other.first:
                yield Scope("certainty", "negated", named[-1].first, named[-1].last, "changed")


def _shares(one: Scope, other: Scope) -> bool:
    """Whether two scopes share a token."""
    return other.first <= one.last and one.first <= other.last


_INTENDED = frozenset({"planned-after", "planned-before", "aimed"})
_WEIGHED = frozenset({"weighed", "told-ahead", "talked-of"})
_UNDONE = frozenset({"not-done", "attempt-failed", "none", "unable", "declined"})


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


def _is_from(sentence: Sentence, hit: CueHit) -> bool:
    """ "Marrow was taken last year from the left crest": the time stands in the middle of what was done then."""
    return sentence.tokens[hit.first].norm == "last" and any(
        token.norm in ("from", "into") for token in sentence.tokens[hit.last + 1 : hit.last + 2]
    )


def _governed(sentence: Sentence, hit: CueHit, hits: list[CueHit], stops: set[int]) -> list[Scope]:
    rule = hit.rule
    if rule.id == "call-behind" and conditions.has_reason(sentence, hit.last):
        return []
    axis: Literal["status", "certainty"] = "status" if rule.axis == "status" else "certainty"
    spans: list[tuple[int, int]] = []
    if rule.direction == "sentence":
        spans.append(_whole(sentence, hit))
    else:
        back = start_behind(sentence, hit)
        if axis == "status" or rule.direction != "after" and _told_before(sentence, hit.first) and (
            context_ends.before_aside(sentence, hit.first) is None
        ):
            back = max(back, clauses.bounds(sentence, hit.first)[0])
        leads = rule.id == "nil" and _leads(sentence, hit)
        behind = rule.direction == "after" and said_behind.is_behind(sentence, hit)
        # what comes before such a cue is its subject ("a tear was not seen"): then it governs nothing ahead
        yet = hit.first > 1 and sentence.tokens[hit.first - 1].norm == "but"  # "was opened but not needed"
        active = rule.id == "not-done" and _is_active(sentence, hit)
        subject = axis == "certainty" and rule.direction == "both" and rule.id != "versus" and not active and (
            yet or _is_thick(sentence, back, hit.first)
        )
        apart = rule.id == "not-done" and said_behind.after_a_state(sentence, hit)
        if apart:
            spans.append((hit.first, hit.last))
        elif behind:
            spans.append((back, hit.last))
        elif _denies_its_verb(sentence, hit, back):
            alone = said_behind.of_what_was_found(sentence, hit) or said_behind.after_a_verb(sentence, hit)
            spans.append((hit.first if alone else said_behind.subject(sentence, hit, back), hit.last + 1))
        elif rule.direction in ("after", "both") and (not subject or leads):
            ahead = ahead_named if axis == "certainty" else ahead_clause
            spans.append((hit.first, ahead(sentence, hit, hits, stops)))
        if rule.direction in ("before", "both") and not (leads or apart or active):
            spans.append((back, hit.last))
        if rule.value == "historical" and rule.direction == "before" and (
            not _is_thick(sentence, back, hit.first) or _is_from(sentence, hit)
        ):
            spans.append((hit.first, ahead_clause(sentence, hit, hits, stops)))  # "ten years ago a hysterectomy"
    if rule.id == "none" and said_behind.of_a_place(sentence, hit) or rule.id == "attempt-failed" and (
        context_ends.describes(sentence, hit) or _made_good(sentence, hit)
    ):
        return []
    later = changed_plans.not_yet(sentence, hit)
    if later is not None:
        return [Scope("status", "planned", *later, "not-yet")]
    topic = changed_plans.denied_topic(sentence, hit) or changed_plans.denied_title(sentence, hit)
    if topic is not None:
        spans = [topic]
    elif rule.id == "not" and (object_ := changed_plans.denied_object(sentence, hit)) is not None:
        spans = [object_]
    elif rule.id in _OF_A_TOPIC and (ahead_of := changed_plans.fronted(sentence, hit)) is not None:
        spans.append((ahead_of, hit.last))
    first = min(span[0] for span in spans)
    last = max(span[1] for span in spans)
    if rule.id == "attempt-failed" and _is_behind_it(sentence, hit):
        first, last = hit.first, max(last, ahead_named(sentence, hit, hits, stops))
    if rule.id == "unable" and sentence.tokens[min(hit.last + 1, last)].norm in _OVERCOME:
        last = min([last, *(m.first - 1 for m in sentence.mentions if m.table in _SEEN and m.first > hit.last)])
    if rule.id == "none" and hit.first and sentence.tokens[hit.first - 1].norm in _SHOWED:
        sought = [m for m in sentence.mentions if m.table in _SEEN and m.last < hit.first][-1:]
        return [Scope(axis, "negated", m.first, m.last, rule.id) for m in sought]  # "methylene blue showed none"
    if rule.id == "none" and sentence.tokens[hit.first - 1].norm in ("was", "were") and _were_none(sentence, hit):
        first = min([m.first for m in sentence.mentions if m.table in _SEEN and first <= m.first] or [hit.first])
    then = sentence.tokens[min(hit.last + 1, len(sentence.tokens) - 1)].norm
    if rule.id in _LONG_AGO and then == "(":  # "an infection treated last week (nitrofurantoin 5/7)"
        last = next((at for at in range(hit.last, len(sentence.tokens)) if sentence.tokens[at].norm == ")"), last)
    elif rule.id in _LONG_AGO and then in _GOES_ON:
        last = clauses.bounds(sentence, hit.last)[1] - 1  # "a colonoscopy two years ago with no polyps"
    if rule.id == "not-done" and sentence.tokens[hit.last].norm == "sent":
        first = _unsent(sentence, hit, first)
        last = hit.last
    if rule.id == "not-done" and sentence.tokens[hit.last].norm in _AGAIN and any(
        m.table in ("drugs", "injectates") and first <= m.first < hit.first for m in sentence.mentions
    ):
        return []  # "cefuroxime 1.5 g, not repeated": it was given
    if rule.id in _AT_HOME and not any(m.table == "drugs" and first <= m.first <= last for m in sentence.mentions):
        return []
    if rule.id in _AT_HOME:  # "is on metformin and had two grams of cefazolin"
        told = range(hit.last + 1, last + 1)
        last = next((at - 1 for at in told if sentence.tokens[at].norm in clauses.FINITE | _ENDS_LIST), last)
    if rule.id == "searched":
        first = min(hit.last + 1, last)  # what was done to look for it was done
    last = context_ends.before_clause(sentence, hit, last)
    if rule.axis == "certainty" and (omitted := context_ends.left_out_before(sentence, hit)) is not None:
        return [Scope("status", "historical", *omitted, "omitted-before"),
                Scope("certainty", "affirmed", *omitted, "omitted-before")]  # fmt: skip
    if rule.id == "never-stopped":
        drugs = [m.first for m in sentence.mentions if m.table == "drugs" and m.first < hit.first]
        first = min(first, *drugs[-1:]) if drugs else first  # "apixaban 5 mg BD - not stopped"
    if rule.value == "historical":
        first = context_years.since(sentence, first, hit.first)
    if rule.value == "affirmed" and (what := not_of_today.taken_for(sentence, hit.first, hit.last)) is not None:
        return [Scope(axis, "negated", *what, "taken-for")]
    if rule.value == "affirmed":
        return [
            Scope(axis, "affirmed", m.first, m.last, rule.id)
            for m in sentence.mentions
            if first <= m.first and m.last <= last
        ]
    if rule.id == "prescribed" and sentence.section in ("indication", "history", "imaging"):
        return [Scope(axis, "historical", first, last, rule.id)]  # "was sent home with tablets and came back today"
    return [Scope(axis, rule.value, first, last, rule.id)]


def _unsent(sentence: Sentence, hit: CueHit, first: int) -> int:
    """ "Loose bodies removed, not sent": what was not sent was there, and was removed; a specimen alone is denied."""
    told = ("acts", "procedures", "findings")
    return hit.first if any(m.table in told and first <= m.first < hit.first for m in sentence.mentions) else first


# "Intussusception after a failed enema": what failed is named behind it.
_BEHIND_IT = frozenset({"after", "following", "despite", "since"})


def _is_behind_it(sentence: Sentence, hit: CueHit) -> bool:
    """ "After a failed enema", "after two failed attempts"."""
    at = hit.first - 1
    while at > 0 and (sentence.tokens[at].quantity is not None or sentence.tokens[at].norm in ("a", "the", "one")):
        at -= 1
    return at >= 0 and sentence.tokens[at].norm in _BEHIND_IT


_OF_A_TOPIC = frozenset({"aimed", "would", "planned", "planned-after"})
_AGAIN = frozenset({"repeated", "continued", "redosed"})
_ENDS_LIST = frozenset({"never", "not", "continues", "continue", "continued"})
_AT_HOME = frozenset({"taken-at-home", "and-takes"})
_LONG_AGO = frozenset({"historical-before"})
_GOES_ON = _words("with showing which treated")


def _leads(sentence: Sentence, hit: CueHit) -> bool:
    """ "Tendons intact, nil triggering": said of what follows; "complications nil" of what comes before."""
    tokens = sentence.tokens
    opens = hit.first == 0 or tokens[hit.first - 1].punctuation and tokens[hit.first - 1].norm != ":"
    return opens and hit.last + 1 < len(tokens) and not tokens[hit.last + 1].punctuation


def _told_before(sentence: Sentence, index: int) -> bool:
    """Whether the clause before the one at a token tells something of its own: "the serosa was intact and the
    perforation was ruled out". "A tear and loose bodies were not seen" is one list."""
    start = clauses.bounds(sentence, index)[0]
    before = clauses.bounds(sentence, start - 1)[0] if start else 0
    own = any(start <= m.first < index and m.table not in BY_THE_WAY for m in sentence.mentions) or any(
        token.norm in ("the", "a", "an") for token in sentence.tokens[start : max(start, index - 1)]
    )  # fmt: skip
    return start > 0 and own and any(token.norm in clauses.FINITE for token in sentence.tokens[before:start])


def _were_none(sentence: Sentence, hit: CueHit) -> bool:
    """ "We looked for a leak with methylene blue and there was none": no drug is said not to be there."""
    return hit.first > 1 and sentence.tokens[hit.first - 2].norm == "there"
# "Unable to cross the stenosis": what could not be overcome is there.
_OVERCOME = _words("cross pass traverse negotiate reach remove reduce relieve clear treat correct control close")
_SHOWED = _words("showed shows revealed found saw demonstrated confirmed")
_SEEN = frozenset({"findings", "diagnoses", "complications"})


def _stands_by_itself(sentence: Sentence, hit: CueHit) -> bool:
    """ "Patella not resurfaced two mixes of cement": subject, "not", participle, and then a number or another thing."""
    tokens, after = sentence.tokens, hit.last + 1
    if after + 1 >= len(tokens) or not tokens[after].norm.endswith("ed"):
        return False
    at = hit.first - 1 - (hit.first > 1 and tokens[hit.first - 1].quantity is not None)  # "slap one not treated"
    subject = any(mention.last == at for mention in sentence.mentions)
    number = tokens[after + 1].quantity
    counted = number is not None and number.form != "ordinal"
    named = any(m.first == after + 1 and m.table not in BY_THE_WAY for m in sentence.mentions)
    return subject and (counted or named)


def _is_active(sentence: Sentence, hit: CueHit) -> bool:
    """ "Block by the anaesthetist, I did not give any local": what was not done follows."""
    tokens, after = sentence.tokens, hit.last + 1
    said = tokens[hit.first].norm in ("did", "didn't") and hit.first > 0 and tokens[hit.first - 1].norm in _WHO
    return said and after < len(tokens) and not tokens[after].punctuation and tokens[after].norm not in _IT


_WHO, _IT = _words("i we he she they"), _words("it them this that and but so because")


def _made_good(sentence: Sentence, hit: CueHit) -> bool:
    """ "Block failed, repeated with success": it was done in the end."""
    behind = [token.norm for token in sentence.tokens[hit.last + 1 : hit.last + _SOON]]
    behind = behind[: behind.index(".")] if "." in behind else behind
    return bool(_SUCCESS & set(behind)) and not {"without", "no", "not"} & set(behind)


_SUCCESS, _SOON = _words("success successful successfully succeeded worked"), 8


def _denies_its_verb(sentence: Sentence, hit: CueHit, behind: int) -> bool:
    """ "The other side was not touched gentamicin ...": a passive has its subject before it, and a named thing right
    behind its verb begins something new."""
    tokens = sentence.tokens
    after = hit.last + 1
    if hit.rule.id == "not" and (_stands_by_itself(sentence, hit) or said_behind.ends_with_its_verb(sentence, hit)):
        return True
    return (
        hit.rule.id == "not" and hit.first > 0 and after + 1 < len(tokens) and tokens[after].norm.endswith("ed")
        and tokens[hit.first - 1].norm in ("was", "were", "is", "are", "been")
        and _is_thick(sentence, behind, hit.first)
        and any(mention.first == after + 1 and mention.table not in BY_THE_WAY for mention in sentence.mentions)
    )  # fmt: skip


def _is_thick(sentence: Sentence, first: int, end: int) -> bool:
    """Whether tokens first..end-1 hold more than function words."""
    return any(
        not token.punctuation and token.quantity is None and token.norm not in THIN and token.norm not in READY
        for token in sentence.tokens[first:end]
    )


def _whole(sentence: Sentence, hit: CueHit) -> tuple[int, int]:
    last = len(sentence.tokens) - 1
    if hit.rule.value == "conditional":
        return conditions.hangs_on(sentence, hit.first, hit.last, hit.rule.reach)
    return (0, last) if last < RUN_ON else (max(0, start_behind(sentence, hit)), min(last, hit.last + hit.rule.reach))
