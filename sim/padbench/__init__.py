"""Bench for the shift-register game pad: one design sheet in, a judged answer and waves out."""

__version__ = "0.1.0"
