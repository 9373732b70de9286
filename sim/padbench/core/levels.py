"""Levels of a wire; the four values of IEEE Std 1364-2005, 18.2.1 (0, 1, x, z).

On their own, as what runs inside a simulator needs no arrays and starts sooner without.
"""

LOW, HIGH, UNKNOWN, FLOATING = 0, 1, 2, 3
