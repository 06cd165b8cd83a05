"""From readings to facts, one small file a kind of fact; found by folder."""
