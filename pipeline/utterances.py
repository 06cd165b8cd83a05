"""Words to sentences: cut by punctuation, headings, line breaks and pauses; numbers read; corrections settled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline import (
    asked_told,
    contrasts,
    fillers,
    hesitated,
    how_often,
    letters,
    numerals,
    queries,
    stray_stops,
    streams,
)
from pipeline.corrections import settle
from pipeline.gapped import lend
from pipeline.quantities import merge
from pipeline.records import Sentence, Token, Word
from pipeline.restated import Draft
from pipeline.tokens import tokenize
from pipeline.units import is_unit_word

_ENDS = frozenset({".", "!", "?"})
# A pause after one of these falls inside a phrase.
_OPEN = frozenset(
    "a an the of to at in on with by from for and or but into onto per under over between about approximately than "
    "is was were are be been using through via as no not less more very both left right each every number size "
    "grade stage type zone level lot plus then minus point times x".split()
)
# Words with which a new sentence begins; a short pause before one is enough.
_OPENERS = frozenset(
    "the no there we then this patient first second third fourth fifth total estimated specimens counts next finally "
    "aftercare findings".split()
)
_LINE_WORDS = 9  # a heading on a line of its own has fewer words


def read(words: Sequence[Word], *, pause: float = 0.7) -> list[Sentence]:
    """Sentences with quantities and strikes, in order; every word that was not taken back is in one token.

    `pause`: seconds of silence that end a sentence where there is no punctuation; doubled where the words come
    with full stops; half of it before a word that opens a sentence. A pause after a preposition, or between a number
    and what belongs to it, ends none.
    """
    drafts: list[Draft] = []
    for chunk, heading in _chunks(words, pause):
        sentences = _sentences(stray_stops.drop(letters.join(fillers.drop(how_often.fold(tokenize(chunk))))))
        for tokens in (piece for sentence in sentences for piece in streams.cut(sentence)):
            if drafts and drafts[-1].heading:
                held = drafts.pop()
                mark = Token(":", ":", held.tokens[-1].first, held.tokens[-1].last, None, True)
                colon = [] if held.tokens[-1].norm == ":" else [mark]
                drafts.append(Draft([*held.tokens, *colon, *lend(merge(tokens))]))
            else:
                drafts.append(Draft(lend(merge(tokens)), heading=heading))
    drafts = contrasts.across(drafts, words)
    for draft in drafts:
        contrasts.settle(draft, words)
        hesitated.settle(draft, words)
        queries.settle(draft, words)
    settled = asked_told.join(settle(drafts, words))
    kept = [draft for draft in settled if draft.tokens or draft.strikes]
    return [Sentence(index, tuple(draft.tokens), tuple(draft.strikes)) for index, draft in enumerate(kept)]


def _chunks(words: Sequence[Word], pause: float) -> Iterator[tuple[list[Word], bool]]:
    """Stretches of words between hard breaks, and whether one is a heading that stands on a line of its own."""
    stops = sum([word.text.endswith((".", "?", "!")) for word in words])
    limit = pause * 2 if stops * 40 > len(words) else pause
    held: list[Word] = []
    for index, word in enumerate(words):
        if held and (_breaks(words, index, limit) or _opens(words, index, pause / 2, limit > pause)):
            yield held, _is_heading(held, words[index])
            held = []
        held.append(word)
    if held:
        yield held, False


def _breaks(words: Sequence[Word], index: int, limit: float) -> bool:
    before, word = words[index - 1], words[index]
    if before.end is None or word.start is None:
        return word.segment != before.segment
    if word.start - before.end < limit:
        return False
    last = before.text.lower().strip(",;:")
    if last in _OPEN:
        return False
    return not (_is_number(last) and _goes_on(word.text.lower().strip(",.;:")))


def _opens(words: Sequence[Word], index: int, pause: float, stops: bool) -> bool:
    """Whether a short pause lies before a word that opens a sentence, or right after it where it is written large
    ("no loose bodies The ... cartilage"): recognisers put the silence on either side of a short word."""
    before, word = words[index - 1], words[index]
    if before.end is None or word.start is None or word.text.lower().strip(",.;:") not in _OPENERS:
        return False
    last = before.text.lower().strip(",;:")
    if last in _OPEN or before.text.endswith(",") or _is_number(last) and word.text.lower() in ("second", "third"):
        return False
    large = word.text[:1].isupper() and word.text[1:].islower()
    if stops and not large:
        return False
    gap = word.start - before.end
    following = words[index + 1] if index + 1 < len(words) else None
    if word.text.lower() == "no" and following is not None and _is_number(following.text.lower()):
        return False  # "five mils, no, six mils"
    if large and following is not None and following.start is not None and word.end is not None:
        gap = max(gap, following.start - word.end)
    return gap >= pause


def _is_number(norm: str) -> bool:
    return bool(norm) and (norm in numerals.STARTS or norm[0].isdigit() or norm[-1].isdigit())


def _goes_on(norm: str) -> bool:
    return is_unit_word(norm) or _is_number(norm) or norm in ("to", "and", "or", "by", "x", "per", "blade", "vicryl")


def _is_heading(held: Sequence[Word], following: Word) -> bool:
    if held[0].start is not None or len(held) >= _LINE_WORDS:
        return False
    text = " ".join(word.text for word in held)
    return text.endswith(":") or (text.isupper() and text[-1] not in ".!?" and following.segment != held[-1].segment)


def _sentences(tokens: list[Token]) -> Iterator[list[Token]]:
    """Cuts at full stops, question and exclamation marks. A list mark ("1.") at the head is punctuation."""
    if len(tokens) > 2 and tokens[0].norm.isdigit() and len(tokens[0].norm) <= 2 and tokens[1].norm in (".", ")"):
        first, mark = tokens[0], tokens[1]
        tokens = [Token(f"{first.text}{mark.text}", f"{first.norm}.", first.first, mark.last, None, True), *tokens[2:]]
    held: list[Token] = []
    for index, token in enumerate(tokens):
        held.append(token)
        following = tokens[index + 1] if index + 1 < len(tokens) else None
        if following is None or following.norm in _ENDS or following.norm in (")", "]", '"'):
            continue
        if token.punctuation and token.norm in _ENDS and not _is_abbreviation(held, following):
            yield held
            held = []
        elif token.norm in ("am", "pm") and token.text.endswith(".") and following.text[0].isupper():
            yield held
            held = []
        elif token.norm in (")", '"') and len(held) > 1 and held[-2].norm in _ENDS:
            yield held
            held = []
    if held:
        yield held


_TITLES = frozenset(
    {"dr", "dr.", "mr", "mr.", "mrs", "mrs.", "ms", "ms.", "prof", "prof.", "doctor", "mister", "missus", "miss", "pt",
     "patient", "surgeon", "assistant", "by", ":"}
)  # fmt: skip
_STARTERS = frozenset(
    {"the", "a", "an", "he", "she", "we", "i", "this", "it", "then", "after", "patient", "there", "at", "in", "on",
     "no", "his", "her", "next", "all", "both", "general", "under", "following", "surgeon", "assistant"}
)  # fmt: skip


def _names(held: Sequence[Token]) -> bool:
    """Whether an initial after these tokens belongs to a person: a title or another initial stands before it."""
    last = held[-1] if held else None
    if last is None:
        return False
    if last.norm == ".":
        return len(held) > 1 and len(held[-2].text) == 1 and held[-2].text.isupper()
    if last.norm in _LISTED:  # "Assistants: J. Marsh and L. Dole"
        return any(token.norm in _ROLES for token in held)
    return last.norm in _TITLES


_LISTED = frozenset({"and", "&", ","})
_ROLES = frozenset({"surgeon", "surgeons", "assistant", "assistants", "assisted", "nurse", "nurses", "anaesthetist",
                    "anesthesiologist", "anaesthesiologist", "registrar", "resident", "team"})  # fmt: skip


# Things that bear no number, so that a "no." behind them says that there were none.
_UNNUMBERED = frozenset("tq tourniquet complication complications specimens allergies implants packs ebl".split())


def _is_abbreviation(held: Sequence[Token], following: Token) -> bool:
    """ "No. 5", "q.d" and the like: a full stop that ends no sentence."""
    if len(held) < 2:
        return False
    before = held[-2].norm
    initial = len(held[-2].text) == 1 and held[-2].text.isupper()
    if initial and following.text[:1].isupper() and following.norm not in _STARTERS and _names(held[:-2]):
        return True
    if before == "no":
        answered = len(held) > 2 and held[-3].norm in _UNNUMBERED  # "TQ no. 6 L irrigation"
        return following.norm[0].isdigit() and not answered
    if before in ("rt", "lt", "incl"):
        return following.text.islower()
    return before in ("approx", "fig", "sq", "inj") or (
        len(before) == 1 and before in "qbtd" and following.text.islower()
    )
