"""What a sentence tells that was not done or found in this operation, by the way that it is told and not by one word:
what another doctor did, what was done before it, what would have been, what the patient was told beforehand."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Mention, Scope, Sentence

_PROSE = 60  # tokens; a longer sentence is a stream of speech, in which such a scope ends with its clause


def scopes(sentence: Sentence) -> list[Scope]:
    """The scopes of what is told so. Pure."""
    norms = [token.norm for token in sentence.tokens]
    found = []
    if "after" in norms:
        found += [Scope("status", "historical", *span, "after-his") for span in _after_his(sentence, norms)]
    if not _OTHERS.isdisjoint(norms):
        found += [Scope("status", "historical", *span, "by-another") for span in _by_another(sentence, norms)]
    if "had" in norms:
        found += [Scope("status", "conditional", *span, "had-it-been") for span in _had_it_been(norms)]
        found += [Scope("status", "historical", *span, "had-been") for span in _had_been(sentence, norms)]
    if (where := signs_before_place(sentence)) is not None:
        found.append(Scope("status", "conditional", 0, where, "signs"))
    if "on" in norms:
        for drug in _on_a_drug(sentence, norms):
            found.append(Scope("status", "historical", *drug, "on-a-drug"))
            found.append(Scope("certainty", "affirmed", *drug, "on-a-drug"))
    if norms[0] == "had" and (year := _had_then(sentence)) is not None:
        found.append(Scope("status", "historical", 0, year, "had-then"))
    if norms[0] in _OPENS and _opens_talk(sentence, norms):
        found.append(Scope("status", "conditional", 0, _up_to_choice(norms, 1), "talk"))
    elif not _TELLS.isdisjoint(norms):
        found += [Scope("status", "conditional", *span, "was-told") for span in _was_told(sentence, norms)]
    return found


def signs_before_place(sentence: Sentence) -> int | None:
    """The last token of what should bring the patient back, told as a list before the place to go to: "Scrotal
    swelling, can't PU, fever: SAU.", "Calf pain, breathless -> A&E"."""
    tokens = sentence.tokens
    at = next((n for n in range(len(tokens) - 1, max(0, len(tokens) - _PLACE_WORDS), -1)
               if tokens[n].norm in (":", "->")), None)  # fmt: skip
    if at is None or at < 1 or len(tokens) > _LIST or at + 1 >= len(tokens):
        return None
    place = tokens[at + 1]
    named = place.norm in _PLACES or place.text in _PLACES_SHORT or [t.norm for t in tokens[at + 1 : at + 4]] == (
        ["a", "&", "e"]
    )
    told = any(token.norm in _WAS for token in tokens[:at]) or tokens[0].norm in ("to", "transfer", "disposition")
    return at - 1 if named and not told and at > 1 else None


_PLACE_WORDS, _LIST = 6, 20  # tokens
_PLACES = _words("casualty hospital 999 911 112")
_PLACES_SHORT = frozenset({"SAU", "SDEC", "ED", "ER", "A&E", "AE", "GP", "EAU", "MAU", "AMU"})
_WAS = _words("was were done seen sent referred transferred admitted")


