"""An invented cohort: newborns, their visits, what was due at them and what became of it."""
