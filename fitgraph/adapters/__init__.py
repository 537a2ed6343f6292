"""Parts that could be made: which are worth it, the best few together, and their sheets."""
