"""From the broker or a file into the store."""
