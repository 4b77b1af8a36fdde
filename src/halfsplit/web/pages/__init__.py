"""The pages of a machine, one module each; see :mod:`halfsplit.web.registry` for how to add one."""
