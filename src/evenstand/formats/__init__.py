"""Everything that opens a file: vector layers, delimited text."""
