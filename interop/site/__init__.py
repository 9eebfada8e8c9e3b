"""The site model and its reader."""
