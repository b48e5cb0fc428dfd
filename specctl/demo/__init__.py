"""Plays the whole job on the demo book, with the same verbs a person has."""
