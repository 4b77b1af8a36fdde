"""What blocks of a file are said to need and follow, where there is no circuit to try it on."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.lower import Machine
from halfsplit.parts.block import makers

Floats = npt.NDArray[np.float64]


def declared(
    machine: Machine,
    nets: Mapping[str, str],
    without: Callable[[str, str], float],
) -> list[tuple[str, str, float, float, str]]:
    """(leans, on, coupling, volts without it, how) of every block; labels as in `nets`.

    `without` solves what the first label reads [V] with the second at nought.
    """
    label = {net: name for name, net in nets.items()}
    found = []
    for net, block in makers(machine.assembly.parts.values()).items():
        for need in block.needs:
            if net not in label or need not in label:
                continue
            follows = need == block.follows
            how = "power" if need == block.power() else "needed"
            how = f"{'followed' if follows else how} by block {block.ref}"
            of, on = label[net], label[need]
            found.append((of, on, 1.0 if follows else 0.0, without(of, on), how))
    return found
