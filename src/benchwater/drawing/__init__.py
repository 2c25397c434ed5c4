"""Pictures as SVG: limits, ticks, marks and type, set in the widths of the page's own typeface."""
