"""Plots as SVG: axes, marks and text, measured in the page's own typeface."""
