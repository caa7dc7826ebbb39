"""The scoreboard: plays scenarios through the real program and holds it against the truth."""
