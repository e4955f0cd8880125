"""The cells of a file: separators, headings, columns, numbers."""
