"""From a finding to a phone."""
