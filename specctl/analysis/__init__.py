"""Pure computations over a book: each module answers one question."""
