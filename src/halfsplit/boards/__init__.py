"""Boards past the power supply: wiring, line settings, settings sheets, memory, what they print.

Belongs here: what a board needs, and what its answers mean. Does not belong here: the journal,
printing for the terminal.
"""