def _on_a_drug(sentence: Sentence, norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "Diabetic, no retinopathy, on tamsulosin": what the patient takes, told in short of the illnesses."""
    for mention in sentence.mentions:
        at = mention.first - 1
        if mention.table != "drugs" or at < 1 or norms[at] != "on" or norms[at - 1] not in (",", ";", "(", "and"):
            continue
        ill = any(m.table in ("diagnoses", "findings") and m.first < at for m in sentence.mentions) or (
            not _ILL.isdisjoint(norms[:at])
        )
        if ill and sentence.section not in ("aftercare", "follow-up", "disposition"):
            yield mention.first, mention.last


_ILL = _words("diabetic smoker asthmatic hypertensive epileptic known ex-smoker no")


def _after_his(sentence: Sentence, norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "Had a DVT after his vasectomy": an operation of the patient's own, and what came of it."""
    for mention in sentence.mentions:
        if mention.table != "procedures" or mention.first < 2 or norms[mention.first - 2] != "after" or (
            norms[mention.first - 1] not in ("his", "her")
        ):  # fmt: skip
            continue
        had = [at for at in range(max(0, mention.first - _CONDITION), mention.first) if norms[at] in ("had", "has")]
        yield (had[-1] if had else mention.first), mention.last


# Who treats a patient before and elsewhere: those of the first set by themselves, those of the second behind a word
# that sets them apart from the team of this operation.
_ALONE = _words("gp dentist paramedic paramedics physio physiotherapist optician midwife rheumatologist dermatologist "
                "neurologist chiropractor podiatrist ambulance orthodontist pcp")  # fmt: skip
_WHERE = _words("doctor physician surgeon hospital team unit clinic department room crew centre center consultant "
                "registrar practitioner doctors physicians surgeons staff facility ed er service specialist")
_APART = _words("referring outside local emergency er ed family other another previous district general primary "
                "care ambulance casualty transferring original earlier her his their nearby pain community")
_BY_LETTERS = _words("er ed casualty")
_OTHERS = _ALONE | _WHERE | _BY_LETTERS
_IRREGULAR = _words("gave given seen sewn done put did took made sent found saw left set began got cut drew drained")
# What another doctor says, asks for or helps with tells nothing of what was done before.
_NO_DEED = _words("asked called referred informed wanted agreed assisted helped joined scrubbed attended requested "
                  "advised recommended suggested needed discussed phoned reviewed confirmed marked verified counted")
_BETWEEN = _words("had has then initially also already first twice successfully physician doctor doc docs team who in "
                  "at of and staff on the")  # fmt: skip
_HERE = _words("today now we i our my so but here")


def _by_another(sentence: Sentence, norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "The referring dentist had extracted 36 and prescribed amoxicillin", "the emergency room had applied a splint":
    from who did it to the end of the sentence or to what is told of today."""
    for at in range(len(norms)):
        if not _is_other(norms, at):
            continue
        verb = at + 1
        while verb < len(norms) and verb - at <= _TO_VERB and norms[verb] in _BETWEEN:
            verb += 1
        if verb >= len(norms) or norms[verb] in _NO_DEED or not (
            norms[verb].endswith("ed") or norms[verb] in _IRREGULAR
        ):
            continue
        yield at, _last(sentence, norms, verb)


def _is_other(norms: list[str], at: int) -> bool:
    """Whether a token is the last word, or the first of letters, for somebody who treats elsewhere."""
    norm, before = norms[at], norms[max(0, at - 2) : at]
    apart = norm in _WHERE and before[-1:] != [] and (before[-1] in _APART or before[-1] == "physician")
    if not (norm in _ALONE | _BY_LETTERS or apart) or "by" in before:
        return False
    opens = not at or norm in _BY_LETTERS and norms[at - 1] in (".", ";", ",")
    return opens or not _LEADS.isdisjoint(norms[max(0, at - _LED) : at])


_LEADS = _words("the a an his her their our at")
_LED, _TO_VERB = 4, 4  # tokens


def _last(sentence: Sentence, norms: list[str], start: int) -> int:
    """The last token of what is told from a verb on: up to a full stop, "today", "we" or "I", in a stream of speech to
    the end of its clause."""
    end = len(norms) if len(norms) <= _PROSE else clauses.bounds(sentence, start)[1]
    for at in range(start + 1, end):
        if norms[at] in (".", ";") or norms[at] in _HERE:
            return at - 1
    return end - 1


def _had_it_been(norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "Had the hip been unstable a lipped liner would have been next": the condition, which was not so."""
    for at, norm in enumerate(norms):
        if norm != "had" or at and norms[at - 1] not in (".", ";", ",", "-", "–", "and", "but"):
            continue
        ahead = norms[at + 1 : at + 1 + _CONDITION]
        then = next((n for n, word in enumerate(ahead) if word in ("would", "could", "might", "'d")), None)
        if then is None or ahead[:1] and ahead[0] in _NO_SUBJECT:
            continue
        if any(word == "been" or word.endswith("ed") or word == "not" for word in ahead[:then]):
            comma = next((n for n, word in enumerate(ahead[:then]) if word == ","), None)
            yield at, at + (comma if comma is not None else then)


_CONDITION = 16  # tokens
_NO_SUBJECT = _words("a an been no two three some")


def _had_been(sentence: Sentence, norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "He had been managed with a cast for three weeks": how somebody was treated before."""
    for at in range(1, len(norms) - 2):
        if norms[at] in ("had", "has") and norms[at + 1] == "been" and norms[at + 2] in _TREATED and not (
            _ONCE & set(norms[max(0, at - _SUBJECT) : at])
        ):
            yield at, clauses.bounds(sentence, at + 2)[1] - 1


_TREATED = _words("managed treated seen operated admitted referred diagnosed investigated immobilised immobilized "
                  "splinted casted resuscitated embolised embolized irradiated followed hospitalised hospitalized")
_ONCE = _words("once after when until before we i")
_SUBJECT = 6  # tokens


def _had_then(sentence: Sentence) -> int | None:
    """ "Had steroid injections both wrists 2023": a note in short; the token of the year."""
    dated = (at for at, token in enumerate(sentence.tokens[:_CONDITION]) if clauses.is_year(token))
    return next(dated, None) if sentence.index else None


# "Discussed surveillance, ablation and nephrectomy; he wanted it out", "Told about perforation": without who did it.
_OPENS = _words("discussed considered offered mentioned explained counselled counseled warned told debated knows "
                "consented")  # fmt: skip


def _opens_talk(sentence: Sentence, norms: list[str]) -> bool:
    after = norms[1] if len(norms) > 1 else "."
    if sentence.section in ("aftercare", "follow-up") or not _TO_DO.isdisjoint(norms[1:3]):
        return False
    if norms[0] in ("told", "warned", "explained", "counselled", "counseled", "knows", "mentioned"):
        return after in ("about", "re", "of", "that", ":", "how", "on", "regarding") and (
            _DONE_ALREADY.isdisjoint(norms)
        )
    return not (norms[0] == "consented" and after != ":") and not {"was", "were"} & set(norms[:_CONDITION])


_TELLS = _words("told informed explained warned counselled counseled mentioned reminded understands understood "
                "accepts accepted aware quoted")  # fmt: skip
_WHOM = _words("him her them patient mother father parents family wife husband partner son daughter they he she couple")
_MAY_BE_IT, _PRONOUN = _words("he she it they there"), 3
_MODALS = _words("could may might can would")
_TO_DO = _words("to not")  # "told to avoid": what is ordered
_DONE_ALREADY = _words("had found went repaired removed placed put replaced fixed closed tolerated")
_CHOSEN = _words("chose chosen elected opted decided proceeded preferred wanted signed agreed agrees declined wishes "
                 "asked wished")  # fmt: skip
_TOLD_SO = 6  # tokens between the verb and what was told


def _was_told(sentence: Sentence, norms: list[str]) -> Iterator[tuple[int, int]]:
    """ "I told him that a dural tear may need bed rest", "explained about seroma and lymphoedema": what the patient was
    told may happen. Not what was told afterwards of what was found, and no order."""
    if sentence.section in ("aftercare", "follow-up", "description"):
        return
    for at, norm in enumerate(norms):
        if norm not in _TELLS or norms[at + 1 : at + 2] == ["by"]:
            continue
        ahead = norms[at + 1 : at + 1 + _TOLD_SO]
        opens = next((n for n, word in enumerate(ahead) if word in ("that", "about", "of", ":", "how")), None)
        if opens is None:  # "family told he could bleed again"
            opens = next((n for n in range(min(len(ahead) - 1, _PRONOUN)) if ahead[n] in _MAY_BE_IT
                          and ahead[n + 1] in _MODALS), None)  # fmt: skip
        if opens is None or any(word in _TO_DO for word in ahead[:opens]):
            continue
        whom = _WHOM & {*norms[max(0, at - _WHO) : at], *ahead[:opens]}
        if not whom and not (norm == "explained" and ahead[opens] in ("about", ":")):
            continue
        last = _up_to_choice(norms, at + 1 + opens)
        told = norms[at + 1 + opens : last + 1]
        if _DONE_ALREADY.isdisjoint(told) and not {"was", "were"} & set(told):
            yield at, last


_WHO = 4  # tokens


_SEEN = frozenset({"findings", "diagnoses", "complications"})
_ELSE = frozenset({"irrigation", "fluids", "drugs"})
_NOTHING_BAD = _words("irrigation saline urine bile fat artefact artifact blood washout fluid normal nothing fine "
                      "intact contrast water air")  # fmt: skip
_TAKEN = _words("looked seemed appeared took taken thought presumed suspected supposed apparent feared")
_TURNED = 9  # tokens


def taken_for(sentence: Sentence, first: int, last: int) -> tuple[int, int] | None:
    """ "What looked like a serosal tear turned out to be an adhesion": the tokens of what was not there, before the
    cue at tokens first..last, where what was there instead is named behind it. "The suspected tear turned out to be a
    radial tear" is one thing."""
    if sentence.tokens[last].norm != "be":
        return None
    before = [m for m in sentence.mentions if m.table in _SEEN and 0 < first - m.first <= _TURNED and m.last < first]
    behind = [m for m in sentence.mentions if m.table in _SEEN | _ELSE and 0 < m.first - last <= _TURNED]
    plain = [token.norm for token in sentence.tokens[last + 1 : last + 4]]
    if before and not _NOTHING_BAD.isdisjoint(plain):
        behind = [Mention("findings", "", last + 1, last + 1)]
    if not before or not behind or before[-1].id == behind[0].id or (
        sentence.tokens[before[-1].last].norm == sentence.tokens[behind[0].last].norm
    ):
        return None
    led = {token.norm for token in sentence.tokens[max(0, before[-1].first - _WHO - 1) : before[-1].last + 1]}
    return (before[-1].first, before[-1].last) if led & _TAKEN else None


def _up_to_choice(norms: list[str], start: int) -> int:
    for at in range(start + 1, len(norms)):
        if norms[at] in (".", ";") or norms[at] in _CHOSEN:
            return at - 1
    return len(norms) - 1
