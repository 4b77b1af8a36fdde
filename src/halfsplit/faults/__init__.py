"""Fault hypotheses, how likely each is beforehand, and what every meter would read under it.

Belongs here: enumerating faults, priors, age and tamper weighting, the fault dictionary. Does not
belong here: weighing evidence or choosing checks.
"""
