"""The only module that knows the order of the stages."""

from __future__ import annotations

import hashlib
import os
import sys
import threading
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal, cast

import numpy as np

from pipeline import (
    abandoned,
    agreement,
    announced,
    answers,
    assemble,
    audio,
    checking,
    context,
    controls,
    facing,
    faint,
    grammar,
    inherited,
    listen,
    lost_parts,
    manifest,
    mentions,
    namesakes,
    one_state,
    other_side,
    plugins,
    prior_devices,
    purposes,
    readings,
    removals,
    repair,
    same_again,
    sayings,
    sections,
    settle,
    short_names,
    talk_sides,
    tokens,
    unsure,
    unused,
    utterances,
    wordlist,
)
from pipeline.ear import Ear
from pipeline.engines.base import Engine, Options, Reader
from pipeline.errors import EmptyNarration, EngineUnavailable, SourceNotFound, SourceUnreadable
from pipeline.extractors.base import arbitrate
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, SecondOpinion, Source
from pipeline.records import Fact, Reading, Segment, Word, renumbered
from pipeline.rows import Confusion, Family, Unit
from pipeline.segments import Limits
from pipeline.site import Site
from pipeline.sound import RATE, Samples
from pipeline.spotting import Lists

DEFAULT_ENGINE = listen.DEFAULT_ENGINE
DEFAULT_PROFILE = "us"
SECOND_ENGINE = "vosk"
OUTPUTS = ("json", "fhir", "docx")
# One further reading, without bias words: where the two differ in a number, both are shown.
ALTERNATIVES = 1
ALIASES = {"fhir": "fhir_document", "json": "note_json"}
_PREPARING = threading.Lock()
_NAMESPACE = uuid.UUID("6f1c1d0e-5a0b-5f0e-9a53-0f5d3c6d7a21")

Progress = listen.Progress


@dataclass(frozen=True)
class Heard:
    """What a source gave: words, where they come from, and the segments of speech (none for text)."""

    words: tuple[Word, ...]
    source: Source
    segments: tuple[Segment, ...] = ()


