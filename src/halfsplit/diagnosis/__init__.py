"""Weighing hypotheses by readings, choosing the next check, and saying why.

Belongs here: evidence, likelihood, posterior, information, explanation. Does not belong here:
files, storage, printing.
"""
