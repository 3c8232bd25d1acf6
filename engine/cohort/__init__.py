"""Many visits at once: what was due at each, as plain rows."""
