"""One question of the keeper, one file."""
