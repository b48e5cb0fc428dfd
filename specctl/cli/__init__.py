"""Thin commands. Rules live elsewhere; here are words, options and exit codes."""

import gc

# A command makes many values, keeps most of them to its end and makes few circles: looking for
# circles every 700 values costs a tenth of the run and finds next to nothing.
gc.set_threshold(50_000, 20, 20)
