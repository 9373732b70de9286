"""Scenarios run on a design and judged: the model's wires, at every corner, on every port."""
