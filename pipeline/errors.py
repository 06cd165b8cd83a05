"""Every error that the product raises on purpose.

    VoxError
    ├── InputError                  what the user handed in cannot be used (exit 2)
    │   ├── SourceNotFound          source-not-found
    │   ├── SourceUnreadable        source-unreadable
    │   ├── NotAudio                not-audio
    │   ├── EmptyAudio              empty-audio
    │   ├── NoSpeech                no-speech
    │   ├── EmptyNarration          empty-narration
    │   ├── BadWordList             bad-word-list
    │   ├── BadNote                 bad-note
    │   ├── BadContext              bad-context
    │   ├── BadTemplate             bad-template
    │   ├── BadAccount              bad-account
    │   ├── BadDecision             bad-decision
    │   └── OutputUnwritable        output-unwritable
    ├── SetupError                  the installation is not whole (exit 2)
    │   ├── GrammarError            bad-grammar
    │   ├── ModelMissing            model-missing
    │   ├── ModelDamaged            model-damaged
    │   ├── EngineUnavailable       engine-unavailable
    │   └── SoundDeviceMissing      sound-device-missing
    ├── UnknownName                 unknown-name (an engine, family, exporter or profile that does not exist)
    ├── ExportError                 export-failed
    └── DeliveryError               delivery-failed

A clinical problem is never an exception: it is a `records.Finding`.
Each error is built from named fields, so it pickles and can be tested by field; `slug` is stable and
documented in DEVELOPERS.md (a test keeps the two lists equal).
"""

from __future__ import annotations

from typing import ClassVar


class VoxError(Exception):
    """Root of the tree. `what` says what is wrong; `do` says what the user can do about it."""

    slug: ClassVar[str] = ""
    exit_code: ClassVar[int] = 2

    def __init__(self, what: str, do: str = "", *, where: str = "") -> None:
        super().__init__(what, do, where)
        self.what = what
        self.do = do
        self.where = where

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.do, self.where))

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.do}".strip()


def _rebuild(cls: type[VoxError], what: str, do: str, where: str) -> VoxError:
    return cls(what, do, where=where)


class InputError(VoxError):
    """What the user handed in cannot be used."""


class SourceNotFound(InputError):
    slug = "source-not-found"


class SourceUnreadable(InputError):
    slug = "source-unreadable"


class NotAudio(InputError):
    slug = "not-audio"


class EmptyAudio(InputError):
    slug = "empty-audio"


class NoSpeech(InputError):
    slug = "no-speech"


class EmptyNarration(InputError):
    slug = "empty-narration"


class BadWordList(InputError):
    slug = "bad-word-list"


class BadNote(InputError):
    slug = "bad-note"


class BadContext(InputError):
    slug = "bad-context"


class BadTemplate(InputError):
    slug = "bad-template"


class BadAccount(InputError):
    """A user name, role or password that cannot be taken."""

    slug = "bad-account"


class BadDecision(InputError):
    """What a reviewer decided or typed cannot be taken; nothing was changed."""

    slug = "bad-decision"


class OutputUnwritable(InputError):
    slug = "output-unwritable"


class SetupError(VoxError):
    """The installation is not whole."""


class GrammarError(SetupError):
    """One or more rows of grammars/ are wrong; `what` lists every bad row with file, row and fix."""

    slug = "bad-grammar"


class ModelMissing(SetupError):
    slug = "model-missing"


class ModelDamaged(SetupError):
    slug = "model-damaged"


class EngineUnavailable(SetupError):
    slug = "engine-unavailable"


class SoundDeviceMissing(SetupError):
    slug = "sound-device-missing"


class UnknownName(VoxError):
    """An engine, family, exporter, check or profile of that name does not exist."""

    slug = "unknown-name"


class ExportError(VoxError):
    slug = "export-failed"


class DeliveryError(VoxError):
    slug = "delivery-failed"
