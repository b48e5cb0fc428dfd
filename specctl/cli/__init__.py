"""Thin commands. Rules live elsewhere; here are words, options and exit codes."""
