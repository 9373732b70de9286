"""Electrical side of a design: delays, corners, what reaches which end of the cable."""
