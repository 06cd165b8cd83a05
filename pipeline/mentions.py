"""Finds the phrases of grammars/ in sentences, with spaCy's PhraseMatcher; the longest phrase wins.

Matching sees folded tokens: hyphens between letters split (as the tokeniser does), British spellings and
plurals are folded on both sides, so a row need not list them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import product

import spacy
from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc

from pipeline import rephrased
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence
from pipeline.rows import Concept
from pipeline.shapes import HIGHEST_ASA

_NLP = spacy.blank("en")

# British to American spellings inside words; both sides are folded, so either may be written in grammars/.
_SPELLING = (
    ("anaesth", "anesth"), ("haem", "hem"), ("oedema", "edema"), ("oesoph", "esoph"), ("gynaec", "gynec"),
    ("paed", "ped"), ("orthopaed", "orthoped"), ("tumour", "tumor"), ("colour", "color"), ("centre", "center"),
    ("litre", "liter"), ("metre", "meter"), ("fibre", "fiber"), ("caecum", "cecum"), ("faec", "fec"),
    ("ischaem", "ischem"), ("anaem", "anem"), ("sulph", "sulf"), ("mould", "mold"), ("labour", "labor"),
    ("ise", "ize"), ("ising", "izing"), ("isation", "ization"), ("yse", "yze"), ("grey", "gray"),
    ("plaster of paris", "plaster"),
)  # fmt: skip

# Words as notes write them in short.
_IN_SHORT = {"a'scopy": "arthroscopy", "a\u2019scopy": "arthroscopy", "a'scopic": "arthroscopic",
             "a\u2019scopic": "arthroscopic", "ascopy": "arthroscopy", "fx": "fracture", "fxs": "fracture",
             "frx": "fracture", "disloc": "dislocation"}  # fmt: skip

_BRAND = 6  # letters of a brand name that its strength is tied to by a hyphen
# Endings of plurals whose singular ends in "-is" (diagnoses, anastomoses, stenoses, prostheses, metastases).
_GREEK_PLURALS = ("gnoses", "tomoses", "enoses", "ostheses", "tastases", "physes", "ynostoses", "xostoses")


@lru_cache(maxsize=65536)
def fold(norm: str) -> str:
    """Lower-case form with spelling and plural folded; "#..." placeholders stay as they are."""
    if norm.startswith("#"):
        return norm
    norm = norm.removesuffix("'s").removesuffix("\u2019s")
    norm = _IN_SHORT.get(norm, norm)
    brand, _, strength = norm.partition("-")
    norm = brand if len(brand) >= _BRAND and strength.isdigit() else norm  # "Kenalog-40", "Omnipaque-300"
    for british, american in _SPELLING:
        if british in norm:
            norm = norm.replace(british, american)
    return _singular(norm) if len(norm) > 3 else norm


def folded(sentence: Sentence) -> tuple[str, ...]:
    """The folded norms of the tokens. Kept per sentence."""
    found: tuple[str, ...] | None = sentence.memo.get("folded")
    if found is None:
        found = sentence.memo["folded"] = tuple([fold(token.norm) for token in sentence.tokens])
    return found


def handed_on(sentence: Sentence, made: Sentence) -> Sentence:
    """`made`, with what is known of the words of a sentence of which it has the tokens."""
    if made.tokens is sentence.tokens:
        for name in ("folded", "norms") if made.mentions is not sentence.mentions else ("folded", "norms", "clauses"):
            if name in sentence.memo:
                made.memo[name] = sentence.memo[name]
    return made


def _singular(norm: str) -> str:
    """A plural as its singular. What it gives need not be a word, only the same for both forms."""
    if norm.endswith("ies"):
        return norm[:-3] + "y"
    if norm.endswith(_GREEK_PLURALS):
        return norm[:-2] + "is"
    if norm.endswith(("sses", "shes", "xes", "inuses", "ituses", "tches", "nches", "rches")):
        return norm[:-2]
    if norm.endswith("s") and not norm.endswith(("ss", "us", "is")):
        return norm[:-1]
    return norm


def choices(phrase: str) -> list[str]:
    """A phrase of a grammar as it is said: "[one|other] word" as "one word" and "other word"."""
    if "[" not in phrase:
        return [phrase]
    return [" ".join("".join(said).split()) for said in product(*(
        part.split("|") for part in re.split(r"[\[\]]", phrase)
    ))]  # fmt: skip


def split_phrase(phrase: str) -> list[str]:
    """The folded tokens of a grammar phrase, cut as the tokeniser cuts words."""
    return [fold(part) for part in re.split(r"[\s\-]+", phrase.lower()) if part]


@lru_cache(maxsize=4)
def _matcher(grammar: Grammar) -> PhraseMatcher:
    matcher = PhraseMatcher(_NLP.vocab, attr="ORTH")
    patterns: dict[str, list[Doc]] = {}
    for table, ident, phrase in grammar.phrases():
        words = split_phrase(phrase)
        if words:
            patterns.setdefault(f"{table}|{ident}", []).append(Doc(_NLP.vocab, words=words))
    for key, docs in patterns.items():
        matcher.add(key, docs)
    return matcher


class _Known(dict[str, str]):
    """Norm -> its folded form where a phrase has it, else "_": other words need no entry in spaCy's vocabulary."""

    def __init__(self, words: Iterable[str]) -> None:
        super().__init__()
        self._words = frozenset(words)

    def __missing__(self, norm: str) -> str:
        word = fold(norm)
        word = word if word in self._words else "_"
        if len(self) < _KEPT:
            self[norm] = word
        return word


