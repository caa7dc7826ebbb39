"""Reading the comb."""