def now() -> str:
    """The time of making, ISO 8601 with offset; SOURCE_DATE_EPOCH is honoured for repeatable output."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    moment = datetime.fromtimestamp(int(epoch), UTC) if epoch else datetime.now().astimezone()
    return moment.replace(microsecond=0).isoformat()


def from_text(text: str, name: str = "text") -> Heard:
    """A typed narration as if it had been said. Raises EmptyNarration."""
    words = tuple(tokens.words_from_text(text))
    if not words:
        raise EmptyNarration("holds no words.", "Write the narration into it, sentence after sentence.", where=name)
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Heard(words, Source(kind="text", name=name, sha256=digest, engine="typed"))


def read_text(path: Path) -> Heard:
    """A .txt narration. Raises SourceNotFound, SourceUnreadable, EmptyNarration."""
    try:
        return from_text(path.read_text(encoding="utf-8-sig"), path.name)
    except FileNotFoundError:
        raise SourceNotFound("is not there.", "Check the path.", where=str(path)) from None
    except UnicodeDecodeError:
        raise SourceUnreadable("is not UTF-8 text.", "Save it as UTF-8.", where=str(path)) from None
    except OSError as problem:
        raise SourceUnreadable(f"cannot be read ({problem.strerror}).", "Check the path.", where=str(path)) from problem


def listen_to(
    source: str, rules: Grammar, *, engine: str = DEFAULT_ENGINE, family: str | None = None,
    model: str | None = None, progress: Progress | None = None, mend: bool = True, second: Second | None = None,
    loaded: Engine | None = None, reader: str = "auto",
) -> Heard:  # fmt: skip
    """Words of a recording, a stored word list, a .txt narration, or "-" (text on standard input).

    Without `family`, a recording is heard without bias until it is known, and from its start with that family's
    bias words (`ear.py`). `mend`: whether misheard terms are repaired (never in typed text).
    `second`: asks about confusable words of a recording (`second_opinion`). `loaded`: a recogniser in memory already.
    `reader`: what reads each stretch a second time (`second_reader`).
    Raises InputError and SetupError subclasses, UnknownName.
    """
    if source == "-":
        return from_text(sys.stdin.read(), "stdin")
    path = Path(source)
    if path.suffix.lower() in (".txt", ".text") and not audio.is_sound(path):
        return read_text(path)
    if wordlist.is_word_list(path):
        replayed = listen.hear(path)
        stored = _as_heard(replayed, "words", path, replayed.source)
        return mended(stored, rules, family) if mend else stored
    audio.look(path)
    hearer: Engine = loaded or plugins.find(listen.ENGINES, engine).load(model)
    guided = ear(hearer, rules, family=family, reader=second_reader(hearer, reader))
    heard = _as_heard(listen.hear(path, engine, (), progress, engine=hearer, hearing=guided), "audio", path)
    heard = mended(heard, rules, guided.family) if mend else heard
    return second.over(heard, _samples(path)) if second else heard


class Second:
    """The second opinion of an engine that takes closed lists. Nothing is overwritten."""

    def __init__(self, weigher: agreement.Weigher, rules: Grammar) -> None:
        self._weigher = weigher
        self._known = sayings.pairs(rules.table("confusions", Confusion).values())

    def over(self, heard: Heard, sound: Callable[[float, float], Samples]) -> Heard:
        """The same with `Word.opinions` where another reading wins. `sound(start, end)`: samples, seconds."""
        return replace(heard, words=self.asked(heard.words, sound))

    def asked(self, words: tuple[Word, ...], sound: Callable[[float, float], Samples]) -> tuple[Word, ...]:
        """The same for words."""
        return agreement.noted(words, agreement.opinions(words, sound, self._weigher, self._known))


def second_opinion(named: str, rules: Grammar) -> Second | None:
    """`named`: a model for Vosk; "auto": the one that a site added, else none; "off": none.

    The model in the package is too weak to be asked unless it is named (models/vosk-small/MODEL.md). Raises
    UnknownName, ModelDamaged, and EngineUnavailable for a model that takes no lists.
    """
    if named == "off" or (named == "auto" and not any(
        one.engine == SECOND_ENGINE and one.origin == "site" for one in manifest.models()
    )):  # fmt: skip
        return None
    engine = plugins.find(listen.ENGINES, SECOND_ENGINE).load(None if named == "auto" else named)
    if not engine.takes_lists:
        if named == "auto":
            return None
        raise EngineUnavailable(f"{engine.model} takes no lists of words, so it gives no second opinion.",
                                "Name a model with graph/HCLr.fst and graph/Gr.fst.")
    return Second(engine, rules)


def second_reader(engine: Engine, named: str = "auto") -> Reader | None:
    """What reads each stretch of `engine` a second time, so that numbers, units, sides and negations that the two read
    otherwise are shown with both. `named`: a model of that engine; "auto": the one that a manifest puts beside the
    engine's model, else none (then the engine itself reads again, without bias words); "off": none. Raises
    UnknownName, ModelDamaged, ModelMissing, and EngineUnavailable for a model that does not read so."""
    found = manifest.second(engine.model) if named == "auto" else None
    if named == "off" or (named == "auto" and found is None):
        return None
    name = found.engine if found else engine.name
    loaded = plugins.find(listen.ENGINES, name).load(found.name if found else named)
    session = loaded.open(Options())
    if not hasattr(session, "texts"):
        raise EngineUnavailable(f"{loaded.model} gives no second reading.", "Name a model for Whisper.")
    return cast(Reader, session)


def early_ear(engine: Engine) -> Engine | None:
    """What gives partial words while `engine` is still listening: the model for Vosk that a site added, if any. The
    one in the package cannot write dictation. Raises ModelDamaged."""
    if engine.streams or not any(one.engine == SECOND_ENGINE and one.origin == "site" for one in manifest.models()):
        return None
    found: Engine = plugins.find(listen.ENGINES, SECOND_ENGINE).load(None)
    return found


def spotting_ear(engine: Engine) -> Lists | None:
    """What hears control words from the sound: `engine` if it takes closed lists, else the model for Vosk that a site
    added, if that does, else the one in the package (models/vosk-small/MODEL.md has its false starts and misses); None
    where there is none. Raises ModelDamaged."""
    if getattr(engine, "takes_lists", False):
        return cast(Lists, engine)
    names = [one.name for one in manifest.models() if one.engine == SECOND_ENGINE]
    names.sort(key=lambda name: manifest.model(name).origin != "site")
    for name in names:
        found = plugins.find(listen.ENGINES, SECOND_ENGINE).load(name)
        if found.takes_lists:
            return cast(Lists, found)
    return None


def _samples(path: Path) -> Callable[[float, float], Samples]:
    """The recording in memory, in 16 bits: an hour takes 115 MB."""
    sound = audio.inspect(path)
    whole, filled = np.zeros(round(sound.seconds * RATE), dtype="i2"), 0
    for piece in audio.pieces(sound):
        whole[filled : filled + len(piece)] = (piece * 32767).clip(-32768, 32767)
        filled += len(piece)
    return lambda start, end: whole[round(start * RATE) : round(end * RATE)].astype(np.float32) / np.float32(32767)


def mended(heard: Heard, rules: Grammar, family: str | None = None) -> Heard:
    """The same with misheard terms repaired; what was heard stays on each word. Pure."""
    chosen = family or pick_family(understand(heard.words, rules)[1], rules)
    return replace(heard, words=repair.repair(heard.words, rules, rules.family(chosen).bias if chosen else ()))


def ear(engine: Engine, rules: Grammar, *, family: str | None = None, limits: Limits | None = None,
        early: Engine | None = None, reader: Reader | None = None) -> Ear:  # fmt: skip
    """What hears sound with the words of its family, which it finds by itself when none is named. For files and for
    live dictation alike. `early`: another engine that gives the partial words; `reader`: of `second_reader`. Raises
    UnknownName."""

    def spot(words: Sequence[Word]) -> str | None:
        """From the words as heard, else as repaired: without bias, the name of the operation is often misheard."""
        with _PREPARING:
            found = pick_family(understand(words, rules)[1], rules)
            return found or pick_family(understand(repair.repair(words, rules), rules)[1], rules)

    return Ear(
        engine, spot, lambda name: rules.family(name).bias,
        units=[phrase for row in rules.table("units", Unit).values() for phrase in row.say], family=family,
        limits=limits, options=Options(alternatives=ALTERNATIVES), early=early, reader=reader,
    )  # fmt: skip


def _as_heard(heard: listen.Heard, kind: Literal["audio", "words"], path: Path, name: str = "") -> Heard:
    source = Source(
        kind=kind,
        name=name or path.name,
        sha256=heard.sha256 or hashlib.sha256(path.read_bytes()).hexdigest(),
        seconds=heard.seconds or None,
        engine=heard.engine,
        model=heard.model,
        segments=len(heard.segments) or None,
        dropped_words=heard.dropped_words,
        collapsed_loops=heard.collapsed_loops,
        notices=list(heard.notices),
    )
    return Heard(heard.words, source, heard.segments)


def words_file(heard: Heard) -> bytes:
    """The content of words.json."""
    source = heard.source
    return wordlist.dump(
        wordlist.WordList(
            heard.words, heard.segments, source.name, source.sha256, source.seconds or 0.0, source.engine,
            source.model, tuple(source.notices),
        )
    )  # fmt: skip


def lines(heard: Heard) -> list[tuple[float | None, str]]:
    """(start in seconds or None, text) of each stretch of speech, for reading."""
    by_segment: dict[int, list[Word]] = {}
    for word in heard.words:
        by_segment.setdefault(word.segment, []).append(word)
    return [(words[0].start, " ".join(word.text for word in words)) for words in by_segment.values()]


def understand(words: Sequence[Word], rules: Grammar) -> tuple[Reading, list[Fact]]:
    """Words -> the reading and its settled, numbered facts. Pure."""
    marked = [mentions.mark(sentence, rules) for sentence in utterances.read(controls.obey(words, rules).words)]
    placed = sections.place(short_names.decide(namesakes.drop(marked), rules), rules, words)
    scoped = [context.scopes(sentence, rules) for sentence in placed]
    reading = Reading(tuple(words), talk_sides.mark(purposes.mark(answers.answer(scoped), rules), rules))
    found: list[Fact] = []
    for extractor in plugins.every("pipeline.extractors"):
        found += extractor.extract(reading, rules)
    told = other_side.fill(same_again.repeat(arbitrate(found), reading, rules), reading, rules)
    stated = unused.set_aside(removals.explant(inherited.inherit(told, reading, rules), reading, rules), reading)
    stated = lost_parts.leave_the_rest(stated, reading)
    stated = announced.mark(abandoned.one_side(prior_devices.mark(stated, reading), reading), reading)
    stated = one_state.share(stated)
    stated = settle.settle(facing.doubt(abandoned.doubt(stated, reading, rules), reading), reading, rules)
    return reading, _number(faint.lend(unsure.doubt(stated, reading, rules), reading))


def _number(facts: Sequence[Fact]) -> list[Fact]:
    """Facts in the order said, with ids f001... and groups g01..."""
    ordered = sorted(facts, key=lambda fact: (fact.evidence.first, fact.evidence.last, fact.kind))
    groups: dict[str, str] = {}
    for fact in ordered:
        if fact.group is not None:
            groups.setdefault(fact.group, f"g{len(groups) + 1:02d}")
    return [
        renumbered(fact, f"f{index:03d}", groups[fact.group] if fact.group is not None else None)
        for index, fact in enumerate(ordered, 1)
    ]


def pick_family(facts: Sequence[Fact], rules: Grammar) -> str | None:
    """The family of the first procedure said that belongs to one; performed ones first."""
    rows = rules.table("families", Family)
    procedures = [fact for fact in facts if fact.kind == "procedure" and fact.certainty != "negated" and fact.name]
    for fact in sorted(procedures, key=lambda fact: fact.status != "performed"):
        for ident, family in rows.items():
            if fact.name in family.procedures:
                return ident
    return None


def make_note(
    heard: Heard, rules: Grammar, *, family: str | None = None, profile: str = DEFAULT_PROFILE, made_at: str = ""
) -> OperativeNote:
    """The whole way from words to a checked note. The same words and `made_at` give the same note."""
    reading, facts = understand(heard.words, rules)
    rules.profile(profile)
    chosen = rules.family(family).id if family else pick_family(facts, rules)
    note = OperativeNote(
        id=str(uuid.uuid5(_NAMESPACE, heard.source.sha256)),
        made_at=made_at or now(),
        family=chosen,
        profile=profile,
        source=_told(heard, facts, rules),
        facts=facts,
        sections=assemble.assemble(facts, reading, rules),
    )
    return recheck(note, rules)


def _told(heard: Heard, facts: Sequence[Fact], rules: Grammar) -> Source:
    """The source with what was said to the program, in notices, and the second opinions: those of `Second`, and
    other readings with a number, side or negation on words that no fact rests on."""
    notices = controls.obey(heard.words, rules).notices
    opinions = [SecondOpinion(word=word.id, heard=word.text, others=list(word.opinions), at=word.start)
                for word in heard.words if word.opinions]  # fmt: skip
    held = [(fact.evidence.first, fact.evidence.last) for fact in facts]
    opinions += [SecondOpinion(word=word.id, heard=text, others=others, at=word.start)
                 for word, text, others in readings.left_open(heard.words, held)]  # fmt: skip
    return heard.source.model_copy(update={"notices": [*heard.source.notices, *notices], "opinions": opinions})


def prepare(rules: Grammar) -> None:
    """Makes once what the first note would wait for: the matchers, the plug-ins, how terms sound (two seconds). Who
    looks for the family meanwhile waits for it, since two that make the same take twice as long."""
    with _PREPARING:
        make_note(mended(from_text("Operative note.", "nothing"), rules), rules)


def recheck(note: OperativeNote, rules: Grammar) -> OperativeNote:
    """The note with its findings made anew; recorded decisions stay."""
    return note.model_copy(update={"findings": checking.run_checks(note, rules)})


def note_from_text(text: str, name: str = "text", **options: str) -> OperativeNote:
    """A narration as text -> a checked note, with the installed grammars."""
    return make_note(from_text(text, name), grammar.load(), **options)


def export(note: OperativeNote, names: Sequence[str], rules: Grammar, site: Site) -> dict[str, bytes]:
    """{file name: content} of the named outputs, each made once, with what they need. Raises UnknownName."""
    made: dict[str, bytes] = {}

    def make(name: str) -> bytes:
        if name not in made:
            module = plugins.find("pipeline.exports", ALIASES.get(name, name))
            parts: Mapping[str, bytes] = {need: make(need) for need in module.NEEDS}
            made[name] = module.write(note, rules, site, parts)
        return made[name]

    return {plugins.find("pipeline.exports", ALIASES.get(name, name)).FILE: make(name) for name in names}
