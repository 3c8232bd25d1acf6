"""Pages that people look at, each made from an answer; none decides anything."""
