"""What no training may hear: whole speakers of the real recordings, and one synthetic voice."""

from __future__ import annotations

# Of LibriSpeech dev-clean.
SPEAKERS = ("84", "777", "1988", "2277")
# The neural voice of hibari-tts.
VOICE = "heart"
