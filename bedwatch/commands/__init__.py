"""One file per command: what `cli` calls once it has parsed the line."""
