"""Pieces of pages, each drawn from what the desk of its machine told last."""
