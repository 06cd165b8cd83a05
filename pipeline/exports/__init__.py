"""Output formats, one file each; found by folder."""
