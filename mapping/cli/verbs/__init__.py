"""One file a verb of the command: its options, and what it does."""
