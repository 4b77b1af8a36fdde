"""Putting energy into a machine step by step: loads, protections, old capacitors, stored charge.

Belongs here: plans with numbers from the solver, limits from published rules, verdicts on readings.
Does not belong here: storing what was entered, printing, which fault explains the readings.
"""
