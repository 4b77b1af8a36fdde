"""Boards and console: what comes after the rails are proved.

Belongs here: the file of boards, the order they go in and what each should draw, settings and
whether they agree, where a memory fault sits, march tests; wiring and line settings of a console.
Does not belong here: circuits and their solution, the journal, printing.
"""
