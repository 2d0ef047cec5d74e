"""Where pictures come from: one Frame record, one Source protocol; files, pictures, cameras, streams."""
