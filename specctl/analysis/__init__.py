"""Pure computations over a book, each with its published source."""
