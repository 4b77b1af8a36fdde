"""The bench app: pages over the same verbs as the command line. It shows, and computes nothing.

Belongs here: pages, the guard in front of them, drafts, and what carries a verb from a page to the
desk of its machine (:mod:`halfsplit.bench.desk`) and the answer back. Does not belong here: what a
reading means, what a value is, what may be powered. A page is one module in `pages`.
"""
