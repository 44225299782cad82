"""Random coils for the tests, far beyond any sensible one."""

import math

import numpy as np

from boostkit.circuit import Coil

SPREADS = {"v_in": (3.0, 48.0), "inductance": (1e-6, 1e-2), "i_start": (0.05, 30.0), "r_loop": (1e-3, 20.0), "t": (1e-7, 1e-2),
           "r_path": (1.0, 1e6), "v_rectifier": (0.2, 1.2), "above": (0.05, 500.0), "c_stray": (1e-11, 1e-7)}


def drawn(seed):
    """Random coils and paths, each number spread evenly over the decades."""
    chance = np.random.default_rng(seed)
    given = {name: float(np.exp(chance.uniform(*np.log(span)))) for name, span in SPREADS.items()}
    above = given.pop("above")
    given["v_clamp"] = given["v_path"] = given["v_in"] + above
    given["f_sw"] = 0.5 * above / (given["inductance"] * given["i_start"])
    given["q_ring"] = math.sqrt(given["inductance"] / given["c_stray"]) / given["r_loop"]
    return given, Coil(given["v_in"], given["inductance"], given["i_start"], given["r_loop"])
