"""The numbered steps from one schema of the book to the next. Each is frozen once released: it never changes again."""
