"""Relatives whose illness is told: "father AAA", "his sister is a carrier too", "twin brother, same problem"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Sentence, Token

RELATIVES = _words(
    "father mother brother sister son daughter aunt uncle cousin grandmother grandfather niece nephew sibling twin "
    "wife husband partner dad mum mom grandson granddaughter relative brothers sisters sons daughters aunts uncles "
    "cousins siblings parents grandparents relatives twins"
)
_LEADS = _words(
    "his her their the a an one two three both my and but also with older younger elder eldest youngest maternal "
    "paternal half identical twin own first second : ( - , fh fhx"
)
_OWNERS = _words("his her their a an one two three both older younger elder maternal paternal identical half twin")
# What is told of a relative that no grammar names as an illness.
_ILL = _words(
    "same similar problem problems trouble carrier carriers operated investigated affected died blind deaf cancer "
    "stroke ca it too also condition disease heart replaced replacement dementia asthma diabetes epilepsy haemophilia "
    "hemophilia thrombosis clot clots aneurysm arthritis gout hyperthermia cataract glaucoma transplant dialysis "
    "osteoporosis fracture hip knee spondylitis reaction bleeding diabetic epileptic asthmatic"
)
# A relative who speaks, hears or helps is no history.
_HELPS = _words(
    "consent consented informed told present interpreted interprets interpreter agreed agrees wants wanted signed "
    "accompanied accompanies drive drives collect collects staying asked explained updated spoken phoned called rang "
    "said says reports reported noticed found will can should wishes wished translated discussed stays home baby "
    "skin request"
)
_SHORT = 3  # tokens of a relative and an illness
_FAR = 5  # tokens between the beginning of a clause and a relative


def subjects(sentence: Sentence) -> list[int]:
    """Tokens of the relatives of whom a clause tells an illness or an operation."""
    if not sentence.says(RELATIVES):
        return []
    return [at for at, token in enumerate(sentence.tokens)
            if token.norm in RELATIVES and not is_child(sentence.tokens, token) and _is_ill(sentence, at)]  # fmt: skip


def is_child(tokens: Sequence[Token], token: Token) -> bool:
    """ "Twins at thirty six weeks", "first twin breech": who is being born, and no brother or sister. Pure."""
    if token.norm not in ("twin", "twins"):
        return False
    at = tokens.index(token)
    after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    before = tokens[at - 1].norm if at else ""
    return after not in ("brother", "sister") and (
        before in ("first", "second") or any(one.norm in _BIRTHS for one in tokens)
    )


_BIRTHS = _words("section caesarean cesarean breech cephalic vertex delivery delivered labour labor gestation placenta "
                 "placentas pregnancy weeks chorionic dcda mcda apgar apgars")


def _is_ill(sentence: Sentence, at: int) -> bool:
    tokens = sentence.tokens
    first, end = clauses.bounds(sentence, at)
    owned = at > 0 and tokens[at - 1].norm in _OWNERS
    led = at - first <= _FAR and all(token.norm in _LEADS for token in tokens[first:at])
    marked = at > 0 and tokens[at - 1].punctuation
    beside = at + 1 < end and any(m.table == "diagnoses" and at < m.first <= at + 2 for m in sentence.mentions)
    free = beside and tokens[at - 1].norm not in clauses.TIED if at else beside  # "... in 1998 father bowel cancer"
    after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    if not (led or marked or owned or free) or after in ("'s", "s", "to", "in"):
        return False
    if at and (tokens[at - 1].norm in ("in", "by", "of", "to", "from") or owned and at > 1
               and tokens[at - 2].norm in ("in", "by", "of", "to", "from", "with", "for")):  # fmt: skip
        return False
    stop = next((index for index in range(at + 1, end) if tokens[index].norm in (".", ";")), end)
    said = {token.norm for token in tokens[at + 1 : stop]}
    named = any(m.table in _ILLNESS and at < m.first < stop for m in sentence.mentions)
    headed = at == first and tokens[at + 1 : at + 2] and tokens[at + 1].norm == ":"  # "father: ankylosing spondylitis"
    short = at == 0 and stop - at <= _SHORT and not said & clauses.FINITE  # "Brother cirrhosis."
    told = named or bool(said & _ILL) or bool((headed or short) and len(said - {":"}) > 0)
    return not said & _HELPS and told


_ILLNESS = frozenset({"diagnoses", "procedures", "findings", "complications"})


def is_patient(sentence: Sentence, index: int) -> bool:
    """ "Her sister had a dystocia she has asthma": with the pronoun that opens a clause the patient is meant again."""
    norms = [token.norm for token in sentence.tokens[index : index + 2]]
    told = norms[-1] in clauses.FINITE or norms[-1] in _TOLD
    return norms[0] in ("she", "he", "patient") and told and (
        index in clauses.starts(sentence) or sentence.tokens[index - 1].norm in (",", "and", "but", "the")
        or norms[-1] in _TOLD
    )


_TOLD = _words("takes took uses used denies denied smokes smoked underwent never lives suffers suffered wants declined")
