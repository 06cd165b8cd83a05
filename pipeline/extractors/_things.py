"""What the readers of counts and of sizes that were left out hold of a device."""

from __future__ import annotations


class Thing:
    """A device of the grammar, or an instrument or component that only a cue names."""

    __slots__ = ("first", "implant", "last", "name", "text")

    def __init__(self, first: int, last: int, name: str | None, text: str | None, implant: bool) -> None:
        self.first, self.last, self.name, self.text, self.implant = first, last, name, text, implant
