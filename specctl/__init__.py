"""One approved spec per drink, at every counter in that counter's own tools."""
