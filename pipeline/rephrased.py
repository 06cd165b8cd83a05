"""Other ways to say names of operations and diagnoses: "repaired the right cuff", "fracture of the clavicle".

A name of grammars/procedures.toml or diagnoses.toml that ends in what is done or what is wrong ("rotator cuff repair",
"clavicle fracture") gives its other forms by itself, so that no row lists them: as a verb with its object, as a verb
behind its subject, and turned round with "of". They are looked for in the words without sides, articles and forms
of "to be".
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.records import Sentence

# What is done -> the verb that says that it was done. Steps of nearly every operation (closed, injected, placed) are
# no operation of their own and are left out.
DONE = {
    "repair": ("repaired",), "release": ("released",), "replacement": ("replaced",), "excision": ("excised",),
    "resection": ("resected",), "reconstruction": ("reconstructed",), "decompression": ("decompressed",),
    "drainage": ("drained",), "amputation": ("amputated",), "fusion": ("fused",), "arthrodesis": ("fused",),
    "arthroscopy": ("scoped", "arthroscoped"), "transposition": ("transposed",), "extraction": ("extracted",),
    "evacuation": ("evacuated",), "lengthening": ("lengthened",),
    "removal": ("removed", "excised", "resected", "taken out", "took out"),
    "trimming": ("trimmed",), "recession": ("recessed",), "transplantation": ("transplanted",),
    "transfer": ("transferred",), "fixation": ("fixed",), "pinning": ("pinned",), "nailing": ("nailed",),
}  # fmt: skip
# What is wrong -> the adjective before the part.
_WRONG = {
    "tear": ("torn",), "rupture": ("ruptured",), "fracture": ("fractured", "broken"), "dislocation": ("dislocated",),
    "stenosis": ("stenosed", "stenotic"), "arthritis": ("arthritic",), "osteoarthritis": ("arthritic",),
    "tumour": (), "tumor": (), "cyst": (), "abscess": (), "carcinoma": (), "cancer": (), "lesion": (), "injury": (),
    "instability": (), "laceration": ("lacerated",), "impingement": (), "obstruction": (), "aneurysm": (),
    "contracture": (), "stiffness": ("stiff",),
    "hypertrophy": (), "mass": (), "ulcer": (), "polyp": (), "stone": (), "prolapse": (),
    "detachment": (), "haematoma": (), "necrosis": (), "nonunion": (), "infection": (), "rupture of": (),
    "entrapment": (), "compression": (), "defect": (), "hernia": (), "ganglion": (), "lipoma": (), "nodule": (),
}  # fmt: skip
# What takes a part out for good.
TAKEN_OUT = frozenset("removal removed remove excision excised resection resected extraction extracted".split())
VERBS = frozenset(verb.split()[0] for verbs in DONE.values() for verb in verbs)
WELL = frozenset({"normal", "intact", "fine", "healthy", "unremarkable"})
_STATES = frozenset(word for words in _WRONG.values() for word in words)
_HEADS = frozenset(DONE) | frozenset(_WRONG)
SIDES = frozenset({"left", "right", "bilateral", "both"})
_FILLING = SIDES | frozenset(
    {"the", "a", "an", "his", "her", "their", "this", "that", "was", "were", "is", "has", "had", "been", "then", "also",
     "now", "successfully", "completely"}
)  # fmt: skip


# What tells the way or the direction and names no part: "the tip was resected anterior capsule released" is no anterior
# resection.
_HOW = frozenset(
    "anterior posterior posterolateral lateral medial diagnostic external internal percutaneous surgical tangential "
    "triple antegrade retrograde instrumented open".split()
)


def variants(table: str, phrase: str) -> Iterator[str]:
    """The further forms of a name of that table, without articles."""
    words = [word for word in phrase.split() if word not in _FILLING]
    if len(words) < 2:
        return
    table_of = {"procedures": DONE, "diagnoses": _WRONG}.get(table)
    if table_of is None:
        return
    if "of" in words[1:-1]:
        at = words.index("of")
        head, thing = " ".join(words[:at]), " ".join(words[at + 1 :])
    else:
        head, thing = words[-1], " ".join(words[:-1])
    if head not in table_of or not thing or thing in _HOW:
        return
    yield f"{head} of {thing}"
    for word in table_of[head]:
        yield f"{word} {thing}"
        if table == "procedures":
            yield f"{thing} {word}"


def may_hold(norms: list[str]) -> bool:
    """Whether words can hold such a form: cheap, before anything is looked up."""
    present = set(norms)
    if present & SIDES or present & VERBS or present & _STATES:
        return True
    return "of" in present and bool(present & _HEADS)


def kept(norms: list[str]) -> list[int]:
    """The places of the words that count: without sides, articles and forms of "to be"."""
    return [index for index, norm in enumerate(norms) if norm not in _FILLING]


def is_verbal(sentence: Sentence, first: int, last: int) -> bool:
    """Whether tokens first..last say an operation as a verb ("the cuff was repaired")."""
    return any(token.norm in VERBS for token in sentence.tokens[first : last + 1])
