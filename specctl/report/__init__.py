"""Turns values into what people read. Computes nothing and decides nothing."""
