"""From plan to text or bytes: JSON, PDF, SVG, HTML. Pure: the command writes the files."""
