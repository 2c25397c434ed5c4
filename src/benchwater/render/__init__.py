"""Render: from a Report to HTML, PDF and JSON. The only place that knows templates."""
