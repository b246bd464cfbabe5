"""Lists by their tag, made by client/generate.py: do not edit."""
