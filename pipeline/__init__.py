"""Vox Operandi: spoken operative notes, offline, with quantities that are checked against each other."""

__version__ = "0.1.0"
