"""Before and while power goes in: what would burn, what leans on what, what must be proved first.

Belongs here: the power check, the leans-on map, gates, position cards, the bring-up plan, the sums
for conductors and fuses they need; loads, protections, old capacitors and stored charge, planned
with numbers from the solver and limits from published rules. Does not belong here: the journal,
printing, weighing of suspects. Nothing here ever calls anything safe; it says what it found no
objection to, and at what.
"""
