"""The demo log that travels with the package."""
