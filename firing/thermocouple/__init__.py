"""Thermocouples: emf and temperature both ways, what they promise, and how they mislead."""
