"""One of each thing compiled code is handed, empty: by these the compiler is told their types."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.topology import compile_netlist

ARRAYS = compile_netlist(Netlist()).arrays
VECTOR = np.zeros(0)
STORES = np.zeros((0, 2))
LATCH = np.zeros(0, dtype=np.int8)
WAVE = np.zeros((0, 0), dtype=np.float32)
REAL, COUNT, FLAG = 0.0, 0, np.bool_(False)
INDEX = np.uint32(0)
