"""Part kinds and the part catalogue.

Belongs here: what a resistor, a transistor or a transformer is: terminals, the elements it becomes,
its ratings, how it fails and how often, and what it looks like to a meter when out of circuit.
One file a kind, in :mod:`halfsplit.parts.kinds`. Does not belong here: solving, files, weighing.
"""
