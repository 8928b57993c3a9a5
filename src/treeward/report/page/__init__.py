"""report.html, and what it shows."""
