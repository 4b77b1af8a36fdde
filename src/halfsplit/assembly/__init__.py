"""The assembly file: load, check, edit, export its schema, and lower it to a netlist.

Belongs here: what the user wrote about one machine, where in the file they wrote it, and the state
the machine is in (feed, load, parts lifted). Does not belong here: readings, faults, advice.
"""
