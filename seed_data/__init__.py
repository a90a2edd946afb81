"""The demo's invented shop, as data files."""
