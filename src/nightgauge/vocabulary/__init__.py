"""Declarations shared by all rooms: frames, signals, flags, finding kinds. Each thing is declared once."""
