"""What devices say: names, units and the SenML decoder."""