_KEPT = 65536


@lru_cache(maxsize=4)
def _known(grammar: Grammar) -> _Known:
    return _Known(word for _, _, phrase in grammar.phrases() for word in split_phrase(phrase))


@lru_cache(maxsize=4)
def _capitals(grammar: Grammar) -> dict[str, str]:
    """Short name -> table and row, of those that count only in capitals: "SAD" is no feeling."""
    return {short: f"{table}|{ident}" for table, rows in grammar.tables.items() for ident, row in rows.items()
            if isinstance(row, Concept) for short in row.capitals}  # fmt: skip


@lru_cache(maxsize=4)
def _rephrased(grammar: Grammar) -> tuple[PhraseMatcher, _Known]:
    """Matcher of the names of operations and diagnoses in their other forms, and the words of these."""
    matcher = PhraseMatcher(_NLP.vocab, attr="ORTH")
    said = {phrase for _, _, phrase in grammar.phrases()}
    seen: set[str] = set()
    known: set[str] = set()
    patterns: dict[str, list[Doc]] = {}
    for table, ident, phrase in grammar.phrases():
        if table not in ("procedures", "diagnoses") or rephrased.SIDES & set(split_phrase(phrase)):
            continue  # a side in a name is part of it: "left hemicolectomy" is no "right hemicolectomy"
        forms = [phrase, *(form for form in rephrased.variants(table, phrase) if form not in said | seen)]
        seen.update(forms[1:])
        for form in forms:
            words = split_phrase(form)
            words = [words[index] for index in rephrased.kept(words)]
            known.update(words)
            patterns.setdefault(f"{table}|{ident}", []).append(Doc(_NLP.vocab, words=words))
    for key, docs in patterns.items():
        matcher.add(key, [doc for doc in docs if len(doc)])
    return matcher, _Known(known)


def _across(sentence: Sentence, norms: list[str], grammar: Grammar) -> list[tuple[int, int, str]]:
    """Names with a side or an article inside them, turned round or said as a verb."""
    if not rephrased.may_hold(norms):
        return []
    places = rephrased.kept(norms)
    if not places:
        return []
    matcher, known = _rephrased(grammar)
    doc = Doc(_NLP.vocab, words=[known[norms[index]] for index in places])
    found = []
    for key, start, end in matcher(doc):
        first, last = places[start], places[end - 1]
        if norms[first] in rephrased.VERBS and rephrased.WELL.intersection(norms[last + 1 : last + 2]):
            continue  # "tear trimmed lateral meniscus normal": the verb is of what stands before it
        if end - start > 1 and not any(sentence.tokens[index].punctuation for index in range(first, last + 1)):
            found.append((first, last + 1, _NLP.vocab.strings[key]))
    return found


