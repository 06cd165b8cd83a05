"""Recognisers, one file each; found by folder."""
