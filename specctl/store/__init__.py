"""Git, signatures, files and cache. Knows bytes and paths; knows no drink."""
