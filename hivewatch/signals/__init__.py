"""One hive's readings as clean, regular arrays."""
