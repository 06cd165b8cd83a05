"""The local web application."""
