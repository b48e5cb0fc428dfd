"""Bytes to the values of a book and back."""
