"""Review: decisions, history and their store."""
