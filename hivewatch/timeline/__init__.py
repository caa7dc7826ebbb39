"""What the keeper saw, what the hive did, what to do next: brought together, without a store."""