def _device_inside(start: int, end: int, found: list[tuple[int, int, str]]) -> bool:
    return any(start <= first and last <= end and key.startswith("devices|") for first, last, key in found)


def _goes_on(
    norms: list[str], start: int, end: int, found: list[tuple[int, int, str]], across: set[tuple[int, int, str]]
) -> bool:
    """Whether what is taken out ends in a further noun: "removal of the left kidney stone" takes out no kidney."""
    if rephrased.TAKEN_OUT.isdisjoint(norms[start:end]) or norms[end - 1] in rephrased.TAKEN_OUT:
        return False
    return any(
        start < first <= end < last and key.startswith(_PARTS_OF_NAMES) and (first, last, key) not in across
        for first, last, key in found
    ) or norms[end : end + 1] == ["implant"]


_PARTS_OF_NAMES = ("diagnoses|", "findings|", "devices|", "drains|")


def _asa(sentence: Sentence, index: int) -> set[str]:
    """Tables that "ASA" may be of here: "ASA 81 mg daily", "ASA 325 bid", "continue ASA" is the drug, "ASA three",
    "ASA class II" the physical status. Both where nothing decides."""
    ahead = sentence.tokens[index + 1] if index + 1 < len(sentence.tokens) else None
    if ahead is not None and _EMERGENCY.match(ahead.norm):
        return {"grades"}
    if ahead is None or ahead.quantity is None:
        before = sentence.tokens[index - 1].norm if index else ""
        drug = before in _TAKES or (ahead is not None and ahead.norm in _TAKEN)
        status = before in _IS or (ahead is not None and ahead.norm in _STATUS)
        return {"drugs"} if drug else {"grades"} if status else {"drugs", "grades"}
    value = ahead.quantity.value
    large = ahead.quantity.form == "number" and value is not None and value > HIGHEST_ASA
    return {"drugs"} if large or ahead.quantity.dimension == "mass" else {"grades"}


_EMERGENCY = re.compile(r"^([1-5]|i{1,3}|iv|v)e$")  # "ASA 4E": E for an emergency
_TAKES = frozenset("continue continues resume restart stop stopped takes taking hold held daily on off with".split())
_TAKEN = frozenset("daily bid qd od twice once therapy".split())
_IS = frozenset("is an was".split())
_STATUS = frozenset("class status score physical monitors monitoring monitor guidelines i ii iii iv v e :".split())


_DISEASES = frozenset({"diagnoses", "findings", "complications"})
_SERVICES = frozenset(
    "clinic clinics nurse nurses ward list team service specialist physician pathway protocol guideline guidelines "
    "leaflet set tray instruments trolley board conference liaison".split()
)
_OF_SERVICES = frozenset("foot care prevention screening specialist support review assessment".split())


def _names_service(norms: list[str], end: int) -> bool:
    """ "Seen in the fracture clinic", "the pain team", "the diabetic foot clinic", "the fracture set": who or what is
    for such patients; nobody was said to have it."""
    at = end + (norms[end : end + 1] != [] and norms[end] in _OF_SERVICES)
    return at < len(norms) and norms[at] in _SERVICES


_PAIRS = {"medial": "lateral", "lateral": "medial", "anterior": "posterior", "posterior": "anterior",
          "superior": "inferior", "inferior": "superior", "upper": "lower", "lower": "upper"}  # fmt: skip
_SHARING = frozenset({"procedures", "diagnoses", "findings"})


