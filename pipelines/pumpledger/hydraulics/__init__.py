"""Pump and system curves, operating points, wire power, and the speed grid that carries them to the steps above."""
