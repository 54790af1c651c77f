"""Figures on photos and eggs left out of training; ``trayglow evaluate`` prints them."""