def _sharing(kept: Sequence[Mention], norms: Sequence[str], grammar: Grammar) -> list[Mention]:
    """ "Medial and lateral meniscectomy": the first of two names that share their noun, where a row has it."""
    found = []
    for mention in kept:
        said = norms[mention.first]
        at = mention.first - 2
        if mention.table not in _SHARING or at < 0 or norms[at] != _PAIRS.get(said) or norms[at + 1] not in _AND:
            continue
        other = mention.id.replace(said, norms[at], 1)
        if other != mention.id and other in grammar.tables[mention.table]:
            found.append(Mention(mention.table, other, at, mention.last))
    return found


_AND = frozenset({"and", "&", "plus", "or", "/"})


_LEADS_IN = frozenset({"for", "of", "in", "on", "to", "with", "at", "from", "by", "and", "as"})


def _crosses(start: int, end: int, taken: list[tuple[int, int]]) -> bool:
    """Whether a stretch shares tokens with one that is taken, and is another one."""
    for first, last in taken:  # noqa: SIM110 - a generator would take twice as long, some hundred times a narration
        if start < last and end > first and (start, end) != (first, last):
            return True
    return False


_TITLED = frozenset("doctor dr dr. mister mr mr. missus mrs mrs. professor prof prof.".split())
_WHAT_TEARS = frozenset({"it", "this", "that", "which", "ever", "repair", "graft"})
_OF_PEOPLE = frozenset({"team", "sides", "sex"})


def mark(sentence: Sentence, grammar: Grammar) -> Sentence:
    """The sentence with its mentions, in order. A phrase inside a longer one of any table is dropped;
    equal stretches of several tables are all kept (what decides is the extractor's business)."""
    if not sentence.tokens:
        return sentence
    matcher = _matcher(grammar)
    known = _known(grammar)
    norms = [token.norm for token in sentence.tokens]
    doc = Doc(_NLP.vocab, words=[known[norm] for norm in norms])
    found = [(start, end, _NLP.vocab.strings[key]) for key, start, end in matcher(doc)
             if not (start and norms[start - 1] == "non")]  # "non-locking screw" is no locking screw
    capitals = _capitals(grammar)
    found += [(at, at + 1, capitals[token.norm]) for at, token in enumerate(sentence.tokens)
              if token.norm in capitals and token.text.isupper()]  # fmt: skip
    across = set(_across(sentence, norms, grammar)) - set(found)
    found += across
    # of two equally long ones that overlap, the one that is not led by a preposition: "seen for | frozen shoulder"
    found.sort(key=lambda item: (item[0] - item[1], norms[item[0]] in _LEADS_IN, item[0], item[2]))
    taken: list[tuple[int, int]] = []
    kept: list[Mention] = []
    for start, end, key in found:
        if _crosses(start, end, taken):
            continue
        turned = bool(across) and (start, end, key) in across
        # "Four screws were removed" names an operation, and the screws all the same.
        if turned and _goes_on(norms, start, end, found, across):
            continue
        if not turned:
            taken.append((start, end))
        elif not _device_inside(start, end, found):
            # "excision of a left breast cancer": the cancer is named, too
            beyond = [first for first, last, other in found if start < first < end < last
                      and other.startswith("diagnoses|") and (first, last, other) not in across]  # fmt: skip
            taken.append((start, min(beyond, default=end)))
        table, ident = key.split("|", 1)
        if norms[start] == "asa" and end == start + 1 and table not in _asa(sentence, start):
            continue
        if table in _DISEASES and _names_service(norms, end):
            continue
        if end == start + 1 and start and norms[start - 1] in _TITLED and table not in _OF_PEOPLE:
            continue  # "doctor Stone", "Mrs Polyp"
        if norms[start] == "tears" and start and norms[start - 1] in _WHAT_TEARS:
            continue  # "if it tears again"
        kept.append(Mention(table, ident, start, end - 1))
    kept += _sharing(kept, norms, grammar)
    kept.sort(key=lambda mention: (mention.first, mention.last, mention.table, mention.id))
    return Sentence(sentence.index, sentence.tokens, sentence.strikes, sentence.section, tuple(kept), sentence.scopes)
