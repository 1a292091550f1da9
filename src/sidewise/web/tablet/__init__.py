"""A laptop that serves a tablet on the local network: its own authority, HTTPS, and the steps."""
