"""Auditing a whole cohort: what should have happened at each visit, and what did (`TABLES.md`)."""
