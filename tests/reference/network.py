"""The polybox as a Bayesian network, solved exactly by pyAgrum.

Independent of this package: parts are good or bad, boxes add in whole steps of a fine scale, and a
reading is evidence on the value it was taken of.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from itertools import product

import numpy as np

with warnings.catch_warnings():  # its bindings warn while they load, which here would be an error
    warnings.simplefilter("ignore")
    import pyagrum as gum

PARTS = ("M1", "M2", "M3", "A1", "A2")
TIMES = {"M1": "x", "M2": "y", "M3": "z"}
ADDS = {"A1": ("x", "y", "f"), "A2": ("y", "z", "g")}


class Network:
    """Values within `reach` of those due, in steps: of a product, twice that of a sum.

    A bad part gives its due value and an error drawn from a normal distribution of `sigma` [steps].
    """

    def __init__(self, bad: float, due: Mapping[str, int], step: float, sigma: float, reach: int):
        self.due, self.step, self.reach = due, step, reach
        self.net = gum.BayesNet("polybox")
        net = self.net
        for part in PARTS:
            net.add(gum.LabelizedVariable(part, part, ["good", "bad"]))
            net.cpt(part)[:] = [1.0 - bad, bad]
        for part, out in TIMES.items():
            net.add(gum.RangeVariable(out, out, 0, 2 * reach))
            net.addArc(part, out)
            exact = np.zeros(2 * reach + 1)
            exact[reach] = 1.0
            net.cpt(out)[{part: "good"}] = exact
            net.cpt(out)[{part: "bad"}] = _normal(reach, sigma)
        for part, (first, second, out) in ADDS.items():
            net.add(gum.RangeVariable(out, out, 0, 4 * reach))
            for parent in (part, first, second):
                net.addArc(parent, out)
            wild = _normal(2 * reach, sigma)
            for a, b in product(range(2 * reach + 1), repeat=2):
                exact = np.zeros(4 * reach + 1)
                exact[a + b] = 1.0
                net.cpt(out)[{part: "good", first: a, second: b}] = exact
                net.cpt(out)[{part: "bad", first: a, second: b}] = wild

    def scale(self, net: str) -> np.ndarray:
        """Values [V] of the states of a net."""
        reach = self.reach if net in "xyz" else 2 * self.reach
        found: np.ndarray = self.due[net] + self.step * np.arange(-reach, reach + 1)
        return found

    def posterior(
        self, read: Mapping[str, float], likely: Callable[[float, np.ndarray], np.ndarray]
    ) -> dict[frozenset[str], float]:
        """Weight of every set of bad parts after readings; `likely` is the density of a reading
        for each true value."""
        inference = gum.LazyPropagation(self.net)
        inference.addJointTarget(set(PARTS))
        for net, value in read.items():
            inference.addEvidence(net, list(likely(value, self.scale(net))))
        inference.makeInference()
        joint = inference.jointPosterior(set(PARTS))
        found = {}
        for states in product(("good", "bad"), repeat=len(PARTS)):
            at = dict(zip(PARTS, states, strict=True))
            found[frozenset(p for p, s in at.items() if s == "bad")] = float(joint[at])
        return found


def _normal(reach: int, sigma: float) -> np.ndarray:
    k = np.arange(-reach, reach + 1)
    w = np.exp(-0.5 * (k / sigma) ** 2)
    found: np.ndarray = w / w.sum()
    return found
