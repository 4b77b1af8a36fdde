"""Halfsplit: what this meter should read, which faults remain, and what to check next."""

__version__ = "0.1.0"
