"""Checks on a note, one small file each; found by folder."""
